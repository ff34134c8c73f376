package judge

import "listbound/projections"

// immediateTests are runs for immediate use.
func immediateTests() []findingTest {
	const code = projections.ForImmediateUse
	run := func(x *turn, ref string) *turn {
		x.run.Immediate, x.run.For = "fell to the floor, and there is no other one", ref
		return x
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
	}
}
