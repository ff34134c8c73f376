//go:build !race

package workplace_test

import (
	"testing"

	"listbound/events"
)

// TestWeightIsNoSet: a weight that is typed where no set lies is nothing, at whatever place; and of a number of instruments
// Enter doesn't say that it is a set. Both were packed, loaded and put aside as sets.
func TestWeightIsNoSet(t *testing.T) {
	h := newHouse(t, "VAS-003")
	size := h.size()
	for _, at := range []string{"packing-1/packing", "packing-1/sealing", "storage/storage", "or-3/opening", "sterilizer-1/sterilizer"} {
		s := &scanner{h: h, path: "/at/north/" + at}
		for _, text := range []string{"0.84", "8,4", "11.340"} {
			must(t, s.all(text), "broken", text+" is nothing that is asked for here")
			s.all("")
		}
	}
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	must(t, s.all("4"), "open", "4: what is it?")
	must(t, s.all(""), "4: what is it?")
	s = &scanner{h: h, path: "/at/north/storage/packing"}
	must(t, s.all("12"), "12: what is it?")
	must(t, s.do("take-as", "value", string(events.ScanSet)), "12: choose its list") // a house whose sets have such numbers
	s = &scanner{h: h, path: "/at/north/sterilizer-1/packing"}
	must(t, s.all("NEW-7"), "NEW-7: not seen before here. Is it a set? Enter = yes")
	must(t, s.all(""), "NEW-7: choose its list")
	if h.size() != size {
		t.Errorf("%d records", h.size()-size)
	}
}
