//go:build !race

package loads_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestReleaseOfAPositiveLoad: a load whose indicator was read positive elsewhere stands so on its page, and its release is
// stopped before anything is recorded; who gives a reason releases it, and that is not in order.
func TestReleaseOfAPositiveLoad(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	s := h.AtSterilizer()
	s.Run("2", "VAS-003")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "open", "passed and is quarantined")
	workplacetest.Must(t, s.Do("choose", "load", "S1-0304-02"), "S1-0304-02 passed and is quarantined", "Record the release")
	h.After(15 * time.Hour)
	read := h.Record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: "S1-0304-02", Sterilizer: "S1",
		Result: "positive"})
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, s.Do("choose", "load", "S1-0304-02"), "broken", "The biological indicator of S1-0304-02 was read POSITIVE")
	before := h.Size()
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "broken", "POSITIVE", "The load is not released")
	workplacetest.Must(t, s.Scan(""), "broken", "POSITIVE")
	if page := h.Get(s.Path); !strings.Contains(page, "Released though its biological indicator is POSITIVE") ||
		strings.Contains(page, `data-released="yes"`) {
		t.Error("the page offers its release without a reason")
	}
	if h.Size() != before {
		t.Fatal("recorded before anybody said why")
	}
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes", "emergency",
		"none other is sterile, B-2"), "broken", "RECALLED")
	if got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetSterilized); !got[len(got)-1].(*events.SetSterilized).Released {
		t.Error("a reason was given, and its release is not recorded")
	}
	// Taken back, the positive result holds nothing any more.
	s.Do("take-back", "value", "by-mistake")
	h.Record("north/sterilizer-1", events.KindEventCorrected, "", &events.EventCorrected{Event: read.ID, Action: "void",
		Reason: "other load"})
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "passed and is released")
}

// TestSterileSetIntoALoad: a set that is recorded as sterile, and lies neither opened nor packed anew, goes into a load where a
// person says so only, and then it is not in order; one that was packed since, or is quarantined in this load, is not asked about.
func TestSterileSetIntoALoad(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Packed("VAS-004")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	in := func(set string) bool {
		return strings.Contains(h.Get(s.Path), `data-do="take-out" data-set="`+set+`"`)
	}
	for range 2 {
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "broken", "VAS-003 is sterile by load S1-0304-01")
		s.Scan("")
		if h.After(3 * time.Second); in("VAS-003") {
			t.Fatal("it is in the load, and nobody said so")
		}
		s.Do("leave-out")
	}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004")), "whole", "VAS-004 in load")
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	if workplacetest.Must(t, s.Do("put", "value", "VAS-003"), "broken", "VAS-003 in load", "VAS-003 is sterile by load"); !in("VAS-003") {
		t.Error("said, and not in the load")
	}
	s.Do("start")
	h.After(19 * time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "open", "quarantined")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "released (sets: 2)")
}
