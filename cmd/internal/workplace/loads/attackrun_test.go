//go:build !race

package loads_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestImmediateRunOfAnotherCase: a set that was dropped and run for the case in hand goes to no other patient
// by Enter, though it was opened before.
func TestImmediateRunOfAnotherCase(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	h.After(30 * time.Minute)
	h.Record("north/or-3", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S7-0304-02", Sterilizer: "S7",
		Run: 2, Cycle: "c-134", Result: "passed", Released: true, Immediate: "dropped", For: "K-1"})
	o := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	reads := func(ref string) map[string]any {
		h.After(30 * time.Minute)
		o.Do("forget")
		o.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
		o.Scan(workplacetest.Label(t, events.ScanCase, ref))
		o.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		o.Scan(workplacetest.Label(t, events.ScanOuter, "VAS-003"))
		o.Scan(h.Codes["VAS-003"])
		return o.Scan("1")
	}
	if a := reads("K-1"); a["status"] == "broken" {
		t.Errorf("opened for the case that waited: %v %v", a["words"], a["more"])
	}
	workplacetest.Must(t, reads("K-2"), "broken", "IMMEDIATE")
	before := h.Size()
	workplacetest.Must(t, o.Scan(""), "broken", "IMMEDIATE")
	if h.Size() != before {
		t.Error("Enter recorded the opening for another case")
	}
}

// TestForgottenSetReleasesNoImplants: a quarantined load with implants isn't released without its indicator, or a
// reason, by a set that was forgotten in it and is put in at another station.
func TestForgottenSetReleasesNoImplants(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-007")
	h.Implants("IMP-1", "IMP-2")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Run("7", "IMP-1")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "quarantine")
	o := h.AtSterilizer()
	o.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	o.Do("begin-too", "value", "S1-0304-07")
	h.After(3 * time.Second)
	o.Put("VAS-007")
	before := h.Size()
	workplacetest.Must(t, o.Do("result", "result", "passed", "released", "yes"), "open", "Load S1-0304-07 has implants in it")
	for _, a := range []map[string]any{o.Do("ended-all", "value", "IMP-1"), o.Scan(""), o.Do("enter")} {
		if h.Size() != before {
			t.Fatalf("released, and its indicator is not read: %v %v", a["status"], a["words"])
		}
	}
	// Quarantined like the others, as is offered.
	workplacetest.Must(t, o.Do("held"), "quarantine")
	if d := lastRun(t, h, "VAS-007"); d.Released {
		t.Errorf("recorded %+v", d)
	}
	// With a reason it is released, and said to be early.
	o.Do("result", "result", "passed", "released", "yes", "emergency", "patient bleeds, Dr. A")
	workplacetest.Must(t, o.Do("ended-all", "value", "IMP-1"), "doubtful", "S1-0304-07")
	for _, set := range []string{"IMP-1", "VAS-007"} {
		if d := lastRun(t, h, set); !d.Released || d.Emergency == "" {
			t.Errorf("%s: recorded %+v", set, d)
		}
	}
}

// TestImplantsRecordedWhileAsked: a set with implants that is recorded of a load while it is asked whether the load
// ended so for its other sets, too, is asked about.
func TestImplantsRecordedWhileAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-007")
	h.Implants("IMP-1")
	held := func(set string) {
		h.Record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "passed"})
	}
	h.After(time.Hour)
	held("VAS-003")
	o := h.AtSterilizer()
	o.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	o.Do("begin-too", "value", "S1-0304-07")
	h.After(3 * time.Second)
	o.Scan(workplacetest.Label(t, events.ScanSet, "VAS-007"))
	workplacetest.Must(t, o.Do("result", "result", "passed", "released", "yes"), "recorded that it ended otherwise", "VAS-003")
	held("IMP-1")
	before := h.Size()
	workplacetest.Must(t, o.Do("ended-all", "value", "IMP-1, VAS-003"), "Load S1-0304-07 has implants in it")
	if h.Size() != before {
		t.Error("released, and its indicator is not read")
	}
}

func lastRun(t *testing.T, h *workplacetest.House, set string) *events.SetSterilized {
	t.Helper()
	got := h.Events(site.Query{Set: set}, events.KindSetSterilized)
	if len(got) == 0 {
		t.Fatalf("%s: no run is recorded", set)
	}
	return got[len(got)-1].(*events.SetSterilized)
}
