//go:build !race

package readmodel_test

import (
	"path/filepath"
	"testing"

	"listbound/projections/readmodel"
)

// TestRebuiltInParts: a rebuild that holds few facts at a time has in all its tables what one has that holds all of them.
func TestRebuiltInParts(t *testing.T) {
	gone, late, lack := 0, 0, 0
	for seed := range few(6) {
		h := week(t, seed, func(h *hospital) { h.turns = 7 })
		whole := rebuilt(t, h, inParts{world: 1 << 20, size: 50})
		for _, x := range []inParts{{20, 20, 5, false}, {50, 5, 11, false}, {1, 1, 1, false}, {20, 10, 7, true}} {
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
