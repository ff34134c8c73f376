package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// ranNegative records that a load ran with a set and was read negative, both now.
func (h *house) ranNegative(run int64, set string) {
	load := fmt.Sprintf("S1-0304-%02d", run)
	h.record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: load, Sterilizer: "S1",
		Run: run, Cycle: "c-134", Result: "passed", Released: true})
	h.record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: load, Sterilizer: "S1", Result: "negative"})
}

// TestPositiveKnownLate: a positive indicator is not settled by the loads that ran before it was read. The cycles
// that are repeated settle it, and then a set of the positive load is still not simply in order.
func TestPositiveKnownLate(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014", "LAP-022")
	for run, set := range []string{2: "LAP-014", 3: "LAP-022", 4: "LAP-014"} {
		if set != "" {
			h.after(time.Hour)
			h.ranNegative(int64(run), set)
		}
	}
	h.after(3 * time.Hour)
	h.atSterilizer().do("indicator", "load", "S1-0304-01", "result", "positive")
	at := []*scanner{{h: h, path: "/at/north/storage/storage"}, {h: h, path: "/at/north/or-3/opening"}}
	looks := func() (out []map[string]any) {
		h.after(time.Hour)
		for _, s := range at {
			s.do("forget") // what the last look left
			s.scan(label(t, events.ScanTag, "VAS-003"))
			s.scan(label(t, events.ScanOuter, "VAS-003"))
			out = append(out, s.scan(h.codes["VAS-003"]))
		}
		return out
	}
	for _, a := range looks() {
		if a["status"] != "broken" || !strings.Contains(a["words"].(string), "RECALLED") {
			t.Errorf("positive, after three loads that ran before it was read: %v %v", a["status"], a["words"])
		}
	}
	for run := range int64(3) {
		h.after(time.Hour)
		h.ranNegative(5+run, "LAP-014")
	}
	for _, a := range looks() {
		told := fmt.Sprint(a["words"], a["older"])
		if a["status"] == "whole" || a["status"] == "broken" || !strings.Contains(told, "load S1-0304-01 was read POSITIVE on ") ||
			!strings.Contains(told, "settled by S1-0304-05, S1-0304-06, S1-0304-07") {
			t.Errorf("settled by three repeated cycles: %v %v %v", a["status"], a["words"], a["older"])
		}
	}
}
