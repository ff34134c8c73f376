//go:build !race

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// countedRight tells of both counts of VAS-003 for a case, with all that is listed.
func (h *house) countedRight(ref string) {
	h.t.Helper()
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: ref, Stage: stage,
			Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
			Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
}

// TestMissingOnTheWayBack: a piece that is missing when a used set is received is nothing in order: who receives it is
// told whom to tell, and who packs it next is asked to count, even where nobody said which piece it is.
func TestMissingOnTheWayBack(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-0412")
	h.countedRight("K-0412")
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
	h.after(time.Hour)
	s := &scanner{h: h, path: "/at/north/or-3/return"}
	for _, text := range []string{label(t, events.ScanBadge, "B-9"), label(t, events.ScanSet, "VAS-003"), "2", "+3"} {
		s.scan(text)
		h.after(3 * time.Second)
	}
	must(t, s.scan(""), "broken", "VAS-003 received", "came back SHORT from its case", "K-0412", "charge nurse")
	if v := h.verdict("VAS-003", h.trips["VAS-003"]); v.Status != projections.Broken {
		t.Errorf("the turn of the case is %s: %+v", v.Status, v.Findings)
	}

	h.after(time.Hour)
	s = &scanner{h: h, path: "/at/north/or-3/packing"}
	must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "doubtful", "A piece of VAS-003 is missing", "and not which")
	for range 4 { // Enter is no answer
		h.after(3 * time.Second)
		must(t, s.scan(""), "A piece of VAS-003 is missing")
	}
	must(t, s.do("lacks", "value", "came-back-short/incomplete/1"), "A piece of VAS-003 is missing") // no such finding
	a := s.scan("9")
	s.do("lacks", "value", choiceOf(a, "Count each line"))
	for _, text := range []string{"", "", "", "8.2"} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	h.after(3 * time.Second)
	must(t, s.scan(label(t, events.ScanBadge, "B-9")), "doubtful", "though one was said to be missing", "Enter records")
	must(t, s.scan(""), "doubtful", "VAS-003 packed", "though one was said to be missing")
}

// TestMissingNamed: a piece that is missing as listed in a line is packed so, and told of the case then.
func TestMissingNamed(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0412", "VAS-003")
	h.record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnIncomplete}})
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	s.do("lacks", "value", choiceOf(s.scan(label(t, events.ScanSet, "VAS-003")), "Count each line"))
	for _, text := range []string{"3", "1", "", "", "8.2", label(t, events.ScanBadge, "B-9")} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	must(t, s.scan(""), "VAS-003 packed. Lines not as listed: 1", "came back SHORT")
	// What became of it is said: the next packing asks nothing.
	h = newHouse(t, "VAS-003")
	h.used("K-0412", "VAS-003")
	h.record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnIncomplete}})
	h.record("north/or-3", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameFound, Line: 1, Quantity: 1})
	s = &scanner{h: h, path: "/at/north/or-3/packing"}
	must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "4 × Forceps")
}

// TestMissedOnTheShelf: a piece that is missed of a packed set is told where the set is looked at in storage and where it is
// opened, and stands in the line of the first count, which Enter doesn't take as expected.
func TestMissedOnTheShelf(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	h.after(time.Hour)
	for _, place := range []string{"storage", "opening"} {
		s := &scanner{h: h, path: "/at/north/or-3/" + place}
		s.scan(label(t, events.ScanTag, "VAS-003"))
		s.scan(label(t, events.ScanOuter, "VAS-003"))
		a := s.scan(h.codes["VAS-003"])
		must(t, a, "doubtful")
		if all := fmt.Sprint(a["verdict"]); !strings.Contains(all, "a piece of it is reported MISSING") {
			t.Errorf("%s says nothing of the piece: %s", place, all)
		}
		if page := h.get("/at/north/or-3/" + place); !strings.Contains(page, "1 piece is reported as missed since it was packed") {
			t.Errorf("%s: nothing of it stands in the set's lines", place)
		}
		s.do("forget")
	}
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.do("begin")
	line := answer(c.scan(label(t, events.ScanSet, "VAS-003"))).lines()[1]
	if line["hidden"] != true || !strings.Contains(fmt.Sprint(line["note"]), "1 piece is reported as missed") {
		t.Errorf("the line of the first count: %v", line)
	}
	if other := answer(c.scan(label(t, events.ScanSet, "VAS-003"))).lines()[2]; other["hidden"] == true || other["note"] != nil {
		t.Errorf("another line: %v", other)
	}
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-1&stage=first")
	p.AwaitText("#now-what", "reported as missed since it was packed")
	p.Await(`document.querySelector("#as-expected").hidden`)
	if v := h.verdict("VAS-003", h.trips["VAS-003"]); v.Status != projections.Doubtful {
		t.Errorf("the set is %s: %+v", v.Status, v.Findings)
	}
}

