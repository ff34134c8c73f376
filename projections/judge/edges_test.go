package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
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

// TestChangedWhileClosed: a report of a piece of a closed set names its line, where it has one.
func TestChangedWhileClosed(t *testing.T) {
	t.Parallel()
	for _, line := range []int64{0, 1, 2} {
		s, x := plain()
		s.tell("storage", x.checkedAt(), x.set, x.trip(),
			&events.PieceReported{Line: line, Item: "ITEM-2", Quantity: 1, Became: events.BecameRepair})
		s.live(x.unused())
		v := judge(t, s.world(), x.key())
		fs := find(v, projections.LinkOutOfOrder)
		if len(fs) != 1 || fs[0].Way != new(projections.ChangedClosed).Way() {
			t.Fatalf("line %d: %s", line, show(v))
		}
		var want []int64
		if line > 0 {
			want = []int64{line}
		}
		if !slices.Equal(fs[0].Lines, want) {
			t.Errorf("line %d: told of lines %v", line, fs[0].Lines)
		}
	}
}

// TestConfirm: what was added before it was recorded holds if it was recorded so, and is added if nobody had expected it.
func TestConfirm(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x)
	expected := s.all[len(s.all)-1]
	recorded, remarked := expected, expected
	recorded.Recorded = recorded.Recorded.Add(time.Minute)
	remarked.Remarks = events.RemarkGap
	other := *expected.Event
	other.Operator = "B-7"
	changed := expected
	changed.Event = &other
	for name, test := range map[string]struct {
		all  int // that were expected
		is   facts.Fact
		want bool
	}{
		"as expected":       {len(s.all), recorded, true},
		"not expected":      {len(s.all) - 1, recorded, true},
		"with a remark":     {len(s.all), remarked, false},
		"of another person": {len(s.all), changed, false},
	} {
		w := worldOf(s.all[:test.all])
		if got := w.Confirm(test.is); got != test.want {
			t.Errorf("%s: %t", name, got)
		}
		if it := w.FactBySeq(recorded.Seq); test.want && (it == nil || !it.Recorded.Equal(recorded.Recorded)) {
			t.Errorf("%s: held is %+v", name, it)
		}
	}
}
