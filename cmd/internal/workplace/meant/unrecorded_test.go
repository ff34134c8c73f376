//go:build !race

package meant_test

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

// TestPositiveIndicatorIsKept: a positive indicator that is entered before a badge was
// scanned stays in sight, with its lot, until a badge records it; no other scan or
// button takes its place.
func TestPositiveIndicatorIsKept(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-01"))
	// The button of the question says the result alone; what the form said before stays.
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-01", "lot", "BI-77", "control", "positive", "incubated", "180", "result", ""),
		"what does it show?")
	workplacetest.Must(t, s.Do("indicator", "value", "positive"), "broken", "S1-0304-01: POSITIVE", "Scan your badge: it records that")
	before := h.Size()
	for name, a := range map[string]func() map[string]any{
		"a set":          func() map[string]any { return s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")) },
		"a load's label": func() map[string]any { return s.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-01")) },
		"Enter":          func() map[string]any { return s.Scan("") },
		"begin":          func() map[string]any { return s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134") },
		"clear":          func() map[string]any { return s.Do("clear") },
		"next person":    func() map[string]any { return s.Do("next-person") },
		"another load's": func() map[string]any { return s.Do("indicator", "load", "S1-0304-02", "result", "negative") },
	} {
		h.After(3 * time.Second)
		if a := a(); !strings.Contains(workplacetest.Tells(a), "S1-0304-01: POSITIVE") || h.Size() != before {
			t.Fatalf("after %s the page says %s", name, workplacetest.Tells(a))
		}
	}
	h.After(14 * time.Hour) // another shift finds it
	if page := h.Get("/at/north/or-3/sterilizer"); !strings.Contains(page, "S1-0304-01: POSITIVE") {
		t.Fatal("the positive indicator is not on the page any more")
	}
	a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9"))
	workplacetest.Must(t, a, "broken", "S1-0304-01: POSITIVE", "Does what stands here still hold?")
	workplacetest.Must(t, s.Do("left-on", "value", workplacetest.Answer(a).Choice("left-on")["value"]), "broken", "S1-0304-01: POSITIVE")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9")), "broken", "S1-0304-01: POSITIVE")
	e, err := h.Site.EventAt(h.Size())
	if err != nil {
		t.Fatal(err)
	}
	d, ok := e.Data.(*events.IndicatorRead)
	if !ok || h.Size() != before+1 || *d != (events.IndicatorRead{Load: "S1-0304-01", Sterilizer: "S1", Result: "positive", Lot: "BI-77",
		Control: "positive", IncubatedMinutes: 180}) || e.Operator != "B-9" {
		t.Fatalf("recorded %+v by %s", e.Data, e.Operator)
	}
}

// TestForgottenReading: what was entered by mistake is taken back before it is recorded.
func TestForgottenReading(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("indicator", "load", "S1-0304-01", "result", "positive")
	workplacetest.Must(t, s.Do("forget"), "Begin a load")
	before := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9")), "B-9 works here")
	if h.Size() != before {
		t.Error("recorded after all")
	}
}

// TestFailedLoadIsKept: likewise a load that failed, told before a badge was scanned.
func TestFailedLoadIsKept(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	s.Put("VAS-003")
	h.After(time.Minute)
	workplacetest.Must(t, s.Do("result", "result", "failed", "released", "no"), "broken", "S1-0304-07 FAILED", "Scan your badge")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "S1-0304-07 FAILED")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9")), "broken", "S1-0304-07 failed")
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetSterilized)
	if d := got[len(got)-1].(*events.SetSterilized); d.Load != "S1-0304-07" || d.Result != "failed" {
		t.Errorf("recorded %+v", d)
	}
	if a := s.Do("result", "result", "maybe"); h.Size() == 0 || a["no"] != true {
		t.Errorf("a load ended otherwise: %s", workplacetest.Tells(a))
	}
}

