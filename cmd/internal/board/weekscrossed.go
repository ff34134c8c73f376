package board

import (
	"html/template"

	"listbound/cmd/internal/shell"
)

// crossing is a kind of incident and where the count sheet was.
type crossing struct{ kind, placement string }

// crossed are incidents by both, in one picture: whether a kind belongs to a placement is in neither of the two alone.
type crossed struct {
	kinds, places []bar // the most first
	cells         map[crossing]*bar
}

func (c crossed) table(words *shell.Words) *table {
	t := newTable(words, "bars-crossed", "board.bars-crossed", "bars-kinds", "bars-places", "bars-before", "bars-after", "bars-all")
	for _, kind := range c.kinds {
		for _, place := range c.places {
			if b := c.cells[crossing{kind.key, place.key}]; b != nil {
				t.add(text(kind.name), text(place.name), number(int64(b.before)), number(int64(b.after)), number(int64(b.before+b.after)))
			}
		}
	}
	return t
}

// draw draws a row for each kind and a column for each placement. All bars have one scale, so that cells can be compared.
func (c crossed) draw(words *shell.Words) template.HTML {
	const top, row, left, numbers = 76.0, 34.0, 250.0, 64.0
	most := 1
	for _, b := range c.cells {
		most = max(most, b.before+b.after)
	}
	s := &svg{w: 900, h: top + row*float64(len(c.kinds)) + 8}
	hatched := s.caughtKey(words, "crossed", left)
	column := (s.w - left) / float64(max(1, len(c.places)))
	unit := (column - numbers) / float64(most)
	for n, place := range c.places {
		x := left + column*float64(n)
		s.text(x+6, 58, "start", 13, ink, cut(place.name, column-10, 13))
		s.line(x, 44, x, s.h-6, ink, 1)
	}
	s.line(0, top-10, s.w, top-10, ink, 1.5)
	for i, kind := range c.kinds {
		y := top + row*float64(i)
		s.text(left-10, y+18, "end", 14, ink, cut(kind.name, left-14, 14))
		for n, place := range c.places {
			b := c.cells[crossing{kind.key, place.key}]
			x := left + column*float64(n) + 6
			if b == nil {
				s.text(x, y+18, "start", 13, ink, "–")
				continue
			}
			x = s.bothParts(b, x, y, unit, hatched)
			s.text(x+5, y+18, "start", 13, ink, words.T("board.bars-both", b.before, b.after))
		}
	}
	return s.picture("bars-crossed", words.T("board.bars-crossed"), words.T("board.bars-crossed-say"))
}
