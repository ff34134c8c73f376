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

// TestCaseOfAnImmediateRun: the case that a run for immediate use is for is taken as at an opening: in other letters it is
// asked which is meant, what nobody knows is asked about, and a badge or a set is none.
func TestCaseOfAnImmediateRun(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-004", "K-1")
	s := h.atSterilizer()
	n := 20
	begin := func(ref string) map[string]any {
		n++
		h.after(3 * time.Second)
		return s.do("begin", "sterilizer", "S1", "run", fmt.Sprint(n), "cycle", "c-134", "immediate", "it fell down", "for", ref)
	}
	laid := func() (ref string) {
		t.Helper()
		s.put("VAS-003")
		s.do("start")
		h.after(20 * time.Minute)
		s.do("result", "result", "passed", "released", "yes")
		got := h.events(site.Query{Set: "VAS-003"}, events.KindSetSterilized)
		return got[len(got)-1].(*events.SetSterilized).For
	}
	must(t, begin("k-1"), "doubtful", "k-1 is not known here, K-1 is. Which case is it?")
	must(t, s.do("for-is", "value", "K-2"), "Begin a load") // was not asked
	must(t, begin("k-1"), "Which case is it?")
	must(t, s.do("for-is", "value", "K-1"), "Scan sets into S1-0304-22")
	if got := laid(); got != "K-1" {
		t.Errorf("recorded for %s", got)
	}
	h.after(time.Minute)
	if a := begin("P47110815"); !strings.Contains(tells(a), "P47110815: what is it?") {
		t.Fatalf("a wristband is taken: %s", tells(a))
	}
	s.scan("")
	s.do("for-none")
	if strings.Contains(h.get(s.path), "P47110815") {
		t.Error("it was said to be none, and lies in the form")
	}
	must(t, begin("VAS-004"), "Set")
	must(t, begin("K-1"), "Scan sets into")
}

// TestLoadOfYesterday: a load that was begun on another day is asked for its number before it is started; with that of today
// its label and records have today's.
func TestLoadOfYesterday(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.packed("VAS-003", "VAS-004")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.put("VAS-003")
	s.do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134")
	s.put("VAS-004")
	h.after(24 * time.Hour)
	s.scan(label(t, events.ScanBadge, "B-1"))
	a := s.do("start")
	if !strings.Contains(tells(a), "S1-0304-03 has the number of another day") ||
		!strings.Contains(fmt.Sprint(a["choices"]), "Start as S1-0305-03") {
		t.Fatalf("%s %v", tells(a), a["choices"])
	}
	if strings.Contains(h.get(s.path), "running since") {
		t.Fatal("it is started")
	}
	must(t, s.do("renumber", "value", "S1-0305-09"), "another day") // was not offered
	s.do("renumber", "value", "S1-0305-03")
	h.after(20 * time.Minute)
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "S1-0305-03 passed and is released")
	if got := h.ended("VAS-004"); got[len(got)-1] != "S1-0305-03 passed true" {
		t.Error(got)
	}
	s.do("choose", "load", "S1-0304-02")
	must(t, s.do("start"), "another day")
	s.do("old-number", "value", "S1-0304-02")
	h.after(20 * time.Minute)
	must(t, s.do("result", "result", "passed", "released", "yes"), "S1-0304-02 passed and is released")
}

// TestUndoOfAStart: a start is taken back by "undo" without a question only as long as it is the press itself that is meant.
func TestUndoOfAStart(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.put("VAS-003")
	s.do("start")
	h.after(20 * time.Second)
	must(t, s.do("undo"), "Scan sets into S1-0304-02")
	s.do("start")
	h.after(10 * time.Minute)
	for range 2 {
		must(t, s.do("undo"), "S1-0304-02 was started at", "Take the start back?")
	}
	must(t, s.scan(""), "record the result when the cycle has ended") // Enter: it runs
	s.do("undo")
	must(t, s.do("undo", "value", "sure"), "Scan sets into S1-0304-02")
}

// TestIndicatorOfALoadElsewhere: the indicator of a load that runs at another station, and of which nothing is recorded, is
// taken with that station's start; of one that was not started it isn't.
func TestIndicatorOfALoadElsewhere(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.packed("VAS-003")
	s := h.atSterilizer()
	lab := &scanner{h: h, path: "/at/north/storage/sterilizer"}
	lab.scan(label(t, events.ScanBadge, "B-7"))
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.put("VAS-003")
	must(t, lab.scan(label(t, events.ScanLoad, "S1-0304-02")), "S1-0304-02 has not run")
	started := h.clock()
	s.do("start")
	h.after(9 * time.Hour)
	must(t, lab.scan(label(t, events.ScanLoad, "S1-0304-02")), "what does it show?")
	must(t, lab.do("indicator", "value", "positive"), "S1-0304-02")
	lab.scan(label(t, events.ScanBadge, "B-7"))
	lab.do("enter")
	e, err := h.site.EventAt(h.size())
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := e.Data.(*events.IndicatorRead); !ok || d.Started != started.UTC().Format(time.RFC3339) || d.Sterilizer != "S1" {
		t.Errorf("recorded %+v", e.Data)
	}
}

// TestPositiveTakenBack: who takes a POSITIVE indicator back is told which sets that frees before and after, and it is never green.
func TestPositiveTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	s.do("indicator", "load", "S1-0304-01", "result", "positive", "control", "positive")
	h.after(time.Minute)
	must(t, s.do("take-back"), "broken", "This stops sets. Why is it taken back?", "POSITIVE",
		"no longer recalls these sets of load S1-0304-01: VAS-003")
	must(t, s.do("take-back", "value", "wrong-load"), "doubtful", "Taken back", "no longer recalls", "Of which load was it?")
	// Nor is a failed load.
	h.packed("VAS-003")
	s.run("2", "VAS-003")
	s.do("result", "result", "failed")
	must(t, s.do("take-back"), "broken", "no longer keeps these sets of load S1-0304-02 back: VAS-003")
	must(t, s.do("take-back", "value", "by-mistake"), "doubtful", "Taken back")
}
