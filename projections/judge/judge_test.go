package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func TestWholeChain(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 3, 6, 2, 4)
	x := newTurn("LAP-014", 0, l)
	s.live(x)
	v := judge(t, s.world(), x.key())
	if v.Status != projections.Whole || len(v.Findings) != 0 || !v.Opened || !v.Over || v.Case != x.ref ||
		v.Where != "north/or-3" || !v.Since.Equal(x.finalAt()) {
		t.Fatalf("a chain without a fault: %s", show(v))
	}
	// Each link that is still to come leaves the chain open.
	for n := 1; n < len(s.all)-1; n++ {
		v := judge(t, worldOf(s.all[:n+1]), x.key())
		if v.Status != projections.Open || len(v.Findings) != 0 {
			t.Errorf("after %d facts: %s", n+1, show(v))
		}
	}
	if len(s.all) != 9 {
		t.Fatalf("the story has %d facts", len(s.all))
	}
}

// plain returns a story with one list and a turn to spoil.
func plain() (*story, *turn) {
	s := newStory()
	l := s.list("LAP-MAJOR", 3, 6, 2, 4)
	return s, newTurn("LAP-014", 0, l)
}

// pair returns a second turn beside the first, whose list differs in line 2.
func (s *story) pair() *turn {
	return newTurn("LAP-022", 0, s.list("LAP-MINOR", 1, 6, 3, 4))
}

// underName tells of a second turn like pair, at whose opening a tag was read.
func (s *story) underName(tag string) *turn {
	y := s.pair()
	y.open.Tag = tag
	s.live(y)
	return y
}

// countedUnderName is underName with the tag of a turn, its sheet lying there and the
// counts made by it.
func (s *story) countedUnderName(x *turn, code string) *turn {
	y := s.pair()
	y.open.Tag, y.open.Sheet.Code, y.first.Sheet, y.final.Sheet = x.set, code, code, code
	s.live(y)
	return y
}

// exchangedForGood tells of two turns of a set like pair, at the openings of some of
// which a turn's tag was read, and returns the second.
func (s *story) exchangedForGood(x *turn, tagged ...int) *turn {
	l := s.list("LAP-MINOR", 1, 6, 3, 4)
	var second *turn
	for n := range 2 {
		y := newTurn("LAP-022", n, l)
		if slices.Contains(tagged, n) {
			y.open.Tag = x.set
		}
		s.live(y)
		second = y
	}
	return second
}

// openedForK9 tells that a turn's set was opened in the afternoon, as itself.
func (s *story) openedForK9(x *turn) *facts.Fact {
	return s.tell("or-4", clock(1, 17, 12), x.set, x.trip(), &events.SetOpened{Case: "K-9", Tag: x.set,
		OuterLabel: x.set, Sheet: outside(own(x))})
}

// seenAs tells of a second turn like pair, and of a look at it in storage.
func (s *story) seenAs(d *events.SetChecked) {
	y := s.pair()
	s.live(y)
	s.tell("storage", clock(0, 16, 0), y.set, y.trip(), d)
}

func own(t *turn) string { return sheetCode(t.list, t.set, t.trip()) }

type findingTest struct {
	code projections.Code
	name string
	sev  projections.Severity
	with func(s *story, x *turn)
	not  func(s *story, x *turn)
}

// findingTests: each code, what gives it, and the nearest thing that must not. What the
// assembly after a case shows is in assembly_test.go.
var findingTests = slices.Concat(otherTests, assemblyTests(), reportTests(), missingTests(), loanTests(),
	migrationTests(), immediateTests(), logTests(), askTests(), dayTestCases())

