package marks

import (
	"fmt"
	"math/rand/v2"
	"os"
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
	pages, seed, ways, lines := 1, 520, markstest.Ways()[1:2], 25
	if os.Getenv("LISTBOUND_PAPERS") != "" {
		pages, seed = number(t, "LISTBOUND_PAPERS", 8), number(t, "LISTBOUND_PAPERS_SEED", 1000)
		ways, lines = append(markstest.Ways(), markstest.BlackAndWhite()), 60
	}
	ticked, all := map[string]int{}, map[string]int{}
	for i := range pages {
		s := sheet(t, lines, nil)
		drawn, g := printed(t, s, paper.Size(i%2))
		page := 1 + i%len(drawn)
		marks := doubtful(g, page, uint64(seed+i))
		full := markstest.Over(t, drawn[page-1], markstest.SVG(g, page, marks, uint64(seed+i)))
		for _, way := range ways {
			p, err := Read(markstest.Degraded(t, full, way, seed+i), of(s))
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
				if c := at[fmt.Sprint(m.Line, m.Stage)]; c.Verdict != Ask {
					ticked[kind]++
					t.Errorf("%d, %s: line %d %s: %s is read as %s (ink %.2f)", seed+i, way.Name, m.Line, m.Stage, kind, c.Verdict, c.Ink)
				}
			}
		}
	}
	t.Logf("not asked: %v of %v", ticked, all)
}

// TestStruckColumns: ink that runs on from row to row is no mark of any of them.
func TestStruckColumns(t *testing.T) {
	s := sheet(t, 25, nil)
	drawn, g := printed(t, s, paper.A4)
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
		p, err := Read(flat(t, markstest.Over(t, drawn[0], svg)), of(s))
		if err != nil {
			t.Fatal(err)
		}
		runs, n := 0, 0
		for _, r := range p.Rows {
			for _, c := range r.Cells {
				for _, f := range tt.columns {
					if c.Stage == f.Stage {
						n++
						if c.Why == RunsOn {
							runs++
						}
						if c.Verdict == Ticked {
							t.Errorf("%s, ticked %v: line %d %s is read as ticked", tt.how, tt.ticked, r.Line, c.Stage)
						}
					}
				}
				if c.Stage == events.StageFirst && c.Verdict != Ticked {
					t.Errorf("%s: line %d %s: %s %s", tt.how, r.Line, c.Stage, c.Verdict, c.Why)
				}
			}
		}
		if 4*runs < 3*n { // the others have another reason
			t.Errorf("%s, ticked %v: only %d of %d boxes are asked as struck out", tt.how, tt.ticked, runs, n)
		}
	}
}
