package marks

import (
	"math"

	"listbound/cmd/internal/paper"
)

// mostJump is how far a row's boxes may lie from where the row above says, in millimetres: paper bends, and where it is folded
// a row jumps, but not so far.
const mostJump = 1.0

// leastRow is the height of a row without an exception.
const leastRow = 6.5

// misplaced reports whether the boxes on the page stand elsewhere than the lines of the sheet in hand say: it was printed of
// another packing, whose exceptions make other rows tall, or by another program. Rows that are read then would be
// others'. A row too tall shows by a box that is not where the next row is, one too low by a box that no row has.
func (m *sheetMarks) misplaced(g *gray, w *warp) bool {
	last, known := paper.Point{}, false
	for i, r := range m.rows {
		n, found := 0, 0
		var at paper.Point
		for k, f := range m.of(r) {
			if !f.Ticked() {
				continue
			}
			n++
			if c := m.cells[i][k]; c.framed {
				found++
				t := r.Tick(f)
				at.X, at.Y = at.X+c.tick.X-t.X, at.Y+c.tick.Y-t.Y
			}
		}
		if 2*found <= n {
			return true
		}
		at.X, at.Y = at.X/float64(found), at.Y/float64(found)
		if known && math.Hypot(at.X-last.X, at.Y-last.Y) > mostJump {
			return true
		}
		last, known = at, true
	}
	return m.unlisted(g, w)
}

// unlisted reports whether boxes stand where no row has one: in the lower part of a tall row, or below the last.
func (m *sheetMarks) unlisted(g *gray, w *warp) bool {
	for i, r := range m.rows {
		end := r.Y + r.H
		for y := r.Y + leastRow; y+leastRow-1 < end; y += 2 {
			if m.boxesAt(g, w, i, y, end) {
				return true
			}
		}
		if (i == len(m.rows)-1 || i == m.lines()-1) && m.boxesAt(g, w, i, end, end+leastRow) {
			return true
		}
	}
	return false
}

// boxesAt reports whether boxes stand at about a height below a row and above an end.
func (m *sheetMarks) boxesAt(g *gray, w *warp, i int, y, end float64) bool {
	n, found := 0, 0
	for k, f := range m.of(m.rows[i]) {
		if !f.Ticked() {
			continue
		}
		n++
		c, t := m.cells[i][k], m.rows[i].Tick(f)
		dy := c.tick.Y - t.Y
		s := look(g, w, paper.Row{Y: y, H: leastRow}, f, c.tick.X-t.X, dy, c.yard)
		if s.framed && s.frame > 0.6*m.frame && math.Abs(s.tick.X-c.tick.X) < 0.6 && s.tick.Y-dy+s.tick.H < end {
			found++
		}
	}
	return 2*found > n
}
