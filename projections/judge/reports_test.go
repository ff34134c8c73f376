package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// reported tells what became of a piece of a turn's set, without naming the turn.
func (s *story) reported(x *turn, at time.Time, became events.Became, line int64, change ...func(*events.PieceReported)) *facts.Fact {
	d := &events.PieceReported{Became: became, Line: line, Quantity: 1}
	for _, c := range change {
		c(d)
	}
	return s.tell("washing", at, x.set, "", d)
}

// washed tells that the sets of some turns were in one load of a washer.
func (s *story) washed(load string, turns ...*turn) {
	for _, x := range turns {
		s.tell("washing", clock(x.day+1, 11, 30), x.set, "", &events.SetReturned{Step: events.ReturnWashed, Washer: "W2",
			WasherLoad: load})
	}
}

// washedTogether tells of two sets of two cases, and how each was packed after it had been in a
// load of a washer: by default the same.
func (s *story) washedTogether(x *turn, mine, other []events.Exception, loads ...string) *turn {
	y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3))
	s.live(y)
	s.live(x)
	if len(loads) == 0 {
		loads = []string{"W2-0303-03", "W2-0303-03"}
	}
	s.washed(loads[0], x)
	s.washed(loads[1], y)
	s.again(y, 1, other...)
	s.again(x, 1, mine...)
	return y
}

// reportTests are what reports of pieces, and the way through the washer, make of an assembly.
func reportTests() []findingTest {
	const short, over = projections.CameBackShort, projections.CameBackOver
	added := []events.Exception{excepted(1, 4, events.ReasonAdded)}
	oneShort := func(s *story, x *turn) { s.again(x, 1, lacks(1, 5)) }
	all := func(s *story, x *turn) { s.live(x); s.again(x, 1) }
	return []findingTest{
		{short, "sent to repair before it was packed", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 1)
				oneShort(s, x)
			},
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 1)
				s.again(x, 1)
			}},
		{short, "another line's piece was sent to repair", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 2)
				oneShort(s, x)
			}, all},
		{short, "sent to repair, and back before it was packed", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 1)
				s.reported(x, clock(2, 12, 0), events.BecameBack, 1)
				oneShort(s, x)
			}, all},
		{short, "sent to repair before the last count had it", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 8, 0), events.BecameRepair, 1)
				oneShort(s, x)
			}, all},
		{short, "one in repair, and one more", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 1)
				s.again(x, 1, lacks(1, 4))
			}, all},
		{short, "sent to repair, by its catalogue number", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 0, func(d *events.PieceReported) { d.Item = "ITEM-1" })
				oneShort(s, x)
			}, all},
		{short, "missed when it was washed, and not packed", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
				oneShort(s, x)
			}, all},
		{short, "missed, and nobody packed it yet", projections.SeverityBroken,
			func(s *story, x *turn) { s.live(x); s.reported(x, clock(1, 11, 0), events.BecameLost, 1) },
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
				s.reported(x, clock(1, 11, 30), events.BecameFound, 1)
			}},
		{short, "missed, and nobody had counted it", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.first, x.final = nil, nil
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
			},
			func(s *story, x *turn) { // on the shelf, before the case
				s.live(x)
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1)
			}},
		{short, "missed, of which the counts had one missing", projections.SeverityBroken,
			func(s *story, x *turn) {
				x.final.Counts[0].Counted = 5
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1, func(d *events.PieceReported) { d.Quantity = 2 })
			},
			func(s *story, x *turn) {
				x.final.Counts[0].Counted = 5
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
			}},
		{short, "missed, and packed with all", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
				s.again(x, 1)
			},
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
				s.reported(x, clock(1, 11, 30), events.BecameFound, 1)
				s.again(x, 1)
			}},
		{short, "found after it was packed", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				oneShort(s, x)
				s.reported(x, clock(3, 15, 0), events.BecameFound, 1, func(d *events.PieceReported) { d.WasherLoad = "W2-0303-03" })
			}, all},
		{short, "found after the set was opened again: of another case, perhaps", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				y := newTurn(x.set, 1, x.list)
				y.pack.Exceptions = []events.Exception{lacks(1, 5)}
				y.first.Counts[0].Counted, y.final.Counts[0].Counted = 5, 5
				s.live(y)
				s.reported(x, clock(4, 15, 0), events.BecameFound, 1)
			}, all},
		{short, "found then, and of this case by what the report says", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				y := newTurn(x.set, 1, x.list)
				y.pack.Exceptions = []events.Exception{lacks(1, 5)}
				y.first.Counts[0].Counted, y.final.Counts[0].Counted = 5, 5
				s.live(y)
				f := s.reported(x, clock(4, 15, 0), events.BecameFound, 1)
				f.Event.Trip = x.trip()
			}, all},
		{short, "one found after it was packed, and one not", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.again(x, 1, lacks(1, 4))
				s.reported(x, clock(3, 15, 0), events.BecameFound, 1)
			}, all},
		{short, "another set of the washer's load has it", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.washedTogether(x, []events.Exception{lacks(1, 5)}, added) },
			func(s *story, x *turn) { s.washedTogether(x, nil, added) }},
		{short, "a set of another load of the washer has one more", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.washedTogether(x, []events.Exception{lacks(1, 5)}, added, "W2-0303-03", "W2-0303-04")
			},
			func(s *story, x *turn) { s.washedTogether(x, nil, added, "W2-0303-03", "W2-0303-04") }},
		{short, "a set of the load that was washed once more has one more", projections.SeverityBroken,
			func(s *story, x *turn) {
				y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3))
				s.live(y)
				s.live(x)
				s.washed("W2-0303-03", x, y)
				s.tell("washing", clock(1, 13, 0), y.set, "", &events.SetReturned{Step: events.ReturnWashed, WasherLoad: "W2-0303-05"})
				s.again(y, 1, added...)
				oneShort(s, x)
			}, all},
		{over, "another set of the washer's load lacks it", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.washedTogether(x, []events.Exception{excepted(1, 7, events.ReasonAdded)}, []events.Exception{lacks(1, 2)})
			},
			func(s *story, x *turn) { s.washedTogether(x, nil, []events.Exception{lacks(1, 2)}) }},
	}
}

