package marks

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// doubtful has something in every box that is no tick though there is ink enough for one: mostly numbers.
func doubtful(g paper.Geometry, page int, seed uint64) (out []markstest.Mark) {
	r := rand.New(rand.NewPCG(seed, 9))
	for _, row := range g.Pages[page-1].Rows {
		for _, f := range g.Fields {
			if !f.Ticked() {
				continue
			}
			m := markstest.Mark{Line: row.Line, Stage: f.Stage, Kind: markstest.InBox, Hand: markstest.Tick}
			switch k := r.IntN(20); {
			case k < 13:
				m.Text = fmt.Sprint(r.IntN(10))
			case k < 15:
				m.Text = fmt.Sprint(10 + r.IntN(20))
			case k < 16:
				m.Text = "-"
			default:
				m.Kind = markstest.Doubtful[1+r.IntN(3)]
			}
			out = append(out, m)
		}
	}
	return out
}

// TestNoTickByShape: what stands in a box and is no tick, cross, slash or filled box is asked, a number above all. With
// LISTBOUND_PAPERS it is many pages in all ways.
func TestNoTickByShape(t *testing.T) {
	pages, seed, lines, dpi := 1, 520, 25, flatDPI
	ways := []markstest.Way{markstest.AsDrawn()}
	if os.Getenv("LISTBOUND_PAPERS") != "" {
		pages, seed = number(t, "LISTBOUND_PAPERS", 8), number(t, "LISTBOUND_PAPERS_SEED", 1000)
		ways, lines, dpi = append(markstest.Ways(), markstest.BlackAndWhite()), 60, 300
	}
	ticked, all, refused, n := map[string]int{}, map[string]int{}, 0, 0
	for i := range pages {
		s := sheet(t, lines, columns(i+2))
		drawn, g := printedAt(t, s, paper.Size(i%2), dpi)
		page := 1 + i%len(drawn)
		marks := doubtful(g, page, uint64(seed+i))
		full := markstest.Over(t, drawn[page-1], markstest.SVG(g, page, marks, uint64(seed+i)))
		for _, way := range ways {
			p, err := Read(markstest.Degraded(t, full, way, seed+i), of(s))
			if cause(err) == PaleInk && way.Name == markstest.BlackAndWhite().Name {
				refused++ // not one box is surely ticked, so the copy may have lost pale ink
				continue
			}
			if err != nil {
				t.Errorf("%d, %s: %v", seed+i, way.Name, err)
				continue
			}
			at := map[string]Cell{}
			for _, r := range p.Rows {
				for _, c := range r.Cells {
					at[fmt.Sprint(r.Line, c.Stage)] = c
				}
			}
			for _, m := range marks {
				kind := strings.TrimSpace(string(m.Kind) + " " + m.Text)
				all[kind]++
				n++
				if c := at[fmt.Sprint(m.Line, m.Stage)]; c.Verdict != Ask {
					ticked[kind]++
					t.Errorf("%d, %s: line %d %s: %s is read as %s (ink %.2f)", seed+i, way.Name, m.Line, m.Stage, kind, c.Verdict, c.Ink)
				}
			}
		}
	}
	t.Logf("not asked: %v of %d, %v; %d copies are refused", ticked, n, all, refused)
}

// TestStruckColumns: ink that runs on from row to row is no mark of any of them. Every box of a column that was struck
// out is asked, in whatever way it was.
func TestStruckColumns(t *testing.T) {
	s := sheet(t, 25, nil)
	drawn, g := printedAt(t, s, paper.A4, flatDPI)
	closing, final := g.Fields[5], g.Fields[6]
	for _, tt := range []struct {
		how     markstest.Through
		columns []paper.Field
		ticked  bool // before it was struck out
	}{
		{markstest.LineDown, []paper.Field{final}, false},
		{markstest.LineDown, []paper.Field{closing}, true},
		{markstest.Wave, []paper.Field{final}, false},
		{markstest.Wave, []paper.Field{final}, true},
		{markstest.BigX, []paper.Field{closing, final}, true},
	} {
		if !tt.ticked && os.Getenv("LISTBOUND_PAPERS") == "" {
			continue // where nothing is below the line, it is easier to see
		}
		marks := penned(g, func(stage events.Stage, _ int64) markstest.Kind {
			if tt.ticked || stage == events.StageFirst {
				return markstest.Tick
			}
			return markstest.Nothing
		})
		svg := markstest.SVG(g, 1, marks, 530)
		svg = strings.Replace(svg, "</svg>", markstest.StruckColumn(g, 1, tt.how, tt.columns...)+"</svg>", 1)
		p, err := Read(flat(markstest.Over(t, drawn[0], svg)), of(s))
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range p.Rows {
			// The line begins in the first row and ends in the last, so it doesn't come from above or go on below; and
			// where the two lines of a big X meet, what is looked for has two ways to go.
			other := i == 0 || i == len(p.Rows)-1 || tt.how == markstest.BigX && max(2*i-len(p.Rows), len(p.Rows)-2*i) <= 2
			for _, c := range r.Cells {
				struck := slices.ContainsFunc(tt.columns, func(f paper.Field) bool { return f.Stage == c.Stage })
				switch {
				case struck && (c.Verdict != Ask || c.Why != RunsOn && !other),
					c.Stage == events.StageFirst && c.Verdict != Ticked:
					t.Errorf("%s, ticked %v: line %d %s is read as %s %s", tt.how, tt.ticked, r.Line, c.Stage, c.Verdict, c.Why)
				}
			}
		}
	}
}
