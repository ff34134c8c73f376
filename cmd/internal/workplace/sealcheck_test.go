//go:build !race

package workplace_test

import (
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
