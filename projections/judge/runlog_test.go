package judge

import (
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// logTests are cases of releases that the run's own log contradicts, and what is near them.
func logTests() []findingTest {
	return []findingTest{
		{projections.NotReleased, "the log of its load shows too short a time", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x.unused())
				s.logged(x, clock(0, 7, 10), func(f *events.RunFigures) { f.HoldMillis = 179_999 })
			},
			func(s *story, x *turn) { // long enough; and of another sterilizer, another load, another day; and what isn't known
				s.live(x.unused())
				s.logged(x, clock(0, 7, 10), func(*events.RunFigures) {})
				s.logged(x, clock(0, 7, 5), short)
				s.correct(s.logged(x, clock(0, 7, 20), short), clock(0, 10, 0), nil) // which was taken back
				for _, other := range []func(d *events.RunLogged){
					func(d *events.RunLogged) { d.Sterilizer = "S3" }, func(d *events.RunLogged) { d.Load += "-b" },
					func(d *events.RunLogged) { d.Started = stamp(clock(2, 7, 10)) },
				} {
					d := *logOf(x, clock(0, 7, 10))
					d.Figures.HoldMillis = 1
					other(&d)
					s.tell("sterilizer-2", clock(0, 9, 30), d.Load, "", &d)
				}
			}},
		{projections.NotReleased, "the log of its load shows too little drying, and it was opened", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.live(x)
				s.logged(x, clock(0, 7, 10), func(f *events.RunFigures) { f.DryingMillis = 899_000 })
			},
			func(s *story, x *turn) { // no drying was measured
				s.live(x)
				s.logged(x, clock(0, 7, 10), func(f *events.RunFigures) { f.DryingMillis = 0 })
			}},
		{projections.NotReleased, "the log of the second run of a load that failed shows a dip", projections.SeverityBroken,
			func(s *story, x *turn) { s.failedFirst(x); s.live(x.unused()); s.logged(x, clock(0, 7, 10), short) },
			func(s *story, x *turn) { // of the failed one
				s.failedFirst(x)
				s.live(x.unused())
				s.logged(x, clock(0, 6, 30), short)
			}},
	}
}

// short is a run that was hardly in its band.
func short(f *events.RunFigures) { f.HoldMillis = 1 }

// failedFirst tells that a turn's load failed before.
func (s *story) failedFirst(x *turn) {
	d := *x.run
	d.Result, d.Released = "failed", false
	s.tell("sterilizer-2", clock(0, 7, 0), x.set, x.trip(), &d)
}

// logOf is a log of a turn's load that holds its cycle.
func logOf(x *turn, started time.Time) *events.RunLogged {
	return &events.RunLogged{Load: x.run.Load, Sterilizer: x.run.Sterilizer, Started: stamp(started),
		Cycle:   events.RunCycle{Name: "S2-134", Source: "instructions", LowMilliC: 134_000, HoldSeconds: 180, DryingSeconds: 900},
		Figures: events.RunFigures{Points: 1, HoldMillis: 180_000, DryingMillis: 900_000, MinMilliC: 134_100, MaxMilliC: 135_000}}
}

// logged tells of the log of a turn's load.
func (s *story) logged(x *turn, started time.Time, change func(*events.RunFigures)) *facts.Fact {
	d := logOf(x, started)
	change(&d.Figures)
	return s.tell("sterilizer-2", clock(0, 9, 0), d.Load, "", d)
}
