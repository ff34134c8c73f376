//go:build !race

package loads_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestLentSet: a set that a supplier lends is recorded as it arrives and as it goes by one scan and Enter where nothing is wrong. What it
// lacked when it arrived is asked about at its packing; what it lacks when it goes, and was counted in its case, is told at once.
func TestLentSet(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/ledger", events.KindSetEntered, "", &events.SetEntered{Set: "LOAN-7", List: "VAS-MINOR", Owner: "Halden Loans",
		Held: events.Held{Until: h.Clock().Add(96 * time.Hour).Format(time.RFC3339)}})
	h.Record("north/ledger", events.KindSetEntered, "", &events.SetEntered{Set: "LOAN-8", List: "VAS-MINOR", Owner: "Halden Loans"})
	scan, do := h.Sender("return")
	last := func(set string) *events.SetReturned {
		t.Helper()
		all := h.Events(site.Query{Set: set}, events.KindSetReturned)
		return all[len(all)-1].(*events.SetReturned)
	}
	says := func(a map[string]any, status, words string) {
		t.Helper()
		if a["status"] != status || !strings.Contains(fmt.Sprint(a["words"], a["more"]), words) {
			t.Errorf("%q is not said: %v", words, a)
		}
	}
	do("step", `{"value":"arrived"}`)
	scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
	says(scan(workplacetest.Label(t, events.ScanTag, "LOAN-8")), "whole", "LOAN-8 arrived on loan, counted by its inventory")
	says(scan(""), "whole", "LOAN-8 arrived on loan.")
	if d := last("LOAN-8"); d.Supplier != "Halden Loans" || d.List != "VAS-MINOR" || d.Due != "" || len(d.Exceptions) > 0 {
		t.Errorf("recorded: %+v", d)
	}
	says(scan(workplacetest.Label(t, events.ScanTag, "VAS-O03")), "doubtful", "VAS-O03 is new here, and VAS-003 looks like it")
	scan(workplacetest.Label(t, events.ScanTag, "LOAN-7"))
	says(do("odd", `{"line":"77","counted":"1"}`), "broken", "Give a line of the inventory")
	do("odd", `{"line":"2","counted":"5"}`)
	says(do("odd", `{"line":"2","counted":"1"}`), "doubtful", "1 counted, 2 listed")
	says(scan(""), "doubtful", "the supplier is told before the set is used")
	short := []events.Exception{{Line: 2, Counted: 1, Reason: events.ReasonMissing}}
	if d := last("LOAN-7"); d.Due == "" || !slices.Equal(d.Exceptions, short) {
		t.Errorf("recorded: %+v", d)
	}
	// Who packs it is asked to count its lines.
	p := h.Packer("LOAN-7")
	says(p.Do("list", "list", "VAS-MINOR"), "doubtful", "1 instead of 2 when it arrived from its supplier")

	// What goes by its inventory is one scan and Enter, too.
	do("step", `{"value":"handed-back"}`)
	scan(workplacetest.Label(t, events.ScanTag, "LOAN-8"))
	scan("")
	if d := last("LOAN-8"); d.Step != events.ReturnHanded || len(d.Exceptions) > 0 {
		t.Errorf("recorded: %+v", d)
	}
	h.Used("K-77", "VAS-003")
	scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	do("odd", `{"line":"1","counted":"3"}`)
	says(scan(""), "doubtful", "not go as its inventory has it")
	v := h.Verdict("VAS-003", h.Trip("VAS-003"))
	if !slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
		return f.Code == projections.CameBackShort && f.Way == "handed-back"
	}) {
		t.Errorf("found of it: %+v", v.Findings)
	}
}

// TestLentThingsWrong: a set that comes or goes twice, goes without having come, goes while its case is open, or is counted by another
// inventory than when it came, is told of; how many go of a line that came short is asked, since Enter would say that all do. The
// inventory is on the page, and what came and went is printed for the supplier, without the case.
func TestLentThingsWrong(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Record("north/ledger", events.KindSetEntered, "", &events.SetEntered{Set: "LOAN-7", List: "VAS-MINOR", Owner: "Halden Loans"})
	scan, do := h.Sender("return")
	tag := func(set string) map[string]any { return scan(workplacetest.Label(t, events.ScanTag, set)) }
	last := func() *events.SetReturned {
		t.Helper()
		all := h.Events(site.Query{Set: "LOAN-7"}, events.KindSetReturned)
		return all[len(all)-1].(*events.SetReturned)
	}
	scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
	do("step", `{"value":"arrived"}`)
	a := tag("LOAN-7")
	workplacetest.Must(t, a, "whole")
	if bench := fmt.Sprint(a["bench"]); !strings.Contains(bench, "Clamp, vascular, angled, 22 cm") ||
		strings.Contains(bench, "On arrival") {
		t.Errorf("the inventory is not shown: %s", bench)
	}
	do("odd", `{"line":"2","counted":"1"}`)
	workplacetest.Must(t, scan(""), "doubtful", "LOAN-7 arrived on loan")
	workplacetest.Must(t, tag("LOAN-7"), "doubtful", "it arrived already", "is not handed back")
	do("clear", "{}")

	do("step", `{"value":"handed-back"}`)
	a = tag("LOAN-7")
	workplacetest.Must(t, a, "open", "with line 2 (Clamp, vascular, angled, 22 cm): 1 counted, 2 listed. How many go?")
	if bench := fmt.Sprint(a["bench"]); !strings.Contains(bench, "On arrival") {
		t.Errorf("how many came is not shown: %s", bench)
	}
	size := h.Size()
	if scan(""); h.Size() != size {
		t.Fatal("Enter says how many go")
	}
	do("as-arrived", `{"value":"2026-03-04T00:00:00Z"}`) // of another question
	if scan(""); h.Size() != size {
		t.Fatal("another answer says how many go")
	}
	workplacetest.Must(t, do("as-arrived", `{"value":"`+workplacetest.Answer(a).Choice("as-arrived")["value"]+`"}`), "whole",
		"it was not packed since it came")
	do("odd", `{"line":"3","counted":"2"}`)
	workplacetest.Must(t, scan(""), "doubtful", "LOAN-7 handed back")
	want := []events.Exception{{Line: 2, Counted: 1, Reason: events.ReasonMissing}, {Line: 3, Counted: 2, Reason: events.ReasonMissing}}
	if d := last(); !slices.Equal(d.Exceptions, want) {
		t.Errorf("recorded: %+v", d)
	}
	tag("LOAN-7")
	do("odd", `{"line":"2","counted":"1"}`) // that it is said is enough
	workplacetest.Must(t, do("odd", `{"line":"3","counted":"2"}`), "doubtful", "it was handed back already")
	do("clear", "{}")
	text := workplacetest.PDFText(t, []byte(h.Get("/print/loan.pdf?set=LOAN-7")))
	for _, says := range []string{"Set on loan LOAN-7", "Halden Loans", "2 Clamp, vascular, angled, 22 cm VAS-002 2 1 1",
		"3 Probe, olive tip, 14 cm VAS-003 3 3 2"} {
		if !strings.Contains(text, says) {
			t.Errorf("%q is not printed: %s", says, text)
		}
	}

	h.Open("VAS-003", "K-77")
	workplacetest.Must(t, tag("VAS-003"), "doubtful", "Case K-77 is not closed", "no arrival on loan is recorded")
	do("clear", "{}")
	h.Reissued(2)
	do("step", `{"value":"handed-back"}`)
	workplacetest.Must(t, tag("LOAN-7"), "doubtful", "when it came it was counted by version 1 of VAS-MINOR")
}
