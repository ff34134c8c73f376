//go:build !race

package packing_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestClosedThoughAside: a set that lies aside, its locks not as recorded, is not closed anew without a question, and not green.
func TestClosedThoughAside(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Packed("VAS-003")
	h.Record("north/storage", events.KindSetChecked, "VAS-003", &events.SetChecked{Tag: "VAS-003", SealBroken: true,
		Aside: events.AsidePut})
	size := h.Size()
	s := h.Closer("VAS-003")
	a := s.All("3", "")
	workplacetest.Must(t, a, "doubtful", "VAS-003", "LOCKS of VAS-003", "put aside at north/storage")
	if h.Size() != size {
		t.Fatal("closed, and nobody was asked")
	}
	s.Do("unpacked", "value", "1") // of another question
	workplacetest.Must(t, s.All("3"), "LOCKS of VAS-003")
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	workplacetest.Must(t, s.All("3"), "doubtful", "Enter binds", "LOCKS of VAS-003")
	workplacetest.Must(t, s.All(""), "broken", "VAS-003 closed", "LOCKS")
	if h.Size() != size+1 {
		t.Error("an answer was given, and nothing is recorded")
	}
}

// TestClosedThoughOpened: closed all the same is not green, and what is recorded after the answer is asked anew.
func TestClosedThoughOpened(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-2", "VAS-003")
	s := h.Closer("VAS-003")
	a := s.All("3")
	workplacetest.Must(t, a, "was opened for K-2")
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	workplacetest.Must(t, s.All("3"), "doubtful", "Enter binds")
	h.After(time.Minute)
	h.Record("north/storage", events.KindSetReturned, "VAS-003",
		&events.SetReturned{Step: events.ReturnInspected, Faults: []events.ReturnFault{events.ReturnSoiled}})
	size := h.Size()
	a = s.All("")
	workplacetest.Must(t, a, "doubtful", "VAS-003 went back to be cleaned and was not packed since")
	if h.Size() != size {
		t.Fatal("the answer to one question is taken for that to another")
	}
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	workplacetest.Must(t, s.All(""), "broken", "VAS-003 closed")
	if h.Size() != size+1 {
		t.Error("an answer was given, and nothing is recorded")
	}
}

// TestClosedThoughDoubtful: what judgement finds of a set is said where its container is closed, before and after.
func TestClosedThoughDoubtful(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-2", "VAS-003")
	h.Record("north/storage", events.KindSetReturned, "VAS-003",
		&events.SetReturned{Step: events.ReturnInspected, Faults: []events.ReturnFault{events.ReturnSoiled}})
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.Closer("VAS-003")
	for _, x := range [][2]string{{"3", "Enter binds"}, {"", "VAS-003 closed"}} {
		a, words := s.All(x[0]), x[1]
		if workplacetest.Must(t, a, "doubtful", words); !strings.Contains(a["verdict"].(string), "NOT CLEAN") {
			t.Errorf("%s: not a word of what makes the set doubtful: %s", words, a["verdict"])
		}
	}
}

// TestOtherSheetStaysAsked: the STOP of another sheet than the printed one is not taken back with the last input, and what is answered
// the next day is recorded by who says it, as of when the sheet was read.
func TestOtherSheetStaysAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Used("K-2", "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.Closer("VAS-003")
	workplacetest.Must(t, s.All("3", ""), "VAS-003 closed")
	a := s.All(h.Codes["LAP-014"])
	workplacetest.Must(t, a, "broken", "count sheet of LAP-014")
	read, size := h.Clock(), h.Size()
	if s.Do("undo"); !strings.Contains(workplacetest.Tells(s.All("")), "count sheet of LAP-014") {
		t.Fatalf("the STOP is taken back: %s", workplacetest.Tells(s.All("")))
	}
	h.After(20 * time.Hour)
	workplacetest.Must(t, s.All("1"), "broken", "Scan your badge", "Where was the count sheet")
	s.Do("sheet-lay", "value", workplacetest.ChoiceOf(a, "outside"))
	if h.Size() != size {
		t.Fatalf("recorded by nobody: %+v", h.Last())
	}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), "1")
	if e := h.Last(); h.Size() != size+1 || e.Operator != "B-2" || !e.Time.Equal(read) {
		t.Errorf("recorded by %q as of %s, read at %s", e.Operator, e.Time, read)
	}
}

