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

// TestReleaseAfterARefusal: what a badge, or the answer where the count sheet was, releases or puts aside is in sight when it is
// given. After a refused code it is asked once more.
func TestReleaseAfterARefusal(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage"}
	refused := func() {
		t.Helper()
		workplacetest.Must(t, s.All(h.Codes["LAP-014"][:40]), "Read what it says and scan again.")
	}
	badge := workplacetest.Label(t, events.ScanBadge, "B-2")
	s.Reads("LAP-014")
	s.Do("put-aside")
	s.All(badge)
	s.Do("next-person")
	s.Reads("LAP-014")
	size := h.Size()
	workplacetest.Must(t, s.Do("release", "reason", "looked over"), "Scan your badge: it records that LAP-014 is released")
	refused()
	if workplacetest.Must(t, s.All(badge), "it records that LAP-014 is released"); h.Size() != size {
		t.Fatalf("released by a badge that the page did not ask for: %+v", h.Last())
	}
	if d, ok := lastAfter(h, func() { s.All(badge) }).(*events.SetChecked); !ok || d.Aside != events.AsideReleased {
		t.Fatalf("recorded: %+v", h.Last())
	}
	for act, asks := range map[string]string{"release": "Scan your badge", "put-aside": "Press once more"} {
		s.All(badge, workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter,
			"LAP-014"), h.Codes["LAP-014"])
		workplacetest.Must(t, s.Do(act, "reason", "looked over"), "Where was the count sheet?")
		refused()
		size = h.Size()
		if workplacetest.Must(t, s.Do("found", "value", "outside"), asks); h.Size() != size {
			t.Fatalf("%s: recorded by a button that answered something else: %+v", act, h.Last())
		}
		s.Do("clear")
	}
}

// lastAfter is what an input records, nil for nothing.
func lastAfter(h *workplacetest.House, input func()) events.Data {
	size := h.Size()
	if input(); h.Size() != size+1 {
		return nil
	}
	return h.Last().Data
}

// TestCloseAfterARefusal: the second person's badge closes no case while the page shows that a code was refused, and not that the
// counts come out. That the badge was the first person's asks for it.
func TestCloseAfterARefusal(t *testing.T) {
	first, second := workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanBadge, "B-2")
	for name, said := range map[string]string{"refused": "", "same badge": first} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Open("VAS-003", "K-1")
		h.CountedRight("K-1")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
		workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanCase, "K-1"), first), "come out", "Scan the second person’s badge")
		size, then := h.Size(), second
		if said == "" {
			s.All(h.Codes["VAS-003"][:40])
			said, then = second, "" // Enter
		}
		if s.All(said); h.Size() != size {
			t.Fatalf("%s: closed by a badge that the page did not ask for", name)
		}
		if s.All(then); h.Size() != size+1 {
			t.Errorf("%s: %d records more", name, h.Size()-size)
		}
	}
}