var otherTests = []findingTest{
	{projections.SheetSwapped, "another set's sheet at the opening", projections.SeverityBroken,
		func(s *story, x *turn) { y := s.pair(); s.live(y); x.open.Sheet.Code = own(y); s.live(x) },
		func(s *story, x *turn) { y := s.pair(); s.live(y); s.live(x) }},
	{projections.SheetSwapped, "found in storage and put right", projections.SeverityNoted,
		func(s *story, x *turn) { y := s.pair(); s.live(y); x.check.Sheet.Code = own(y); s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetSwapped, "the tray is another set, the sheet this set's", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Tag = "LAP-022"; s.live(x) },
		func(s *story, x *turn) { x.open.Tag = "LAP-014"; s.live(x) }},
	{projections.SheetStale, "own sheet of the turn before", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			x2 := newTurn("LAP-014", 1, x.list)
			x2.open.Sheet.Code = own(x)
			s.live(x2)
			*x = *x2
		},
		func(s *story, x *turn) { s.live(x); x2 := newTurn("LAP-014", 1, x.list); s.live(x2); *x = *x2 }},
	{projections.SheetAltered, "same set and trip, other lines", projections.SeverityBroken,
		func(s *story, x *turn) {
			other := s.list("LAP-OTHER", 1, 6, 2, 5)
			x.open.Sheet.Code = sheetCode(other, x.set, x.trip())
			s.live(x)
		},
		func(s *story, x *turn) { s.list("LAP-OTHER", 1, 6, 2, 5); s.live(x) }},
	{projections.SheetAltered, "other lines, and none was bound to it", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.seal = nil
			x.first.Sheet = sheetCode(s.list("LAP-OTHER", 1, 6, 2, 5), x.set, x.trip())
			x.open.Sheet.Code = x.first.Sheet
			s.live(x)
		},
		func(s *story, x *turn) { x.seal = nil; s.live(x) }},
	{projections.SheetSwapped, "a changed sheet of another set, which none was bound to", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			y.seal = nil
			s.live(y)
			x.open.Sheet.Code = sheetCode(s.list("LAP-OTHER", 1, 6, 2, 5), y.set, y.trip())
			s.live(x)
		},
		func(s *story, x *turn) { s.list("LAP-OTHER", 1, 6, 2, 5); s.live(x) }},
	{projections.SheetStale, "a changed sheet of the turn before, which none was bound to", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.seal = nil
			s.live(x)
			x2 := newTurn("LAP-014", 1, x.list)
			x2.open.Sheet.Code = sheetCode(s.list("LAP-OTHER", 1, 6, 2, 5), x.set, x.trip())
			s.live(x2)
			*x = *x2
		},
		func(s *story, x *turn) { x.seal = nil; s.live(x) }},
	{projections.SheetAltered, "sealed with another list than packed", projections.SeverityBroken,
		func(s *story, x *turn) {
			other := s.list("LAP-OTHER", 1, 6, 2, 5)
			x.seal = sealed(other, x.set, x.trip())
			s.live(x)
		},
		func(s *story, x *turn) { x.seal.List, x.seal.Version = "", 0; s.live(x) }},
	{projections.SheetAltered, "sealed with another list, by name", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.list("LAP-OTHER", 1, 6, 2, 5)
			x.seal.List, x.seal.Version = "LAP-OTHER", 1
			s.live(x)
		},
		func(s *story, x *turn) { s.list("LAP-OTHER", 1, 6, 2, 5); s.live(x) }},
	{projections.SheetAltered, "a seal whose binding is another set's", projections.SeverityBroken,
		func(s *story, x *turn) {
			_, b := binding(x.list, "LAP-022", x.trip())
			x.seal.Binding = b.String()
			x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil // before anybody reads it
			s.live(x)
		},
		func(s *story, x *turn) { x.seal.Binding = ""; s.live(x) }},
	{projections.SheetAltered, "a seal whose digests are not the list's", projections.SeverityBroken,
		func(s *story, x *turn) {
			other := s.list("LAP-OTHER", 1, 6, 2, 5)
			d, b := binding(other, x.set, x.trip())
			x.seal.ListDigest, x.seal.Binding = d.String(), b.String()
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnknown, "a trip nobody has recorded", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Sheet.Code = own(s.pair()); s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged, and never read before", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check = nil
			s.damagedAtOpening(x)
			x.first.Sheet, x.final.Sheet = events.SheetScreen, events.SheetScreen
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, right in storage", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.damagedAtOpening(x)
			x.first.Sheet, x.final.Sheet = events.SheetScreen, events.SheetScreen
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, read by hand minutes later", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.check = nil
			s.damagedAtOpening(x)
			x.first.Sheet, x.final.Sheet = events.SheetScreen, events.SheetScreen
			s.live(x)
			s.read(x, 3*time.Minute, &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, read elsewhere by nobody knows which tray", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check = nil
			s.damagedAtOpening(x)
			x.first.Sheet, x.final.Sheet = events.SheetScreen, events.SheetScreen
			s.live(x)
			s.tell("storage", x.openedAt().Add(3*time.Minute), x.set, x.trip(),
				&events.SetChecked{Place: "storage A1", Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, counted by its code while it lay on another tray", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			s.live(y.unused())
			x.check = nil
			s.damagedAtOpening(x)
			s.live(x)
			s.tell("storage", x.openedAt().Add(3*time.Minute), y.set, y.trip(),
				&events.SetChecked{Tag: y.set, Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, counted by its code, and on another tray after the case", projections.SeverityNoted,
		func(s *story, x *turn) {
			y := s.pair()
			s.live(y.unused())
			x.check = nil
			s.damagedAtOpening(x)
			s.live(x)
			s.tell("storage", x.closedAt().Add(time.Hour), y.set, y.trip(),
				&events.SetChecked{Tag: y.set, Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged in storage, not read at the opening, counted by its code", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.check.Sheet = &events.Reading{Found: "outside", Unreadable: true}
			x.open.Sheet = nil
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "damaged at the opening, read an hour later", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check = nil
			s.damagedAtOpening(x)
			x.first.Sheet, x.final.Sheet = events.SheetScreen, events.SheetScreen
			s.live(x)
			s.read(x, time.Hour, &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetUnreadable, "counted by a sheet whose code can't be read", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.final.Sheet, x.final.SheetText = events.SheetUnreadable, "106EATAZ"
			s.live(x)
		},
		func(s *story, x *turn) { x.final.Sheet = own(x); s.live(x) }},
	{projections.SheetUnreadable, "counted by a code with a wrong character, as a station signed it", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.first.Sheet, x.final.Sheet = own(x)[:53]+"U", own(x)[:20]
			s.live(x)
		},
		func(s *story, x *turn) { x.final.Sheet = events.SheetScreen; s.live(x) }},
	{projections.SheetUnreadable, "counted by a damaged code at first, by its own at the end", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.first.Sheet, x.final.Sheet = events.SheetUnreadable, own(x)
			s.live(x)
		},
		func(s *story, x *turn) { x.first.Sheet, x.final.Sheet = own(x), own(x); s.live(x) }},
	{projections.SheetUnreadable, "counted by a damaged code after its own", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.first.Sheet, x.final.Sheet = own(x), events.SheetUnreadable
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetAbsent, "nothing in the holder", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Sheet = &events.Reading{Found: "none"}; s.live(x) },
		func(s *story, x *turn) {
			x.seal.Placement = events.Screen // there is no paper to be absent
			x.open.Sheet, x.check.Sheet = &events.Reading{Found: "none"}, nil
			s.live(x)
		}},
	{projections.SheetAbsent, "nothing in the holder, found minutes later", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.read(x, 3*time.Minute, &events.SetChecked{Tag: x.set, Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetAbsent, "nothing in the holder, nothing hours later, then found", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.read(x, 3*time.Hour, &events.SetChecked{Tag: x.set, Sheet: &events.Reading{Found: "none"}})
			s.read(x, 3*time.Hour+5*time.Minute, &events.SetChecked{Tag: x.set, Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetAbsent, "nothing in the holder, found minutes later by nobody knows which tray", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.read(x, 3*time.Minute, &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(x)}})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.SheetAbsent, "nothing in the holder, as the tray was opened under another name", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			y.open.Tag, y.open.Sheet = x.set, &events.Reading{Found: "none"}
			s.live(y)
			s.live(x.unused())
		},
		func(s *story, x *turn) { // nothing with another tray under its name
			s.live(s.pair().unused())
			x.open.Tag, x.open.Sheet = "LAP-022", &events.Reading{Found: "none"}
			s.live(x)
		}},
	{projections.SheetMoved, "right sheet, inside instead of outside", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.open.Sheet.Found = "inside-bag"; s.live(x) },
		func(s *story, x *turn) {
			x.seal.Placement, x.open.Sheet.Found, x.check.Sheet = events.InsideBag, "inside-bag", nil
			s.live(x)
		}},
	{projections.SheetMoved, "closed inside, and read while nobody had opened it", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.closedInside(x, x.sealedAt().Add(121*time.Second)) },
		func(s *story, x *turn) { s.closedInside(x, x.sealedAt().Add(120*time.Second)) }}, // before it was closed, by the clocks' error
	{projections.SheetMoved, "closed inside, read in storage, and right when it was opened", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.seal.Placement, x.open.Sheet.Found, x.check.Sheet.Found = events.InsideBare, "inside-bare", "inside-bare"
			s.live(x)
		},
		func(s *story, x *turn) { // read once more after it was opened, and where it was unpacked
			x.seal.Placement, x.open.Sheet.Found, x.check.Sheet = events.InsideBare, "inside-bare", nil
			s.live(x)
			again := &events.SetChecked{Sheet: &events.Reading{Found: "inside-bare", Code: own(x)}}
			s.tell("or-3", x.openedAt().Add(time.Minute), x.set, x.trip(), again)
		}},
	{projections.LabelSwapped, "label of another set, sheet with the tray", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.OuterLabel = "LAP-022"; s.live(x) },
		func(s *story, x *turn) { x.open.OuterLabel = ""; s.live(x) }},
	{projections.LabelSwapped, "wrong in storage, right when it was opened", projections.SeverityNoted,
		func(s *story, x *turn) { x.check.OuterLabel = "LAP-022"; s.live(x) },
		func(s *story, x *turn) { x.check.OuterLabel = "LAP-014"; s.live(x) }},
	{projections.LabelSwapped, "the record by the label, tag and sheet another set's", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			s.live(y)
			x.open.Tag, x.open.Sheet.Code = y.set, own(y)
			s.live(x)
		},
		func(s *story, x *turn) { s.live(s.pair()); s.live(x) }},
	{projections.TagUnread, "label and sheet of one set, on nobody knows which tray", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.open.Tag = ""; s.live(x) },
		func(s *story, x *turn) { // the policy does not ask for it
			p := events.DefaultPolicy()
			p.TagAtOpening = events.Optional
			s.tell("packing-1", clock(-1, 6, 0), "north", "", &events.PolicyAdopted{Policy: p})
			x.open.Tag = ""
			s.live(x)
		}},
	{projections.TagUnread, "read soon after", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.open.Tag = ""
			s.live(x)
			s.tell("or-3", x.openedAt().Add(30*time.Minute), x.set, x.trip(), &events.SetChecked{Tag: x.set})
		},
		func(s *story, x *turn) { // scanned once more for the case, by its label
			s.live(x)
			again := *x.open
			again.Tag = ""
			s.tell("or-3", clock(1, 8, 0), x.set, x.trip(), &again)
		}},
	{projections.TagUnread, "read too late to be of that moment", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.open.Tag = ""
			s.live(x)
			s.tell("or-3", x.openedAt().Add(30*time.Minute+time.Second), x.set, x.trip(), &events.SetChecked{Tag: x.set})
		},
		func(s *story, x *turn) { x.check.Tag = ""; s.live(x) }}, // closed, seen from outside
	{projections.LabelSwapped, "label of another set, no tag read", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Tag, x.open.OuterLabel = "", "LAP-022"; s.live(x) },
		func(s *story, x *turn) { x.open.Tag = ""; s.live(x) }},
	{projections.LabelSwapped, "its tag read where another set was opened", projections.SeverityBroken,
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()) },
		func(s *story, x *turn) { s.underName(""); s.live(x.unused()) }},
	{projections.LabelSwapped, "its tag read soon after another set was opened", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.underName("")
			s.tell("or-3", y.openedAt().Add(30*time.Minute), y.set, y.trip(), &events.SetChecked{Tag: x.set})
			s.live(x.unused())
		},
		func(s *story, x *turn) {
			y := s.underName("")
			s.tell("or-3", y.openedAt().Add(30*time.Minute), y.set, y.trip(), &events.SetChecked{Tag: y.set})
			s.live(x.unused())
		}},
	{projections.LabelSwapped, "its tag read too late for another set's opening", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			y := s.underName("")
			s.tell("or-3", y.openedAt().Add(30*time.Minute+time.Second), y.set, y.trip(), &events.SetChecked{Tag: x.set})
			s.live(x.unused())
		},
		func(s *story, x *turn) { s.underName(""); s.live(x.unused()) }},
	{projections.LabelSwapped, "opened under another name and its own for one case", projections.SeverityNoted,
		func(s *story, x *turn) { s.underName(x.set); s.live(x.forCase("K-LAP-022-0")) },
		func(s *story, x *turn) { s.underName(""); s.live(x.forCase("K-LAP-022-0")) }},
	{projections.LabelSwapped, "its tag read in storage under another name", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.seenAs(&events.SetChecked{Tag: x.set}); s.live(x.unused()) },
		func(s *story, x *turn) { s.seenAs(&events.SetChecked{Tag: "LAP-022"}); s.live(x.unused()) }},
	{projections.LabelSwapped, "its tag read under another name, before its label was right", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.seenAs(&events.SetChecked{Tag: x.set})
			x.open.OuterLabel = x.set
			s.live(x)
		},
		func(s *story, x *turn) { s.seenAs(&events.SetChecked{}); s.live(x) }},
	{projections.LabelSwapped, "tray and sheet in storage under another name", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.seenAs(&events.SetChecked{Tag: x.set, Sheet: outside(own(x))})
			s.live(x.unused())
		},
		func(s *story, x *turn) { s.seenAs(&events.SetChecked{}); s.live(x.unused()) }},
	{projections.LabelSwapped, "packed as another set after it was opened as that", projections.SeverityBroken,
		func(s *story, x *turn) { s.exchangedForGood(x, 0, 1); s.live(x.unused()) },
		func(s *story, x *turn) { s.exchangedForGood(x); s.live(x.unused()) }},
	{projections.LabelSwapped, "another set's tray packed as this one", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(newTurn(x.set, 0, x.list).unused()); *x = *s.exchangedForGood(x, 0, 1) },
		func(s *story, x *turn) { s.live(newTurn(x.set, 0, x.list).unused()); *x = *s.exchangedForGood(x, 0) }},
	{projections.CountedOnWrongList, "counted by the list of the set it was opened as", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()) },
		func(s *story, x *turn) { s.countedUnderName(x, own(x)); s.live(x.unused()) }},
	{projections.CountedOnWrongList, "opened and counted as a set with the same list", projections.SeverityNoted,
		func(s *story, x *turn) {
			y := newTurn("LAP-022", 0, x.list)
			y.open.Tag = x.set
			s.live(y)
			s.live(x.unused())
		},
		func(s *story, x *turn) { s.live(newTurn("LAP-022", 0, x.list)); s.live(x.unused()) }},
	{projections.CountedOnWrongList, "another set's tray counted by this one's list", projections.SeverityNoted,
		func(s *story, x *turn) { y := s.underName(x.set); s.live(x.unused()); *x = *y },
		func(s *story, x *turn) { y := s.countedUnderName(x, own(x)); s.live(x.unused()); *x = *y }},
	{projections.CountedOnWrongList, "opened as another set and as itself for one case, counted as the other", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()) },
		func(s *story, x *turn) { s.underName(x.set); s.live(x.forCase("K-LAP-022-0")) }},
	{projections.NotReleased, "another record of its load has another start", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x.unused())
			s.otherStart(x, clock(0, 8, 4), func(d *events.SetSterilized) { d.Started = stamp(clock(0, 7, 20).Add(121 * time.Second)) })
		},
		func(s *story, x *turn) { // as far as the clocks tell, the same one; and one that says no start
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x.unused())
			s.otherStart(x, clock(0, 8, 4), func(d *events.SetSterilized) { d.Started = stamp(clock(0, 7, 22)) })
			s.otherStart(x, clock(0, 8, 5), func(d *events.SetSterilized) { d.Started = "" })
		}},
	{projections.NotReleased, "another record of its load has another cycle number, and it is opened", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.otherStart(x, clock(1, 8, 2), func(d *events.SetSterilized) { d.Run++ })
		},
		func(s *story, x *turn) { // another sterilizer's, another load's, and one of the next day
			s.live(x)
			s.otherStart(x, clock(0, 8, 4), func(d *events.SetSterilized) { d.Run, d.Sterilizer = d.Run+1, "S3" })
			s.otherStart(x, clock(0, 8, 5), func(d *events.SetSterilized) { d.Run, d.Load = d.Run+1, d.Load+"-b" })
			s.otherStart(x, clock(1, 8, 3), func(d *events.SetSterilized) { d.Run++ })
		}},
	{projections.NotReleased, "its load is recorded as started while a failed run of it went on", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Started = stamp(clock(0, 7, 20))
			s.otherStart(x, clock(0, 7, 21), func(d *events.SetSterilized) { d.Run, d.Started, d.Result, d.Released = 3, "", "failed", false })
			s.live(x.unused())
		},
		func(s *story, x *turn) { // once that had failed
			x.run.Started = stamp(clock(0, 7, 20))
			s.otherStart(x, clock(0, 7, 20), func(d *events.SetSterilized) { d.Run, d.Started, d.Result, d.Released = 3, "", "failed", false })
			s.live(x.unused())
		}},
	{projections.NotReleased, "another load was started in its sterilizer while its run went on", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x.unused())
			s.otherStart(x, clock(0, 8, 40), func(d *events.SetSterilized) { beside(d, stamp(clock(0, 7, 27))) })
		},
		func(s *story, x *turn) { // after a whole run; in another one; broken off; and one that says no start
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x.unused())
			s.otherStart(x, clock(0, 8, 40), func(d *events.SetSterilized) { beside(d, stamp(clock(0, 7, 29))) })
			s.otherStart(x, clock(0, 8, 41), func(d *events.SetSterilized) { beside(d, stamp(clock(0, 7, 21))); d.Sterilizer = "S3" })
			s.otherStart(x, clock(0, 8, 42), func(d *events.SetSterilized) {
				beside(d, stamp(clock(0, 7, 21)))
				d.Result, d.Released = "failed", false
			})
			s.otherStart(x, clock(0, 8, 43), func(d *events.SetSterilized) { beside(d, "") })
		}},
	{projections.NotReleased, "a load was started in its sterilizer just before, by a correction, and it is opened", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x)
			f := s.otherStart(x, clock(0, 8, 40), func(d *events.SetSterilized) { beside(d, stamp(clock(0, 3, 0))) })
			d := *x.run
			beside(&d, stamp(clock(0, 7, 16)))
			s.correct(f, clock(0, 9, 0), &d)
		},
		func(s *story, x *turn) { // or it is taken back
			x.run.Started = stamp(clock(0, 7, 20))
			s.live(x)
			s.correct(s.otherStart(x, clock(0, 8, 40), func(d *events.SetSterilized) { beside(d, stamp(clock(0, 7, 16))) }), clock(0, 9, 0), nil)
		}},
	{projections.NotReleased, "a correction gives another set of its load another cycle number", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x.unused())
			f := s.otherStart(x, clock(0, 8, 4), func(*events.SetSterilized) {})
			d := *x.run
			d.Run++
			s.correct(f, clock(0, 9, 0), &d)
		},
		func(s *story, x *turn) { // or takes it back
			s.live(x.unused())
			s.correct(s.otherStart(x, clock(0, 8, 4), func(d *events.SetSterilized) { d.Run++ }), clock(0, 9, 0), nil)
		}},
	{projections.NotReleased, "opened under another name, and in no load", projections.SeverityBroken,
		func(s *story, x *turn) { s.underName(x.set); x.run = nil; s.live(x.unused()) },
		func(s *story, x *turn) { s.underName(""); x.run = nil; s.live(x.unused()) }},
	{projections.NotReleased, "opened under another name, its indicator unchanged", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			y.open.Tag, y.open.Indicator = x.set, "fail"
			s.live(y)
			s.live(x.unused())
		},
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()) }},
	{projections.PutAside, "put aside, and opened under another name", projections.SeverityBroken,
		func(s *story, x *turn) { s.underName(x.set); x.check.Aside = events.AsidePut; s.live(x.unused()) },
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()) }},
	{projections.SealDiffers, "another number", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.open.Seals = []string{"999"}; s.live(x) },
		func(s *story, x *turn) { x.open.Seals = nil; s.live(x) }},
	{projections.SealDiffers, "the number of a seal that was replaced", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			seal := *x.seal
			seal.Seals = []string{"777"}
			s.tell("packing-1", x.checkedAt().Add(1e9), x.set, x.trip(), &seal)
		},
		func(s *story, x *turn) {
			x.open.Seals = []string{"777"}
			x.check.Seals = []string{"48LAP-014"} // the one in force in storage
			s.live(x)
			seal := *x.seal
			seal.Seals = []string{"777"}
			s.tell("packing-1", x.checkedAt().Add(1e9), x.set, x.trip(), &seal)
		}},
	{projections.SealDiffers, "the number of its lock is recorded of another closed set", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x.unused()); s.lockedAs(x, "LAP-090") },
		func(s *story, x *turn) { // of more than a lock can be on; and of one that was opened before
			s.live(x.unused())
			for _, set := range []string{"LAP-090", "LAP-091", "LAP-092"} {
				s.lockedAs(x, set)
			}
		}},
	{projections.SealDiffers, "a correction gives another set the number of its lock", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x.unused())
			seal := *x.seal
			s.correct(s.lockedAs(x, "LAP-090", "777"), clock(0, 9, 0), &seal)
		},
		func(s *story, x *turn) { s.live(x.unused()); s.correct(s.lockedAs(x, "LAP-090"), clock(0, 9, 0), nil) }},
	{projections.SealDiffers, "the number of its lock is recorded of another set, closed later", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", x.openedAt().Add(-time.Hour), "LAP-090", tripOf("LAP-090", 0), x.seal)
		},
		func(s *story, x *turn) { // when its own was cut
			s.live(x)
			s.tell("packing-1", x.openedAt().Add(time.Hour), "LAP-090", tripOf("LAP-090", 0), x.seal)
		}},
	{projections.SealDiffers, "a broken seal", projections.SeverityBroken,
		func(s *story, x *turn) { x.check.SealBroken = true; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.TooHeavy, "a gram above 25 lb", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.pack.WeightGrams = 11341; x.closed = nil; s.live(x) },
		func(s *story, x *turn) { x.pack.WeightGrams = 11340; s.live(x) }}, // ANSI/AAMI ST77 4.3.5: 25 lb = 11.34 kg
	{projections.TooHeavy, "used too heavy, and the case is closed", projections.SeverityNoted,
		func(s *story, x *turn) { x.pack.WeightGrams = 14200; s.live(x) },
		func(s *story, x *turn) { x.pack.WeightGrams = 8400; s.live(x) }},
	{projections.TooHeavy, "packed too heavy, divided and packed again", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.closed = nil
			s.live(x)
			heavy := *x.pack
			heavy.WeightGrams = 14200
			s.tell("packing-1", x.packedAt().Add(time.Minute), x.set, x.trip(), &heavy)
		},
		func(s *story, x *turn) {
			heavy := *x.pack
			heavy.WeightGrams = 14200
			s.tell("packing-1", x.packedAt().Add(-time.Minute), x.set, x.trip(), &heavy)
			x.pack.WeightGrams = 8400
			s.live(x)
		}},
	{projections.TooHeavy, "a site with a limit of its own", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.WeightLimitGrams = 10000 })
			x.pack.WeightGrams = 10001
			x.closed = nil
			s.live(x)
		},
		func(s *story, x *turn) { // and one without
			s.policy(func(p *events.Policy) { p.WeightLimitGrams = 0 })
			x.pack.WeightGrams = 20000
			s.live(x)
		}},
	{projections.SecondLookMissing, "nobody else looked it over", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.SecondLook = []string{x.list.List} })
			s.live(x)
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.SecondLook = []string{"ANOTHER"} })
			s.live(x)
		}},
	{projections.SecondLookMissing, "one badge in both roles", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.SecondLook = []string{x.list.List} })
			x.pack.SecondLook = "B-1182" // who packed it
			s.live(x)
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.SecondLook = []string{x.list.List} })
			x.pack.SecondLook = "B-1183"
			s.live(x)
		}},
	{projections.PlacedOtherwise, "put outside, where sheets travel inside in a bag", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.Placements = []events.Placement{events.InsideBag, events.Screen} })
			x.seal.Placement = events.Outside
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.Placements = []events.Placement{events.InsideBag, events.Outside} })
			x.seal.Placement = events.Outside
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
		}},
	{projections.PlacedOtherwise, "put outside, and opened since", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.Placements = []events.Placement{events.InsideBag} })
			x.seal.Placement = events.Outside
			s.live(x)
		},
		func(s *story, x *turn) { // a list that may travel otherwise
			s.policy(func(p *events.Policy) {
				p.Placements, p.PlacedOtherwise = []events.Placement{events.InsideBag}, []string{x.list.List}
			})
			x.seal.Placement = events.Outside
			s.live(x)
		}},
	{projections.PutAside, "put aside under another set's label, and used", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.shownAs(s.pair(), &events.SetChecked{Tag: x.set, Aside: events.AsidePut, Reason: "torn"})
			s.live(x)
		},
		func(s *story, x *turn) { // and released under it
			y := s.pair()
			s.shownAs(y, &events.SetChecked{Tag: x.set, Aside: events.AsidePut, Reason: "torn"})
			s.checked(y, time.Hour, &events.SetChecked{Tag: x.set, Aside: events.AsideReleased, Reason: "only the dust cover"})
			s.live(x)
		}},
	{projections.PutAside, "its own was put aside and used, and another tray under its name released", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(s.pair().unused())
			x.check.Aside = events.AsidePut
			s.live(x)
			s.checked(x, time.Hour, &events.SetChecked{Tag: "LAP-022", Aside: events.AsideReleased, Reason: "dry"})
		},
		func(s *story, x *turn) { // another tray was put aside under its name
			s.live(s.pair().unused())
			s.live(x)
			s.checked(x, time.Hour, &events.SetChecked{Tag: "LAP-022", Aside: events.AsidePut})
		}},
	{projections.PutAside, "lies there, and another tray was opened and counted under its name", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(s.pair().unused())
			x.check.Aside, x.open.Tag, x.closed = events.AsidePut, "LAP-022", nil
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.PutAside, "put aside and used all the same", projections.SeverityBroken,
		func(s *story, x *turn) { x.check.Aside = events.AsidePut; s.live(x) },
		func(s *story, x *turn) { // and released for a reason
			x.check.Aside = events.AsidePut
			s.live(x)
			s.checked(x, time.Hour, &events.SetChecked{Aside: events.AsideReleased, Reason: "the right sheet was put back"})
		}},
	{projections.PutAside, "released, and put aside again", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check.Aside = events.AsidePut
			s.live(x)
			s.checked(x, time.Hour, &events.SetChecked{Aside: events.AsideReleased, Reason: "dry"})
			s.checked(x, 2*time.Hour, &events.SetChecked{Aside: events.AsidePut})
		},
		func(s *story, x *turn) { // packed and run again
			x.check.Aside = events.AsidePut
			s.live(x)
			s.tell("packing-1", clock(0, 15, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(0, 17, 0), "passed", true)
		}},
	{projections.PutAside, "put aside, packed again, its run failed", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check.Aside = events.AsidePut
			s.live(x)
			s.tell("packing-1", clock(0, 15, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(0, 17, 0), "failed", false)
		},
		func(s *story, x *turn) { // the policy does not ask
			s.policy(func(p *events.Policy) { p.Quarantine = events.Optional })
			x.check.Aside = events.AsidePut
			s.live(x)
		}},
	{projections.PutAside, "lies there", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.check.Aside, x.open, x.first, x.final, x.closed = events.AsidePut, nil, nil, nil, nil
			s.live(x)
		},
		func(s *story, x *turn) { // packed again as its next trip
			x.check.Aside, x.open, x.first, x.final, x.closed = events.AsidePut, nil, nil, nil, nil
			s.live(x)
			s.live(newTurn("LAP-014", 1, x.list))
		}},
	{projections.PackageUnfit, "wet as it was opened", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Package = []events.PackageFault{events.PackageWet}; s.live(x) },
		func(s *story, x *turn) { // the policy does not ask
			s.policy(func(p *events.Policy) { p.SoundPackage = events.Optional })
			x.open.Package = []events.PackageFault{events.PackageWet}
			s.live(x)
		}},
	{projections.PackageUnfit, "torn in storage, and opened", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.check.Package = []events.PackageFault{events.PackageDropped, events.PackageTorn}
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.PackageUnfit, "torn in storage under another set's label", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.shownAs(s.pair(), &events.SetChecked{Tag: x.set, Package: []events.PackageFault{events.PackageTorn}})
			s.live(x)
		},
		func(s *story, x *turn) { // another tray's package, under this one's label
			s.live(s.pair().unused())
			x.check.Tag, x.check.Package = "LAP-022", []events.PackageFault{events.PackageTorn}
			s.live(x)
		}},
	{projections.PackageUnfit, "opened past its shelf life, and another tray under its name before", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 1 })
			s.live(s.pair().unused())
			x.run, x.check = nil, nil
			s.live(x)
			s.runAt(x, x.openedAt().Add(-24*time.Hour-time.Minute))
			s.tell("or-4", x.openedAt().Add(-time.Hour), x.set, x.trip(), &events.SetOpened{Case: "K-9", Tag: "LAP-022", Indicator: "pass"})
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 1 })
			x.run, x.check = nil, nil
			s.live(x)
			s.runAt(x, x.openedAt().Add(-24*time.Hour))
		}},
	{projections.PutAside, "put aside as it was opened, and counted out of the case", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.closed = nil
			s.live(x)
			s.read(x, time.Minute, &events.SetChecked{Tag: x.set, Aside: events.AsidePut, Reason: "wet"})
		},
		func(s *story, x *turn) { // by its tag another tray was opened, which was read minutes later
			s.live(s.pair().unused())
			x.check.Aside, x.open.Tag, x.first, x.final, x.closed = "", "", nil, nil, nil
			s.live(x)
			s.read(x, time.Minute, &events.SetChecked{Tag: "LAP-022", Aside: events.AsidePut})
		}},
	{projections.PackageUnfit, "dropped", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.check.Package = []events.PackageFault{events.PackageDropped}; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.PackageUnfit, "the filter found missing, and released for a reason", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.check.Package = []events.PackageFault{events.PackageFilter}
			s.live(x)
			s.checked(x, time.Hour, &events.SetChecked{Aside: events.AsideReleased, Reason: "this kind has one below only"})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.PackageUnfit, "open on the shelf, packed anew unused", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.check.Package = []events.PackageFault{events.PackageOpen}
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			s.live(newTurn("LAP-014", 1, x.list))
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.PackageUnfit, "opened a minute after its shelf life", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 1 })
			x.run, x.check = nil, nil
			s.live(x)
			s.runAt(x, x.openedAt().Add(-24*time.Hour-time.Minute))
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 1 })
			x.run, x.check = nil, nil
			s.live(x)
			s.runAt(x, x.openedAt().Add(-24*time.Hour))
		}},
	{projections.PackageUnfit, "unopened, and its shelf life over", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 30 })
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			s.now = x.sterilizedAt().Add(30 * 24 * time.Hour)
		},
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.ShelfLifeDays = 30 })
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			s.now = x.sterilizedAt().Add(30*24*time.Hour - time.Second)
		}},
	{projections.LinkMissing, "never sterilized", projections.SeverityBroken,
		func(s *story, x *turn) { x.run = nil; s.live(x) },
		func(s *story, x *turn) { x.closed = nil; s.live(x) }},
	{projections.LinkMissing, "opened unread", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Sheet, x.first.Sheet = nil, "screen"; s.live(x) },
		func(s *story, x *turn) {
			x.seal.Placement, x.open.Sheet, x.check.Sheet = events.Screen, nil, nil
			s.live(x)
		}},
	{projections.LinkMissing, "opened unread, and counted by its own code soon after", projections.SeverityNoted,
		func(s *story, x *turn) { x.open.Sheet = nil; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.LinkMissing, "opened unread, and counted by its own code too late", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open.Sheet = nil
			first := x.first
			x.first = nil
			s.live(x)
			s.tell("or-3", x.openedAt().Add(30*time.Minute+time.Second), x.set, x.trip(), first)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.LinkMissing, "opened unread, and counted by another set's code", projections.SeverityBroken,
		func(s *story, x *turn) {
			y := s.pair()
			s.live(y)
			x.open.Sheet, x.first.Sheet = nil, own(y)
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.LinkMissing, "opened unread, and read soon after", projections.SeverityNoted,
		func(s *story, x *turn) {
			sheet := x.open.Sheet
			x.open.Sheet, x.first.Sheet = nil, "screen"
			s.live(x)
			s.tell("or-3", x.openedAt().Add(5*time.Minute), x.set, x.trip(), &events.SetChecked{Tag: x.set, Sheet: sheet})
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.LinkMissing, "seen in the holder but not read", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Sheet.Code, x.first.Sheet = "", "screen"; s.live(x) },
		func(s *story, x *turn) { x.check.Sheet.Code = ""; s.live(x) }},
	{projections.LinkMissing, "opened a second time for the case, the sheet read at neither", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open.Sheet, x.first.Sheet = nil, "screen"
			s.live(x)
			s.tell("or-3", clock(1, 8, 0), x.set, x.trip(), x.open)
		},
		func(s *story, x *turn) {
			s.live(x)
			again := *x.open
			again.Sheet = nil
			s.tell("or-3", clock(1, 8, 0), x.set, x.trip(), &again)
		}},
	{projections.LinkMissing, "used and packed again without a count", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.first, x.final, x.closed = nil, nil, nil
			s.live(x)
			s.live(newTurn("LAP-014", 1, x.list))
		},
		func(s *story, x *turn) { x.first, x.final, x.closed = nil, nil, nil; s.live(x) }},
	{projections.LinkOutOfOrder, "sealed long after the sterilizer", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			seal := x.seal
			x.seal = nil
			s.live(x)
			s.tell("packing-1", x.sterilizedAt().Add(121*1e9), x.set, x.trip(), seal)
		},
		func(s *story, x *turn) {
			seal := x.seal
			x.seal = nil
			s.live(x)
			s.tell("packing-1", x.sterilizedAt().Add(120*1e9), x.set, x.trip(), seal) // within the clocks' error
		}},
	{projections.LinkOutOfOrder, "opened in one room under two references", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			again := *x.open
			again.Case = "K-OTHER"
			s.tell("or-3", clock(1, 7, 15), x.set, x.trip(), &again)
		},
		func(s *story, x *turn) {
			s.live(x)
			again := *x.open
			s.tell("or-3", clock(1, 7, 15), x.set, x.trip(), &again)
		}},
	{projections.NotReprocessed, "a whole second case on one trip", projections.SeverityBroken,
		func(s *story, x *turn) { s.live(x); s.secondCase(x) },
		func(s *story, x *turn) { // two stations record one opening, minutes apart
			s.live(x)
			again := *x.open
			s.tell("or-4", clock(1, 7, 19), x.set, x.trip(), &again)
		}},
	{projections.NotReprocessed, "opened, unused, put back and opened for another case", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.opened(x, clock(0, 16, 0), "K-OTHER")
			s.tell("storage", clock(0, 17, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", OuterLabel: x.set})
			s.live(x)
		},
		func(s *story, x *turn) { // the wrong reference was corrected
			f := s.opened(x, clock(0, 16, 0), "K-OTHER")
			right := *x.open
			s.correct(f, clock(0, 16, 30), &right)
			s.live(x)
		}},
	{projections.NotReprocessed, "opened, unused, put back and opened for the same case the next day", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.opened(x, clock(0, 16, 0), x.ref)
			s.tell("storage", clock(0, 17, 0), x.set, x.trip(), &events.SetChecked{Place: "Storage A4", OuterLabel: x.set})
			s.live(x)
		},
		func(s *story, x *turn) { // another tray was put back under its name
			s.opened(x, clock(0, 16, 0), x.ref)
			s.tell("storage", clock(0, 17, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", Tag: "LAP-022"})
			s.live(x)
		}},
	{projections.NotReprocessed, "opened, not counted, and back where it was before", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.first, x.final, x.closed = nil, nil, nil
			s.live(x)
			s.tell("storage", clock(1, 8, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", Tag: x.set})
		},
		func(s *story, x *turn) { // looked at again in the room, as somebody had before it was opened
			s.tell("or-3", clock(1, 7, 0), x.set, x.trip(), &events.SetChecked{Place: "room 3", Tag: x.set})
			s.live(x)
			s.tell("or-3", clock(1, 9, 45), x.set, x.trip(), &events.SetChecked{Place: "room 3", Tag: x.set})
		}},
	{projections.NotReprocessed, "counted, and back where it was before", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage", clock(1, 10, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", Tag: x.set})
		},
		func(s *story, x *turn) { // where it was not before: on its way to be reprocessed
			s.live(x)
			s.tell("storage", clock(1, 10, 0), x.set, x.trip(), &events.SetChecked{Place: "soiled store", Tag: x.set})
		}},
	{projections.NotReprocessed, "opened, back where it was before, and packed again", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.first, x.final, x.closed = nil, nil, nil
			s.live(x)
			s.tell("storage", clock(1, 8, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", Tag: x.set})
			s.live(newTurn(x.set, 1, x.list))
		},
		func(s *story, x *turn) { // packed and run before it was back
			s.live(x)
			s.tell("packing-1", clock(1, 11, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.tell("storage", clock(1, 13, 0), x.set, x.trip(), &events.SetChecked{Place: "storage A4", Tag: x.set})
		}},
	{projections.NotReprocessed, "opened again for its case after its tray was on another shelf", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage", clock(1, 8, 0), x.set, x.trip(), &events.SetChecked{Place: "storage B1", Tag: x.set})
			s.opened(x, clock(1, 9, 0), x.ref)
		},
		func(s *story, x *turn) { // its wrap, on its way to be thrown away
			s.live(x)
			s.tell("storage", clock(1, 8, 0), x.set, x.trip(), &events.SetChecked{Place: "soiled store", OuterLabel: x.set})
			s.opened(x, clock(1, 9, 0), x.ref)
		}},
	{projections.NotReprocessed, "first counted for a second case hours after the first count", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.firstAgain(x, "or-3", clock(1, 9, 21))
		},
		func(s *story, x *turn) { // counted anew under a wrong reference
			s.firstAgain(x, "or-3", clock(1, 9, 20))
		}},
	{projections.NotReprocessed, "first counted for a second case in another room", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.firstAgain(x, "or-4", clock(1, 7, 31))
		},
		func(s *story, x *turn) { // minutes later: another screen, and a wrong reference
			s.firstAgain(x, "or-4", clock(1, 7, 30))
		}},
	{projections.NotReprocessed, "counted for a second case after the first was closed", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			again := *x.first
			again.Case = "K-OTHER"
			s.tell("or-4", clock(1, 13, 0), x.set, x.trip(), &again)
		},
		func(s *story, x *turn) { // a wrong reference in the first count
			x.first.Case = "K-OTHER"
			s.live(x)
		}},
	{projections.NotReprocessed, "counted at the end for a second case after the first was counted and closed", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			again := *x.final
			again.Case = "K-OTHER"
			s.tell("or-4", clock(1, 13, 0), x.set, x.trip(), &again)
		},
		func(s *story, x *turn) { // a wrong reference in the last count, typed after the case was closed
			x.final.Case = "K-OTHER"
			final := x.final
			x.final = nil
			s.live(x)
			s.tell("or-3", clock(1, 13, 0), x.set, x.trip(), final)
		}},
	{projections.NotReprocessed, "cavity and final count for a second case that was not opened for", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			cavity, final := *x.final, *x.final
			cavity.Case, final.Case, cavity.Stage = "K-OTHER", "K-OTHER", events.StageCavity
			s.tell("or-4", clock(1, 13, 0), x.set, x.trip(), &cavity)
			s.tell("or-4", clock(1, 13, 20), x.set, x.trip(), &final)
		},
		func(s *story, x *turn) { // before the case was closed: a wrong reference
			cavity := *x.final
			cavity.Case, cavity.Stage = "K-OTHER", events.StageCavity
			s.live(x)
			s.tell("or-3", clock(1, 9, 35), x.set, x.trip(), &cavity)
		}},
	{projections.NotReprocessed,
		"counted for a case that nobody opened it for, and opened for another one after that", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open = nil
			s.live(x)
			s.tell("or-4", clock(1, 14, 0), x.set, x.trip(), &events.SetOpened{Case: "K-OTHER", Tag: x.set, Sheet: outside(own(x))})
		},
		func(s *story, x *turn) { // before the end of the first: a wrong reference
			x.open = nil
			s.live(x)
			s.tell("or-4", clock(1, 9, 31), x.set, x.trip(), &events.SetOpened{Case: "K-OTHER", Tag: x.set, Sheet: outside(own(x))})
		}},
	{projections.NotReprocessed, "counted for two cases, and nobody opened it", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.open = nil
			s.live(x)
			second := *x.first
			second.Case = "K-OTHER"
			s.tell("or-4", clock(1, 14, 0), x.set, x.trip(), &second)
		},
		func(s *story, x *turn) {
			x.open = nil
			s.live(x)
			second := *x.first
			second.Case = "K-OTHER"
			s.tell("or-3", clock(1, 7, 22), x.set, x.trip(), &second)
		}},
	{projections.NotReprocessed, "opened under another name, then under its own", projections.SeverityBroken,
		func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()); s.openedForK9(x) },
		func(s *story, x *turn) { // packed and run
			s.underName(x.set)
			s.live(x.unused())
			s.tell("packing-1", clock(1, 11, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.openedForK9(x)
		}},
	{projections.NotReprocessed, "opened under its own name, then under another", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			y := s.underName("")
			s.tell("or-4", clock(1, 14, 0), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: x.set})
		},
		func(s *story, x *turn) {
			s.live(x)
			y := s.underName("")
			s.tell("or-4", clock(1, 14, 0), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: y.set})
		}},
	{projections.NotReprocessed, "run between two cases, and the run failed", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.runAgain(x, clock(1, 12, 0), "failed", false)
			s.secondCase(x)
		},
		func(s *story, x *turn) { // packed and run
			s.live(x)
			s.tell("packing-1", clock(1, 11, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.secondCase(x)
		}},
	{projections.NotReprocessed, "run between two cases, never packed", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.secondCase(x)
		},
		func(s *story, x *turn) { // run for immediate use in the case in hand
			s.live(x)
			s.runAgain(x, clock(1, 8, 0), "passed", true)
			s.opened(x, clock(1, 8, 10), x.ref)
		}},
	{projections.NotReprocessed, "run between two cases, and packed after it", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.tell("packing-1", clock(1, 12, 3), x.set, x.trip(), x.pack)
			s.secondCase(x)
		},
		func(s *story, x *turn) { // as far as the clocks tell, packed and run
			s.live(x)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.tell("packing-1", clock(1, 12, 2), x.set, x.trip(), x.pack)
			s.secondCase(x)
		}},
	{projections.NotReprocessed, "packed and run between two cases, and packed again", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", clock(1, 11, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.tell("packing-1", clock(1, 12, 3), x.set, x.trip(), x.pack)
			s.secondCase(x)
		},
		func(s *story, x *turn) { // and run again
			s.live(x)
			s.tell("packing-1", clock(1, 11, 0), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 12, 0), "passed", true)
			s.tell("packing-1", clock(1, 12, 3), x.set, x.trip(), x.pack)
			s.runAgain(x, clock(1, 13, 0), "passed", true)
			s.secondCase(x)
		}},
	{projections.NotReprocessed, "opened for two cases within minutes, and counted for one after the other", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.tell("or-3", clock(1, 7, 20), x.set, x.trip(), &events.SetOpened{Case: "K-OTHER", Tag: x.set})
			s.live(x)
			again := *x.first
			again.Case = "K-OTHER"
			s.tell("or-3", x.finalAt().Add(3*time.Minute), x.set, x.trip(), &again)
		},
		func(s *story, x *turn) { // before the first one's final count, as far as the clocks tell
			s.tell("or-3", clock(1, 7, 20), x.set, x.trip(), &events.SetOpened{Case: "K-OTHER", Tag: x.set})
			x.closed = nil
			s.live(x)
			again := *x.first
			again.Case = "K-OTHER"
			s.tell("or-3", x.finalAt().Add(2*time.Minute), x.set, x.trip(), &again)
		}},
	{projections.NotReprocessed, "a lent set opened for two cases", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.lent(x, 2*time.Hour) },
		func(s *story, x *turn) { s.lent(x, 5*time.Minute) }}, // one opening under two references
	{projections.NotReprocessed, "a lent set opened for two cases with no time to reprocess it", projections.SeverityBroken,
		func(s *story, x *turn) { s.lent(x, 2*time.Hour-time.Second) },
		func(s *story, x *turn) { s.lent(x, 5*time.Minute) }},
	{projections.NotReprocessed, "a lent set put back and opened for its case again", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.lent(x, 5*time.Minute)
			again := *s.last(events.KindSetOpened).Event.Data.(*events.SetOpened)
			for _, day := range []int{0, 1} {
				s.tell("storage", clock(day, 18, 0), x.set, "", &events.SetChecked{Place: "storage A4"})
			}
			s.tell("or-3", clock(2, 7, 0), x.set, "", &again)
		},
		func(s *story, x *turn) { s.lent(x, 5*time.Minute) }},
	{projections.NotReprocessed, "a lent set opened for one case, counted for another", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.lent(x, 5*time.Minute)
			s.tell("or-3", clock(1, 9, 0), x.set, "", x.final)
			x.first.Case = "K-3"
			s.tell("or-4", clock(1, 14, 0), x.set, "", x.first)
		},
		func(s *story, x *turn) { s.lent(x, 5*time.Minute) }},
	{projections.NotReprocessed, "a lent set opened for two cases, its run in between failed", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.lent(x, 10*time.Hour)
			run := *x.run
			run.Load, run.Result, run.Released = "S2-01-09", "failed", false
			s.tell("sterilizer-2", clock(1, 12, 0), x.set, "", &run)
		},
		func(s *story, x *turn) { s.lent(x, 5*time.Minute) }},
	{projections.NotReprocessed, "packed though it came back not clean", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.uncleanBefore(x, events.ReturnReceived); s.live(x.unused()) },
		func(s *story, x *turn) { // as every set is that leaves a case
			s.uncleanBefore(x, events.ReturnLeft)
			s.live(x.unused())
		}},
	{projections.NotReprocessed, "packed though it came out of the washer not clean, and opened", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.uncleanBefore(x, events.ReturnWashed); s.live(x) },
		func(s *story, x *turn) { // washed once more
			s.uncleanBefore(x, events.ReturnWashed)
			s.tell("washing", clock(1, 14, 0), x.set, tripOf(x.set, 0), &events.SetReturned{Step: events.ReturnWashed})
			s.live(x)
		}},
	{projections.NotReprocessed, "packed though it came back not clean, and packed anew", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.uncleanBefore(x, events.ReturnInspected)
			s.live(x.unused())
			s.live(newTurn(x.set, 2, x.list).unused())
		},
		func(s *story, x *turn) { // seen so after it was packed
			s.uncleanBefore(x, events.ReturnReceived)
			s.last(events.KindSetReturned).Event.Time = x.packedAt().Add(time.Minute)
			s.live(x.unused())
		}},
	{projections.NotReprocessed, "run for immediate use in its case, and the run failed", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.runAgain(x, clock(1, 8, 0), "failed", false)
			s.opened(x, clock(1, 8, 10), x.ref)
		},
		func(s *story, x *turn) { // not opened since
			s.live(x)
			s.runAgain(x, clock(1, 8, 0), "failed", false)
		}},
	{projections.NotReprocessed, "opened for its case again after it was closed", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.opened(x, clock(1, 11, 0), x.ref) },
		func(s *story, x *turn) { s.live(x); s.opened(x, clock(1, 9, 41), x.ref) }}, // within the clocks' error
	{projections.NotReprocessed, "opened for its case again a day later", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.closed = nil; s.live(x); s.opened(x, clock(2, 7, 13), x.ref) },
		func(s *story, x *turn) { x.closed = nil; s.live(x); s.opened(x, clock(2, 7, 12), x.ref) }},
	{projections.NotReprocessed, "run again after a failed run as it was", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Result, x.run.Released = "failed", false
			s.live(x)
			s.runAgain(x, clock(0, 10, 0), "passed", true)
		},
		func(s *story, x *turn) { // packed anew in between
			x.run.Result, x.run.Released = "failed", false
			s.live(x)
			s.tell("packing-1", clock(0, 9, 0), x.set, x.trip(), x.pack)
			s.tell("packing-1", clock(0, 9, 3), x.set, x.trip(), x.seal)
			s.runAgain(x, clock(0, 10, 0), "passed", true)
		}},
	{projections.NotReprocessed, "washed unopened, and then opened", projections.SeverityBroken,
		func(s *story, x *turn) { s.wentBack(x, clock(0, 20, 0)); s.live(x) },
		func(s *story, x *turn) { s.live(x); s.wentBack(x, clock(1, 12, 0)) }}, // after it was used
	{projections.NotReprocessed, "washed unopened, and run again without being packed", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.wentBack(x, clock(0, 20, 0))
			s.runAgain(x, clock(0, 22, 0), "passed", true)
			s.live(x)
		},
		func(s *story, x *turn) { // packed anew in this turn
			s.wentBack(x, clock(0, 9, 0))
			s.live(x)
			s.tell("packing-1", clock(0, 10, 0), x.set, x.trip(), x.pack)
			s.tell("packing-1", clock(0, 10, 3), x.set, x.trip(), x.seal)
			s.runAgain(x, clock(0, 11, 0), "passed", true)
		}},
	{projections.NotReprocessed, "washed unopened, and seen on its shelf again", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x.unused())
			s.wentBack(x, clock(1, 12, 0))
			s.checked(x, 30*time.Hour, &events.SetChecked{Tag: x.set})
		},
		func(s *story, x *turn) { // packed anew before that
			s.live(x.unused())
			s.wentBack(x, clock(1, 12, 0))
			y := newTurn(x.set, x.day+3, x.list)
			s.live(y.unused())
			s.checked(y, 30*time.Hour, &events.SetChecked{Tag: x.set})
		}},
	{projections.NotReprocessed, "washed unopened", projections.SeverityNoted,
		func(s *story, x *turn) { s.live(x.unused()); s.wentBack(x, clock(1, 12, 0)) },
		func(s *story, x *turn) { // and packed anew
			s.live(x.unused())
			s.wentBack(x, clock(1, 12, 0))
			s.live(newTurn(x.set, x.day+3, x.list).unused())
		}},
	{projections.NotReprocessed, "the next load failed as well", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Result, x.run.Released = "failed", false
			s.live(x)
			s.runAgain(x, clock(0, 9, 0), "failed", false)
		},
		func(s *story, x *turn) { // one run told twice
			x.run.Result, x.run.Released = "failed", false
			s.live(x)
			again := *x.run
			s.tell("sterilizer-2", clock(0, 8, 20), x.set, x.trip(), &again)
		}},
	{projections.LinkOutOfOrder, "counted for another case", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.first.Case = "K-OTHER"; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.TwoPlaces, "two stations within a minute", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("cart", x.checkedAt().Add(59*1e9), x.set, x.trip(), &events.SetChecked{})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.tell("cart", x.checkedAt().Add(60*1e9), x.set, x.trip(), &events.SetChecked{})
		}},
	{projections.TwoPlaces, "two places of storage, told by two stations", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage-2", x.checkedAt().Add(9*1e9), x.set, x.trip(), &events.SetChecked{Place: "storage A5"})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage-2", x.checkedAt().Add(9*1e9), x.set, x.trip(), &events.SetChecked{Place: "Storage A4"})
		}},
	{projections.TwoPlaces, "one station is one place", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage-2", x.checkedAt().Add(9*1e9), x.set, x.trip(), &events.SetChecked{Place: "storage A5"})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.tell("storage", x.checkedAt().Add(9*1e9), x.set, x.trip(), &events.SetChecked{Place: "storage A5"})
		}},
	{projections.TwoPlaces, "opened while another run of it went on", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.startedAt(x, x.openedAt().Add(-121*time.Second), x.openedAt().Add(121*time.Second))
		},
		func(s *story, x *turn) { // as far as the clocks tell, ended by then
			s.live(x)
			s.startedAt(x, x.openedAt().Add(-time.Hour), x.openedAt().Add(120*time.Second))
		}},
	{projections.TwoPlaces, "opened while another run of it went on, its first record", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.startedAt(x, x.openedAt().Add(-10*time.Minute), x.openedAt().Add(10*time.Minute)).Released = false
			s.startedAt(x, x.openedAt().Add(-10*time.Minute), x.openedAt().Add(50*time.Minute))
		},
		func(s *story, x *turn) { // as far as the clocks tell, started after it
			s.live(x)
			s.startedAt(x, x.openedAt().Add(-120*time.Second), x.openedAt().Add(time.Hour))
		}},
	{projections.TwoPlaces, "packed again unopened", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			s.live(newTurn("LAP-014", 1, x.list))
		},
		func(s *story, x *turn) { s.live(x); s.live(newTurn("LAP-014", 1, x.list)) }},
	{projections.TwoPlaces, "packed again unopened, and the older trip seen after", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			y := newTurn("LAP-014", 1, x.list)
			s.live(y)
			s.tell("storage", clock(5, 9, 0), x.set, x.trip(), &events.SetChecked{})
			*x = *y // the younger trip is in two places as well
		},
		func(s *story, x *turn) {
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			y := newTurn("LAP-014", 1, x.list)
			s.live(y)
			*x = *y
		}},
	{projections.IndicatorNotSeen, "not recorded, where the policy asks for it", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) { p.IndicatorAtOpening = events.Required })
			x.open.Indicator = ""
			s.live(x)
		},
		func(s *story, x *turn) { x.open.Indicator = ""; s.live(x) }}, // no station here records any
	{projections.IndicatorNotSeen, "none inside", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.open.Indicator = "none"; s.live(x) },
		func(s *story, x *turn) { // looked at, and recorded by opening it once more
			s.policy(func(p *events.Policy) { p.IndicatorAtOpening = events.Required })
			again := *x.open
			x.open.Indicator = ""
			s.live(x)
			s.tell("or-3", clock(1, 7, 15), x.set, x.trip(), &again)
		}},
	{projections.ImplantTooEarly, "no result at all", projections.SeverityBroken,
		func(s *story, x *turn) { x.list.Implants = true; s.resealed(x); s.live(x) },
		func(s *story, x *turn) { s.live(x) }}, // a list without implants
	{projections.ImplantTooEarly, "read negative an hour too late", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			s.readBio(x, x.openedAt().Add(time.Hour), "negative", "positive")
		},
		func(s *story, x *turn) {
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			s.readBio(x, x.openedAt().Add(-time.Hour), "negative", "positive")
		}},
	{projections.ImplantTooEarly, "a control that did not grow either shows nothing", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			s.readBio(x, x.openedAt().Add(-time.Hour), "negative", "negative")
		},
		func(s *story, x *turn) { // within the clocks' error
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			s.readBio(x, x.openedAt().Add(2*time.Minute), "negative", "")
		}},
	{projections.ImplantTooEarly, "read negative while the cycle ran", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.list.Implants, x.run.Started = true, "2026-03-02T07:40:00Z"
			s.resealed(x)
			s.live(x)
			s.readBio(x, clock(0, 7, 42), "negative", "positive")
		},
		func(s *story, x *turn) { // as soon as a cycle can have ended
			x.list.Implants, x.run.Started = true, "2026-03-02T07:40:00Z"
			s.resealed(x)
			s.live(x)
			s.readBio(x, clock(0, 7, 43), "negative", "positive")
		}},
	{projections.ImplantTooEarly, "incubated for longer than since the cycle was started", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			d := s.readBio(x, clock(0, 10, 0), "negative", "positive").Event.Data.(*events.IndicatorRead)
			d.Started, d.IncubatedMinutes = "2026-03-02T07:40:00Z", 138
		},
		func(s *story, x *turn) {
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
			d := s.readBio(x, clock(0, 10, 0), "negative", "positive").Event.Data.(*events.IndicatorRead)
			d.Started, d.IncubatedMinutes = "2026-03-02T07:40:00Z", 137
		}},
	{projections.ImplantTooEarly, "an emergency, its result awaited", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.list.Implants, x.run.Emergency = true, "open fracture, the only set of its kind"
			s.resealed(x)
			s.live(x)
		},
		func(s *story, x *turn) { // the policy does not ask
			s.policy(func(p *events.Policy) { p.ImplantIndicator = events.Optional })
			x.list.Implants = true
			s.resealed(x)
			s.live(x)
		}},
	{projections.ImplantTooEarly, "an emergency, read negative since", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.list.Implants, x.run.Emergency = true, "open fracture, the only set of its kind"
			s.resealed(x)
			s.live(x)
			s.readBio(x, x.openedAt().Add(24*time.Hour), "negative", "positive")
		},
		func(s *story, x *turn) { // not opened yet: it waits
			x.list.Implants, x.open, x.first, x.final, x.closed = true, nil, nil, nil, nil
			s.resealed(x)
			s.live(x)
		}},
	{projections.NotReleased, "opened from an unreleased load", projections.SeverityBroken,
		func(s *story, x *turn) { x.run.Released = false; s.live(x) },
		func(s *story, x *turn) {
			x.run.Released = false
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil // still waiting
			s.live(x)
		}},
	{projections.NotReleased, "used, packed again and in no load since", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			*x = *newTurn(x.set, 1, x.list)
			x.run = nil
			s.live(x)
		},
		func(s *story, x *turn) {
			s.live(x)
			*x = *newTurn(x.set, 1, x.list)
			s.live(x)
		}},
	{projections.NotReleased, "released only after it was opened", projections.SeverityBroken,
		func(s *story, x *turn) {
			run := x.run
			x.run = nil
			s.live(x)
			s.tell("sterilizer-2", x.openedAt().Add(121*1e9), x.set, x.trip(), run)
		},
		func(s *story, x *turn) {
			run := x.run
			x.run = nil
			s.live(x)
			s.tell("sterilizer-2", x.openedAt().Add(120*1e9), x.set, x.trip(), run)
		}},
	{projections.LinkOutOfOrder, "packed again after its run", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", clock(0, 10, 0), x.set, x.trip(), x.pack)
		},
		func(s *story, x *turn) { // and before it
			s.live(x)
			s.tell("packing-1", clock(0, 6, 12), x.set, x.trip(), x.pack)
		}},
	{projections.LinkOutOfOrder, "packed again while its run went on", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.run.Started = clock(0, 7, 0).Format(time.RFC3339)
			s.live(x)
			s.tell("packing-1", clock(0, 7, 3), x.set, x.trip(), x.pack)
		},
		func(s *story, x *turn) {
			x.run.Started = clock(0, 7, 0).Format(time.RFC3339)
			s.live(x)
			s.tell("packing-1", clock(0, 7, 2), x.set, x.trip(), x.pack)
		}},
	{projections.LinkOutOfOrder, "closed again after its run, with the sheet inside", projections.SeverityBroken,
		func(s *story, x *turn) { s.live(x.unused()); s.closedAgain(x, clock(0, 10, 0), events.InsideBag) },
		func(s *story, x *turn) {
			s.live(x.unused())
			s.closedAgain(x, clock(0, 10, 0), events.Outside, x.seal.Seals...)
		}},
	{projections.LinkOutOfOrder, "closed again after its run, with new locks, and opened", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.open.Seals = []string{"5550001"}
			s.live(x)
			s.closedAgain(x, clock(0, 10, 0), events.Outside, "5550001")
		},
		func(s *story, x *turn) { // and run again
			x.open.Seals = []string{"5550001"}
			s.live(x)
			s.closedAgain(x, clock(0, 10, 0), events.Outside, "5550001")
			s.runAgain(x, clock(0, 12, 0), "passed", true)
		}},
	{projections.LinkOutOfOrder, "closed again after its run, twice", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x.unused())
			s.closedAgain(x, clock(0, 10, 0), events.Outside, "5550001")
			s.closedAgain(x, clock(0, 11, 0), events.InsideBare, "5550001")
		},
		func(s *story, x *turn) { s.live(x.unused()); s.closedAgain(x, clock(0, 10, 0), events.Screen) }},
	{projections.LinkOutOfOrder, "closed when its load had been started", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Started = x.sealedAt().Add(-121 * time.Second).Format(time.RFC3339)
			s.live(x.unused())
		},
		func(s *story, x *turn) {
			x.run.Started = x.sealedAt().Add(-120 * time.Second).Format(time.RFC3339)
			s.live(x.unused())
		}},
	{projections.LinkOutOfOrder, "closed again after it passed, and before it was released", projections.SeverityBroken,
		func(s *story, x *turn) {
			held := *x.run
			held.Released = false
			s.tell("sterilizer-2", clock(0, 7, 0), x.set, x.trip(), &held)
			s.live(x.unused())
			s.closedAgain(x, clock(0, 7, 30), events.InsideBag)
		},
		func(s *story, x *turn) { // after it was opened
			s.live(x)
			s.closedAgain(x, x.finalAt(), events.InsideBag)
		}},
	{projections.LabelSwapped, "tag and label of another set than the record", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Tag, x.open.OuterLabel = "LAP-022", "LAP-022"; s.live(x) },
		func(s *story, x *turn) { x.open.Tag, x.open.OuterLabel = x.set, ""; s.live(x) }},
	{projections.NotReleased, "a failed run", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.run.Result, x.run.Released = "failed", false
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
		},
		func(s *story, x *turn) {
			failed := *x.run
			failed.Load, failed.Result, failed.Released = "S2-00-03", "failed", false
			s.live(x)
			s.tell("sterilizer-2", clock(0, 7, 0), x.set, x.trip(), &failed) // run again, and passed
		}},
	{projections.NotReleased, "a failed run, and packed again unopened", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.run.Result, x.run.Released = "failed", false
			s.live(x.unused())
			s.live(newTurn(x.set, x.day+1, x.list))
		},
		func(s *story, x *turn) {
			s.live(x.unused())
			s.live(newTurn(x.set, x.day+1, x.list))
		}},
	{projections.NotReleased, "a failed run, opened all the same, and packed again", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.run.Result, x.run.Released = "failed", false
			s.live(x)
			s.live(newTurn(x.set, x.day+3, x.list).unused())
		},
		func(s *story, x *turn) {
			s.live(x)
			s.live(newTurn(x.set, x.day+3, x.list).unused())
		}},
	{projections.NotReleased, "a run that was started before it was packed", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.run.Started = x.packedAt().Add(-121 * time.Second).Format(time.RFC3339)
			s.live(x.unused())
		},
		func(s *story, x *turn) {
			x.run.Started = x.packedAt().Add(-120 * time.Second).Format(time.RFC3339)
			s.live(x.unused())
		}},
	{projections.NotReleased, "used, packed anew while a load ran, and opened by that", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			*x = *newTurn(x.set, 1, x.list)
			x.run.Started = clock(x.day, 6, 0).Format(time.RFC3339)
			s.live(x)
		},
		func(s *story, x *turn) {
			s.live(x)
			*x = *newTurn(x.set, 1, x.list)
			x.run.Started = clock(x.day, 7, 0).Format(time.RFC3339)
			s.live(x)
		}},
	{projections.NotReleased, "a run that was started before it was packed, and a good one", projections.SeverityNoted,
		func(s *story, x *turn) {
			early := *x.run
			early.Load, early.Started = "S2-00-03", clock(0, 5, 50).Format(time.RFC3339)
			s.tell("sterilizer-2", clock(0, 7, 0), x.set, x.trip(), &early)
			s.live(x)
		},
		func(s *story, x *turn) { // of which nobody knows when it was started
			early := *x.run
			early.Load = "S2-00-03"
			s.tell("sterilizer-2", clock(0, 7, 0), x.set, x.trip(), &early)
			s.live(x)
		}},
	{projections.NotReleased, "opened after a failed run that followed a good one", projections.SeverityBroken,
		func(s *story, x *turn) { s.live(x); s.runAgain(x, clock(0, 10, 0), "failed", false) },
		func(s *story, x *turn) { s.live(x); s.runAgain(x, clock(1, 10, 0), "passed", true) }},
	{projections.NotReleased, "a cycle the list does not allow", projections.SeverityBroken,
		func(s *story, x *turn) { x.list.Cycles = []string{"gravity-121"}; x.rebind(); s.live(x) },
		func(s *story, x *turn) {
			x.list.Cycles = []string{"gravity-121", "dynamic-air-132"}
			x.rebind()
			s.live(x)
		}},
	{projections.NotReleased, "the indicator inside did not change", projections.SeverityBroken,
		func(s *story, x *turn) { x.open.Indicator = "fail"; s.live(x) },
		func(s *story, x *turn) { x.open.Indicator = ""; s.live(x) }},
	{projections.LoadRecalled, "a positive indicator", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.indicator(1, x.run.Load, "positive") },
		func(s *story, x *turn) { s.live(x); s.indicator(1, x.run.Load, "negative") }},
	{projections.ListSuperseded, "packed by an old version", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.listAt(clock(0, 6, 0), "LAP-MAJOR", 4, 6, 2, 5) },
		func(s *story, x *turn) { s.live(x); s.listAt(clock(0, 6, 15), "LAP-MAJOR", 4, 6, 2, 5) }},
	{projections.ListSuperseded, "sealed when a new version was out", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.listAt(clock(0, 6, 12), "LAP-MAJOR", 4, 6, 2, 5) },
		func(s *story, x *turn) { s.live(x); s.listAt(clock(0, 6, 12), "LAP-MAJOR", 2, 6, 2, 5) }},
	{projections.ListSuperseded, "sealed by the version it was packed by, both old", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.listAt(clock(0, 6, 0), "LAP-MAJOR", 4, 6, 2, 5)
		},
		func(s *story, x *turn) {
			s.live(x)
			s.listAt(clock(0, 6, 0), "LAP-MINOR", 4, 6, 2, 5)
		}},
	{projections.ListSuperseded, "a version nobody issued", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.pack.Version = 9; x.seal.Version = 9; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountedOnWrongList, "counted against another set's sheet", projections.SeverityBroken,
		func(s *story, x *turn) { y := s.pair(); s.live(y); x.first.Sheet = own(y); s.live(x) },
		func(s *story, x *turn) { s.live(s.pair()); x.first.Sheet = "screen"; s.live(x) }},
	{projections.CountedOnWrongList, "counted against a sheet of other content", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.first.Sheet = sheetCode(s.list("LAP-OTHER", 1, 6, 2, 5), x.set, x.trip())
			s.live(x)
		},
		func(s *story, x *turn) { s.list("LAP-OTHER", 1, 6, 2, 5); s.live(x) }},
	{projections.CountDiffersAtOpen, "one fewer than packed", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5; s.live(x) },
		func(s *story, x *turn) { // packing had recorded it
			x.pack.Exceptions = []events.Exception{{Line: 1, Counted: 5, Reason: "missing"}}
			x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5
			s.live(x)
		}},
	{projections.CountDiffersAtOpen, "one fewer than packed, beside two that have what the other lacks",
		projections.SeverityDoubtful,
		func(s *story, x *turn) {
			short, over := newTurn("LAP-001", 0, x.list), newTurn("LAP-002", 0, x.list)
			short.first.Counts[1].Counted--
			over.first.Counts[1].Counted++
			x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5
			s.live(short.forCase(x.ref))
			s.live(over.forCase(x.ref))
			s.live(x)
		},
		func(s *story, x *turn) {
			short, over := newTurn("LAP-001", 0, x.list), newTurn("LAP-002", 0, x.list)
			short.first.Counts[1].Counted--
			over.first.Counts[1].Counted++
			s.live(short.forCase(x.ref))
			s.live(over.forCase(x.ref))
			s.live(x)
		}},
	{projections.CountDiffersAtOpen, "not what was packed in the tray opened under its name", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(s.pair().unused())
			x.open.Tag = "LAP-022"
			x.first.Counts[0].Counted, x.first.Counts[1].Counted = 5, 3
			s.live(x)
		},
		func(s *story, x *turn) {
			s.live(s.pair().unused())
			x.open.Tag = "LAP-022"
			x.first.Counts[1].Counted, x.final.Counts[1].Counted = 3, 3
			s.live(x)
		}},
	{projections.CountShort, "one short at the end", projections.SeverityBroken,
		func(s *story, x *turn) { x.final.Counts[2].Counted = 3; s.live(x) },
		func(s *story, x *turn) {
			x.final.Counts[2].Counted = 3
			x.final.Removed = []events.Removed{{Line: 3, Quantity: 1, Reason: "fell to the floor"}}
			s.live(x)
		}},
	{projections.CountShort, "short, and then said to have left the field", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.final.Counts[2].Counted = 3
			x.final.Removed = []events.Removed{{Line: 3, Quantity: 1, Reason: "it must be somewhere", Short: true}}
			s.live(x)
		},
		func(s *story, x *turn) {
			x.final.Counts[2].Counted = 3
			x.final.Removed = []events.Removed{{Line: 3, Quantity: 1, Reason: "to pathology"}}
			s.live(x)
		}},
	{projections.StaysOnPurpose, "packing left in the wound", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.packing(x, events.Removed{Line: 61, Quantity: 2, Reason: "bleeding from the liver bed", Stays: true})
		},
		func(s *story, x *turn) {
			s.packing(x, events.Removed{Line: 61, Quantity: 2, Reason: "to the specimen"})
		}},
	{projections.CountShort, "an added piece not seen again", projections.SeverityBroken,
		func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageAdded, 8, 0, events.Count{Line: 2, Counted: 1})
		},
		func(s *story, x *turn) {
			x.final.Counts[1].Counted = 3
			s.live(x)
			s.count(x, events.StageAdded, 8, 0, events.Count{Line: 2, Counted: 1})
		}},
	{projections.CountShort, "short before closing, right at the end", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageClosing, 9, 0, events.Count{Line: 1, Counted: 5}, events.Count{Line: 2,
				Counted: 2}, events.Count{Line: 3, Counted: 4})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageClosing, 9, 0, countAll(x.list)...)
		}},
	{projections.CountShort, "short before closing, and no final count", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.final = nil
			s.live(x)
			s.count(x, events.StageClosing, 9, 0, events.Count{Line: 1, Counted: 5})
		},
		func(s *story, x *turn) {
			x.final = nil
			s.live(x)
			s.count(x, events.StageClosing, 9, 0, events.Count{Line: 1, Counted: 6})
		}},
	{projections.CountShort, "a piece in another line of its item", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.list.Lines[1].Item = x.list.Lines[0].Item
			x.rebind()
			x.final.Counts[0].Counted, x.final.Counts[1].Counted = 5, 3
			s.live(x)
		},
		func(s *story, x *turn) {
			x.list.Lines[1].Item = x.list.Lines[0].Item
			x.rebind()
			s.live(x)
		}},
	{projections.CountOver, "one over at the end", projections.SeverityBroken,
		func(s *story, x *turn) { x.final.Counts[0].Counted = 7; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountOver, "something on no line of the list", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.final.Counts = append(x.final.Counts, events.Count{Line: 77, Counted: 1})
			s.live(x)
		},
		func(s *story, x *turn) {
			x.final.Counts = append(x.final.Counts, events.Count{Line: 77, Counted: 0})
			s.live(x)
		}},
	{projections.CountMissing, "counted, and nobody packed it here", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			for _, d := range []*events.SetCounted{x.first, x.final} {
				s.tell("or-3", clock(1, 8, 0), "LOAN-1", "", d)
			}
			x.set, x.n = "LOAN-1", -1
		},
		func(s *story, x *turn) { // the packing came after all
			trip := x.trip()
			for i, d := range []*events.SetCounted{x.first, x.final} {
				s.tell("or-3", clock(1, 8, i), x.set, "", d)
			}
			s.tell("packing-1", x.packedAt(), x.set, trip, x.pack)
		}},
	{projections.CountMissing, "a line left out of the final count", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.final.Counts = x.final.Counts[:2]; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountMissing, "a piece that came after the final count", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 0})
		}},
	{projections.CountMissing, "no final count though the case is closed", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.final = nil; s.live(x) },
		func(s *story, x *turn) { x.final, x.closed = nil, nil; s.live(x) }},
	{projections.CountMissing, "a final count without a first", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.first, x.closed = nil, nil; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	// IFPN 1002 and the Great Ormond Street guideline: two persons, scrub and
	// circulating. The records know badges, so one badge twice is refused; two
	// circulating nurses can't be told from their badges.
	{projections.CountOnePerson, "nobody beside the counter", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.first.Witness, x.final.Witness = "", ""; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountOnePerson, "nobody beside the first counter, two people at the end", projections.SeverityNoted,
		func(s *story, x *turn) { x.first.Witness = ""; s.live(x) },
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountOnePerson, "nobody beside the first counter, who found one too few", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.first.Witness = ""
			x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.CountOnePerson, "in the second set of a case whose first has it too", projections.SeverityNoted,
		func(s *story, x *turn) {
			y := newTurn("LAP-001", 0, x.list)
			y.final.Witness, x.final.Witness = "", ""
			s.live(y.forCase(x.ref))
			s.live(x)
		},
		func(s *story, x *turn) { y := newTurn("LAP-001", 0, x.list); s.live(y.forCase(x.ref)); s.live(x) }},
	{projections.CountOnePerson, "in the second set of a case whose first two people confirmed", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			y := newTurn("LAP-001", 0, x.list)
			y.first.Witness, x.final.Witness = "", ""
			s.live(y.forCase(x.ref))
			s.live(x)
		},
		func(s *story, x *turn) { y := newTurn("LAP-001", 0, x.list); s.live(y.forCase(x.ref)); s.live(x) }},
	{projections.CountOnePerson, "one badge in both roles", projections.SeverityDoubtful,
		func(s *story, x *turn) { x.final.Witness = x.final.Counter; s.live(x) },
		func(s *story, x *turn) { x.final.Witness = "B-9999"; s.live(x) }},
	{projections.ClosedUnreconciled, "closed with one short", projections.SeverityBroken,
		func(s *story, x *turn) { x.final.Counts[0].Counted = 5; s.live(x) },
		func(s *story, x *turn) { x.final.Counts[0].Counted, x.closed = 5, nil; s.live(x) }},
	{projections.ClosedUnreconciled, "closed as unreconciled", projections.SeverityBroken,
		func(s *story, x *turn) {
			x.closed.Outcome, x.closed.Actions = "unreconciled", []string{"x-ray taken"}
			s.live(x)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "a broken opening replaced by its own badge, hours later", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			right := *x.open
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), &right)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "a broken opening replaced elsewhere by another badge", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			right := *x.open
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), &right).Event.Operator = "B-9999"
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "a broken opening replaced by another badge", projections.SeverityNoted,
		func(s *story, x *turn) {
			right := *x.open
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			opened := s.last(events.KindSetOpened)
			c := s.correct(opened, clock(1, 15, 0), &right).Event
			c.Operator, c.Station = "B-9999", opened.Event.Station
		},
		func(s *story, x *turn) { // a correction that is taken back itself
			s.live(x)
			wrong := *x.open
			wrong.Seals = nil
			f := s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), &wrong)
			s.correct(f, clock(1, 15, 5), nil)
		}},
	{projections.Corrected, "a broken look taken back at another station, by another badge", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			f := s.tell("or-3", clock(1, 7, 14), x.set, x.trip(), &events.SetChecked{Tag: x.set, SealBroken: true})
			s.correct(f, clock(1, 15, 0), nil).Event.Operator = "B-9999"
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "a slip taken back, nothing broken by it", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.live(x)
			f := s.tell("packing-1", clock(1, 7, 14), x.set, x.trip(), &events.SetChecked{Tag: x.set})
			s.correct(f, clock(1, 7, 15), nil)
		},
		func(s *story, x *turn) { // of another set
			y := s.pair()
			s.live(y)
			s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), nil)
			s.live(x)
		}},
	{projections.Corrected, "a positive indicator made negative by its own badge", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			p := events.DefaultPolicy()
			p.Recall = events.RecallAll
			s.tell("packing-1", clock(-1, 6, 0), "north", "", &events.PolicyAdopted{Policy: p})
			s.live(x)
			f := s.indicator(1, x.run.Load, "positive")
			s.correct(f, clock(1, 9, 0), &events.IndicatorRead{Load: x.run.Load, Sterilizer: "S2", Result: "negative"})
		},
		func(s *story, x *turn) { s.live(x); s.indicator(1, x.run.Load, "negative") }},
	{projections.Corrected, "two loads' positive indicators taken back, of which each alone proves nothing", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.otherLoad()
			one, two := s.indicator(1, x.run.Load, "positive"), s.indicator(1, "S2-00-05", "positive")
			s.correct(two, clock(1, 9, 0), nil)
			s.correct(one, clock(1, 9, 1), nil)
		},
		func(s *story, x *turn) { // another sterilizer's
			s.live(x)
			f := s.tell("sterilizer-2", clock(1, 8, 0), "S7-1", "", &events.IndicatorRead{Load: "S7-1",
				Sterilizer: "S7", Result: "positive"})
			s.correct(f, clock(1, 9, 0), nil)
		}},
	{projections.Corrected, "a positive indicator taken back that had made the set doubtful", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.live(x)
			s.correct(s.indicator(1, x.run.Load, "positive"), clock(1, 9, 0), nil)
		},
		func(s *story, x *turn) { // a negative one
			s.live(x)
			s.correct(s.indicator(1, x.run.Load, "negative"), clock(1, 9, 0), nil)
		}},
	{projections.Corrected, "a broken opening replaced by its own badge, typed in small letters", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			right := *x.open
			x.open.Sheet = &events.Reading{Found: "none"}
			s.live(x)
			s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), &right).Event.Operator = "b-1182"
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected,
		"an unreconciled closing taken back, and the case closed as reconciled with a piece short", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.final.Counts[0].Counted, x.closed.Outcome = 5, "unreconciled"
			s.live(x)
			s.correct(s.last(events.KindCaseClosed), clock(1, 15, 0), nil)
			s.tell("or-3", clock(1, 15, 5), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "reconciled"})
		},
		func(s *story, x *turn) { // told by the first set of the case
			s.tell("or-3", clock(1, 7, 0), "LAP-001", tripOf("LAP-001", 0), &events.SetOpened{Case: x.ref, Tag: "LAP-001"})
			s.live(x)
			s.correct(s.last(events.KindCaseClosed), clock(1, 15, 0), nil)
			s.tell("or-3", clock(1, 15, 5), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "reconciled"})
		}},
	{projections.Corrected, "an unreconciled closing taken back after the case was closed as reconciled", projections.SeverityNoted,
		func(s *story, x *turn) {
			x.closed.Outcome = "unreconciled"
			s.live(x)
			first := s.last(events.KindCaseClosed)
			s.tell("or-3", clock(1, 15, 5), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "reconciled"})
			s.correct(first, clock(1, 16, 0), nil)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "the policy it broke replaced afterwards by the badge that had adopted it", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.policy(func(p *events.Policy) {})
			adopted := s.last(events.KindPolicyAdopted)
			x.open.Sheet, x.first.Sheet = nil, "screen"
			s.live(x)
			p := events.DefaultPolicy()
			p.MayStayUnread = []events.Placement{events.Outside}
			s.correct(adopted, clock(1, 18, 0), &events.PolicyAdopted{Policy: p})
		},
		func(s *story, x *turn) { // it broke nothing
			s.policy(func(p *events.Policy) {})
			adopted := s.last(events.KindPolicyAdopted)
			s.live(x)
			p := events.DefaultPolicy()
			p.MayStayUnread = []events.Placement{events.Outside}
			s.correct(adopted, clock(1, 18, 0), &events.PolicyAdopted{Policy: p})
		}},
	{projections.Corrected, "its sheet read on another set, and that reading taken back by the same badge", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.readElsewhere(x, "") },
		func(s *story, x *turn) { // the reading was of the other's own sheet
			y := newTurn("LAP-015", 0, x.list)
			y.open, y.first, y.final, y.closed = nil, nil, nil, nil
			x.open, x.first, x.final, x.closed, x.check = nil, nil, nil, nil, nil
			s.live(x)
			s.live(y)
			s.correct(s.last(events.KindSetChecked), clock(1, 18, 0), nil)
		}},
	{projections.Corrected, "its sheet read on another set, and that reading taken back by a second person", projections.SeverityNoted,
		func(s *story, x *turn) { s.readElsewhere(x, "B-9999") },
		func(s *story, x *turn) { s.live(x) }},
	{projections.Corrected, "two corrections that hide one fault together", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.final.Counts[0].Counted = 5
			s.live(x)
			right := *x.final
			right.Counts = countAll(x.list)
			s.correct(s.last(events.KindSetCounted), clock(1, 15, 0), &right)
			open := *x.open
			open.Room = "OR 3"
			s.correct(s.last(events.KindSetOpened), clock(1, 15, 5), &open)
		},
		func(s *story, x *turn) { s.live(x) }},
	{projections.LinkMissing, "never closed, and the set used in the next case", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.closed = nil
			s.live(x)
			s.live(newTurn(x.set, 1, x.list))
		},
		func(s *story, x *turn) {
			x.closed = nil
			s.live(x)
			next := newTurn(x.set, 1, x.list) // packed, not used yet: the case may still be closed
			next.open, next.first, next.final, next.closed = nil, nil, nil, nil
			s.live(next)
		}},
	{projections.Overdue, "packed on Monday, in no load by Thursday", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.upTo(x, 2); s.now = x.packedAt().Add(72 * time.Hour) },
		func(s *story, x *turn) { s.upTo(x, 2); s.now = x.packedAt().Add(72*time.Hour - 1) }},
	{projections.Overdue, "a run that nobody released", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			x.run.Released = false
			s.upTo(x, 3)
			s.now = x.sterilizedAt().Add(72 * time.Hour)
		},
		func(s *story, x *turn) { s.upTo(x, 3); s.now = clock(300, 0, 0) }}, // released: it may lie as long as its wrap is whole
	{projections.Overdue, "no indicator of the load, where the policy asks for one in each", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.waits(events.Waits{Indicator: 48})
			s.live(x)
			s.indicator(1, "S2-99", "negative") // of another load
			s.now = x.sterilizedAt().Add(48 * time.Hour)
		},
		func(s *story, x *turn) {
			s.waits(events.Waits{Indicator: 48})
			s.live(x)
			s.indicator(1, x.run.Load, "negative")
			s.now = x.sterilizedAt().Add(48 * time.Hour)
		}},
	{projections.Overdue, "not seen for a month, where the policy asks", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.waits(events.Waits{Seen: 30 * 24})
			s.upTo(x, 4)
			s.now = x.checkedAt().AddDate(0, 0, 30)
		},
		func(s *story, x *turn) {
			s.waits(events.Waits{Seen: 30 * 24})
			s.upTo(x, 4)
			s.tell("storage", clock(20, 9, 0), x.set, x.trip(), x.check)
			s.now = x.checkedAt().AddDate(0, 0, 30)
		}},
	{projections.Overdue, "opened, and no final count the same evening", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.upTo(x, 6); s.now = x.openedAt().Add(12 * time.Hour) },
		func(s *story, x *turn) { s.upTo(x, 7); s.now = x.openedAt().Add(12 * time.Hour) }},
	{projections.Overdue, "counted, and the case not closed by night", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.upTo(x, 7); s.now = x.finalAt().Add(12 * time.Hour) },
		func(s *story, x *turn) { s.live(x); s.now = x.finalAt().Add(12 * time.Hour) }},
	{projections.Overdue, "nothing late where the policy waits for ever", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.waits(events.Waits{Close: 13})
			s.upTo(x, 7)
			s.now = x.finalAt().Add(13 * time.Hour)
		},
		func(s *story, x *turn) {
			s.waits(events.Waits{Close: events.WaitsForever})
			s.upTo(x, 7)
			s.now = clock(300, 0, 0)
		}},
	{projections.StationGap, "a hole in a station's numbers", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetChecked).Remarks = events.RemarkGap },
		func(s *story, x *turn) { s.live(x); s.last(events.KindListIssued).Remarks = events.RemarkGap }},
	{projections.StationRetired, "observed after the station was retired", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetOpened).Remarks = events.RemarkRetired },
		func(s *story, x *turn) { s.live(x) }},
	{projections.NotRegistered, "a badge that is in no register", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			x.final.Witness = "B-9999"
			s.live(x)
		},
		func(s *story, x *turn) {
			s.registers() // to none
			x.final.Witness = "B-9999"
			s.live(x)
		}},
	{projections.NotRegistered, "a badge that has left", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			s.enter(clock(0, 5, 0), &events.PersonEntered{Badge: x.final.Witness, Held: events.Held{Ended: true}})
			s.live(x)
		},
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			s.enter(x.closedAt().Add(time.Hour), &events.PersonEntered{Badge: x.final.Witness, Held: events.Held{Ended: true}})
			s.live(x)
		}},
	{projections.NotRegistered, "a tray as the second person", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			x.final.Witness = x.set
			s.live(x)
		},
		func(s *story, x *turn) { s.registers(events.RegisterPeople); s.live(x) }},
	{projections.NotRegistered, "packed in an operating room", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterStations)
			s.enter(clock(0, 5, 0), &events.StationEntered{Name: "north/packing-1", Works: []events.Work{events.WorkRoom}})
			s.live(x)
		},
		func(s *story, x *turn) { s.registers(events.RegisterStations); s.live(x) }},
	{projections.NotRegistered, "a cycle that the sterilizer has not", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterSterilizers)
			s.enter(clock(0, 5, 0), &events.SterilizerEntered{Sterilizer: x.run.Sterilizer, Cycles: []string{"other"}})
			s.live(x)
		},
		func(s *story, x *turn) { s.registers(events.RegisterSterilizers); s.live(x) }},
	{projections.NotRegistered, "a set that is in no register", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.registers(events.RegisterSets)
			s.enter(clock(0, 5, 0), &events.SetEntered{Set: x.set, Held: events.Held{Ended: true}})
			s.live(x)
		},
		func(s *story, x *turn) { s.registers(events.RegisterSets); s.live(x) }},
	{projections.EmergencyAccess, "counted by a badge that was called in", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			x.final.Witness = "B-9999"
			s.tell("or-3", x.openedAt(), "people/B-9999", "", &events.AccessClaimed{Badge: "B-9999", Reason: "called in"})
			s.live(x)
		},
		func(s *story, x *turn) {
			s.registers(events.RegisterPeople)
			s.tell("or-3", x.openedAt(), "people/B-9999", "", &events.AccessClaimed{Badge: "B-9999", Reason: "called in"})
			s.live(x)
		}},
	{projections.SignatureBad, "a signature that does not verify", projections.SeverityBroken,
		func(s *story, x *turn) { s.live(x); s.last(events.KindCaseClosed).Remarks = events.RemarkSignature },
		func(s *story, x *turn) { s.live(x) }},
	{projections.SignatureBad, "not canonical", projections.SeverityBroken,
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetOpened).Remarks = events.RemarkForm },
		func(s *story, x *turn) { s.live(x) }},
	{projections.ClockDoubtful, "observed later than recorded", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetPacked).Remarks = events.RemarkAhead },
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetPacked).Recorded = clock(9, 0, 0) }}, // late is no fault
	{projections.ClockDoubtful, "a clock that ran backwards", projections.SeverityDoubtful,
		func(s *story, x *turn) { s.live(x); s.last(events.KindSetPacked).Remarks = events.RemarkBackwards },
		func(s *story, x *turn) { s.live(x) }},
	{projections.RecordUnread, "a kind nobody knows", projections.SeverityDoubtful,
		func(s *story, x *turn) {
			s.live(x)
			s.tell("or-3", clock(1, 8, 0), x.set, x.trip(),
				&events.Unknown{Type: "listbound.set.weighed.v1"}).Remarks = events.RemarkUnknown
		},
		func(s *story, x *turn) {
			s.live(x)
			s.tell("or-3", clock(1, 8, 0), x.set, "", &events.Unknown{Type: "listbound.set.weighed.v1"}).Remarks = events.RemarkUnknown
		}},
	{projections.RecordUnread, "a correction that can't be read", projections.SeverityNoted,
		func(s *story, x *turn) {
			s.live(x)
			f := s.last(events.KindSetOpened)
			s.tell("or-3", clock(1, 12, 0), x.set, x.trip(), &events.EventCorrected{Event: f.Event.ID,
				Action: "replace", Reason: "typed wrong", Data: []byte(`{"case":7}`)})
		},
		func(s *story, x *turn) {
			s.live(x)
			s.correct(s.last(events.KindSetOpened), clock(1, 12, 0), x.open)
		}},
}

