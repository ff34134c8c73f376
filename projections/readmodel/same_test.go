//go:build !race

package readmodel_test

import (
	"fmt"
	"path/filepath"
	"testing"

	"listbound/projections/readmodel"
)

// TestSameAsInMemory: whether the records come one at a time, all at once, in
// bulk, or to a model that is opened again between them and knows only what its
// tables say, the verdicts kept are those of all facts held in memory.
func TestSameAsInMemory(t *testing.T) {
	ctx := t.Context()
	outdated := 0
	for seed := range seeds(6) {
		h := week(t, seed)
		outdated += h.outdated()
		n := int64(len(h.facts))
		for how, fill := range map[string]func(path string) *readmodel.Model{
			"at once": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				h.apply(m, n)
				return m
			},
			"one at a time": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				for seq := range n {
					h.apply(m, seq+1)
				}
				return m
			},
			"opened again between them": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				for m.Position() < n {
					h.apply(m, min(m.Position()+7, n))
					if err := m.Close(); err != nil {
						t.Fatal(err)
					}
					m = open(t, h.book, path)
				}
				return m
			},
			"in bulk": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				inBulk(t, h, m, n-9)
				h.apply(m, n)
				return m
			},
		} {
			path := filepath.Join(t.TempDir(), "r.db")
			m := fill(path)
			for range 2 { // as it stands, and opened again
				sameVerdicts(t, fmt.Sprintf("seed %d, %s", seed, how), h, m)
				if err := m.Close(); err != nil {
					t.Fatal(err)
				}
				m = open(t, h.book, path)
			}
			sameFacts(ctx, t, fmt.Sprintf("seed %d, %s", seed, how), h, m)
			if err := m.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if outdated == 0 {
		t.Error("no trip that an earlier program looked up is another by now")
	}
}
