package marks

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// flatDPI is the resolution at which pages are drawn that are looked at without any way of taking pictures.
const flatDPI = 150

// flat is such a page in a picture with a margin.
func flat(page *image.Gray) *image.Gray {
	const border = 30
	out := image.NewGray(image.Rect(0, 0, page.Rect.Dx()+2*border, page.Rect.Dy()+2*border))
	for i := range out.Pix {
		out.Pix[i] = 179
	}
	for y := range page.Rect.Dy() {
		copy(out.Pix[(y+border)*out.Stride+border:], page.Pix[y*page.Stride:][:page.Rect.Dx()])
	}
	return out
}

// changed is a picture after ImageMagick has done what args say.
func changed(t testing.TB, m *image.Gray, args ...string) *image.Gray {
	t.Helper()
	all := append([]string{"pgm:-"}, args...)
	return markstest.ReadPGM(t, markstest.Convert(t, markstest.PGM(m), append(all, "-depth", "8", "pgm:-")...))
}

func covered(m *image.Gray, r image.Rectangle) *image.Gray {
	out := image.NewGray(m.Rect)
	copy(out.Pix, m.Pix)
	draw.Draw(out, r, image.NewUniform(color.Gray{Y: 200}), image.Point{}, draw.Src)
	return out
}

// at is where a place of the page is in what flat returns.
func at(r paper.Rect, grow float64) image.Rectangle {
	px := func(mm float64) int { return int(mm*flatDPI/25.4) + 30 }
	return image.Rect(px(r.X-grow), px(r.Y-grow), px(r.X+r.W+grow), px(r.Y+r.H+grow))
}

func cause(err error) Cause {
	var r *Refusal
	if errors.As(err, &r) {
		return r.Cause
	}
	return Cause(fmt.Sprint(err))
}

// TestOddPictures: what can't be read is refused by its own cause, and what can is read though something is covered.
func TestOddPictures(t *testing.T) {
	s := sheet(t, 15, nil)
	drawn, g := printedAt(t, s, paper.A4, flatDPI)
	page := drawn[0]
	plain := flat(page)
	table := at(paper.Rect{Y: g.Pages[0].Table.Y, H: 150}, 0)
	ring := func(i int) paper.Rect { return paper.Rect{X: g.Rings[i].X, Y: g.Rings[i].Y} }
	hide := func(rs ...image.Rectangle) *image.Gray {
		m := plain
		for _, r := range rs {
			m = covered(m, r)
		}
		return m
	}
	other := sheet(t, 15, func(s *paper.Sheet) { s.Set = "LAP-015" })
	twin, _ := printedAt(t, other, paper.A4, flatDPI)
	two := image.NewGray(image.Rect(0, 0, 2*plain.Rect.Dx(), plain.Rect.Dy()))
	draw.Draw(two, plain.Rect, plain, image.Point{}, draw.Src)
	draw.Draw(two, plain.Rect.Add(image.Pt(plain.Rect.Dx(), 0)), flat(twin[0]), image.Point{}, draw.Src)
	for _, tt := range []struct {
		name  string
		m     image.Image
		cause Cause // "" where it is read
	}{
		{"as it is", plain, ""},
		{"first symbol covered", hide(at(g.Symbol, 0)), ""},
		{"a corner covered", hide(at(ring(0), 6)), ""},
		{"another corner covered", hide(at(ring(2), 6)), ""},
		{"four dots covered", hide(at(paper.Rect{X: 10, Y: 100, W: 6, H: 45}, 0)), ""},
		{"both symbols covered", hide(at(g.Symbol, 0), at(g.Second, 0)), SymbolUnread},
		{"two corners covered", hide(at(ring(0), 6), at(ring(3), 6)), CornersUnseen},
		{"a whole side's dots covered", hide(at(paper.Rect{X: 10, Y: 80, W: 5.5, H: 150}, 0)), Bent},
		{"mirrored", changed(t, plain, "-flop"), Mirrored},
		{"mirrored and turned", changed(t, plain, "-flop", "-rotate", "90"), Mirrored},
		{"lower part missing", changed(t, plain, "-crop", "100%x70%+0+0", "+repage"), CutOff},
		{"50 dpi", changed(t, plain, "-resize", "38%"), TooCoarse},
		{"40 dpi, of which no symbol is read", changed(t, plain, "-resize", "27%"), TooCoarse},
		{"38 dpi, of which nothing is", changed(t, plain, "-resize", "25%"), TooCoarse},
		{"35 dpi, of which its symbol is", changed(t, plain, "-resize", "23%"), TooCoarse},
		{"too blurred", changed(t, plain, "+level", "63%,80%"), TooPale},
		{"out of focus below the head", changed(t, plain, "-region", fmt.Sprintf("%dx%d+0+%d", plain.Rect.Dx(), table.Dy(), table.Min.Y),
			"-blur", "0x3", "+region"), TooPale},
		{"a blank wall", image.NewGray(image.Rect(0, 0, 900, 1200)), NoSheet},
		{"a stamp", image.NewGray(image.Rect(0, 0, 9, 9)), NoSheet},
		{"two sheets", two, SeveralSheets},
		{"a corner of another", changed(t, plain, "-gravity", "East", "-background", "gray70", "-splice", "160x0",
			"(", "-clone", "0", "-crop", "200x400+30+30", "+repage", ")", "-gravity", "NorthEast", "-composite"), ""},
	} {
		p, err := Read(tt.m, of(s))
		switch {
		case tt.cause == "" && err != nil:
			t.Errorf("%s: %v", tt.name, err)
		case tt.cause != "" && cause(err) != tt.cause:
			t.Errorf("%s: %v (%v), not %s", tt.name, cause(err), p != nil, tt.cause)
		case tt.cause == "" && (p.Symbol.Page != 1 || len(p.Rows) != 15 || p.Asked() > 0 || len(p.Blank) != 3):
			t.Errorf("%s: page %d, %d rows, %d asked, %v blank", tt.name, p.Symbol.Page, len(p.Rows), p.Asked(), p.Blank)
		}
		var r *Refusal
		if errors.As(err, &r) && r.Cause == SeveralSheets && len(r.Symbols) < 2 {
			t.Errorf("%s: only %v are named", tt.name, r.Symbols)
		}
	}
	twins := errors.New("this is a page of the twin")
	if _, err := Read(plain, func(x Symbol) (*paper.Sheet, error) {
		if x.Code != s.Code || x.Practice {
			t.Errorf("asked is for %+v", x)
		}
		return nil, twins
	}); !errors.Is(err, twins) {
		t.Errorf("the finder's own error comes back as %v", err)
	}
}

