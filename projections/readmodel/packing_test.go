//go:build !race

package readmodel

import (
	"math"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// TestDifferenceSaysWhere: columns are named where there are any.
func TestDifferenceSaysWhere(t *testing.T) {
	t.Parallel()
	for want, d := range map[string]Difference{
		"table t: the row of r is missing":         {Table: "t", Row: "r", How: "missing"},
		"table t: the row of r is changed in a":    {Table: "t", Row: "r", How: "changed", In: []string{"a"}},
		"table t: the row of r is changed in a, b": {Table: "t", Row: "r", How: "changed", In: []string{"a", "b"}},
	} {
		if got := d.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestSheetSeenByCount: a set whose sheet nobody read at the opening is seen to have had it by a count against its code,
// where it has one of paper.
func TestSheetSeenByCount(t *testing.T) {
	t.Parallel()
	opening := &facts.Item{Fact: facts.Fact{Event: &events.Event{Time: time.Unix(0, 0)}}}
	by, without := &facts.Item{Code: new(events.SheetCode)}, &facts.Item{}
	for _, x := range []struct {
		counted []*facts.Item
		want    bool
	}{{nil, false}, {[]*facts.Item{without}, false}, {[]*facts.Item{by}, true}, {[]*facts.Item{without, by}, true}} {
		if got := sheetSeen(&facts.Trip{Counted: x.counted}, opening); got != x.want {
			t.Errorf("by %d counts it was seen: %v", len(x.counted), got)
		}
	}
}

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
