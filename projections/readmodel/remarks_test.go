//go:build !race

package readmodel

import (
	"testing"

	"listbound/projections/facts"
)

// TestRemarkedBefore: that something was said of a record before is kept with what is said now, once or often.
func TestRemarkedBefore(t *testing.T) {
	t.Parallel()
	for n, want := range []int64{7, 7 | remarkedBefore, 7 | remarkedBefore} {
		f := facts.Fact{Remarks: 7, Was: make([]facts.Was, n)}
		if got := remarksOf(&f); got != want {
			t.Errorf("said %d times before: %b, want %b", n, got, want)
		}
	}
}
