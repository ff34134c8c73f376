package paper

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"listbound/events"
	"listbound/projections/words"
)

// kinds are goods as a site's list has them, some with a long name.
func kinds(n int) (out []events.Line) {
	for i := range n {
		out = append(out, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("GZ-%d", i), Quantity: int64(5 + i), Sort: events.Sponges,
			Description: []string{"Gauze, X-ray detectable, 10 x 10 cm", "Needle, CT-1",
				"Laparotomy sponge, X-ray detectable, with tape and ring, 45 x 45 cm"}[i%3]})
	}
	return out
}

// Rows for goods stand as described, in the language and on the paper that is asked for: their names whole, how many are in a pack,
// nothing where something is to be written. They take no line of the list from a page, and of more goods than there is room for
// the last have blank rows.
func TestGoodsOnTheSheet(t *testing.T) {
	for i, lang := range []*words.Language{english, german} {
		for _, size := range []Size{A4, Letter} {
			for _, many := range []int{3, 14} {
				s := plain(t, 30)
				s.Goods, s.Relief, s.Cavity = kinds(many), i > 0, i > 0
				without := s
				without.Goods = nil
				was, err := GeometryOf(&without, layoutOf(&without, size))
				if err != nil {
					t.Fatal(err)
				}
				g, err := GeometryOf(&s, layoutOf(&s, size))
				if err != nil {
					t.Fatal(err)
				}
				if g.Layout != was.Layout+8 || len(g.Pages[0].Rows) != len(was.Pages[0].Rows) || len(g.Pages) > len(was.Pages)+1 {
					t.Errorf("layout %d: %d lines on the first of %d pages, without goods %d of %d", g.Layout, len(g.Pages[0].Rows),
						len(g.Pages), len(was.Pages[0].Rows), len(was.Pages))
				}
				last := len(g.Pages) - 1
				if got, want := len(g.Pages[last].Goods), min(many, 11)+2; got != want {
					t.Errorf("%d goods have %d rows, want %d", many, got, want)
				}
				doc := boxes(t, sheetPDF(t, s, size, lang))
				for k, row := range g.Pages[last].Goods {
					name, pack := "", ""
					if k < min(many, 11) {
						name, pack = s.Goods[k].Description, fmt.Sprint(s.Goods[k].Quantity)
					}
					for c, want := range map[int]string{0: GoodsName(k + 1), 1: name, 2: pack, 3: "", 4: "", 5: "", 6: "", 7: ""} {
						f := g.GoodsFields[c]
						if got := wordsIn(doc.Pages[last].Words, Rect{f.X, row.Y, f.W, row.H}); got != want {
							t.Errorf("layout %d, row %d, column %d: %q, want %q", g.Layout, k+1, c, got, want)
						}
					}
				}
			}
		}
	}
}

// wordsIn are those in a part of a page.
func wordsIn(all []bboxWord, in Rect) string {
	var out []string
	for _, w := range all {
		x, y := (w.XMin+w.XMax)/2*mmPerPoint, (w.YMin+w.YMax)/2*mmPerPoint
		if x >= in.X && x <= in.X+in.W && y >= in.Y && y <= in.Y+in.H {
			out = append(out, w.Text)
		}
	}
	return strings.Join(out, " ")
}

// A blank form has rows for goods at its foot, with what a pack has beside the name: under "packed" it would be read as a count.
func TestGoodsOnTheForm(t *testing.T) {
	for _, size := range []Size{A4, Letter} {
		var b bytes.Buffer
		if err := WriteBlankForms(&b, 1, size, kinds(7), false, english); err != nil {
			t.Fatal(err)
		}
		got := strings.Join(strings.Fields(text(t, b.Bytes(), "-layout")), " ")
		for _, want := range []string{"14 G1 Gauze, X-ray detectable, 10 x 10 cm · 5 in a pack G2 Needle, CT-1 · 6 in a pack", "G7 G8"} {
			if size == A4 {
				want = strings.Replace(want, "14", "16", 1)
			}
			if !strings.Contains(got, want) {
				t.Errorf("size %d: %q is not in %s", size, want, got)
			}
		}
	}
}
