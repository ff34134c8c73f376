package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestFirstCountInAnotherOrder: lines may be counted in any order, by whoever counts first too.
func TestFirstCountInAnotherOrder(t *testing.T) {
	t.Parallel()
	s, x := plain()
	if x.first.Counts[0].Counted == x.first.Counts[1].Counted {
		t.Fatal("two lines of one quantity tell nothing")
	}
	slices.Reverse(x.first.Counts)
	s.live(x)
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole || len(v.Findings) != 0 {
		t.Error(show(v))
	}
}

// TestIncompleteOnceLentAnew: what a set lacks after its supplier brought it again is not of the case before.
func TestIncompleteOnceLentAnew(t *testing.T) {
	t.Parallel()
	for _, lent := range []bool{false, true} {
		s, x := plain()
		s.live(x)
		if lent {
			s.tell("washing", clock(1, 10, 30), x.set, "", &events.SetReturned{Step: events.ReturnArrived})
		}
		s.cameBack(x, clock(1, 11, 0), events.ReturnIncomplete)
		if of := find(must(s.world().Judge(x.key())), projections.CameBackShort); (len(of) == 0) != lent {
			t.Errorf("lent anew %v: %+v", lent, of)
		}
	}
}

// TestTagReadAfterOpening: a tag that was read after an opening without one is the tray's in the time of the policy, and not
// where another opening came before.
func TestTagReadAfterOpening(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		after  time.Duration
		opened bool // by the reading itself
		want   string
	}{
		{30 * time.Minute, false, "LAP-022"}, {30*time.Minute + 1, false, ""}, {time.Minute, true, ""},
	} {
		s, x := plain()
		x.open.Tag = ""
		s.live(x)
		var read events.Data = &events.SetChecked{Tag: "LAP-022"}
		if tt.opened {
			read = &events.SetOpened{Case: x.ref, Tag: "LAP-022"}
		}
		s.tell("or-3", x.openedAt().Add(tt.after), x.set, x.trip(), read)
		w := s.world()
		c := w.Trip(x.key())
		if got := w.tagAfter(c, w.openings(c)[0]); got != tt.want {
			t.Errorf("%s after it, opening %v: %q, want %q", tt.after, tt.opened, got, tt.want)
		}
	}
}

// TestHistoryEventByID: an event is shown by its id, and nothing where none has it.
func TestHistoryEventByID(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x)
	packed := s.last(events.KindSetPacked)
	w := s.world()
	if h, err := w.HistoryEvent(packed.Event.ID); err != nil || h == nil || h.Seq != packed.Seq || h.Set != x.set {
		t.Errorf("%+v, %v", h, err)
	}
	if h, err := w.HistoryEvent(derivedID(clock(0, 0, 0), "none")); err != nil || h != nil {
		t.Errorf("of an id that nobody has: %+v, %v", h, err)
	}
}

// TestCountedForAnotherCaseAtOnce: a first count for another case is another use from the clocks' tolerance on, after the
// last count for the case of the opening.
func TestCountedForAnotherCaseAtOnce(t *testing.T) {
	t.Parallel()
	for after, again := range map[time.Duration]bool{2 * time.Minute: false, 2*time.Minute + time.Second: true} {
		s, x := plain()
		x.first, x.closed = nil, nil
		s.live(x)
		s.tell("or-3", x.finalAt().Add(after), x.set, x.trip(), &events.SetCounted{Case: "K-9", Stage: events.StageFirst,
			Sheet: events.SheetScreen, Counter: "B-3310", Witness: "B-3322", Counts: countAll(x.list)})
		if of := find(judge(t, s.world(), x.key()), projections.NotReprocessed); (len(of) > 0) != again {
			t.Errorf("%s after the last count: %+v", after, of)
		}
	}
}

// TestPackedBesideCountsOthers: between two packings lie the sets that are neither, each once.
func TestPackedBesideCountsOthers(t *testing.T) {
	t.Parallel()
	s, x := plain()
	packed := func(set string, minute int) string {
		f := s.tell("packing-1", clock(0, 6, minute), set, tripOf(set, minute), &events.SetPacked{List: x.list.List, Version: 1})
		return f.Event.ID
	}
	a := packed("A", 0)
	for i, set := range []string{"C", "B", "A", "C", "D"} {
		packed(set, i+1)
	}
	b := packed("B", 9)
	w := s.world()
	for _, pair := range [][2]string{{a, b}, {b, a}} {
		d, ok := w.beside(w.FactByID(pair[0]), w.FactByID(pair[1]))
		if !ok || d.Between != 2 {
			t.Errorf("%+v, %v", d, ok)
		}
	}
	if _, ok := w.beside(w.FactByID(a), nil); ok {
		t.Error("a packing lay beside none")
	}
}

// TestFirstNegativeResult: of several negative results of a load the first one counts, in whatever order they came.
func TestFirstNegativeResult(t *testing.T) {
	t.Parallel()
	early, late := clock(0, 9, 0), clock(0, 10, 0)
	for _, order := range [][]time.Time{{early, late}, {late, early}} {
		s, x := plain()
		s.live(x)
		for _, at := range order {
			s.readBio(x, at, "negative", "positive")
		}
		w := s.world()
		j := judgement{w: w, c: w.Trip(x.key())}
		first, unproved, soon := j.readNegative(x.run)
		if first == nil || !first.At().Equal(early) || unproved != nil || soon != nil {
			t.Errorf("told as %v: %v, %v, %v", order, first, unproved, soon)
		}
	}
}
