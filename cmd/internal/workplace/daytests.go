package workplace

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// The tests that a sterilizer's day begins with, as the policy has them: they are asked for when the first load of the
// day is released, not when it is started, since a warm-up is common. Where the policy has none nothing is asked.

// dayAsked is what was asked and answered of the tests of a load's day.
type dayAsked struct {
	Day    string                    `json:"day,omitempty"`
	Test   events.DayTest            `json:"test,omitempty"`   // asked for now
	Why    bool                      `json:"why,omitempty"`    // it was not done, and why is asked
	Tested []events.SterilizerTested `json:"tested,omitempty"` // answered, recorded with the release
}

// about names the test that is asked for: an answer for another load or test is none.
func (e *dayAsked) about(l *load) string { return l.Load + " " + string(e.Test) }

// TestIs is that, for the page.
func (e *endingEntered) TestIs(load string) string { return load + " " + string(e.Test) }

// dayNow is the local day.
func (v *visit) dayNow() string { return v.now.In(v.d.site.Zone()).Format(time.DateOnly) }

// dayOf is the local day on which a load was started.
func (v *visit) dayOf(l *load) string {
	at := l.StartedAt
	if at.IsZero() {
		at = v.now
	}
	return at.In(v.d.site.Zone()).Format(time.DateOnly)
}

// testsStand is what each test of a sterilizer's day showed last: passed, failed or not-done.
func (v *visit) testsStand(sterilizer, day string) (map[events.DayTest]string, error) {
	out := make(map[events.DayTest]string)
	err := v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.DayTests(sterilizer, day) {
			d := facts.TestOf(it)
			if shows := d.Shows(); shows != events.TestNotDone || out[d.Test] == "" {
				out[d.Test] = shows
			}
		}
		return w.Failed()
	})
	return out, err
}

// askedOfDay finds out which test of the load's day is still to be asked for by the policy, and which test of that day failed,
// "" for none. A failed one stops a release whether the policy asks for it or not.
func (v *visit) askedOfDay(l *load, e *endingEntered, p *events.Policy) (failed events.DayTest, err error) {
	was, day := e.Test, v.dayOf(l)
	e.Test = ""
	stand, err := v.testsStand(l.Sterilizer, day)
	if err != nil {
		return "", err
	}
	for _, t := range events.DayTests() {
		if stand[t] == events.TestFailed {
			e.Day = day
			return t, nil
		}
	}
	if len(p.DayTests) == 0 {
		return "", nil
	}
	e.Day = day
	for _, t := range p.DayTests {
		same := func(d events.SterilizerTested) bool { return d.Test == t && d.Day == day }
		if e.Test == "" && stand[t] == "" && !slices.ContainsFunc(e.Tested, same) {
			e.Test = t
		}
	}
	e.Why = e.Why && e.Test == was && was != ""
	return "", nil
}

// testStops says that a load is not released, since its sterilizer failed a test of the day.
func (v *visit) testStops(l *load, day string, failed events.DayTest) said {
	choices := []choice{{Do: "test-since", Value: l.Load + " " + string(failed), Words: v.t("do-test-since")}}
	if slices.ContainsFunc(l.Sets, l.notHeld) {
		choices = slices.Insert(choices, 0, choice{Do: "held", Words: v.t("passed-held"), Main: true})
	}
	s := wrong(v.t("test-stops", l.Load, l.Sterilizer, v.t("day-test-"+string(failed)), day), v.t("test-stops-more"))
	return s.offer(choices...)
}

// askTest asks for a test of the day.
func (v *visit) askTest(l *load, e *endingEntered) said {
	name, forget := v.t("day-test-"+string(e.Test)), choice{Do: "forget", Words: v.t("forget-entered")}
	if e.Why {
		return ask(v.t("test-why", name, l.Sterilizer, e.Day), v.t("test-why-more")).offer(forget)
	}
	return ask(v.t("test-asked", l.Sterilizer, name, e.Day), v.t("test-asked-more", l.Load)).offer(
		choice{Do: "test-passed", Value: e.about(l), Words: v.t("do-test-passed")},
		choice{Do: "test-failed", Value: e.about(l), Words: v.t("do-test-failed")},
		choice{Do: "test-why", Value: e.about(l), Words: v.t("do-test-why")}, forget)
}

// testAsked is the load whose day's test is in sight, where an answer is to that; nil else.
func (b *sterilizer) testAsked(f fields) *load {
	e, l := b.Ending, b.find(b.Load)
	if e == nil || l == nil || e.Test == "" || e.Early || e.Since || e.Other || f["value"] != e.about(l) {
		return nil
	}
	return l
}

