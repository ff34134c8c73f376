package run

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
)

// TestPrintedBelowBand: a print says how long the load was held and how cold it was meanwhile; below the band it was not held in it.
func TestPrintedBelowBand(t *testing.T) {
	c := events.RunCycle{LowMilliC: 134000, HighMilliC: 137000, HoldSeconds: 180}
	for low, holds := range map[float64]bool{120.2: false, 133.9: false, 134: true, 134.2: true} {
		f := Printed{Held: 5 * time.Minute, Min: low, Max: 135}.Figures()
		if got := Lacks(&c, &f); holds != (len(got) == 0) || !holds && !slices.Equal(got, []Lack{NeverReached}) || Fails(&c, &f) == holds {
			t.Errorf("%v: %v", low, got)
		}
	}
}
