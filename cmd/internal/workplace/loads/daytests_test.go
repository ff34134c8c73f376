//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// runOver is the sterilizer's page with a load of one set whose run is over, and a badge.
func runOver(t *testing.T, h *workplacetest.House) *workplacetest.Scanner {
	t.Helper()
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Do("put", "value", "VAS-003")
	s.Do("start")
	h.After(2 * time.Hour)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	return s
}

// TestDayTests: before the first load of a sterilizer's day is released the tests that the policy asks for are asked
// one after the other; a failed one stops the release until a later one passed; where it asks for none, nothing is
// asked.
func TestDayTests(t *testing.T) {
	const load = "S1-0304-02"
	both := []events.DayTest{events.BowieDick, events.LeakTest}
	release := func(s *workplacetest.Scanner) workplacetest.Answer {
		return s.Do("result", "result", "passed", "released", "yes")
	}
	for _, x := range []struct {
		name  string
		tests []events.DayTest
		play  func(s *workplacetest.Scanner)
		want  string // recorded since the release was asked for
	}{
		{"nothing", nil, func(*workplacetest.Scanner) {}, "released"},
		{"passed", both, func(s *workplacetest.Scanner) {
			s.Do("test-passed", "value", load+" leak") // which isn't asked yet
			s.Do("test-passed", "value", load+" bowie-dick")
			s.Do("test-passed", "value", load+" leak")
		}, "bowie-dick passed, leak passed, released 2026-03-04"},
		{"not done", both[:1], func(s *workplacetest.Scanner) {
			s.Do("test-why", "value", load+" bowie-dick")
			s.Do("test-not-done", "value", load+" bowie-dick", "reason", "no pack left")
		}, "bowie-dick not-done no pack left, released 2026-03-04"},
		{"failed, and passed since", both[:1], func(s *workplacetest.Scanner) {
			if a := s.Do("test-failed", "value", load+" bowie-dick"); !strings.HasPrefix(fmt.Sprint(a["words"]), "STOP") {
				t.Errorf("a failed test: %v", a["words"])
			}
			if a := release(s); !strings.HasPrefix(fmt.Sprint(a["words"]), "STOP") {
				t.Errorf("released after a failed test: %v", a["words"])
			}
			s.Do("test-since", "value", load+" bowie-dick")
			release(s)
		}, "bowie-dick failed, bowie-dick passed, released 2026-03-04"},
		{"one passed, and the next failed", both, func(s *workplacetest.Scanner) {
			s.Do("test-passed", "value", load+" bowie-dick")
			s.Do("test-failed", "value", load+" leak")
		}, "bowie-dick passed, leak failed"},
		{"said before, by the form", both, func(s *workplacetest.Scanner) {
			s.Do("forget")
			s.Do("test", "sterilizer", "S1", "test", "bowie-dick", "result", "passed", "run", "1")
			leaks := func(rate, unit string) workplacetest.Answer {
				return s.Do("test", "sterilizer", "S1", "test", "leak", "result", "passed", "rate", rate, "unit", unit)
			}
			if a := leaks("1.31", "mbar"); !a.Says("Is the leak test recorded as FAILED?") { // above EN 285's 1.3
				t.Errorf("1.31 mbar a minute: %v", a["words"])
			}
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")) // which answers nothing
			s.Do("forget")
			leaks("0,13", "kPa")
			release(s)
		}, "bowie-dick passed 1, leak passed 130/130, released 2026-03-04"},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.ChangesPolicy(func(p *events.Policy) { p.DayTests = x.tests })
		s := runOver(t, h)
		before := h.Size()
		release(s)
		x.play(s)
		if got := told(h, before); got != x.want {
			t.Errorf("%s: recorded %q, want %q", x.name, got, x.want)
		}
	}
}

