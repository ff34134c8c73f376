package board

import (
	"context"
	"fmt"
	"strings"
	"time"

	drawing "listbound/cmd/internal/figure"
	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/run"
)

// The runs of a load on paper: the picture of the page in black, and its tables.

// paperRun is a run as a report has it.
type paperRun struct {
	runShown
	picture *drawing.Figure // nil where there is a print and no log
}

// runsFor are the runs of the load that a report is of, as known at its moment.
func (p *pages) runsFor(ctx context.Context, words *shell.Words, q site.Query) (out []paperRun, err error) {
	if kind, _ := what(q); kind != "load" {
		return nil, nil
	}
	found, err := p.site.Runs(ctx, site.RunsQuery{Load: q.Load, AsOf: q.AsOf})
	for i := range found {
		v := runView{words: words, r: &found[i]}
		x := paperRun{runShown: v.shown(p)}
		if x.Picture != "" {
			l, again, err := v.again(p)
			if err != nil {
				return nil, err
			}
			x.picture = v.figure(l, again)
		}
		out = append(out, x)
	}
	return out, err
}

func reportRuns(d *paper.Document, words *shell.Words, all []paperRun) {
	for _, x := range all {
		d.Heading(x.Title)
		status := map[string]string{"holds": words.T("board.run-status-holds"), "fails": words.T("board.run-status-fails"),
			"unknown": words.T("board.run-status-unknown")}
		d.Strong(status[x.Status])
		for _, problem := range x.Problems {
			d.Text("– " + problem)
		}
		for _, about := range x.About {
			d.Text(about)
		}
		if x.picture != nil {
			d.Figure(x.picture)
		}
		for _, t := range []*table{x.Figures, x.Phases, x.Faults} {
			if t == nil {
				continue
			}
			d.Strong(t.Title)
			var columns []paper.Column
			for i, c := range t.Columns {
				share := 1.0
				if i == 0 {
					share = 2
				}
				columns = append(columns, paper.Column{Title: c, Share: share})
			}
			var rows [][]string
			for _, row := range t.Rows {
				var cells []string
				for _, c := range row {
					cells = append(cells, c.Text)
				}
				rows = append(rows, cells)
			}
			d.Table(columns, rows)
		}
	}
	if len(all) > 0 {
		d.Text(words.T("board.run-caution"))
	}
}

// figure is the picture of a run as prints have it: the band pale, what was measured in full strokes, and dashed the temperature of
// saturated steam at the pressure.
func (v *runView) figure(l *run.Log, r *run.Report) *drawing.Figure {
	const share = drawing.Wide / runWide
	f := &drawing.Figure{Title: v.words.T("board.run-picture", v.r.Said.Load), Says: v.words.T("board.run-picture-says"), H: runHigh * share}
	scale := v.scale(l, r)
	line := func(x1, y1, x2, y2, thick float64, dashed bool) {
		f.Line(x1*share, y1*share, x2*share, y2*share, thick, dashed)
	}
	text := func(x, y float64, a drawing.Anchor, says string) { f.Text(x*share, y*share, 0, a, false, says) }
	low, high := float64(r.Cycle.LowMilliC)/1000, scale.high
	if r.Cycle.HighMilliC > 0 {
		high = min(high, float64(r.Cycle.HighMilliC)/1000)
	}
	f.Box(runLeft*share, scale.y(high)*share, (runRight-runLeft)*share, (scale.y(low)-scale.y(high))*share, drawing.Pale)
	text(runLeft-8, scale.y(low)+12, drawing.End, v.words.Language().Figures(low, 4))
	for c := 25.0; c < low-10; c += 25 {
		line(runLeft-5, scale.y(c), runLeft, scale.y(c), 1, false)
		text(runLeft-8, scale.y(c)+5, drawing.End, v.words.Language().Figures(c, 3))
	}
	line(runLeft, runBottom, runRight, runBottom, 1, false)
	for _, t := range (piece{scale.from, scale.to, runLeft, runRight}).ticks() {
		line(scale.x(t), runBottom, scale.x(t), runBottom+6, 1, false)
		text(scale.x(t), runBottom+22, drawing.Middle, v.clock(t).Text)
	}
	for i, p := range r.Phases {
		a, b := scale.x(p.From), scale.x(p.To)
		line(a, runTop-24, a, runBottom, 0.5, true)
		text((a+b)/2, runTop-34+18*float64(i%2), drawing.Middle, v.words.T("board.run-phase-"+string(p.Phase)))
	}
	stroke := func(strokes [][]point, thick float64, dashed bool) {
		for _, s := range strokes {
			for i := 1; i < len(s); i++ {
				if !dashed || i/dashOf%2 == 0 {
					line(s[i-1].x, s[i-1].y, s[i].x, s[i].y, thick, false)
				}
			}
		}
	}
	if l.Pressure != "" {
		stroke(v.line(l, r, scale, func(x *run.Sample) float64 { return run.SteamAt(x.Pressure) }), 0.7, true)
	}
	for k := range l.Sensors {
		stroke(v.line(l, r, scale, func(x *run.Sample) float64 { return x.Points[k] }), 1.4, false)
	}
	for i, x := range r.Figures.Faults {
		at := scale.x(r.Started.Add(time.Duration(x.AtMillis)*time.Millisecond)) * share
		f.Disc(at, (runBottom-14)*share, 7, drawing.White)
		f.Text(at, (runBottom-9)*share, 0, drawing.Middle, true, fmt.Sprint(i+1))
	}
	y := (runHigh - 18.0) * share
	f.Line(runLeft*share, y-4, (runLeft+40)*share, y-4, 1.4, false)
	f.Text((runLeft+48)*share, y, 260, drawing.Start, false,
		v.words.T("board.run-key-measured", strings.Join(l.Sensors, ", ")))
	if l.Pressure != "" {
		f.Line((runLeft+430)*share, y-4, (runLeft+470)*share, y-4, 0.7, true)
		f.Text((runLeft+478)*share, y, 260, drawing.Start, false, v.words.T("board.run-key-steam", l.Pressure))
	}
	return f
}

// dashOf is how many pieces of a stroke make a dash: each has the width of a line.
const dashOf = 8