// TestWashedTogether: of two sets of one load of a washer each names the other, the load, and
// what it rests on; and one that its own case explains is not given to another.
func TestWashedTogether(t *testing.T) {
	s, x := plain()
	y := s.washedTogether(x, []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	of := back(t, s, x.key(), projections.CameBackShort)
	if len(of) != 1 || of[0].Why != projections.BackWasher || of[0].WasherLoad != "W2-0303-03" ||
		len(of[0].Moves) != 1 || of[0].Moves[0] != (projections.MovedPieces{Set: y.set, Quantity: 1, There: true}) {
		t.Errorf("what it lacks: %+v", of)
	}
	o := back(t, s, y.key(), projections.CameBackOver)
	if len(o) != 1 || o[0].Why != projections.BackWasher || len(o[0].By) != 1 || o[0].By[0] != x.set {
		t.Errorf("what the other has: %+v", o)
	}
	// Its own case explains what the other has.
	z := newTurn("MIN-009", 0, s.list("LAP-SMALL", 1, 2)).forCase(y.ref)
	s.live(z)
	s.again(z, 1, lacks(1, 1))
	if of := back(t, s, x.key(), projections.CameBackShort); len(of) != 1 || of[0].Why != projections.BackUnexplained {
		t.Errorf("what the other's own case explains: %+v", of)
	}
	if o := back(t, s, y.key(), projections.CameBackOver); len(o) != 1 || o[0].Why != projections.BackElsewhere {
		t.Errorf("what the other has, by its own case: %+v", o)
	}
}

// TestWashedApart: what a set's own case explains of what it lacks is not taken from another's; and a
// record that a set was in the load, taken back or put right, counts as corrected.
func TestWashedApart(t *testing.T) {
	mine, other := []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)}
	s, x := plain()
	y := s.washedTogether(x, mine, other)
	z := newTurn("MIN-009", 0, s.list("LAP-SMALL", 1, 2)).forCase(x.ref)
	s.live(z)
	s.again(z, 1, excepted(1, 3, events.ReasonAdded))
	if of := back(t, s, x.key(), projections.CameBackShort); len(of) != 1 || of[0].Why != projections.BackElsewhere {
		t.Errorf("what its own case explains: %+v", of)
	}
	if o := back(t, s, y.key(), projections.CameBackOver); len(o) != 1 || o[0].Why != projections.BackUnexplained {
		t.Errorf("what the other has: %+v", o)
	}
	for name, d := range map[string]events.Data{
		"taken back": nil, "put right": &events.SetReturned{Step: events.ReturnWashed, WasherLoad: "W2-0303-09"},
	} {
		s, x := plain()
		s.washedTogether(x, mine, other)
		for i := range s.all {
			if f := &s.all[i]; f.Event.Subject == "MIN-006" && f.Event.Kind() == events.KindSetReturned {
				s.correct(f, clock(1, 11, 40), d)
				break
			}
		}
		if of := back(t, s, x.key(), projections.CameBackShort); len(of) != 1 || of[0].Why != projections.BackUnexplained {
			t.Errorf("%s: %+v", name, of)
		}
	}
}

// TestMissedNarrows: a report that a piece is missed tells since when, and ends the time in
// which it went.
func TestMissedNarrows(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.reported(x, clock(1, 11, 0), events.BecameLost, 1)
	v := must(s.world().Judge(x.key()))
	f := find(v, projections.CameBackShort)[0]
	d, ok := f.Detail.(*projections.PieceMissed)
	if !ok || d.Case != x.ref || d.Hours != 1 || d.Pieces() != 1 || d.After() != 80*time.Minute ||
		!f.From.Equal(x.finalAt()) || !f.To.Equal(clock(1, 11, 0)) {
		t.Errorf("before the assembly: %+v %+v", f, f.Detail)
	}
	if !projections.CameShort(&v) {
		t.Error("it does not head the board")
	}
	s.again(x, 1, lacks(1, 5))
	v = must(s.world().Judge(x.key()))
	all := find(v, projections.CameBackShort)
	if len(all) != 1 {
		t.Fatalf("told twice: %+v", all)
	}
	if d, ok := all[0].Detail.(*projections.CameBack); !ok || !d.Lines[0].Missed.Equal(clock(1, 11, 0)) ||
		!all[0].To.Equal(clock(1, 11, 0)) || len(d.Reports) != 1 || d.Reports[0].Became != events.BecameLost {
		t.Errorf("after it: %+v %+v", all[0], all[0].Detail)
	}
}
