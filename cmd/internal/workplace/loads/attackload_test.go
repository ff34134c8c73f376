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
)

// TestDoubleTap: a second tap at the place of the first says nothing, whatever button stands there
// by then: not that a cycle which has just begun has passed, nor where a count sheet was, nor that the next set
// of a load is out of it.
func TestDoubleTap(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	b := workplacetest.Browser(t)
	for _, again := range []int{60, 250} {
		p := b.Tab(t, workplacetest.Tablet)
		p.Open(h.At("sterilizer"))
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer", Number: again * 100}
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		for _, set := range []string{"VAS-003", "LAP-014", "LAP-022"} {
			s.Put(set)
		}
		p.AwaitText("#bench", "LAP-022")
		before := h.Size()
		p.Tap(`[data-do="take-out"][data-set="VAS-003"]`, again)
		workplacetest.Settled(p)
		p.Await(`!document.querySelector('[data-do="take-out"][data-set="VAS-003"]')`)
		p.Await(`document.querySelectorAll('[data-do="take-out"]').length === 2`)
		p.Tap(`[data-do="start"]`, again)
		workplacetest.Settled(p)
		p.AwaitText("#bench", "Failed")
		if h.Size() != before {
			e, err := h.Site.EventAt(h.Size())
			t.Fatalf("%d ms after the first tap: recorded %+v, %v", again, e.Data, err)
		}
		p.AwaitText("#verdict", "record the result when the cycle has ended")
		s.Do("give-up", "value", "S1-0304-07")
	}
	p := b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	s.Scan(h.Codes["LAP-022"])
	p.AwaitText("#verdict", "WRONG COUNT SHEET")
	before := h.Size()
	p.Tap(`[data-do="put-aside"]`, 200)
	workplacetest.Settled(p)
	p.AwaitText("#verdict", "Where was the count sheet?")
	if h.Size() != before {
		t.Error("recorded where the sheet was, which nobody said")
	}
}

// TestPassedAsSoonAsStarted: that a cycle passed in the minute in which it was started is asked,
// and neither Enter nor a badge nor time answers that.
func TestPassedAsSoonAsStarted(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("start")
	before := h.Size()
	for _, released := range []string{"yes", "no"} {
		h.After(time.Minute)
		asks := "S1-0304-07 was started"
		workplacetest.Must(t, s.Do("result", "result", "passed", "released", released), asks, "Has its cycle ended already?")
		workplacetest.Must(t, s.Scan(""), asks)
		workplacetest.Must(t, s.Do("enter"), asks)
		h.After(3 * time.Second)
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), asks)
		if h.Size() != before {
			t.Fatal("recorded, and nobody had answered")
		}
		workplacetest.Must(t, s.Do("forget"), "record the result when the cycle has ended")
	}
	s.Do("result", "result", "passed", "released", "yes")
	h.After(10 * time.Minute)
	if workplacetest.Must(t, s.Scan(""), "Has its cycle ended already?"); h.Size() != before {
		t.Fatal("recorded by the time that went by")
	}
	if workplacetest.Must(t, s.Do("ended"), "whole", "passed and is released"); h.Size() != before+1 {
		t.Error("answered, and not recorded")
	}
	// That it failed is no question: a cycle that is broken off has.
	s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.Put("VAS-003")
	s.Do("start")
	workplacetest.Must(t, s.Do("result", "result", "failed"), "broken", "S1-0304-08 failed")
}

