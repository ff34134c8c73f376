package readmodel_test

import (
	"slices"
	"sync"
	"testing"

	"listbound/projections"
	"listbound/projections/judge"
)

// TestJudgedBeside: worlds beside each other judge as one does alone, at the same
// time and in opposite orders. The race detector sees what they share.
func TestJudgedBeside(t *testing.T) {
	for seed := range seeds(3) {
		h := week(t, seed)
		w := h.world()
		keys := w.Trips()
		want := judged(t, w, keys)
		backwards := slices.Clone(keys)
		slices.Reverse(backwards)
		besides, orders := []*judge.World{w.Beside(), w.Beside(), w}, [][]projections.TripKey{keys, backwards, keys}
		got := make([][]string, len(besides))
		var all sync.WaitGroup
		for i := range besides {
			all.Go(func() { got[i] = judged(t, besides[i], orders[i]) })
		}
		all.Wait()
		for i := range got {
			sameStrings(t, "judged beside others", got[i], want)
		}
	}
}

func judged(t *testing.T, w *judge.World, keys []projections.TripKey) []string {
	t.Helper()
	vs := make([]projections.Verdict, 0, len(keys))
	for _, k := range keys {
		v, err := w.Judge(k)
		if err != nil {
			t.Error(err)
		}
		vs = append(vs, v)
	}
	return asJSON(t, vs)
}
