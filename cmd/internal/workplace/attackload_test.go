package workplace_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestDoubleTap: a second tap at the place of the first says nothing, whatever button stands there
// by then: not that a cycle which has just begun has passed, nor where a count sheet was, nor that the next set
// of a load is out of it.
func TestDoubleTap(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	b := browser(t)
	for _, again := range []int{60, 250} {
		p := b.Tab(t, tablet)
		p.Open(h.at("sterilizer"))
		s := &scanner{h: h, path: "/at/north/or-3/sterilizer", n: again * 100}
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		for _, set := range []string{"VAS-003", "LAP-014", "LAP-022"} {
			s.put(set)
		}
		p.AwaitText("#bench", "LAP-022")
		before := h.size()
		p.Tap(`[data-do="take-out"][data-set="VAS-003"]`, again)
		settled(p)
		p.Await(`!document.querySelector('[data-do="take-out"][data-set="VAS-003"]')`)
		p.Await(`document.querySelectorAll('[data-do="take-out"]').length === 2`)
		p.Tap(`[data-do="start"]`, again)
		settled(p)
		p.AwaitText("#bench", "Failed")
		if h.size() != before {
			e, err := h.site.EventAt(h.size())
			t.Fatalf("%d ms after the first tap: recorded %+v, %v", again, e.Data, err)
		}
		p.AwaitText("#verdict", "record the result when the cycle has ended")
		s.do("give-up", "value", "S1-0304-07")
	}
	p := b.Tab(t, tablet)
	p.Open(h.at("opening"))
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "LAP-014"))
	s.scan(h.codes["LAP-022"])
	p.AwaitText("#verdict", "WRONG COUNT SHEET")
	before := h.size()
	p.Tap(`[data-do="put-aside"]`, 200)
	settled(p)
	p.AwaitText("#verdict", "Where was the count sheet?")
	if h.size() != before {
		t.Error("recorded where the sheet was, which nobody said")
	}
}

// atSterilizer is a scanner at the sterilizer, with a badge.
func (h *house) atSterilizer() *scanner {
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan(label(h.t, events.ScanBadge, "B-1"))
	return s
}

// run begins a load with sets and starts it; a cycle's time goes by.
func (s *scanner) run(run string, sets ...string) {
	s.do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
	for _, set := range sets {
		s.h.after(3 * time.Second)
		s.put(set)
	}
	s.do("start")
	s.h.after(19 * time.Minute)
}

// put scans a set into a load, and answers that it goes in where that is asked: the house's sets are sterile.
func (s *scanner) put(set string) map[string]any {
	a := s.scan(label(s.h.t, events.ScanSet, set))
	if strings.Contains(fmt.Sprint(a["choices"]), "do:put") {
		a = s.do("put", "value", set)
	}
	return a
}

// ended are the runs that are recorded of a set, with the load's number left out: "passed true".
func (h *house) ended(set string) (out []string) {
	for _, d := range h.events(site.Query{Set: set}, events.KindSetSterilized) {
		d := d.(*events.SetSterilized)
		out = append(out, fmt.Sprint(d.Load, " ", d.Result, " ", d.Released))
	}
	return out
}

// TestPassedAsSoonAsStarted: that a cycle passed in the minute in which it was started is asked,
// and neither Enter nor a badge nor time answers that.
func TestPassedAsSoonAsStarted(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.put("VAS-003")
	s.do("start")
	before := h.size()
	for _, released := range []string{"yes", "no"} {
		h.after(time.Minute)
		asks := "S1-0304-07 was started"
		must(t, s.do("result", "result", "passed", "released", released), asks, "Has its cycle ended already?")
		must(t, s.scan(""), asks)
		must(t, s.do("enter"), asks)
		h.after(3 * time.Second)
		must(t, s.scan(label(t, events.ScanBadge, "B-2")), asks)
		if h.size() != before {
			t.Fatal("recorded, and nobody had answered")
		}
		must(t, s.do("forget"), "record the result when the cycle has ended")
	}
	s.do("result", "result", "passed", "released", "yes")
	h.after(10 * time.Minute)
	if must(t, s.scan(""), "Has its cycle ended already?"); h.size() != before {
		t.Fatal("recorded by the time that went by")
	}
	if must(t, s.do("ended"), "whole", "passed and is released"); h.size() != before+1 {
		t.Error("answered, and not recorded")
	}
	// That it failed is no question: a cycle that is broken off has.
	s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.put("VAS-003")
	s.do("start")
	must(t, s.do("result", "result", "failed"), "broken", "S1-0304-08 failed")
}

