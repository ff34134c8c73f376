//go:build !race

package readmodel_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"listbound/projections/facts"
)

// TestRestsAreKept: what trips asked for lies in shared rows after a rebuild and
// alone afterwards, and goes when a verdict no longer asks for it. Each trip's
// own row says what there is of it.
func TestRestsAreKept(t *testing.T) {
	gone, came, timed := 0, 0, 0
	for seed := range seeds(4) {
		h := week(t, seed, impatient)
		n := int64(len(h.facts))
		m := open(t, h.book, t.TempDir()+"/r.db")
		t.Cleanup(func() { m.Close() })
		inBulk(t, h, m, n/2)
		var before []string
		for seq := n / 2; seq <= n; seq++ {
			h.apply(m, seq)
			table, own, most, err := m.Rests(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			slices.Sort(table)
			slices.Sort(own)
			if !slices.Equal(table, own) {
				t.Fatalf("seed %d, after record %d: of %d questions %d are not in rests_on, and %d stand there besides",
					seed, seq, len(own), missing(own, table), missing(table, own))
			}
			timed = max(timed, timesAsked(t, table))
			if seq == n/2 {
				if most < 5 {
					t.Errorf("seed %d: no row of a rebuild has more than %d trips", seed, most)
				}
			} else {
				gone, came = gone+missing(before, table), came+missing(table, before)
			}
			before = table
		}
	}
	if gone < 60 || came < 60 {
		t.Errorf("%d questions went, %d came", gone, came)
	}
	if timed == 0 {
		t.Error("no trip waits for a moment")
	}
}

// timesAsked counts the trips that wait for a moment. Each waits for one: the first.
func timesAsked(t *testing.T, table []string) int {
	t.Helper()
	asks := fmt.Sprintf(" asks %d ", number(facts.DimTime, ""))
	owners := make(map[string]bool)
	for _, line := range table {
		owner, _, ok := strings.Cut(line, asks)
		if ok && owners[owner] {
			t.Errorf("%s waits for two moments", owner)
		}
		if ok {
			owners[owner] = true
		}
	}
	return len(owners)
}

// missing counts what is in a and not in b, both sorted.
func missing(a, b []string) (n int) {
	for _, s := range a {
		if _, ok := slices.BinarySearch(b, s); !ok {
			n++
		}
	}
	return n
}
