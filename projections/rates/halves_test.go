package rates_test

import (
	"testing"
	"time"

	"listbound/projections/rates"
)

// TestHalves: a policy after which none of 2,000 openings had what 6 of 2,000 had before is told apart from before, one with 5 isn't
// yet: the values of TestFisher, of which the source is named there.
func TestHalves(t *testing.T) {
	for wrong, want := range map[int]struct {
		told rates.Told
		p    float64
	}{6: {rates.Differs, 0.0311}, 5: {rates.CantTell, 0.0623}} {
		o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
		o.add("outside", 2000, wrong)
		changed := o.at.Add(time.Minute)
		o.add("inside-bag", 2000, 0)
		h := rates.NewHalves(o.openings, o.incidents, changed, rates.Options{})
		if h.Before.Openings != 2000 || h.After.Openings != 2000 || h.Before.Incidents != int64(wrong) || h.After.Incidents != 0 {
			t.Fatalf("%+v", h)
		}
		if h.Difference.Told != want.told || h.Difference.A != rates.BeforeChange || h.Difference.B != rates.AfterChange {
			t.Errorf("%d: %+v", wrong, h.Difference)
		}
		near(t, "p", h.Difference.P, want.p, 5e-5)
		if at := o.openings[2000].At; rates.NewHalves(o.openings, o.incidents, at, rates.Options{}).After.Openings != 2000 {
			t.Error("what was opened at the very moment is not after it")
		}
		for _, at := range []time.Time{o.openings[0].At, o.at.Add(time.Second)} {
			if h := rates.NewHalves(o.openings, o.incidents, at, rates.Options{}); h != nil {
				t.Errorf("all on one side of %s: %+v", at, h)
			}
		}
	}
}
