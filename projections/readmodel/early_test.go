//go:build !race

package readmodel_test

import (
	"path/filepath"
	"slices"
	"testing"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// TestRebuiltInParts: a rebuild that holds few facts at a time has in all its tables what one has that holds all of them.
func TestRebuiltInParts(t *testing.T) {
	gone, late, lack := 0, 0, 0
	for seed := range few(3) {
		h := week(t, seed, func(h *hospital) { h.turns = 7 })
		whole := rebuilt(t, h, inParts{world: 1 << 20, size: 50})
		ways := []inParts{{20, 20, 5, false}, {20, 10, 7, true}, {50, 5, 11, false}, {1, 1, 1, false}}
		if testing.Short() {
			ways = ways[:2]
		}
		for _, x := range ways {
			m := rebuilt(t, h, x)
			if found, n := differences(t, m, whole, 10); n > 0 {
				t.Errorf("seed %d, %+v: %d differences: %v", seed, x, n, found)
			}
			sameVerdicts(t, "in parts", h, m)
			gone, late, lack = gone+parts.gone, late+parts.late, lack+parts.lack
		}
	}
	if gone == 0 || late == 0 || lack == 0 {
		t.Errorf("%d facts were let go, %d records were late, %d turns lacked something", gone, late, lack)
	}
}

// TestStationsInParts: a station that recorded nothing any more, long before the end, is judged too where a rebuild holds few facts
// at a time: nothing that comes late makes it be judged again.
func TestStationsInParts(t *testing.T) {
	const alone = "north/alone"
	h := week(t, 1, func(h *hospital) {
		h.turns = 7
		h.stations[alone] = h.key(alone)
		h.record("north/ledger", clock(-2, 9, 0), alone, "", &events.StationEnrolled{Station: alone, Key: h.stations[alone].vkey})
		h.stations[alone].n++ // a record that never came
		h.record(alone, clock(-2, 9, 1), "EAR", "", &events.ListIssued{List: "EAR", Version: 1, Title: "x",
			Lines: []events.Line{{Line: 1, Item: "i", Description: "d", Quantity: 1}}})
	})
	m := rebuilt(t, h, inParts{20, 20, 5, false})
	if parts.gone == 0 {
		t.Fatal("it held all facts")
	}
	kept := got[[]projections.Verdict](t)(m.StationVerdicts(t.Context()))
	if !slices.ContainsFunc(kept, func(v projections.Verdict) bool { return v.Station == alone && len(v.Findings) > 0 }) {
		t.Errorf("the record that never came is not found; there are %q", names(kept))
	}
	sameVerdicts(t, "in parts", h, m)
}

// parts is what the last rebuild did before its end.
var parts struct{ gone, late, lack int }

// inParts says how few facts are held, for how many records a turn must have been still, and how many come at once.
type inParts struct {
	world       int
	still, size int64
	bold        bool
}

func rebuilt(t *testing.T, h *hospital, x inParts) *readmodel.Model {
	t.Helper()
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	t.Cleanup(func() { m.Close() })
	m.SetBulkWorld(x.world, x.still)
	if err := m.BeginBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	if x.bold {
		m.LetGoBoldly()
	}
	for n := int64(len(h.facts)); m.Position() < n; {
		h.apply(m, min(m.Position()+x.size, n))
	}
	parts.gone, parts.late, parts.lack = m.Early()
	if err := m.EndBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	return m
}
