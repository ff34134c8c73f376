//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestMissingOnTheWayBack: a piece that is missing when a used set is received is nothing in order: who receives it is
// told whom to tell, and who packs it next is asked to count, even where nobody said which piece it is.
func TestMissingOnTheWayBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.CountedRight("K-0412")
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-9"), workplacetest.Label(t,
		events.ScanSet, "VAS-003"), "2", "+3"} {
		s.Scan(text)
		h.After(3 * time.Second)
	}
	workplacetest.Must(t, s.Scan(""), "broken", "VAS-003 received", "came back SHORT from its case", "K-0412", "charge nurse")
	if v := h.Verdict("VAS-003", h.Trips["VAS-003"]); v.Status != projections.Broken {
		t.Errorf("the turn of the case is %s: %+v", v.Status, v.Findings)
	}

	h.After(time.Hour)
	s = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "doubtful",
		"A piece of VAS-003 is missing", "and not which")
	for range 4 { // Enter is no answer
		h.After(3 * time.Second)
		workplacetest.Must(t, s.Scan(""), "A piece of VAS-003 is missing")
	}
	workplacetest.Must(t, s.Do("lacks", "value", "came-back-short/incomplete/1"), "A piece of VAS-003 is missing") // no such finding
	a := s.Scan("9")
	s.Do("lacks", "value", workplacetest.ChoiceOf(a, "Count each line"))
	for _, text := range []string{"", "", "", "8.2"} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9")), "doubtful",
		"though one was said to be missing", "Enter records")
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-003 packed", "though one was said to be missing")
}

// TestMissingNamed: a piece that is missing as listed in a line is packed so, and told of the case then.
func TestMissingNamed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0412", "VAS-003")
	h.Record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnIncomplete}})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	s.Do("lacks", "value", workplacetest.ChoiceOf(s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "Count each line"))
	for _, text := range []string{"3", "1", "", "", "8.2", workplacetest.Label(t, events.ScanBadge, "B-9")} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	workplacetest.Must(t, s.Scan(""), "VAS-003 packed. Lines not as listed: 1", "came back SHORT")
	// What became of it is said: the next packing asks nothing.
	h = workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0412", "VAS-003")
	h.Record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnIncomplete}})
	h.Record("north/or-3", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameFound, Line: 1, Quantity: 1})
	s = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "4 × Forceps")
}

// TestMissedOnTheShelf: a piece that is missed of a packed set is told where the set is looked at in storage and where it is
// opened, and stands in the line of the first count, which Enter doesn't take as expected.
func TestMissedOnTheShelf(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	h.After(time.Hour)
	for _, place := range []string{"storage", "opening"} {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		s.Scan(workplacetest.Label(t, events.ScanOuter, "VAS-003"))
		a := s.Scan(h.Codes["VAS-003"])
		workplacetest.Must(t, a, "doubtful")
		if all := fmt.Sprint(a["verdict"]); !strings.Contains(all, "a piece of it is reported MISSING") {
			t.Errorf("%s says nothing of the piece: %s", place, all)
		}
		if page := h.Get("/at/north/or-3/" + place); !strings.Contains(page, "1 piece is reported as missed since it was packed") {
			t.Errorf("%s: nothing of it stands in the set's lines", place)
		}
		s.Do("forget")
	}
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Do("begin")
	line := workplacetest.Answer(c.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))).Lines()[1]
	if line["hidden"] != true || !strings.Contains(fmt.Sprint(line["note"]), "1 piece is reported as missed") {
		t.Errorf("the line of the first count: %v", line)
	}
	if other := workplacetest.Answer(c.Scan(workplacetest.Label(t, events.ScanSet,
		"VAS-003"))).Lines()[2]; other["hidden"] == true || other["note"] != nil {
		t.Errorf("another line: %v", other)
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1&stage=first")
	p.AwaitText("#now-what", "reported as missed since it was packed")
	p.Await(`document.querySelector("#as-expected").hidden`)
	if v := h.Verdict("VAS-003", h.Trips["VAS-003"]); v.Status != projections.Doubtful {
		t.Errorf("the set is %s: %+v", v.Status, v.Findings)
	}
}

// TestWrongSheetAtTheCount: a count sheet of a set that is not on the case, read where its sets are counted, is recorded once
// it is said where it was; both sets are told of at once, and nothing is signed before that is answered.
func TestWrongSheetAtTheCount(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.After(time.Minute)
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	size := h.Size()
	workplacetest.Must(t, c.Scan(h.Codes["VAS-004"]), "broken", "count sheet of VAS-004",
		"Where was the count sheet that lay with VAS-003?")
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	h.After(3 * time.Second)
	a := c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, a, "Where was the count sheet that lay with VAS-003?")
	if h.Size() != size {
		t.Fatalf("%d records before it is said where it was", h.Size()-size)
	}
	lay := workplacetest.ChoiceOf(a, "outside")
	a = c.Do("sheet-lay", "value", lay)
	workplacetest.Must(t, a, "broken", "The count sheet that lay with VAS-003 is recorded", "WRONG COUNT SHEET", "count")
	c.Number-- // the answer was lost
	workplacetest.Must(t, c.Do("sheet-lay", "value", lay), "The count sheet that lay with VAS-003 is recorded")
	if h.Size() != size+1 {
		t.Fatalf("recorded %d times", h.Size()-size)
	}
	e, err := h.Site.EventAt(size + 1)
	if err != nil {
		t.Fatal(err)
	}
	d, ok := e.Data.(*events.SetChecked)
	if !ok || e.Subject != "VAS-003" || e.Operator != "B-1" || d.Sheet.Code != h.Codes["VAS-004"] || d.Sheet.Found != "outside" {
		t.Errorf("recorded is %+v %+v", e, e.Data)
	}
	if v := h.Verdict("VAS-003", h.Trips["VAS-003"]); v.Status != projections.Broken {
		t.Errorf("VAS-003 is %s: %+v", v.Status, v.Findings)
	}
	if v := h.Verdict("VAS-004", h.Trips["VAS-004"]); v.Status != projections.Broken {
		t.Errorf("VAS-004 is %s: %+v", v.Status, v.Findings)
	}
	workplacetest.Must(t, c.Do("enter"), "recorded")
}

