//go:build !race

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// answerOf is the value of an answer that a page offers, by the words it begins with.
func answerOf(t *testing.T, a map[string]any, begins string) string {
	t.Helper()
	if value := choiceOf(a, begins); value != "" {
		return value
	}
	t.Fatalf("offers no %q: %v", begins, a["choices"])
	return ""
}

// TestSecondSheetAtTheCount: a wrong count sheet that was read at a count stays the question with the buttons, whatever is read
// or counted after it: another wrong one, the set's own, lines of another screen, a badge, a code that nobody knows. What is
// recorded is the first; then the others are read.
func TestSecondSheetAtTheCount(t *testing.T) {
	h := newHouse(t)
	h.open("VAS-003", "K-1")
	k := &counter{h: h, ref: "K-1", stage: "first"}
	k.scan(label(t, events.ScanBadge, "B-1"))
	h.after(3 * time.Second)
	must(t, k.scan(h.codes["LAP-022"]), "broken", "LAP-022", "Where was the count sheet that lay with VAS-003?")
	size := h.size()
	for name, does := range map[string]func() map[string]any{
		"another wrong one": func() map[string]any { return k.scan(h.codes["LAP-014"]) },
		"its own":           func() map[string]any { return k.scan(h.codes["VAS-003"]) },
		"a line":            func() map[string]any { return k.lines("VAS-003", 4) },
		"a badge":           func() map[string]any { return k.scan(label(t, events.ScanBadge, "B-2")) },
		"a code":            func() map[string]any { return k.scan("QX-77") },
		"Enter":             func() map[string]any { return k.scan("") },
		"count on":          func() map[string]any { return k.do("count-on") },
	} {
		h.after(3 * time.Second)
		a := does()
		must(t, a, "broken", "Where was the count sheet that lay with VAS-003?")
		if !strings.Contains(answerOf(t, a, "1 "), h.codes["LAP-022"]) {
			t.Errorf("%s: asks about another sheet: %v", name, a["choices"])
		}
	}
	lay := answerOf(t, k.scan(""), "1 ")
	if h.size() != size {
		t.Fatalf("recorded: %+v", h.last())
	}
	must(t, k.do("sheet-lay", "value", lay), "broken", "recorded")
	if d, ok := h.last().Data.(*events.SetChecked); !ok || d.Sheet.Code != h.codes["LAP-022"] || h.last().Operator != "B-1" {
		t.Errorf("recorded: %+v %+v", h.last(), h.last().Data)
	}
	h.after(3 * time.Second)
	must(t, k.scan(h.codes["LAP-014"]), "broken", "LAP-014", "Where was the count sheet")
}

// TestStrayOfASetTakenOff: the question where a wrong sheet lay is one of the case: it stays when the opening of the set that it
// was said to lie with is taken back, and at the next count; answered, the case can be closed.
func TestStrayOfASetTakenOff(t *testing.T) {
	h := newHouse(t, "LAP-022", "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	opened, err := h.site.EventAt(h.size() - 1)
	if err != nil || opened.Subject != "VAS-003" {
		t.Fatal(err, opened)
	}
	k := &counter{h: h, ref: "K-1", stage: "first"}
	k.do("sheet-with", "value", answerOf(t, k.scan(h.codes["LAP-022"]), "VAS-003"))
	h.record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: opened.ID, Action: "void", Reason: "another set"})
	for _, stage := range []events.Stage{events.StageFirst, events.StageCavity, events.StageClosing, events.StageFinal} {
		h.signs("K-1", "VAS-004", stage)
		h.after(time.Minute)
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.all(label(t, events.ScanCase, "K-1")), "broken", "a wrong count sheet was read")
	k = &counter{h: h, ref: "K-1", stage: "relief", n: 100}
	a := k.do("begin")
	must(t, a, "broken", "With which set did the count sheet lie")
	size := h.size()
	a = k.do("sheet-with", "value", answerOf(t, a, "VAS-004"))
	must(t, k.do("sheet-lay", "value", answerOf(t, a, "2 ")), "VAS-004")
	if got := h.events(site.Query{Set: "VAS-004"}, events.KindSetChecked); len(got) != 1 || h.size() != size+1 {
		t.Fatalf("recorded: %v", got)
	}
	if v := h.verdict("LAP-022", h.trips["LAP-022"]); v.Status == "whole" || v.Status == "open" {
		t.Errorf("LAP-022, whose sheet lay there, is %s", v.Status)
	}
	if page := h.get("/at/north/or-3/close"); strings.Contains(page, "a wrong count sheet was read") {
		t.Error("still asked where the case is closed")
	}
}

// TestStrayOfYesterday: where a wrong sheet lay that somebody read yesterday is recorded as of then, by whoever counted then, and
// by nobody where no badge was scanned: who answers need not have been there.
func TestStrayOfYesterday(t *testing.T) {
	for _, badge := range []bool{true, false} {
		h := newHouse(t)
		h.open("VAS-003", "K-1")
		k := &counter{h: h, ref: "K-1", stage: "first"}
		by := ""
		if badge {
			by = "B-1"
			k.scan(label(t, events.ScanBadge, by))
			h.after(3 * time.Second)
		}
		k.scan(h.codes["LAP-022"])
		read := h.clock()
		h.after(20 * time.Hour)
		a := k.scan(label(t, events.ScanBadge, "B-7"))
		must(t, a, "broken", "VAS-003", "It was read on")
		k.do("sheet-lay", "value", answerOf(t, a, "1 "))
		if got := h.last(); got.Kind() != events.KindSetChecked || got.Operator != by || !got.Time.Equal(read) {
			t.Errorf("read at %s by %q; recorded: %s", read, by, fmt.Sprint(got.Kind(), got.Time, got.Operator))
		}
	}
}
