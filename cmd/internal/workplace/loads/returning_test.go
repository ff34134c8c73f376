//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestWayBack: who has said the step and the badge once records each set by one scan and
// Enter, and only what the page said.
func TestWayBack(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Used("K-0", "LAP-014", "LAP-022", "VAS-003")
	scan, do := h.Sender("return")
	tag := func(set string) string { return workplacetest.Label(t, events.ScanTag, set) }
	last := func(set string) *events.SetReturned {
		t.Helper()
		all := h.Events(site.Query{Set: set}, events.KindSetReturned)
		if len(all) == 0 {
			t.Fatalf("nothing is recorded of %s", set)
		}
		return all[len(all)-1].(*events.SetReturned)
	}
	says := func(a map[string]any, status, words string) {
		t.Helper()
		if a["status"] != status || !strings.Contains(fmt.Sprint(a["words"], a["more"]), words) {
			t.Errorf("%q is not said: %v", words, a)
		}
	}
	says(scan(tag("LAP-014")), "open", "LAP-014: which step is this?")
	a := scan("1")
	says(a, "open", "Scan your badge")
	// 29 CFR 1910.1030: containers of contaminated sharps are closable, puncture resistant, leakproof on sides and bottom, labeled or
	// color-coded, (d)(4)(iii)(A)(1), and closed immediately prior to removal, (A)(3); nobody reaches by hand into those of reusable
	// sharps, (d)(4)(ii)(E): read in 56 FR 64175 (6 December 1991). That (d)(2)(viii) asks the same of reusable sharps until they are
	// reprocessed is from memory, as is that (d)(2)(xiii) is about specimens. Kept moist: findings of practice, no regulation.
	for _, says := range []string{"closed, leakproof", "labeled or color-coded", "puncture-resistant", "reach into by hand"} {
		if !strings.Contains(strings.ReplaceAll(fmt.Sprint(a["bench"]), "&#39;", "'"), says) {
			t.Errorf("%q is not on the page of what leaves the room", says)
		}
	}
	says(scan(workplacetest.Label(t, events.ScanBadge, "B-3310")), "whole",
		"Enter records: LAP-014 left the room, treated at the point of use")
	says(scan(""), "whole", "LAP-014 left the room.")
	if d := last("LAP-014"); d.Step != events.ReturnLeft || d.Treated != "yes" {
		t.Errorf("recorded: %+v", d)
	}
	// The next set: one scan, and Enter.
	says(scan(tag("LAP-022")), "whole", "Enter records: LAP-022 left the room")
	says(do("untreated", "{}"), "doubtful", "LAP-022 left the room, NOT treated")
	says(scan(""), "whole", "LAP-022 left the room.")
	if d := last("LAP-022"); d.Treated != "no" {
		t.Errorf("recorded: %+v", d)
	}
	says(scan(tag("VAS-003")), "whole", "treated at the point of use") // what was wrong with one set is not of the next

	do("step", `{"value":"washed"}`)
	says(scan(""), "open", "which load of which washer?")
	if n := len(h.Events(site.Query{Set: "VAS-003"}, events.KindSetReturned)); n != 0 {
		t.Fatalf("%d steps recorded before the washer's load was said", n)
	}
	says(do("load", `{"washer":"w2","run":"x"}`), "broken", "Give the washer")
	says(do("load", `{"washer":"w2","run":"3"}`), "whole", "Enter records: VAS-003 washed")
	scan("")
	says(scan(tag("LAP-014")), "whole", "W2-0304-03")
	scan("")
	if d := last("LAP-014"); d.Washer != "W2" || d.WasherLoad != "W2-0304-03" || d.Treated != "" {
		t.Errorf("recorded: %+v", d)
	}

	do("step", `{"value":"inspected"}`)
	scan(tag("LAP-014"))
	says(scan("+2"), "doubtful", "a piece damaged")
	a = scan("")
	if !strings.Contains(fmt.Sprint(a["bench"]), "/pieces?set=LAP-014") {
		t.Errorf("what became of the piece is not asked: %v", a["bench"])
	}
	if d := last("LAP-014"); len(d.Faults) != 1 || d.Faults[0] != events.ReturnDamaged || d.WasherLoad != "" {
		t.Errorf("recorded: %+v", d)
	}
	hist, err := h.Site.History(t.Context(), site.Query{Set: "LAP-014"})
	if err != nil || hist.Verdicts[0].Where != "north/or-3" || !hist.Verdicts[0].Since.Equal(hist.Events[len(hist.Events)-1].Observed) {
		t.Errorf("where the set is does not follow: %+v %v", hist.Verdicts, err)
	}
}

