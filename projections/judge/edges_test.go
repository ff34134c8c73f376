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
		s.tell("sterilizer-9", clock(0, 8, 30), x.run.Load, "", &events.IndicatorRead{ // another one's load of the same name
			Load: x.run.Load, Sterilizer: "S9", Result: "negative", Control: "positive"})
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

// TestReadingOfAnotherLoad: an indicator that was read for one load, and belongs to another by a correction, is recorded of that
// one alone.
func TestReadingOfAnotherLoad(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := newTurn("LAP-015", 1, x.list)
	s.live(x)
	s.live(y)
	read := *s.readBio(x, clock(4, 9, 0), "negative", "positive")
	s.correct(&read, clock(4, 10, 0), &events.IndicatorRead{Load: y.run.Load, Sterilizer: "S2", Result: "negative", Control: "positive"})
	w := s.world()
	for load, want := range map[string]bool{x.run.Load: false, y.run.Load: true} {
		_, recorded := w.LoadOf(load)
		if got := slices.Contains(recorded, w.FactBySeq(read.Seq)); got != want {
			t.Errorf("%s has the reading: %t", load, got)
		}
	}
}

// TestMissedLinesInOrder: the lines of pieces that were missed after packing are ascending, whatever the order of the list.
func TestMissedLinesInOrder(t *testing.T) {
	t.Parallel()
	s, x := plain()
	slices.Reverse(x.list.Lines)
	x.rebind()
	for i, line := range []int64{3, 1} {
		s.tell("storage", x.checkedAt().Add(time.Duration(i)*time.Minute), x.set, x.trip(),
			&events.PieceReported{Line: line, Quantity: 1, Became: events.BecameLost})
	}
	s.live(x.unused())
	fs := find(judge(t, s.world(), x.key()), projections.PieceMissing)
	if len(fs) != 1 || !slices.Equal(fs[0].Lines, []int64{1, 3}) {
		t.Errorf("%+v", fs)
	}
}

// TestOpeningOfALook: a look that makes up for an opening belongs to the last one before it, or to the first where none is.
func TestOpeningOfALook(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x)
	s.opened(x, clock(1, 9, 0), x.ref)
	for _, at := range []time.Time{clock(0, 13, 0), clock(1, 8, 0), clock(1, 10, 0)} {
		s.tell("or-3", at, x.set, x.trip(), &events.SetChecked{Place: "or-3", Sheet: outside(own(x))})
	}
	w := s.world()
	c := w.Trip(x.key())
	sheet := &wrongSheet{j: &judgement{w: w, c: c}}
	for at, want := range map[time.Time]time.Time{
		clock(0, 13, 0): x.openedAt(), clock(1, 8, 0): x.openedAt(), clock(1, 10, 0): clock(1, 9, 0),
		x.openedAt(): x.openedAt(),
	} {
		i := slices.IndexFunc(c.Readings, func(r facts.Reading) bool { return r.It.At().Equal(at) })
		if i < 0 {
			t.Fatalf("nothing was read at %s", at)
		}
		if of := sheet.openingOf(&c.Readings[i]); of == nil || !of.It.At().Equal(want) {
			t.Errorf("the look at %s is of %+v, want the opening at %s", at, of, want)
		}
	}
}

// TestShelfLifeByTheOpening: how long a set may lie is asked of the policy in force when it is opened.
func TestShelfLifeByTheOpening(t *testing.T) {
	t.Parallel()
	for days, want := range map[int64]int{0: 0, 1: 1, 3: 0} {
		s, x := plain()
		s.live(x.unused())
		p := events.DefaultPolicy()
		p.ShelfLifeDays = days
		s.tell("packing-1", clock(1, 6, 0), "north", "", &events.PolicyAdopted{Policy: p})
		s.tell("or-3", clock(2, 9, 0), x.set, x.trip(), &events.SetOpened{Case: "K-9", Tag: x.set, Sheet: outside(own(x))})
		if fs := find(judge(t, s.world(), x.key()), projections.PackageUnfit); len(fs) != want {
			t.Errorf("%d days: %+v", days, fs)
		}
	}
}

// TestArrivedAndHandedBack: a lent set that came otherwise than its inventory has it, and was handed back without being packed.
func TestArrivedAndHandedBack(t *testing.T) {
	t.Parallel()
	s, x := plain()
	x.n = -1 // what is told of the set before any packing
	s.loaned(x, cameAt, events.ReturnArrived, excepted(1, 5, events.ReasonMissing))
	s.loaned(x, clock(-1, 10, 0), events.ReturnReceived)
	s.loaned(x, wentAt, events.ReturnHanded)
	fs := find(judge(t, s.world(), x.key()), projections.LoanDiffers)
	if len(fs) == 0 || fs[0].Severity != projections.SeverityNoted {
		t.Fatalf("%+v", fs)
	}
	if d, ok := fs[0].Detail.(*projections.LoanArrived); !ok || d.Since == nil || !d.Since.At.Equal(wentAt) || d.Packed {
		t.Errorf("%+v", fs[0].Detail)
	}
}

