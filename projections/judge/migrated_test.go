package judge

import (
	"testing"

	"listbound/events"
	"listbound/projections"
)

// risky makes the list of a turn one of high risk.
func (s *story) risky(x *turn) {
	x.list.HighRisk = true
	s.resealed(x)
}

// migrationTests are pieces that lie in another set, where one of the two is of high risk.
func migrationTests() []findingTest {
	const moved = projections.PieceMigrated
	mine, other := []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)}
	// counted tells of a case at whose end a piece of x lies in another set, and how both were packed then.
	counted := func(s *story, x *turn, mine, other []events.Exception) *turn {
		y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
		x.final.Counts[0].Counted, y.final.Counts[0].Counted = 5, 4
		s.live(y)
		s.live(x)
		s.again(y, 1, other...)
		s.again(x, 1, mine...)
		return y
	}
	return []findingTest{
		{moved, "its piece lies in another set of the case", projections.SeverityBroken,
			func(s *story, x *turn) { s.risky(x); s.two(x, mine, other) },
			func(s *story, x *turn) { s.two(x, mine, other) }},
		{moved, "of high risk by the register of sets", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.registers(events.RegisterSets)
				s.enter(clock(-1, 5, 0), &events.SetEntered{Set: x.set, HighRisk: true})
				s.two(x, mine, other)
			},
			func(s *story, x *turn) {
				s.registers() // to none
				s.enter(clock(-1, 5, 0), &events.SetEntered{Set: x.set, HighRisk: true})
				s.two(x, mine, other)
			}},
		{moved, "the other set is of high risk", projections.SeverityNoted,
			func(s *story, x *turn) {
				y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
				s.risky(y)
				s.live(y)
				s.live(x)
				s.again(y, 1, other...)
				s.again(x, 1, mine...)
			},
			func(s *story, x *turn) { s.two(x, nil, other) }},
		{moved, "in a set of the same load of the washer", projections.SeverityBroken,
			func(s *story, x *turn) { s.risky(x); s.washedTogether(x, mine, other) },
			func(s *story, x *turn) { s.risky(x); s.washedTogether(x, mine, nil) }},
		{moved, "from a set of the same load of the washer", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.risky(x)
				s.washedTogether(x, []events.Exception{excepted(1, 7, events.ReasonAdded)}, []events.Exception{lacks(1, 2)})
			},
			func(s *story, x *turn) { s.risky(x); s.washedTogether(x, nil, []events.Exception{lacks(1, 2)}) }},
		{moved, "by the last counts, and not packed yet", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.risky(x)
				y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
				x.final.Counts[0].Counted, y.final.Counts[0].Counted = 5, 4
				s.live(y)
				s.live(x)
			},
			func(s *story, x *turn) {
				y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
				x.final.Counts[0].Counted, y.final.Counts[0].Counted = 5, 4
				s.live(y)
				s.live(x)
			}},
		{moved, "by the last counts, and both packed as they should be", projections.SeverityNoted,
			func(s *story, x *turn) { s.risky(x); counted(s, x, nil, nil) },
			func(s *story, x *turn) { counted(s, x, nil, nil) }},
		{moved, "by the last counts, and packed so", projections.SeverityBroken,
			func(s *story, x *turn) { s.risky(x); counted(s, x, mine, other) },
			func(s *story, x *turn) { counted(s, x, mine, other) }},
		{moved, "by the last counts, and the other packed so", projections.SeverityBroken,
			func(s *story, x *turn) { s.risky(x); counted(s, x, nil, other) },
			func(s *story, x *turn) { counted(s, x, nil, other) }},
	}
}

// TestPackedWithMigrated: the set that was packed with a piece of another one is stopped before it is
// opened, until it is packed without; where it was opened meanwhile, that takes nothing back.
func TestPackedWithMigrated(t *testing.T) {
	mine, other := []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)}
	of := func(s *story, set string, n int) []projections.Finding {
		return find(must(s.world().Judge(key(set, n))), projections.PieceMigrated)
	}
	begun := func(counted bool) (*story, *turn) {
		s, x := plain()
		s.risky(x)
		if !counted {
			return s, s.two(x, mine, other)
		}
		y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
		x.final.Counts[0].Counted, y.final.Counts[0].Counted = 5, 4
		s.live(y)
		s.live(x)
		s.again(y, 1, other...)
		s.again(x, 1, mine...)
		return s, y
	}
	for _, counted := range []bool{false, true} {
		s, y := begun(counted)
		fs := of(s, y.set, 1)
		if len(fs) != 1 || fs[0].Severity != projections.SeverityBroken || fs[0].Way != "packed-with" || fs[0].Other.Set != "LAP-014" {
			t.Fatalf("counted %v: packed with a piece of another: %+v", counted, fs)
		}
		if fs := of(s, "LAP-014", 1); len(fs) != 0 {
			t.Errorf("counted %v: the set that lacks it: %+v", counted, fs)
		}
		s.again(y, 2, other...)
		if fs := of(s, y.set, 1); len(fs) != 1 || fs[0].Severity != projections.SeverityBroken {
			t.Errorf("counted %v: packed with it again: %+v", counted, fs)
		}
		s, y = begun(counted)
		s.again(y, 2)
		if fs := of(s, y.set, 1); len(fs) != 1 || fs[0].Severity != projections.SeverityNoted {
			t.Errorf("counted %v: packed without it: %+v", counted, fs)
		}
		s, y = begun(counted)
		s.tell("or-3", clock(4, 7, 12), y.set, tripOf(y.set, 1), &events.SetOpened{Case: "K-2", Tag: y.set})
		s.again(y, 2)
		if fs := of(s, y.set, 1); len(fs) != 1 || fs[0].Severity != projections.SeverityBroken {
			t.Errorf("counted %v: opened with it: %+v", counted, fs)
		}
	}
}

// TestPackedOverElsewhere: a set that lacks a piece and has one too many in another line was not packed with its own piece.
func TestPackedOverElsewhere(t *testing.T) {
	s, x := plain()
	s.risky(x)
	s.two(x, []events.Exception{lacks(1, 5), excepted(2, 3, events.ReasonAdded)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	if fs := find(must(s.world().Judge(key(x.set, 1))), projections.PieceMigrated); len(fs) != 0 {
		t.Errorf("%+v", fs)
	}
}

// TestMigratedTold: of two sets the one of high risk is told, and the other names it.
func TestMigratedTold(t *testing.T) {
	s, x := plain()
	s.risky(x)
	y := s.two(x, []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	f := find(must(s.world().Judge(x.key())), projections.PieceMigrated)[0]
	d := f.Detail.(*projections.Migrated)
	if !d.There || d.Other != y.set || d.Shown != projections.ShownAssembly || d.Quantity != 1 || d.By != "" || *f.Other != y.key() {
		t.Errorf("told of the set of high risk: %+v", d)
	}
	o := find(must(s.world().Judge(y.key())), projections.PieceMigrated)[0]
	if d := o.Detail.(*projections.Migrated); o.Severity != projections.SeverityNoted || d.There || d.By != x.set || d.Other != x.set {
		t.Errorf("told of the other: %+v %+v", o, d)
	}
	// No relief: what it lacks is told besides.
	if len(find(must(s.world().Judge(x.key())), projections.CameBackShort)) != 1 {
		t.Error("what it lacks is not told")
	}
}