// TestMissedAndFound: who reports that a piece is missed after the case is told at once whom to tell; who
// finds one after the set was packed without it closes what the case left open.
func TestMissedAndFound(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: stage,
			Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
			Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	h.Record("north/or-3", events.KindCaseClosed, "",
		&events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
	h.After(time.Hour)
	scan, _ := h.Sender("pieces")
	scan(workplacetest.Label(t, events.ScanBadge, "B-1182"))
	report := func(became string) map[string]any {
		scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		scan("2")
		scan(became)
		return scan("")
	}
	if a := fmt.Sprint(report("4")); !strings.Contains(a, "status:broken") || !strings.Contains(a, "came back SHORT") ||
		!strings.Contains(a, "charge nurse") || !strings.Contains(a, "1 h") {
		t.Errorf("missed: %s", a)
	}
	worst := func() projections.Severity {
		t.Helper()
		v := h.Verdict("VAS-003", h.Trips["VAS-003"])
		for _, f := range v.Findings {
			if f.Code == projections.CameBackShort {
				return f.Severity
			}
		}
		return ""
	}
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1,
		Exceptions: []events.Exception{{Line: 2, Counted: 1, Reason: events.ReasonMissing}}})
	// Used again since: what is found could be of that case, but that the page names the one that misses it.
	h.Open("VAS-003", "K-0413")
	if s := worst(); s != projections.SeverityBroken {
		t.Errorf("packed without: %s", s)
	}
	report("5")
	if s := worst(); s != projections.SeverityNoted {
		t.Errorf("found: %s", s)
	}
}

// TestWhatBecameOfAPiece: the line, what became of it, Enter.
func TestWhatBecameOfAPiece(t *testing.T) {
	h := workplacetest.NewHouse(t)
	scan, do := h.Sender("pieces")
	says := func(a map[string]any, status, words string) {
		t.Helper()
		if a["status"] != status || !strings.Contains(fmt.Sprint(a["words"], a["more"]), words) {
			t.Errorf("%q is not said: %v", words, a)
		}
	}
	says(scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "open", "VAS-003: which line?")
	says(scan("9"), "broken", "There is no line 9 in the list of VAS-003") // and it is no set's code, which would be remembered
	says(scan(""), "open", "VAS-003: which line?")
	says(scan("2"), "open", "line 2 (Clamp, vascular, angled, 22 cm): what became of it?")
	says(scan("4"), "open", "Scan your badge")
	says(scan(workplacetest.Label(t, events.ScanBadge, "B-1182")), "doubtful", "Tell the charge nurse of the operating room")
	says(scan(""), "doubtful", "VAS-003, 1 of line 2 (Clamp, vascular, angled, 22 cm): missed.")
	all := h.Events(site.Query{Set: "VAS-003"}, events.KindPieceReported)
	if len(all) != 1 {
		t.Fatalf("%d reports", len(all))
	}
	want := events.PieceReported{Became: events.BecameLost, Line: 2, Item: "VAS-002",
		Description: "Clamp, vascular, angled, 22 cm", Quantity: 1}
	if d := all[0].(*events.PieceReported); *d != want {
		t.Errorf("recorded: %+v", d)
	}

	h.Used("K-0", "VAS-003") // it is open since
	scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	says(scan("INS-001"), "open", "line 1")
	scan("1")
	says(scan("2"), "whole", "VAS-003, 2 of line 1")
	scan("")
	scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	do("item", `{"item":"XYZ-7"}`)
	do("about", `{"where":"sump","load":"w2-0304-03","note":"with the linen"}`)
	says(scan(""), "doubtful", "VAS-003, 1 of XYZ-7: found.") // none is missed
	all = h.Events(site.Query{Set: "VAS-003"}, events.KindPieceReported)
	if d := all[1].(*events.PieceReported); d.Became != events.BecameRepair || d.Quantity != 2 || d.Item != "INS-001" {
		t.Errorf("recorded: %+v", d)
	}
	if d := all[2].(*events.PieceReported); d.Became != events.BecameFound || d.WasherLoad != "W2-0304-03" || d.Place != "sump" ||
		d.Line != 0 || d.Item != "XYZ-7" || d.Note != "with the linen" {
		t.Errorf("recorded: %+v", d)
	}
}

// TestImmediateUse: a load that is begun for immediate use says so of each of its sets, with the
// reason and the case; one that is begun next doesn't.
func TestImmediateUse(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-0412")
	scan, do := h.Sender("sterilizer")
	run := func(n, fields, set string) *events.SetSterilized {
		t.Helper()
		do("begin", `{"sterilizer":"S1","run":"`+n+`","cycle":"immediate-132"`+fields+`}`)
		scan(workplacetest.Label(t, events.ScanTag, set))
		do("put", `{"value":"`+set+`"}`) // it is sterile
		scan(workplacetest.Label(t, events.ScanBadge, "B-2043"))
		do("start", "{}")
		h.After(20 * time.Minute)
		do("result", `{"result":"passed","released":"yes"}`)
		scan(workplacetest.Label(t, events.ScanBadge, "B-2043"))
		all := h.Events(site.Query{Set: set}, events.KindSetSterilized)
		return all[len(all)-1].(*events.SetSterilized)
	}
	if a := do("begin", `{"sterilizer":"S1","run":"2","cycle":"immediate-132","immediate":"LAP-0143"}`); a["status"] != "broken" {
		t.Errorf("a code for a reason: %v", a)
	}
	d := run("2", `,"immediate":"fell to the floor","for":"K-0412"`, "LAP-014")
	if d.Run != 2 || d.Immediate != "fell to the floor" || d.For != "K-0412" {
		t.Errorf("recorded: %+v", d)
	}
	if d := run("3", "", "LAP-022"); d.Run != 3 || d.Immediate != "" || d.For != "" {
		t.Errorf("the next load: %+v", d)
	}
}
