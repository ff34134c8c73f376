package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// cameBack tells of a step of a turn's set on its way back, and what was wrong with it.
func (s *story) cameBack(x *turn, at time.Time, faults ...events.ReturnFault) *facts.Fact {
	return s.tell("washing", at, x.set, "", &events.SetReturned{Step: events.ReturnReceived, Faults: faults})
}

// damagedBefore tells of a turn's set that it was used, and that a piece was said to be damaged on its way back. The turn
// is made the next one.
func (s *story) damagedBefore(x *turn) {
	s.live(x)
	s.cameBack(x, clock(1, 12, 0), events.ReturnDamaged)
	*x = *newTurn(x.set, 1, x.list)
}

// askWayBack makes the policy ask that a used set was received and washed.
func (s *story) askWayBack() {
	s.policy(func(p *events.Policy) { p.WayBack = []events.ReturnStep{events.ReturnReceived, events.ReturnWashed} })
}

// wayBack tells of a turn's set that it was used, and what is recorded of its way back. The turn is made the next one.
func (s *story) wayBack(x *turn, steps ...events.ReturnStep) {
	s.askWayBack()
	s.live(x)
	for i, step := range steps {
		s.tell("washing", clock(1, 12, i), x.set, "", &events.SetReturned{Step: step})
	}
	*x = *newTurn(x.set, 1, x.list)
}