// TestResultTakenBack: a load whose result was taken back lies at the sterilizer again, as it was
// started and with its sets; and where it was given up meanwhile, its start is known still.
func TestResultTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := h.AtSterilizer()
	started := h.Clock()
	s.Run("7", "VAS-003", "LAP-014")
	workplacetest.Must(t, s.Do("result", "result", "failed"), "broken", "S1-0304-07 failed", "VAS-003, LAP-014")
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), "Taken back: Load S1-0304-07 failed")
	page := h.Get("/at/north/or-3/sterilizer")
	if !strings.Contains(page, "Passed, released") || !strings.Contains(page, "Started 4 Mar 2026") {
		t.Fatal("the load doesn't lie there again")
	}
	h.After(time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "S1-0304-07 passed and is released (sets: 2)")
	for _, set := range []string{"VAS-003", "LAP-014"} {
		got := h.Events(site.Query{Set: set}, events.KindSetSterilized)
		d := got[len(got)-1].(*events.SetSterilized)
		at, err := time.Parse(time.RFC3339, d.Started)
		if err != nil || at.Sub(started) > time.Minute || d.Loader != "B-1" || !d.Released {
			t.Errorf("%s: recorded %+v; it was started at %s", set, d, started)
		}
	}
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), "Taken back")
	s.Do("give-up", "value", "S1-0304-07")
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-121"),
		"What was recorded of load S1-0304-07 was taken back")
	s.Do("begin-too", "value", "S1-0304-07")
	h.After(time.Minute)
	s.Put("LAP-014")
	s.Do("result", "result", "passed", "released", "yes")
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetSterilized)
	first, last := got[len(got)-2].(*events.SetSterilized), got[len(got)-1].(*events.SetSterilized)
	if *first != *last {
		t.Errorf("recorded %+v, want %+v", last, first)
	}
}

// TestOneRunOneResult: a set that was forgotten in a run ends otherwise than its other sets only
// where a person says so of all of them; that a run which was released had failed can be said.
func TestOneRunOneResult(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-009")
	s := h.AtSterilizer()
	s.Run("7", "VAS-003", "VAS-004")
	s.Do("result", "result", "passed", "released", "yes")
	begin := func() map[string]any {
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		return s.Do("begin-too", "value", "S1-0304-07")
	}
	workplacetest.Must(t, begin(), "Scan the sets that were forgotten in S1-0304-07, then record the result")
	h.After(3 * time.Second)
	s.Put("VAS-009")
	before := h.Size()
	for range 2 {
		workplacetest.Must(t, s.Do("result", "result", "failed"), "broken", "S1-0304-07 is recorded as passed. FAILED after all?",
			"Pull back: VAS-003, VAS-004.")
		workplacetest.Must(t, s.Scan(""), "FAILED after all?")
		workplacetest.Must(t, s.Do("enter"), "FAILED after all?")
		workplacetest.Must(t, s.Do("ended-all", "value", "VAS-003"), "FAILED after all?") // others were asked about
		h.After(3 * time.Second)
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "FAILED after all?")
		if h.Size() != before {
			t.Fatal("recorded of one set alone, and nobody had answered")
		}
		s.Do("forget")
	}
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "open",
		"recorded that it ended otherwise", "VAS-003, VAS-004")
	s.Do("forget")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "released (sets: 1)") // as the others
	// The chart was read later: no set was forgotten.
	begin()
	workplacetest.Must(t, s.Do("result", "result", "failed"), "FAILED after all?", "VAS-003, VAS-004, VAS-009")
	before = h.Size()
	workplacetest.Must(t, s.Do("ended-all", "value", "VAS-003, VAS-004, VAS-009"), "broken", "S1-0304-07 failed. Not sterile, sets: 3",
		"Pull back: VAS-003, VAS-004, VAS-009.")
	if h.Size() != before+3 {
		t.Fatalf("%d records", h.Size()-before)
	}
	for set, want := range map[string][]string{"VAS-003": {"passed true", "failed false"}, "VAS-009": {"passed true", "failed false"}} {
		got := h.Ended(set)[1:] // of the house's own run
		for i := range want {
			want[i] = "S1-0304-07 " + want[i]
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: recorded %v, want %v", set, got, want)
		}
	}
	shelf := &workplacetest.Scanner{House: h, Path: "/at/north/storage/opening"}
	shelf.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	h.After(3 * time.Second)
	workplacetest.Must(t, shelf.Scan(h.Codes["VAS-003"]), "broken")
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134"), "is recorded as failed")
}

