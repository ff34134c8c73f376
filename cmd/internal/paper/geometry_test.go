package paper

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"image"
	"math"
	"strings"
	"testing"

	"listbound/events"
	"listbound/projections/words"
)

// plain is a sheet whose descriptions are as long as most are: within one line.
func plain(t *testing.T, n int) Sheet {
	s := sample(t, n)
	for i := range s.Lines {
		s.Lines[i].Description = []string{
			"Forceps, mosquito, curved, 12.5 cm", "Scissors, dissecting, curved, blunt, 18 cm",
			"Needle holder, carbide inserts, 20 cm", "Wundhaken, scharf, vierzinkig, Größe ½",
		}[i%4]
	}
	s.Exceptions = nil
	return bind(t, s)
}

// A bag or a holder takes one or two sheets of paper: at least 25 lines stand on
// a page, each in one row, 60 lines on 3 pages and 150 on 6.
func TestSheetPages(t *testing.T) {
	for _, size := range []Size{A4, Letter} {
		for _, lang := range []*words.Language{english, german} {
			for n, most := range map[int]int{25: 2, 60: 3, 150: 6} {
				sheets := map[string]Sheet{"plain": plain(t, n)}
				if n == 60 { // one line of twelve needs two rows
					sheets["mixed"] = sample(t, n)
				}
				for name, s := range sheets {
					g, err := GeometryOf(&s, layoutOf(&s, size))
					if err != nil {
						t.Fatal(err)
					}
					if len(g.Pages) > most {
						t.Errorf("size %d, %s: %d %s lines on %d pages", size, lang.Tag(), n, name, len(g.Pages))
					}
					for i, p := range g.Pages {
						if i < len(g.Pages)-2 && len(p.Rows) < 25 && name == "plain" {
							t.Errorf("size %d, %s: page %d of %d has %d lines", size, lang.Tag(), i+1, len(g.Pages), len(p.Rows))
						}
						for _, r := range p.Rows {
							if r.H > pitch+0.001 && name == "plain" {
								t.Errorf("line %d takes %.1f mm", r.Line, r.H)
							}
						}
					}
				}
			}
		}
	}
}

// What is printed stands where the description of the geometry says: every line's
// number in its row, every heading in its column, the symbol in its place.
func TestSheetStandsWhereItIsDescribed(t *testing.T) {
	s := sample(t, 60)
	for _, size := range []Size{A4, Letter} {
		g, err := GeometryOf(&s, layoutOf(&s, size))
		if err != nil {
			t.Fatal(err)
		}
		doc := boxes(t, sheetPDF(t, s, size, english))
		if len(doc.Pages) != len(g.Pages) {
			t.Fatalf("%d pages are printed, %d described", len(doc.Pages), len(g.Pages))
		}
		in := func(r Rect, page int) string {
			var out []string
			for _, w := range doc.Pages[page].Words {
				x, y := (w.XMin+w.XMax)/2*mmPerPoint, (w.YMin+w.YMax)/2*mmPerPoint
				if x >= r.X && x <= r.X+r.W && y >= r.Y && y <= r.Y+r.H {
					out = append(out, w.Text)
				}
			}
			return strings.Join(out, " ")
		}
		lines := 0
		for i, p := range g.Pages {
			for _, row := range p.Rows {
				lines++
				l := s.Lines[row.Line-1]
				got := in(row.Cell(g.Fields[0]), i)
				if text := in(Rect{g.Fields[1].X, row.Y, g.Fields[1].W, row.H}, i); got != fmt.Sprint(row.Line) ||
					!strings.Contains(text, l.Item) {
					t.Errorf("in the row of line %d stands %q, %q", row.Line, got, text)
				}
				for _, f := range g.Fields[3:] {
					if got := in(row.Cell(f), i); got != "" || f.Stage == "" {
						t.Errorf("where %q of line %d is written in stands %q", f.Stage, row.Line, got)
					}
				}
			}
			for k, want := range []string{"First", "Added", "Closing", "Final"} {
				f := g.Fields[3+k]
				if got := in(Rect{f.X, p.Table.Y, f.W, headHeight}, i); got != want {
					t.Errorf("page %d: over column %d stands %q", i+1, 3+k, got)
				}
			}
			if (len(p.Signs) == 3) != (i == len(g.Pages)-1) {
				t.Errorf("page %d has %d rows to sign", i+1, len(p.Signs))
			}
		}
		if lines != len(s.Lines) {
			t.Errorf("%d of %d lines are described", lines, len(s.Lines))
		}
		picture := render(t, sheetPDF(t, s, size, english), 150)[1]
		if got := decode(t, crop(picture, g.Symbol, 150)); got == "" {
			t.Error("the symbol is not where it is described")
		}
	}
}

func crop(g *image.Gray, r Rect, dpi float64) *image.Gray {
	px := func(mm float64) int { return int(math.Round(mm * dpi / 25.4)) }
	out := image.NewGray(image.Rect(0, 0, px(r.W), px(r.H)))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			out.SetGray(x, y, g.GrayAt(px(r.X)+x, px(r.Y)+y))
		}
	}
	return out
}

// blur is what a lens out of focus does: each point is the mean of its surroundings
// weighted by a normal distribution of sigma points.
func blur(g *image.Gray, sigma float64) *image.Gray {
	r := int(math.Ceil(4 * sigma))
	weights := make([]float64, 2*r+1)
	for i := range weights {
		d := float64(i-r) / sigma
		weights[i] = math.Exp(-d*d/2) / (sigma * math.Sqrt(2*math.Pi))
	}
	w, h := g.Rect.Dx(), g.Rect.Dy()
	across := make([]float64, w*h)
	for y := range h {
		for x := range w {
			for i, k := range weights {
				across[y*w+x] += k * float64(g.Pix[y*g.Stride+min(max(x+i-r, 0), w-1)])
			}
		}
	}
	out := image.NewGray(g.Rect)
	for y := range h {
		for x := range w {
			v := 0.0
			for i, k := range weights {
				v += k * across[min(max(y+i-r, 0), h-1)*w+x]
			}
			out.Pix[y*out.Stride+x] = uint8(min(v+0.5, 255))
		}
	}
	return out
}

