package marks

import (
	"os"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// TestAnotherPackingsPrint: where an exception was added or taken back since the print, rows are taller or lower than
// the sheet in hand says. Such a page is refused, never read with rows that are others'.
func TestAnotherPackingsPrint(t *testing.T) {
	missing := func(lines ...int64) func(*paper.Sheet) {
		return func(s *paper.Sheet) {
			for _, l := range lines {
				s.Exceptions = append(s.Exceptions, events.Exception{Line: l, Counted: 0, Reason: "missing"})
			}
		}
	}
	long := func(s *paper.Sheet) {
		s.Lines[4].Description = strings.Repeat("a long description ", 12)
	}
	for i, tt := range []struct {
		name          string
		print, inHand func(*paper.Sheet)
		refused       bool
	}{
		{"the same", missing(3, 9), missing(3, 9), false},
		{"the same with a tall row", long, long, false},
		{"an exception more", nil, missing(4), true},
		{"an exception less", missing(4), nil, true},
		{"two exceptions more", nil, missing(4, 5), true},
		{"two exceptions less", missing(4, 5), nil, true},
		{"another line's exception", missing(3), missing(9), true},
		{"an exception in the last line", nil, missing(15), false},
		{"two lines' worth, so that boxes fall on other rows' boxes", missing(2, 3, 4, 5, 6, 7), nil, true},
		{"the same the other way", nil, missing(2, 3, 4, 5, 6, 7), true},
	} {
		if i%2 == 0 && os.Getenv("LISTBOUND_PAPERS") == "" {
			continue // half of them are enough for every day: the others are the same the other way
		}
		s := sheet(t, 15, tt.print)
		drawn, g := printedAt(t, s, paper.A4, flatDPI)
		page := drawn[0]
		if os.Getenv("LISTBOUND_PAPERS") != "" {
			marks := penned(g, func(events.Stage, int64) markstest.Kind { return markstest.Tick })
			page = markstest.Over(t, page, markstest.SVG(g, 1, marks, 540))
		}
		p, err := Read(flat(page), of(sheet(t, 15, tt.inHand)))
		switch {
		case tt.refused && cause(err) != OtherPrint:
			t.Errorf("%s: %v (%v)", tt.name, err, p != nil)
		case !tt.refused && err != nil:
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}