// TestQuarantinedOnce: that a load passed and is quarantined is recorded once.
func TestQuarantinedOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	s.Run("7", "VAS-003")
	held := func() map[string]any {
		h.After(time.Second)
		return s.Do("result", "result", "passed", "released", "no")
	}
	workplacetest.Must(t, held(), "S1-0304-07 passed and is quarantined")
	before := h.Size()
	if workplacetest.Must(t, held(), "is recorded already"); h.Size() != before {
		t.Fatal("recorded twice")
	}
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), "Taken back: Load S1-0304-07 passed")
	before = h.Size()
	if workplacetest.Must(t, held(), "S1-0304-07 passed and is quarantined"); h.Size() != before+1 {
		t.Error("taken back, and not recorded again")
	}
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "passed and is released")
}

// TestLoadedSetIsOfItsTurn: a set that was packed anew while its load runs is not sterile by that
// load: what ran is the turn that was put in.
func TestLoadedSetIsOfItsTurn(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	pack := func() (trip, code string) {
		trip = h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1}).Trip
		code = h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside}).SheetCode
		return trip, code
	}
	first, _ := pack()
	s := h.AtSterilizer()
	s.Run("7", "VAS-003")
	_, code := pack()
	h.After(5 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := s.Do("result", "result", "passed", "released", "yes")
	workplacetest.Must(t, a, "broken", "VAS-003 was packed anew since it was put in")
	workplacetest.Must(t, s.Answer(a, "release"), "broken", "VAS-003 was packed anew since it was put in", "Keep these sets")
	e, err := h.Site.EventAt(h.Size())
	if err != nil || e.Trip != first {
		t.Errorf("recorded of turn %s, want %s: %v", e.Trip, first, err)
	}
	open := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	open.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	h.After(3 * time.Second)
	workplacetest.Must(t, open.Scan(code), "broken", "A step of VAS-003 is missing")

	// Before the start it is asked; the set is taken out and put in as it is now.
	h.After(time.Minute)
	s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "VAS-003 in load S1-0304-08")
	trip, _ := pack()
	h.After(time.Second)
	workplacetest.Must(t, s.Do("start"), "broken", "not as it was scanned", "VAS-003 was packed anew since it was put in")
	workplacetest.Must(t, s.Do("take-out", "set", "VAS-003"), "VAS-003 taken out of load S1-0304-08 (sets: 0)")
	h.After(3 * time.Second)
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	workplacetest.Must(t, s.Do("start"), "record the result when the cycle has ended")
	h.After(15 * time.Minute)
	s.Do("result", "result", "passed", "released", "yes")
	// Nothing was packed since: judgement finds the turn, also where a packing made before comes in later.
	if e, err := h.Site.EventAt(h.Size()); err != nil || e.Trip != "" {
		t.Errorf("recorded of turn %s: %v", e.Trip, err)
	}
	h.After(time.Hour)
	open = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	open.Do("forget")
	h.After(3 * time.Second)
	if a := open.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")); strings.Contains(workplacetest.Tells(a), "NOT RELEASED") {
		t.Errorf("the run is not that of turn %s: %s", trip, workplacetest.Tells(a))
	}
}

// TestOpenedBeforeTheStart: a set that was opened since it was put into a load is named at the start,
// and no run of it is green; nor is that of a set that was never packed here.
func TestOpenedBeforeTheStart(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	h.After(3 * time.Second)
	h.Used("K-7", "VAS-003")
	workplacetest.Must(t, s.Do("start"), "broken", "not as it was scanned", "VAS-003 was opened and not packed since")
	workplacetest.Must(t, s.Do("start", "value", "S1-0304-07"), "record the result when the cycle has ended")
	h.After(15 * time.Minute)
	a := s.Do("result", "result", "passed", "released", "yes")
	workplacetest.Must(t, a, "broken", "VAS-003 was opened and not packed since")
	workplacetest.Must(t, s.Answer(a, "release"), "broken", "passed and is released", "VAS-003 was opened and not packed since")
	s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.Scan(workplacetest.Label(t, events.ScanSet, "ZZZ-1"))
	s.Do("start")
	h.After(15 * time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "broken", "ZZZ-1", "Keep these sets")
}

