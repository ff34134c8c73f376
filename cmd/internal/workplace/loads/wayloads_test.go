//go:build !race

package loads_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestNextTagKeepsWhatWasSeen: on the way back the tag of the next set doesn't take away what was said of the one that lies there;
// where nothing was, it is said that nothing of that is recorded.
func TestNextTagKeepsWhatWasSeen(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-1", "VAS-003", "VAS-004")
	h.After(time.Hour)
	r := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	r.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	r.Do("step", "value", "received")
	r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	r.Do("fault", "value", "damaged", "on", "yes")
	a := r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004"))
	if workplacetest.Must(t, a, "VAS-003 is not recorded yet"); a["no"] != true {
		t.Errorf("taken: %v", a)
	}
	h.After(3 * time.Second)
	r.Do("fault", "value", "damaged", "on", "no")
	h.After(3 * time.Second)
	a = r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004"))
	if workplacetest.Must(t, a, "Enter records: VAS-004", "Nothing of VAS-003 was recorded"); a["sound"] != "low" {
		t.Errorf("sounds %v", a["sound"])
	}
	r.Do("fault", "value", "incomplete", "on", "yes")
	h.After(3 * time.Second)
	r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	workplacetest.Must(t, r.Scan(""), "VAS-004 received", "a piece missing")
}

// TestClosedWhileItRuns: a set that lies in a running load is not closed elsewhere before somebody says that it is another tray, and
// that is not green; its load is asked about before it is released.
func TestClosedWhileItRuns(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	x := h.AtSterilizer()
	x.Do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134")
	x.Put("VAS-003")
	x.Do("start")
	h.After(10 * time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
	a := s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	before := h.Size()
	for _, text := range []string{"3", ""} {
		workplacetest.Must(t, a, "doubtful", "VAS-003 is in load S1-0304-03, running since", "Which tray is this?")
		a = s.Scan(text)
		h.After(3 * time.Second)
	}
	if s.Do("record"); h.Size() != before {
		t.Fatal("closed, and nobody said which tray that is")
	}
	s.Answer(a, "not-loaded")
	workplacetest.Must(t, s.Scan("3"), "doubtful", "One of the two trays")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-003 closed", "One of the two trays")
	h.After(30 * time.Minute)
	x.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, x.Do("result", "result", "passed", "released", "yes"), "broken", "VAS-003 was closed anew since it was put in")
}

// TestReleaseOfASetInUse: where a release is taken back, and where a load is recorded as failed, the sets that are open in a case are
// named with it, first of all.
func TestReleaseOfASetInUse(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	x := h.AtSterilizer()
	x.Run("3", "VAS-003")
	workplacetest.Must(t, x.Do("result", "result", "passed", "released", "yes"), "whole", "is released")
	h.After(10 * time.Minute)
	h.Open("VAS-003", "K-5")
	open := "VAS-003 is OPEN in case K-5: tell its room now."
	workplacetest.Must(t, x.Do("take-back"), "doubtful", open, "No longer released by load S1-0304-03: VAS-003")
	workplacetest.Must(t, x.Do("take-back", "value", "by-mistake"), "doubtful", "Taken back", open)
	a := x.Do("result", "result", "failed")
	if workplacetest.Must(t, a, "broken", "Not sterile"); !strings.HasPrefix(a["words"].(string), open) {
		t.Errorf("the first words: %v", a["words"])
	}
}

// TestSetOfAFailedLoadElsewhere: a load that another station recorded as failed is not given up with sets in it: it failed for those,
// too, and they don't go into the next one.
func TestSetOfAFailedLoadElsewhere(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Packed("VAS-003", "VAS-004")
	x, y := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"},
		&workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	for i, s := range []*workplacetest.Scanner{x, y} {
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		if a := s.Do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134"); i == 1 {
			s.Answer(a, "begin-too")
		}
		h.After(3 * time.Second)
		s.Scan(workplacetest.Label(t, events.ScanTag, []string{"VAS-003", "VAS-004"}[i]))
		if i == 0 {
			s.Do("start")
		}
	}
	h.After(40 * time.Minute)
	x.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, x.Do("result", "result", "failed"), "broken", "VAS-004")
	y.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := y.Do("give-up")
	workplacetest.Must(t, a, "broken", "S1-0304-03 is recorded as failed", "VAS-004")
	workplacetest.Must(t, y.Do("give-up", "value", "S1-0304-03"), "broken", "S1-0304-03 is recorded as failed")
	workplacetest.Must(t, y.Answer(a, "failed-too"), "broken", "Not sterile")
	if got := h.Ended("VAS-004"); !slices.Contains(got, "S1-0304-03 failed false") {
		t.Fatalf("recorded: %v", got)
	}
	y.Do("begin", "sterilizer", "S1", "run", "4", "cycle", "c-134")
	workplacetest.Must(t, y.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004")), "broken", "S1-0304-03")
}

// TestRenumberedLoadKeepsItsLabel: a load that was begun on another day and runs under a number of today is found by the label that was
// printed with its first one, while it runs and when its indicator is read.
func TestRenumberedLoadKeepsItsLabel(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	x := h.AtSterilizer()
	x.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	x.Put("VAS-003")
	h.After(24 * time.Hour)
	x.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	x.Answer(x.Do("start"), "renumber")
	h.After(40 * time.Minute)
	was := workplacetest.Label(t, events.ScanLoad, "S1-0304-02")
	workplacetest.Must(t, x.Scan(was), "S1-0304-02 runs as S1-0305-02", "Load S1-0305-02")
	x.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, x.Do("result", "result", "passed", "released", "yes"), "is released")
	h.After(3 * time.Second)
	workplacetest.Must(t, x.Scan(was), "S1-0304-02 runs as S1-0305-02", "ndicator of S1-0305-02")
	workplacetest.Must(t, x.Do("indicator", "load", "S1-0304-02", "result", "positive", "control", "positive"), "broken", "S1-0305-02")
	y := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	workplacetest.Must(t, y.Scan(was), "S1-0304-02 runs as S1-0305-02")
}