// opened tells that a turn's set was opened once more.
func (s *story) opened(x *turn, at time.Time, ref string) *facts.Fact {
	again := *x.open
	again.Case = ref
	return s.tell("or-4", at, x.set, x.trip(), &again)
}

// firstAgain tells of a turn that nobody counted to its end or closed, and of a
// second first count of it, for another case.
func (s *story) firstAgain(x *turn, station string, at time.Time) {
	x.final, x.closed = nil, nil
	s.live(x)
	again := *x.first
	again.Case = "K-OTHER"
	s.tell(station, at, x.set, x.trip(), &again)
}

// secondCase tells of a turn's set, used once more for another case ten hours later.
func (s *story) secondCase(x *turn) {
	const ref = "K-OTHER"
	first, final, closed := *x.first, *x.final, *x.closed
	first.Case, final.Case, closed.Case = ref, ref, ref
	s.opened(x, clock(x.day+1, 17, 12), ref)
	s.tell("or-4", clock(x.day+1, 17, 20), x.set, x.trip(), &first)
	s.tell("or-4", clock(x.day+1, 19, 30), x.set, x.trip(), &final)
	s.tell("or-4", clock(x.day+1, 19, 40), ref, "", &closed)
}

// runAgain tells of another run of a turn's set.
func (s *story) runAgain(x *turn, at time.Time, result string, released bool) *facts.Fact {
	run := *x.run
	run.Load, run.Run, run.Result, run.Released = x.run.Load+"-again", x.run.Run+1, result, released
	return s.tell("sterilizer-2", at, x.set, x.trip(), &run)
}