// TestNegativeAfterPositive: a negative indicator of a load that was read positive before is not green:
// its sets stay recalled.
func TestNegativeAfterPositive(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	read := func(result string) map[string]any {
		h.After(time.Minute)
		return s.Do("indicator", "load", "S1-0304-01", "result", result)
	}
	workplacetest.Must(t, read("negative"), "whole")
	workplacetest.Must(t, read("positive"), "broken")
	workplacetest.Must(t, read("negative"), "doubtful", "was read POSITIVE", "the recall stands")
	workplacetest.Must(t, read("positive"), "broken")
	s.Do("take-back", "value", "by-mistake")
	workplacetest.Must(t, read("negative"), "doubtful", "the recall stands") // the first positive one stands
}

// TestBadgeLeavesTheIndicatorInSight: who scans the badge first is asked on what the indicator shows.
func TestBadgeLeavesTheIndicatorInSight(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	for range 2 {
		h.After(3 * time.Second)
		s.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-01"))
		a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
		if workplacetest.Must(t, a, "what does it show?"); !strings.Contains(fmt.Sprint(a["choices"]), "positive") {
			t.Fatalf("no answers: %v", a["choices"])
		}
	}
}

// TestTestCycle: of a cycle without sets no result is offered that can't be recorded; it is given up only
// when a person says so twice, and its indicator is recorded, later ones too.
func TestTestCycle(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-134")
	s.Do("start")
	a := s.Do("start", "value", "S1-0304-08")
	workplacetest.Must(t, a, "S1-0304-08: a test cycle is running")
	if bench := fmt.Sprint(a["bench"]); strings.Contains(bench, `data-do="result"`) ||
		!strings.Contains(bench, "nothing is recorded of it but its biological indicator") {
		t.Error("a result is offered, or it isn't said what is recorded")
	}
	workplacetest.Must(t, s.Do("give-up"), "Give load S1-0304-08 up?")
	h.After(40 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-08", "result", "negative"), "whole", "S1-0304-08: negative")
	if page := h.Get("/at/north/or-3/sterilizer"); strings.Contains(page, `data-load="S1-0304-08"`) {
		t.Error("the cycle lies there still")
	}
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-08", "result", "positive"), "broken", "S1-0304-08: POSITIVE")
}

// TestImplantsWaitForTheIndicator: a load with implants is released when its indicator was read negative,
// or with a reason.
func TestImplantsWaitForTheIndicator(t *testing.T) {
	for _, way := range []string{"indicator", "reason"} {
		t.Run(way, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			l := workplacetest.ListShort()
			l.Version, l.Implants = 2, true
			h.Record("north/packing-1", events.KindListIssued, "", l)
			h.Used("K-0", "VAS-003")
			h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2})
			h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			p := events.DefaultPolicy()
			p.ImplantIndicator = events.Required
			h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
			s := h.AtSterilizer()
			s.Run("7", "VAS-003")
			before := h.Size()
			a := s.Do("result", "result", "passed", "released", "yes")
			workplacetest.Must(t, a, "open", "S1-0304-07 has implants in it")
			if h.Size() != before || strings.Contains(fmt.Sprint(a["bench"]), `data-result="passed" data-released="yes"`) {
				t.Fatal("released, or its button is there")
			}
			workplacetest.Must(t, s.Do("held"), "S1-0304-07 passed and is quarantined")
			if way == "reason" {
				workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes", "emergency", "trauma"), "doubtful",
					"RELEASED before its indicator's result", "For this reason: trauma.")
				return
			}
			s.Do("indicator", "load", "S1-0304-07", "control", "negative", "result", "negative")
			workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "has implants in it")
			s.Do("indicator", "load", "S1-0304-07", "control", "positive", "result", "negative")
			workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "whole", "released")
		})
	}
}

// TestNotReadyForALoad: a set that another cycle alone doesn't make sterile goes into a load only where a
// person says so, and the load's release is not green then.
func TestNotReadyForALoad(t *testing.T) {
	for name, says := range map[string]string{"went back": "VAS-003 went back to be cleaned", "opened": "VAS-003 was opened"} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			if name == "opened" {
				h.Open("VAS-003", "K-1")
			} else {
				h.Record("north/or-3", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnWashed})
			}
			s := h.AtSterilizer()
			s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
			h.After(3 * time.Second)
			workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "broken", says, "packed anew")
			workplacetest.Must(t, s.Scan(""), says)
			workplacetest.Must(t, s.Do("start"), "with no set in it?")
			h.After(3 * time.Second)
			s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
			workplacetest.Must(t, s.Do("put", "value", "VAS-003"), "broken", "VAS-003 in load S1-0304-07", says)
			s.Do("start", "value", "S1-0304-07")
			h.After(15 * time.Minute)
			workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "broken",
				"passed and is released", says, "Keep these sets")
		})
	}
}

