//go:build !race

package meant_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestSinglesAddUp: single instruments that are added one at a time are counted together,
// and nobody has disputed them. Where two screens did, nothing is signed.
func TestSinglesAddUp(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "added"}
	c.Do("begin")
	for range 4 {
		h.After(3 * time.Second)
		a := c.Do("single", "set", "VAS-003", "what", "Suture needle", "quantity", "1")
		if strings.Contains(fmt.Sprint(a["state"]), "Two people") {
			t.Fatalf("disputed by nobody: %s", workplacetest.Tells(a))
		}
	}
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || len(got[0].(*events.SetCounted).Counts) != 1 || got[0].(*events.SetCounted).Counts[0].Counted != 4 {
		t.Fatalf("of four needles recorded: %+v", got)
	}
	c = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "added", Number: 100}
	c.Do("begin")
	c.Do("single", "set", "VAS-003", "what", "Bulldog clamp", "quantity", "3")
	h.Post("/at/north/or-3/count/enter", `{"client":"other","n":1,"case":"K-1","stage":"added",
		"lines":[{"set":"VAS-003","line":5,"counted":1,"seen":0}]}`)
	before := h.Size()
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() != before {
		t.Error("a number that two screens dispute was signed")
	}
}

// TestEnterAtACountsQuestion: Enter is none of the answers of a question on the page of a count.
func TestEnterAtACountsQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	c.Lines("VAS-003", 4, 2, 3)
	before := h.Size()
	for _, ask := range []func() map[string]any{
		func() map[string]any { return c.Scan("P47110815") },
		func() map[string]any { return c.Do("single", "set", "VAS-003", "what", "ABC12345", "quantity", "1") },
	} {
		h.After(3 * time.Second)
		asked := ask()
		if a := c.Scan(""); h.Size() != before || a["words"] != asked["words"] || a["sound"] != "low" {
			t.Fatalf("Enter at %q: %s", asked["words"], workplacetest.Tells(a))
		}
		c.Do("count-on")
	}
	if a := c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")); h.Size() != before+1 {
		t.Errorf("answered, and not signed: %s", workplacetest.Tells(a))
	}
}

// TestEnterAtACountsQuestionInBrowser: neither Enter nor a number passes it, counted or not.
func TestEnterAtACountsQuestionInBrowser(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.Type("P47110815\r")
	p.AwaitText("#verdict", "P47110815")
	p.Await(`document.querySelector("#verdict .choices button")`)
	p.Press("\r4\r")
	p.Await(`document.body.dataset.sound === "low"`)
	p.AwaitText("#sum", "0 of 3 lines")
	p.Touch(`[data-do="count-on"]`)
	p.AwaitText("#verdict", "Count aloud")
	p.Press("\r")
	p.AwaitText("#sum", "1 of 3 lines")
}

// TestClosedAndCountedAgain: a case that was closed with all counts coming out is not in
// order where a later count is short.
func TestClosedAndCountedAgain(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	count := func(stage events.Stage, n int64) {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: n}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	count(events.StageFirst, 4)
	count(events.StageFinal, 4)
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	count(events.StageFinal, 3)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "broken", "Case K-1 is closed", "Not accounted for: 1")
}

// TestSetTwiceInACase: a set that is processed and opened once more for its case is
// counted as it lies there now, once.
func TestSetTwiceInACase(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2)
	h.Reissued(2)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2})
	trip := h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Screen}).Trip
	h.Record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-1", Tag: "VAS-003"})
	h.After(time.Minute)
	a := c.Scan("")
	if st := a["state"].(map[string]any); len(st["sets"].([]any)) != 1 || st["done"] != float64(0) ||
		!strings.Contains(fmt.Sprint(st["resume"]), "opened anew for this case") {
		t.Fatalf("what was counted in the turn before still counts: %v", st)
	}
	c.Lines("VAS-003", 4, 3, 2)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	before := h.Size()
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	e, err := h.Site.EventAt(h.Size())
	if err != nil || h.Size() != before+1 || e.Trip != trip {
		t.Errorf("%d records, the last of turn %s, want one of %s: %v", h.Size()-before, e.Trip, trip, err)
	}
}

// TestWhatWaitsIsNotReplaced: a result that waits for its badge is replaced by no other
// before it was taken back.
func TestWhatWaitsIsNotReplaced(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("indicator", "load", "S1-0304-01", "result", "positive")
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-01", "result", "negative"), "POSITIVE", "Answer first")
	s.Do("forget")
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	h.After(time.Minute)
	s.Do("result", "result", "failed")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "FAILED", "Answer first")
}

