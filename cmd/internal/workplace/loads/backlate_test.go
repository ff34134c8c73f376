//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPutAsideTakenBack: who takes back that a set was put aside is told which sets that frees, before and after, and it is
// never green; on the next day a release says why, and nobody takes it back in passing.
func TestPutAsideTakenBack(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			for _, sheet := range []string{"LAP-022", "VAS-003"} {
				for _, later := range []time.Duration{time.Minute, 20 * time.Hour} {
					h := workplacetest.NewHouse(t, "LAP-022", "VAS-003")
					h.T = t
					h.After(20 * time.Minute)
					s := &workplacetest.Scanner{House: h, Path: "/at/north/" + place}
					s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag,
						"VAS-003"), workplacetest.Label(t, events.ScanOuter, "VAS-003"),
						h.Codes[sheet], "1")
					s.Do("put-aside")
					s.All("1")
					if d, ok := h.Last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
						t.Fatalf("not put aside: %+v", h.Last())
					}
					h.After(later)
					s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
					size := h.Size()
					freed := "no longer stops these sets: VAS-003."
					if sheet == "LAP-022" {
						freed = "no longer stops these sets: VAS-003, LAP-022."
					}
					ask := s.Do("take-back")
					a := s.Do("take-back", "value", "by-mistake")
					if later > time.Hour {
						if workplacetest.Must(t, a, "broken", "on the same day only"); h.Size() != size {
							t.Errorf("taken back the next day: %+v", h.Last())
						}
						continue
					}
					workplacetest.Must(t, ask, "broken", "This stops sets", freed)
					if workplacetest.Must(t, a, "doubtful", "Taken back", freed); h.Size() != size+1 {
						t.Errorf("recorded: %+v", h.Last())
					}
				}
			}
		})
	}
}

// TestCloseOfYesterday: the end of a case of the day before is not taken back at its page by whoever works there now.
func TestCloseOfYesterday(t *testing.T) {
	for _, later := range []time.Duration{time.Minute, 20 * time.Hour} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Open("VAS-003", "K-1")
		h.CountedRight("K-1")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
		workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t,
			events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanBadge, "B-2")), "K-1 closed")
		h.After(later)
		s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
		size := h.Size()
		s.Do("take-back")
		a := s.Do("take-back", "value", "by-mistake")
		if back := h.Size() > size; back != (later < time.Hour) || strings.Contains(workplacetest.Tells(a), "same day only") == back {
			t.Errorf("%s later, taken back: %v; %s", later, back, workplacetest.Tells(a))
		}
	}
}

// TestPackedTakenBackLate: who takes a packing back after the set was closed and released is told what stands without it, before
// and after, and it is not green; nor is it with an opening of which counts are signed. What nothing followed is green.
func TestPackedTakenBackLate(t *testing.T) {
	for name, c := range map[string]struct {
		path  string
		does  func(h *workplacetest.House, s *workplacetest.Scanner)
		after func(h *workplacetest.House)
		told  []string
	}{
		"packing": {"/at/north/packing-1/packing", func(h *workplacetest.House, s *workplacetest.Scanner) {
			h.Used("K-1", "VAS-003")
			s.All(workplacetest.Label(h.T, events.ScanBadge, "B-9"), workplacetest.Label(h.T, events.ScanTag,
				"VAS-003"), "", "", "", "8.4", "")
		}, func(h *workplacetest.House) {
			h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-02",
				Sterilizer: "S1", Run: 2, Cycle: "c-134", Result: "passed", Released: true})
		}, []string{"Recorded of VAS-003 since then: ", "steriliz"}},
		"opening": {"/at/north/or-3/opening", func(h *workplacetest.House, s *workplacetest.Scanner) {
			s.All(workplacetest.Label(h.T, events.ScanBadge, "B-1"), workplacetest.Label(h.T, events.ScanCase, "K-1"))
			s.Reads("VAS-003")
			s.All("")
		}, func(h *workplacetest.House) { h.Signs("K-1", "VAS-003", events.StageFirst) },
			[]string{"Recorded of VAS-003 since then: ", "count"}},
	} {
		for _, followed := range []bool{true, false} {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.After(20 * time.Minute)
			s := &workplacetest.Scanner{House: h, Path: c.path}
			size := h.Size()
			if c.does(h, s); h.Size() == size {
				t.Fatalf("%s: nothing recorded", name)
			}
			h.After(time.Minute)
			status := "whole"
			if followed {
				c.after(h)
				status = "doubtful"
			}
			for _, a := range []map[string]any{s.Do("take-back"), s.Do("take-back", "value", "by-mistake")} {
				for _, says := range c.told {
					if strings.Contains(workplacetest.Tells(a), says) != followed {
						t.Errorf("%s, followed %v: %s", name, followed, workplacetest.Tells(a))
					}
				}
				if strings.HasPrefix(a["words"].(string), "Taken back") {
					workplacetest.Must(t, a, status)
				}
			}
		}
	}
}

// TestStepOfTodayOutlivesWhatWaited: what a screen sends after midnight that was entered the evening before is older than the
// step that was chosen since, and doesn't drop it.
func TestStepOfTodayOutlivesWhatWaited(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	now := h.Clock()
	h.After(now.Truncate(24 * time.Hour).Add(24*time.Hour + 10*time.Minute).Sub(now))
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("step", "value", "received")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "Enter records: VAS-003 received")
	h.After(time.Minute)
	a := h.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"dead","n":1,"rev":1,"ago":%d,"text":%q}`, (20*time.Minute).Milliseconds(),
		workplacetest.Label(t, events.ScanTag, "LAP-022")))
	if a["stale"] != true {
		t.Errorf("taken: %v", a)
	}
	workplacetest.Must(t, s.Scan(""), "VAS-003 received")
	if got := h.Last().Data; got.(*events.SetReturned).Step != events.ReturnReceived {
		t.Errorf("recorded: %+v", got)
	}
}
