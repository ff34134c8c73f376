//go:build !race

package workplace_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestReleasedInDoubt: a load with a set that was packed though it came back not clean is not released in green, and says
// which set that is; nothing more is asked, since that was said when it was put in. A load with nothing against it is green.
func TestReleasedInDoubt(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.packed("LAP-014")
	h.used("K-2", "VAS-003")
	h.record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnWashed,
		Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
	s, run := h.atSterilizer(), 6
	for set, status := range map[string]string{"VAS-003": "doubtful", "LAP-014": "whole"} {
		run++
		s.run(fmt.Sprint(run), set)
		a := s.do("result", "result", "passed", "released", "yes")
		must(t, a, "passed and is released")
		if a["status"] != status || strings.Contains(fmt.Sprint(a["more"]), "VAS-003 was packed") != (status != "whole") {
			t.Errorf("%s: %v, %v: %v", set, a["status"], a["words"], a["more"])
		}
		if got := h.ended(set); !slices.Contains(got, fmt.Sprint("S1-0304-0", run, " passed true")) {
			t.Errorf("%s recorded: %v", set, got)
		}
	}
}

// TestComeUpSincePutIn: what comes up against a set after it was put into a load is asked about before the load is started,
// and before it is released; what is known by then isn't asked again.
func TestComeUpSincePutIn(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "VAS-005", "LAP-014")
	h.packed("VAS-003", "VAS-004", "VAS-005", "LAP-014")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	for _, set := range []string{"VAS-003", "VAS-004", "LAP-014"} {
		h.after(3 * time.Second)
		s.put(set)
	}
	h.record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnInspected,
		Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.record("north/storage", events.KindSetChecked, "VAS-004", &events.SetChecked{Tag: "VAS-004", SealBroken: true, Aside: events.AsidePut})
	a := s.do("start")
	must(t, a, "What lies in load S1-0304-07 is not as it was scanned", "VAS-003", "VAS-004")
	if strings.Contains(fmt.Sprint(a["more"]), "LAP-014") {
		t.Errorf("asked about a set with nothing against it: %v", a["more"])
	}
	must(t, s.do("start", "value", "S1-0304-07"), "record the result when the cycle has ended")

	h.after(19 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	h.record("north/storage", events.KindPieceReported, "LAP-014", &events.PieceReported{Became: events.BecameRepair, Line: 1, Quantity: 1})
	before := h.size()
	since := "Something has come up against sets of load S1-0304-07"
	asked := s.do("result", "result", "passed", "released", "yes")
	must(t, asked, since, "VAS-003", "VAS-004", "LAP-014")
	h.after(3 * time.Second)
	must(t, s.scan(""), since)
	must(t, s.scan(label(t, events.ScanBadge, "B-2")), since)
	if asked["status"] != "broken" || h.size() != before {
		t.Fatalf("%v; %d records, and nobody had answered", asked["status"], h.size()-before)
	}
	h.record("north/storage", events.KindSetChecked, "LAP-014", &events.SetChecked{Tag: "LAP-014", SealBroken: true, Aside: events.AsidePut})
	before = h.size()
	asked = s.answer(asked, "release")
	must(t, asked, since)
	if h.size() != before {
		t.Fatal("released, though more has come up since it was asked")
	}
	s.do("held") // that is the first answer, and the load stays here
	if got := h.ended("VAS-003"); !slices.Contains(got, "S1-0304-07 passed false") {
		t.Fatalf("recorded: %v", got)
	}
	asked = s.do("result", "result", "passed", "released", "yes")
	must(t, asked, since)
	must(t, s.answer(asked, "release"), "passed and is released", "VAS-003", "VAS-004", "LAP-014")
}
