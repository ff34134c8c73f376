//go:build !race

package readmodel_test

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"listbound/projections/readmodel"
)

// TestMovingClock: a model that follows the records while time goes on, opened
// again in between or not, has at every moment the verdicts that one filled at
// that moment has, and those of all facts in memory.
func TestMovingClock(t *testing.T) {
	changed, worlds := 0, few(4)
	for seed := range worlds {
		h := week(t, seed, impatient)
		impatient(h) // once more, late: it counts from the same day
		n := int64(len(h.facts))
		h.now = clock(12, 12, 0)
		for how, fill := range map[string]func(path string) *readmodel.Model{
			"followed": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				changed += follow(t, h, m, seed, nil)
				return m
			},
			"followed, and opened again": func(path string) *readmodel.Model {
				m := open(t, h.book, path)
				follow(t, h, m, seed, func() {
					at := m.Moment()
					if err := m.Close(); err != nil {
						t.Fatal(err)
					}
					*m = *got[*readmodel.Model](t)(readmodel.Open(t.Context(),
						readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book, Moment: at}))
				})
				return m
			},
			"rebuilt": func(path string) *readmodel.Model {
				m := got[*readmodel.Model](t)(readmodel.Open(t.Context(),
					readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book, Moment: h.now}))
				inBulk(t, h, m, n-9)
				h.apply(m, n)
				return m
			},
		} {
			m := fill(filepath.Join(t.TempDir(), "r.db"))
			sameVerdicts(t, fmt.Sprintf("seed %d, %s", seed, how), h, m)
			if due := got[time.Time](t)(m.Due(t.Context())); !due.IsZero() && !due.After(h.now) {
				t.Errorf("seed %d, %s: due at %s is not judged by %s", seed, how, due, h.now)
			}
			if err := m.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if least := 5 * int(worlds); changed < least {
		t.Errorf("only %d times did time alone change a verdict, not %d", changed, least)
	}
}

// follow takes the records in small groups while time goes on to now, and
// returns how often time alone changed a verdict.
func follow(t *testing.T, h *hospital, m *readmodel.Model, seed uint64, between func()) (changed int) {
	r := rand.New(rand.NewPCG(seed, 3))
	n := int64(len(h.facts))
	begin := clock(-1, 0, 0)
	for m.Position() < n {
		h.apply(m, min(m.Position()+1+int64(r.IntN(9)), n))
		if between != nil {
			between()
		}
		to := begin.Add(time.Duration(float64(h.now.Sub(begin)) * float64(m.Position()) / float64(n)))
		if got[bool](t)(m.Advance(t.Context(), to)) {
			changed++
		}
	}
	return changed
}