// TestFailedDayTestUnasked: a test of the day that failed stops the releases after it also where the policy asks for none.
func TestFailedDayTestUnasked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := runOver(t, h)
	before := h.Size()
	s.Do("test", "sterilizer", "S1", "test", "leak", "result", "failed")
	release := func() workplacetest.Answer { return s.Do("result", "result", "passed", "released", "yes") }
	if a := release(); !a.Says("STOP") {
		t.Errorf("released after a failed test: %v", a["words"])
	}
	s.Do("test-since", "value", "S1-0304-02 leak")
	release()
	if got, want := told(h, before), "leak failed, leak passed, released"; got != want {
		t.Errorf("recorded %q, want %q", got, want)
	}
}

// told are the tests and releases that were recorded after a record.
func told(h *workplacetest.House, before int64) string {
	var out []string
	for seq := before + 1; seq <= h.Size(); seq++ {
		e, err := h.Site.EventAt(seq)
		if err != nil {
			h.T.Fatal(err)
		}
		switch d := e.Data.(type) {
		case *events.SterilizerTested:
			s := fmt.Sprint(d.Test, " ", d.Result)
			if d.Run > 0 {
				s += fmt.Sprint(" ", d.Run)
			}
			if d.LimitPascal > 0 {
				s += fmt.Sprintf(" %d/%d", d.RatePascal, d.LimitPascal)
			}
			out = append(out, strings.TrimSpace(s+" "+d.Reason))
		case *events.SetSterilized:
			out = append(out, strings.TrimSpace("released "+d.Day))
		}
	}
	return strings.Join(out, ", ")
}

// TestDayTestForm: a test that was done and not recorded is recorded with its day, as its finding asks; what the form
// can't take it says in words of the form, and never takes a limit for a rate within it.
func TestDayTestForm(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.DayTests = events.DayTests() })
	s := h.AtSterilizer()
	before := h.Size()
	test := func(test events.DayTest, fields ...string) workplacetest.Answer {
		return s.Do("test", append(fields, "sterilizer", "S1", "test", string(test), "result", "passed", "unit", "mbar")...)
	}
	for _, x := range []struct {
		test   events.DayTest
		fields []string
		says   string
	}{
		{events.BowieDick, []string{"day", "2026-03-05"}, "it is today (2026-03-04) or before"},
		{events.BowieDick, []string{"day", "4.3.2026"}, "it is today (2026-03-04) or before"},
		{events.BowieDick, []string{"rate", "1"}, "Only a leak test has"},
		{events.LeakTest, []string{"limit", "2"}, "The limit of 2 says nothing without the pressure rise"},
		{events.LeakTest, []string{"rate", "150"}, "“150” is not a number that is meant here"},
		{events.LeakTest, []string{"rate", "1", "limit", "0"}, "“0” is not a number that is meant here"},
		{events.LeakTest, []string{"run", "-2"}, "“-2” is not a number that is meant here"},
	} {
		if a := test(x.test, x.fields...); !a.Says(x.says) {
			t.Errorf("%s %q: %v %v, not %q", x.test, x.fields, a["words"], a["more"], x.says)
		}
	}
	test(events.BowieDick, "day", "2026-03-03")
	test(events.LeakTest, "rate", "2", "limit", "2.5")
	if got, want := told(h, before), "bowie-dick passed, leak passed 200/250"; got != want {
		t.Errorf("recorded %q, want %q", got, want)
	}
	if got := h.Last().Data.(*events.SterilizerTested).Day; got != "2026-03-04" {
		t.Errorf("a test without a day is of %s", got)
	}
	if e, err := h.Site.EventAt(before + 1); err != nil || e.Data.(*events.SterilizerTested).Day != "2026-03-03" {
		t.Errorf("yesterday's test: %+v, %v", e, err)
	}
}

// TestDayTestsTakenBack: who takes a release back is told that the tests answered with it go too, before and after, and
// is asked for them again.
func TestDayTestsTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.DayTests = events.DayTests()[:1] })
	s := runOver(t, h)
	s.Do("result", "result", "passed", "released", "yes")
	s.Do("test-passed", "value", "S1-0304-02 bowie-dick")
	const test = "S1: Bowie-Dick test of 2026-03-04 passed"
	workplacetest.Must(t, s.Do("take-back"), test)
	workplacetest.Must(t, s.Do("take-back", "value", "by-mistake"), test)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "how did its Bowie-Dick test")
}
