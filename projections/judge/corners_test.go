package judge

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestOverBefore: of a set's cases the one that is asked about must be over, by its closing or its final count, by more than the
// clocks may differ.
func TestOverBefore(t *testing.T) {
	t.Parallel()
	s, x := plain()
	x.final = nil
	s.live(x)
	s.opened(x, clock(1, 12, 0), "K-later")
	later := s.last(events.KindSetOpened)
	w := s.world()
	j := judgement{w: w, c: w.Trip(x.key())}
	at := w.FactByID(later.Event.ID)
	if !j.overBefore(x.ref, at) || j.overBefore("K-later", at) {
		t.Errorf("closed before: %t, of the case in hand: %t", j.overBefore(x.ref, at), j.overBefore("K-later", at))
	}
	if j.overBefore(x.ref, w.FactByID(s.last(events.KindSetCounted).Event.ID)) {
		t.Error("a case was over before it was closed")
	}
}

// TestPackedAgainByAnotherList: what a set was packed by before, another list of which there is a newer version, is no old
// version of the list that it was packed by then.
func TestPackedAgainByAnotherList(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.list("LAP-OTHER", 1, 6)
	s.list("LAP-OTHER", 2, 7)
	s.tell("packing-1", x.packedAt().Add(-time.Minute), x.set, x.trip(), &events.SetPacked{List: "LAP-OTHER", Version: 1})
	s.live(x)
	if fs := find(must(s.world().Judge(x.key())), projections.ListSuperseded); len(fs) != 0 {
		t.Errorf("%+v", fs)
	}
}

// TestGivenUpByItsOwn: a sheet that lay with a set is given up by the reading of that sheet, whatever else lay with the set since.
func TestGivenUpByItsOwn(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := s.pair()
	z := newTurn("LAP-031", 0, y.list)
	for _, turn := range []*turn{x, y, z} {
		s.live(turn.unused())
	}
	for i, sheet := range []string{own(x), own(z), own(y)} {
		s.tell("storage", clock(1, 6+i, 0), y.set, y.trip(), &events.SetChecked{Tag: y.set, Place: "storage A4", Sheet: outside(sheet)})
	}
	at, last, since := s.world().givenUp(x.key())
	if at != y.key() || last == nil || !last.It.At().Equal(clock(1, 6, 0)) || since == nil || !since.It.At().Equal(clock(1, 8, 0)) {
		t.Errorf("with %v, read %+v, its own since %+v", at, last, since)
	}
}

// TestLockTwiceOnce: a lock that is recorded twice of the other set is told of once.
func TestLockTwiceOnce(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := s.pair().unused()
	y.seal.Seals = x.seal.Seals
	s.live(y)
	s.tell("packing-1", y.sealedAt().Add(time.Minute), y.set, y.trip(), y.seal)
	s.live(x.unused())
	n := 0
	for _, f := range find(must(s.world().Judge(x.key())), projections.SealDiffers) {
		if _, ok := f.Detail.(*projections.LockTwice); ok {
			n++
		}
	}
	if n != 1 {
		t.Errorf("told %d times", n)
	}
}

// TestInDoubtNoMore: a set of which a doubt was gone again before it was opened was not used in doubt.
func TestInDoubtNoMore(t *testing.T) {
	t.Parallel()
	for _, gone := range []bool{true, false} {
		s, x := plain()
		x.check.Sheet = &events.Reading{Found: events.FoundNone}
		x.final.Counts[0].Counted-- // so that something is found in the end
		s.live(x)
		if gone {
			s.checked(x, time.Hour, &events.SetChecked{Tag: x.set, Place: "storage A4", Sheet: outside(own(x))})
		}
		vs := []projections.Verdict{must(s.world().Judge(x.key()))}
		if err := TellKnown(&shelf{all: s.all}, clock(2, 0, 0), vs); err != nil {
			t.Fatal(err)
		}
		if u := vs[0].UsedInDoubt; len(vs[0].Findings) == 0 || (u == nil) != gone {
			t.Errorf("the doubt gone %t: used in doubt %+v, findings %v", gone, u, codes(vs[0]))
		}
	}
}

// TestLossesAreFetched: what a site lost is looked for in what is kept, though nothing else of the site was asked.
func TestLossesAreFetched(t *testing.T) {
	t.Parallel()
	s := newStory()
	s.tell("packing-1", clock(0, 6, 0), "north", "", &events.RecordsLost{})
	if got := NewWorld(&shelf{all: s.all}).Losses("north"); len(got) != 1 {
		t.Errorf("%d losses", len(got))
	}
}