// TestIndicatorThatShowsNothing: minutes that no indicator is read after are asked about;
// a negative result beside a control that did not grow is not green.
func TestIndicatorThatShowsNothing(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-9"))
	before := h.Size()
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-01", "lot", "", "control", "positive", "incubated", "1", "result", "negative"),
		"incubated for 1 min only?")
	if h.Size() != before {
		t.Fatal("recorded before it was answered")
	}
	workplacetest.Must(t, s.Do("short"), "whole", "S1-0304-01: negative")
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-01", "lot", "", "control", "negative", "incubated", "60",
		"result", "negative"),
		"doubtful", "its control did not grow")
	if h.Size() != before+2 {
		t.Errorf("%d readings are recorded, want 2", h.Size()-before)
	}
}

// TestLoadNumberTwice: a load that was recorded is not begun again without a question,
// and one of another year has a name of its own: an indicator speaks for one run.
func TestLoadNumberTwice(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	begin := func() map[string]any { return s.Do("begin", "sterilizer", "s1", "run", "1", "cycle", "c-134") }
	workplacetest.Must(t, begin(), "S1-0304-01 was recorded already")
	workplacetest.Must(t, s.Scan(""), "S1-0304-01 was recorded already")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "begin a load first")
	workplacetest.Must(t, s.Do("begin-too", "value", "S1-0304-01"), "Scan the sets that were forgotten in S1-0304-01")
	s.Do("give-up")
	h.Now.Store(workplacetest.Morning.AddDate(1, 0, 0).UnixNano())
	workplacetest.Must(t, begin(), "Scan sets into S1-270304-01")
}

// TestLoadedInDoubt: a set that something is known against is not green in a load, since
// another cycle puts nothing right.
func TestLoadedInDoubt(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/storage", events.KindSetChecked, "LAP-014", &events.SetChecked{Tag: "LAP-014",
		Sheet: &events.Reading{Found: "outside", Code: h.Codes["LAP-022"]}})
	h.Record("north/storage", events.KindSetChecked, "VAS-003", &events.SetChecked{Tag: "VAS-003", Aside: events.AsidePut})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014")), "broken LAP-014 in load", "WRONG COUNT SHEET")
	workplacetest.Must(t, s.Put("LAP-022"), "LAP-022 in load", "probably carries a wrong count sheet")
	a := s.Put("VAS-003")
	if workplacetest.Must(t, a, "VAS-003 in load"); a["status"] == "whole" {
		t.Errorf("a set that was put aside is green: %s", workplacetest.Tells(a))
	}
}

// TestListIssuedWhilePacking: the lines of a half packed set are those of the version by
// which it was begun. That a newer one was issued is asked about; by that one, lines that
// are other instruments there are counted again.
func TestListIssuedWhilePacking(t *testing.T) {
	for answer, want := range map[string]events.SetPacked{
		"stay":   {Version: 1, Exceptions: []events.Exception{{Line: 2, Counted: 1, Reason: "missing"}}},
		"newest": {Version: 2},
	} {
		t.Run(answer, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Used("K-0", "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
			scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
			tag := workplacetest.Label(t, events.ScanTag, "VAS-003")
			for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), tag, "", "1", "1"} {
				scan(text)
			}
			h.Reissued(2)
			for _, text := range []string{"", tag, "3", "8.2", ""} {
				workplacetest.Must(t, scan(text), "VAS-MINOR was issued anew: version 2", "counted again: 1")
			}
			s.Do("line", "line", "3")
			s.Do("record")
			if got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked); len(got) != 1 {
				t.Fatal("packed under a question")
			}
			workplacetest.Must(t, s.Do(answer, "value", "3"), "was issued anew") // of another version than is asked about
			a := s.Do(answer, "value", "2")
			for !strings.Contains(workplacetest.Tells(a), "Weigh it") {
				if workplacetest.Must(t, a, " × "); strings.Contains(workplacetest.Tells(a), "4 × Forceps") {
					t.Fatal("a line that is the same is counted again")
				}
				a = scan("")
			}
			scan("8.2")
			workplacetest.Must(t, scan(""), "VAS-003 packed")
			got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
			d := got[len(got)-1].(*events.SetPacked)
			if d.Version != want.Version || !slices.Equal(d.Exceptions, want.Exceptions) {
				t.Errorf("packed by version %d, %v; want %+v", d.Version, d.Exceptions, want)
			}
		})
	}
}