// TestNextTagLeavesWhatWasEntered: the tag of another set doesn't take the locks of the one in hand away.
func TestNextTagLeavesWhatWasEntered(t *testing.T) {
	h := workplacetest.NewHouse(t)
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1})
	}
	s := h.Closer("VAS-003")
	s.All(workplacetest.Label(t, events.ScanTag, "VAS-004"), workplacetest.Label(t, events.ScanTag, "VAS-003"), "3",
		workplacetest.Label(t, events.ScanSeal, "500001"))
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-004")), "VAS-003 is not closed yet")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanSeal, "500002"), ""), "VAS-003 closed")
	if d, ok := h.Last().Data.(*events.ListSealed); !ok || h.Last().Subject != "VAS-003" || len(d.Seals) != 2 {
		t.Errorf("recorded %+v", h.Last())
	}
}

// TestLotWithABlank: what can be no lot is refused when it is said, not when the container is closed.
func TestLotWithABlank(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := h.Closer("VAS-003")
	s.All("1")
	for _, action := range []string{"lot", "lot-ask"} {
		if a := s.Do(action, "lot", "LOT 7"); a["no"] == nil || strings.Contains(workplacetest.Tells(a), "is that the lot") {
			t.Errorf("%s: it is asked whether that is the lot: %s", action, workplacetest.Tells(a))
		}
	}
}

// TestSecondLookIsAskedFor: a badge that is scanned while the weight is asked about, or which version a set is packed by, is no second
// look: nobody was asked for one.
func TestSecondLookIsAskedFor(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.SecondLook = []string{"VAS-MINOR"} })
	s := h.Packer("VAS-003")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-3"), workplacetest.Label(t, events.ScanBadge, "B-1")), "Weigh")
	workplacetest.Must(t, s.All("9.9"), "Weigh it again?")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-2")), "Weigh it again?")
	size := h.Size()
	s.Do("weighed", "value", "9900")
	if s.All(""); h.Size() != size {
		t.Fatalf("recorded with a look that nobody was asked for: %+v", h.Last().Data)
	}
	l := workplacetest.ListShort()
	l.Version = 2
	h.Record("north/packing-1", events.KindListIssued, "", l)
	size++
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1")) // it took the bench over
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-4")), "version 2")
	s.Do("stay", "value", "2")
	if s.All(""); h.Size() != size {
		t.Fatalf("recorded with a look that nobody was asked for: %+v", h.Last().Data)
	}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), "")
	d, ok := h.Last().Data.(*events.SetPacked)
	if !ok || h.Size() != size+1 || d.SecondLook != "B-2" || h.Last().Operator != "B-4" {
		t.Errorf("recorded by %s: %+v", h.Last().Operator, h.Last().Data)
	}
}

// TestNotWeighedIsNoWayOut: a weight that is asked about is not passed by saying that the set is not weighed.
func TestNotWeighedIsNoWayOut(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := h.Packer("VAS-003")
	workplacetest.Must(t, s.All("6.2"), "Weigh it again?")
	workplacetest.Must(t, s.Do("weight", "weight", ""), "Weigh it again?")
	workplacetest.Must(t, s.Do("weighed", "value", ""), "Weigh")
	workplacetest.Must(t, s.Do("weight", "weight", ""), "open", "Weigh")
	workplacetest.Must(t, s.All("8.4"), "Enter records: VAS-003 packed")
}

// TestMissingPieceIsSaidFirst: an answer about the list's version doesn't hide that a piece is missing.
func TestMissingPieceIsSaidFirst(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(40 * time.Minute)
	h.Record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Do("lacks", "value", workplacetest.ChoiceOf(a, "each line"))
	s.All("")
	l := workplacetest.ListShort()
	l.Version = 2
	l.Lines[2].Quantity = 5
	h.Record("north/packing-1", events.KindListIssued, "", l)
	s.All("")
	s.Do("stay", "value", "2")
	workplacetest.Must(t, s.All("", "", "8.4"), "doubtful", "piece", "missing", "version 2 is in force", "Enter records")
	workplacetest.Must(t, s.All(""), "doubtful", "VAS-003 packed", "missing", "version 2 is in force")
}

// TestNoLotUnasked: a code that is scanned while it is asked whether the set is packed first is no lot of which the page asks
// later: nothing changes unseen, so that undoing takes back what was seen.
func TestNoLotUnasked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-2", "VAS-003")
	s := h.Closer("VAS-003")
	a := s.Do("placement", "placement", "inside-bag")
	workplacetest.Must(t, a, "was opened for K-2")
	workplacetest.Must(t, s.All("QQ-77-Q"), "QQ-77-Q: what is it?")
	s.Do("take-as", "value", "")
	s.Do("lot", "lot", "QQ-78-Q")
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	if a = s.Do("seals-none"); strings.Contains(workplacetest.Tells(a), "QQ-7") {
		t.Errorf("asked about later: %s", workplacetest.Tells(a))
	}
	workplacetest.Must(t, s.All("QQ-77-Q"), "QQ-77-Q: is that the lot of the bag?")
}
