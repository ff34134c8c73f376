//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestNumberChoosesNoStepUnasked: a number at a set that lies ready is no step of the sets after it.
func TestNumberChoosesNoStepUnasked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-1", "VAS-003")
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-004"))
	if a := s.Scan("1"); !strings.Contains(fmt.Sprint(a["words"]), "VAS-004 is packed and not opened") {
		t.Errorf("not asked on: %v", a["words"])
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")); !strings.Contains(fmt.Sprint(a["words"]), "which step is this?") {
		t.Errorf("a step was chosen: %v", a["words"])
	}
	workplacetest.Must(t, s.Scan("2"), "whole", "VAS-003 received")
}

// TestBackFromARunningCase: no step of the way back is in order for a set of a case that is not closed, nor for one that was
// washed elsewhere a moment ago.
func TestBackFromARunningCase(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-1", "VAS-003")
	h.Open("VAS-004", "K-2")
	h.After(time.Hour)
	room, store := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}, &workplacetest.Scanner{House: h,
		Path: "/at/north/storage/return"}
	s := room
	for n, step := range []string{"received", "washed", "inspected"} {
		s.Do("step", "value", step)
		s.All(workplacetest.Label(t, events.ScanBadge, fmt.Sprint("B-", n)), workplacetest.Label(t, events.ScanTag, "VAS-004"))
		a := s.Do("no-load")
		for range 2 { // before Enter, and after it
			if a["status"] != "doubtful" || !strings.Contains(fmt.Sprint(a["more"]), "Case K-2 is not closed") {
				t.Errorf("%s: %v %v, %v", step, a["status"], a["words"], a["more"])
			}
			a = s.Scan("")
		}
		h.After(10 * time.Minute)
	}
	for i, s := range []*workplacetest.Scanner{room, store} {
		s.Do("step", "value", "washed")
		s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
		s.Do("no-load")
		if a := s.Scan(""); (a["status"] == "whole") != (i == 0) || !strings.Contains(fmt.Sprint(a["words"]), "VAS-003 washed.") {
			t.Errorf("washed at %s: %v %v", s.Path, a["status"], a["words"])
		}
	}
}

// TestItemOfTheSetInHand: twins have the same items. An item's code goes to the set that is counted, never to one whose line
// is counted already.
func TestItemOfTheSetInHand(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005")
	for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
		h.Open(set, "K-1")
	}
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	line := func(a map[string]any) string {
		l, _ := a["line"].(map[string]any)
		return fmt.Sprint(l["set"], " ", l["line"])
	}
	item := func(hand string) map[string]any {
		h.After(3 * time.Second)
		return c.Post("scan", fmt.Sprintf(`"text":"INS-001","hand":%q`, hand))
	}
	c.Lines("VAS-003", 4, 2, 3)
	if got := line(item("VAS-004")); got != "VAS-004 1" {
		t.Errorf("with VAS-004 in hand: %s", got)
	}
	if got := line(item("VAS-003")); got != "VAS-003 1" {
		t.Errorf("with VAS-003 in hand: %s", got)
	}
	a := item("")
	if a["line"] != nil || !strings.Contains(fmt.Sprint(a["words"]), "INS-001 is in several sets (VAS-004, VAS-005)") {
		t.Errorf("two sets are left: %v %v", line(a), a["words"])
	}
	c.Lines("VAS-004", 4)
	if got := line(item("")); got != "VAS-005 1" {
		t.Errorf("one set is left: %s", got)
	}
}

// TestHiddenNumberIsTyped: where policy hides what is expected, Enter is not offered as an answer.
func TestHiddenNumberIsTyped(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	page := h.Get("/at/north/or-3/count?case=K-1")
	if !strings.Contains(page, "Then Enter, or the number.") {
		t.Error("Enter is not offered")
	}
	h.ChangesPolicy(func(p *events.Policy) { p.HideExpected = true })
	page = h.Get("/at/north/or-3/count?case=K-1")
	if !strings.Contains(page, "Then the number.") || strings.Contains(page, "Then Enter") {
		t.Error("Enter is offered where it is refused")
	}
}

// TestPieceInTheOtherLanguage: what became of a piece is told wholly in the language of who looks.
func TestPieceInTheOtherLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"), "1", "4")
	s.Scan("")
	for range 2 { // as it is recorded, and as it was taken back
		page := h.Get(s.Path + "?lang=de")
		half := strings.Contains(page, "line 1 (") || strings.Contains(page, ": missed")
		if half || !strings.Contains(page, "VAS-003, 1 von Zeile 1 (Forceps") {
			t.Errorf("half in English: %s", page)
		}
		h.Get(s.Path + "?lang=en")
		s.Do("take-back")
		s.Do("take-back", "value", "not-done")
	}
}

// TestReasonOnlyWhereSomethingIsOpen: why a case is closed with a piece missing is not recorded where none is, after all.
func TestReasonOnlyWhereSomethingIsOpen(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing} {
		h.Signs("K-1", "VAS-003", stage)
	}
	h.Counts("K-1", "VAS-003", events.StageFinal, 4, 2, 2)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Do("action", "action", "surgeon-told")
	s.Do("reason", "reason", "looked for it")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	h.Signs("K-1", "VAS-003", events.StageFinal)
	s.Scan("")
	got := h.Events(site.Query{Case: "K-1"}, events.KindCaseClosed)
	if len(got) != 1 {
		t.Fatalf("closed %d times", len(got))
	}
	if d := got[0].(*events.CaseClosed); d.Outcome != "reconciled" || d.Reason != "" || len(d.Actions) != 0 {
		t.Errorf("recorded %+v", d)
	}
}
