package judge

import (
	"listbound/events"
	"listbound/projections"
)

// askTests are cases of releases without what the policy asks for, and what is near them.
func askTests() []findingTest {
	asking := func(s *story, asks ...events.ReleaseAsk) { s.policy(func(p *events.Policy) { p.ReleaseAsks = asks }) }
	negative := func(s *story, x *turn, hour int) {
		s.tell("sterilizer-2", clock(0, hour, 50), x.run.Load, "", &events.IndicatorRead{Load: x.run.Load, Sterilizer: x.run.Sterilizer,
			Result: "negative"})
	}
	return []findingTest{
		{projections.NotReleased, "its run was not looked at, as the policy asks", projections.SeverityDoubtful,
			func(s *story, x *turn) { asking(s, events.AskParameters); s.live(x.unused()) },
			func(s *story, x *turn) { asking(s, events.AskParameters); x.run.Parameters = "met"; s.live(x.unused()) }},
		{projections.NotReleased, "no log speaks for its run either", projections.SeverityDoubtful,
			func(s *story, x *turn) { asking(s, events.AskParameters); s.live(x) },
			func(s *story, x *turn) { // one does; nor is anything asked elsewhere
				asking(s, events.AskParameters)
				s.live(x)
				s.logged(x, clock(0, 7, 10), func(*events.RunFigures) {})
			}},
		{projections.NotReleased, "one badge looked twice before the release", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				asking(s, events.AskSecondLook)
				x.run.SecondLook = "B-1182" // who released it
				s.live(x.unused())
			},
			func(s *story, x *turn) { asking(s, events.AskSecondLook); x.run.SecondLook = "B-9"; s.live(x.unused()) }},
		{projections.NotReleased, "released early with a reason, where every load waits for its indicator", projections.SeverityNoted,
			func(s *story, x *turn) {
				asking(s, events.AskIndicator)
				x.run.Emergency = "the only set"
				s.live(x.unused())
				negative(s, x, 9)
			},
			func(s *story, x *turn) { asking(s, events.AskIndicator); negative(s, x, 7); s.live(x.unused()) }},
	}
}
