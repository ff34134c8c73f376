//go:build !race

package readmodel_test

import (
	"testing"

	"listbound/projections"
)

// TestNearMisses: the trips in which something was put right before use, as judged
// in memory, with that alone, the latest first.
func TestNearMisses(t *testing.T) {
	found := 0
	for seed := range seeds(6) {
		h := week(t, seed)
		m := h.filled()
		var want []projections.Verdict
		for _, v := range h.verdicts() {
			if v = projections.NearMisses(v); len(v.Findings) > 0 {
				want = append(want, v)
			}
		}
		found += len(want)
		got := got[[]projections.Verdict](t)(m.NearMisses(t.Context(), 1000))
		sameStrings(t, "near misses", asJSON(t, got), asJSON(t, want))
		for i := 1; i < len(got); i++ {
			if got[i-1].Since.Before(got[i].Since) {
				t.Errorf("%s of %s comes before %s of %s", got[i-1].Set, got[i-1].Since, got[i].Set, got[i].Since)
			}
		}
	}
	if found == 0 {
		t.Error("no invented week has a near miss")
	}
}
