//go:build !race

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestSecondWrongSheet: under a STOP that nobody has answered another wrong sheet is not taken in the place of the first,
// which somebody has in hand: the first one's set would stay unsuspected. What is recorded is the first; the second one can be
// read then.
func TestSecondWrongSheet(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			h := newHouse(t)
			s := &scanner{h: h, path: "/at/north/" + place}
			must(t, s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"),
				h.codes["LAP-014"]), "broken", "LAP-014")
			size := h.size()
			a := s.all(h.codes["LAP-022"])
			if must(t, a, "broken", "LAP-014"); fmt.Sprint(a["aside"]) == "" || h.size() != size {
				t.Errorf("the second one: %v, %d records", a["aside"], h.size()-size)
			}
			s.do("put-aside")
			s.all("1")
			d, ok := h.last().Data.(*events.SetChecked)
			if !ok || h.size() != size+1 || d.Aside != events.AsidePut || d.Sheet.Code != h.codes["LAP-014"] {
				t.Errorf("recorded: %+v", h.last())
			}
		})
	}
}

// TestSheetBeginsNoCount: on the page that asks for a set or a case, a count sheet of another turn leads to no count, nor does
// that of a set which is in no case: it says whose it is, and to scan the set itself.
func TestSheetBeginsNoCount(t *testing.T) {
	h := newHouse(t)
	old := h.codes["VAS-003"]
	h.used("K-2", "VAS-003")
	h.packed("VAS-003")
	h.open("VAS-003", "K-1")
	n := 0
	scan := func(text string) map[string]any {
		n++
		return h.post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"t","n":%d,"text":%s}`, n, jsonText(text)))
	}
	for text, says := range map[string]string{old: "of another turn of VAS-003",
		h.codes["LAP-022"]: "count sheet of LAP-022, which is not opened for a case"} {
		a := scan(text)
		if must(t, a, "broken", says); a["go"] != nil && a["go"] != "" {
			t.Errorf("leads to %v", a["go"])
		}
	}
	must(t, scan(label(t, events.ScanTag, "VAS-003")), "whole", "K-1")
}

// TestWaitedBadgeClosesNothing: the second badge for a closing, scanned while the line was down and the page said STOP, closes nothing
// because the counts come out by now: that is asked.
func TestWaitedBadgeClosesNothing(t *testing.T) {
	for name, ago := range map[string]time.Duration{"at once": 0, "waited": 10 * time.Minute} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.t = t
			h.open("VAS-003", "K-1")
			h.countedRight("K-1")
			s := &scanner{h: h, path: "/at/north/or-3/close"}
			s.scan(label(t, events.ScanCase, "K-1"))
			s.scan(label(t, events.ScanBadge, "B-1"))
			size := h.size()
			s.n = 9
			a := h.post(s.path+"/scan", fmt.Sprintf(`{"client":"t","n":9,"ago":%d,"text":%s}`, ago.Milliseconds(),
				jsonText(label(t, events.ScanBadge, "B-2"))))
			if closed := h.size() > size; closed != (ago == 0) {
				t.Fatalf("closed: %v; %v", closed, a)
			}
			if ago > 0 {
				must(t, a, "Enter closes the case")
				must(t, s.scan(""), "Case K-1 closed")
			}
		})
	}
}

// TestAddressTakesNoReason: the address of another case takes nothing away that was said for the closing of the one in hand, also
// before anybody has scanned a badge.
func TestAddressTakesNoReason(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.open("VAS-003", "K-1")
	h.open("LAP-014", "K-2")
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.scan(label(t, events.ScanCase, "K-1"))
	must(t, s.do("reason", "reason", "the surgeon left"), "K-1")
	for range 2 {
		if page := h.get(s.path + "?case=K-2"); !strings.Contains(page, "the surgeon left") || !strings.Contains(page, "then go to K-2") {
			t.Errorf("gone, or no word of it: %v, %v", strings.Contains(page, "the surgeon left"), strings.Contains(page, "K-2"))
		}
	}
}
