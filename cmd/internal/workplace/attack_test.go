package workplace_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestSinglesAddUp: single instruments that are added one at a time are counted together,
// and nobody has disputed them. Where two screens did, nothing is signed.
func TestSinglesAddUp(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "added"}
	c.do("begin")
	for range 4 {
		h.after(3 * time.Second)
		a := c.do("single", "set", "VAS-003", "what", "Suture needle", "quantity", "1")
		if strings.Contains(fmt.Sprint(a["state"]), "Two people") {
			t.Fatalf("disputed by nobody: %s", tells(a))
		}
	}
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	got := h.events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || len(got[0].(*events.SetCounted).Counts) != 1 || got[0].(*events.SetCounted).Counts[0].Counted != 4 {
		t.Fatalf("of four needles recorded: %+v", got)
	}
	c = &counter{h: h, ref: "K-1", stage: "added", n: 100}
	c.do("begin")
	c.do("single", "set", "VAS-003", "what", "Bulldog clamp", "quantity", "3")
	h.post("/at/north/or-3/count/enter", `{"client":"other","n":1,"case":"K-1","stage":"added",
		"lines":[{"set":"VAS-003","line":5,"counted":1,"seen":0}]}`)
	before := h.size()
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	if h.size() != before {
		t.Error("a number that two screens dispute was signed")
	}
}

// TestEnterAtACountsQuestion: Enter is none of the answers of a question on the page of a count.
func TestEnterAtACountsQuestion(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	c.lines("VAS-003", 4, 2, 3)
	before := h.size()
	for _, ask := range []func() map[string]any{
		func() map[string]any { return c.scan("P47110815") },
		func() map[string]any { return c.do("single", "set", "VAS-003", "what", "ABC12345", "quantity", "1") },
	} {
		h.after(3 * time.Second)
		asked := ask()
		if a := c.scan(""); h.size() != before || a["words"] != asked["words"] || a["sound"] != "low" {
			t.Fatalf("Enter at %q: %s", asked["words"], tells(a))
		}
		c.do("count-on")
	}
	if a := c.scan(label(t, events.ScanBadge, "B-2")); h.size() != before+1 {
		t.Errorf("answered, and not signed: %s", tells(a))
	}
}

// TestEnterAtACountsQuestionInBrowser: neither Enter nor a number passes it, counted or not.
func TestEnterAtACountsQuestionInBrowser(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-1")
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
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	count := func(stage events.Stage, n int64) {
		h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: n}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	count(events.StageFirst, 4)
	count(events.StageFinal, 4)
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	count(events.StageFinal, 3)
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "broken", "Case K-1 is closed", "Not accounted for: 1")
}

// TestSetTwiceInACase: a set that is processed and opened once more for its case is
// counted as it lies there now, once.
func TestSetTwiceInACase(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2)
	h.reissued(2)
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2})
	trip := h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Screen}).Trip
	h.record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-1", Tag: "VAS-003"})
	h.after(time.Minute)
	a := c.scan("")
	if st := a["state"].(map[string]any); len(st["sets"].([]any)) != 1 || st["done"] != float64(0) ||
		!strings.Contains(fmt.Sprint(st["resume"]), "opened anew for this case") {
		t.Fatalf("what was counted in the turn before still counts: %v", st)
	}
	c.lines("VAS-003", 4, 3, 2)
	c.scan(label(t, events.ScanBadge, "B-1"))
	before := h.size()
	c.scan(label(t, events.ScanBadge, "B-2"))
	e, err := h.site.EventAt(h.size())
	if err != nil || h.size() != before+1 || e.Trip != trip {
		t.Errorf("%d records, the last of turn %s, want one of %s: %v", h.size()-before, e.Trip, trip, err)
	}
}

