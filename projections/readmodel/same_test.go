//go:build !race

package readmodel_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

// TestSameAsInMemory: whether the records come one at a time, all at once, in
// bulk, or to a model that is opened again between them and knows only what its
// tables say, the verdicts kept are those of all facts held in memory.
func TestSameAsInMemory(t *testing.T) {
	ctx := t.Context()
	outdated := 0
	for seed := range few(6) {
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

// TestAroundHasTags: what lies around a moment of a set are also the looks at other
// sets in which its tag was read, or by a correction of much later.
func TestAroundHasTags(t *testing.T) {
	asked := 0
	for seed := range seeds(4) {
		h := week(t, seed)
		m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
		h.apply(m, int64(len(h.facts)))
		src := m.Source(t.Context())
		for _, f := range h.facts {
			if f.Event == nil {
				continue
			}
			of, data := f, f.Event.Data
			if fix, ok := data.(*events.EventCorrected); ok && fix.Action == "replace" {
				for _, x := range h.facts {
					if x.Event != nil && x.Event.ID == fix.Event {
						of = x
					}
				}
				data, _ = events.ParseObservedData(of.Event.Kind(), fix.Data)
			}
			tag := facts.TagOf(data)
			if tag == "" || tag == of.Event.Subject {
				continue
			}
			asked++
			found := got[[]facts.Fact](t)(src.Around(tag, of.Event.Time, 1))
			for _, want := range []facts.Fact{f, of} {
				if !slices.ContainsFunc(found, func(x facts.Fact) bool { return x.Seq == want.Seq }) {
					t.Errorf("seed %d: around %s at %s: no record %d", seed, tag, of.Event.Time, want.Seq)
				}
			}
		}
		if err := m.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if asked < 10 {
		t.Errorf("only %d tags of other sets", asked)
	}
}
