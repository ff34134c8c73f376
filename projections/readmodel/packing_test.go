package readmodel

import (
	"math"
	"slices"
	"testing"
)

// TestRestsComeBack: whatever times a question has, it comes out of both packed forms as it went in.
func TestRestsComeBack(t *testing.T) {
	times := []int64{math.MinInt64, -1, 0, 1, 63, 64, 1_772_000_000_000_000_000, math.MaxInt64}
	var rests []rest
	var owned []ownedRest
	for _, since := range times {
		for _, until := range times {
			r := rest{ask: -7, until: until, since: since}
			rests, owned = append(rests, r), append(owned, ownedRest{r, ownerOf("LAP-014", []byte{byte(len(rests))})})
		}
	}
	for n := range len(rests) + 1 {
		back, err := unpackRests(packRests(rests[:n]))
		if err != nil || !slices.Equal(back, rests[:n]) {
			t.Errorf("%d questions of a trip: %v, %v", n, back, err)
		}
		var row restsRow
		if n == 0 {
			continue
		}
		packOwners(owned[:n], &row)
		same, err := row.owned()
		if err != nil || !slices.EqualFunc(same, owned[:n], ownedRest.equal) {
			t.Errorf("questions of %d trips: %v, %v", n, same, err)
		}
	}
}
