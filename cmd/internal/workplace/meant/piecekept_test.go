//go:build !race

package meant_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestNextTagDropsNoPiece: what was said of a piece of one set is not gone by the tag of the next one, without a word.
func TestNextTagDropsNoPiece(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Used("K-1", "VAS-003", "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/pieces"}
	next := workplacetest.Label(t, events.ScanTag, "LAP-014")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), "1"), "what became of it?")
	s.Do("became", "value", "lost")
	workplacetest.Must(t, s.All(next), "VAS-003 is not recorded yet")
	size := h.Size()
	s.All("", workplacetest.Label(t, events.ScanBadge, "B-7"), "")
	if d, ok := h.Last().Data.(*events.PieceReported); !ok || h.Size() != size+1 || h.Last().Subject != "VAS-003" || d.Line != 1 {
		t.Fatalf("recorded: %+v", h.Last())
	}
	workplacetest.Must(t, s.All(next), "LAP-014: which line?")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-003")), "VAS-003: which line?") // nothing was said of that one
}
