//go:build !race

package loads_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestRefusedNumberIsNoStep: “back” takes back what was taken last, and not a number that was refused, or that answered
// nothing: that changed nothing which anybody could see go.
func TestRefusedNumberIsNoStep(t *testing.T) {
	for name, c := range map[string]struct {
		became, typed, says string
	}{
		"more than listed":    {"5", "9", "9 pieces, but the list says 4"},
		"answers no question": {"1", "1", "Was it opened for that?"},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
			s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"), "1", c.became)
			workplacetest.Must(t, s.All(c.typed), c.says)
			workplacetest.Must(t, s.Do("undo"), "VAS-003, line 1 (", "): what became of it?")
		})
	}
}

// TestEmptyIndicatorForm: a form in which nothing was entered leaves nothing lying, and is nothing to take back.
func TestEmptyIndicatorForm(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	s.Load("7", "passed", "VAS-003")
	empty := func() {
		t.Helper()
		s.All(workplacetest.Label(t, events.ScanLoad, "S1-0304-07"))
		workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-07", "lot", "", "control", "", "incubated", "", "result", ""),
			"Biological indicator of S1-0304-07: what does it show?")
	}
	empty()
	if a := s.Do("undo"); strings.Contains(workplacetest.Tells(a), "what does it show?") {
		t.Errorf("the empty form was taken back, and not the label before it: %s", workplacetest.Tells(a))
	}
	empty()
	h.After(25 * time.Minute)
	workplacetest.Must(t, workplacetest.JSON(h, s.Path+"/state?lang=en"), "Biological indicator of S1-0304-07: what does it show?")
	// What was entered is asked about, as ever, and a form that is emptied again says nothing any more.
	s.Do("indicator", "load", "S1-0304-07", "lot", "L-7")
	h.After(25 * time.Minute)
	a := workplacetest.JSON(h, s.Path+"/state?lang=en")
	workplacetest.Must(t, a, "S1-0304-07 was left at", "Does what stands here still hold?")
	s.Answer(a, "left-on")
	s.Do("indicator", "load", "S1-0304-07", "lot", "")
	h.After(25 * time.Minute)
	workplacetest.Must(t, workplacetest.JSON(h, s.Path+"/state?lang=en"), "Biological indicator of S1-0304-07: what does it show?")
}

// TestWasherLoadBeforeAnyBadge: a washer's load that was said before a badge was scanned is of whoever scans one first. The
// next person is asked, whether or not anything was recorded of it yet.
func TestWasherLoadBeforeAnyBadge(t *testing.T) {
	badge := func(id string) string { return workplacetest.Label(t, events.ScanBadge, id) }
	for name, next := range map[string]func(*workplacetest.Scanner) map[string]any{
		"another badge":   func(s *workplacetest.Scanner) map[string]any { return s.All(badge("B-2")) },
		"the next person": func(s *workplacetest.Scanner) map[string]any { s.Do("next-person"); return s.All(badge("B-2")) },
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Used("K-1", "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
			s.Do("step", "value", "washed")
			s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"))
			workplacetest.Must(t, s.Do("load", "washer", "W2", "run", "3"), "Scan your badge")
			workplacetest.Must(t, s.All(badge("B-1")), "Enter records: VAS-003 washed")
			workplacetest.Must(t, next(s), "VAS-003: was it in load W2-0304-03 too?")
			size := h.Size()
			if s.All(""); h.Size() != size {
				t.Fatal("recorded in a load that somebody else said")
			}
			s.Do("same-load", "value", "W2-0304-03")
			s.All("")
			got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
			if h.Size() != size+1 || got[len(got)-1].(*events.SetReturned).WasherLoad != "W2-0304-03" {
				t.Fatalf("recorded: %+v", h.Last())
			}
		})
	}
}