// closedAgain tells that the container was closed again.
func (s *story) closedAgain(x *turn, at time.Time, where events.Placement, locks ...string) {
	again := *x.seal
	again.Placement, again.Seals = where, locks
	s.tell("packing-1", at, x.set, x.trip(), &again)
}

// closedInside tells of a set that is closed with its sheet inside, and read at a moment as if it
// were outside in the hand of who stood there.
func (s *story) closedInside(x *turn, at time.Time) {
	x.seal.Placement, x.check = events.InsideBag, nil
	s.live(x.unused())
	s.tell("storage", at, x.set, x.trip(), &events.SetChecked{Tag: x.set, Sheet: &events.Reading{Found: "inside-bag", Code: own(x)}})
}

// wentBack tells that a set was received to be cleaned.
func (s *story) wentBack(x *turn, at time.Time) {
	s.tell("washing", at, x.set, x.trip(), &events.SetReturned{Step: events.ReturnReceived})
}

// readElsewhere tells of a set whose sheet was read on another one, and that this
// reading was taken back, by a badge or by the one that had made it.
func (s *story) readElsewhere(x *turn, badge string) {
	y := newTurn("LAP-015", 0, x.list)
	y.check.Sheet.Code = x.seal.Code
	y.open, y.first, y.final, y.closed = nil, nil, nil, nil
	x.open, x.first, x.final, x.closed, x.check = nil, nil, nil, nil, nil
	s.live(x)
	s.live(y)
	read := s.last(events.KindSetChecked)
	f := s.correct(read, clock(1, 18, 0), nil)
	if badge != "" {
		f.Event.Operator, f.Event.Station = badge, read.Event.Station
	}
}

