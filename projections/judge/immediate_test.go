package judge

import (
	"listbound/events"
	"listbound/projections"
)

// immediateTests are runs for immediate use.
func immediateTests() []findingTest {
	const code = projections.ForImmediateUse
	run := func(x *turn, ref string) *turn {
		x.run.Immediate, x.run.For = "fell to the floor, and there is no other one", ref
		return x
	}
	// dropped tells of a set that was used, and run in the middle of its case for a case.
	dropped := func(s *story, x *turn, ref string) {
		s.live(x)
		again := *x.run
		again.Load, again.Run = x.run.Load+"-again", x.run.Run+1
		again.Immediate, again.For = "fell to the floor, and there is no other one", ref
		s.tell("sterilizer-2", clock(1, 8, 0), x.set, x.trip(), &again)
	}
	plain := func(s *story, x *turn) { s.live(x) }
	return []findingTest{
		{code, "used for the case that waited", projections.SeverityNoted,
			func(s *story, x *turn) { x.check = nil; s.live(run(x, x.ref)) }, plain},
		{code, "of no case that is named", projections.SeverityNoted,
			func(s *story, x *turn) { x.check = nil; s.live(run(x, "")) }, plain},
		{code, "stored before it was used", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(run(x, x.ref)) }, plain},
		{code, "stored, and not used", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(run(x, x.ref).unused()) }, func(s *story, x *turn) { s.live(x.unused()) }},
		{code, "used for another case", projections.SeverityBroken,
			func(s *story, x *turn) { x.check = nil; s.live(run(x, "K-9")) }, plain},
		{code, "used for another case, and run again since", projections.SeverityBroken,
			func(s *story, x *turn) {
				x.check = nil
				s.live(run(x, "K-9"))
				s.runAgain(x, clock(1, 12, 0), "passed", true)
			},
			func(s *story, x *turn) { s.live(x); s.runAgain(x, clock(1, 12, 0), "passed", true) }},
		{code, "dropped in its case, and not opened again", projections.SeverityNoted,
			func(s *story, x *turn) { dropped(s, x, x.ref) }, plain},
		{code, "dropped in its case, run for it, opened for another", projections.SeverityBroken,
			func(s *story, x *turn) { dropped(s, x, x.ref); s.opened(x, clock(1, 8, 20), "K-9") },
			func(s *story, x *turn) {
				s.live(x)
				s.runAgain(x, clock(1, 8, 0), "passed", true)
				s.opened(x, clock(1, 8, 20), "K-9")
			}},
		{code, "dropped in its case, opened for it again, then for another", projections.SeverityBroken,
			func(s *story, x *turn) {
				dropped(s, x, x.ref)
				s.opened(x, clock(1, 8, 20), x.ref)
				s.opened(x, clock(1, 12, 0), "K-9")
			},
			func(s *story, x *turn) { s.live(x) }},
		{code, "dropped in its case, run for it, put back", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				dropped(s, x, x.ref)
				s.tell("storage", clock(1, 12, 0), x.set, x.trip(), &events.SetChecked{Tag: x.set, Place: "storage A4"})
			}, plain},
		{code, "run for its case, which is not that of the first opening", projections.SeverityNoted,
			func(s *story, x *turn) { dropped(s, x, "K-9"); s.opened(x, clock(1, 8, 20), "K-9") }, plain},
	}
}
