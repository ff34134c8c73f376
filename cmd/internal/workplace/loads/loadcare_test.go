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
)

// TestCaseOfAnImmediateRun: the case that a run for immediate use is for is taken as at an opening: in other letters it is
// asked which is meant, what nobody knows is asked about, and a badge or a set is none.
func TestCaseOfAnImmediateRun(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-004", "K-1")
	s := h.AtSterilizer()
	n := 20
	begin := func(ref string) map[string]any {
		n++
		h.After(3 * time.Second)
		return s.Do("begin", "sterilizer", "S1", "run", fmt.Sprint(n), "cycle", "c-134", "immediate", "it fell down", "for", ref)
	}
	laid := func() (ref string) {
		t.Helper()
		s.Put("VAS-003")
		s.Do("start")
		h.After(20 * time.Minute)
		s.Do("result", "result", "passed", "released", "yes")
		got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetSterilized)
		return got[len(got)-1].(*events.SetSterilized).For
	}
	workplacetest.Must(t, begin("k-1"), "doubtful", "k-1 is not known here, K-1 is. Which case is it?")
	workplacetest.Must(t, s.Do("for-is", "value", "K-2"), "Begin a load") // was not asked
	workplacetest.Must(t, begin("k-1"), "Which case is it?")
	workplacetest.Must(t, s.Do("for-is", "value", "K-1"), "Scan sets into S1-0304-22")
	if got := laid(); got != "K-1" {
		t.Errorf("recorded for %s", got)
	}
	h.After(time.Minute)
	if a := begin("P47110815"); !strings.Contains(workplacetest.Tells(a), "P47110815: what is it?") {
		t.Fatalf("a wristband is taken: %s", workplacetest.Tells(a))
	}
	s.Scan("")
	s.Do("for-none")
	if strings.Contains(h.Get(s.Path), "P47110815") {
		t.Error("it was said to be none, and lies in the form")
	}
	workplacetest.Must(t, begin("VAS-004"), "Set")
	workplacetest.Must(t, begin("K-1"), "Scan sets into")
}

// TestLoadOfYesterday: a load that was begun on another day is asked for its number before it is started; with that of today
// its label and records have today's.
func TestLoadOfYesterday(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Packed("VAS-003", "VAS-004")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("begin", "sterilizer", "S1", "run", "3", "cycle", "c-134")
	s.Put("VAS-004")
	h.After(24 * time.Hour)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := s.Do("start")
	if !strings.Contains(workplacetest.Tells(a), "S1-0304-03 has the number of another day") ||
		!strings.Contains(fmt.Sprint(a["choices"]), "Start as S1-0305-03") {
		t.Fatalf("%s %v", workplacetest.Tells(a), a["choices"])
	}
	if strings.Contains(h.Get(s.Path), "running since") {
		t.Fatal("it is started")
	}
	workplacetest.Must(t, s.Do("renumber", "value", "S1-0305-09"), "another day") // was not offered
	s.Do("renumber", "value", "S1-0305-03")
	h.After(20 * time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "S1-0305-03 passed and is released")
	if got := h.Ended("VAS-004"); got[len(got)-1] != "S1-0305-03 passed true" {
		t.Error(got)
	}
	s.Do("choose", "load", "S1-0304-02")
	workplacetest.Must(t, s.Do("start"), "another day")
	s.Do("old-number", "value", "S1-0304-02")
	h.After(20 * time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "S1-0304-02 passed and is released")
}

// TestUndoOfAStart: a start is taken back by "undo" without a question only as long as it is the press itself that is meant.
func TestUndoOfAStart(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("start")
	h.After(20 * time.Second)
	workplacetest.Must(t, s.Do("undo"), "Scan sets into S1-0304-02")
	s.Do("start")
	h.After(10 * time.Minute)
	for range 2 {
		workplacetest.Must(t, s.Do("undo"), "S1-0304-02 was started at", "Take the start back?")
	}
	workplacetest.Must(t, s.Scan(""), "record the result when the cycle has ended") // Enter: it runs
	s.Do("undo")
	workplacetest.Must(t, s.Do("undo", "value", "sure"), "Scan sets into S1-0304-02")
}

// TestIndicatorOfALoadElsewhere: the indicator of a load that runs at another station, and of which nothing is recorded, is
// taken with that station's start; of one that was not started it isn't.
func TestIndicatorOfALoadElsewhere(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Packed("VAS-003")
	s := h.AtSterilizer()
	lab := &workplacetest.Scanner{House: h, Path: "/at/north/storage/sterilizer"}
	lab.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.Put("VAS-003")
	workplacetest.Must(t, lab.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-02")), "S1-0304-02 has not run")
	started := h.Clock()
	s.Do("start")
	h.After(9 * time.Hour)
	workplacetest.Must(t, lab.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-02")), "what does it show?")
	workplacetest.Must(t, lab.Do("indicator", "value", "positive"), "S1-0304-02")
	lab.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
	lab.Do("enter")
	e, err := h.Site.EventAt(h.Size())
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := e.Data.(*events.IndicatorRead); !ok || d.Started != started.UTC().Format(time.RFC3339) || d.Sterilizer != "S1" {
		t.Errorf("recorded %+v", e.Data)
	}
}

// TestPositiveTakenBack: who takes a POSITIVE indicator back is told which sets that frees before and after, and it is never green.
func TestPositiveTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	s.Do("indicator", "load", "S1-0304-01", "result", "positive", "control", "positive")
	h.After(time.Minute)
	workplacetest.Must(t, s.Do("take-back"), "broken", "This stops sets. Why is it taken back?", "POSITIVE",
		"no longer recalls these sets of load S1-0304-01: VAS-003")
	workplacetest.Must(t, s.Do("take-back", "value", "wrong-load"), "doubtful", "Taken back", "no longer recalls", "Of which load was it?")
	// Nor is a failed load.
	h.Packed("VAS-003")
	s.Run("2", "VAS-003")
	s.Do("result", "result", "failed")
	workplacetest.Must(t, s.Do("take-back"), "broken", "no longer keeps these sets of load S1-0304-02 back: VAS-003")
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), "doubtful", "Taken back")
}
