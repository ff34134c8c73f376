package board

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"listbound/projections/run"
)

const (
	runWide   = 960.0
	runLeft   = 70.0
	runRight  = runWide - 20
	runTop    = 60.0
	runBottom = 380.0
	runHigh   = 450.0
)

// runScale places moments and temperatures.
type runScale struct {
	from, to  time.Time
	low, high float64 // °C
}

func (s runScale) x(t time.Time) float64 {
	d := s.to.Sub(s.from)
	if d <= 0 {
		return runLeft
	}
	return runLeft + min(1, max(0, float64(t.Sub(s.from))/float64(d)))*(runRight-runLeft)
}

func (s runScale) y(c float64) float64 {
	return runBottom - (c-s.low)/(s.high-s.low)*(runBottom-runTop)
}

// draw draws a run: its band, its phases, each temperature as a line, and as a dashed one that of saturated steam at the
// pressure. Where nothing was read there is no line. What is wrong with the log is marked by its number in the table.
func (v *runView) draw(l *run.Log, r *run.Report) template.HTML {
	s := &svg{w: runWide, h: runHigh}
	scale := v.scale(l, r)
	v.drawBand(s, scale, r)
	for _, t := range (piece{scale.from, scale.to, runLeft, runRight}).ticks() {
		x := scale.x(t)
		s.line(x, runBottom, x, runBottom+6, soft, 1)
		s.text(x, runBottom+22, "middle", 13, soft, v.clock(t).Text)
	}
	s.line(runLeft, runBottom, runRight, runBottom, soft, 1)
	if l.Pressure != "" {
		s.path(pathOf(v.line(l, r, scale, func(x *run.Sample) float64 { return run.SteamAt(x.Pressure) })), "none", blue, 1.5,
			`stroke-dasharray="6 4"`)
	}
	for k := range l.Sensors {
		s.path(pathOf(v.line(l, r, scale, func(x *run.Sample) float64 { return x.Points[k] })), "none", ink, 2)
	}
	for i, f := range r.Figures.Faults {
		x := scale.x(r.Started.Add(time.Duration(f.AtMillis) * time.Millisecond))
		s.circle(x, runBottom-14, 9, white, ink, 1.5)
		s.text(x, runBottom-9, "middle", 12, ink, fmt.Sprint(i+1), bold)
	}
	v.drawKey(s, l)
	return s.picture(v.id, v.words.T("board.run-picture", v.r.Said.Load), v.words.T("board.run-picture-says"))
}

// scale fits the band and all that was read at or above 0 °C; what lies below stands at the edge.
func (v *runView) scale(l *run.Log, r *run.Report) runScale {
	s := runScale{from: r.Started, to: r.Started, low: 20, high: float64(r.Cycle.LowMilliC)/1000 + 10}
	for _, x := range l.Samples {
		if x.At.After(s.to) {
			s.to = x.At
		}
		for _, c := range append([]float64{run.SteamAt(x.Pressure)}, x.Points...) {
			if !math.IsNaN(c) {
				s.low, s.high = min(s.low, max(c, 0)), max(s.high, min(c+5, 200))
			}
		}
	}
	return s
}

func (v *runView) drawBand(s *svg, scale runScale, r *run.Report) {
	low, high := float64(r.Cycle.LowMilliC)/1000, scale.high
	if r.Cycle.HighMilliC > 0 {
		high = min(high, float64(r.Cycle.HighMilliC)/1000)
		s.line(runLeft, scale.y(high), runRight, scale.y(high), soft, 1)
		s.text(runLeft-8, scale.y(high), "end", 13, soft, v.words.Language().Figures(high, 4))
	}
	s.rect(runLeft, scale.y(high), runRight-runLeft, scale.y(low)-scale.y(high), pale, "none")
	s.line(runLeft, scale.y(low), runRight, scale.y(low), ink, 1)
	s.text(runLeft-8, scale.y(low)+12, "end", 13, ink, v.words.Language().Figures(low, 4), bold)
	for c := 25.0; c < low-10; c += 25 {
		s.line(runLeft, scale.y(c), runRight, scale.y(c), pale, 1)
		s.text(runLeft-8, scale.y(c)+5, "end", 13, soft, v.words.Language().Figures(c, 3))
	}
	for i, p := range r.Phases {
		a, b := scale.x(p.From), scale.x(p.To)
		s.line(a, runTop-24, a, runBottom, faint, 1, `stroke-dasharray="2 4"`)
		// Short phases stand beside each other: their names go up and down by turns.
		s.text((a+b)/2, runTop-30+16*float64(i%2), "middle", 13, ink, v.words.T("board.run-phase-"+string(p.Phase)))
	}
}

// line are the strokes of one sensor. There are more readings than can be drawn: of those in the width of a line the lowest and
// the highest are, so that none is lost that stands out. Where nothing was read one stroke ends, and another begins.
func (v *runView) line(l *run.Log, r *run.Report, scale runScale, of func(*run.Sample) float64) (out [][]point) {
	column, low, high := -1.0, 0.0, 0.0
	pen := false
	flush := func() {
		if column < 0 {
			return
		}
		if !pen {
			out = append(out, nil)
		}
		pen = true
		for _, c := range []float64{low, high} {
			out[len(out)-1] = append(out[len(out)-1], point{column, scale.y(c)})
		}
		column = -1
	}
	for i := range l.Samples {
		c := of(&l.Samples[i])
		if math.IsNaN(c) || r.Broken(i) {
			flush()
			pen = false
		}
		if math.IsNaN(c) {
			continue
		}
		c = min(max(c, scale.low), scale.high)
		x := math.Round(scale.x(l.Samples[i].At))
		if x != column {
			flush()
			column, low, high = x, c, c
			continue
		}
		low, high = min(low, c), max(high, c)
	}
	flush()
	return out
}

// pathOf writes strokes as SVG does.
func pathOf(strokes [][]point) string {
	var b strings.Builder
	for _, s := range strokes {
		for i, p := range s {
			move := "L"
			if i == 0 {
				move = "M"
			}
			fmt.Fprintf(&b, "%s%.1f %.1f", move, p.x, p.y)
		}
	}
	return b.String()
}

// drawKey says what the lines are.
func (v *runView) drawKey(s *svg, l *run.Log) {
	y := runHigh - 18
	s.line(runLeft, y-5, runLeft+40, y-5, ink, 2)
	s.text(runLeft+48, y, "start", 13, ink, v.words.T("board.run-key-measured", v.words.Language().List(l.Sensors)))
	if l.Pressure != "" {
		s.line(runLeft+430, y-5, runLeft+470, y-5, blue, 1.5, `stroke-dasharray="6 4"`)
		s.text(runLeft+478, y, "start", 13, ink, v.words.T("board.run-key-steam", l.Pressure))
	}
}
