//go:build !race

package loads_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestWeightIsNoSet: a weight that is typed where no set lies is nothing, at whatever place; and of a number of instruments
// Enter doesn't say that it is a set. Both were packed, loaded and put aside as sets.
func TestWeightIsNoSet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	size := h.Size()
	for _, at := range []string{"packing-1/packing", "packing-1/sealing", "storage/storage", "or-3/opening", "sterilizer-1/sterilizer"} {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/" + at}
		for _, text := range []string{"0.84", "8,4", "11.340"} {
			workplacetest.Must(t, s.All(text), "broken", text+" is nothing that is asked for here")
			s.All("")
		}
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	workplacetest.Must(t, s.All("4"), "open", "4: what is it?")
	workplacetest.Must(t, s.All(""), "4: what is it?")
	s = &workplacetest.Scanner{House: h, Path: "/at/north/storage/packing"}
	workplacetest.Must(t, s.All("12"), "12: what is it?")
	workplacetest.Must(t, s.Do("take-as", "value", string(events.ScanSet)), "12: choose its list") // a house whose sets have such numbers
	s = &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/packing"}
	workplacetest.Must(t, s.All("NEW-7"), "NEW-7: not seen before here. Is it a set? Enter = yes")
	workplacetest.Must(t, s.All(""), "NEW-7: choose its list")
	if h.Size() != size {
		t.Errorf("%d records", h.Size()-size)
	}
}
