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

// answerOf is the value of an answer that a page offers, by the words it begins with.
func answerOf(t *testing.T, a map[string]any, begins string) string {
	t.Helper()
	if value := workplacetest.ChoiceOf(a, begins); value != "" {
		return value
	}
	t.Fatalf("offers no %q: %v", begins, a["choices"])
	return ""
}

// TestSecondSheetAtTheCount: a wrong count sheet that was read at a count stays the question with the buttons, whatever is read
// or counted after it: another wrong one, the set's own, lines of another screen, a badge, a code that nobody knows. What is
// recorded is the first; then the others are read.
func TestSecondSheetAtTheCount(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	h.After(3 * time.Second)
	workplacetest.Must(t, k.Scan(h.Codes["LAP-022"]), "broken", "LAP-022", "Where was the count sheet that lay with VAS-003?")
	size := h.Size()
	for name, does := range map[string]func() map[string]any{
		"another wrong one": func() map[string]any { return k.Scan(h.Codes["LAP-014"]) },
		"its own":           func() map[string]any { return k.Scan(h.Codes["VAS-003"]) },
		"a line":            func() map[string]any { return k.Lines("VAS-003", 4) },
		"a badge":           func() map[string]any { return k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")) },
		"a code":            func() map[string]any { return k.Scan("QX-77") },
		"Enter":             func() map[string]any { return k.Scan("") },
		"count on":          func() map[string]any { return k.Do("count-on") },
	} {
		h.After(3 * time.Second)
		a := does()
		workplacetest.Must(t, a, "broken", "Where was the count sheet that lay with VAS-003?")
		if !strings.Contains(answerOf(t, a, "1 "), h.Codes["LAP-022"]) {
			t.Errorf("%s: asks about another sheet: %v", name, a["choices"])
		}
	}
	lay := answerOf(t, k.Scan(""), "1 ")
	if h.Size() != size {
		t.Fatalf("recorded: %+v", h.Last())
	}
	workplacetest.Must(t, k.Do("sheet-lay", "value", lay), "broken", "recorded")
	if d, ok := h.Last().Data.(*events.SetChecked); !ok || d.Sheet.Code != h.Codes["LAP-022"] || h.Last().Operator != "B-1" {
		t.Errorf("recorded: %+v %+v", h.Last(), h.Last().Data)
	}
	h.After(3 * time.Second)
	workplacetest.Must(t, k.Scan(h.Codes["LAP-014"]), "broken", "LAP-014", "Where was the count sheet")
}

// TestStrayOfASetTakenOff: the question where a wrong sheet lay is one of the case: it stays when the opening of the set that it
// was said to lie with is taken back, and at the next count; answered, the case can be closed.
func TestStrayOfASetTakenOff(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-022", "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	opened, err := h.Site.EventAt(h.Size() - 1)
	if err != nil || opened.Subject != "VAS-003" {
		t.Fatal(err, opened)
	}
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Do("sheet-with", "value", answerOf(t, k.Scan(h.Codes["LAP-022"]), "VAS-003"))
	h.Record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: opened.ID, Action: "void", Reason: "another set"})
	for _, stage := range []events.Stage{events.StageFirst, events.StageCavity, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-004", stage)
		h.After(time.Minute)
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanCase, "K-1")), "broken", "a wrong count sheet was read")
	k = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "relief", Number: 100}
	a := k.Do("begin")
	workplacetest.Must(t, a, "broken", "With which set did the count sheet lie")
	size := h.Size()
	a = k.Do("sheet-with", "value", answerOf(t, a, "VAS-004"))
	workplacetest.Must(t, k.Do("sheet-lay", "value", answerOf(t, a, "2 ")), "VAS-004")
	if got := h.Events(site.Query{Set: "VAS-004"}, events.KindSetChecked); len(got) != 1 || h.Size() != size+1 {
		t.Fatalf("recorded: %v", got)
	}
	if v := h.Verdict("LAP-022", h.Trips["LAP-022"]); v.Status == "whole" || v.Status == "open" {
		t.Errorf("LAP-022, whose sheet lay there, is %s", v.Status)
	}
	if page := h.Get("/at/north/or-3/close"); strings.Contains(page, "a wrong count sheet was read") {
		t.Error("still asked where the case is closed")
	}
}

// TestStrayOfTheOnlySet: the question stays at the count's page when the only set is taken off the case: it lay with that one all the
// same. Nothing else is counted there, and once it is answered the case has no count.
func TestStrayOfTheOnlySet(t *testing.T) {
	for _, lies := range []bool{true, false} {
		h := workplacetest.NewHouse(t, "LAP-022", "VAS-003")
		h.Open("VAS-003", "K-1")
		opened := h.Last()
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
		workplacetest.Must(t, k.Scan(h.Codes["LAP-022"]), "broken", "Where was the count sheet that lay with VAS-003?")
		h.Record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: opened.ID, Action: "void",
			Reason: "another set"})
		const page = "/at/north/or-3/count?case=K-1&stage=first"
		if got := h.Get(page); !strings.Contains(got, "Where was the count sheet that lay with VAS-003?") ||
			!strings.Contains(got, "sheet-lay") {
			t.Fatal("not asked at the page of the case")
		}
		size := h.Size()
		var a map[string]any
		for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-7"), workplacetest.Label(t,
			events.ScanBadge, "B-8"), "", "3"} {
			h.After(3 * time.Second)
			a = k.Scan(text)
			workplacetest.Must(t, a, "broken", "Where was the count sheet that lay with VAS-003?")
		}
		k.Do("sign")
		k.Do("begin")
		if h.Size() != size {
			t.Fatalf("recorded: %+v", h.Last())
		}
		if lies {
			workplacetest.Must(t, k.Do("sheet-lay", "value", answerOf(t, a, "1 ")), "VAS-003")
			if got := h.Last(); got.Kind() != events.KindSetChecked || got.Subject != "VAS-003" {
				t.Errorf("recorded: %+v", got)
			}
		} else {
			k.Do("sheet-none", "value", h.Codes["LAP-022"])
		}
		if got := h.Get(page); strings.Contains(got, "sheet-lay") {
			t.Error("asked on")
		}
	}
}

// TestStrayOfYesterday: where a wrong sheet lay that somebody read yesterday is recorded as of then, by whoever counted then, and
// by nobody where no badge was scanned: who answers need not have been there.
func TestStrayOfYesterday(t *testing.T) {
	for _, badge := range []bool{true, false} {
		h := workplacetest.NewHouse(t)
		h.Open("VAS-003", "K-1")
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
		by := ""
		if badge {
			by = "B-1"
			k.Scan(workplacetest.Label(t, events.ScanBadge, by))
			h.After(3 * time.Second)
		}
		k.Scan(h.Codes["LAP-022"])
		read := h.Clock()
		h.After(20 * time.Hour)
		a := k.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
		workplacetest.Must(t, a, "broken", "VAS-003", "It was read on")
		k.Do("sheet-lay", "value", answerOf(t, a, "1 "))
		if got := h.Last(); got.Kind() != events.KindSetChecked || got.Operator != by || !got.Time.Equal(read) {
			t.Errorf("read at %s by %q; recorded: %s", read, by, fmt.Sprint(got.Kind(), got.Time, got.Operator))
		}
	}
}