// TestResultTakenBack: a load whose result was taken back lies at the sterilizer again, as it was
// started and with its sets; and where it was given up meanwhile, its start is known still.
func TestResultTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	s := h.atSterilizer()
	started := h.clock()
	s.run("7", "VAS-003", "LAP-014")
	must(t, s.do("result", "result", "failed"), "broken", "S1-0304-07 failed", "VAS-003, LAP-014")
	must(t, s.do("take-back", "value", "by-mistake"), "Taken back: Load S1-0304-07 failed")
	page := h.get("/at/north/or-3/sterilizer")
	if !strings.Contains(page, "Passed, released") || !strings.Contains(page, "Started 4 Mar 2026") {
		t.Fatal("the load doesn't lie there again")
	}
	h.after(time.Minute)
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "S1-0304-07 passed and is released (sets: 2)")
	for _, set := range []string{"VAS-003", "LAP-014"} {
		got := h.events(site.Query{Set: set}, events.KindSetSterilized)
		d := got[len(got)-1].(*events.SetSterilized)
		at, err := time.Parse(time.RFC3339, d.Started)
		if err != nil || at.Sub(started) > time.Minute || d.Loader != "B-1" || !d.Released {
			t.Errorf("%s: recorded %+v; it was started at %s", set, d, started)
		}
	}
	must(t, s.do("take-back", "value", "by-mistake"), "Taken back")
	s.do("give-up", "value", "S1-0304-07")
	must(t, s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-121"), "What was recorded of load S1-0304-07 was taken back")
	s.do("begin-too", "value", "S1-0304-07")
	h.after(time.Minute)
	s.put("LAP-014")
	s.do("result", "result", "passed", "released", "yes")
	got := h.events(site.Query{Set: "LAP-014"}, events.KindSetSterilized)
	first, last := got[len(got)-2].(*events.SetSterilized), got[len(got)-1].(*events.SetSterilized)
	if *first != *last {
		t.Errorf("recorded %+v, want %+v", last, first)
	}
}

// TestOneRunOneResult: a set that was forgotten in a run ends otherwise than its other sets only
// where a person says so of all of them; that a run which was released had failed can be said.
func TestOneRunOneResult(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "VAS-009")
	s := h.atSterilizer()
	s.run("7", "VAS-003", "VAS-004")
	s.do("result", "result", "passed", "released", "yes")
	begin := func() map[string]any {
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		return s.do("begin-too", "value", "S1-0304-07")
	}
	must(t, begin(), "Scan the sets that were forgotten in S1-0304-07, then record the result")
	h.after(3 * time.Second)
	s.put("VAS-009")
	before := h.size()
	for range 2 {
		must(t, s.do("result", "result", "failed"), "broken", "S1-0304-07 is recorded as passed. FAILED after all?",
			"Pull back: VAS-003, VAS-004.")
		must(t, s.scan(""), "FAILED after all?")
		must(t, s.do("enter"), "FAILED after all?")
		must(t, s.do("ended-all", "value", "VAS-003"), "FAILED after all?") // others were asked about
		h.after(3 * time.Second)
		must(t, s.scan(label(t, events.ScanBadge, "B-1")), "FAILED after all?")
		if h.size() != before {
			t.Fatal("recorded of one set alone, and nobody had answered")
		}
		s.do("forget")
	}
	must(t, s.do("result", "result", "passed", "released", "no"), "open", "recorded that it ended otherwise", "VAS-003, VAS-004")
	s.do("forget")
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "released (sets: 1)") // as the others
	// The chart was read later: no set was forgotten.
	begin()
	must(t, s.do("result", "result", "failed"), "FAILED after all?", "VAS-003, VAS-004, VAS-009")
	before = h.size()
	must(t, s.do("ended-all", "value", "VAS-003, VAS-004, VAS-009"), "broken", "S1-0304-07 failed. Not sterile, sets: 3",
		"Pull back: VAS-003, VAS-004, VAS-009.")
	if h.size() != before+3 {
		t.Fatalf("%d records", h.size()-before)
	}
	for set, want := range map[string][]string{"VAS-003": {"passed true", "failed false"}, "VAS-009": {"passed true", "failed false"}} {
		got := h.ended(set)[1:] // of the house's own run
		for i := range want {
			want[i] = "S1-0304-07 " + want[i]
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: recorded %v, want %v", set, got, want)
		}
	}
	shelf := &scanner{h: h, path: "/at/north/storage/opening"}
	shelf.scan(label(t, events.ScanTag, "VAS-003"))
	h.after(3 * time.Second)
	must(t, shelf.scan(h.codes["VAS-003"]), "broken")
	must(t, s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134"), "is recorded as failed")
}