// TestWrongSheetAtTheCount: a count sheet of a set that is not on the case, read where its sets are counted, is recorded once
// it is said where it was; both sets are told of at once, and nothing is signed before that is answered.
func TestWrongSheetAtTheCount(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.after(time.Minute)
	c := &counter{h: h, ref: "K-1", stage: "first"}
	size := h.size()
	must(t, c.scan(h.codes["VAS-004"]), "broken", "count sheet of VAS-004", "Where was the count sheet that lay with VAS-003?")
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-1"))
	h.after(3 * time.Second)
	a := c.scan(label(t, events.ScanBadge, "B-2"))
	must(t, a, "Where was the count sheet that lay with VAS-003?")
	if h.size() != size {
		t.Fatalf("%d records before it is said where it was", h.size()-size)
	}
	lay := choiceOf(a, "outside")
	a = c.do("sheet-lay", "value", lay)
	must(t, a, "broken", "The count sheet that lay with VAS-003 is recorded", "WRONG COUNT SHEET", "count")
	c.n-- // the answer was lost
	must(t, c.do("sheet-lay", "value", lay), "The count sheet that lay with VAS-003 is recorded")
	if h.size() != size+1 {
		t.Fatalf("recorded %d times", h.size()-size)
	}
	e, err := h.site.EventAt(size + 1)
	if err != nil {
		t.Fatal(err)
	}
	d, ok := e.Data.(*events.SetChecked)
	if !ok || e.Subject != "VAS-003" || e.Operator != "B-1" || d.Sheet.Code != h.codes["VAS-004"] || d.Sheet.Found != "outside" {
		t.Errorf("recorded is %+v %+v", e, e.Data)
	}
	if v := h.verdict("VAS-003", h.trips["VAS-003"]); v.Status != projections.Broken {
		t.Errorf("VAS-003 is %s: %+v", v.Status, v.Findings)
	}
	if v := h.verdict("VAS-004", h.trips["VAS-004"]); v.Status != projections.Broken {
		t.Errorf("VAS-004 is %s: %+v", v.Status, v.Findings)
	}
	must(t, c.do("enter"), "recorded")
}

// TestWrongSheetBesideTwoSets: where several sets are counted it is asked with which of them it lay; one that does not lie
// there is nothing that was seen.
func TestWrongSheetBesideTwoSets(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "LAP-014")
	h.open("VAS-003", "K-1")
	h.open("LAP-014", "K-1")
	h.after(time.Minute)
	c := &counter{h: h, ref: "K-1", stage: "first"}
	size := h.size()
	a := c.scan(h.codes["VAS-004"])
	must(t, a, "With which set")
	a = c.do("sheet-with", "value", choiceOf(a, "LAP-014"))
	must(t, a, "Where was the count sheet that lay with LAP-014?")
	c.do("sheet-none", "value", choiceOf(a, "does not lie here"))
	if h.size() != size {
		t.Error("recorded what does not lie there")
	}
	h.after(time.Minute)
	a = c.scan(h.codes["VAS-004"])
	a = c.do("sheet-with", "value", choiceOf(a, "LAP-014"))
	c.do("sheet-lay", "value", choiceOf(a, "inside, in a bag"))
	if e, err := h.site.EventAt(size + 1); err != nil || e.Subject != "LAP-014" {
		t.Errorf("recorded is %+v, %v", e, err)
	}
}