// TestReleaseIsNotGreen: a load that passed puts nothing right that is known against a set
// in it: a positive indicator, a load that failed before, a wrong sheet.
func TestReleaseIsNotGreen(t *testing.T) {
	badge := workplacetest.Label(t, events.ScanBadge, "B-1")
	release := func(s *workplacetest.Scanner) map[string]any {
		return s.Do("result", "result", "passed", "released", "yes")
	}
	t.Run("positive", func(t *testing.T) {
		h := workplacetest.NewHouse(t, "VAS-003")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.Put("VAS-003")
		s.Scan(badge)
		workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-07", "result", "positive"), "S1-0304-07 has not run")
		s.Do("start")
		h.After(time.Minute)
		workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-07", "result", "positive"), "broken", "Is this its indicator?")
		workplacetest.Must(t, s.Do("known", "value", "S1-0304-07"), "broken", "POSITIVE")
		h.After(6 * time.Minute)
		workplacetest.Must(t, release(s), "broken", "POSITIVE", "The load is not released")
		workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes", "emergency", "nothing else is sterile"),
			"broken", "S1-0304-07 passed and is released", "VAS-003")
	})
	t.Run("failed", func(t *testing.T) {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-05", Sterilizer: "S1",
			Run: 5, Cycle: "c-134", Result: "failed"})
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
		workplacetest.Must(t, s.Do("begin", "sterilizer", "S1", "run", "5", "cycle", "c-134"), "S1-0304-05 is recorded as failed")
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.Do("put", "value", "VAS-003")
		s.Scan(badge)
		s.Do("start")
		h.After(6 * time.Minute)
		workplacetest.Must(t, release(s), "broken", "which FAILED", "puts nothing of that right")
	})
	t.Run("elsewhere", func(t *testing.T) {
		h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.Put("VAS-003")
		s.Scan(badge)
		h.Record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "passed", Released: true})
		before := h.Size()
		workplacetest.Must(t, release(s), "S1-0304-07 was recorded already")
		if h.Size() != before {
			t.Fatal("recorded before anybody was asked")
		}
		s.Do("ending-too", "value", "S1-0304-07")
		if release(s); h.Size() == before {
			t.Error("answered, and not recorded")
		}
	})
	t.Run("failed elsewhere", func(t *testing.T) {
		h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.Put("VAS-003")
		s.Scan(badge)
		h.Record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "failed"})
		before := h.Size()
		workplacetest.Must(t, release(s), "S1-0304-07 is recorded as failed")
		if s.Scan(badge); h.Size() != before {
			t.Error("a set of a run that failed is released")
		}
	})
}

// TestResultSentAgain: a result whose answer was lost with the server is recorded once, and
// nobody is asked about the load that this station recorded itself.
func TestResultSentAgain(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("start")
	h.After(6 * time.Minute)
	draft := filepath.Join(h.Site.Dir(), "drafts", "bench", "north%2For-3", "sterilizer.json")
	before, err := os.ReadFile(draft)
	if err != nil {
		t.Fatal(err)
	}
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "passed and is released")
	size := h.Size()
	if err := os.WriteFile(draft, before, 0o600); err != nil { // killed before it was kept that this was taken
		t.Fatal(err)
	}
	s.Number--
	if workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "passed and is released"); h.Size() != size {
		t.Error("recorded twice")
	}
}

// TestForgottenSetOfARun: a set that was forgotten in a run has that run's start and loader.
func TestForgottenSetOfARun(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	begin := func() map[string]any { return s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134") }
	begin()
	s.Put("VAS-003")
	s.Do("start")
	h.After(6 * time.Minute)
	s.Do("result", "result", "passed", "released", "yes")
	h.After(15 * time.Minute)
	begin()
	s.Do("begin-too", "value", "S1-0304-07")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, s.Put("LAP-014"), "LAP-014 in load")
	s.Do("result", "result", "passed", "released", "yes")
	one := h.Events(site.Query{Set: "VAS-003"}, events.KindSetSterilized)
	two := h.Events(site.Query{Set: "LAP-014"}, events.KindSetSterilized)
	if a, b := one[len(one)-1].(*events.SetSterilized), two[len(two)-1].(*events.SetSterilized); *a != *b {
		t.Errorf("recorded %+v; of the others it was %+v", b, a)
	}
}

