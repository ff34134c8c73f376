//go:build !race

package workplace_test

import (
	"testing"
	"time"

	"listbound/events"
)

// reads scans all of a set but the badge.
func (s *scanner) reads(set string) map[string]any {
	return s.all(label(s.h.t, events.ScanTag, set), label(s.h.t, events.ScanOuter, set), s.h.codes[set], "1")
}

// TestCaseGoesWithTheBadge: the case at an opening is that of the person who scanned it. The next one says for which
// it is, also on the same day.
func TestCaseGoesWithTheBadge(t *testing.T) {
	for name, gone := range map[string]func(s *scanner){
		"hours later": func(s *scanner) { s.h.after(5 * time.Hour) },
		"next person": func(s *scanner) { s.do("next-person") },
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			s := &scanner{h: h, path: "/at/north/or-3/opening"}
			s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanCase, "K-1"))
			s.reads("VAS-003")
			s.all("")
			if d, ok := h.last().Data.(*events.SetOpened); !ok || d.Case != "K-1" {
				t.Fatalf("not opened: %+v", h.last())
			}
			gone(s)
			s.reads("LAP-014")
			size := h.size()
			must(t, s.all(label(t, events.ScanBadge, "B-7")), "Scan the case")
			if s.all(""); h.size() != size {
				t.Fatalf("opened for the case of the patient before: %+v", h.last().Data)
			}
			must(t, s.all(label(t, events.ScanCase, "K-2")), "Enter records: LAP-014 opened for K-2")
		})
	}
}
