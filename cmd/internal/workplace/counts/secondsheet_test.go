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

// TestSecondWrongSheet: under a STOP that nobody has answered another wrong sheet is not taken in the place of the first,
// which somebody has in hand: the first one's set would stay unsuspected. What is recorded is the first; the second one can be
// read then.
func TestSecondWrongSheet(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			h := workplacetest.NewHouse(t)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/" + place}
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t,
				events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanOuter, "VAS-003"),
				h.Codes["LAP-014"]), "broken", "LAP-014")
			size := h.Size()
			a := s.All(h.Codes["LAP-022"])
			if workplacetest.Must(t, a, "broken", "LAP-014"); fmt.Sprint(a["aside"]) == "" || h.Size() != size {
				t.Errorf("the second one: %v, %d records", a["aside"], h.Size()-size)
			}
			s.Do("put-aside")
			s.All("1")
			d, ok := h.Last().Data.(*events.SetChecked)
			if !ok || h.Size() != size+1 || d.Aside != events.AsidePut || d.Sheet.Code != h.Codes["LAP-014"] {
				t.Errorf("recorded: %+v", h.Last())
			}
		})
	}
}

// TestSheetBeginsNoCount: on the page that asks for a set or a case, a count sheet of another turn leads to no count, nor does
// that of a set which is in no case: it says whose it is, and to scan the set itself.
func TestSheetBeginsNoCount(t *testing.T) {
	h := workplacetest.NewHouse(t)
	old := h.Codes["VAS-003"]
	h.Used("K-2", "VAS-003")
	h.Packed("VAS-003")
	h.Open("VAS-003", "K-1")
	n := 0
	scan := func(text string) map[string]any {
		n++
		return h.Post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"t","n":%d,"text":%s}`, n, workplacetest.JSONText(text)))
	}
	for text, says := range map[string]string{old: "of another turn of VAS-003",
		h.Codes["LAP-022"]: "count sheet of LAP-022, which is not opened for a case"} {
		a := scan(text)
		if workplacetest.Must(t, a, "broken", says); a["go"] != nil && a["go"] != "" {
			t.Errorf("leads to %v", a["go"])
		}
	}
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "whole", "K-1")
}

// TestWaitedBadgeClosesNothing: the second badge for a closing, scanned while the line was down and the page said STOP, closes nothing
// because the counts come out by now: that is asked.
func TestWaitedBadgeClosesNothing(t *testing.T) {
	for name, ago := range map[string]time.Duration{"at once": 0, "waited": 10 * time.Minute} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.T = t
			h.Open("VAS-003", "K-1")
			h.CountedRight("K-1")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
			s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			size := h.Size()
			s.Number = 9
			a := h.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"t","n":9,"ago":%d,"text":%s}`, ago.Milliseconds(),
				workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, "B-2"))))
			if closed := h.Size() > size; closed != (ago == 0) {
				t.Fatalf("closed: %v; %v", closed, a)
			}
			if ago > 0 {
				workplacetest.Must(t, a, "Enter closes the case")
				workplacetest.Must(t, s.Scan(""), "Case K-1 closed")
			}
		})
	}
}

// TestAddressTakesNoReason: the address of another case takes nothing away that was said for the closing of the one in hand, also
// before anybody has scanned a badge.
func TestAddressTakesNoReason(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	h.Open("LAP-014", "K-2")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	workplacetest.Must(t, s.Do("reason", "reason", "the surgeon left"), "K-1")
	for range 2 {
		if page := h.Get(s.Path + "?case=K-2"); !strings.Contains(page, "the surgeon left") || !strings.Contains(page, "then go to K-2") {
			t.Errorf("gone, or no word of it: %v, %v", strings.Contains(page, "the surgeon left"), strings.Contains(page, "K-2"))
		}
	}
}