// lent tells of a set that nobody packed here, opened for two cases in one room, and
// makes the turn its own.
func (s *story) lent(x *turn, apart time.Duration) {
	x.set, x.n = "LOAN-1", -1
	for i, ref := range []string{"K-1", "K-2"} {
		s.tell("or-3", clock(1, 7, 12).Add(time.Duration(i)*apart), x.set, "", &events.SetOpened{Case: ref, Tag: x.set})
	}
}

// lockedAs tells of another set that was closed with the locks of a turn, or with some of its own.
func (s *story) lockedAs(x *turn, set string, locks ...string) *facts.Fact {
	seal := *x.seal
	if len(locks) > 0 {
		seal.Seals = locks
	}
	return s.tell("packing-1", x.sealedAt().Add(time.Hour), set, tripOf(set, 0), &seal)
}

func stamp(at time.Time) string { return at.Format(time.RFC3339) }

// beside makes a run another load of the same sterilizer, with a start of its own.
func beside(d *events.SetSterilized, started string) {
	d.Load, d.Run, d.Started = d.Load+"-b", d.Run+1, started
}

// otherStart tells of another set in the load of a turn, recorded elsewhere, whose record says something else of the run.
func (s *story) otherStart(x *turn, at time.Time, change func(*events.SetSterilized)) *facts.Fact {
	y := newTurn("LAP-090", 0, s.list("LIST-Y", 1, 6))
	run := *x.run
	change(&run)
	return s.tell("or-3", at, y.set, y.trip(), &run)
}

