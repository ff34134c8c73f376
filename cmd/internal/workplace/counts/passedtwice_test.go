//go:build !race

package counts_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// finalOf begins the final count of VAS-003, opened for a case.
func finalOf(t *testing.T) (*workplacetest.House, *workplacetest.Counter) {
	t.Helper()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.Stages = []events.Stage{events.StageFirst, events.StageFinal} })
	h.Open("VAS-003", "K-1")
	h.Signs("K-1", "VAS-003", events.StageFirst)
	h.After(time.Hour)
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
	k.Do("begin")
	return h, k
}

// TestPassedOffTwice: a second piece of a line that left the field is not taken for the first one said anew: that is asked. Beside it,
// both count, each with its reason; instead, one; and none more than there can be.
func TestPassedOffTwice(t *testing.T) {
	for name, c := range map[string]struct {
		answer  string
		lines   int
		removed []events.Removed
	}{
		"beside": {"1 more, 2 altogether", 2, []events.Removed{{Line: 1, Quantity: 1, Reason: "to pathology"},
			{Line: 1, Quantity: 1, Reason: "stays in situ"}}},
		"instead": {"1 instead", 3, []events.Removed{{Line: 1, Quantity: 1, Reason: "stays in situ"}}},
		"not":     {"", 3, []events.Removed{{Line: 1, Quantity: 1, Reason: "to pathology"}}},
	} {
		h, k := finalOf(t)
		off := func(n, why string) map[string]any {
			return k.Do("removed", "set", "VAS-003", "line", "1", "quantity", n, "reason", why)
		}
		off("1", "to pathology")
		a := off("1", "stays in situ")
		workplacetest.Must(t, a, "1 passed off already", "to pathology")
		if c.answer != "" {
			k.Do("removed", "value", answerOf(t, a, c.answer))
			k.Number-- // the answer to that was lost
			k.Do("removed", "value", answerOf(t, a, c.answer))
		}
		if c.answer == "1 more, 2 altogether" { // a double tap adds no third one
			workplacetest.Must(t, k.Do("removed", "value", answerOf(t, a, c.answer)), "2 passed off already")
		}
		if big := off("4", "lost count"); workplacetest.ChoiceOf(big, "altogether") != "" {
			t.Errorf("%s: offers more than there are: %v", name, big["choices"])
		}
		k.Lines("VAS-003", c.lines, 2, 3)
		workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "whole", "Final count recorded")
		d := h.Last().Data.(*events.SetCounted)
		if len(d.Removed) != len(c.removed) {
			t.Fatalf("%s: recorded %+v", name, d.Removed)
		}
		for i, r := range c.removed {
			if d.Removed[i] != r {
				t.Errorf("%s: recorded %+v, want %+v", name, d.Removed[i], r)
			}
		}
	}
}

// TestPassedOffByThoseBefore: who is asked whether to count from the start is told what those before said has left the field, and
// by whom: it stays.
func TestPassedOffByThoseBefore(t *testing.T) {
	h, k := finalOf(t)
	k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	k.Do("removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", "to pathology")
	h.After(5 * time.Hour)
	workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-7")), "Does it still hold?",
		"passed off (Final count, B-1): to pathology")
}

// TestOnlyPassedOff: an added count in which only something is said to have left the field is complete: two badges sign it.
func TestOnlyPassedOff(t *testing.T) {
	h, _ := finalOf(t)
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "added", Number: 100}
	k.Do("begin")
	k.Do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "to pathology")
	workplacetest.Must(t, k.TwoBadges("B-7", "B-8"), "Added during the procedure recorded")
	if d, ok := h.Last().Data.(*events.SetCounted); !ok || len(d.Removed) != 1 {
		t.Errorf("recorded %+v", h.Last())
	}
}

// TestAstrayWhereClosed: that another case has over what this one is short of is told where the case is closed, too, and is
// no difference of its own.
func TestAstrayWhereClosed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.ChangesPolicy(func(p *events.Policy) { p.Stages = []events.Stage{events.StageFirst, events.StageFinal} })
	for set, ref := range map[string]string{"VAS-003": "K-1", "VAS-004": "K-2"} {
		h.Open(set, ref)
		h.Signs(ref, set, events.StageFirst)
	}
	h.Counts("K-2", "VAS-004", events.StageFinal, 5, 2, 3)
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
	k.Do("begin")
	k.Lines("VAS-003", 3, 2, 3)
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "broken", "Differences: 1", "over in VAS-004, case K-2")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	for ref, says := range map[string]string{"K-1": "over in VAS-004, case K-2", "K-2": "short in VAS-003, case K-1"} {
		h.After(3 * time.Second)
		if a := s.Scan(workplacetest.Label(t, events.ScanCase, ref)); !strings.Contains(workplacetest.Tells(a), says) ||
			!strings.Contains(workplacetest.Tells(a), "accounted for: 1") {
			t.Errorf("%s: %s", ref, workplacetest.Tells(a))
		}
		s.Do("clear")
	}
}

// TestPassedOffIsWork: who says that something left the field, or adds to the field, is at work on this count: a minute later nobody
// asks whether what was entered still holds.
func TestPassedOffIsWork(t *testing.T) {
	for name, does := range map[string][]string{
		"passed off": {"removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", "to pathology"},
		"goods":      {"goods", "value", "ND-CT1 1"},
		"a single":   {"single", "set", "VAS-003", "what", "Bulldog clamp", "quantity", "1"},
	} {
		h, k := finalOf(t)
		k.Lines("VAS-003", 3)
		h.After(30 * time.Minute)
		k.LeftAnew()
		h.After(30 * time.Minute) // nothing lies here any more that could have been left
		k.Do(does[0], does[1:]...)
		h.After(time.Minute)
		if a := workplacetest.Answer(k.Lines("VAS-003", 3)); a.AsksLeft() {
			t.Errorf("%s: %v", name, a["words"])
		}
	}
}
