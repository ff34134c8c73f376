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

// TestOtherSheetStaysAsked: the STOP of another sheet than the printed one is not taken back with the last input, and what is answered
// the next day is recorded by who says it, as of when the sheet was read.
func TestOtherSheetStaysAsked(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.used("K-2", "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.closer("VAS-003")
	must(t, s.all("3", ""), "VAS-003 closed")
	a := s.all(h.codes["LAP-014"])
	must(t, a, "broken", "count sheet of LAP-014")
	read, size := h.clock(), h.size()
	if s.do("undo"); !strings.Contains(tells(s.all("")), "count sheet of LAP-014") {
		t.Fatalf("the STOP is taken back: %s", tells(s.all("")))
	}
	h.after(20 * time.Hour)
	must(t, s.all("1"), "broken", "Scan your badge", "Where was the count sheet")
	s.do("sheet-lay", "value", choiceOf(a, "outside"))
	if h.size() != size {
		t.Fatalf("recorded by nobody: %+v", h.last())
	}
	s.all(label(t, events.ScanBadge, "B-2"), "1")
	if e := h.last(); h.size() != size+1 || e.Operator != "B-2" || !e.Time.Equal(read) {
		t.Errorf("recorded by %q as of %s, read at %s", e.Operator, e.Time, read)
	}
}

// TestNextTagLeavesWhatWasEntered: the tag of another set doesn't take the locks of the one in hand away.
func TestNextTagLeavesWhatWasEntered(t *testing.T) {
	h := newHouse(t)
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1})
	}
	s := h.closer("VAS-003")
	s.all(label(t, events.ScanTag, "VAS-004"), label(t, events.ScanTag, "VAS-003"), "3", label(t, events.ScanSeal, "500001"))
	must(t, s.all(label(t, events.ScanTag, "VAS-004")), "VAS-003 is not closed yet")
	must(t, s.all(label(t, events.ScanSeal, "500002"), ""), "VAS-003 closed")
	if d, ok := h.last().Data.(*events.ListSealed); !ok || h.last().Subject != "VAS-003" || len(d.Seals) != 2 {
		t.Errorf("recorded %+v", h.last())
	}
}

// TestLotWithABlank: what can be no lot is refused when it is said, not when the container is closed.
func TestLotWithABlank(t *testing.T) {
	h := newHouse(t)
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.closer("VAS-003")
	s.all("1")
	for _, action := range []string{"lot", "lot-ask"} {
		if a := s.do(action, "lot", "LOT 7"); a["no"] == nil || strings.Contains(tells(a), "is that the lot") {
			t.Errorf("%s: it is asked whether that is the lot: %s", action, tells(a))
		}
	}
}

// packer counts a set as listed, up to its weight.
func (h *house) packer(set string) *scanner {
	s := &scanner{h: h, path: "/at/north/packing-1/packing"}
	s.all(label(h.t, events.ScanBadge, "B-1"), label(h.t, events.ScanTag, set), "", "", "")
	return s
}

// TestSecondLookIsAskedFor: a badge that is scanned while the weight is asked about, or which version a set is packed by, is no second
// look: nobody was asked for one.
func TestSecondLookIsAskedFor(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.changesPolicy(func(p *events.Policy) { p.SecondLook = []string{"VAS-MINOR"} })
	s := h.packer("VAS-003")
	must(t, s.all(label(t, events.ScanBadge, "B-3"), label(t, events.ScanBadge, "B-1")), "Weigh")
	must(t, s.all("9.9"), "Weigh it again?")
	must(t, s.all(label(t, events.ScanBadge, "B-2")), "Weigh it again?")
	size := h.size()
	s.do("weighed", "value", "9900")
	if s.all(""); h.size() != size {
		t.Fatalf("recorded with a look that nobody was asked for: %+v", h.last().Data)
	}
	l := listShort()
	l.Version = 2
	h.record("north/packing-1", events.KindListIssued, "", l)
	size++
	s.all(label(t, events.ScanBadge, "B-1")) // it took the bench over
	must(t, s.all(label(t, events.ScanBadge, "B-4")), "version 2")
	s.do("stay", "value", "2")
	if s.all(""); h.size() != size {
		t.Fatalf("recorded with a look that nobody was asked for: %+v", h.last().Data)
	}
	s.all(label(t, events.ScanBadge, "B-2"), "")
	d, ok := h.last().Data.(*events.SetPacked)
	if !ok || h.size() != size+1 || d.SecondLook != "B-2" || h.last().Operator != "B-4" {
		t.Errorf("recorded by %s: %+v", h.last().Operator, h.last().Data)
	}
}

// TestNotWeighedIsNoWayOut: a weight that is asked about is not passed by saying that the set is not weighed.
func TestNotWeighedIsNoWayOut(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	s := h.packer("VAS-003")
	must(t, s.all("6.2"), "Weigh it again?")
	must(t, s.do("weight", "weight", ""), "Weigh it again?")
	must(t, s.do("weighed", "value", ""), "Weigh")
	must(t, s.do("weight", "weight", ""), "open", "Weigh")
	must(t, s.all("8.4"), "Enter records: VAS-003 packed")
}

// TestMissingPieceIsSaidFirst: an answer about the list's version doesn't hide that a piece is missing.
func TestMissingPieceIsSaidFirst(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.after(40 * time.Minute)
	h.record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	s := &scanner{h: h, path: "/at/north/packing-1/packing"}
	a := s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"))
	s.do("lacks", "value", choiceOf(a, "each line"))
	s.all("")
	l := listShort()
	l.Version = 2
	l.Lines[2].Quantity = 5
	h.record("north/packing-1", events.KindListIssued, "", l)
	s.all("")
	s.do("stay", "value", "2")
	must(t, s.all("", "", "8.4"), "doubtful", "piece", "missing", "version 2 is in force", "Enter records")
	must(t, s.all(""), "doubtful", "VAS-003 packed", "missing", "version 2 is in force")
}