// TestQuarantinedOnce: that a load passed and is quarantined is recorded once.
func TestQuarantinedOnce(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	s.run("7", "VAS-003")
	held := func() map[string]any {
		h.after(time.Second)
		return s.do("result", "result", "passed", "released", "no")
	}
	must(t, held(), "S1-0304-07 passed and is quarantined")
	before := h.size()
	if must(t, held(), "is recorded already"); h.size() != before {
		t.Fatal("recorded twice")
	}
	must(t, s.do("take-back", "value", "by-mistake"), "Taken back: Load S1-0304-07 passed")
	before = h.size()
	if must(t, held(), "S1-0304-07 passed and is quarantined"); h.size() != before+1 {
		t.Error("taken back, and not recorded again")
	}
	must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "passed and is released")
}

// TestLoadedSetIsOfItsTurn: a set that was packed anew while its load runs is not sterile by that
// load: what ran is the turn that was put in.
func TestLoadedSetIsOfItsTurn(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0", "VAS-003")
	pack := func() (trip, code string) {
		trip = h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1}).Trip
		code = h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside}).SheetCode
		return trip, code
	}
	first, _ := pack()
	s := h.atSterilizer()
	s.run("7", "VAS-003")
	_, code := pack()
	h.after(5 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	a := s.do("result", "result", "passed", "released", "yes")
	must(t, a, "broken", "VAS-003 was packed anew since it was put in")
	must(t, s.answer(a, "release"), "broken", "VAS-003 was packed anew since it was put in", "Keep these sets")
	e, err := h.site.EventAt(h.size())
	if err != nil || e.Trip != first {
		t.Errorf("recorded of turn %s, want %s: %v", e.Trip, first, err)
	}
	open := &scanner{h: h, path: "/at/north/or-3/opening"}
	open.scan(label(t, events.ScanTag, "VAS-003"))
	h.after(3 * time.Second)
	must(t, open.scan(code), "broken", "A step of VAS-003 is missing")

	// Before the start it is asked; the set is taken out and put in as it is now.
	h.after(time.Minute)
	s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	h.after(3 * time.Second)
	must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "VAS-003 in load S1-0304-08")
	trip, _ := pack()
	h.after(time.Second)
	must(t, s.do("start"), "broken", "not as it was scanned", "VAS-003 was packed anew since it was put in")
	must(t, s.do("take-out", "set", "VAS-003"), "VAS-003 taken out of load S1-0304-08 (sets: 0)")
	h.after(3 * time.Second)
	s.scan(label(t, events.ScanSet, "VAS-003"))
	must(t, s.do("start"), "record the result when the cycle has ended")
	h.after(15 * time.Minute)
	s.do("result", "result", "passed", "released", "yes")
	// Nothing was packed since: judgement finds the turn, also where a packing made before comes in later.
	if e, err := h.site.EventAt(h.size()); err != nil || e.Trip != "" {
		t.Errorf("recorded of turn %s: %v", e.Trip, err)
	}
	h.after(time.Hour)
	open = &scanner{h: h, path: "/at/north/or-3/opening"}
	open.do("forget")
	h.after(3 * time.Second)
	if a := open.scan(label(t, events.ScanTag, "VAS-003")); strings.Contains(tells(a), "NOT RELEASED") {
		t.Errorf("the run is not that of turn %s: %s", trip, tells(a))
	}
}

// TestOpenedBeforeTheStart: a set that was opened since it was put into a load is named at the start,
// and no run of it is green; nor is that of a set that was never packed here.
func TestOpenedBeforeTheStart(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.put("VAS-003")
	h.after(3 * time.Second)
	h.used("K-7", "VAS-003")
	must(t, s.do("start"), "broken", "not as it was scanned", "VAS-003 was opened and not packed since")
	must(t, s.do("start", "value", "S1-0304-07"), "record the result when the cycle has ended")
	h.after(15 * time.Minute)
	a := s.do("result", "result", "passed", "released", "yes")
	must(t, a, "broken", "VAS-003 was opened and not packed since")
	must(t, s.answer(a, "release"), "broken", "passed and is released", "VAS-003 was opened and not packed since")
	s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.scan(label(t, events.ScanSet, "ZZZ-1"))
	s.do("start")
	h.after(15 * time.Minute)
	must(t, s.do("result", "result", "passed", "released", "yes"), "broken", "ZZZ-1", "Keep these sets")
}

