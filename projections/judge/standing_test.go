package judge

import (
	"slices"
	"testing"

	"listbound/events"
	"listbound/projections"

	"pgregory.net/rapid"
)

// TestPageExpectsWhatCameBeforeOnce: pieces that came before the first count was
// signed are in it, and are not expected a second time.
func TestPageExpectsWhatCameBeforeOnce(t *testing.T) {
	s, x := plain()
	x.first.Counts[0].Counted = 8
	x.final, x.closed = nil, nil
	s.live(x)
	s.tell("north/or-3", clock(1, 7, 15), x.set, x.trip(), &events.SetCounted{
		Case: x.ref, Stage: events.StageAdded, Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 2}},
	})
	st, err := s.world().Standing(x.key())
	if err != nil {
		t.Fatal(err)
	}
	if l := st.Lines[0]; l.Expected != 8 || l.Packed != 6 || l.Last != 8 {
		t.Fatalf("line 1 is expected %d times (packed %d, counted %d), should be 8, 6, 8", l.Expected, l.Packed, l.Last)
	}
}

// TestStandingIsWhatAFinalCountMaySay: the page that asks for a final count and
// the judgement of it keep one account. A final count that says what the page
// expects differs in no line.
func TestStandingIsWhatAFinalCountMaySay(t *testing.T) {
	looked := 0
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		w := worldOf(all)
		for _, k := range w.Trips() {
			c := w.Trip(k)
			if c.List == nil || c.CaseRef == "" || len(c.Counted) == 0 || c.Next != nil {
				continue
			}
			st, err := w.Standing(k)
			if err != nil {
				t.Fatal(err)
			}
			last := all[len(all)-1]
			last.Seq = 1 << 40
			d := &events.SetCounted{Case: c.CaseRef, Stage: events.StageFinal, Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2"}
			for _, l := range st.Lines {
				if l.Expected >= 0 { // an invented week may remove more than there was
					d.Counts = append(d.Counts, events.Count{Line: l.Line.Line, Counted: l.Expected})
				}
			}
			e := *c.Counted[0].Event
			e.Time, e.StationSeq, e.ID, e.Data = clock(400, 9, 30), 1<<30, derivedID(clock(400, 9, 30), k.Set), d
			e.Trip, e.Subject = k.Trip, k.Set
			last.Event = &e
			w2 := worldOf(append(slices.Clone(all), last))
			if k.Trip == "" {
				continue
			}
			looked++
			tl := tallyUp(w2.Trip(k), c.CaseRef)
			if len(tl.finalDiffs) > 0 || tl.final == nil {
				t.Fatalf("%v: the page expects %+v, the final count differs: %+v", k, st.Lines, tl.finalDiffs)
			}
		}
	})
	if looked < 20 {
		t.Fatalf("only %d trips were looked at", looked)
	}
}

// TestStandingTells: what a page shows of a case.
func TestStandingTells(t *testing.T) {
	s, x := plain()
	s.live(x)
	st, err := s.world().CaseStanding(x.ref)
	if err != nil {
		t.Fatal(err)
	}
	if len(st.Sets) != 1 || !st.Closed || st.Outcome != "reconciled" || len(st.Left) != 0 || len(st.Moves) != 0 {
		t.Fatalf("%+v", st)
	}
	set := st.Sets[0]
	if set.Key != x.key() || set.List != "LAP-MAJOR" || set.Version != 3 || !set.Opened || !set.Listed ||
		set.Code != own(x) || set.Title == "" {
		t.Errorf("%+v", set)
	}
	if !slices.Equal(set.Stages, []events.Stage{events.StageFirst, events.StageFinal}) || len(set.Lines) != 3 {
		t.Errorf("stages %v, lines %v", set.Stages, set.Lines)
	}
	for _, l := range set.Lines {
		if !l.Counted || l.Last != l.Quantity || l.Expected != l.Quantity || l.Packed != l.Quantity {
			t.Errorf("%+v", l)
		}
	}
	unopened := newTurn("LAP-015", 0, x.list)
	unopened.open, unopened.first, unopened.final, unopened.closed = nil, nil, nil, nil
	s.live(unopened)
	if st, err := s.world().Standing(unopened.key()); err != nil || st.Opened {
		t.Errorf("in storage: %+v, %v", st, err)
	}
	var none projections.CaseStanding
	if none, err = s.world().CaseStanding("K-none"); err != nil || len(none.Sets) != 0 || none.Closed {
		t.Errorf("%+v, %v", none, err)
	}
}