// answered is an answer to that.
func (b *sterilizer) answered(l *load, result string) events.SterilizerTested {
	return events.SterilizerTested{Sterilizer: l.Sterilizer, Day: b.Ending.Day, Test: b.Ending.Test, Result: result}
}

func (b *sterilizer) sayTestPassed(v *visit, f fields) (said, error) {
	if l := b.testAsked(f); l != nil {
		b.Ending.Tested = append(b.Ending.Tested, b.answered(l, events.TestPassed))
		return b.recordEnding(v)
	}
	return said{}, nil
}

// sayTestFailed answers that the test failed: that is recorded, with what was answered before, and the load is not
// released.
func (b *sterilizer) sayTestFailed(v *visit, f fields) (said, error) {
	if l := b.testAsked(f); l != nil {
		b.Ending, b.Tests = nil, append(b.Ending.Tested, b.answered(l, events.TestFailed))
		return b.recordTests(v)
	}
	return said{}, nil
}

func (b *sterilizer) sayTestWhy(_ *visit, f fields) (said, error) {
	if b.testAsked(f) != nil {
		b.Ending.Why = true
	}
	return said{}, nil
}

// sayTestNotDone answers why it was not done.
func (b *sterilizer) sayTestNotDone(v *visit, f fields) (said, error) {
	l := b.testAsked(f)
	if l == nil {
		return said{}, nil
	}
	why, err := v.reason(f["reason"])
	if err != nil {
		return said{}, err
	}
	d := b.answered(l, events.TestNotDone)
	if d.Reason = why; why == "" {
		return said{}, v.sayNo("test-say-why")
	}
	if err := d.Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	b.Ending.Tested, b.Ending.Why = append(b.Ending.Tested, d), false
	return b.recordEnding(v)
}

// sayTestSince answers that the test which failed was done again, and passed.
func (b *sterilizer) sayTestSince(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l == nil {
		return said{}, nil
	}
	test, ours := strings.CutPrefix(f["value"], l.Load+" ")
	stand, err := v.testsStand(l.Sterilizer, v.dayOf(l))
	if err != nil || !ours || stand[events.DayTest(test)] != events.TestFailed {
		return said{}, err
	}
	b.Tests = []events.SterilizerTested{
		{Sterilizer: l.Sterilizer, Day: v.dayOf(l), Test: events.DayTest(test), Result: events.TestPassed},
	}
	return b.recordTests(v)
}

// test takes a test of the day from its form.
func (b *sterilizer) test(v *visit, f fields) (said, error) {
	why, err := v.reason(f["reason"])
	if err != nil {
		return said{}, err
	}
	d := &events.SterilizerTested{Sterilizer: strings.TrimSpace(f["sterilizer"]), Test: events.DayTest(f["test"]),
		Result: f["result"], Reason: why}
	if d.Day, err = v.testDay(strings.TrimSpace(f["day"])); err != nil {
		return said{}, err
	}
	if run := strings.TrimSpace(f["run"]); run != "" {
		if d.Run, err = strconv.ParseInt(run, 10, 64); err != nil || d.Run < 1 {
			return said{}, v.sayNo("test-number", run)
		}
	}
	if err := v.takeRate(d, strings.TrimSpace(f["rate"]), strings.TrimSpace(f["limit"]), f["unit"]); err != nil {
		return said{}, err
	}
	switch {
	case d.Sterilizer == "" || d.Result == "":
		return said{}, v.sayNo("test-say-what")
	case d.Result == events.TestNotDone && why == "":
		return said{}, v.sayNo("test-say-why")
	}
	if err := d.Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	like, err := b.likeSterilizer(v, d.Sterilizer)
	if err != nil {
		return said{}, err
	}
	if like != "" {
		return said{}, v.sayNo("test-sterilizer-like", d.Sterilizer, like)
	}
	b.Tests = []events.SterilizerTested{*d}
	return b.recordTests(v)
}

// testDay is the day that a test is for: today, or one before, whose test was done and not recorded.
func (v *visit) testDay(text string) (string, error) {
	today := v.dayNow()
	if text == "" {
		return today, nil
	}
	if _, err := time.Parse(time.DateOnly, text); err != nil || text > today {
		return "", v.sayNo("test-day", text, today)
	}
	return text, nil
}