// TestPackedMeanwhile: that a set on the bench was packed at another one meanwhile is
// asked before it is packed twice.
func TestPackedMeanwhile(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanTag, "VAS-003"), "", "", "", "8.2"} {
		scan(text)
	}
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	before := h.Size()
	workplacetest.Must(t, scan(""), "VAS-003 was packed")
	s.Do("record")
	if h.Size() != before {
		t.Fatal("packed a second time, and nobody was asked")
	}
	trip := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	choices := fmt.Sprint(scan("")["choices"])
	if len(trip) != 2 || !strings.Contains(choices, "do:anew") {
		t.Fatalf("offered: %s", choices)
	}
	workplacetest.Must(t, s.Do("leave"), "Scan the tag")
}

// TestReasonFitsTheNumber: why a line is not packed as listed can't contradict how many were packed.
func TestReasonFitsTheNumber(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	for counted, x := range map[string]struct{ no, yes string }{"7": {"135", "24"}, "1": {"4", "1235"}} {
		a := scan(counted)
		workplacetest.Must(t, a, "Why?")
		for _, c := range a["choices"].([]any) {
			words := c.(map[string]any)["words"].(string)
			if strings.Contains(x.no, words[:1]) {
				t.Errorf("%s of 4 may be %q", counted, words)
			}
		}
		for _, n := range x.no {
			workplacetest.Must(t, scan(string(n)), "Line 1: "+counted+" of 4. Why?")
		}
		if a := s.Do("line", "line", "1", "reason", []string{"", "missing", "", "", "added"}[x.no[0]-'0']); a["no"] != true {
			t.Errorf("taken by its button: %s", workplacetest.Tells(a))
		}
		workplacetest.Must(t, scan(""), "Why?")
		workplacetest.Must(t, scan(x.yes[:1]), "2 × Clamp")
		s.Do("line", "line", "1", "clear", "1")
	}
}

// TestPassedOff: what was passed off is a whole number of pieces that are there, and why
// is said in words.
func TestPassedOff(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	why := "given to pathology"
	for _, x := range []struct{ quantity, reason, says string }{
		{"2 of 4", why, "how many"}, {"3x", why, "how many"}, {"1 2", why, "how many"}, {"99", why, "only 4 are there"},
		{"-1", why, "how many"},
		{"1", workplacetest.Label(t, events.ScanBadge, "B-3310"), "looks like a code"}, {"1", "P47110815",
			"looks like a code"}, {"1", "", "why"},
	} {
		a := c.Do("removed", "set", "VAS-003", "line", "1", "quantity", x.quantity, "reason", x.reason)
		if a["no"] != true || !strings.Contains(workplacetest.Tells(a), x.says) {
			t.Errorf("%q, %q: %s", x.quantity, x.reason, workplacetest.Tells(a))
		}
	}
	if a := c.Do("removed", "set", "VAS-003", "line", "1", "quantity", " 2 ", "reason", why); a["no"] == true {
		t.Errorf("2 of 4: %s", workplacetest.Tells(a))
	}
}

// TestReasonIsNoCode: at closing and at the other places a code is no reason.
func TestReasonIsNoCode(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Do("action", "action", "recounted")
	for _, act := range []string{"reason", "record"} {
		workplacetest.Must(t, s.Do(act, "reason", "P47110815"), "P47110815 looks like a code")
	}
	if a := s.Do("reason", "reason", "swab 12 not found"); a["no"] == true {
		t.Errorf("a sentence: %s", workplacetest.Tells(a))
	}
}

