package readmodel_test

import (
	"path/filepath"
	"testing"

	"listbound/events"
	"listbound/projections/facts"
)

// TestPackingsOfOneMoment: of packings at one moment, none is left out where they are the last that were asked for: which of them stands
// next to the ones after it, or before, the order of their ids doesn't say.
func TestPackingsOfOneMoment(t *testing.T) {
	h := newHospital(t, 1)
	for n := range 12 {
		h.record([]string{"north/packing-1", "south/spare", "north/storage"}[n%3], clock(30+n/3, 6, 0), "TWICE", tripOf("TWICE", n),
			&events.SetPacked{List: "LIST-1", Version: 1})
	}
	path := filepath.Join(t.TempDir(), "r.db")
	m := open(t, h.book, path)
	h.apply(m, int64(len(h.facts)))
	for n, want := range map[int]int{1: 6, 2: 6, 3: 6, 4: 12, 6: 12, 7: 12} {
		found := 0
		for _, f := range got[[]facts.Fact](t)(m.Source(t.Context()).Around("TWICE", clock(31, 7, 0), n)) {
			if f.Event.Kind() == events.KindSetPacked {
				found++
			}
		}
		if found != want {
			t.Errorf("%d packings on a side: %d came, want %d", n, found, want)
		}
	}
}
