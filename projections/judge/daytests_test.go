package judge

import (
	"fmt"
	"testing"

	"listbound/events"
	"listbound/projections"
)

// dayTestCases are cases of releases on a day whose tests failed or are missing, and what is near them.
func dayTestCases() []findingTest {
	asking := func(s *story, tests ...events.DayTest) { s.policy(func(p *events.Policy) { p.DayTests = tests }) }
	tested := func(s *story, hour int, test events.DayTest, result string, change ...func(*events.SterilizerTested)) {
		d := &events.SterilizerTested{Sterilizer: "S2", Day: clock(0, 0, 0).Format("2006-01-02"), Test: test, Result: result}
		for _, c := range change {
			c(d)
		}
		s.tell("sterilizer-2", clock(0, hour, 0), d.Sterilizer, "", d)
	}
	leaks := func(rate int64) func(*events.SterilizerTested) { // EN 285's limit of 0.13 kPa a minute, from memory
		return func(d *events.SterilizerTested) { d.RatePascal, d.LimitPascal = rate, events.LeakLimitPascal }
	}
	return []findingTest{
		{projections.NotReleased, "no test of the day is recorded, as the policy asks", projections.SeverityDoubtful,
			func(s *story, x *turn) { asking(s, events.BowieDick); s.live(x.unused()) },
			func(s *story, x *turn) { // one that is recorded late speaks for it all the same
				asking(s, events.BowieDick)
				s.live(x.unused())
				tested(s, 9, events.BowieDick, "passed")
			}},
		{projections.NotReleased, "the day's tests are of another sterilizer, day and sort", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				asking(s, events.BowieDick)
				tested(s, 5, events.BowieDick, "passed", func(d *events.SterilizerTested) { d.Sterilizer = "S3" })
				tested(s, 5, events.BowieDick, "passed",
					func(d *events.SterilizerTested) { d.Day = clock(-1, 0, 0).Format("2006-01-02") })
				tested(s, 5, events.LeakTest, "passed")
				s.live(x)
			},
			func(s *story, x *turn) { // the station's own day counts
				asking(s, events.BowieDick)
				x.run.Day = clock(-1, 0, 0).Format("2006-01-02")
				tested(s, 5, events.BowieDick, "passed", func(d *events.SterilizerTested) { d.Day = x.run.Day })
				s.live(x)
			}},
		{projections.NotReleased, "the day's test was not done, for a reason", projections.SeverityNoted,
			func(s *story, x *turn) {
				asking(s, events.BowieDick)
				tested(s, 5, events.BowieDick, "not-done", func(d *events.SterilizerTested) { d.Reason = "no pack left" })
				s.live(x.unused())
			},
			func(s *story, x *turn) { s.live(x.unused()) }}, // nothing is asked for
		{projections.NotReleased, "the day's test failed, and passed after the release", projections.SeverityBroken,
			func(s *story, x *turn) {
				asking(s, events.BowieDick)
				tested(s, 5, events.BowieDick, "passed")
				tested(s, 6, events.BowieDick, "failed")
				s.live(x)
				tested(s, 9, events.BowieDick, "passed")
			},
			func(s *story, x *turn) { // before it, and failed once more after it
				asking(s, events.BowieDick)
				tested(s, 5, events.BowieDick, "failed")
				tested(s, 6, events.BowieDick, "passed")
				s.live(x)
				tested(s, 9, events.BowieDick, "failed")
			}},
		{projections.NotReleased, "the day's test was done after the release, and failed", projections.SeverityBroken,
			func(s *story, x *turn) {
				asking(s, events.LeakTest)
				s.live(x.unused())
				tested(s, 9, events.LeakTest, "failed")
			},
			func(s *story, x *turn) { // which was taken back, and said anew
				asking(s, events.LeakTest)
				s.live(x.unused())
				tested(s, 9, events.LeakTest, "failed")
				s.correct(s.last(events.KindSterilizerTested), clock(0, 10, 0), &events.SterilizerTested{Sterilizer: "S2",
					Day: clock(0, 0, 0).Format("2006-01-02"), Test: events.LeakTest, Result: "passed"})
			}},
		{projections.NotReleased, "the chamber leaked more than its limit, and was called passed", projections.SeverityBroken,
			func(s *story, x *turn) {
				asking(s, events.LeakTest)
				tested(s, 5, events.LeakTest, "passed", leaks(131))
				s.live(x.unused())
			},
			func(s *story, x *turn) {
				asking(s, events.LeakTest)
				tested(s, 5, events.LeakTest, "passed", leaks(130))
				s.live(x.unused())
			}},
	}
}

// TestDayTestsApart: of two tests that a day lacks one was not done for a reason, and nobody said anything of the other.
// The reason is told, and of its own test alone.
func TestDayTestsApart(t *testing.T) {
	s, x := plain()
	s.policy(func(p *events.Policy) { p.DayTests = events.DayTests() })
	s.tell("sterilizer-2", clock(0, 5, 0), "S2", "", &events.SterilizerTested{Sterilizer: "S2",
		Day: clock(0, 0, 0).Format("2006-01-02"), Test: events.BowieDick, Result: events.TestNotDone, Reason: "no pack left"})
	s.live(x.unused())
	v := judge(t, s.world(), x.key())
	checkVerdict(t, v)
	said := make(map[string]bool)
	for _, f := range find(v, projections.NotReleased) {
		d := f.Detail.(*projections.WithoutDayTest)
		said[fmt.Sprint(f.Severity, " ", d.Lacks, " ", d.Reason)] = true
	}
	if len(said) != 2 || !said["doubtful [leak] "] || !said["noted [bowie-dick] no pack left"] {
		t.Errorf("found %v in %s", said, show(v))
	}
}
