package judge

import (
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// dayTests finds a release on a day whose test failed, or is missing, by the policy of that time. A test that is
// recorded later and passed settles what was only late; where one failed before, a later one speaks for the loads after
// it alone. What was not done for a reason is noted by itself, beside what nobody said anything of.
func (j *judgement) dayTests() {
	open := j.w.firstOpened(j.c)
	good, _ := j.c.Releasing(j.w.Book, open)
	if good == nil {
		return
	}
	p := j.w.PolicyFor(good)
	if len(p.DayTests) == 0 {
		return
	}
	d := facts.RunOf(good)
	day := d.DayOf(good.At())
	all := j.w.DayTests(d.Sterilizer, day)
	lacks := func(sev projections.Severity, tests []events.DayTest, reason string, said ...*facts.Item) {
		if len(tests) == 0 {
			return
		}
		f := j.add(projections.NotReleased, sev, &projections.WithoutDayTest{Set: j.c.Key.Set, Run: *runDetail(good), Day: day,
			Lacks: tests, Reason: reason, Opened: momentAt(open)}, append([]*facts.Item{good, open}, said...)...)
		f.From, f.To = good.At(), good.At()
	}
	var missing, notDone []events.DayTest
	var said []*facts.Item
	var reasons []string
	for _, test := range p.DayTests {
		of := testedBy(all, test, good.At().Add(facts.Seconds(p.ClockToleranceSeconds)))
		switch {
		case of.stands == nil && of.notDone == nil:
			missing = append(missing, test)
		case of.stands == nil:
			notDone, said = append(notDone, test), append(said, of.notDone)
			reasons = append(reasons, facts.TestOf(of.notDone).Reason)
		case facts.TestOf(of.stands).Shows() == events.TestFailed:
			j.failedTest(good, open, day, of)
		}
	}
	lacks(projections.SeverityDoubtful, missing, "")
	lacks(projections.SeverityNoted, notDone, strings.Join(reasons, "; "), said...) // the reason is of these alone
}

// failedTest tells of a release on a day whose test failed.
func (j *judgement) failedTest(good, open *facts.Item, day string, of testStands) {
	t := facts.TestOf(of.stands)
	d := &projections.AfterFailedTest{Set: j.c.Key.Set, Run: *runDetail(good), Day: day, Test: t.Test,
		Failed: moment(of.stands), After: of.late, Leaked: t.Result != events.TestFailed,
		Passed: momentAt(of.passed), Opened: momentAt(open)}
	f := j.add(projections.NotReleased, projections.SeverityBroken, d, good, of.stands, of.passed, open)
	f.From, f.To = good.At(), good.At()
}

// testStands is how a test of the day stands for a load.
type testStands struct {
	stands  *facts.Item // the last that was done before the release, else the first after it; nil for none
	late    bool        // it came after the release
	passed  *facts.Item // the first that passed after one that failed, once the load had been released
	notDone *facts.Item // the last that says why it was not done
}

// testedBy finds how a test of the day stands for a load that was released at a moment.
func testedBy(all []*facts.Item, test events.DayTest, released time.Time) (out testStands) {
	for _, it := range all {
		d := facts.TestOf(it)
		if d.Test != test {
			continue
		}
		after := it.At().After(released)
		switch shows := d.Shows(); {
		case shows == events.TestNotDone:
			out.notDone = it
		case !after || out.stands == nil:
			out.stands, out.late = it, after
		case out.passed == nil && shows == events.TestPassed:
			out.passed = it
		}
	}
	return out
}
