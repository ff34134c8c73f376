//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestCaseWithoutSetsIsNotClosed: a case for which no set was opened has no counts
// that could come out, so that two badges don't close it.
func TestCaseWithoutSetsIsNotClosed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	before := h.Size()
	for _, text := range []string{workplacetest.Label(t, events.ScanCase, "K-9"), workplacetest.Label(t,
		events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanBadge, "B-2"), ""} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	if h.Size() != before {
		t.Fatalf("%d records of a case without sets", h.Size()-before)
	}
	if a := s.Do("record"); h.Size() != before || !strings.Contains(fmt.Sprint(a["words"]), "No set was opened for case K-9") {
		t.Errorf("closed by the button: %v", a["words"])
	}
}

// TestWhyGoesWithTheStop: why a case is closed all the same is asked beside what it
// lacks, and no longer once it comes out.
func TestWhyGoesWithTheStop(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	if a := s.Scan(""); !strings.Contains(fmt.Sprint(a["aside"]), "say why") ||
		!strings.Contains(fmt.Sprint(a["words"]), "Not accounted for: 2") {
		t.Fatalf("Enter, where counts are missing: %v | %v", a["words"], a["aside"])
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	if page := h.Get(s.Path); strings.Contains(page, "say why") || !strings.Contains(page, "come out") {
		t.Errorf("the page of a case that comes out still asks why it does not")
	}
}

// TestPutAsideByWhoWorksHere: whose badge was scanned at another place of the station is
// shown before a set is put aside by it; one more press records that.
func TestPutAsideByWhoWorksHere(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014", "LAP-022")
	at := "/at/north/or-3/"
	s := &workplacetest.Scanner{House: h, Path: at + "opening"}
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t,
		events.ScanOuter, "LAP-014"), h.Codes["LAP-022"]} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	s.Do("found", "value", "outside")
	other := &workplacetest.Scanner{House: h, Path: at + "storage", Number: 100}
	other.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	before := h.Size()
	a := s.Do("put-aside")
	if h.Size() != before || !strings.Contains(fmt.Sprint(a["next"]), "B-2 works here. Press once more") {
		t.Fatalf("put aside with a badge from another place: %v | %v", a["words"], a["next"])
	}
	if s.Do("put-aside"); h.Size() != before+1 {
		t.Fatal("not put aside")
	}
	if d := h.LastCheck("LAP-014"); d.Aside != events.AsidePut {
		t.Errorf("recorded %+v", d)
	}
}

// TestTwoAskAboutSingles: what one screen asks about an instrument is answered by yes,
// whatever another screen has added meanwhile.
func TestTwoAskAboutSingles(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	if a := c.Do("single", "set", "VAS-003", "what", "QX-7", "quantity", "2"); !strings.Contains(fmt.Sprint(a["words"]), "QX-7: is this") {
		t.Fatalf("a code: %v", a["words"])
	}
	c.Do("single", "set", "VAS-003", "what", "Clamp, curved", "quantity", "1")
	if a := c.Do("single-yes", "set", "VAS-003", "value", "QX-7"); !strings.Contains(fmt.Sprint(a["words"]), "2 × QX-7 is line 5") {
		t.Errorf("yes: %v", a["words"])
	}
	c.Do("single-yes", "set", "VAS-003", "value", "QX-7")
	c.Lines("VAS-003", 4, 2, 3, 1, 2)
	for _, b := range []string{"B-1", "B-2"} {
		c.Scan(workplacetest.Label(t, events.ScanBadge, b))
	}
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
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
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1",
		Outcome: "reconciled", Actions: []string{}, Witness: "B-2"})
	h.After(5 * time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t,
		events.ScanOuter, "LAP-014"), h.Codes["LAP-014"], "1",
		workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1")} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	before := h.Size()
	a := s.Scan("")
	if h.Size() != before || a["status"] == "broken" || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Case K-1 is closed") {
		t.Fatalf("opening for a closed case: %v | %v | %v", a["status"], a["words"], a["next"])
	}
	if s.Do("closed-case", "value", "K-1"); h.Size() != before {
		t.Fatal("recorded by the answer")
	}
	if s.Scan(""); h.Size() != before+1 && s.Do("anyway") != nil {
		s.Scan("")
	}
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)
	if len(got) != 1 || got[0].(*events.SetOpened).Case != "K-1" {
		t.Errorf("recorded %+v", got)
	}
}
