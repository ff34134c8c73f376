package marks

import (
	"slices"

	"listbound/cmd/internal/paper"
)

// leastShade is how much darker than paper the table's heading must still be. It is printed 11 % darker; a
// black-and-white copier, or a scanner that is set to text, makes it white.
const leastShade = 0.03

// faint reports whether a page has hardly a mark. From a copier that makes pale things white its boxes then say
// nothing: pale ink leaves nothing there.
func (m *sheetMarks) faint(rows []Row) bool {
	if len(rows) == 0 { // goods alone: which of them are used, no share says
		return false
	}
	for k, f := range m.fields {
		n := 0
		for _, r := range rows {
			if c := r.Cells[k]; c.Verdict == Ticked || c.Written {
				n++
			}
		}
		if f.Ticked() && float64(n) >= columnTicked*float64(len(rows)) {
			return false
		}
	}
	return true
}

// shade is how much darker than paper the heading of the columns is.
func (m *sheetMarks) shade(g *gray, w *warp, page paper.Page) float64 {
	var all []float64
	first := m.rows[0]
	for k, f := range m.of(first) {
		c := m.cells[0][k]
		at := paper.Rect{X: f.X, Y: page.Table.Y, W: f.W, H: first.Y - page.Table.Y}.Inset(0.9)
		p := straighten(g, w, at, perMM)
		p.smooth()
		slices.Sort(p.v)
		all = append(all, 1-float64(p.v[len(p.v)*7/10])/c.paper)
	}
	return median(all)
}
