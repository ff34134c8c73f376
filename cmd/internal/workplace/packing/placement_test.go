package packing_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPlacementByPolicy: where the policy has one place for count sheets, Enter takes it; another one is marked, and told of
// until it is recorded and then, unless the list may travel otherwise.
func TestPlacementByPolicy(t *testing.T) {
	close := func(policy func(*events.Policy)) (*workplacetest.House, *workplacetest.Scanner, map[string]any) {
		h := workplacetest.NewHouse(t)
		h.ChangesPolicy(policy)
		h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 900})
		h.After(time.Minute)
		s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
		return h, s, s.All(workplacetest.Label(t, events.ScanBadge, "B-7"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	}
	insideBag := func(p *events.Policy) { p.Placements = []events.Placement{events.InsideBag} }
	h, s, a := close(insideBag)
	workplacetest.Must(t, a, "VAS-003: inside, in a bag, as the policy has it? Enter = yes")
	workplacetest.Must(t, s.Scan("3"), "doubtful",
		"By the policy in force the count sheets of VAS-MINOR travel otherwise: inside, in a bag.")
	h.After(3 * time.Second)
	a = s.Scan("")
	workplacetest.Must(t, a, "doubtful", "VAS-003 closed")
	if got := fmt.Sprint(a["older"]); !strings.Contains(got, "its count sheet travels OTHERWISE than the policy has it") {
		t.Errorf("told beside it: %s", got)
	}

	h, s, _ = close(insideBag)
	s.Scan("") // as the policy has it
	s.Do("bag-lot", "value", "BG-7")
	h.After(3 * time.Second)
	if got := h.Last().Data; s.Scan("")["status"] != "whole" || h.Last().Data.(*events.ListSealed).Placement != events.InsideBag {
		t.Errorf("closed as the policy has it: %+v", got)
	}

	_, s, a = close(func(p *events.Policy) { insideBag(p); p.PlacedOtherwise = []string{"VAS-MINOR"} })
	workplacetest.Must(t, a, "VAS-003: where does the count sheet go?")
	workplacetest.Must(t, s.Scan("3"), "open", "VAS-003")
	if a = s.Scan(""); a["status"] != "whole" {
		t.Errorf("a list that may travel otherwise: %v", a["words"])
	}
}