// TestLaidBackByTheLater: two sets have their own pieces again when the later of them is packed.
func TestLaidBackByTheLater(t *testing.T) {
	t.Parallel()
	for _, first := range []bool{true, false} {
		s, x := plain()
		y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
		s.live(y)
		s.live(x)
		mine, other := clock(3, 6, 0), clock(3, 7, 0)
		if !first {
			mine, other = other, mine
		}
		s.packedAt(x, mine, 1)
		s.packedAt(y, other, 1)
		for _, m := range []projections.Move{{From: x.key(), To: y.key(), Item: "ITEM-1"}, {From: y.key(), To: x.key(), Item: "ITEM-1"}} {
			if it := s.world().laidBack(m); it == nil || !it.At().Equal(clock(3, 7, 0)) {
				t.Errorf("%s packed first %t: %+v", x.set, first, it)
			}
		}
	}
}

// TestLogOfTheRun: a run of another load that was recorded after this one began, and passed, takes its log from nobody.
func TestLogOfTheRun(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x.unused())
	s.logged(x, clock(0, 7, 10), func(*events.RunFigures) {})
	other := *x.run
	other.Load, other.Run = "S2-other", 3
	s.tell("sterilizer-2", clock(0, 7, 40), x.set, x.trip(), &other)
	w := s.world()
	c := w.Trip(x.key())
	j := judgement{w: w, c: c}
	good := c.Sterilized[len(c.Sterilized)-1]
	if facts.RunOf(good).Load != x.run.Load {
		t.Fatalf("the last run is %+v", facts.RunOf(good))
	}
	if j.logOf(good) == nil {
		t.Error("the log of the run is not found")
	}
}

// TestMissedLinesOfOthers: what is missed of a line is told with it, unless the assembly tells of the same item that it is short.
func TestMissedLinesOfOthers(t *testing.T) {
	t.Parallel()
	item := func(id string, packed int64) *backItem {
		return &backItem{id: id, known: 5, expected: 5, listed: 5, packed: packed,
			reported: reported{lost: 1, missing: itemAt(7, &events.PieceReported{})}}
	}
	for _, test := range []struct {
		name      string
		assembled []*backItem
		told      bool
	}{
		{"not packed since", nil, true},
		{"it is short then", []*backItem{item("A", 4)}, false},
		{"another is short then", []*backItem{item("B", 4), item("A", 5)}, true},
	} {
		var d projections.PieceMissed
		missedLines(&d, []*backItem{item("A", 5)}, &assembled{items: test.assembled})
		if (len(d.Lines) == 1) != test.told {
			t.Errorf("%s: %+v", test.name, d.Lines)
		}
	}
}

// TestFewLinesOfBoth: a piece that is over in the one set and short in the other was laid there at packing only where neither
// differs in many lines.
func TestFewLinesOfBoth(t *testing.T) {
	t.Parallel()
	for lines := range fewLines + 2 {
		many := lines > fewLines
		s := newStory()
		x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
		y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 6, 2, 4, 5, 5)).forCase(x.ref)
		x.first.Counts[0].Counted--
		x.final.Counts[0].Counted--
		y.first.Counts[0].Counted++
		y.final.Counts[0].Counted++
		for i := 1; i < lines; i++ { // besides the first
			y.first.Counts[i].Counted--
			y.final.Counts[i].Counted--
		}
		s.live(y)
		s.live(x)
		fs := find(must(s.world().Judge(x.key())), projections.CountDiffersAtOpen)
		if len(fs) != 1 {
			t.Fatalf("%+v", fs)
		}
		d, ok := fs[0].Detail.(*projections.FirstDiffers)
		if !ok || (len(d.Beside) == 0) != many {
			t.Errorf("%d lines of the other differ: %+v", lines, fs[0].Detail)
		}
	}
}

// TestStepsBackOpened: what is missing on the way back says when the set was opened all the same.
func TestStepsBackOpened(t *testing.T) {
	t.Parallel()
	for _, opened := range []bool{true, false} {
		s, x := plain()
		s.wayBack(x)
		if !opened {
			x.unused()
		}
		s.live(x)
		for _, f := range find(must(s.world().Judge(x.key())), projections.LinkMissing) {
			d, ok := f.Detail.(*projections.StepsBackMissing)
			if ok && (d.Opened != nil) != opened || ok && opened && !d.Opened.At.Equal(x.openedAt()) {
				t.Errorf("opened %t: %+v", opened, d)
			}
			if ok {
				return
			}
		}
		t.Fatal("nothing is missing")
	}
}

