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
