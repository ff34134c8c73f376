//go:build !race

package loads_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestReleasedInDoubt: a load with a set that was packed though it came back not clean is not released in green, and says
// which set that is; nothing more is asked, since that was said when it was put in. A load with nothing against it is green.
func TestReleasedInDoubt(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Packed("LAP-014")
	h.Used("K-2", "VAS-003")
	h.Record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnWashed,
		Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
	s, run := h.AtSterilizer(), 6
	for set, status := range map[string]string{"VAS-003": "doubtful", "LAP-014": "whole"} {
		run++
		s.Run(fmt.Sprint(run), set)
		a := s.Do("result", "result", "passed", "released", "yes")
		workplacetest.Must(t, a, "passed and is released")
		if a["status"] != status || strings.Contains(fmt.Sprint(a["more"]), "VAS-003 was packed") != (status != "whole") {
			t.Errorf("%s: %v, %v: %v", set, a["status"], a["words"], a["more"])
		}
		if got := h.Ended(set); !slices.Contains(got, fmt.Sprint("S1-0304-0", run, " passed true")) {
			t.Errorf("%s recorded: %v", set, got)
		}
	}
}

// TestComeUpSincePutIn: what comes up against a set after it was put into a load is asked about before the load is started,
// and before it is released; what is known by then isn't asked again.
func TestComeUpSincePutIn(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005", "LAP-014")
	h.Packed("VAS-003", "VAS-004", "VAS-005", "LAP-014")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	for _, set := range []string{"VAS-003", "VAS-004", "LAP-014"} {
		h.After(3 * time.Second)
		s.Put(set)
	}
	h.Record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnInspected,
		Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.Record("north/storage", events.KindSetChecked, "VAS-004", &events.SetChecked{Tag: "VAS-004", SealBroken: true,
		Aside: events.AsidePut})
	a := s.Do("start")
	workplacetest.Must(t, a, "What lies in load S1-0304-07 is not as it was scanned", "VAS-003", "VAS-004")
	if strings.Contains(fmt.Sprint(a["more"]), "LAP-014") {
		t.Errorf("asked about a set with nothing against it: %v", a["more"])
	}
	workplacetest.Must(t, s.Do("start", "value", "S1-0304-07"), "record the result when the cycle has ended")

	h.After(19 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	h.Record("north/storage", events.KindPieceReported, "LAP-014", &events.PieceReported{Became: events.BecameRepair, Line: 1, Quantity: 1})
	before := h.Size()
	since := "Something has come up against sets of load S1-0304-07"
	asked := s.Do("result", "result", "passed", "released", "yes")
	workplacetest.Must(t, asked, since, "VAS-003", "VAS-004", "LAP-014")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(""), since)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), since)
	if asked["status"] != "broken" || h.Size() != before {
		t.Fatalf("%v; %d records, and nobody had answered", asked["status"], h.Size()-before)
	}
	h.Record("north/storage", events.KindSetChecked, "LAP-014", &events.SetChecked{Tag: "LAP-014", SealBroken: true,
		Aside: events.AsidePut})
	before = h.Size()
	asked = s.Answer(asked, "release")
	workplacetest.Must(t, asked, since)
	if h.Size() != before {
		t.Fatal("released, though more has come up since it was asked")
	}
	s.Do("held") // that is the first answer, and the load stays here
	if got := h.Ended("VAS-003"); !slices.Contains(got, "S1-0304-07 passed false") {
		t.Fatalf("recorded: %v", got)
	}
	asked = s.Do("result", "result", "passed", "released", "yes")
	workplacetest.Must(t, asked, since)
	workplacetest.Must(t, s.Answer(asked, "release"), "passed and is released", "VAS-003", "VAS-004", "LAP-014")
}
