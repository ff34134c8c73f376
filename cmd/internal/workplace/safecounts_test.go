//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestDamagedTellsOfNoMissingPiece: a piece that is damaged is packed short, and says nothing of another one that is missing;
// green is only a packing that says which one.
func TestDamagedTellsOfNoMissingPiece(t *testing.T) {
	for name, c := range map[string]struct {
		report bool // says that a piece of line 1 is missed; else it is said that one is, and not which
		inputs []string
		status string
	}{
		"none short":             {false, []string{"4", "2", "3"}, "doubtful"},
		"another damaged":        {false, []string{"4", "1", "3", "3"}, "doubtful"},
		"one missing":            {false, []string{"3", "1", "2", "3"}, "whole"},
		"known, another missing": {true, []string{"4", "1", "1", "3"}, "doubtful"},
		"known, and short":       {true, []string{"3", "1", "2", "3"}, "whole"},
		"known, both short":      {true, []string{"3", "1", "1", "3", "3"}, "whole"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.open("VAS-003", "K-1")
			h.countedRight("K-1")
			h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
			if c.report {
				h.record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Line: 1, Became: events.BecameLost, Quantity: 1})
			} else {
				h.record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
					Faults: []events.ReturnFault{events.ReturnIncomplete}})
			}
			s := &scanner{h: h, path: "/at/north/packing-1/packing"}
			s.scan(label(t, events.ScanBadge, "B-9"))
			s.do("lacks", "value", choiceOf(s.scan(label(t, events.ScanTag, "VAS-003")), "Count each line"))
			var a map[string]any
			for _, text := range append(c.inputs, "8.4") {
				h.after(3 * time.Second)
				a = s.scan(text)
			}
			must(t, a, c.status, "Enter records")
			h.after(3 * time.Second)
			a = s.scan("")
			must(t, a, "VAS-003 packed")
			if untold := strings.Contains(tells(a), "said to be missing"); untold != (c.status == "doubtful") {
				t.Errorf("packed: %s", tells(a))
			}
		})
	}
}
