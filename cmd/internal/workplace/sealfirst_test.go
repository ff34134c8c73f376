//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// closer is who closes containers here, with the set's tag scanned.
func (h *house) closer(set string) *scanner {
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	s.all(label(h.t, events.ScanBadge, "B-1"), label(h.t, events.ScanTag, set))
	return s
}

// TestClosedThoughAside: a set that lies aside, its locks not as recorded, is not closed anew without a question, and not green.
func TestClosedThoughAside(t *testing.T) {
	h := newHouse(t)
	h.packed("VAS-003")
	h.record("north/storage", events.KindSetChecked, "VAS-003", &events.SetChecked{Tag: "VAS-003", SealBroken: true, Aside: events.AsidePut})
	size := h.size()
	s := h.closer("VAS-003")
	a := s.all("3", "")
	must(t, a, "doubtful", "VAS-003", "LOCKS of VAS-003", "put aside at north/storage")
	if h.size() != size {
		t.Fatal("closed, and nobody was asked")
	}
	s.do("unpacked", "value", "1") // of another question
	must(t, s.all("3"), "LOCKS of VAS-003")
	s.do("unpacked", "value", choiceOf(a, "all the same"))
	must(t, s.all("3"), "doubtful", "Enter binds", "LOCKS of VAS-003")
	must(t, s.all(""), "broken", "VAS-003 closed", "LOCKS")
	if h.size() != size+1 {
		t.Error("an answer was given, and nothing is recorded")
	}
}

// TestClosedThoughOpened: closed all the same is not green, and what is recorded after the answer is asked anew.
func TestClosedThoughOpened(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-2", "VAS-003")
	s := h.closer("VAS-003")
	a := s.all("3")
	must(t, a, "was opened for K-2")
	s.do("unpacked", "value", choiceOf(a, "all the same"))
	must(t, s.all("3"), "doubtful", "Enter binds")
	h.after(time.Minute)
	h.record("north/storage", events.KindSetReturned, "VAS-003",
		&events.SetReturned{Step: events.ReturnInspected, Faults: []events.ReturnFault{events.ReturnSoiled}})
	size := h.size()
	a = s.all("")
	must(t, a, "doubtful", "VAS-003 went back to be cleaned and was not packed since")
	if h.size() != size {
		t.Fatal("the answer to one question is taken for that to another")
	}
	s.do("unpacked", "value", choiceOf(a, "all the same"))
	must(t, s.all(""), "broken", "VAS-003 closed")
	if h.size() != size+1 {
		t.Error("an answer was given, and nothing is recorded")
	}
}

// TestClosedThoughDoubtful: what judgement finds of a set is said where its container is closed, before and after.
func TestClosedThoughDoubtful(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-2", "VAS-003")
	h.record("north/storage", events.KindSetReturned, "VAS-003",
		&events.SetReturned{Step: events.ReturnInspected, Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.closer("VAS-003")
	for _, x := range [][2]string{{"3", "Enter binds"}, {"", "VAS-003 closed"}} {
		a, words := s.all(x[0]), x[1]
		if must(t, a, "doubtful", words); !strings.Contains(a["verdict"].(string), "NOT CLEAN") {
			t.Errorf("%s: not a word of what makes the set doubtful: %s", words, a["verdict"])
		}
	}
}
