//go:build !race

package workplace_test

import (
	"testing"
	"time"

	"listbound/events"
)

// TestPackedUnclean: a set that came back not clean, with no washing recorded since, is asked about where it is inspected or
// packed, and is not in order then; so is one of which no washing is recorded where that of its turn before is. One that was
// washed is not asked about.
func TestPackedUnclean(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	back := func(set string, step events.ReturnStep, faults ...events.ReturnFault) {
		h.record("north/storage", events.KindSetReturned, set, &events.SetReturned{Step: step, Faults: faults})
		h.after(time.Minute)
	}
	h.used("K-1", "VAS-003", "VAS-004")
	back("VAS-003", events.ReturnReceived, events.ReturnSoiled)
	back("VAS-004", events.ReturnReceived, events.ReturnSoiled)
	back("VAS-004", events.ReturnWashed)

	r := &scanner{h: h, path: "/at/north/or-3/return"}
	r.scan(label(t, events.ScanBadge, "B-1"))
	r.do("step", "value", "inspected")
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.after(3 * time.Second)
		a := r.scan(label(t, events.ScanTag, set))
		before := h.size()
		if set == "VAS-004" {
			must(t, a, "whole")
			r.do("clear")
			continue
		}
		must(t, a, "doubtful", "VAS-003 came back not clean", "no washing is recorded since")
		if r.scan(""); h.size() != before {
			t.Fatal("Enter records it")
		}
		must(t, r.do("unclean", "value", "0"), "no washing is recorded since")
		must(t, r.do("unclean", "value", choiceOf(a, "was washed")), "doubtful", "inspected")
		must(t, r.scan(""), "doubtful", "no washing is recorded since")
	}
	p := &scanner{h: h, path: "/at/north/packing-1/packing"}
	p.scan(label(t, events.ScanBadge, "B-1"))
	pack := func(set string) map[string]any {
		h.after(3 * time.Second)
		p.scan(label(t, events.ScanTag, set))
		for range 3 {
			p.scan("")
		}
		p.scan("8.4")
		return p.scan("")
	}
	before := h.size()
	a := pack("VAS-003")
	must(t, a, "doubtful", "VAS-003 came back not clean")
	if h.size() != before {
		t.Fatal("packed before anybody said that it was washed")
	}
	p.do("unclean", "value", choiceOf(a, "was washed"))
	must(t, pack("VAS-003"), "doubtful", "VAS-003 packed", "no washing is recorded since")
	must(t, pack("VAS-004"), "whole", "VAS-004 packed")

	// The next turn of the set of which washing was recorded in this one.
	h.record("north/packing-1", events.KindListSealed, "VAS-004", &events.ListSealed{Placement: events.Outside})
	h.used("K-2", "VAS-004")
	must(t, pack("VAS-004"), "doubtful", "No washing of VAS-004 is recorded") // nothing of a way back is, and it is washed else
	p.do("unclean", "value", choiceOf(p.scan(""), "was washed"))
	must(t, pack("VAS-004"), "doubtful", "VAS-004 packed")
	h.used("K-3", "VAS-004")
	back("VAS-004", events.ReturnReceived)
	must(t, pack("VAS-004"), "whole", "VAS-004 packed") // nor was that of the turn before
	h.used("K-4", "VAS-004")
	back("VAS-004", events.ReturnWashed)
	pack("VAS-004")
	h.used("K-5", "VAS-004")
	back("VAS-004", events.ReturnReceived)
	must(t, pack("VAS-004"), "doubtful", "No washing of VAS-004 is recorded")
}

// TestClosedAfterItWentBack: a container is not closed without a question where its set went back to be cleaned after it was packed.
func TestClosedAfterItWentBack(t *testing.T) {
	h := newHouse(t, "LAP-014")
	h.record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.record("north/storage", events.KindSetReturned, "VAS-009", &events.SetReturned{Step: events.ReturnWashed})
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	before := h.size()
	var a map[string]any
	for _, x := range []string{label(t, events.ScanTag, "VAS-009"), "3", ""} {
		a = s.scan(x)
		must(t, a, "doubtful", "VAS-009 went back to be cleaned")
	}
	s.do("record")
	if h.size() != before {
		t.Fatal("closed, and nobody said that it is")
	}
	s.do("unpacked", "value", choiceOf(a, "all the same"))
	s.scan("3")
	must(t, s.scan(""), "VAS-009 closed")
}

// TestWasherLoadWithoutABadge: a washer's load that was said before a badge was scanned is taken from whoever scans one soon
// after; later it is another person, who is asked whether it still is that load.
func TestWasherLoadWithoutABadge(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.used("K-1", "VAS-003", "LAP-014")
	s := &scanner{h: h, path: "/at/north/or-3/return"}
	for i, later := range []time.Duration{time.Minute, 50 * time.Minute} {
		set := []string{"VAS-003", "LAP-014"}[i]
		h.after(time.Hour)
		s.do("next-person")
		s.scan(label(t, events.ScanTag, set))
		s.do("step", "value", "washed")
		s.do("load", "washer", "W1", "run", "3")
		h.after(later)
		a := s.scan(label(t, events.ScanBadge, "B-7"))
		if later < time.Hour/2 {
			must(t, a, "whole", "Enter records: "+set)
			s.do("clear")
			continue
		}
		before := h.size()
		must(t, a, "open", set, "W1-0304-03")
		if must(t, s.scan(""), "open", "W1-0304-03"); h.size() != before {
			t.Fatal("recorded by who never said that load")
		}
		must(t, s.answer(a, "same-load"), "whole", "Enter records: "+set)
	}
}
