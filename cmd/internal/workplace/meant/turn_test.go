//go:build !race

package meant_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestHalfPackedInAnotherTurn: lines of a set that lay here half packed, or packed and not recorded, when it was packed
// elsewhere and used are not those of the set that comes back.
func TestHalfPackedInAnotherTurn(t *testing.T) {
	for name, enter := range map[string]func(s *workplacetest.Scanner){
		"two lines": func(s *workplacetest.Scanner) { s.Scan(""); s.Scan("") },
		"all lines": func(s *workplacetest.Scanner) { s.Scan(""); s.Scan(""); s.Scan(""); s.Scan("8.4") },
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Used("K-0", "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
			s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
			enter(s)
			h.Reprocess("VAS-003", "K-1")
			h.Used("K-2", "VAS-003")
			h.After(6 * 24 * time.Hour)
			before := h.Size()
			for _, text := range []string{workplacetest.Label(t, events.ScanSet, "VAS-003"), "", workplacetest.Label(t,
				events.ScanBadge, "B-2"), "", "3", "8.4", ""} {
				h.After(3 * time.Second)
				workplacetest.Must(t, s.Scan(text), "VAS-003 was packed or opened since this was entered")
			}
			s.Do("record")
			if h.Size() != before {
				t.Fatal("packed by lines that were counted before the set was used")
			}
			workplacetest.Must(t, s.Do("outlived"), "4 × Forceps, mosquito", "0 of 3")
			s.Scan("")
			s.Scan("")
			workplacetest.Must(t, s.Scan("2"), "Why?")
			s.Scan("1")
			workplacetest.Must(t, s.Scan(""), "Weigh it") // and not the weight of the turn before
			s.Scan("8")
			workplacetest.Must(t, s.Scan(""), "VAS-003 packed")
			got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
			if d := got[len(got)-1].(*events.SetPacked); h.Size() != before+1 || d.WeightGrams != 8000 || len(d.Exceptions) != 1 {
				t.Errorf("recorded %+v", d)
			}
		})
	}
}

// TestOpenedWhileHalfPacked: likewise where it was opened in the turn in which it was being packed anew.
func TestOpenedWhileHalfPacked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Do("anew", "value", h.Trips["VAS-003"])
	workplacetest.Must(t, s.Scan(""), "1 of 3 lines")
	h.Used("K-1", "VAS-003")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "packed or opened since")
	workplacetest.Must(t, s.Do("clear"), "Scan")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "0 of 3 lines")
}

// TestPackedElsewhereMeanwhile: who packs a set anew that was packed elsewhere since counts it anew.
func TestPackedElsewhereMeanwhile(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	workplacetest.Must(t, s.Scan(""), "1 of 3 lines")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, a, "is not opened")
	workplacetest.Must(t, s.Do("anew", "value", workplacetest.Answer(a).Choice("anew")["value"]), "0 of 3 lines")
}

// TestSeenInAnotherTurn: where the sheet goes, locks, faults and pieces that were entered before the set was packed
// elsewhere are not recorded of the set as it lies here now.
func TestSeenInAnotherTurn(t *testing.T) {
	for place, enter := range map[string]func(s *workplacetest.Scanner){
		"sealing": func(s *workplacetest.Scanner) {
			s.Do("placement", "placement", "outside")
			s.Scan(workplacetest.Label(t, events.ScanSeal, "777001"))
		},
		"return": func(s *workplacetest.Scanner) { s.Do("step", "value", "received"); s.Do("fault", "value", "damaged") },
		"pieces": func(s *workplacetest.Scanner) { s.Scan("1"); s.Scan("1") },
	} {
		t.Run(place, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Used("K-0", "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
			s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
			enter(s)
			h.Reprocess("VAS-003", "K-1")
			h.Used("K-2", "VAS-003")
			h.After(6 * 24 * time.Hour)
			before := h.Size()
			for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-2"), "", "1", ""} {
				h.After(3 * time.Second)
				workplacetest.Must(t, s.Scan(text), "VAS-003 was packed or opened since this was entered")
			}
			if s.Do("record"); h.Size() != before {
				t.Fatal("recorded what was seen in a turn before")
			}
			s.Do("outlived")
			if place == "return" { // the step is of the day, not of the set
				workplacetest.Must(t, s.Do("step", "value", "received"), "Enter records: VAS-003 received")
				s.Scan("")
				got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
				if d := got[len(got)-1].(*events.SetReturned); len(d.Faults) > 0 {
					t.Errorf("recorded %+v", d)
				}
				return
			}
			if s.Scan(""); h.Size() != before {
				t.Error("recorded, and nothing was said of this turn")
			}
		})
	}
}
