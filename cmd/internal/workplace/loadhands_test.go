//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestReleaseOfAPositiveLoad: a load whose indicator was read positive elsewhere stands so on its page, and its release is
// stopped before anything is recorded; who gives a reason releases it, and that is not in order.
func TestReleaseOfAPositiveLoad(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	s := h.atSterilizer()
	s.run("2", "VAS-003")
	must(t, s.do("result", "result", "passed", "released", "no"), "open", "passed and is quarantined")
	must(t, s.do("choose", "load", "S1-0304-02"), "S1-0304-02 passed and is quarantined", "Record the release")
	h.after(15 * time.Hour)
	read := h.record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: "S1-0304-02", Sterilizer: "S1",
		Result: "positive"})
	s.scan(label(t, events.ScanBadge, "B-2"))
	must(t, s.do("choose", "load", "S1-0304-02"), "broken", "The biological indicator of S1-0304-02 was read POSITIVE")
	before := h.size()
	must(t, s.do("result", "result", "passed", "released", "yes"), "broken", "POSITIVE", "The load is not released")
	must(t, s.scan(""), "broken", "POSITIVE")
	if page := h.get(s.path); !strings.Contains(page, "Released though its biological indicator is POSITIVE") ||
		strings.Contains(page, `data-released="yes"`) {
		t.Error("the page offers its release without a reason")
	}
	if h.size() != before {
		t.Fatal("recorded before anybody said why")
	}
	must(t, s.do("result", "result", "passed", "released", "yes", "emergency", "none other is sterile, B-2"), "broken", "RECALLED")
	if got := h.events(site.Query{Set: "VAS-003"}, events.KindSetSterilized); !got[len(got)-1].(*events.SetSterilized).Released {
		t.Error("a reason was given, and its release is not recorded")
	}
	// Taken back, the positive result holds nothing any more.
	s.do("take-back", "value", "by-mistake")
	h.record("north/sterilizer-1", events.KindEventCorrected, "", &events.EventCorrected{Event: read.ID, Action: "void", Reason: "other load"})
	must(t, s.do("result", "result", "passed", "released", "yes"), "passed and is released")
}

// TestSterileSetIntoALoad: a set that is recorded as sterile, and lies neither opened nor packed anew, goes into a load where a
// person says so only, and then it is not in order; one that was packed since, or is quarantined in this load, is not asked about.
func TestSterileSetIntoALoad(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.packed("VAS-004")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	in := func(set string) bool {
		return strings.Contains(h.get(s.path), `data-do="take-out" data-set="`+set+`"`)
	}
	for range 2 {
		must(t, s.scan(label(t, events.ScanTag, "VAS-003")), "broken", "VAS-003 is sterile by load S1-0304-01")
		s.scan("")
		if h.after(3 * time.Second); in("VAS-003") {
			t.Fatal("it is in the load, and nobody said so")
		}
		s.do("leave-out")
	}
	must(t, s.scan(label(t, events.ScanTag, "VAS-004")), "whole", "VAS-004 in load")
	s.scan(label(t, events.ScanTag, "VAS-003"))
	if must(t, s.do("put", "value", "VAS-003"), "broken", "VAS-003 in load", "VAS-003 is sterile by load"); !in("VAS-003") {
		t.Error("said, and not in the load")
	}
	s.do("start")
	h.after(19 * time.Minute)
	must(t, s.do("result", "result", "passed", "released", "no"), "open", "quarantined")
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "released (sets: 2)")
}