// TestNothingIntoARunningLoad: a load that ran and is held takes no set, and what waits for a
// badge is recorded by none while something else is in sight.
func TestNothingIntoARunningLoad(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("start")
	h.After(6 * time.Minute)
	s.Do("result", "result", "passed", "released", "no")
	h.After(time.Minute)
	workplacetest.Must(t, s.Put("LAP-014"), "has ended: nothing more goes in")
	s.Do("next-person")
	h.After(40 * time.Minute) // it is incubated
	s.Do("indicator", "load", "S1-0304-07", "result", "negative")
	workplacetest.Must(t, s.Do("nonsense"), "means nothing here")
	before := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "S1-0304-07: negative", "Enter records that")
	if h.Size() != before {
		t.Error("recorded by a badge while something else was in sight")
	}
	if workplacetest.Must(t, s.Scan(""), "S1-0304-07: negative"); h.Size() != before+1 {
		t.Error("not recorded by Enter")
	}
}

// TestEmptyCycle: a test cycle has no set in it, and its indicator is read; nothing is
// read of a load that did not run.
func TestEmptyCycle(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-08", "result", "negative"), "has not run")
	workplacetest.Must(t, s.Do("start"), "Start load S1-0304-08 with no set in it?")
	s.Do("start", "value", "S1-0304-08")
	h.After(40 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-08", "result", "negative"), "S1-0304-08: negative")
	s.Do("give-up")
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134"), "S1-0304-08 was recorded already")
}

// TestReadySetGoesBack: that a set which lies ready goes back to be cleaned is asked, and
// that its case is not closed is said.
func TestReadySetGoesBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("LAP-014", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("step", "value", "left-room")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014")), "doubtful", "Case K-1 is not closed")
	s.Do("clear")
	before := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "VAS-003 is packed and not opened")
	h.After(3 * time.Second)
	for _, a := range []map[string]any{s.Scan(""), s.Do("record")} {
		workplacetest.Must(t, a, "VAS-003 is packed and not opened")
	}
	if h.Size() != before {
		t.Fatal("recorded under the question")
	}
	s.Do("anew", "value", h.Trips["VAS-003"])
	workplacetest.Must(t, s.Scan(""), "VAS-003 left the room")
	// It is asked once. Then the set is not sterile: at the sterilizer, and at an opening.
	h.After(time.Minute)
	s.Do("step", "value", "received")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "Enter records: VAS-003 received")
	s.Scan("")
	h.After(time.Minute)
	ster := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	ster.Do("begin", "sterilizer", "S1", "run", "9", "cycle", "c-134")
	workplacetest.Must(t, ster.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "broken", "was not packed since")
	open := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	open.Scan(workplacetest.Label(t, events.ScanCase, "K-2"))
	open.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	workplacetest.Must(t, open.Scan(h.Codes["VAS-003"]), "broken", "VAS-003 WENT BACK to be cleaned")
	packs := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	workplacetest.Must(t, packs.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "4 × Forceps")
}

// TestNewestVersionIsWeighed: what was weighed and looked over by another version is so again.
func TestNewestVersionIsWeighed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0")
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0", Outcome: "reconciled", Actions: []string{}})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanTag, "VAS-003"), "", "", "", "8.2"} {
		scan(text)
	}
	h.Reissued(2)
	workplacetest.Must(t, scan(""), "was issued anew")
	s.Do("stay", "value", "2")
	workplacetest.Must(t, s.Do("nothing"), "means nothing")
	workplacetest.Must(t, scan(""), "doubtful", "version 2 is in force")
	h.Reissued(3)
	workplacetest.Must(t, scan(""), "was issued anew: version 3")
	s.Do("newest", "value", "3")
	for range 2 {
		scan("")
	}
	workplacetest.Must(t, scan(""), "Weigh it")
}

// TestSecondLookComesLast: who looks it over does so when all is counted, and again when a
// line was counted anew.
func TestSecondLookComesLast(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	p := events.DefaultPolicy()
	p.SecondLook = []string{"VAS-MINOR"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanBadge, "B-2"),
		workplacetest.Label(t, events.ScanBadge, "B-1"), "", "", "", "8.2"} {
		scan(text)
	}
	workplacetest.Must(t, scan(""), "second look")
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "Enter records")
	s.Do("line", "line", "2", "clear", "1")
	scan("")
	workplacetest.Must(t, scan(""), "second look")
}