// TestWhatWaitsIsNotReplaced: a result that waits for its badge is replaced by no other
// before it was taken back.
func TestWhatWaitsIsNotReplaced(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.do("indicator", "load", "S1-0304-01", "result", "positive")
	must(t, s.do("indicator", "load", "S1-0304-01", "result", "negative"), "POSITIVE", "Answer first")
	s.do("forget")
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.put("VAS-003")
	h.after(time.Minute)
	s.do("result", "result", "failed")
	must(t, s.do("result", "result", "passed", "released", "yes"), "FAILED", "Answer first")
}

// TestReleaseIsNotGreen: a load that passed puts nothing right that is known against a set
// in it: a positive indicator, a load that failed before, a wrong sheet.
func TestReleaseIsNotGreen(t *testing.T) {
	badge := label(t, events.ScanBadge, "B-1")
	release := func(s *scanner) map[string]any { return s.do("result", "result", "passed", "released", "yes") }
	t.Run("positive", func(t *testing.T) {
		h := newHouse(t, "VAS-003")
		s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.put("VAS-003")
		s.scan(badge)
		must(t, s.do("indicator", "load", "S1-0304-07", "result", "positive"), "S1-0304-07 has not run")
		s.do("start")
		h.after(time.Minute)
		must(t, s.do("indicator", "load", "S1-0304-07", "result", "positive"), "broken", "Is this its indicator?")
		must(t, s.do("known", "value", "S1-0304-07"), "broken", "POSITIVE")
		h.after(6 * time.Minute)
		must(t, release(s), "broken", "POSITIVE", "The load is not released")
		must(t, s.do("result", "result", "passed", "released", "yes", "emergency", "nothing else is sterile"),
			"broken", "S1-0304-07 passed and is released", "VAS-003")
	})
	t.Run("failed", func(t *testing.T) {
		h := newHouse(t, "VAS-003")
		h.record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-05", Sterilizer: "S1",
			Run: 5, Cycle: "c-134", Result: "failed"})
		s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
		must(t, s.do("begin", "sterilizer", "S1", "run", "5", "cycle", "c-134"), "S1-0304-05 is recorded as failed")
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.do("put", "value", "VAS-003")
		s.scan(badge)
		s.do("start")
		h.after(6 * time.Minute)
		must(t, release(s), "broken", "which FAILED", "puts nothing of that right")
	})
	t.Run("elsewhere", func(t *testing.T) {
		h := newHouse(t, "VAS-003", "LAP-014")
		s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.put("VAS-003")
		s.scan(badge)
		h.record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "passed", Released: true})
		before := h.size()
		must(t, release(s), "S1-0304-07 was recorded already")
		if h.size() != before {
			t.Fatal("recorded before anybody was asked")
		}
		s.do("ending-too", "value", "S1-0304-07")
		if release(s); h.size() == before {
			t.Error("answered, and not recorded")
		}
	})
	t.Run("failed elsewhere", func(t *testing.T) {
		h := newHouse(t, "VAS-003", "LAP-014")
		s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		s.put("VAS-003")
		s.scan(badge)
		h.record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-07", Sterilizer: "S1",
			Run: 7, Cycle: "c-134", Result: "failed"})
		before := h.size()
		must(t, release(s), "S1-0304-07 is recorded as failed")
		if s.scan(badge); h.size() != before {
			t.Error("a set of a run that failed is released")
		}
	})
}

// TestResultSentAgain: a result whose answer was lost with the server is recorded once, and
// nobody is asked about the load that this station recorded itself.
func TestResultSentAgain(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.put("VAS-003")
	s.do("start")
	h.after(6 * time.Minute)
	draft := filepath.Join(h.site.Dir(), "drafts", "bench", "north%2For-3", "sterilizer.json")
	before, err := os.ReadFile(draft)
	if err != nil {
		t.Fatal(err)
	}
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "passed and is released")
	size := h.size()
	if err := os.WriteFile(draft, before, 0o600); err != nil { // killed before it was kept that this was taken
		t.Fatal(err)
	}
	s.n--
	if must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "passed and is released"); h.size() != size {
		t.Error("recorded twice")
	}
}

