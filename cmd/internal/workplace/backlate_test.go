//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestPutAsideTakenBack: who takes back that a set was put aside is told which sets that frees, before and after, and it is
// never green; on the next day a release says why, and nobody takes it back in passing.
func TestPutAsideTakenBack(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			for _, sheet := range []string{"LAP-022", "VAS-003"} {
				for _, later := range []time.Duration{time.Minute, 20 * time.Hour} {
					h := newHouse(t, "LAP-022", "VAS-003")
					h.t = t
					h.after(20 * time.Minute)
					s := &scanner{h: h, path: "/at/north/" + place}
					s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"),
						h.codes[sheet], "1")
					s.do("put-aside")
					s.all("1")
					if d, ok := h.last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
						t.Fatalf("not put aside: %+v", h.last())
					}
					h.after(later)
					s.all(label(t, events.ScanBadge, "B-7"))
					size := h.size()
					freed := "no longer stops these sets: VAS-003."
					if sheet == "LAP-022" {
						freed = "no longer stops these sets: VAS-003, LAP-022."
					}
					ask := s.do("take-back")
					a := s.do("take-back", "value", "by-mistake")
					if later > time.Hour {
						if must(t, a, "broken", "on the same day only"); h.size() != size {
							t.Errorf("taken back the next day: %+v", h.last())
						}
						continue
					}
					must(t, ask, "broken", "This stops sets", freed)
					if must(t, a, "doubtful", "Taken back", freed); h.size() != size+1 {
						t.Errorf("recorded: %+v", h.last())
					}
				}
			}
		})
	}
}

// TestCloseOfYesterday: the end of a case of the day before is not taken back at its page by whoever works there now.
func TestCloseOfYesterday(t *testing.T) {
	for _, later := range []time.Duration{time.Minute, 20 * time.Hour} {
		h := newHouse(t, "VAS-003")
		h.open("VAS-003", "K-1")
		h.countedRight("K-1")
		s := &scanner{h: h, path: "/at/north/or-3/close"}
		must(t, s.all(label(t, events.ScanCase, "K-1"), label(t, events.ScanBadge, "B-1"), label(t, events.ScanBadge, "B-2")), "K-1 closed")
		h.after(later)
		s.all(label(t, events.ScanBadge, "B-7"))
		size := h.size()
		s.do("take-back")
		a := s.do("take-back", "value", "by-mistake")
		if back := h.size() > size; back != (later < time.Hour) || strings.Contains(tells(a), "same day only") == back {
			t.Errorf("%s later, taken back: %v; %s", later, back, tells(a))
		}
	}
}

// TestPackedTakenBackLate: who takes a packing back after the set was closed and released is told what stands without it, before
// and after, and it is not green; nor is it with an opening of which counts are signed. What nothing followed is green.
func TestPackedTakenBackLate(t *testing.T) {
	for name, c := range map[string]struct {
		path  string
		does  func(h *house, s *scanner)
		after func(h *house)
		told  []string
	}{
		"packing": {"/at/north/packing-1/packing", func(h *house, s *scanner) {
			h.used("K-1", "VAS-003")
			s.all(label(h.t, events.ScanBadge, "B-9"), label(h.t, events.ScanTag, "VAS-003"), "", "", "", "8.4", "")
		}, func(h *house) {
			h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			h.record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-02",
				Sterilizer: "S1", Run: 2, Cycle: "c-134", Result: "passed", Released: true})
		}, []string{"Recorded of VAS-003 since then: ", "steriliz"}},
		"opening": {"/at/north/or-3/opening", func(h *house, s *scanner) {
			s.all(label(h.t, events.ScanBadge, "B-1"), label(h.t, events.ScanCase, "K-1"))
			s.reads("VAS-003")
			s.all("")
		}, func(h *house) { h.signs("K-1", "VAS-003", events.StageFirst) }, []string{"Recorded of VAS-003 since then: ", "count"}},
	} {
		for _, followed := range []bool{true, false} {
			h := newHouse(t, "VAS-003")
			h.after(20 * time.Minute)
			s := &scanner{h: h, path: c.path}
			size := h.size()
			if c.does(h, s); h.size() == size {
				t.Fatalf("%s: nothing recorded", name)
			}
			h.after(time.Minute)
			status := "whole"
			if followed {
				c.after(h)
				status = "doubtful"
			}
			for _, a := range []map[string]any{s.do("take-back"), s.do("take-back", "value", "by-mistake")} {
				for _, says := range c.told {
					if strings.Contains(tells(a), says) != followed {
						t.Errorf("%s, followed %v: %s", name, followed, tells(a))
					}
				}
				if strings.HasPrefix(a["words"].(string), "Taken back") {
					must(t, a, status)
				}
			}
		}
	}
}
