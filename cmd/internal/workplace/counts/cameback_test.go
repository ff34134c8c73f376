//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPackingTellsWhatIsMissing: who packs a set after a case is told at once that a piece
// which was counted there is missing, and whom to tell; not where the packing says that it
// is in repair.
func TestPackingTellsWhatIsMissing(t *testing.T) {
	for _, x := range []struct{ number, reason, status string }{
		{"1", "missing", "broken"}, {"5", "in repair", "whole"},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Open("VAS-003", "K-0412")
		for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
			h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: stage,
				Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
				Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
		}
		h.Record("north/or-3", events.KindCaseClosed, "",
			&events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
		h.After(5 * time.Hour)
		n := 0
		scan := func(text string) map[string]any {
			h.After(3 * time.Second) // sooner it would be one scan read twice
			n++
			return h.Post("/at/north/or-3/packing/scan", fmt.Sprintf(`{"client":"one","n":%d,"text":%q}`, n, text))
		}
		var a map[string]any
		for _, text := range []string{workplacetest.Label(t, events.ScanSet, "VAS-003"), "3", x.number, "", "", "8.2",
			workplacetest.Label(t, events.ScanBadge, "B-1182"), ""} {
			a = scan(text)
		}
		all := fmt.Sprint(a)
		if a["status"] != x.status || !strings.Contains(all, "VAS-003 packed") {
			t.Errorf("%s: %v", x.reason, a)
		}
		for _, want := range []string{"came back SHORT from its case", "K-0412", "5 h", "charge nurse"} {
			if strings.Contains(all, want) != (x.status == "broken") {
				t.Errorf("%s: %q in %v", x.reason, want, a)
			}
		}
	}
}
