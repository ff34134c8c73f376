//go:build !race

package counts_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestDamagedTellsOfNoMissingPiece: a piece that is damaged is packed short, and says nothing of another one that is missing;
// green is only a packing that says which one.
func TestDamagedTellsOfNoMissingPiece(t *testing.T) {
	for name, c := range map[string]struct {
		report bool // says that a piece of line 1 is missed; else it is said that one is, and not which
		inputs []string
		status string
	}{
		"none short":             {false, []string{"4", "2", "3"}, "doubtful"},
		"another damaged":        {false, []string{"4", "1", "3", "3"}, "doubtful"},
		"one missing":            {false, []string{"3", "1", "2", "3"}, "whole"},
		"known, another missing": {true, []string{"4", "1", "1", "3"}, "doubtful"},
		"known, and short":       {true, []string{"3", "1", "2", "3"}, "whole"},
		"known, both short":      {true, []string{"3", "1", "1", "3", "3"}, "whole"},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Open("VAS-003", "K-1")
			h.CountedRight("K-1")
			h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
			if c.report {
				h.Record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Line: 1,
					Became: events.BecameLost, Quantity: 1})
			} else {
				h.Record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
					Faults: []events.ReturnFault{events.ReturnIncomplete}})
			}
			s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9"))
			s.Do("lacks", "value", workplacetest.ChoiceOf(s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "Count each line"))
			var a map[string]any
			for _, text := range append(c.inputs, "8.4") {
				h.After(3 * time.Second)
				a = s.Scan(text)
			}
			workplacetest.Must(t, a, c.status, "Enter records")
			h.After(3 * time.Second)
			a = s.Scan("")
			workplacetest.Must(t, a, "VAS-003 packed")
			if untold := strings.Contains(workplacetest.Tells(a), "said to be missing"); untold != (c.status == "doubtful") {
				t.Errorf("packed: %s", workplacetest.Tells(a))
			}
		})
	}
}

// TestEntersThatOpenedCountNothing: Enter once more, after it recorded an opening and led to the count, counts no line: that
// is asked first. It is answered by a press or by the set's label, and then Enter counts. A case that is scanned or typed
// leads there no otherwise; a set's label does.
func TestEntersThatOpenedCountNothing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	asked := func() {
		t.Helper()
		p.Await(`location.pathname.endsWith("/count") && document.querySelector("tr.now")`)
		p.AwaitText("#verdict .choices", "Begin: First count")
		for range 3 {
			p.Type("\r")
			p.Await(`document.body.dataset.sound === "low"`)
		}
		if n := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1")["done"]; n != float64(0) {
			t.Fatalf("%v lines are counted by Enter, and nobody said that it begins", n)
		}
	}
	o := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t,
		events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"),
		workplacetest.Label(t, events.ScanOuter, "VAS-003"), h.Codes["VAS-003"], "1"} {
		h.After(3 * time.Second)
		o.Scan(text)
	}
	p.Open(h.At("opening"))
	p.AwaitText("#verdict", "Enter records")
	p.Type("\r")
	p.AwaitText("#bench", "Count K-1")
	p.Type("\r")
	asked()
	p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
	p.AwaitText("#verdict", "VAS-003")
	p.Await(`!document.querySelector("#verdict .choices button")`)
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3")

	(&workplacetest.Counter{House: h, Ref: "K-1", Stage: "first", Number: 500}).Interrupt()
	for _, text := range []string{workplacetest.Label(t, events.ScanCase, "K-1"), "K-1"} {
		p.Open(h.At("count"))
		p.Type(text + "\r")
		asked()
	}
	p.Click(`#verdict [data-do="count-on"]`)
	p.Await(`!document.querySelector("#verdict .choices button")`)
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3")

	p.Open(h.At("count"))
	p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
	p.Await(`document.querySelector("tr.now") && !document.body.dataset.early`)
	p.Press("\r")
	p.AwaitText("#sum", "2 of 3")
}

// TestEntersAfterTheSetCountNothing: Enter pressed again and again after a set's label was scanned, while the count is on its way,
// counts none of its lines; after a pause it does.
func TestEntersAfterTheSetCountNothing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Before(`const later = window.setTimeout;
window.setTimeout = (f, ms, ...rest) => ms === 1000 ? (window.paused = f, 1) : later(f, ms, ...rest);`)
	p.Open(h.At("count"))
	p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
	p.Await(`location.search && document.querySelector("tr.now")`)
	for range 4 {
		p.Press("\r")
		p.Await(`document.body.dataset.sound === "low"`)
	}
	if n := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1")["done"]; n != float64(0) {
		t.Fatalf("%v lines are counted, and nobody looked at one", n)
	}
	p.Await(`(window.paused(), true)`)
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3")
}

// TestShortThenPassedOff: a piece that a final count finds short and that is then said to have left the field makes the
// count come out in amber, at every screen, where it is signed and where the case is closed; the set keeps a note of it. What
// was said to have left before its line was counted is told, too, and stops nobody.
func TestShortThenPassedOff(t *testing.T) {
	for _, short := range []bool{true, false} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.ChangesPolicy(func(p *events.Policy) { p.Stages = []events.Stage{events.StageFirst, events.StageFinal} })
		h.Open("VAS-003", "K-1")
		h.Signs("K-1", "VAS-003", events.StageFirst)
		h.After(time.Hour)
		c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
		c.Do("begin")
		c.Lines("VAS-003", 4, 2)
		left := "1 × Probe, olive tip, 14 cm of VAS-003 passed off"
		status, said := "whole", left+" (Final count, B-1): sent away"
		say := func() map[string]any {
			return c.Do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "sent away")
		}
		if short {
			workplacetest.Must(t, c.Post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":2}]`), "doubtful",
				"1 × Probe, olive tip, 14 cm short")
			status, said = "doubtful", left+", said after a count had found it short (Final count, B-1): sent away"
			workplacetest.Must(t, say(), "doubtful", "found it short", "sent away", "All counted")
			say() // once more, when it comes out
		} else {
			say()
			c.Post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":2}]`)
		}
		warn := fmt.Sprint(workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")["warn"])
		if strings.Contains(warn, left) != short {
			t.Errorf("short %v: other screens are warned of %s", short, warn)
		}
		c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(3 * time.Second)
		workplacetest.Must(t, c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), status, "Final count recorded", said)
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
		asks := map[bool]string{true: "doubtful", false: "open"}[short]
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), asks, "come out", said)
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(3 * time.Second)
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), status, "Case K-1 closed", said)
		h.After(3 * time.Second)
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), status, "closed", said)
		v := h.Verdict("VAS-003", h.Trips["VAS-003"])
		noted := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			_, passed := f.Detail.(*projections.PassedOff)
			return passed && f.Severity == projections.SeverityNoted
		})
		if noted != short {
			t.Errorf("short %v: %+v", short, v.Findings)
		}
	}
}
