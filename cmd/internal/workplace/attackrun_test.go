package workplace_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestImmediateRunOfAnotherCase: a set that was dropped and run for the case in hand goes to no other patient
// by Enter, though it was opened before.
func TestImmediateRunOfAnotherCase(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	h.after(30 * time.Minute)
	h.record("north/or-3", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S7-0304-02", Sterilizer: "S7",
		Run: 2, Cycle: "c-134", Result: "passed", Released: true, Immediate: "dropped", For: "K-1"})
	o := &scanner{h: h, path: "/at/north/or-3/opening"}
	reads := func(ref string) map[string]any {
		h.after(30 * time.Minute)
		o.do("forget")
		o.scan(label(t, events.ScanBadge, "B-2"))
		o.scan(label(t, events.ScanCase, ref))
		o.scan(label(t, events.ScanTag, "VAS-003"))
		o.scan(label(t, events.ScanOuter, "VAS-003"))
		o.scan(h.codes["VAS-003"])
		return o.scan("1")
	}
	if a := reads("K-1"); a["status"] == "broken" {
		t.Errorf("opened for the case that waited: %v %v", a["words"], a["more"])
	}
	must(t, reads("K-2"), "broken", "IMMEDIATE")
	before := h.size()
	must(t, o.scan(""), "broken", "IMMEDIATE")
	if h.size() != before {
		t.Error("Enter recorded the opening for another case")
	}
}

// TestForgottenSetReleasesNoImplants: a quarantined load with implants isn't released without its indicator, or a
// reason, by a set that was forgotten in it and is put in at another station.
func TestForgottenSetReleasesNoImplants(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-007")
	h.implants("IMP-1", "IMP-2")
	s := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.run("7", "IMP-1")
	must(t, s.do("result", "result", "passed", "released", "no"), "quarantine")
	o := h.atSterilizer()
	o.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	o.do("begin-too", "value", "S1-0304-07")
	h.after(3 * time.Second)
	o.put("VAS-007")
	before := h.size()
	must(t, o.do("result", "result", "passed", "released", "yes"), "open", "Load S1-0304-07 has implants in it")
	for _, a := range []map[string]any{o.do("ended-all", "value", "IMP-1"), o.scan(""), o.do("enter")} {
		if h.size() != before {
			t.Fatalf("released, and its indicator is not read: %v %v", a["status"], a["words"])
		}
	}
	// Quarantined like the others, as is offered.
	must(t, o.do("held"), "quarantine")
	if d := lastRun(t, h, "VAS-007"); d.Released {
		t.Errorf("recorded %+v", d)
	}
	// With a reason it is released, and said to be early.
	o.do("result", "result", "passed", "released", "yes", "emergency", "patient bleeds, Dr. A")
	must(t, o.do("ended-all", "value", "IMP-1"), "doubtful", "S1-0304-07")
	for _, set := range []string{"IMP-1", "VAS-007"} {
		if d := lastRun(t, h, set); !d.Released || d.Emergency == "" {
			t.Errorf("%s: recorded %+v", set, d)
		}
	}
}

// TestImplantsRecordedWhileAsked: a set with implants that is recorded of a load while it is asked whether the load
// ended so for its other sets, too, is asked about.
func TestImplantsRecordedWhileAsked(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-007")
	h.implants("IMP-1")
	held := func(set string) {
		h.record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "passed"})
	}
	h.after(time.Hour)
	held("VAS-003")
	o := h.atSterilizer()
	o.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	o.do("begin-too", "value", "S1-0304-07")
	h.after(3 * time.Second)
	o.scan(label(t, events.ScanSet, "VAS-007"))
	must(t, o.do("result", "result", "passed", "released", "yes"), "recorded that it ended otherwise", "VAS-003")
	held("IMP-1")
	before := h.size()
	must(t, o.do("ended-all", "value", "IMP-1, VAS-003"), "Load S1-0304-07 has implants in it")
	if h.size() != before {
		t.Error("released, and its indicator is not read")
	}
}

func lastRun(t *testing.T, h *house, set string) *events.SetSterilized {
	t.Helper()
	got := h.events(site.Query{Set: set}, events.KindSetSterilized)
	if len(got) == 0 {
		t.Fatalf("%s: no run is recorded", set)
	}
	return got[len(got)-1].(*events.SetSterilized)
}
