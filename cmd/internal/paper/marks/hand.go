package marks

import "slices"

// Limits of how a column's own ticks are taken as a measure of its pen.
const (
	handTicks = 4    // so many of them at least
	handOther = 0.2  // share of the column's marks that may be of another shape
	handShare = 0.78 // of their median darkness that each must have
	handLeast = 0.25 // of a stroke of the print's black: no tick that was rubbed out is as dark
	handBlur  = 0.04 // less in a blurred picture, which takes as much of thin strokes that an eraser left
	handNoise = 1.4  // of what counts as ink at all
)

// hands sets how dark a tick must be, column by column. Where nearly all that is in a column has a tick's shape and one
// darkness, that is its pen, however pale: what a blur makes of a thin pale stroke is told from what an eraser leaves by
// the other marks and by its shape, not by a limit that holds for all pens.
func (m *sheetMarks) hands(limit float64) {
	for k, f := range m.fields {
		if !f.Ticked() {
			continue
		}
		enough := min(m.darkEnough, m.hand(k, limit))
		for i := range m.cells {
			m.cells[i][k].enough = enough
		}
	}
}

// hand is how dark a tick of a column's own pen is at least; more than any where the column doesn't tell.
func (m *sheetMarks) hand(k int, limit float64) float64 {
	var ticks []float64
	other := 0
	for i := range m.cells {
		switch c := m.cells[i][k]; {
		case c.field.Lined:
		case c.inside.share < inkEmpty || c.inside.longest < longEmpty || c.strike || !c.whole:
		case c.inked() && c.usual && !c.runsOn:
			ticks = append(ticks, c.inside.dark)
		default:
			other++
		}
	}
	if len(ticks) < handTicks || float64(other) > handOther*float64(len(ticks)+other) {
		return 1
	}
	slices.Sort(ticks)
	return max(handShare*ticks[len(ticks)/2], handLeast-handBlur*m.blur(), handNoise*limit)
}

// inked reports whether there is ink enough in the box for a tick, wherever it lies.
func (s *seen) inked() bool {
	in := s.inside
	return in.share >= inkTicked && in.longest >= longTicked && (in.middle || in.longest >= longAside && in.share >= inkAside)
}