// A camera out of focus still reads which page of which sheet it is: through a blur
// of 2.5 pixels at 150 dpi, on both sizes of paper, real and for practice.
func TestSheetSymbolSurvivesBlur(t *testing.T) {
	const sigma, dpi = 2.5, 150
	for _, size := range []Size{A4, Letter} {
		for _, practice := range []bool{false, true} {
			s := sample(t, 40)
			s.Practice = practice
			for i, g := range render(t, sheetPDF(t, s, size, english), dpi) {
				got := decode(t, blur(g, sigma))
				scan, err := events.RecognisePractice(got)
				if err != nil || len(scan) != 1 || scan[0].Value != s.Code.String() || scan[0].Page != i+1 {
					t.Errorf("size %d, practice %v, page %d: read as %q", size, practice, i+1, got)
				}
			}
		}
	}
}

// A sheet printed for practice says so across every page, and neither its symbol
// nor what is printed beside it for typing passes for a real one.
func TestSheetForPractice(t *testing.T) {
	for lang, word := range map[*words.Language]string{english: "PRACTICE", german: "ÜBUNG"} {
		for _, size := range []Size{A4, Letter} {
			s := sample(t, 60)
			real := sheetPDF(t, s, size, lang)
			s.Practice = true
			pdf := sheetPDF(t, s, size, lang)
			pages := strings.Split(strings.TrimSuffix(text(t, pdf, "-raw"), "\f"), "\f")
			for i, page := range pages {
				if n := strings.Count(page, word); n < 3 {
					t.Errorf("page %d says %s %d times", i+1, word, n)
				}
				if strings.Contains(strings.ReplaceAll(page, " ", ""), s.Code.String()[:12]) {
					t.Errorf("page %d has the real code", i+1)
				}
			}
			if got := text(t, real); strings.Contains(got, word) {
				t.Errorf("a real sheet says %s", word)
			}
			pictures := render(t, pdf, 100)
			for i, g := range pictures {
				if got, err := events.Recognise(decode(t, g)); err == nil {
					t.Errorf("page %d passes for %v", i+1, got)
				}
				// The word in the middle is drawn under everything, from edge to edge.
				if n := darker(g, 235, 200); n < g.Rect.Dx()*g.Rect.Dy()/50 {
					t.Errorf("page %d: %d points of the word across it", i+1, n)
				}
			}
			again, err := GeometryOf(&s, layoutOf(&s, size))
			if err != nil || len(again.Pages) != len(pictures) {
				t.Errorf("%v pages, %v", again.Pages, err)
			}
			var buf bytes.Buffer
			if err := WriteSheet(&buf, s, size, lang); err != nil || !bytes.Equal(buf.Bytes(), pdf) {
				t.Errorf("printed again it differs (%v)", err)
			}
		}
	}
}

// darker counts the points of a grey between two values.
func darker(g *image.Gray, below, above uint8) int {
	n := 0
	for _, v := range g.Pix {
		if v < below && v > above {
			n++
		}
	}
	return n
}

// TestLayoutsStayAsTheyAre: a sheet that was printed once is read by its layout's number for as long as there is paper, so
// what a number stands for never changes, fonts included. Who needs another place for a box takes a new number.
func TestLayoutsStayAsTheyAre(t *testing.T) {
	want := map[int]string{
		3: "eb146e8625d48cda", 4: "1a2b40cf36b3388b", 5: "2274503ba08c3f42", 6: "37241ccd1ba594d5",
		7: "8e57df0201ed0262", 8: "969730e8addd7401", 9: "c8113e3f6a753308", 10: "07e471147384fd4f",
		11: "be1169f286c01198", 12: "eb47b75878d81872", 13: "81ec1e5095520f6a", 14: "f25761f5218015e9",
		15: "92d8c26cd83b2108", 16: "92c19867b04f0b9a", 17: "b70e59f37bf87769", 18: "59465312aff67371",
	}
	for layout := firstLayout; layout <= lastLayout; layout++ {
		s := sample(t, 40)
		s.Exceptions = append(s.Exceptions, events.Exception{Line: 9, Counted: 1, Reason: "lent to the other house for a day"})
		s.Goods = kinds(4) // only the layouts from 11 on have rows for them
		g, err := GeometryOf(&s, layout)
		if err != nil {
			t.Fatal(err)
		}
		var places strings.Builder
		fmt.Fprintf(&places, "%.2f %.2f %.2f %.2f %.2f %.2f", g.Width, g.Height, g.Symbol, g.Second, g.Rings, g.Dots)
		for _, p := range g.Pages {
			fmt.Fprintf(&places, " %.2f %.2f", p.Table, p.Signs)
			for _, at := range p.Places {
				fmt.Fprintf(&places, " %s %.2f", at.Name, at.Rect)
			}
			for _, r := range p.AllRows() {
				for _, f := range g.FieldsOf(r) {
					fmt.Fprintf(&places, " %d %s %.2f %.2f %.2f", r.Line, f.Stage, r.Cell(f), r.Tick(f), r.Write(f))
				}
			}
		}
		if got := fmt.Sprintf("%x", sha256.Sum256([]byte(places.String())))[:16]; got != want[layout] {
			t.Errorf("layout %d: %s", layout, got)
		}
	}
}
