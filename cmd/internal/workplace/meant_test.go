package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestCaseWithoutSetsIsNotClosed: a case for which no set was opened has no counts
// that could come out, so that two badges don't close it.
func TestCaseWithoutSetsIsNotClosed(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	before := h.size()
	for _, text := range []string{label(t, events.ScanCase, "K-9"), label(t, events.ScanBadge, "B-1"), label(t, events.ScanBadge, "B-2"), ""} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	if h.size() != before {
		t.Fatalf("%d records of a case without sets", h.size()-before)
	}
	if a := s.do("record"); h.size() != before || !strings.Contains(fmt.Sprint(a["words"]), "No set was opened for case K-9") {
		t.Errorf("closed by the button: %v", a["words"])
	}
}

// TestWhyGoesWithTheStop: why a case is closed all the same is asked beside what it
// lacks, and no longer once it comes out.
func TestWhyGoesWithTheStop(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.scan(label(t, events.ScanCase, "K-1"))
	if a := s.scan(""); !strings.Contains(fmt.Sprint(a["aside"]), "say why") ||
		!strings.Contains(fmt.Sprint(a["words"]), "Not accounted for: 2") {
		t.Fatalf("Enter, where counts are missing: %v | %v", a["words"], a["aside"])
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	if page := h.get(s.path); strings.Contains(page, "say why") || !strings.Contains(page, "come out") {
		t.Errorf("the page of a case that comes out still asks why it does not")
	}
}

// TestPutAsideByWhoWorksHere: whose badge was scanned at another place of the station is
// shown before a set is put aside by it; one more press records that.
func TestPutAsideByWhoWorksHere(t *testing.T) {
	h := newHouse(t, "LAP-014", "LAP-022")
	at := "/at/north/or-3/"
	s := &scanner{h: h, path: at + "opening"}
	for _, text := range []string{label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-014"), h.codes["LAP-022"]} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	s.do("found", "value", "outside")
	other := &scanner{h: h, path: at + "storage", n: 100}
	other.scan(label(t, events.ScanBadge, "B-2"))
	before := h.size()
	a := s.do("put-aside")
	if h.size() != before || !strings.Contains(fmt.Sprint(a["next"]), "B-2 works here. Press once more") {
		t.Fatalf("put aside with a badge from another place: %v | %v", a["words"], a["next"])
	}
	if s.do("put-aside"); h.size() != before+1 {
		t.Fatal("not put aside")
	}
	if d := h.lastCheck("LAP-014"); d.Aside != events.AsidePut {
		t.Errorf("recorded %+v", d)
	}
}

// TestTwoAskAboutSingles: what one screen asks about an instrument is answered by yes,
// whatever another screen has added meanwhile.
func TestTwoAskAboutSingles(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	if a := c.do("single", "set", "VAS-003", "what", "QX-7", "quantity", "2"); !strings.Contains(fmt.Sprint(a["words"]), "QX-7: is this") {
		t.Fatalf("a code: %v", a["words"])
	}
	c.do("single", "set", "VAS-003", "what", "Clamp, curved", "quantity", "1")
	if a := c.do("single-yes", "set", "VAS-003", "value", "QX-7"); !strings.Contains(fmt.Sprint(a["words"]), "2 × QX-7 is line 5") {
		t.Errorf("yes: %v", a["words"])
	}
	c.do("single-yes", "set", "VAS-003", "value", "QX-7")
	c.lines("VAS-003", 4, 2, 3, 1, 2)
	for _, b := range []string{"B-1", "B-2"} {
		c.scan(label(t, events.ScanBadge, b))
	}
	got := h.events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || len(got[0].(*events.SetCounted).Beyond) != 2 {
		t.Fatalf("recorded %+v", got)
	}
	if x := got[0].(*events.SetCounted).Beyond[1]; x.Item != "QX-7" || x.Added != 2 {
		t.Errorf("recorded %+v", x)
	}
}

// TestClosedCaseIsAskedFirst: a set that is in order is not called otherwise because the
// case that was scanned is over: whether it is meant is what is asked.
func TestClosedCaseIsAskedFirst(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1",
		Outcome: "reconciled", Actions: []string{}, Witness: "B-2"})
	h.after(5 * time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	for _, text := range []string{label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-014"), h.codes["LAP-014"], "1",
		label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1")} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	before := h.size()
	a := s.scan("")
	if h.size() != before || a["status"] == "broken" || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Case K-1 is closed") {
		t.Fatalf("opening for a closed case: %v | %v | %v", a["status"], a["words"], a["next"])
	}
	if s.do("closed-case", "value", "K-1"); h.size() != before {
		t.Fatal("recorded by the answer")
	}
	if s.scan(""); h.size() != before+1 && s.do("anyway") != nil {
		s.scan("")
	}
	got := h.events(site.Query{Set: "LAP-014"}, events.KindSetOpened)
	if len(got) != 1 || got[0].(*events.SetOpened).Case != "K-1" {
		t.Errorf("recorded %+v", got)
	}
}
