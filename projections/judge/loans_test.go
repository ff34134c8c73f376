package judge

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// loaned tells of a step of a set that a supplier lends.
func (s *story) loaned(x *turn, at time.Time, step events.ReturnStep, exceptions ...events.Exception) {
	d := &events.SetReturned{Step: step, Supplier: "Halden Loans", List: x.list.List, Version: x.list.Version, Exceptions: exceptions}
	if step == events.ReturnArrived {
		d.Due = clock(4, 12, 0).Format(time.RFC3339)
	}
	s.tell("receiving", at, x.set, "", d)
}

var cameAt, wentAt = clock(-1, 9, 0), clock(2, 9, 0)

// loanTests are what comes of a set that a supplier lends.
func loanTests() []findingTest {
	const differs, short = projections.LoanDiffers, projections.CameBackShort
	arrived, handed := events.ReturnArrived, events.ReturnHanded
	return []findingTest{
		{differs, "a lent set arrived without a piece, and was packed without it", projections.SeverityNoted,
			func(s *story, x *turn) {
				x.n = -1 // what is told of the set before any packing
				s.loaned(x, cameAt, arrived, excepted(1, 5, events.ReasonMissing))
				y := newTurn(x.set, 0, x.list).unused()
				y.pack.Exceptions = []events.Exception{excepted(1, 5, events.ReasonMissing)}
				s.live(y)
			},
			func(s *story, x *turn) { s.loaned(x, cameAt, arrived); s.live(x.unused()) }},
		{short, "a lent set is handed back without a piece that was counted at the end", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.loaned(x, cameAt, arrived)
				s.live(x)
				s.loaned(x, wentAt, handed, excepted(1, 5, events.ReasonMissing))
			},
			func(s *story, x *turn) { s.loaned(x, cameAt, arrived); s.live(x); s.loaned(x, wentAt, handed) }},
		{short, "a lent set is handed back unused without a piece that it had when it came", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.loaned(x, cameAt, arrived)
				s.live(x.unused())
				s.loaned(x, wentAt, handed, excepted(1, 5, events.ReasonMissing))
			},
			func(s *story, x *turn) { // which it had not
				s.loaned(x, cameAt, arrived, excepted(1, 5, events.ReasonMissing))
				s.live(x.unused())
				s.loaned(x, wentAt, handed, excepted(1, 5, events.ReasonMissing))
			}},
		{differs, "a lent set is handed back without a piece that was sent to repair", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.loaned(x, cameAt, arrived)
				s.live(x)
				s.reported(x, clock(1, 12, 0), events.BecameRepair, 1)
				s.loaned(x, wentAt, handed, excepted(1, 5, events.ReasonMissing))
			},
			func(s *story, x *turn) { // short since it came
				s.loaned(x, cameAt, arrived, excepted(1, 5, events.ReasonMissing))
				x.pack.Exceptions = []events.Exception{excepted(1, 5, events.ReasonMissing)}
				x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5
				s.live(x)
				s.loaned(x, wentAt, handed, excepted(1, 5, events.ReasonMissing))
			}},
		{projections.Overdue, "a lent set was not handed back when it was due", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.lentTurn(x, s.loaned); s.now = clock(4, 12, 1) },
			func(s *story, x *turn) { s.lentTurn(x, s.loaned); s.now = clock(4, 11, 59) }},
		{projections.Overdue, "a lent set was not handed back three days after its last case", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.lentTurn(x, s.lentUndated); s.now = clock(4, 9, 41) }, // closed on day 1 at 09:40
			func(s *story, x *turn) {
				s.lentTurn(x, s.lentUndated)
				s.loaned(x, wentAt, handed)
				s.now = clock(4, 9, 41)
			}},
	}
}

// lentTurn tells of a lent set that it arrived, and of its first turn. What is judged is what is told of it before any packing.
func (s *story) lentTurn(x *turn, arrives func(*turn, time.Time, events.ReturnStep, ...events.Exception)) {
	arrives(x, cameAt, events.ReturnArrived)
	s.live(newTurn(x.set, 0, x.list))
	x.n = -1
}

// lentUndated tells of an arrival of which nobody said when the set is due.
func (s *story) lentUndated(x *turn, at time.Time, step events.ReturnStep, _ ...events.Exception) {
	s.tell("receiving", at, x.set, "", &events.SetReturned{Step: step})
}

// TestLentHandedBackTwice: a set that is handed back a second time is held against the same arrival as the first time, and one that is
// counted by another version of its inventory as it goes by its items, whatever their lines.
func TestLentHandedBackTwice(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 3, 4)
	x := newTurn("A", 0, l).unused()
	x.pack.Exceptions = []events.Exception{excepted(1, 5, events.ReasonMissing)}
	s.loaned(x, cameAt, events.ReturnArrived, excepted(1, 5, events.ReasonMissing))
	s.live(x)
	s.loaned(x, wentAt, events.ReturnHanded, excepted(1, 5, events.ReasonMissing))
	s.loaned(x, clock(2, 15, 0), events.ReturnHanded, excepted(1, 5, events.ReasonMissing))
	anew := &events.ListIssued{List: l.List, Version: 2, Title: l.Title, Lines: slices.Clone(l.Lines)}
	anew.Lines[0], anew.Lines[1] = anew.Lines[1], anew.Lines[0]
	anew.Lines[0].Line, anew.Lines[1].Line = 1, 2
	s.tell("packing-1", clock(2, 10, 0), anew.List, "", anew)
	y := *x
	y.list = anew
	s.loaned(&y, clock(2, 16, 0), events.ReturnHanded, excepted(2, 5, events.ReasonMissing))
	v := judge(t, s.world(), x.key())
	if checkVerdict(t, v); len(find(v, projections.CameBackShort)) > 0 || len(find(v, projections.LoanDiffers)) > 0 {
		t.Errorf("%s", show(v))
	}
}

// TestLentShortIsNoCases: what a lent set lacked when it arrived is blamed on no case and no packing, and what it lacks when it comes
// again not on a case before.
func TestLentShortIsNoCases(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 3, 4)
	x := newTurn("A", 0, l)
	s.loaned(x, cameAt, events.ReturnArrived, excepted(1, 5, events.ReasonMissing))
	x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5 // packed as listed, by whoever took it so
	s.live(x)
	s.loaned(x, wentAt, events.ReturnHanded, excepted(1, 5, events.ReasonMissing))
	s.loaned(x, clock(2, 15, 0), events.ReturnArrived, excepted(2, 2, events.ReasonMissing)) // lent again
	y := newTurn("A", 1, l).unused()
	y.pack.Exceptions = []events.Exception{excepted(2, 2, events.ReasonMissing)}
	s.live(y)
	v := judge(t, s.world(), x.key())
	checkVerdict(t, v)
	fs := find(v, projections.CountDiffersAtOpen)
	if len(fs) != 1 || fs[0].Severity != projections.SeverityNoted || !strings.Contains(fs[0].Says,
		"It arrived from its supplier short of that") {
		t.Errorf("%s", show(v))
	}
	if len(find(v, projections.CameBackShort)) > 0 {
		t.Errorf("what the supplier brought is blamed on the case before: %s", show(v))
	}
}