// TestNegativeAfterPositive: a negative indicator of a load that was read positive before is not green:
// its sets stay recalled.
func TestNegativeAfterPositive(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	read := func(result string) map[string]any {
		h.after(time.Minute)
		return s.do("indicator", "load", "S1-0304-01", "result", result)
	}
	must(t, read("negative"), "whole")
	must(t, read("positive"), "broken")
	must(t, read("negative"), "doubtful", "was read POSITIVE", "the recall stands")
	must(t, read("positive"), "broken")
	s.do("take-back", "value", "by-mistake")
	must(t, read("negative"), "doubtful", "the recall stands") // the first positive one stands
}

// TestBadgeLeavesTheIndicatorInSight: who scans the badge first is asked on what the indicator shows.
func TestBadgeLeavesTheIndicatorInSight(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	for range 2 {
		h.after(3 * time.Second)
		s.scan(label(t, events.ScanLoad, "S1-0304-01"))
		a := s.scan(label(t, events.ScanBadge, "B-2"))
		if must(t, a, "what does it show?"); !strings.Contains(fmt.Sprint(a["choices"]), "positive") {
			t.Fatalf("no answers: %v", a["choices"])
		}
	}
}

// TestTestCycle: of a cycle without sets no result is offered that can't be recorded; it is given up only
// when a person says so twice, and its indicator is recorded, later ones too.
func TestTestCycle(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.do("start")
	a := s.do("start", "value", "S1-0304-08")
	must(t, a, "S1-0304-08: a test cycle is running")
	if bench := fmt.Sprint(a["bench"]); strings.Contains(bench, `data-do="result"`) ||
		!strings.Contains(bench, "nothing is recorded of it but its biological indicator") {
		t.Error("a result is offered, or it isn't said what is recorded")
	}
	must(t, s.do("give-up"), "Give load S1-0304-08 up?")
	h.after(40 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.do("indicator", "load", "S1-0304-08", "result", "negative"), "whole", "S1-0304-08: negative")
	if page := h.get("/at/north/or-3/sterilizer"); strings.Contains(page, `data-load="S1-0304-08"`) {
		t.Error("the cycle lies there still")
	}
	must(t, s.do("indicator", "load", "S1-0304-08", "result", "positive"), "broken", "S1-0304-08: POSITIVE")
}

// TestImplantsWaitForTheIndicator: a load with implants is released when its indicator was read negative,
// or with a reason.
func TestImplantsWaitForTheIndicator(t *testing.T) {
	for _, way := range []string{"indicator", "reason"} {
		t.Run(way, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			l := listShort()
			l.Version, l.Implants = 2, true
			h.record("north/packing-1", events.KindListIssued, "", l)
			h.used("K-0", "VAS-003")
			h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2})
			h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			p := events.DefaultPolicy()
			p.ImplantIndicator = events.Required
			h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
			s := h.atSterilizer()
			s.run("7", "VAS-003")
			before := h.size()
			a := s.do("result", "result", "passed", "released", "yes")
			must(t, a, "open", "S1-0304-07 has implants in it")
			if h.size() != before || strings.Contains(fmt.Sprint(a["bench"]), `data-result="passed" data-released="yes"`) {
				t.Fatal("released, or its button is there")
			}
			must(t, s.do("held"), "S1-0304-07 passed and is quarantined")
			if way == "reason" {
				must(t, s.do("result", "result", "passed", "released", "yes", "emergency", "trauma"), "doubtful",
					"RELEASED before its indicator's result", "For this reason: trauma.")
				return
			}
			s.do("indicator", "load", "S1-0304-07", "control", "negative", "result", "negative")
			must(t, s.do("result", "result", "passed", "released", "yes"), "has implants in it")
			s.do("indicator", "load", "S1-0304-07", "control", "positive", "result", "negative")
			must(t, s.do("result", "result", "passed", "released", "yes"), "whole", "released")
		})
	}
}

