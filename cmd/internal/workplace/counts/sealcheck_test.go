//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestOtherSheetAtTheCheck: a sheet that is scanned to check the print and is another set's is STOP until somebody says
// where it lay, and brings that set into doubt.
func TestOtherSheetAtTheCheck(t *testing.T) {
	for name, waits := range map[string]bool{"at once": false, "before the next set": true} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
			h.Used("K-1", "VAS-003")
			h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
				events.ScanTag, "VAS-003"), "3", ""), "VAS-003 closed")
			code := h.Last().Data.(*events.ListSealed).Code
			if waits {
				workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-005")),
					"VAS-003: first scan the count sheet that was printed")
			}
			size := h.Size()
			stop := "This is the count sheet of VAS-004"
			a := s.All(h.Codes["VAS-004"])
			for _, text := range []string{"", workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t,
				events.ScanTag, "VAS-006"), "7", code,
				workplacetest.Label(t, events.ScanSeal, "771001")} {
				workplacetest.Must(t, s.All(text), "broken", stop, "Where was the count sheet that lay with VAS-003?")
			}
			for _, action := range []string{"clear", "leave", "record", "enter"} {
				workplacetest.Must(t, s.Do(action), "broken", stop)
			}
			workplacetest.Must(t, s.Do("unscanned", "value", "gone"), "broken", stop)
			h.After(5 * time.Hour)
			workplacetest.Must(t, s.All(""), "broken", stop)
			if h.Size() != size {
				t.Fatalf("recorded, and nobody said where it lay: %+v", h.Last().Data)
			}
			s.All(workplacetest.Label(t, events.ScanBadge, "B-2"))
			workplacetest.Must(t, s.Do("sheet-lay", "value", workplacetest.ChoiceOf(a, "outside")), "broken",
				"The count sheet that lay with VAS-003 is recorded")
			d, ok := h.Last().Data.(*events.SetChecked)
			if !ok || h.Size() != size+1 || d.Sheet.Code != h.Codes["VAS-004"] || d.Sheet.Found != "outside" || h.Last().Operator != "B-2" {
				t.Fatalf("recorded %+v", h.Last())
			}
			if v := h.Verdict("VAS-004", h.Trip("VAS-004")); v.Status == "open" {
				t.Error("the other set is unsuspected")
			}
			if s.Do("undo"); h.Size() != size+1 {
				t.Errorf("recorded twice: %+v", h.Last().Data)
			}
			a = s.All(h.Codes["VAS-004"]) // and read once more, by mistake
			workplacetest.Must(t, s.Do("sheet-none", "value", workplacetest.ChoiceOf(a, "does not lie here")), "open")
			if workplacetest.Must(t, s.All(code), "This count sheet belongs to VAS-003"); h.Size() != size+1 {
				t.Errorf("recorded: %+v", h.Last().Data)
			}
		})
	}
}

// TestWrongSheetBeforeTheCount: people scan the sheet first, to say what they count by. A wrong one is STOP and is told
// before the count begins; what has no meaning yet is answered with a word.
func TestWrongSheetBeforeTheCount(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Signs("K-1", "VAS-003", events.StageFirst)
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
	workplacetest.Must(t, c.Scan("P47110815"), "Begin: Final count", "Final count is not begun")
	workplacetest.Must(t, c.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004")), "Begin: Final count",
		"VAS-004 was not opened for case K-1")
	workplacetest.Must(t, c.Scan(h.Codes["VAS-003"]), "Begin: Final count", "This count sheet belongs to VAS-003")
	size := h.Size()
	workplacetest.Must(t, c.Scan(h.Codes["VAS-004"]), "broken", "count sheet of VAS-004",
		"Where was the count sheet that lay with VAS-003?")
	for _, text := range []string{"", workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t,
		events.ScanBadge, "B-1"), h.Codes["VAS-003"]} {
		h.After(3 * time.Second)
		workplacetest.Must(t, c.Scan(text), "broken", "Where was the count sheet that lay with VAS-003?")
	}
	workplacetest.Must(t, c.Do("begin"), "broken", "Where was the count sheet that lay with VAS-003?")
	page := h.Get("/at/north/or-3/count?case=K-1&stage=final")
	if !strings.Contains(page, "Where was the count sheet that lay with VAS-003?") {
		t.Error("the page says nothing of it")
	}
	if h.Size() != size {
		t.Fatalf("recorded, and nobody said where it lay: %+v", h.Last().Data)
	}
	workplacetest.Must(t, c.Do("sheet-lay", "value", workplacetest.ChoiceOf(c.Scan(""), "outside")), "broken",
		"The count sheet that lay with VAS-003 is recorded")
	if v := h.Verdict("VAS-004", h.Trip("VAS-004")); h.Size() != size+1 || v.Status == "open" {
		t.Error("the other set is unsuspected")
	}
	c.Do("begin")
	workplacetest.Must(t, c.Lines("VAS-003", 4), "Count aloud together")
}

// TestWrongSheetOnEachScreen: a wrong sheet that was read at the count, and of which nobody has said where it lay, stands on
// other screens and after a reload, comes before who signs, and is open where the case is closed.
func TestWrongSheetOnEachScreen(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing} {
		h.Signs("K-1", "VAS-003", stage)
	}
	h.After(time.Minute)
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
	c.Do("begin")
	c.Lines("VAS-003", 4, 2, 3)
	workplacetest.Must(t, c.Scan(h.Codes["VAS-004"]), "broken", "count sheet of VAS-004")
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	where, told := "Where was the count sheet that lay with VAS-003?", "a wrong count sheet was read"
	st := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
	if st["ask"] != where || !strings.Contains(fmt.Sprint(st["warn"]), told) {
		t.Errorf("another screen says %v, and warns of %v", st["ask"], st["warn"])
	}
	page := h.Get("/at/north/or-3/count?case=K-1&stage=final")
	if !strings.Contains(page, where) || !strings.Contains(page, "sheet-lay") {
		t.Error("after a reload it is not asked")
	}
	workplacetest.Must(t, c.Scan(""), "broken", where)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "broken", told)
	c.Do("sheet-lay", "value", workplacetest.ChoiceOf(c.Scan(""), "outside"))
	h.After(3 * time.Second)
	workplacetest.Must(t, c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "recorded")
	if a := s.Scan(""); strings.Contains(workplacetest.Tells(a), told) {
		t.Errorf("it is told after all: %s", workplacetest.Tells(a))
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
			h := workplacetest.NewHouse(t, "VAS-004")
			h.Used("K-1", "VAS-004")
			h.Record("north/packing-1", events.KindSetPacked, "VAS-004", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.Record("north/packing-1", events.KindListSealed, "VAS-004",
				&events.ListSealed{Placement: events.Outside, Seals: []string{"483924"}})
			h.Record("north/storage", events.KindSetChecked, "VAS-004", seen)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
			a := s.All(workplacetest.Label(t, events.ScanTag, "VAS-004"))
			workplacetest.Must(t, a, "broken")
			if workplacetest.Answer(a).Choice("put")["value"] == "" {
				t.Fatalf("it is not asked: %s", workplacetest.Tells(a))
			}
			workplacetest.Must(t, s.Do("start"), "Start load S1-0304-07 with no set in it?")
			workplacetest.Must(t, s.Do("put", "value", "VAS-004"), "broken", "VAS-004 in load S1-0304-07")
		})
	}
}