// TestMissedByLine: which lines are missed is told in their order, whichever way the list has them.
func TestMissedByLine(t *testing.T) {
	t.Parallel()
	s, x := plain()
	slices.Reverse(x.list.Lines)
	x.seal = sealed(x.list, x.set, x.trip())
	s.live(x)
	s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
	s.reported(x, clock(1, 11, 5), events.BecameLost, 3)
	fs := find(must(s.world().Judge(x.key())), projections.CameBackShort)
	if len(fs) != 1 || !slices.Equal(fs[0].Lines, []int64{1, 3}) {
		t.Errorf("%+v", fs)
	}
}

// TestUsedUnopened: of a set that nobody recorded as opened, the first count of another case is another use once the case before is
// over, and a count of the case in hand is not; neither is any later count.
func TestUsedUnopened(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name  string
		over  bool
		stage events.Stage
		uses  int
	}{
		{"counted first when the case before was over", true, events.StageFirst, 2},
		{"counted first while it was not", false, events.StageFirst, 1},
		{"counted between when it was over", true, events.StageAdded, 1},
	} {
		s, x := plain()
		x.open = nil
		if !test.over {
			x.final, x.closed = nil, nil
		}
		s.live(x)
		s.tell("or-3", clock(1, 13, 0), x.set, x.trip(), &events.SetCounted{Case: "K-next", Stage: test.stage, Sheet: "screen",
			Counter: "B-3310", Counts: countAll(x.list)})
		w := s.world()
		j := judgement{w: w, c: w.Trip(x.key())}
		first, next := w.FactByID(s.all[len(s.all)-1].Event.ID), []use{{ref: x.ref}}
		if got := j.usedUnopened(facts.CountOf(first), first, next); got != (test.uses == 2) {
			t.Errorf("%s: %t", test.name, got)
		}
	}
}

// TestExplainedByReports: what was reported since packing explains what the first count differs by: a piece that is lost or in
// repair is in no other set, and one that was found or is back was in none.
func TestExplainedByReports(t *testing.T) {
	t.Parallel()
	for became, counted := range map[events.Became]int64{events.BecameLost: 5, events.BecameRepair: 5, events.BecameFound: 7,
		events.BecameBack: 7, events.BecameReplaced: 7} {
		s, x := plain()
		x.first.Counts[0].Counted = counted
		s.live(x)
		s.reported(x, clock(0, 18, 0), became, 1)
		w := s.world()
		c := w.Trip(x.key())
		out := w.firstBalances(c, tallyUp(c, x.ref))
		if len(out) != 1 || out[0].Expected != counted || out[0].Counted != counted {
			t.Errorf("%s: %+v", became, out)
		}
	}
}

// TestFirstOfLoadInForce: what is found of a load as a whole is told with a set that was in it by the records in force.
func TestFirstOfLoadInForce(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).unused()
	s.live(x.unused())
	taken := s.last(events.KindSetSterilized)
	s.live(y)
	s.correct(taken, clock(0, 9, 0), nil)
	if got := s.world().FirstOf(y.run.Load); got != y.key() {
		t.Errorf("%v", got)
	}
}

// TestGivenUpBeforeItsOwn: where a set was seen with its own sheet since, under whatever name, what was read before gives nothing up.
func TestGivenUpBeforeItsOwn(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := s.pair()
	z := newTurn("LAP-031", 0, y.list)
	for _, turn := range []*turn{x, y, z} {
		s.live(turn.unused())
	}
	look := func(on *turn, hour int, tag, sheet string) {
		s.tell("storage", clock(0, hour, 0), on.set, on.trip(), &events.SetChecked{Tag: tag, Place: "storage A4", Sheet: outside(sheet)})
	}
	look(z, 9, x.set, own(x)) // and with its own again at noon
	look(y, 10, y.set, own(x))
	if at, last, _ := s.world().givenUp(x.key()); last != nil {
		t.Errorf("with %v, read %+v", at, last)
	}
}

