//go:build !race

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestOtherSheetAtTheCheck: a sheet that is scanned to check the print and is another set's is STOP until somebody says
// where it lay, and brings that set into doubt.
func TestOtherSheetAtTheCheck(t *testing.T) {
	for name, waits := range map[string]bool{"at once": false, "before the next set": true} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003", "VAS-004")
			h.used("K-1", "VAS-003")
			h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
			must(t, s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), "3", ""), "VAS-003 closed")
			code := h.last().Data.(*events.ListSealed).Code
			if waits {
				must(t, s.all(label(t, events.ScanTag, "VAS-005")), "VAS-003: first scan the count sheet that was printed")
			}
			size := h.size()
			stop := "This is the count sheet of VAS-004"
			a := s.all(h.codes["VAS-004"])
			for _, text := range []string{"", label(t, events.ScanBadge, "B-2"), label(t, events.ScanTag, "VAS-006"), "7", code,
				label(t, events.ScanSeal, "771001")} {
				must(t, s.all(text), "broken", stop, "Where was the count sheet that lay with VAS-003?")
			}
			for _, action := range []string{"clear", "leave", "record", "enter"} {
				must(t, s.do(action), "broken", stop)
			}
			must(t, s.do("unscanned", "value", "gone"), "broken", stop)
			h.after(5 * time.Hour)
			must(t, s.all(""), "broken", stop)
			if h.size() != size {
				t.Fatalf("recorded, and nobody said where it lay: %+v", h.last().Data)
			}
			s.all(label(t, events.ScanBadge, "B-2"))
			must(t, s.do("sheet-lay", "value", choiceOf(a, "outside")), "broken", "The count sheet that lay with VAS-003 is recorded")
			d, ok := h.last().Data.(*events.SetChecked)
			if !ok || h.size() != size+1 || d.Sheet.Code != h.codes["VAS-004"] || d.Sheet.Found != "outside" || h.last().Operator != "B-2" {
				t.Fatalf("recorded %+v", h.last())
			}
			if v := h.verdict("VAS-004", h.trip("VAS-004")); v.Status == "open" {
				t.Error("the other set is unsuspected")
			}
			if s.do("undo"); h.size() != size+1 {
				t.Errorf("recorded twice: %+v", h.last().Data)
			}
			a = s.all(h.codes["VAS-004"]) // and read once more, by mistake
			must(t, s.do("sheet-none", "value", choiceOf(a, "does not lie here")), "open")
			if must(t, s.all(code), "This count sheet belongs to VAS-003"); h.size() != size+1 {
				t.Errorf("recorded: %+v", h.last().Data)
			}
		})
	}
}

// TestWrongSheetBeforeTheCount: people scan the sheet first, to say what they count by. A wrong one is STOP and is told
// before the count begins; what has no meaning yet is answered with a word.
func TestWrongSheetBeforeTheCount(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.signs("K-1", "VAS-003", events.StageFirst)
	c := &counter{h: h, ref: "K-1", stage: "final"}
	must(t, c.scan("P47110815"), "Begin: Final count", "Final count is not begun")
	must(t, c.scan(label(t, events.ScanTag, "VAS-004")), "Begin: Final count", "VAS-004 was not opened for case K-1")
	must(t, c.scan(h.codes["VAS-003"]), "Begin: Final count", "This count sheet belongs to VAS-003")
	size := h.size()
	must(t, c.scan(h.codes["VAS-004"]), "broken", "count sheet of VAS-004", "Where was the count sheet that lay with VAS-003?")
	for _, text := range []string{"", label(t, events.ScanTag, "VAS-003"), label(t, events.ScanBadge, "B-1"), h.codes["VAS-003"]} {
		h.after(3 * time.Second)
		must(t, c.scan(text), "broken", "Where was the count sheet that lay with VAS-003?")
	}
	must(t, c.do("begin"), "broken", "Where was the count sheet that lay with VAS-003?")
	page := h.get("/at/north/or-3/count?case=K-1&stage=final")
	if !strings.Contains(page, "Where was the count sheet that lay with VAS-003?") {
		t.Error("the page says nothing of it")
	}
	if h.size() != size {
		t.Fatalf("recorded, and nobody said where it lay: %+v", h.last().Data)
	}
	must(t, c.do("sheet-lay", "value", choiceOf(c.scan(""), "outside")), "broken", "The count sheet that lay with VAS-003 is recorded")
	if v := h.verdict("VAS-004", h.trip("VAS-004")); h.size() != size+1 || v.Status == "open" {
		t.Error("the other set is unsuspected")
	}
	c.do("begin")
	must(t, c.lines("VAS-003", 4), "Count aloud together")
}

// TestWrongSheetOnEachScreen: a wrong sheet that was read at the count, and of which nobody has said where it lay, stands on
// other screens and after a reload, comes before who signs, and is open where the case is closed.
func TestWrongSheetOnEachScreen(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing} {
		h.signs("K-1", "VAS-003", stage)
	}
	h.after(time.Minute)
	c := &counter{h: h, ref: "K-1", stage: "final"}
	c.do("begin")
	c.lines("VAS-003", 4, 2, 3)
	must(t, c.scan(h.codes["VAS-004"]), "broken", "count sheet of VAS-004")
	c.scan(label(t, events.ScanBadge, "B-1"))
	where, told := "Where was the count sheet that lay with VAS-003?", "a wrong count sheet was read"
	st := getJSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
	if st["ask"] != where || !strings.Contains(fmt.Sprint(st["warn"]), told) {
		t.Errorf("another screen says %v, and warns of %v", st["ask"], st["warn"])
	}
	page := h.get("/at/north/or-3/count?case=K-1&stage=final")
	if !strings.Contains(page, where) || !strings.Contains(page, "sheet-lay") {
		t.Error("after a reload it is not asked")
	}
	must(t, c.scan(""), "broken", where)
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "broken", told)
	c.do("sheet-lay", "value", choiceOf(c.scan(""), "outside"))
	h.after(3 * time.Second)
	must(t, c.scan(label(t, events.ScanBadge, "B-2")), "recorded")
	if a := s.scan(""); strings.Contains(tells(a), told) {
		t.Errorf("it is told after all: %s", tells(a))
	}
}

// TestNoStoppedSetIntoALoad: a set that lies aside, or whose lock is broken, is asked about before it is in a load.
func TestNoStoppedSetIntoALoad(t *testing.T) {
	for name, seen := range map[string]*events.SetChecked{
		"put aside":       {Tag: "VAS-004", Aside: events.AsidePut},
		"the lock broken": {Tag: "VAS-004", SealBroken: true},
		"another lock":    {Tag: "VAS-004", Seals: []string{"771001"}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-004")
			h.used("K-1", "VAS-004")
			h.record("north/packing-1", events.KindSetPacked, "VAS-004", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.record("north/packing-1", events.KindListSealed, "VAS-004",
				&events.ListSealed{Placement: events.Outside, Seals: []string{"483924"}})
			h.record("north/storage", events.KindSetChecked, "VAS-004", seen)
			s := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}
			s.scan(label(t, events.ScanBadge, "B-1"))
			s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
			a := s.all(label(t, events.ScanTag, "VAS-004"))
			must(t, a, "broken")
			if answer(a).choice("put")["value"] == "" {
				t.Fatalf("it is not asked: %s", tells(a))
			}
			must(t, s.do("start"), "Start load S1-0304-07 with no set in it?")
			must(t, s.do("put", "value", "VAS-004"), "broken", "VAS-004 in load S1-0304-07")
		})
	}
}
