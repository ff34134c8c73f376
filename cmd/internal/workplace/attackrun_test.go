package workplace_test

import (
	"testing"
	"time"

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