// TestRemovedUncounted: what left the field before the first count is not asked for at the end, though that count has not its line.
func TestRemovedUncounted(t *testing.T) {
	t.Parallel()
	for _, left := range []int64{1, 0} {
		s, x := plain()
		x.first.Counts = x.first.Counts[:len(x.first.Counts)-1]
		if left > 0 {
			x.first.Removed = []events.Removed{{Line: 3, Quantity: left, Reason: "handed out"}}
		}
		x.final.Counts[2].Counted--
		s.live(x)
		if fs := find(must(s.world().Judge(x.key())), projections.CountShort); (len(fs) == 0) != (left > 0) {
			t.Errorf("%d removed: %+v", left, fs)
		}
	}
}

// TestTrayWithWhoseSheet: of a tray that was found under another set's name is said whose sheet lay with it.
func TestTrayWithWhoseSheet(t *testing.T) {
	t.Parallel()
	s, x := plain()
	y := s.pair()
	s.live(y.unused())
	for _, of := range []*turn{x, y} {
		s.live(x.unused())
		s.tell("storage", clock(0, 13, 0), x.set, x.trip(), &events.SetChecked{Tag: "LAP-099", Place: "storage A4",
			Sheet: outside(own(of))})
		fs := find(must(s.world().Judge(x.key())), projections.SheetSwapped)
		if len(fs) == 0 {
			t.Fatal("nothing is found")
		}
		if d, ok := fs[len(fs)-1].Detail.(*projections.TrayWithSheet); !ok || d.Sheet != of.key() {
			t.Errorf("the sheet of %s: %+v", of.set, fs[len(fs)-1].Detail)
		}
		s, x = plain()
		y = s.pair()
		s.live(y.unused())
	}
}

// TestLentWithPieceInHand: a piece that a lent set is handed back with, only damaged, is not missing.
func TestLentWithPieceInHand(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.loaned(x, cameAt, events.ReturnArrived)
	s.live(x.unused())
	s.loaned(x, wentAt, events.ReturnHanded, excepted(1, 5, events.ReasonDamaged))
	v := must(s.world().Judge(x.key()))
	if len(find(v, projections.CameBackShort)) > 0 || len(find(v, projections.LoanDiffers)) != 1 {
		t.Errorf("%s", codes(v))
	}
}

// TestAllAlong: two sets stayed together where both did all the while; one that came later did not.
func TestAllAlong(t *testing.T) {
	t.Parallel()
	shelf := projections.Place{Name: "storage A4"}
	of := func(from, to int) []stay { return []stay{{shelf, clock(0, from, 0), clock(0, to, 0)}} }
	for _, test := range []struct {
		a, b []stay
		n    int
	}{{of(8, 12), of(8, 12), 1}, {of(8, 12), of(9, 12), 0}, {of(9, 12), of(8, 12), 0}, {of(8, 11), of(8, 12), 0}} {
		if got := allAlong(test.a, test.b, clock(0, 8, 0), clock(0, 12, 0)); len(got) != test.n {
			t.Errorf("%v and %v: %v", test.a, test.b, got)
		}
	}
}

// TestWashedInTheTurn: a turn of which a washing is recorded says so, and one that was only received does not.
func TestWashedInTheTurn(t *testing.T) {
	t.Parallel()
	for step, want := range map[events.ReturnStep]bool{events.ReturnWashed: true, events.ReturnReceived: false} {
		s, x := plain()
		s.live(x)
		s.tell("washing", clock(1, 12, 0), x.set, x.trip(), &events.SetReturned{Step: step})
		if got := s.world().Trip(x.key()).Washed(); got != want {
			t.Errorf("%s: %t", step, got)
		}
	}
}

// TestClaimsAreFetched: what a badge claimed in an emergency is looked for in what is kept, though nothing else was asked.
func TestClaimsAreFetched(t *testing.T) {
	t.Parallel()
	s := newStory()
	s.tell("or-3", clock(0, 6, 0), "north", "", &events.AccessClaimed{Badge: "B-9", Reason: "at night"})
	if NewWorld(&shelf{all: s.all}).Claimed("B-9", "north/or-3", clock(0, 7, 0)) == nil {
		t.Error("it is not found")
	}
}

// TestHandledIsTold: what people did about a finding is told in the order of time, and nothing that was taken back.
func TestHandledIsTold(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.live(x)
	step := func(hour int, text string) *facts.Fact {
		return s.tell("office", clock(2, hour, 0), x.set, x.trip(),
			&events.IncidentHandled{Code: string(projections.CountShort), Step: events.IncidentNoted, Text: text, Assignee: "B-7"})
	}
	step(8, "asked the room")
	s.correct(step(9, "of another set"), clock(2, 10, 0), nil)
	step(11, "found it")
	v := must(s.world().Judge(x.key()))
	if len(v.Handled) != 2 || v.Handled[0].Text != "asked the room" || v.Handled[1].Text != "found it" ||
		v.Handled[0].Assignee != "B-7" || !v.Handled[1].Time.Equal(clock(2, 11, 0)) {
		t.Errorf("%+v", v.Handled)
	}
}

