//go:build !race

package loads_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPackedUnclean: a set that came back not clean, with no washing recorded since, is asked about where it is inspected or
// packed, and is not in order then; so is one of which no washing is recorded where that of its turn before is. One that was
// washed is not asked about.
func TestPackedUnclean(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	back := func(set string, step events.ReturnStep, faults ...events.ReturnFault) {
		h.Record("north/storage", events.KindSetReturned, set, &events.SetReturned{Step: step, Faults: faults})
		h.After(time.Minute)
	}
	h.Used("K-1", "VAS-003", "VAS-004")
	back("VAS-003", events.ReturnReceived, events.ReturnSoiled)
	back("VAS-004", events.ReturnReceived, events.ReturnSoiled)
	back("VAS-004", events.ReturnWashed)

	r := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	r.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	r.Do("step", "value", "inspected")
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.After(3 * time.Second)
		a := r.Scan(workplacetest.Label(t, events.ScanTag, set))
		before := h.Size()
		if set == "VAS-004" {
			workplacetest.Must(t, a, "whole")
			r.Do("clear")
			continue
		}
		workplacetest.Must(t, a, "doubtful", "VAS-003 came back not clean", "no washing is recorded since")
		if r.Scan(""); h.Size() != before {
			t.Fatal("Enter records it")
		}
		workplacetest.Must(t, r.Do("unclean", "value", "0"), "no washing is recorded since")
		workplacetest.Must(t, r.Do("unclean", "value", workplacetest.ChoiceOf(a, "was washed")), "doubtful", "inspected")
		workplacetest.Must(t, r.Scan(""), "doubtful", "no washing is recorded since")
	}
	p := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	p.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	pack := func(set string) map[string]any {
		h.After(3 * time.Second)
		p.Scan(workplacetest.Label(t, events.ScanTag, set))
		for range 3 {
			p.Scan("")
		}
		p.Scan("8.4")
		return p.Scan("")
	}
	before := h.Size()
	a := pack("VAS-003")
	workplacetest.Must(t, a, "doubtful", "VAS-003 came back not clean")
	if h.Size() != before {
		t.Fatal("packed before anybody said that it was washed")
	}
	p.Do("unclean", "value", workplacetest.ChoiceOf(a, "was washed"))
	workplacetest.Must(t, pack("VAS-003"), "doubtful", "VAS-003 packed", "no washing is recorded since")
	workplacetest.Must(t, pack("VAS-004"), "whole", "VAS-004 packed")

	// The next turn of the set of which washing was recorded in this one.
	h.Record("north/packing-1", events.KindListSealed, "VAS-004", &events.ListSealed{Placement: events.Outside})
	h.Used("K-2", "VAS-004")
	workplacetest.Must(t, pack("VAS-004"), "doubtful",
		"No washing of VAS-004 is recorded") // nothing of a way back is, and it is washed else
	p.Do("unclean", "value", workplacetest.ChoiceOf(p.Scan(""), "was washed"))
	workplacetest.Must(t, pack("VAS-004"), "doubtful", "VAS-004 packed")
	h.Used("K-3", "VAS-004")
	back("VAS-004", events.ReturnReceived)
	workplacetest.Must(t, pack("VAS-004"), "whole", "VAS-004 packed") // nor was that of the turn before
	h.Used("K-4", "VAS-004")
	back("VAS-004", events.ReturnWashed)
	pack("VAS-004")
	h.Used("K-5", "VAS-004")
	back("VAS-004", events.ReturnReceived)
	workplacetest.Must(t, pack("VAS-004"), "doubtful", "No washing of VAS-004 is recorded")
}

// TestClosedAfterItWentBack: a container is not closed without a question where its set went back to be cleaned after it was packed.
func TestClosedAfterItWentBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Record("north/storage", events.KindSetReturned, "VAS-009", &events.SetReturned{Step: events.ReturnWashed})
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	before := h.Size()
	var a map[string]any
	for _, x := range []string{workplacetest.Label(t, events.ScanTag, "VAS-009"), "3", ""} {
		a = s.Scan(x)
		workplacetest.Must(t, a, "doubtful", "VAS-009 went back to be cleaned")
	}
	s.Do("record")
	if h.Size() != before {
		t.Fatal("closed, and nobody said that it is")
	}
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	s.Scan("3")
	workplacetest.Must(t, s.Scan(""), "VAS-009 closed")
}

// TestWasherLoadWithoutABadge: a washer's load that was said before a badge was scanned is taken from whoever scans one soon
// after; later it is another person, who is asked whether it still is that load.
func TestWasherLoadWithoutABadge(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Used("K-1", "VAS-003", "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	for i, later := range []time.Duration{time.Minute, 50 * time.Minute} {
		set := []string{"VAS-003", "LAP-014"}[i]
		h.After(time.Hour)
		s.Do("next-person")
		s.Scan(workplacetest.Label(t, events.ScanTag, set))
		s.Do("step", "value", "washed")
		s.Do("load", "washer", "W1", "run", "3")
		h.After(later)
		a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
		if later < time.Hour/2 {
			workplacetest.Must(t, a, "whole", "Enter records: "+set)
			s.Do("clear")
			continue
		}
		before := h.Size()
		workplacetest.Must(t, a, "open", set, "W1-0304-03")
		if workplacetest.Must(t, s.Scan(""), "open", "W1-0304-03"); h.Size() != before {
			t.Fatal("recorded by who never said that load")
		}
		workplacetest.Must(t, s.Answer(a, "same-load"), "whole", "Enter records: "+set)
	}
}