// TestPagesOfAllLayouts: both sizes, with and without the stages that only some policies have, in the ledger for
// practice too.
func TestPagesOfAllLayouts(t *testing.T) {
	for i, change := range []func(*paper.Sheet){
		func(s *paper.Sheet) { s.Cavity = true },
		func(s *paper.Sheet) { s.Relief, s.Practice = true, true },
		func(s *paper.Sheet) {
			s.Cavity, s.Relief = true, true
			s.Lines[3].Description = strings.Repeat("a long description ", 12)
			s.Exceptions = []events.Exception{{Line: 2, Counted: 1, Reason: "missing"}}
		},
	} {
		s := sheet(t, 12, change)
		drawn, g := printedAt(t, s, paper.Size(i%2), flatDPI)
		var marks []markstest.Mark
		for _, f := range g.Fields {
			if f.Ticked() {
				for _, l := range s.Lines {
					marks = append(marks, markstest.Mark{Line: l.Line, Stage: f.Stage, Kind: markstest.Tick})
				}
			}
		}
		m := flat(markstest.Over(t, drawn[0], markstest.SVG(g, 1, marks, uint64(600+i))))
		p, err := Read(m, of(s))
		if err != nil {
			t.Errorf("%d: %v", i, err)
			continue
		}
		if p.Symbol.Practice != s.Practice || p.Symbol.Layout != g.Layout {
			t.Errorf("%d: %+v", i, p.Symbol)
		}
		for _, r := range p.Rows {
			for _, c := range r.Cells {
				if want := c.Stage == events.StageAdded; want != (c.Verdict == Empty) || !want != (c.Verdict == Ticked) {
					t.Errorf("%d: line %d, %s: %s %s, ink %.3f", i, r.Line, c.Stage, c.Verdict, c.Why, c.Ink)
				}
			}
		}
	}
}