// TestNotReadyForALoad: a set that another cycle alone doesn't make sterile goes into a load only where a
// person says so, and the load's release is not green then.
func TestNotReadyForALoad(t *testing.T) {
	for name, says := range map[string]string{"went back": "VAS-003 went back to be cleaned", "opened": "VAS-003 was opened"} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			if name == "opened" {
				h.open("VAS-003", "K-1")
			} else {
				h.record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnWashed})
			}
			s := h.atSterilizer()
			s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
			h.after(3 * time.Second)
			must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "broken", says, "packed anew")
			must(t, s.scan(""), says)
			must(t, s.do("start"), "with no set in it?")
			h.after(3 * time.Second)
			s.scan(label(t, events.ScanSet, "VAS-003"))
			must(t, s.do("put", "value", "VAS-003"), "broken", "VAS-003 in load S1-0304-07", says)
			s.do("start", "value", "S1-0304-07")
			h.after(15 * time.Minute)
			must(t, s.do("result", "result", "passed", "released", "yes"), "broken", "passed and is released", says, "Keep these sets")
		})
	}
}

// TestLoadThatAnotherScreenChose: a scan made before its screen showed which load another one has chosen
// goes into none without a question; one made after does.
func TestLoadThatAnotherScreenChose(t *testing.T) {
	h := newHouse(t)
	h.packed("LAP-014", "VAS-003", "LAP-022")
	n := 0
	send := func(client string, rev any, verb, rest string) map[string]any {
		n++
		h.after(3 * time.Second)
		return h.post("/at/north/or-3/sterilizer/"+verb, fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,%s}`, client, n, rev, rest))
	}
	begin := func(rev any, run string) any {
		return send("one", rev, "do", `"action":"begin","fields":{"sterilizer":"S1","run":"`+run+`","cycle":"c-134"}`)["rev"]
	}
	set := func(name string) string { return `"text":` + jsonText(label(t, events.ScanSet, name)) }
	first := begin(1, "7")
	must(t, send("two", first, "scan", set("LAP-014")), "LAP-014 in load S1-0304-07")
	shown := send("two", first, "scan", `"text":`+jsonText(label(t, events.ScanBadge, "B-1")))["rev"]
	begin(shown, "8")
	a := send("two", shown, "scan", set("VAS-003"))
	must(t, a, "open", "VAS-003: into load S1-0304-08, which another screen has chosen?")
	a = send("two", a["rev"], "scan", `"text":""`)
	must(t, a, "another screen has chosen?")
	a = send("two", a["rev"], "do", `"action":"put","fields":{"value":"VAS-003"}`)
	must(t, a, "VAS-003 in load S1-0304-08 (sets: 1)")
	must(t, send("two", a["rev"], "scan", set("LAP-022")), "LAP-022 in load S1-0304-08 (sets: 2)")
	// Undone, the first load is chosen again: that is another one than two's screen shows.
	shown = send("one", shown, "scan", `"text":""`)["rev"]
	shown = send("one", shown, "do", `"action":"choose","fields":{"load":"S1-0304-07"}`)["rev"]
	undone := send("one", shown, "do", `"action":"undo","fields":{}`)
	must(t, undone, "S1-0304-08")
	must(t, send("two", shown, "scan", set("VAS-009")), "another screen has chosen?")
}

// TestFailedLoadStaysNamed: which sets a failed load had stands on the page after the next input, in its
// language, as a STOP; likewise that an indicator was positive.
func TestFailedLoadStaysNamed(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	s := h.atSterilizer()
	s.run("7", "VAS-003", "LAP-014")
	s.do("result", "result", "failed")
	h.after(3 * time.Second)
	s.scan(label(t, events.ScanBadge, "B-2"))
	for lang, says := range map[string]string{"en": "Pull back: VAS-003, LAP-014.", "de": "Zurückholen: VAS-003, LAP-014."} {
		page := h.get("/at/north/or-3/sterilizer?lang=" + lang)
		if !strings.Contains(page, says) || !strings.Contains(page, `class="last stopped"`) {
			t.Errorf("%s: the page doesn't say %q as a STOP any more", lang, says)
		}
	}
	s.do("indicator", "load", "S1-0304-01", "result", "positive")
	h.after(3 * time.Second)
	s.do("next-person")
	if page := h.get("/at/north/or-3/sterilizer"); !strings.Contains(page, `class="last stopped"`) {
		t.Error("a positive indicator stands there as what is in order does")
	}
	s.scan(label(t, events.ScanBadge, "B-2"))
	s.do("indicator", "load", "S1-0304-01", "result", "negative")
	if page := h.get("/at/north/or-3/sterilizer"); strings.Contains(page, `class="last stopped"`) {
		t.Error("a negative one stands there as a STOP")
	}
}