// TestForgottenSetOfARun: a set that was forgotten in a run has that run's start and loader.
func TestForgottenSetOfARun(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	begin := func() map[string]any { return s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134") }
	begin()
	s.put("VAS-003")
	s.do("start")
	h.after(6 * time.Minute)
	s.do("result", "result", "passed", "released", "yes")
	h.after(15 * time.Minute)
	begin()
	s.do("begin-too", "value", "S1-0304-07")
	s.scan(label(t, events.ScanBadge, "B-2"))
	must(t, s.put("LAP-014"), "LAP-014 in load")
	s.do("result", "result", "passed", "released", "yes")
	one := h.events(site.Query{Set: "VAS-003"}, events.KindSetSterilized)
	two := h.events(site.Query{Set: "LAP-014"}, events.KindSetSterilized)
	if a, b := one[len(one)-1].(*events.SetSterilized), two[len(two)-1].(*events.SetSterilized); *a != *b {
		t.Errorf("recorded %+v; of the others it was %+v", b, a)
	}
}

// TestNothingIntoARunningLoad: a load that ran and is held takes no set, and what waits for a
// badge is recorded by none while something else is in sight.
func TestNothingIntoARunningLoad(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.put("VAS-003")
	s.do("start")
	h.after(6 * time.Minute)
	s.do("result", "result", "passed", "released", "no")
	h.after(time.Minute)
	must(t, s.put("LAP-014"), "has ended: nothing more goes in")
	s.do("next-person")
	h.after(40 * time.Minute) // it is incubated
	s.do("indicator", "load", "S1-0304-07", "result", "negative")
	must(t, s.do("nonsense"), "means nothing here")
	before := h.size()
	must(t, s.scan(label(t, events.ScanBadge, "B-2")), "S1-0304-07: negative", "Enter records that")
	if h.size() != before {
		t.Error("recorded by a badge while something else was in sight")
	}
	if must(t, s.scan(""), "S1-0304-07: negative"); h.size() != before+1 {
		t.Error("not recorded by Enter")
	}
}

// TestEmptyCycle: a test cycle has no set in it, and its indicator is read; nothing is
// read of a load that did not run.
func TestEmptyCycle(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	must(t, s.do("indicator", "load", "S1-0304-08", "result", "negative"), "has not run")
	must(t, s.do("start"), "Start load S1-0304-08 with no set in it?")
	s.do("start", "value", "S1-0304-08")
	h.after(40 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.do("indicator", "load", "S1-0304-08", "result", "negative"), "S1-0304-08: negative")
	s.do("give-up")
	must(t, s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134"), "S1-0304-08 was recorded already")
}

// TestReadySetGoesBack: that a set which lies ready goes back to be cleaned is asked, and
// that its case is not closed is said.
func TestReadySetGoesBack(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.open("LAP-014", "K-1")
	s := &scanner{h: h, path: "/at/north/or-3/return"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("step", "value", "left-room")
	must(t, s.scan(label(t, events.ScanTag, "LAP-014")), "doubtful", "Case K-1 is not closed")
	s.do("clear")
	before := h.size()
	must(t, s.scan(label(t, events.ScanTag, "VAS-003")), "VAS-003 is packed and not opened")
	h.after(3 * time.Second)
	for _, a := range []map[string]any{s.scan(""), s.do("record")} {
		must(t, a, "VAS-003 is packed and not opened")
	}
	if h.size() != before {
		t.Fatal("recorded under the question")
	}
	s.do("anew", "value", h.trips["VAS-003"])
	must(t, s.scan(""), "VAS-003 left the room")
	// It is asked once. Then the set is not sterile: at the sterilizer, and at an opening.
	h.after(time.Minute)
	s.do("step", "value", "received")
	must(t, s.scan(label(t, events.ScanTag, "VAS-003")), "Enter records: VAS-003 received")
	s.scan("")
	h.after(time.Minute)
	ster := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	ster.do("begin", "sterilizer", "S1", "run", "9", "cycle", "c-134")
	must(t, ster.scan(label(t, events.ScanSet, "VAS-003")), "broken", "was not packed since")
	open := &scanner{h: h, path: "/at/north/or-3/opening"}
	open.scan(label(t, events.ScanCase, "K-2"))
	open.scan(label(t, events.ScanTag, "VAS-003"))
	must(t, open.scan(h.codes["VAS-003"]), "broken", "VAS-003 WENT BACK to be cleaned")
	packs := &scanner{h: h, path: "/at/north/packing-1/packing"}
	must(t, packs.scan(label(t, events.ScanTag, "VAS-003")), "4 × Forceps")
}

// TestNewestVersionIsWeighed: what was weighed and looked over by another version is so again.
func TestNewestVersionIsWeighed(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-0")
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0", Outcome: "reconciled", Actions: []string{}})
	s := &scanner{h: h, path: "/at/north/packing-1/packing"}
	scan := func(text string) map[string]any { h.after(3 * time.Second); return s.scan(text) }
	for _, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), "", "", "", "8.2"} {
		scan(text)
	}
	h.reissued(2)
	must(t, scan(""), "was issued anew")
	s.do("stay", "value", "2")
	must(t, s.do("nothing"), "means nothing")
	must(t, scan(""), "doubtful", "version 2 is in force")
	h.reissued(3)
	must(t, scan(""), "was issued anew: version 3")
	s.do("newest", "value", "3")
	for range 2 {
		scan("")
	}
	must(t, scan(""), "Weigh it")
}

// TestSecondLookComesLast: who looks it over does so when all is counted, and again when a
// line was counted anew.
func TestSecondLookComesLast(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0", "VAS-003")
	p := events.DefaultPolicy()
	p.SecondLook = []string{"VAS-MINOR"}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &scanner{h: h, path: "/at/north/packing-1/packing"}
	scan := func(text string) map[string]any { h.after(3 * time.Second); return s.scan(text) }
	for _, text := range []string{label(t, events.ScanTag, "VAS-003"), label(t, events.ScanBadge, "B-2"),
		label(t, events.ScanBadge, "B-1"), "", "", "", "8.2"} {
		scan(text)
	}
	must(t, scan(""), "second look")
	must(t, scan(label(t, events.ScanBadge, "B-2")), "Enter records")
	s.do("line", "line", "2", "clear", "1")
	scan("")
	must(t, scan(""), "second look")
}

// waiting puts entries into a browser that a tab left behind which is gone: how long ago
// each was made, the revision that was shown, and what was scanned.
func waiting(p *browsertest.Tab, base string, rev int, ago time.Duration, texts ...string) {
	var items []string
	for i, text := range texts {
		items = append(items, fmt.Sprintf(`{verb: "scan", at: Date.now() - %d, body: {client: "gone", n: %d, rev: %d, text: %q}}`,
			(ago-time.Duration(i)*time.Second).Milliseconds(), i+1, rev, text))
	}
	browsertest.Eval[bool](p, fmt.Sprintf(`(localStorage.setItem("waiting:gone:%s", JSON.stringify([%s])), true)`,
		base, strings.Join(items, ",")))
}

// TestOldEntriesAreNobodysHere: what waited for long and is taken now is not laid onto the
// set in hand, though the same browser sends it.
func TestOldEntriesAreNobodysHere(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.after(48 * time.Hour)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	p.Type(label(t, events.ScanTag, "LAP-014") + "\r")
	p.AwaitText("#verdict", "LAP-014")
	settled(p)
	waiting(p, "/at/north/or-3/opening", 1, 20*time.Hour, label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"],
		label(t, events.ScanCase, "K-OLD"), label(t, events.ScanBadge, "B-9999"))
	p.Reload()
	p.AwaitText("#old", "K-OLD")
	p.Touch(`#old [data-act="take"]`)
	p.AwaitText("#untaken", "B-9999")
	settled(p)
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
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("sterilizer"))
	p.Type(label(t, events.ScanLoad, "S1-0304-01") + "\r")
	p.AwaitText("#verdict", "what does it show?")
	p.Await(`document.querySelector("#bi-load").value === "S1-0304-01"`)
	p.Await(`(document.querySelector("#bi-lot").value = "L-7",
		document.querySelector("#bi-result").value = "positive", document.querySelector("#bi-result").focus(), true)`)
	p.Press("N-2044\r")
	p.AwaitText("#verdict", "N-2044")
	p.Touch(`[data-do="take-as"][data-value="badge"]`)
	p.AwaitText("#bench", "N-2044")
	p.Await(`document.querySelector("#bi-result").value === "positive" && document.querySelector("#bi-lot").value === "L-7"`)
	before := h.size()
	p.Touch(`form[data-do="indicator"] button`)
	p.AwaitText("#verdict", "S1-0304-01: POSITIVE")
	settled(p)
	e, err := h.site.EventAt(h.size())
	if err != nil || h.size() != before+1 {
		t.Fatalf("%d records, %v", h.size()-before, err)
	}
	if d, ok := e.Data.(*events.IndicatorRead); !ok || d.Result != "positive" || d.Lot != "L-7" || e.Operator != "N-2044" {
		t.Errorf("recorded %+v by %s", e.Data, e.Operator)
	}
	p.Await(`document.querySelector("#bi-lot").value === ""`)
}

