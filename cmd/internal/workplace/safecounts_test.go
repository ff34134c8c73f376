//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
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
			h := newHouse(t, "VAS-003")
			h.open("VAS-003", "K-1")
			h.countedRight("K-1")
			h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
			if c.report {
				h.record("north/storage", events.KindPieceReported, "VAS-003", &events.PieceReported{Line: 1, Became: events.BecameLost, Quantity: 1})
			} else {
				h.record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
					Faults: []events.ReturnFault{events.ReturnIncomplete}})
			}
			s := &scanner{h: h, path: "/at/north/packing-1/packing"}
			s.scan(label(t, events.ScanBadge, "B-9"))
			s.do("lacks", "value", choiceOf(s.scan(label(t, events.ScanTag, "VAS-003")), "Count each line"))
			var a map[string]any
			for _, text := range append(c.inputs, "8.4") {
				h.after(3 * time.Second)
				a = s.scan(text)
			}
			must(t, a, c.status, "Enter records")
			h.after(3 * time.Second)
			a = s.scan("")
			must(t, a, "VAS-003 packed")
			if untold := strings.Contains(tells(a), "said to be missing"); untold != (c.status == "doubtful") {
				t.Errorf("packed: %s", tells(a))
			}
		})
	}
}

// TestEntersThatOpenedCountNothing: Enter once more, after it recorded an opening and led to the count, counts no line: that
// is asked first. It is answered by a press or by the set's label, and then Enter counts. A case that is scanned or typed
// leads there no otherwise; a set's label does.
func TestEntersThatOpenedCountNothing(t *testing.T) {
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, tablet)
	asked := func() {
		t.Helper()
		p.Await(`location.pathname.endsWith("/count") && document.querySelector("tr.now")`)
		p.AwaitText("#verdict .choices", "Begin: First count")
		for range 3 {
			p.Type("\r")
			p.Await(`document.body.dataset.sound === "low"`)
		}
		if n := getJSON(h, "/at/north/or-3/count/state?case=K-1")["done"]; n != float64(0) {
			t.Fatalf("%v lines are counted by Enter, and nobody said that it begins", n)
		}
	}
	o := &scanner{h: h, path: "/at/north/or-3/opening"}
	for _, text := range []string{label(t, events.ScanBadge, "B-2"), label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "VAS-003"),
		label(t, events.ScanOuter, "VAS-003"), h.codes["VAS-003"], "1"} {
		h.after(3 * time.Second)
		o.scan(text)
	}
	p.Open(h.at("opening"))
	p.AwaitText("#verdict", "Enter records")
	p.Type("\r")
	p.AwaitText("#bench", "Count K-1")
	p.Type("\r")
	asked()
	p.Type(label(t, events.ScanTag, "VAS-003") + "\r")
	p.AwaitText("#verdict", "VAS-003")
	p.Await(`!document.querySelector("#verdict .choices button")`)
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3")

	(&counter{h: h, ref: "K-1", stage: "first", n: 500}).interrupt()
	for _, text := range []string{label(t, events.ScanCase, "K-1"), "K-1"} {
		p.Open(h.at("count"))
		p.Type(text + "\r")
		asked()
	}
	p.Click(`#verdict [data-do="count-on"]`)
	p.Await(`!document.querySelector("#verdict .choices button")`)
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3")

	p.Open(h.at("count"))
	p.Type(label(t, events.ScanTag, "VAS-003") + "\r")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r")
	p.AwaitText("#sum", "2 of 3")
}