// TestIndicatorOverdueOnce: a run that is recorded a second time of the set waits for its indicator once.
func TestIndicatorOverdueOnce(t *testing.T) {
	t.Parallel()
	s, x := plain()
	s.waits(events.Waits{Indicator: 30})
	s.live(x.unused())
	s.tell("sterilizer-2", x.sterilizedAt().Add(time.Minute), x.set, x.trip(), x.run)
	s.now = clock(9, 8, 2)
	n := 0
	for _, f := range find(must(s.world().Judge(x.key())), projections.Overdue) {
		if _, ok := f.Detail.(*projections.IndicatorOverdue); ok {
			n++
		}
	}
	if n != 1 {
		t.Errorf("told %d times", n)
	}
}

// TestMovedAndPutRight: that a sheet was found elsewhere than it was sealed shows the reading by which it was put right.
func TestMovedAndPutRight(t *testing.T) {
	t.Parallel()
	s, x := plain()
	x.check.Sheet.Found = string(events.InsideBag)
	s.live(x)
	fs := find(must(s.world().Judge(x.key())), projections.SheetMoved)
	if len(fs) == 0 {
		t.Fatal("nothing is found")
	}
	d := fs[0].Detail.(*projections.Moved)
	if right := d.Righted != nil; !right || !slices.Contains(fs[0].Events, s.last(events.KindSetOpened).Seq) {
		t.Errorf("%+v %+v", fs[0], d)
	}
}

// TestPutAsideInTheCase: what is put aside during a case may be counted out of it, and of no other; what was aside before was used.
func TestPutAsideInTheCase(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name string
		hour int // of the day of the case, when it was put aside
		also string
		used int
	}{{"before it was opened", 6, "", 1}, {"in the case", 8, "", 0}, {"and counted in another", 8, "K-other", 1}} {
		s, x := plain()
		s.live(x)
		if test.also != "" {
			s.tell("or-4", clock(1, 11, 0), x.set, x.trip(), &events.SetCounted{Case: test.also, Stage: events.StageFirst, Sheet: "screen",
				Counter: "B-3310", Counts: countAll(x.list)})
		}
		s.tell("or-3", clock(1, test.hour, 0), x.set, x.trip(), &events.SetChecked{Aside: events.AsidePut, Reason: "torn"})
		n := 0
		for _, f := range find(must(s.world().Judge(x.key())), projections.PutAside) {
			if _, ok := f.Detail.(*projections.UsedAside); ok {
				n++
			}
		}
		if n != test.used {
			t.Errorf("%s: used %d times, want %d", test.name, n, test.used)
		}
	}
}

// TestIndicatorOfTheCase: an indicator that was seen at the opening for another case shows nothing of this one.
func TestIndicatorOfTheCase(t *testing.T) {
	t.Parallel()
	for _, ref := range []string{"", "K-later"} {
		s, x := plain()
		s.policy(func(p *events.Policy) { p.IndicatorAtOpening = events.Required })
		again := *x.open
		again.Case = cmp.Or(ref, x.ref)
		x.open.Indicator = ""
		s.live(x)
		s.tell("or-3", clock(1, 13, 0), x.set, x.trip(), &again)
		if fs := find(must(s.world().Judge(x.key())), projections.IndicatorNotSeen); (len(fs) == 0) != (ref == "") {
			t.Errorf("seen for %q: %+v", again.Case, fs)
		}
	}
}

// TestLaidBackByNobody: while one of two sets was not packed again, nobody laid anything back.
func TestLaidBackByNobody(t *testing.T) {
	t.Parallel()
	for _, first := range []bool{true, false} {
		s, x := plain()
		y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
		s.live(y)
		s.live(x)
		if first {
			s.packedAt(x, clock(3, 6, 0), 1)
		} else {
			s.packedAt(y, clock(3, 6, 0), 1)
		}
		if it := s.world().laidBack(projections.Move{From: x.key(), To: y.key(), Item: "ITEM-1"}); it != nil {
			t.Errorf("the first alone %t: %+v", first, it)
		}
	}
}
