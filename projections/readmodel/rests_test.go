package readmodel_test

import (
	"slices"
	"testing"
)

// TestRestsAreKept: what trips asked for lies in shared rows after a rebuild and
// alone afterwards, and goes when a verdict no longer asks for it. Each trip's
// own row says what there is of it.
func TestRestsAreKept(t *testing.T) {
	gone, came := 0, 0
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
