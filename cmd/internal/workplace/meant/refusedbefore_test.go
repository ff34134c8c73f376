//go:build !race

package meant_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestBadgeAfterARefusal: a badge puts no set aside while the page shows that a code was refused, and not what the badge records.
func TestBadgeAfterARefusal(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage"}
	s.Reads("LAP-014")
	workplacetest.Must(t, s.Do("put-aside"), "Scan your badge: it records that LAP-014 is put aside")
	workplacetest.Must(t, s.All(h.Codes["LAP-014"][:40]), "Read what it says and scan again.")
	size := h.Size()
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-2")), "LAP-014")
	if h.Size() != size {
		t.Fatalf("recorded by a badge that the page did not ask for: %+v", h.Last())
	}
	s.Do("put-aside")
	if d, ok := h.Last().Data.(*events.SetChecked); !ok || h.Size() != size+1 || d.Aside != events.AsidePut {
		t.Fatalf("recorded: %+v", h.Last())
	}
}