// otherLoad tells of a set in the next load of the same sterilizer.
func (s *story) otherLoad() {
	y := newTurn("LAP-090", 0, s.list("LIST-Y", 1, 6))
	run := *y.run
	run.Load, run.Run = "S2-00-05", run.Run+1
	s.tell("sterilizer-2", clock(0, 11, 0), y.set, y.trip(), &run)
}

// damagedAtOpening has a turn opened with a sheet whose code can't be read.
func (s *story) damagedAtOpening(x *turn) {
	x.open.Sheet = &events.Reading{Found: "outside", Unreadable: true}
}

// read tells of a look at a turn's set after its opening.
func (s *story) read(x *turn, after time.Duration, d *events.SetChecked) {
	s.tell("or-3", x.openedAt().Add(after), x.set, x.trip(), d)
}

// shownAs tells of a turn that nobody opened and of a look in storage under its name.
func (s *story) shownAs(y *turn, d *events.SetChecked) {
	y.check = d
	s.live(y.unused())
}

func (s *story) indicator(day int, load, result string) *facts.Fact {
	return s.tell("sterilizer-2", clock(day, 8, 0), load, "", &events.IndicatorRead{Load: load, Sterilizer: "S2", Result: result})
}

func (s *story) count(x *turn, stage events.Stage, hour, minute int, counts ...events.Count) *facts.Fact {
	return s.tell("or-3", clock(x.day+1, hour, minute), x.set, x.trip(),
		&events.SetCounted{Case: x.ref, Stage: stage, Sheet: "screen", Counter: "B-3310", Witness: "B-3322", Counts: counts})
}