// TestOldEntriesAreNobodysHere: what waited for long and is taken now is not laid onto the
// set in hand, though the same browser sends it.
func TestOldEntriesAreNobodysHere(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.After(48 * time.Hour)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Type(workplacetest.Label(t, events.ScanTag, "LAP-014") + "\r")
	p.AwaitText("#verdict", "LAP-014")
	workplacetest.Settled(p)
	workplacetest.Waiting(p, "/at/north/or-3/opening", 1, 20*time.Hour, workplacetest.Label(t, events.ScanTag,
		"VAS-003"), h.Codes["VAS-003"],
		workplacetest.Label(t, events.ScanCase, "K-OLD"), workplacetest.Label(t, events.ScanBadge, "B-9999"))
	p.Reload()
	p.AwaitText("#old", "K-OLD")
	p.Touch(`#old [data-act="take"]`)
	p.AwaitText("#untaken", "B-9999")
	workplacetest.Settled(p)
	got := p.Text("#bench")
	if strings.Contains(got, "K-OLD") || strings.Contains(got, "B-9999") || strings.Contains(got, "VAS-003") {
		t.Errorf("laid onto the set in hand: %s", got)
	}
	p.Reload()
	p.AwaitText("#untaken", "K-OLD") // until somebody has seen it
}

// TestScanIntoAChoice: a scanner that types while a choice has the focus chooses nothing,
// and its scan is taken; what a form has in it outlives the badge.
func TestScanIntoAChoice(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("sterilizer"))
	p.Type(workplacetest.Label(t, events.ScanLoad, "S1-0304-01") + "\r")
	p.AwaitText("#verdict", "what does it show?")
	p.Await(`document.querySelector("#bi-load").value === "S1-0304-01"`)
	p.Await(`(document.querySelector("#bi-lot").value = "L-7",
		document.querySelector("#bi-result").value = "positive", document.querySelector("#bi-result").focus(), true)`)
	p.Press("N-2044\r")
	p.AwaitText("#verdict", "N-2044")
	p.Touch(`[data-do="take-as"][data-value="badge"]`)
	p.AwaitText("#bench", "N-2044")
	p.Await(`document.querySelector("#bi-result").value === "positive" && document.querySelector("#bi-lot").value === "L-7"`)
	before := h.Size()
	p.Touch(`form[data-do="indicator"] button`)
	p.AwaitText("#verdict", "S1-0304-01: POSITIVE")
	workplacetest.Settled(p)
	e, err := h.Site.EventAt(h.Size())
	if err != nil || h.Size() != before+1 {
		t.Fatalf("%d records, %v", h.Size()-before, err)
	}
	if d, ok := e.Data.(*events.IndicatorRead); !ok || d.Result != "positive" || d.Lot != "L-7" || e.Operator != "N-2044" {
		t.Errorf("recorded %+v by %s", e.Data, e.Operator)
	}
	p.Await(`document.querySelector("#bi-lot").value === ""`)
}

// TestCountIsTakenBack: a count that was signed is taken back at the station by a reason and
// a badge, and is then to be made again; the record and the correction stay.
func TestCountIsTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "First count recorded")
	h.After(3 * time.Second)
	c.Stage = "final" // the next page
	if a := c.Scan(""); !strings.Contains(fmt.Sprint(a["choices"]), "Take the count back: First count") {
		t.Fatalf("offered: %v", a["choices"])
	}
	workplacetest.Must(t, c.Do("take-back"), "Why is this taken back?")
	before := h.Size()
	workplacetest.Must(t, c.Do("take-back", "value", "not-done"), "Scan your badge: it records that the count is taken back")
	h.After(3 * time.Second)
	if c.Scan(""); h.Size() != before {
		t.Fatal("taken back by Enter")
	}
	a := c.Scan(workplacetest.Label(t, events.ScanBadge, "B-3"))
	workplacetest.Must(t, a, "Taken back: First count recorded")
	e, err := h.Site.EventAt(h.Size())
	if err != nil || h.Size() != before+1 || e.Kind() != events.KindEventCorrected || e.Operator != "B-3" {
		t.Fatalf("%d records, %+v, %v", h.Size()-before, e, err)
	}
	page := h.Get(fmt.Sprint(a["go"]))
	if !strings.Contains(page, "Taken back: First count recorded") || strings.Contains(page, "Take the count back") {
		t.Error("the next page doesn't say so, or offers it again")
	}
	c = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first", Number: 100}
	if a := c.Lines("VAS-003", 4, 2, 3); a["state"].(map[string]any)["done"] != float64(3) {
		t.Errorf("it can't be made again: %s", workplacetest.Tells(a))
	}
	workplacetest.Must(t, c.Do("take-back", "value", "not-done"), "nothing to take back")
}

// TestPlaceIsNoWristband: a place may have a number, not one as long as that on a wristband.
func TestPlaceIsNoWristband(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	workplacetest.Must(t, s.Do("where", "where", "P47110815"), "looks like a code")
	if a := s.Do("where", "where", "OR-301"); a["no"] == true {
		t.Errorf("a room: %s", workplacetest.Tells(a))
	}
	p := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	p.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	workplacetest.Must(t, p.Do("about", "where", "P47110815", "load", "", "note", ""), "looks like a code")
}
