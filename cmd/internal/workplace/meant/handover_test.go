//go:build !race

package meant_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestNextPersonSignsForNothingUnasked: what somebody entered, with a badge or before any, is asked about once the next person
// comes: the record names who packed, closed or reported.
func TestNextPersonSignsForNothingUnasked(t *testing.T) {
	for name, c := range map[string]struct {
		place, badge string
		enter        func(s *workplacetest.Scanner)
	}{
		"packing":            {"packing-1/packing", "", func(s *workplacetest.Scanner) { s.All("", "") }},
		"packing by a badge": {"packing-1/packing", "B-1", func(s *workplacetest.Scanner) { s.All("", "") }},
		"closing":            {"packing-1/sealing", "B-1", func(s *workplacetest.Scanner) { s.Do("placement", "placement", "outside") }},
		"return":             {"sterilizer-1/return", "", func(s *workplacetest.Scanner) { s.Do("fault", "value", "damaged") }},
		"pieces":             {"packing-1/pieces", "", func(s *workplacetest.Scanner) { s.All("1") }},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		if h.Used("K-1", "VAS-003"); name == "closing" {
			h.Packed("VAS-003")
		}
		s := &workplacetest.Scanner{House: h, Path: "/at/north/" + c.place}
		if c.badge != "" {
			s.All(workplacetest.Label(t, events.ScanBadge, c.badge))
		}
		s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		c.enter(s)
		size := h.Size()
		left := s.Do("next-person")
		workplacetest.Must(t, left, "VAS-003 was left at", c.badge)
		workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-7")), "VAS-003 was left at")
		if h.Size() != size {
			t.Fatalf("%s: recorded: %+v", name, h.Last())
		}
		if a := s.Answer(left, "left-on"); workplacetest.Answer(a).AsksLeft() {
			t.Errorf("%s: asked again: %s", name, workplacetest.Tells(a))
		}
	}
	// Where nothing was entered there is nothing to ask.
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	workplacetest.Must(t, s.Do("next-person"), "Forceps, mosquito")
}