// rebind seals and reads a turn anew after its list was changed by the test.
func (t *turn) rebind() {
	seal := sealed(t.list, t.set, t.trip())
	t.seal.ListDigest, t.seal.Binding, t.seal.Code = seal.ListDigest, seal.Binding, seal.Code
	t.check.Sheet.Code, t.open.Sheet.Code, t.first.Sheet = seal.Code, seal.Code, seal.Code
}

func TestFindings(t *testing.T) {
	tried := make(map[projections.Code]bool)
	for _, test := range findingTests {
		tried[test.code] = true
		t.Run(string(test.code)+"/"+test.name, func(t *testing.T) {
			s, x := plain()
			test.with(s, x)
			v := judge(t, s.world(), x.key())
			checkVerdict(t, v)
			fs := find(v, test.code)
			if len(fs) == 0 {
				t.Fatalf("not found, but %s", show(v))
			}
			if test.code == projections.ListSuperseded && len(fs) != 1 {
				t.Errorf("said %d times: %s", len(fs), show(v))
			}
			if fs[0].Severity != test.sev {
				t.Errorf("severity %s, want %s: %s", fs[0].Severity, test.sev, show(v))
			}
			want := map[projections.Severity]projections.Status{projections.SeverityBroken: projections.Broken,
				projections.SeverityDoubtful: projections.Doubtful}[test.sev]
			if want != "" && v.Status != want && v.Status != projections.Broken {
				t.Errorf("status %s", v.Status)
			}
			s, x = plain()
			test.not(s, x)
			v = judge(t, s.world(), x.key())
			checkVerdict(t, v)
			if fs := find(v, test.code); len(fs) > 0 {
				t.Errorf("the neighbouring case has it too: %s", show(v))
			}
		})
	}
	for _, c := range projections.Codes() {
		if !tried[c] && c != projections.SheetInDoubt && c != projections.StationSilent { // rings_test.go, overdue_test.go
			t.Errorf("no test gives %s: plant a case in findingTests (judge_test.go)", c)
		}
	}
}

// registers tells that the hospital holds to some registers, in which stands who and what the story has.
func (s *story) registers(held ...events.Register) {
	at := clock(-1, 4, 0)
	s.tell("ledger", at, "north", "", &events.RegistersAdopted{Registers: append([]events.Register{}, held...)})
	for _, badge := range []string{"B-1182", "B-3310", "B-3322", "B-2044"} {
		s.enter(at, &events.PersonEntered{Badge: badge, Roles: []events.Role{events.RoleRecords}})
	}
	for i, name := range []string{"packing-1", "sterilizer-2", "storage", "or-3"} { // as Works has them
		s.enter(at, &events.StationEntered{Name: "north/" + name, Works: events.Works()[i : i+1]})
	}
	s.enter(at, &events.SterilizerEntered{Sterilizer: "S2"})
	s.enter(at, &events.SetEntered{Set: "LAP-014"})
}

func (s *story) enter(at time.Time, d events.Data) { s.tell("ledger", at, events.EntryOf(d), "", d) }
