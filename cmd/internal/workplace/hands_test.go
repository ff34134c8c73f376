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
	for _, text := range []string{"", "", "", "4.2"} {
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
	for _, text := range []string{"3", "1", "", "", "4.2", label(t, events.ScanBadge, "B-9")} {
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