// missingTests are what comes of a piece that is missing where nobody packs: on the way back, and on the shelf.
func missingTests() []findingTest {
	const short, missing = projections.CameBackShort, projections.PieceMissing
	const order, link = projections.LinkOutOfOrder, projections.LinkMissing
	const lacking = events.ReturnIncomplete
	return []findingTest{
		{short, "a piece is missing when it is received", projections.SeverityBroken,
			func(s *story, x *turn) { s.live(x); s.cameBack(x, clock(1, 11, 0), lacking) },
			func(s *story, x *turn) {
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), events.ReturnDamaged, events.ReturnSoiled)
			}},
		{short, "a piece is missing when it is received, and nobody had counted it", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.first, x.final = nil, nil
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), lacking)
			},
			func(s *story, x *turn) { // it went back unopened
				x.open, x.first, x.final, x.closed = nil, nil, nil, nil
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), lacking)
			}},
		{missing, "a piece is missing when it is received, and it was used elsewhere", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(x.unused()); s.cameBack(x, clock(1, 11, 0), lacking) },
			func(s *story, x *turn) { s.live(x); s.cameBack(x, clock(1, 11, 0), lacking) }},
		{missing, "a piece is missing when it is received from elsewhere, and it is packed again", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x.unused())
				s.cameBack(x, clock(1, 11, 0), lacking)
				s.reported(x, clock(1, 11, 10), events.BecameLost, 1)
				s.live(newTurn(x.set, x.day+2, x.list).unused())
			},
			func(s *story, x *turn) {
				s.live(x.unused())
				s.cameBack(x, clock(1, 11, 0), events.ReturnDamaged)
				s.live(newTurn(x.set, x.day+2, x.list).unused())
			}},
		{short, "a piece is missing that the counts had missing, perhaps", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.final.Counts[0].Counted = 5
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), lacking)
				s.cameBack(x, clock(1, 11, 30), lacking)
			},
			func(s *story, x *turn) { x.final.Counts[0].Counted = 5; s.live(x) }},
		{short, "a piece is missing when it is received, and found", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), lacking)
				s.reported(x, clock(1, 11, 10), events.BecameFound, 1)
			},
			func(s *story, x *turn) {
				s.live(x)
				f := s.cameBack(x, clock(1, 11, 0), lacking)
				s.correct(f, clock(1, 11, 10), &events.SetReturned{Step: events.ReturnReceived})
			}},
		{short, "one was missed and found before another is missing", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 10, 40), events.BecameLost, 1)
				s.reported(x, clock(1, 10, 50), events.BecameFound, 1)
				s.cameBack(x, clock(1, 11, 0), lacking)
			},
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, clock(1, 10, 40), events.BecameLost, 1)
				s.reported(x, clock(1, 10, 50), events.BecameFound, 1)
			}},
		{short, "a piece is missing, and another one went to repair", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				s.cameBack(x, clock(1, 11, 0), lacking, events.ReturnDamaged)
				s.reported(x, clock(1, 11, 10), events.BecameRepair, 2)
			},
			func(s *story, x *turn) { s.live(x); s.reported(x, clock(1, 11, 10), events.BecameRepair, 2) }},
		{short, "a piece was missing, and it was packed with all", projections.SeverityNoted,
			func(s *story, x *turn) { s.live(x); s.cameBack(x, clock(1, 11, 0), lacking); s.again(x, 1) },
			func(s *story, x *turn) { // said of the next turn, before it is used
				s.live(x)
				y := s.again(x, 1)
				s.cameBack(x, y.checkedAt().Add(time.Hour), lacking)
			}},
		{link, "packed without a step of its way back that the policy asks for", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.wayBack(x, events.ReturnWashed); s.live(x.unused()) },
			func(s *story, x *turn) { s.wayBack(x, events.ReturnReceived, events.ReturnWashed); s.live(x.unused()) }},
		{link, "packed without a step of its way back, and processed again since", projections.SeverityNoted,
			func(s *story, x *turn) { s.wayBack(x); s.live(x.unused()); s.again(x, 2) },
			func(s *story, x *turn) { // nobody had used it
				s.askWayBack()
				s.live(x.unused())
				*x = *newTurn(x.set, 1, x.list)
				s.live(x.unused())
				s.again(x, 2)
			}},
		{link, "a piece came back damaged, and it was packed as listed", projections.SeverityNoted,
			func(s *story, x *turn) { s.damagedBefore(x); s.live(x.unused()) },
			func(s *story, x *turn) { // and said to be in repair by the packing
				s.damagedBefore(x)
				x.pack.Exceptions = []events.Exception{excepted(1, 5, events.ReasonRepair)}
				s.live(x.unused())
			}},
		{link, "a piece came back damaged, it was packed with one added, and opened", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.damagedBefore(x)
				x.pack.Exceptions = []events.Exception{excepted(1, 7, events.ReasonAdded)}
				s.live(x)
			},
			func(s *story, x *turn) { // replaced in the case
				s.damagedBefore(x)
				s.reported(x, clock(1, 9, 0), events.BecameReplaced, 1)
				s.live(x)
			}},
		{link, "a piece came back damaged, and one was sent to repair once it was packed", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.damagedBefore(x)
				s.reported(x, x.packedAt().Add(time.Minute), events.BecameRepair, 1)
				s.live(x.unused())
			},
			func(s *story, x *turn) { // and before; the one that came back from there is another one
				s.damagedBefore(x)
				s.reported(x, x.packedAt().Add(-time.Minute), events.BecameRepair, 1)
				s.live(x.unused())
			}},
		{link, "a piece came back damaged, and one was back from repair", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.damagedBefore(x)
				s.reported(x, clock(1, 12, 30), events.BecameBack, 1)
				s.live(x.unused())
			},
			func(s *story, x *turn) { // packed by a second packing with one less
				s.damagedBefore(x)
				s.live(x.unused())
				s.packedAt(x, x.packedAt().Add(time.Minute), 1, lacks(1, 5))
			}},
		{order, "two pieces of a sterile set are sent to repair, of which the packing lacked one", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{lacks(1, 5)}
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameRepair, 1)
				s.reported(x, clock(0, 18, 5), events.BecameRepair, 1)
			},
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{lacks(1, 5)}
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameRepair, 1)
			}},
		{order, "a piece of a closed set is replaced before its run, and it is opened", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.live(x)
				s.reported(x, x.sealedAt().Add(time.Minute), events.BecameReplaced, 1)
			},
			func(s *story, x *turn) { // before it was closed, and after its case
				s.live(x)
				s.reported(x, x.sealedAt().Add(-time.Minute), events.BecameReplaced, 1)
				s.reported(x, clock(1, 12, 0), events.BecameReplaced, 1)
			}},
		{order, "a piece of a sterile set is sent to repair, and it is packed anew", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameRepair, 1)
				s.packedAt(x, clock(1, 8, 0), 1)
			},
			func(s *story, x *turn) { // others leave it closed, and what went back is open there
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameBack, 1)
				s.reported(x, clock(0, 18, 5), events.BecameFound, 1)
				s.cameBack(x, clock(0, 19, 0))
				s.reported(x, clock(0, 19, 5), events.BecameRepair, 1)
			}},
		{missing, "missed on the shelf", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(x.unused()); s.reported(x, clock(0, 18, 0), events.BecameLost, 1) },
			func(s *story, x *turn) {
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1)
				s.reported(x, clock(0, 19, 0), events.BecameFound, 1)
			}},
		{missing, "missed on the shelf, of which the packing lacked one", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{lacks(1, 5)}
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1, func(d *events.PieceReported) { d.Quantity = 2 })
			},
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{lacks(1, 5)}
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1)
			}},
		{missing, "missed on the shelf, opened and not counted", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.first, x.final = nil, nil
				s.live(x)
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1)
			},
			func(s *story, x *turn) { // after its case
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameLost, 1)
			}},
		{missing, "missed on the shelf, and counted at the opening", projections.SeverityNoted,
			func(s *story, x *turn) { s.live(x); s.reported(x, clock(0, 18, 0), events.BecameLost, 1) },
			func(s *story, x *turn) { s.live(x); s.reported(x, clock(0, 18, 0), events.BecameRepair, 1) }},
		{missing, "missed on the shelf, and packed anew", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.live(x.unused())
				s.reported(x, clock(0, 18, 0), events.BecameLost, 1)
				s.packedAt(x, clock(1, 8, 0), 1)
			},
			func(s *story, x *turn) { // of the turn before
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameLost, 1)
				*x = *s.again(x, 1)
			}},
	}
}