// takeRate takes how fast the pressure rose in a leak test, and how fast it may. A limit alone shows nothing, so it is
// not taken for a test within it.
func (v *visit) takeRate(d *events.SterilizerTested, rate, limit, unit string) (err error) {
	switch {
	case rate == "" && limit == "":
		return nil
	case d.Test != events.LeakTest:
		return v.sayNo("test-rate-leak")
	case rate == "":
		return v.sayNo("test-rate-missing", limit)
	}
	if d.RatePascal, err = v.rises(rate, unit); err != nil {
		return err
	}
	if d.LimitPascal = events.LeakLimitPascal; limit == "" {
		return nil
	}
	if d.LimitPascal, err = v.rises(limit, unit); err == nil && d.LimitPascal == 0 {
		return v.sayNo("test-number", limit)
	}
	return err
}

// leaks is a test that waits and was called passed, and whose own rate is above its limit; nil for none.
func (b *sterilizer) leaks() *events.SterilizerTested {
	for i := range b.Tests {
		if d := &b.Tests[i]; d.Shows() != d.Result {
			return d
		}
	}
	return nil
}

// sayTestLeaked answers that such a test failed.
func (b *sterilizer) sayTestLeaked(v *visit, f fields) (said, error) {
	d := b.leaks()
	if d == nil || f["value"] != strconv.FormatInt(d.RatePascal, 10) {
		return said{}, nil
	}
	d.Result = d.Shows()
	return b.recordTests(v)
}

// rises reads how fast a pressure rises, in pascals a minute.
func (v *visit) rises(text, unit string) (int64, error) {
	per := map[string]float64{"mbar": 100, "kPa": 1000}[unit] // pascals, NIST SP 811
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || per == 0 || math.IsNaN(x) || x < 0 || x*per > events.MaxLeakPascal {
		return 0, v.sayNo("test-number", text)
	}
	return int64(math.Round(x * per)), nil
}

// tested says what a test of the day showed.
func (v *visit) tested(d *events.SterilizerTested) (s said, says phrase) {
	says = v.phrased("test-"+d.Result, d.Sterilizer, v.t("day-test-"+string(d.Test)), d.Day)
	switch d.Result {
	case events.TestFailed:
		s = wrong(v.t("test-stop", d.Sterilizer, v.t("day-test-"+string(d.Test)), d.Day), v.t("test-failed-more"))
		return s, says
	case events.TestNotDone:
		return doubt(v.say(says), d.Reason), says
	}
	return good(v.say(says), ""), says
}

// askTested asks for the badge that records tests of the day. What was called passed above its limit is asked about
// first.
func (b *sterilizer) askTested(v *visit) said {
	if d := b.leaks(); d != nil {
		return wrong(v.t("test-leaks", d.Sterilizer, d.Rate(), d.Limit()), v.t("test-leaks-more")).offer(
			choice{Do: "test-leaked", Value: strconv.FormatInt(d.RatePascal, 10), Words: v.t("do-test-leaked"), Main: true},
			choice{Do: "forget", Words: v.t("forget-entered")})
	}
	s, _ := v.tested(&b.Tests[len(b.Tests)-1])
	if s.Status == "whole" {
		s = ask(s.Words, s.More)
	}
	return b.toRecord(v, s)
}

// recordTests records them, once it is known by whom.
func (b *sterilizer) recordTests(v *visit) (s said, err error) {
	if b.Operator == "" || b.leaks() != nil {
		return said{}, nil // it is asked for
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	var obs []*events.Observation
	var says []phrase
	for _, d := range b.Tests {
		one, says1 := v.tested(&d)
		s, says, obs = one, append(says, says1), append(obs, v.testOf(b, &d, at))
	}
	rs, err := v.observe(obs...)
	if err != nil {
		return said{}, err
	}
	b.At, b.Tests = time.Time{}, nil
	b.Done = &done{Says: says, Seqs: seqs(rs), IDs: ids(rs), Stop: s.Status == "broken"}
	return s, nil
}

func (v *visit) testOf(b *sterilizer, d *events.SterilizerTested, at time.Time) *events.Observation {
	return &events.Observation{Station: v.station, Kind: events.KindSterilizerTested, Time: at, Operator: b.Operator,
		Data: d}
}

// testsToday says how the tests of today stand of the sterilizer whose load is in hand.
func (v *visit) testsToday(p *events.Policy, name string) (out []string, err error) {
	if len(p.DayTests) == 0 || name == "" {
		return nil, nil
	}
	day := v.dayNow()
	stand, err := v.testsStand(name, day)
	for _, t := range p.DayTests {
		if shows := stand[t]; shows != "" {
			out = append(out, v.t("test-"+shows, name, v.t("day-test-"+string(t)), day))
		}
	}
	return out, err
}