// TestWrongSheetBesideTwoSets: where several sets are counted it is asked with which of them it lay; one that does not lie
// there is nothing that was seen.
func TestWrongSheetBesideTwoSets(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "LAP-014")
	h.Open("VAS-003", "K-1")
	h.Open("LAP-014", "K-1")
	h.After(time.Minute)
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	size := h.Size()
	a := c.Scan(h.Codes["VAS-004"])
	workplacetest.Must(t, a, "With which set")
	a = c.Do("sheet-with", "value", workplacetest.ChoiceOf(a, "LAP-014"))
	workplacetest.Must(t, a, "Where was the count sheet that lay with LAP-014?")
	c.Do("sheet-none", "value", workplacetest.ChoiceOf(a, "does not lie here"))
	if h.Size() != size {
		t.Error("recorded what does not lie there")
	}
	h.After(time.Minute)
	a = c.Scan(h.Codes["VAS-004"])
	a = c.Do("sheet-with", "value", workplacetest.ChoiceOf(a, "LAP-014"))
	c.Do("sheet-lay", "value", workplacetest.ChoiceOf(a, "inside, in a bag"))
	if e, err := h.Site.EventAt(size + 1); err != nil || e.Subject != "LAP-014" {
		t.Errorf("recorded is %+v, %v", e, err)
	}
}

// TestEmergencyIsClaimedOnce: access whose answer was lost is claimed once, and none for a badge that nobody refused.
func TestEmergencyIsClaimedOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.HoldTo(events.RegisterPeople)
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	size := h.Size()
	c.Do("emergency", "value", "badge-lost B-4444")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Do("emergency", "value", "badge-lost B-4444")
	if h.Size() != size {
		t.Fatalf("%d claims by a badge that nobody refused", h.Size()-size)
	}
	c.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	h.After(time.Minute)
	claim := workplacetest.ChoiceOf(c.Scan(workplacetest.Label(t, events.ScanBadge, "B-9999")), "new here")
	c.Do("emergency", "value", claim)
	c.Number-- // the answer was lost
	h.After(time.Second)
	c.Do("emergency", "value", claim)
	if h.Size() != size+1 {
		t.Errorf("claimed %d times", h.Size()-size)
	}
}

// TestOneSetInTwoLoads: a set that lies in a load of another station is asked about before it goes into a second one.
func TestOneSetInTwoLoads(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
	there := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	there.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	there.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	workplacetest.Must(t, there.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "whole", "VAS-003 in load")
	there.Do("start")
	here := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	here.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	here.Do("begin", "sterilizer", "S2", "run", "3", "cycle", "c-134")
	workplacetest.Must(t, here.Put("VAS-004"), "VAS-004 in load") // in no other load
	a := here.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	workplacetest.Must(t, a, "broken", "VAS-003 lies in load S1-0304-07 at north/or-3")
	workplacetest.Must(t, here.Do("put", "value", "VAS-003"), "broken", "VAS-003 lies in load S1-0304-07")
	workplacetest.Must(t, here.Do("start"), "VAS-003 lies in load S1-0304-07 at north/or-3")
}

// TestSterilizerLikeAnother: a sterilizer whose name looks like one that ran here is asked about, and is one or the other.
func TestSterilizerLikeAnother(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for _, name := range []string{"s-1", "SL"} {
		a := s.Do("begin", "sterilizer", name, "run", "7", "cycle", "c-134")
		workplacetest.Must(t, a, "is new here, and S1 looks like it")
		if bench := fmt.Sprint(a["bench"]); strings.Contains(bench, "-0304-07") {
			t.Errorf("%s: a load is begun before it is answered", name)
		}
	}
	workplacetest.Must(t, s.Do("sterilizer-is", "value", "S1"), "S1-0304-07")
	s.Do("begin", "sterilizer", "S-1", "run", "8", "cycle", "c-134")
	workplacetest.Must(t, s.Do("sterilizer-new", "value", "S-1"), "S-1-0304-08")
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S-1", "run", "9", "cycle", "c-134"), "S-1-0304-09") // said once
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S2", "run", "1", "cycle", "c-134"), "S2-0304-01")
	workplacetest.Must(t, s.Do("begin", "sterilizer", "s1", "run", "10", "cycle", "c-134"), "S1-0304-10")
}

// TestGiveUpQuarantined: a load that is recorded as quarantined is not said to leave no record when it is taken off the page.
func TestGiveUpQuarantined(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Do("start")
	workplacetest.Must(t, s.Do("give-up"), "Nothing of it is recorded")
	h.After(time.Hour)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	size := h.Size()
	if s.Do("held"); h.Size() != size+1 {
		t.Fatal("nothing is recorded")
	}
	a := s.Do("give-up")
	workplacetest.Must(t, a, "stays recorded as passed and quarantined")
	if strings.Contains(workplacetest.Tells(a), "Nothing of it") {
		t.Errorf("the page says %q", workplacetest.Tells(a))
	}
}
