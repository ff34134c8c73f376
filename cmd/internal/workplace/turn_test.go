package workplace_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// reprocess has a set used for a case, counted, closed, and packed anew by another station.
func (h *house) reprocess(set, ref string) {
	h.used(ref, set)
	h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
}

// TestHalfPackedInAnotherTurn: lines of a set that lay here half packed, or packed and not recorded, when it was packed
// elsewhere and used are not those of the set that comes back.
func TestHalfPackedInAnotherTurn(t *testing.T) {
	for name, enter := range map[string]func(s *scanner){
		"two lines": func(s *scanner) { s.scan(""); s.scan("") },
		"all lines": func(s *scanner) { s.scan(""); s.scan(""); s.scan(""); s.scan("8.4") },
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.used("K-0", "VAS-003")
			s := &scanner{h: h, path: "/at/north/or-3/packing"}
			s.scan(label(t, events.ScanSet, "VAS-003"))
			enter(s)
			h.reprocess("VAS-003", "K-1")
			h.used("K-2", "VAS-003")
			h.after(6 * 24 * time.Hour)
			before := h.size()
			for _, text := range []string{label(t, events.ScanSet, "VAS-003"), "", label(t, events.ScanBadge, "B-2"), "", "3", "8.4", ""} {
				h.after(3 * time.Second)
				must(t, s.scan(text), "VAS-003 was packed or opened since this was entered")
			}
			s.do("record")
			if h.size() != before {
				t.Fatal("packed by lines that were counted before the set was used")
			}
			must(t, s.do("outlived"), "4 × Forceps, mosquito", "0 of 3")
			s.scan("")
			s.scan("")
			must(t, s.scan("2"), "Why?")
			s.scan("1")
			must(t, s.scan(""), "Weigh it") // and not the weight of the turn before
			s.scan("8")
			must(t, s.scan(""), "VAS-003 packed")
			got := h.events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
			if d := got[len(got)-1].(*events.SetPacked); h.size() != before+1 || d.WeightGrams != 8000 || len(d.Exceptions) != 1 {
				t.Errorf("recorded %+v", d)
			}
		})
	}
}

// TestOpenedWhileHalfPacked: likewise where it was opened in the turn in which it was being packed anew.
func TestOpenedWhileHalfPacked(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	s.scan(label(t, events.ScanSet, "VAS-003"))
	s.do("anew", "value", h.trips["VAS-003"])
	must(t, s.scan(""), "1 of 3 lines")
	h.used("K-1", "VAS-003")
	must(t, s.scan(label(t, events.ScanBadge, "B-2")), "packed or opened since")
	must(t, s.do("clear"), "Scan")
	must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "0 of 3 lines")
}

// TestPackedElsewhereMeanwhile: who packs a set anew that was packed elsewhere since counts it anew.
func TestPackedElsewhereMeanwhile(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0", "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	s.scan(label(t, events.ScanSet, "VAS-003"))
	must(t, s.scan(""), "1 of 3 lines")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	a := s.scan(label(t, events.ScanBadge, "B-2"))
	must(t, a, "is not opened")
	must(t, s.do("anew", "value", answer(a).choice("anew")["value"]), "0 of 3 lines")
}

// TestSeenInAnotherTurn: where the sheet goes, locks, faults and pieces that were entered before the set was packed
// elsewhere are not recorded of the set as it lies here now.
func TestSeenInAnotherTurn(t *testing.T) {
	for place, enter := range map[string]func(s *scanner){
		"sealing": func(s *scanner) {
			s.do("placement", "placement", "outside")
			s.scan(label(t, events.ScanSeal, "777001"))
		},
		"return": func(s *scanner) { s.do("step", "value", "received"); s.do("fault", "value", "damaged") },
		"pieces": func(s *scanner) { s.scan("1"); s.scan("1") },
	} {
		t.Run(place, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.used("K-0", "VAS-003")
			s := &scanner{h: h, path: "/at/north/or-3/" + place}
			s.scan(label(t, events.ScanSet, "VAS-003"))
			enter(s)
			h.reprocess("VAS-003", "K-1")
			h.used("K-2", "VAS-003")
			h.after(6 * 24 * time.Hour)
			before := h.size()
			for _, text := range []string{label(t, events.ScanBadge, "B-2"), "", "1", ""} {
				h.after(3 * time.Second)
				must(t, s.scan(text), "VAS-003 was packed or opened since this was entered")
			}
			if s.do("record"); h.size() != before {
				t.Fatal("recorded what was seen in a turn before")
			}
			s.do("outlived")
			if place == "return" { // the step is of the day, not of the set
				must(t, s.do("step", "value", "received"), "Enter records: VAS-003 received")
				s.scan("")
				got := h.events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
				if d := got[len(got)-1].(*events.SetReturned); len(d.Faults) > 0 {
					t.Errorf("recorded %+v", d)
				}
				return
			}
			if s.scan(""); h.size() != before {
				t.Error("recorded, and nothing was said of this turn")
			}
		})
	}
}