// TestCountIsTakenBack: a count that was signed is taken back at the station by a reason and
// a badge, and is then to be made again; the record and the correction stay.
func TestCountIsTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-1"))
	must(t, c.scan(label(t, events.ScanBadge, "B-2")), "First count recorded")
	h.after(3 * time.Second)
	c.stage = "final" // the next page
	if a := c.scan(""); !strings.Contains(fmt.Sprint(a["choices"]), "Take the count back: First count") {
		t.Fatalf("offered: %v", a["choices"])
	}
	must(t, c.do("take-back"), "Why is this taken back?")
	before := h.size()
	must(t, c.do("take-back", "value", "not-done"), "Scan your badge: it records that the count is taken back")
	h.after(3 * time.Second)
	if c.scan(""); h.size() != before {
		t.Fatal("taken back by Enter")
	}
	a := c.scan(label(t, events.ScanBadge, "B-3"))
	must(t, a, "Taken back: First count recorded")
	e, err := h.site.EventAt(h.size())
	if err != nil || h.size() != before+1 || e.Kind() != events.KindEventCorrected || e.Operator != "B-3" {
		t.Fatalf("%d records, %+v, %v", h.size()-before, e, err)
	}
	page := h.get(fmt.Sprint(a["go"]))
	if !strings.Contains(page, "Taken back: First count recorded") || strings.Contains(page, "Take the count back") {
		t.Error("the next page doesn't say so, or offers it again")
	}
	c = &counter{h: h, ref: "K-1", stage: "first", n: 100}
	if a := c.lines("VAS-003", 4, 2, 3); a["state"].(map[string]any)["done"] != float64(3) {
		t.Errorf("it can't be made again: %s", tells(a))
	}
	must(t, c.do("take-back", "value", "not-done"), "nothing to take back")
}

// TestPlaceIsNoWristband: a place may have a number, not one as long as that on a wristband.
func TestPlaceIsNoWristband(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	must(t, s.do("where", "where", "P47110815"), "looks like a code")
	if a := s.do("where", "where", "OR-301"); a["no"] == true {
		t.Errorf("a room: %s", tells(a))
	}
	p := &scanner{h: h, path: "/at/north/or-3/pieces"}
	p.scan(label(t, events.ScanTag, "VAS-003"))
	must(t, p.do("about", "where", "P47110815", "load", "", "note", ""), "looks like a code")
}
