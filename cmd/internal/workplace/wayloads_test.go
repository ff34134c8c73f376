//go:build !race

package workplace_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestNextTagKeepsWhatWasSeen: on the way back the tag of the next set doesn't take away what was said of the one that lies there;
// where nothing was, it is said that nothing of that is recorded.
func TestNextTagKeepsWhatWasSeen(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.used("K-1", "VAS-003", "VAS-004")
	h.after(time.Hour)
	r := &scanner{h: h, path: "/at/north/or-3/return"}
	r.scan(label(t, events.ScanBadge, "B-1"))
	r.do("step", "value", "received")
	r.scan(label(t, events.ScanTag, "VAS-003"))
	r.do("fault", "value", "damaged", "on", "yes")
	a := r.scan(label(t, events.ScanTag, "VAS-004"))
	if must(t, a, "VAS-003 is not recorded yet"); a["no"] != true {
		t.Errorf("taken: %v", a)
	}
	h.after(3 * time.Second)
	r.do("fault", "value", "damaged", "on", "no")
	h.after(3 * time.Second)
	a = r.scan(label(t, events.ScanTag, "VAS-004"))
	if must(t, a, "Enter records: VAS-004", "Nothing of VAS-003 was recorded"); a["sound"] != "low" {
		t.Errorf("sounds %v", a["sound"])
	}
	r.do("fault", "value", "incomplete", "on", "yes")
	h.after(3 * time.Second)
	r.scan(label(t, events.ScanTag, "VAS-003"))
	must(t, r.scan(""), "VAS-004 received", "a piece missing")
}

// TestClosedWhileItRuns: a set that lies in a running load is not closed elsewhere before somebody says that it is another tray, and
// that is not green; its load is asked about before it is released.
func TestClosedWhileItRuns(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	x := h.atSterilizer()
	x.do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134")
	x.put("VAS-003")
	x.do("start")
	h.after(10 * time.Minute)
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	s.scan(label(t, events.ScanBadge, "B-7"))
	a := s.scan(label(t, events.ScanTag, "VAS-003"))
	before := h.size()
	for _, text := range []string{"3", ""} {
		must(t, a, "doubtful", "VAS-003 is in load S1-0304-03, running since", "Which tray is this?")
		a = s.scan(text)
		h.after(3 * time.Second)
	}
	if s.do("record"); h.size() != before {
		t.Fatal("closed, and nobody said which tray that is")
	}
	s.answer(a, "not-loaded")
	must(t, s.scan("3"), "doubtful", "One of the two trays")
	h.after(3 * time.Second)
	must(t, s.scan(""), "doubtful", "VAS-003 closed", "One of the two trays")
	h.after(30 * time.Minute)
	x.scan(label(t, events.ScanBadge, "B-1"))
	must(t, x.do("result", "result", "passed", "released", "yes"), "broken", "VAS-003 was closed anew since it was put in")
}

// TestReleaseOfASetInUse: where a release is taken back, and where a load is recorded as failed, the sets that are open in a case are
// named with it, first of all.
func TestReleaseOfASetInUse(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	x := h.atSterilizer()
	x.run("3", "VAS-003")
	must(t, x.do("result", "result", "passed", "released", "yes"), "whole", "is released")
	h.after(10 * time.Minute)
	h.open("VAS-003", "K-5")
	open := "VAS-003 is OPEN in case K-5: tell its room now."
	must(t, x.do("take-back"), "doubtful", open, "No longer released by load S1-0304-03: VAS-003")
	must(t, x.do("take-back", "value", "by-mistake"), "doubtful", "Taken back", open)
	a := x.do("result", "result", "failed")
	if must(t, a, "broken", "Not sterile"); !strings.HasPrefix(a["words"].(string), open) {
		t.Errorf("the first words: %v", a["words"])
	}
}

// TestSetOfAFailedLoadElsewhere: a load that another station recorded as failed is not given up with sets in it: it failed for those,
// too, and they don't go into the next one.
func TestSetOfAFailedLoadElsewhere(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.packed("VAS-003", "VAS-004")
	x, y := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}, &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	for i, s := range []*scanner{x, y} {
		s.scan(label(t, events.ScanBadge, "B-1"))
		if a := s.do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134"); i == 1 {
			s.answer(a, "begin-too")
		}
		h.after(3 * time.Second)
		s.scan(label(t, events.ScanTag, []string{"VAS-003", "VAS-004"}[i]))
		if i == 0 {
			s.do("start")
		}
	}
	h.after(40 * time.Minute)
	x.scan(label(t, events.ScanBadge, "B-1"))
	must(t, x.do("result", "result", "failed"), "broken", "VAS-004")
	y.scan(label(t, events.ScanBadge, "B-1"))
	a := y.do("give-up")
	must(t, a, "broken", "S1-0304-03 is recorded as failed", "VAS-004")
	must(t, y.do("give-up", "value", "S1-0304-03"), "broken", "S1-0304-03 is recorded as failed")
	must(t, y.answer(a, "failed-too"), "broken", "Not sterile")
	if got := h.ended("VAS-004"); !slices.Contains(got, "S1-0304-03 failed false") {
		t.Fatalf("recorded: %v", got)
	}
	y.do("begin", "sterilizer", "S1", "run", "4", "cycle", "c-134")
	must(t, y.scan(label(t, events.ScanTag, "VAS-004")), "broken", "S1-0304-03")
}

// TestRenumberedLoadKeepsItsLabel: a load that was begun on another day and runs under a number of today is found by the label that was
// printed with its first one, while it runs and when its indicator is read.
func TestRenumberedLoadKeepsItsLabel(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	x := h.atSterilizer()
	x.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	x.put("VAS-003")
	h.after(24 * time.Hour)
	x.scan(label(t, events.ScanBadge, "B-1"))
	x.answer(x.do("start"), "renumber")
	h.after(40 * time.Minute)
	was := label(t, events.ScanLoad, "S1-0304-02")
	must(t, x.scan(was), "S1-0304-02 runs as S1-0305-02", "Load S1-0305-02")
	x.scan(label(t, events.ScanBadge, "B-1"))
	must(t, x.do("result", "result", "passed", "released", "yes"), "is released")
	h.after(3 * time.Second)
	must(t, x.scan(was), "S1-0304-02 runs as S1-0305-02", "ndicator of S1-0305-02")
	must(t, x.do("indicator", "load", "S1-0304-02", "result", "positive", "control", "positive"), "broken", "S1-0305-02")
	y := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}
	must(t, y.scan(was), "S1-0304-02 runs as S1-0305-02")
}
