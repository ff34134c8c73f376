//go:build !race

package workplace_test

import (
	"testing"
	"time"

	"listbound/events"
)

// TestClosedCaseWithARecalledSet: a case whose counts come out is no green case where its set was recalled, whether that was known
// when it was closed or became known afterwards.
func TestClosedCaseWithARecalledSet(t *testing.T) {
	for name, before := range map[string]bool{"recalled before": true, "recalled after": false} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.t = t
			h.open("VAS-003", "K-1")
			for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
				h.signs("K-1", "VAS-003", stage)
			}
			positive := func() {
				h.record("north/sterilizer-1", events.KindIndicatorRead, "",
					&events.IndicatorRead{Load: "S1-0304-01", Sterilizer: "S1", Result: "positive"})
			}
			if before {
				positive()
			}
			s := &scanner{h: h, path: "/at/north/or-3/close"}
			s.scan(label(t, events.ScanCase, "K-1"))
			s.scan(label(t, events.ScanBadge, "B-1"))
			a := s.scan(label(t, events.ScanBadge, "B-2"))
			if !before {
				must(t, a, "whole", "Case K-1 closed")
				positive()
				a = getJSON(h, s.path+"/state?lang=en")
			}
			must(t, a, "broken", "Case K-1 closed", "VAS-003", "RECALLED")
			h.after(3 * time.Second) // what is asked under it can be answered
			s.scan(label(t, events.ScanBadge, "B-1"))
			if a = s.do("take-back"); choiceOf(a, "by mistake") == "" {
				t.Errorf("taken back for no reason that can be given: %v, %v", a["words"], a["choices"])
			}
		})
	}
}
