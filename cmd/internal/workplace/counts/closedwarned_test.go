//go:build !race

package counts_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestClosedCaseWithARecalledSet: a case whose counts come out is no green case where its set was recalled, whether that was known
// when it was closed or became known afterwards.
func TestClosedCaseWithARecalledSet(t *testing.T) {
	for name, before := range map[string]bool{"recalled before": true, "recalled after": false} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.T = t
			h.Open("VAS-003", "K-1")
			for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
				h.Signs("K-1", "VAS-003", stage)
			}
			positive := func() {
				h.Record("north/sterilizer-1", events.KindIndicatorRead, "",
					&events.IndicatorRead{Load: "S1-0304-01", Sterilizer: "S1", Result: "positive"})
			}
			if before {
				positive()
			}
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
			s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
			if !before {
				workplacetest.Must(t, a, "whole", "Case K-1 closed")
				positive()
				a = workplacetest.JSON(h, s.Path+"/state?lang=en")
			}
			workplacetest.Must(t, a, "broken", "Case K-1 closed", "VAS-003", "RECALLED")
			h.After(3 * time.Second) // what is asked under it can be answered
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			if a = s.Do("take-back"); workplacetest.ChoiceOf(a, "by mistake") == "" {
				t.Errorf("taken back for no reason that can be given: %v, %v", a["words"], a["choices"])
			}
		})
	}
}
