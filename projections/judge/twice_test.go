package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// asAFullWorld holds each verdict out of a source against that of a world which holds all.
func asAFullWorld(t *testing.T, all []facts.Fact) {
	t.Helper()
	full := worldOf(all)
	for _, k := range full.Trips() {
		if got, want := show(must(sparing(&shelf{all: all}).Judge(k))), show(must(full.Judge(k))); got != want {
			t.Errorf("%v out of a source is\n%s\nshould be\n%s", k, got, want)
		}
	}
}

// TestPackedTwiceAtOneMoment: of a set that two benches packed at one moment, the turn before that is looked at by the first of them.
func TestPackedTwiceAtOneMoment(t *testing.T) {
	for _, benches := range [][2]string{{"packing-1", "packing-2"}, {"packing-2", "packing-1"}} {
		s := newStory()
		l := s.list("LIST-A", 1, 6)
		var last *turn
		for n := range 3 {
			last = newTurn("A", n, l)
			if n == 1 { // not opened, but seen when it was packed again
				last.open, last.first, last.final, last.closed = nil, nil, nil, nil
			}
			s.live(last)
			if n == 1 {
				s.tell("storage", clock(9, 12, 0), "A", last.trip(), &events.SetChecked{Place: "storage"})
			}
		}
		for i := range s.all {
			if e := s.all[i].Event; e.Kind() == events.KindSetPacked && e.Trip == last.trip() {
				e.Station = "north/" + benches[0]
			}
		}
		s.tell(benches[1], last.packedAt(), "A", tripOf("A", 9), last.pack)
		asAFullWorld(t, s.all)
	}
}

// TestArrivedInAnotherTime: a lent set's arrival may name a trip that is not the one of its time. The packing after it is looked for
// where the set arrived.
func TestArrivedInAnotherTime(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	for n := range 8 {
		x := newTurn("A", n, l)
		s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack)
	}
	arrived := &events.SetReturned{Step: events.ReturnArrived, Supplier: "Lender", Due: clock(40, 0, 0).Format(time.RFC3339),
		List: l.List, Version: l.Version, Exceptions: []events.Exception{{Line: 1, Counted: 5}}}
	s.tell("storage", clock(13, 12, 0), "A", tripOf("A", 0), arrived)
	s.tell("storage", clock(14, 12, 0), "A", tripOf("A", 20), arrived)
	asAFullWorld(t, s.all)
}