// TestMissingOnTheWayBack: that a piece is missing is told of the turn of the case, since its last count, and once: a
// report that names the piece tells the rest.
func TestMissingOnTheWayBack(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.cameBack(x, clock(1, 11, 0), events.ReturnIncomplete)
	s.cameBack(x, clock(1, 11, 20), events.ReturnIncomplete)
	v := must(s.world().Judge(x.key()))
	of := find(v, projections.CameBackShort)
	if len(of) != 1 {
		t.Fatalf("%+v", of)
	}
	d, ok := of[0].Detail.(*projections.BackIncomplete)
	if !ok || d.Case != x.ref || d.Stage != events.StageFinal || d.After() != 80*time.Minute || d.Hours != 1 ||
		!of[0].From.Equal(x.finalAt()) || !of[0].To.Equal(clock(1, 11, 0)) {
		t.Errorf("%+v %+v", of[0], of[0].Detail)
	}
	if !projections.CameShort(&v) {
		t.Error("it does not head the board")
	}
	s.reported(x, clock(1, 11, 30), events.BecameLost, 1)
	v = must(s.world().Judge(x.key()))
	of = find(v, projections.CameBackShort)
	if len(of) != 2 || of[0].Way != "missed" || of[0].Severity != projections.SeverityBroken || of[1].Way != "incomplete" ||
		of[1].Severity != projections.SeverityNoted {
		t.Errorf("after the report: %+v", of)
	}
}

// TestMissingSincePacked: what is missed of a packed set names its lines, what was packed and since when.
func TestMissingSincePacked(t *testing.T) {
	s, x := plain()
	s.live(x.unused())
	s.reported(x, clock(0, 18, 0), events.BecameLost, 1, func(d *events.PieceReported) { d.Quantity = 2 })
	f := find(must(s.world().Judge(x.key())), projections.PieceMissing)[0]
	d := f.Detail.(*projections.MissingSincePacked)
	if l := d.Lines[0]; d.Pieces() != 2 || l.Known != 6 || l.Packed != 4 || !d.At.At.Equal(clock(0, 18, 0)) ||
		!f.From.Equal(x.packedAt()) || !f.To.Equal(clock(0, 18, 0)) || len(f.Lines) != 1 || f.Lines[0] != 1 {
		t.Errorf("%+v %+v", f, d)
	}
}

// TestStandingNamesWhatIsMissed: a page that counts a set first is told which line lacks a piece by a report since its packing.
func TestStandingNamesWhatIsMissed(t *testing.T) {
	s, x := plain()
	x.first, x.final, x.closed = nil, nil, nil
	s.live(x)
	s.reported(x, clock(0, 18, 0), events.BecameLost, 2)
	st, err := s.world().CaseStanding(x.ref)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range st.Sets[0].Lines {
		if want := map[int64]int64{2: 1}[l.Line.Line]; l.Missed != want || l.Expected != l.Packed {
			t.Errorf("%+v, want %d missed", l, want)
		}
	}
}
