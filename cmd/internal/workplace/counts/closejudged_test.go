//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestCloseKnowsWhatJudgementFinds: a case doesn't come out by its counts alone: what was added after the final count was not
// counted, and a set that was counted and not opened is another set. It comes out once that is put right.
func TestCloseKnowsWhatJudgementFinds(t *testing.T) {
	added := func(h *workplacetest.House) {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: events.StageAdded,
			Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 4, Counted: 1}},
			Beyond: []events.Beyond{{Line: 4, Description: "Bulldog clamp"}}})
	}
	for name, x := range map[string]struct {
		then  func(h *workplacetest.House, opening string)
		says  string
		right func(h *workplacetest.House)
	}{
		"added after the final count": {func(h *workplacetest.House, _ string) { added(h) }, "VAS-003", func(h *workplacetest.House) {
			h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: events.StageFinal,
				Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4},
					{Line: 2, Counted: 2},
					{Line: 3, Counted: 3}, {Line: 4, Counted: 1}}})
		}},
		"the opening taken back": {func(h *workplacetest.House, opening string) {
			h.Record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: opening, Action: "void",
				Reason: "another set"})
		}, "VAS-003", func(h *workplacetest.House) { h.Open("VAS-003", "K-1") }},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
			h.T = t
			h.Open("LAP-014", "K-1")
			h.Signs("K-1", "LAP-014", events.StageFirst)
			h.Signs("K-1", "LAP-014", events.StageFinal)
			opening := h.Record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-1",
				Tag: "VAS-003", Indicator: "pass"}).ID
			h.CountedRight("K-1")
			h.After(time.Minute)
			x.then(h, opening)
			before, after, closed := h.Closes("K-1")
			workplacetest.Must(t, before, "open", x.says)
			if closed || strings.Contains(fmt.Sprint(after["words"]), "closed,") {
				t.Fatalf("closed: %v", after)
			}
			h.After(time.Minute)
			x.right(h)
			if _, after, closed := h.Closes("K-1"); !closed {
				t.Errorf("not closed: %v", after)
			}
		})
	}
}

// TestCountKnowsWhatStoppedTheSet: a set that was put aside and is used nevertheless, or whose lock was not as recorded, is told at
// the count and where the case is closed.
func TestCountKnowsWhatStoppedTheSet(t *testing.T) {
	for name, d := range map[string]*events.SetOpened{
		"lock broken": {SealBroken: true, Seals: []string{"483923"}}, "another lock": {Seals: []string{"999999"}},
		"put aside": {Seals: []string{"483923"}},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.T = t
			if name == "put aside" {
				h.Record("north/storage", events.KindSetChecked, "VAS-003", &events.SetChecked{Tag: "VAS-003", Aside: events.AsidePut})
			}
			d.Case, d.Tag, d.Indicator, d.Sheet = "K-1", "VAS-003", "pass", &events.Reading{Found: "outside", Code: h.Codes["VAS-003"]}
			h.Record("north/or-3", events.KindSetOpened, "VAS-003", d)
			h.CountedRight("K-1")
			if v := h.Verdict("VAS-003", h.Trip("VAS-003")); v.Status == projections.Whole {
				t.Fatal("nothing is found")
			}
			s := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=final&lang=en")
			if !strings.Contains(fmt.Sprint(s["warn"]), "tell the surgeon") {
				t.Errorf("the count says %v", s["warn"])
			}
			if page := h.Get("/at/north/or-3/close?case=K-1"); !strings.Contains(page, "tell the surgeon") {
				t.Error("the close page says nothing")
			}
		})
	}
}

// TestCloseOfAnotherCase: a case that was only looked at goes with who looked at it; no badges of others close it, and the page of
// another case is that one's. Where something was said of the first, "begin anew" drops it with the case.
func TestCloseOfAnotherCase(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	h.CountedRight("K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	h.After(40 * time.Minute)
	size := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-7")), "Scan a set of the case")
	if workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-8")), "Scan a set of the case"); h.Size() != size {
		t.Fatal("closed, whoever looked at it before")
	}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "K-1 come out")
	h.After(40 * time.Minute)
	h.Open("LAP-014", "K-2")
	if page := h.Get(s.Path + "?case=K-2"); !strings.Contains(page, "K-2") || strings.Contains(page, "K-1") {
		t.Error("not the page of K-2")
	}
	workplacetest.Must(t, s.Do("reason", "reason", "the surgeon left"), "K-2")
	h.After(40 * time.Minute)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-7")), "left at", "the surgeon left")
	workplacetest.Must(t, s.Do("left-anew"), "Scan a set of the case")
}
