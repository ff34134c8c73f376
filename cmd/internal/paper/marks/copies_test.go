package marks

import (
	"image"
	"os"
	"slices"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// TestCopies reads copies in black and white, on which pale ink leaves nothing. A page all of whose marks are pale is
// refused and never read as not counted. The table of whole pages is printed by make papers.
func TestCopies(t *testing.T) {
	way := markstest.BlackAndWhite()
	s := sheet(t, 15, nil)
	drawn, g := printedAt(t, s, paper.A4, copyDPI())
	for name, kind := range map[string]markstest.Kind{"pale ink": markstest.Pale, "black ink": markstest.Tick} {
		if kind == markstest.Tick && os.Getenv("LISTBOUND_PAPERS") == "" {
			continue // the last page below has black ink, too
		}
		marks := penned(g, func(events.Stage, int64) markstest.Kind { return kind })
		full := markstest.Over(t, drawn[0], markstest.SVG(g, 1, marks, 510))
		p, err := Read(copied(t, full, 510), of(s))
		if kind == markstest.Pale {
			if cause(err) != PaleInk {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if x := newTable(); len(x.score(way.Name, marks, p)) > 3 || x.wrong > 0 {
			t.Errorf("%s:\n%s", name, x)
		}
		// In grey the same pale ink is read.
		if _, err := Read(full, of(s)); err != nil {
			t.Errorf("in grey: %v", err)
		}
	}
	// The final count is ticked in pale ink but for its first line.
	marks := penned(g, func(stage events.Stage, line int64) markstest.Kind {
		if stage == events.StageFinal && line > g.Pages[0].Rows[0].Line {
			return markstest.Pale
		}
		return markstest.Tick
	})
	full := markstest.Over(t, drawn[0], markstest.SVG(g, 1, marks, 510))
	if p, err := Read(copied(t, full, 510), of(s)); err != nil {
		t.Error(err)
	} else {
		for _, r := range p.Rows {
			if slices.ContainsFunc(r.Cells, func(c Cell) bool { return c.Stage == events.StageFinal && c.Verdict == Empty }) {
				t.Errorf("line %d is taken for not counted", r.Line)
			}
		}
	}
	if os.Getenv("LISTBOUND_PAPERS") == "" {
		return
	}
	x := newTable()
	x.run(t, number(t, "LISTBOUND_PAPERS", 8), number(t, "LISTBOUND_PAPERS_SEED", 1000), 60, []markstest.Way{way},
		func(page int, way string, p *Page, bad []string) {
			for _, b := range bad {
				t.Logf("page %d, %s", page, b)
			}
		})
	t.Logf("\n%s%v", x, x.why)
	if x.wrong > 0 {
		t.Errorf("%d boxes are read wrong", x.wrong)
	}
}

// copied is a copy in black and white of a page drawn with flatDPI; with LISTBOUND_PAPERS of one with 300 dpi, and a
// dirty one.
func copied(t testing.TB, page *image.Gray, seed int) image.Image {
	t.Helper()
	if os.Getenv("LISTBOUND_PAPERS") != "" {
		return markstest.Degraded(t, page, markstest.BlackAndWhite(), seed)
	}
	out := image.NewGray(page.Rect)
	for i, v := range page.Pix {
		if v > 148 { // 58 %
			out.Pix[i] = 255
		}
	}
	return out
}

// copyDPI is what copied wants.
func copyDPI() int {
	if os.Getenv("LISTBOUND_PAPERS") != "" {
		return 300
	}
	return flatDPI
}

// penned has a mark in every box of the first page.
func penned(g paper.Geometry, kind func(events.Stage, int64) markstest.Kind) (out []markstest.Mark) {
	for _, r := range g.Pages[0].Rows {
		for _, f := range g.Fields {
			if f.Ticked() {
				out = append(out, markstest.Mark{Line: r.Line, Stage: f.Stage, Kind: kind(f.Stage, r.Line)})
			}
		}
	}
	return out
}