// TestEmergencyIsClaimedOnce: access whose answer was lost is claimed once, and none for a badge that nobody refused.
func TestEmergencyIsClaimedOnce(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.holdTo(events.RegisterPeople)
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	size := h.size()
	c.do("emergency", "value", "badge-lost B-4444")
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.do("emergency", "value", "badge-lost B-4444")
	if h.size() != size {
		t.Fatalf("%d claims by a badge that nobody refused", h.size()-size)
	}
	c.scan(label(t, events.ScanSet, "VAS-003"))
	h.after(time.Minute)
	claim := choiceOf(c.scan(label(t, events.ScanBadge, "B-9999")), "new here")
	c.do("emergency", "value", claim)
	c.n-- // the answer was lost
	h.after(time.Second)
	c.do("emergency", "value", claim)
	if h.size() != size+1 {
		t.Errorf("claimed %d times", h.size()-size)
	}
}

// TestOneSetInTwoLoads: a set that lies in a load of another station is asked about before it goes into a second one.
func TestOneSetInTwoLoads(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
	there := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	there.scan(label(t, events.ScanBadge, "B-1"))
	there.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	must(t, there.scan(label(t, events.ScanSet, "VAS-003")), "whole", "VAS-003 in load")
	there.do("start")
	here := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}
	here.scan(label(t, events.ScanBadge, "B-2"))
	here.do("begin", "sterilizer", "S2", "run", "3", "cycle", "c-134")
	must(t, here.put("VAS-004"), "VAS-004 in load") // in no other load
	a := here.scan(label(t, events.ScanSet, "VAS-003"))
	must(t, a, "broken", "VAS-003 lies in load S1-0304-07 at north/or-3")
	must(t, here.do("put", "value", "VAS-003"), "broken", "VAS-003 lies in load S1-0304-07")
	must(t, here.do("start"), "VAS-003 lies in load S1-0304-07 at north/or-3")
}

// TestSterilizerLikeAnother: a sterilizer whose name looks like one that ran here is asked about, and is one or the other.
func TestSterilizerLikeAnother(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	for _, name := range []string{"s-1", "SL"} {
		a := s.do("begin", "sterilizer", name, "run", "7", "cycle", "c-134")
		must(t, a, "is new here, and S1 looks like it")
		if bench := fmt.Sprint(a["bench"]); strings.Contains(bench, "-0304-07") {
			t.Errorf("%s: a load is begun before it is answered", name)
		}
	}
	must(t, s.do("sterilizer-is", "value", "S1"), "S1-0304-07")
	s.do("begin", "sterilizer", "S-1", "run", "8", "cycle", "c-134")
	must(t, s.do("sterilizer-new", "value", "S-1"), "S-1-0304-08")
	must(t, s.do("begin", "sterilizer", "S-1", "run", "9", "cycle", "c-134"), "S-1-0304-09") // said once
	must(t, s.do("begin", "sterilizer", "S2", "run", "1", "cycle", "c-134"), "S2-0304-01")
	must(t, s.do("begin", "sterilizer", "s1", "run", "10", "cycle", "c-134"), "S1-0304-10")
}

// TestGiveUpQuarantined: a load that is recorded as quarantined is not said to leave no record when it is taken off the page.
func TestGiveUpQuarantined(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.scan(label(t, events.ScanSet, "VAS-003"))
	s.do("start")
	must(t, s.do("give-up"), "Nothing of it is recorded")
	h.after(time.Hour)
	s.scan(label(t, events.ScanBadge, "B-1"))
	size := h.size()
	if s.do("held"); h.size() != size+1 {
		t.Fatal("nothing is recorded")
	}
	a := s.do("give-up")
	must(t, a, "stays recorded as passed and quarantined")
	if strings.Contains(tells(a), "Nothing of it") {
		t.Errorf("the page says %q", tells(a))
	}
}