// TestLateScansOfADeadScreen: what a screen entered before another one went on here is of
// a set that is no longer in hand. It is not taken, however often it was scanned.
func TestLateScansOfADeadScreen(t *testing.T) {
	h := workplacetest.NewHouse(t)
	n := 0
	post := func(client string, rev any, ago time.Duration, text string) map[string]any {
		n++
		return h.Post("/at/north/or-3/opening/scan", fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"ago":%d,"text":%q}`, client, n, rev,
			ago.Milliseconds(), text))
	}
	rev := post("dead", 1, 0, workplacetest.Label(t, events.ScanCase, "K-1"))["rev"]
	h.After(2 * time.Minute)
	now := post("alive", rev, 0, workplacetest.Label(t, events.ScanTag, "LAP-014"))
	now = post("alive", now["rev"], 0, h.Codes["LAP-014"])
	for i, text := range []string{workplacetest.Label(t, events.ScanTag, "LAP-022"), h.Codes["LAP-022"], h.Codes["LAP-022"],
		workplacetest.Label(t, events.ScanOuter, "LAP-022")} {
		a := post("dead", rev, time.Minute-time.Duration(i)*5*time.Second, text)
		if a["rev"] != now["rev"] || a["stale"] != true {
			t.Fatalf("taken onto the set that another nurse has in hand: %s", workplacetest.Tells(a))
		}
	}
	h.Now.Store(workplacetest.Morning.Add(18*time.Hour + time.Minute).UnixNano()) // past midnight
	post("alive", now["rev"], 0, workplacetest.Label(t, events.ScanOuter, "LAP-014"))
	if a := post("dead", rev, 2*time.Minute, h.Codes["LAP-022"]); a["stale"] != true {
		t.Errorf("taken from the day before: %s", workplacetest.Tells(a))
	}
}

// TestBadgesOfACountAge: a badge counts as long as policy says from when it was scanned,
// and on its day, whatever is counted at another screen meanwhile.
func TestBadgesOfACountAge(t *testing.T) {
	for name, wait := range map[string]time.Duration{"five hours": 5 * time.Hour, "past midnight": 4 * time.Minute} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
			h.Open("VAS-003", "K-1")
			h.Open("VAS-004", "K-1")
			if name == "past midnight" {
				h.Now.Store(workplacetest.Morning.Add(17*time.Hour + 57*time.Minute).UnixNano())
			}
			c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
			c.Lines("VAS-003", 4, 2, 3)
			c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
			h.After(wait)
			c.Lines("VAS-004", 4, 2, 3)
			before := h.Size()
			a := c.Scan("")
			if st := a["state"].(map[string]any); h.Size() != before || st["counter"] != "" || st["witness"] != "" {
				t.Errorf("signed by the badges of before: %s", workplacetest.Tells(a))
			}
		})
	}
}

// TestTakenBackInEachLanguage: what was taken back is told in the language of the page.
func TestTakenBackInEachLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanTag, "VAS-003"), "", "", "", "8.2", ""} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), "Taken back: VAS-003 packed")
	page := h.Get("/at/north/or-3/packing?lang=de")
	if !strings.Contains(page, "Zurückgenommen: ") || strings.Contains(page, "VAS-003 packed") {
		_, at, _ := strings.Cut(page, "Zurückgenommen")
		t.Errorf("the German page says: Zurückgenommen%.60s", at)
	}
}

// TestWashersLoadOfYesterday: the washer's load of another day is not that of today's sets.
func TestWashersLoadOfYesterday(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.Do("step", "value", "washed")
	workplacetest.Must(t, s.Do("load", "washer", "w2", "run", "3"), "scan the tag")
	h.After(time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "Enter records: VAS-003 washed", "W2-0304-03")
	h.After(24 * time.Hour)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "VAS-003: which step is this?")
	workplacetest.Must(t, s.Scan("3"), "which load of which washer?")
}
