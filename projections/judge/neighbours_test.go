package judge

import (
	"time"

	"listbound/events"
)

// neighbourTales are of a set's turns that lie beside each other, and of facts that
// stand between two of them.
func neighbourTales() []tale {
	turns := func(s *story, n int) (out []*turn) {
		l := s.list("LIST-A", 1, 6, 2)
		for i := range n {
			out = append(out, newTurn("A", i, l))
		}
		return out
	}
	// packedOnly tells a turn up to its storage.
	packedOnly := func(s *story, x *turn) {
		x.open, x.first, x.final, x.closed = nil, nil, nil, nil
		s.live(x)
	}
	// counted tells six turns, and counts in the last that name the first, as a page
	// does that was left open. Its opening names no trip.
	counted := func(s *story, before func(x []*turn)) []*turn {
		x := turns(s, 6)
		before(x)
		for _, t := range x[:5] {
			if t.pack != nil {
				packedOnly(s, t)
			}
		}
		from := len(s.all)
		s.live(x[5])
		for i := from; i < len(s.all); i++ {
			switch e := s.all[i].Event; e.Kind() {
			case events.KindSetCounted:
				e.Trip = x[0].trip()
			case events.KindSetOpened:
				e.Trip = ""
			}
		}
		return x
	}
	return []tale{
		{"counts that name the first of six turns, opened in the last", func(s *story) {
			counted(s, func([]*turn) {})
		}},
		{"counts that name the first of six turns, whose opening was taken back", func(s *story) {
			counted(s, func([]*turn) {})
			s.correct(s.last(events.KindSetOpened), clock(20, 8, 0), nil)
		}},
		{"counts that name a turn whose packing is handed in last", func(s *story) {
			var pack *events.SetPacked
			x := counted(s, func(x []*turn) { pack, x[0].pack = x[0].pack, nil })
			s.tell("packing-1", x[0].packedAt(), "A", x[0].trip(), pack)
		}},
		{"counts that name a turn whose packing was taken back", func(s *story) {
			counted(s, func([]*turn) {})
			f := s.all[1]
			s.correct(&f, clock(20, 8, 0), nil)
		}},
		{"counts for another case than the opening's, corrected to it", func(s *story) {
			x := counted(s, func(x []*turn) { x[5].first.Case, x[5].final.Case = "K-9", "K-9" })
			right := *x[5].final
			right.Case = x[5].ref
			s.correct(s.last(events.KindSetCounted), clock(20, 8, 0), &right)
		}},
		{"packed in one trip again after the next began, and a packing handed in late", func(s *story) {
			x := turns(s, 4)
			packedOnly(s, x[0])
			packedOnly(s, x[1])
			s.tell("packing-1", clock(6, 6, 0), "A", x[0].trip(), x[0].pack)
			s.tell("storage", clock(9, 12, 0), "A", "", &events.SetChecked{Place: "cart"})
			x[3].day = 8
			packedOnly(s, x[3])
		}},
		{"a packing at the very moment of the one before", func(s *story) {
			x := turns(s, 3)
			packedOnly(s, x[0])
			s.tell("storage", clock(0, 15, 0), "A", "", &events.SetChecked{Place: "cart"})
			packedOnly(s, x[2])
			s.tell("packing-2", x[0].packedAt(), "A", x[1].trip(), x[1].pack)
		}},
		{"read by a sheet that was sealed anew after it, as clocks have it", func(s *story) {
			x := turns(s, 1)[0]
			next := s.listAt(clock(0, 5, 0), "LIST-A", 2, 6, 4)
			x.check.Sheet.Code = sheetCode(next, "A", x.trip())
			packedOnly(s, x)
			s.tell("packing-1", x.checkedAt().Add(time.Minute), "A", x.trip(), &events.SetPacked{List: "LIST-A", Version: 2})
			s.tell("packing-1", x.checkedAt().Add(2*time.Minute), "A", x.trip(), sealed(next, "A", x.trip()))
		}},
		{"a trip taken back from one set and recorded for another, and a third with its sheet", func(s *story) {
			x := turns(s, 1)[0]
			c := newTurn("C", 0, s.list("LIST-C", 1, 6, 3))
			pack := *s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack)
			seal := *s.tell("packing-1", x.sealedAt(), "A", x.trip(), x.seal)
			s.tell("packing-1", clock(0, 6, 40), "B", x.trip(), x.pack)
			s.correct(&pack, clock(0, 6, 30), nil)
			s.correct(&seal, clock(0, 6, 31), nil)
			c.check.Sheet.Code = x.seal.Code
			packedOnly(s, c)
		}},
		{"two trips that nobody recorded as packed, one with the other's sheet", func(s *story) {
			a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
			s.tell("storage", clock(0, 8, 0), "B", b.trip(), &events.SetChecked{Place: "storage A4"})
			s.tell("storage", clock(0, 9, 0), "A", a.trip(), &events.SetChecked{Place: "storage A4"})
			s.tell("storage", clock(0, 10, 0), "A", a.trip(), &events.SetChecked{Place: "storage A4", Sheet: outside(own(b))})
		}},
		{"a policy replaced by another", func(s *story) {
			p := events.DefaultPolicy()
			f := *s.tell("ledger", clock(-1, 0, 0), "north", "", &events.PolicyAdopted{Policy: p})
			x := turns(s, 1)[0]
			x.final.Witness = ""
			s.live(x)
			p.TwoPersons = false
			s.correct(&f, clock(2, 0, 0), &events.PolicyAdopted{Policy: p})
		}},
		{"an unsealed set packed again unopened", func(s *story) {
			x := turns(s, 2)
			x[0].seal, x[0].check = nil, nil
			packedOnly(s, x[0])
			packedOnly(s, x[1])
		}},
		{"an indicator read in time, and a look corrected", func(s *story) {
			s.waits(events.Waits{Indicator: 48})
			x := turns(s, 1)[0]
			s.live(x)
			f := s.last(events.KindSetChecked)
			s.readBio(x, clock(1, 8, 0), "negative", "")
			s.correct(f, clock(2, 8, 0), &events.SetChecked{Place: "storage B1", Sheet: x.check.Sheet})
			s.now = clock(9, 0, 0)
		}},
	}
}