// TestLoadThatAnotherScreenChose: a scan made before its screen showed which load another one has chosen
// goes into none without a question; one made after does.
func TestLoadThatAnotherScreenChose(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Packed("LAP-014", "VAS-003", "LAP-022")
	n := 0
	send := func(client string, rev any, verb, rest string) map[string]any {
		n++
		h.After(3 * time.Second)
		return h.Post("/at/north/or-3/sterilizer/"+verb, fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,%s}`, client, n, rev, rest))
	}
	begin := func(rev any, run string) any {
		return send("one", rev, "do", `"action":"begin","fields":{"sterilizer":"S1","run":"`+run+`","cycle":"c-134"}`)["rev"]
	}
	set := func(name string) string {
		return `"text":` + workplacetest.JSONText(workplacetest.Label(t, events.ScanSet, name))
	}
	first := begin(1, "7")
	workplacetest.Must(t, send("two", first, "scan", set("LAP-014")), "LAP-014 in load S1-0304-07")
	shown := send("two", first, "scan", `"text":`+workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, "B-1")))["rev"]
	begin(shown, "8")
	a := send("two", shown, "scan", set("VAS-003"))
	workplacetest.Must(t, a, "open", "VAS-003: into load S1-0304-08, which another screen has chosen?")
	a = send("two", a["rev"], "scan", `"text":""`)
	workplacetest.Must(t, a, "another screen has chosen?")
	a = send("two", a["rev"], "do", `"action":"put","fields":{"value":"VAS-003"}`)
	workplacetest.Must(t, a, "VAS-003 in load S1-0304-08 (sets: 1)")
	workplacetest.Must(t, send("two", a["rev"], "scan", set("LAP-022")), "LAP-022 in load S1-0304-08 (sets: 2)")
	// Undone, the first load is chosen again: that is another one than two's screen shows.
	shown = send("one", shown, "scan", `"text":""`)["rev"]
	shown = send("one", shown, "do", `"action":"choose","fields":{"load":"S1-0304-07"}`)["rev"]
	undone := send("one", shown, "do", `"action":"undo","fields":{}`)
	workplacetest.Must(t, undone, "S1-0304-08")
	workplacetest.Must(t, send("two", shown, "scan", set("VAS-009")), "another screen has chosen?")
}

// TestFailedLoadStaysNamed: which sets a failed load had stands on the page after the next input, in its
// language, as a STOP; likewise that an indicator was positive.
func TestFailedLoadStaysNamed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := h.AtSterilizer()
	s.Run("7", "VAS-003", "LAP-014")
	s.Do("result", "result", "failed")
	h.After(3 * time.Second)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	for lang, says := range map[string]string{"en": "Pull back: VAS-003, LAP-014.", "de": "Zurückholen: VAS-003, LAP-014."} {
		page := h.Get("/at/north/or-3/sterilizer?lang=" + lang)
		if !strings.Contains(page, says) || !strings.Contains(page, `class="last stopped"`) {
			t.Errorf("%s: the page doesn't say %q as a STOP any more", lang, says)
		}
	}
	s.Do("indicator", "load", "S1-0304-01", "result", "positive")
	h.After(3 * time.Second)
	s.Do("next-person")
	if page := h.Get("/at/north/or-3/sterilizer"); !strings.Contains(page, `class="last stopped"`) {
		t.Error("a positive indicator stands there as what is in order does")
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	s.Do("indicator", "load", "S1-0304-01", "result", "negative")
	if page := h.Get("/at/north/or-3/sterilizer"); strings.Contains(page, `class="last stopped"`) {
		t.Error("a negative one stands there as a STOP")
	}
}