// TestUsedBeforeTheFirstPacking: of a use before a set was packed here for the first time no steps of its way back are asked.
func TestUsedBeforeTheFirstPacking(t *testing.T) {
	t.Parallel()
	for _, n := range []int{-1, 0} {
		s, x := plain()
		s.policy(func(p *events.Policy) { p.WayBack = []events.ReturnStep{events.ReturnWashed} })
		before := newTurn(x.set, n, x.list)
		before.day = 0
		s.live(before)
		s.live(newTurn(x.set, 1, x.list).unused())
		v := judge(t, s.world(), key(x.set, 1))
		fs := slices.DeleteFunc(find(v, projections.LinkMissing), func(f projections.Finding) bool {
			return f.Way != new(projections.StepsBackMissing).Way()
		})
		if (len(fs) == 0) != (n < 0) {
			t.Errorf("turn %d: %s", n, show(v))
		}
	}
}

// TestLastWordOfTheFinalCount: what the final count has otherwise than expected stands, whatever a count after it says.
func TestLastWordOfTheFinalCount(t *testing.T) {
	t.Parallel()
	s, x := plain()
	x.final.Counts[0].Counted = 5
	s.live(x)
	s.count(x, events.StageRelief, 9, 35, countAll(x.list)...)
	tl := tallyUp(s.world().Trip(x.key()), x.ref)
	if it := tl.lastOf(1); it == nil || it != tl.final {
		t.Errorf("line 1: %+v", it)
	}
	if it := tl.lastOf(2); it == nil || it == tl.final || facts.CountOf(it).Stage != events.StageRelief {
		t.Errorf("line 2: %+v", it)
	}
}

// TestLiesAgain: which steps of a set say that it lies as if it were sterile.
func TestLiesAgain(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		d    events.Data
		want bool
	}{
		{&events.SetChecked{Place: "storage"}, true}, {&events.SetChecked{Aside: events.AsidePut}, false},
		{&events.SetSterilized{Result: "passed"}, true}, {&events.SetSterilized{Result: "failed"}, false},
		{&events.SetPacked{}, false}, {&events.SetReturned{}, false},
	} {
		if got := liesAgain(&facts.Item{Data: test.d}); got != test.want {
			t.Errorf("%+v: %t", test.d, got)
		}
	}
}

// TestScheduleSaidAt: a schedule said something when it says so, else when it came.
func TestScheduleSaidAt(t *testing.T) {
	t.Parallel()
	came, said := clock(1, 8, 0), clock(1, 7, 0)
	for text, want := range map[string]time.Time{"": came, said.Format(time.RFC3339): said} {
		it := &facts.Item{Fact: facts.Fact{Event: &events.Event{Time: came}}, Data: &events.CaseScheduled{Case: "K-1", Said: text}}
		if at := facts.SaidAt(it); !at.Equal(want) {
			t.Errorf("%q: %s, want %s", text, at, want)
		}
	}
}

// TestSealTrue: a seal is held to those digests that it has.
func TestSealTrue(t *testing.T) {
	t.Parallel()
	digest, binding := binding(plainList(), "LAP-014", tripOf("LAP-014", 0))
	for _, test := range []struct {
		digest, binding string
		want            bool
	}{
		{"", "", true}, {digest.String(), "", true}, {digest.String(), binding.String(), true}, {"", binding.String(), true},
		{binding.String(), "", false}, {binding.String(), binding.String(), false}, {digest.String(), digest.String(), false},
	} {
		s, x := plain()
		x.seal.ListDigest, x.seal.Binding = test.digest, test.binding
		s.live(x)
		w := s.world()
		c := w.Trip(x.key())
		if got := w.SealTrue(c, c.Sealed[0]); got != test.want {
			t.Errorf("%+v: %t", test, got)
		}
	}
	s, x := plain()
	x.list.Title = "\xff" // which has no canonical form, so no digest
	s.live(x)
	w := s.world()
	if c := w.Trip(x.key()); !w.SealTrue(c, c.Sealed[0]) {
		t.Error("a list without a digest holds a seal to one")
	}
}

// TestUnsaidPositives: of positive indicators those alone that a correction took back or replaced.
func TestUnsaidPositives(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x)
	taken := *s.readBio(x, clock(0, 10, 0), "positive", "positive")
	s.readBio(x, clock(0, 11, 0), "positive", "positive")
	s.correct(&taken, clock(0, 12, 0), nil)
	if its := s.world().UnsaidPositives("S2"); len(its) != 1 || its[0].Seq != taken.Seq {
		t.Errorf("%+v", its)
	}
}
