package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// again tells that a turn's set was packed for a later turn by the same list, which nobody
// used yet, and returns that turn.
func (s *story) again(x *turn, n int, exceptions ...events.Exception) *turn {
	y := newTurn(x.set, n, x.list).unused()
	y.pack.Exceptions = exceptions
	s.live(y)
	return y
}

// packedAt tells no more of a later turn than its packing.
func (s *story) packedAt(x *turn, at time.Time, n int, exceptions ...events.Exception) *facts.Fact {
	return s.tell("packing-2", at, x.set, tripOf(x.set, n),
		&events.SetPacked{List: x.list.List, Version: x.list.Version, Exceptions: exceptions})
}

func lacks(line, counted int64) events.Exception {
	return excepted(line, counted, events.ReasonMissing)
}

func excepted(line, counted int64, reason string) events.Exception {
	return events.Exception{Line: line, Counted: counted, Reason: reason}
}

// two tells of a case of two sets, and how each of them was packed afterwards.
func (s *story) two(x *turn, mine, other []events.Exception) *turn {
	y := newTurn("MIN-006", 0, s.list("LAP-MINOR", 1, 3, 3)).forCase(x.ref)
	s.live(y)
	s.live(x)
	s.again(y, 1, other...)
	s.again(x, 1, mine...)
	return y
}

// assemblyTests are what the packing after a case can show.
func assemblyTests() []findingTest {
	const short, over = projections.CameBackShort, projections.CameBackOver
	all := func(s *story, x *turn) { s.live(x); s.again(x, 1) }
	oneShort := func(s *story, x *turn) { s.live(x); s.again(x, 1, lacks(1, 5)) }
	return []findingTest{
		{short, "five hours after the case", projections.SeverityBroken,
			func(s *story, x *turn) { s.live(x); s.packedAt(x, clock(1, 14, 40), 1, lacks(1, 5)) },
			func(s *story, x *turn) { s.live(x); s.packedAt(x, clock(1, 14, 40), 1) }},
		{short, "two lines, one of them with a word of the site's own", projections.SeverityBroken,
			func(s *story, x *turn) { s.live(x); s.again(x, 1, lacks(1, 4), excepted(3, 3, "not to be found")) },
			all},
		{short, "with no final count, and the case not closed", projections.SeverityBroken,
			func(s *story, x *turn) { x.final, x.closed = nil, nil; oneShort(s, x) },
			func(s *story, x *turn) { x.final, x.closed = nil, nil; all(s, x) }},
		{short, "a line that the final count left out", projections.SeverityBroken,
			func(s *story, x *turn) { x.final.Counts = x.final.Counts[1:]; oneShort(s, x) },
			func(s *story, x *turn) { x.final.Counts = x.final.Counts[1:]; all(s, x) }},
		{short, "more than was passed off", projections.SeverityBroken,
			func(s *story, x *turn) {
				x.final.Counts[0].Counted = 5
				x.final.Removed = []events.Removed{{Line: 1, Quantity: 1, Reason: "to pathology"}}
				s.live(x)
				s.again(x, 1, lacks(1, 4))
			},
			func(s *story, x *turn) {
				x.final.Counts[0].Counted = 5
				x.final.Removed = []events.Removed{{Line: 1, Quantity: 1, Reason: "to pathology"}}
				oneShort(s, x)
			}},
		{short, "what was added to the set is not the set's", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.count(x, events.StageAdded, 8, 0, events.Count{Line: 1, Counted: 1})
				x.final.Counts[0].Counted = 7
				oneShort(s, x)
			},
			func(s *story, x *turn) {
				s.count(x, events.StageAdded, 8, 0, events.Count{Line: 1, Counted: 1})
				x.final.Counts[0].Counted = 7
				all(s, x)
			}},
		{short, "missed only when it was packed again unused", projections.SeverityBroken,
			func(s *story, x *turn) { s.live(x); s.again(x, 1); s.again(x, 2, lacks(1, 5)) },
			func(s *story, x *turn) { s.live(x); s.live(newTurn(x.set, 1, x.list)); s.again(x, 2, lacks(1, 5)) }},
		{short, "the list has its lines in another order now", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.live(x)
				l := *s.list("LAP-MAJOR", 4, 2, 6)
				l.Lines[0].Item, l.Lines[1].Item = "ITEM-2", "ITEM-1"
				s.again(&turn{set: x.set, list: &l}, 1, lacks(2, 5))
			},
			func(s *story, x *turn) { // and less of the first
				s.live(x)
				s.again(&turn{set: x.set, list: s.list("LAP-MAJOR", 4, 5, 2, 4)}, 1)
			}},
		{short, "in one of two lines of an item, what the other has more of", projections.SeverityBroken,
			func(s *story, x *turn) {
				x.list.Lines[2].Item = "ITEM-1"
				x.rebind()
				s.live(x)
				s.again(x, 1, lacks(1, 4), excepted(3, 5, events.ReasonAdded))
			},
			func(s *story, x *turn) {
				x.list.Lines[2].Item = "ITEM-1"
				x.rebind()
				s.live(x)
				s.again(x, 1, lacks(1, 5), excepted(3, 5, events.ReasonAdded))
			}},
		{short, "in another set of the case", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.two(x, []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
			},
			func(s *story, x *turn) { s.two(x, nil, []events.Exception{excepted(1, 4, events.ReasonAdded)}) }},
		{short, "one in another set of the case, and one nowhere", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.two(x, []events.Exception{lacks(1, 4)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
			},
			func(s *story, x *turn) { s.two(x, nil, nil) }},
		{short, "another kind is over in another set", projections.SeverityBroken,
			func(s *story, x *turn) {
				s.two(x, []events.Exception{lacks(1, 5)}, []events.Exception{excepted(2, 4, events.ReasonAdded)})
			},
			func(s *story, x *turn) { s.two(x, nil, nil) }},
		{short, "in repair, and one more in another set", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.two(x, []events.Exception{excepted(1, 5, events.ReasonRepair)},
					[]events.Exception{excepted(1, 4, events.ReasonAdded)})
			},
			func(s *story, x *turn) { s.two(x, nil, nil) }},
		{short, "damaged", projections.SeverityNoted,
			func(s *story, x *turn) { s.live(x); s.again(x, 1, excepted(1, 4, events.ReasonDamaged)) }, all},
		{short, "something else lies in its place", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(x); s.again(x, 1, excepted(1, 5, events.ReasonSubstituted)) }, all},
		{short, "the counts had it missing", projections.SeverityNoted,
			func(s *story, x *turn) { x.final.Counts[0].Counted = 5; oneShort(s, x) },
			func(s *story, x *turn) { x.final.Counts[0].Counted = 5; all(s, x) }},
		{short, "one by the counts, and one more", projections.SeverityBroken,
			func(s *story, x *turn) { x.final.Counts[0].Counted = 5; s.live(x); s.again(x, 1, lacks(1, 4)) },
			func(s *story, x *turn) { x.final.Counts[0].Counted = 5; all(s, x) }},
		{short, "packed without, and counted with it", projections.SeverityDoubtful,
			func(s *story, x *turn) { x.pack.Exceptions = []events.Exception{lacks(1, 5)}; oneShort(s, x) },
			func(s *story, x *turn) { // and counted so
				x.pack.Exceptions = []events.Exception{lacks(1, 5)}
				x.first.Counts[0].Counted, x.final.Counts[0].Counted = 5, 5
				oneShort(s, x)
			}},
		{short, "nobody counted", projections.SeverityDoubtful,
			func(s *story, x *turn) { x.first, x.final = nil, nil; oneShort(s, x) },
			func(s *story, x *turn) {
				x.first, x.final, x.pack.Exceptions = nil, nil, []events.Exception{lacks(1, 5)}
				oneShort(s, x)
			}},
		{short, "another tray was opened under its name", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(s.pair()); x.open.Tag = "LAP-022"; oneShort(s, x) },
			func(s *story, x *turn) { s.live(s.pair()); x.open.Tag = "LAP-022"; all(s, x) }},
		{short, "opened under another name", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()); s.again(x, 1, lacks(1, 5)) },
			func(s *story, x *turn) { s.underName(x.set); s.live(x.unused()); s.again(x, 1) }},
		{short, "packed before it was counted at the end", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(x); s.packedAt(x, clock(1, 9, 0), 1, lacks(1, 5)) },
			func(s *story, x *turn) { s.live(x); s.packedAt(x, clock(1, 9, 0), 1) }},
		{short, "packed with all again", projections.SeverityNoted,
			func(s *story, x *turn) { oneShort(s, x); s.again(x, 2) },
			func(s *story, x *turn) { all(s, x); s.again(x, 2) }},
		{short, "packed with one less again", projections.SeverityBroken,
			func(s *story, x *turn) { oneShort(s, x); s.again(x, 2, lacks(1, 5)) },
			func(s *story, x *turn) { all(s, x); s.again(x, 2) }},
		{short, "packed anew in the same turn, with all", projections.SeverityNoted,
			func(s *story, x *turn) { oneShort(s, x); s.packedAt(x, clock(3, 7, 0), 1) },
			func(s *story, x *turn) { all(s, x); s.packedAt(x, clock(3, 7, 0), 1) }},
		{over, "one more", projections.SeverityDoubtful,
			func(s *story, x *turn) { s.live(x); s.again(x, 1, excepted(1, 7, events.ReasonAdded)) },
			func(s *story, x *turn) { s.live(x); s.again(x, 1, excepted(1, 7, events.ReasonSubstituted)) }},
		{over, "more than it was packed with", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{excepted(1, 7, events.ReasonAdded)}
				x.first.Counts[0].Counted, x.final.Counts[0].Counted = 7, 7
				s.live(x)
				s.again(x, 1, excepted(1, 8, events.ReasonAdded))
			},
			func(s *story, x *turn) {
				x.pack.Exceptions = []events.Exception{excepted(1, 7, events.ReasonAdded)}
				x.first.Counts[0].Counted, x.final.Counts[0].Counted = 7, 7
				s.live(x)
				s.again(x, 1, excepted(1, 7, events.ReasonAdded))
			}},
		{over, "laid to it singly in the case, and packed with it", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				x.first.Beyond = []events.Beyond{{Line: 9, Item: "ITEM-1", Description: "Forceps, mosquito", Added: 1}}
				x.first.Counts = append(x.first.Counts, events.Count{Line: 9, Counted: 1})
				x.final.Counts = append(x.final.Counts, events.Count{Line: 9, Counted: 1})
				s.live(x)
				s.again(x, 1, excepted(1, 7, events.ReasonAdded))
			},
			all},
		{over, "another set of the case lacks it", projections.SeverityNoted,
			func(s *story, x *turn) {
				s.two(x, []events.Exception{excepted(1, 7, events.ReasonAdded)}, []events.Exception{lacks(1, 2)})
			},
			func(s *story, x *turn) { s.two(x, nil, []events.Exception{lacks(1, 2)}) }},
		{over, "packed with the number of the list again", projections.SeverityNoted,
			func(s *story, x *turn) { s.live(x); s.again(x, 1, excepted(1, 7, events.ReasonAdded)); s.again(x, 2) },
			func(s *story, x *turn) { s.live(x); s.again(x, 1); s.again(x, 2) }},
		{over, "packed with one more again", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.live(x)
				s.again(x, 1, excepted(1, 7, events.ReasonAdded))
				s.again(x, 2, excepted(1, 7, events.ReasonAdded))
			},
			func(s *story, x *turn) { // which the list has only now
				s.live(x)
				l := s.list("LAP-MAJOR", 4, 6, 2, 4, 1)
				s.again(&turn{set: x.set, list: l}, 1, excepted(4, 2, events.ReasonAdded))
			}},
		{projections.Corrected, "a packing that came back short, replaced by its own badge", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.live(x)
				f := s.packedAt(x, clock(1, 14, 40), 1, lacks(1, 5))
				s.correct(f, clock(1, 15, 0), &events.SetPacked{List: x.list.List, Version: x.list.Version})
			},
			func(s *story, x *turn) {
				s.live(x)
				f := s.packedAt(x, clock(1, 14, 40), 1)
				s.correct(f, clock(1, 15, 0), &events.SetPacked{List: x.list.List, Version: x.list.Version, WeightGrams: 8400})
			}},
		{projections.Corrected, "a packing that came back short, taken back", projections.SeverityDoubtful,
			func(s *story, x *turn) {
				s.live(x)
				s.correct(s.packedAt(x, clock(1, 14, 40), 1, lacks(1, 5)), clock(1, 15, 0), nil)
			},
			func(s *story, x *turn) {
				s.live(x)
				s.correct(s.packedAt(x, clock(1, 14, 40), 1), clock(1, 15, 0), nil)
			}},
	}
}

func back(t *testing.T, s *story, k projections.TripKey, c projections.Code) []*projections.CameBack {
	t.Helper()
	var out []*projections.CameBack
	for _, f := range find(judge(t, s.world(), k), c) {
		out = append(out, f.Detail.(*projections.CameBack))
	}
	return out
}

// TestCameBack: what a finding says of the case, its closing and each line.
func TestCameBack(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.packedAt(x, clock(1, 14, 55), 1, lacks(1, 4), excepted(3, 3, events.ReasonDamaged))
	of := back(t, s, x.key(), projections.CameBackShort)
	if len(of) != 2 {
		t.Fatalf("%d findings", len(of))
	}
	d := of[0]
	want := projections.BackLine{Line: 1, Item: "ITEM-1", Description: "Forceps, mosquito", Stage: events.StageFinal,
		Counted: x.finalAt(), Known: 6, Packed: 4, Pieces: 2, Reason: "missing"}
	if d.Case != x.ref || !d.Closed.Equal(x.closedAt()) || d.Hours != 5 || d.After() != 5*time.Hour+15*time.Minute ||
		d.Why != projections.BackUnexplained || len(d.Lines) != 1 || d.Lines[0] != want || d.Pieces() != 2 || d.Sets != 1 {
		t.Errorf("%+v", d)
	}
	if of[1].Why != projections.BackInHand || of[1].Lines[0].Line != 3 || of[1].Lines[0].Pieces != 1 {
		t.Errorf("%+v", of[1])
	}
	v := judge(t, s.world(), x.key())
	if !projections.CameShort(&v) {
		t.Error("not among those that came back short")
	}
	f := find(v, projections.CameBackShort)[0]
	if !f.From.Equal(x.finalAt()) || !f.To.Equal(clock(1, 14, 55)) || len(f.Events) != 3 {
		t.Errorf("from %s to %s by %v", f.From, f.To, f.Events)
	}
	next := judge(t, s.world(), key(x.set, 1))
	if len(find(next, projections.CameBackShort)) > 0 {
		t.Error("told of the turn that was packed as well")
	}
}

// TestCameBackElsewhere: what one set of the case lacks and another has too many of is told
// under the one that lacks it, whichever is packed first.
func TestCameBackElsewhere(t *testing.T) {
	s, x := plain()
	y := s.two(x, []events.Exception{lacks(1, 4)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	of := back(t, s, x.key(), projections.CameBackShort)
	if len(of) != 2 || of[0].Why != projections.BackUnexplained || of[0].Pieces() != 1 || of[1].Why != projections.BackElsewhere ||
		of[1].Pieces() != 1 || len(of[1].Moves) != 1 || of[1].Moves[0] != (projections.MovedPieces{Set: y.set, Quantity: 1, There: true}) {
		t.Errorf("short: %+v %+v", of[0], of[len(of)-1])
	}
	o := back(t, s, y.key(), projections.CameBackOver)
	if len(o) != 1 || o[0].Why != projections.BackElsewhere || len(o[0].By) != 1 || o[0].By[0] != x.set || o[0].Sets != 2 {
		t.Errorf("over: %+v", o)
	}
	// What lies with the packing as damaged is not what another set has too many of.
	s, x = plain()
	y = s.two(x, []events.Exception{excepted(1, 5, events.ReasonDamaged)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	if o := back(t, s, y.key(), projections.CameBackOver); len(o) != 1 || o[0].Why != projections.BackUnexplained {
		t.Errorf("over: %+v", o)
	}
}

// TestCameBackSettled: packed with all again, it says when; a list that asks for less then
// is full by what it asks for.
func TestCameBackSettled(t *testing.T) {
	for _, x := range []struct {
		name    string
		had     int64 // of line 1, in the case
		list    []int64
		except  []events.Exception
		settled bool
	}{
		{"all there", 6, []int64{6, 2, 4}, nil, true},
		{"another line is short", 6, []int64{6, 2, 4}, []events.Exception{lacks(3, 3)}, true},
		{"still short", 6, []int64{6, 2, 4}, []events.Exception{lacks(1, 5)}, false},
		{"a list of five", 6, []int64{5, 2, 4}, nil, true},
		{"a list without it", 6, []int64{0, 2, 4}, nil, true},
		{"as many as it had", 5, []int64{6, 2, 4}, []events.Exception{lacks(1, 5)}, true},
	} {
		s, turn := plain()
		if x.had < 6 {
			turn.pack.Exceptions = []events.Exception{lacks(1, x.had)}
			turn.first.Counts[0].Counted, turn.final.Counts[0].Counted = x.had, x.had
		}
		s.live(turn)
		s.again(turn, 1, lacks(1, x.had-1))
		later := *turn
		later.list = s.listAt(clock(4, 5, 0), "LAP-MAJOR", 4, x.list...)
		if x.list[0] == 0 {
			later.list.Lines = later.list.Lines[1:]
		}
		y := s.again(&later, 2, x.except...)
		of := back(t, s, turn.key(), projections.CameBackShort)
		if len(of) != 1 || (of[0].Settled != nil) != x.settled || x.settled && !of[0].Settled.At.Equal(y.packedAt()) {
			t.Errorf("%s: %+v", x.name, of)
		}
	}
}

// TestCameBackLastCount: a count of what was added is not a count of all there is, and a
// closing that came after the packing was none before it.
func TestCameBackLastCount(t *testing.T) {
	s, x := plain()
	x.final, x.closed = nil, nil
	s.live(x)
	s.count(x, events.StageAdded, 9, 0, events.Count{Line: 1, Counted: 1})
	s.packedAt(x, clock(1, 14, 40), 1, lacks(1, 5))
	s.tell("or-3", clock(1, 16, 0), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "reconciled", Actions: []string{}})
	of := back(t, s, x.key(), projections.CameBackShort)
	if len(of) != 1 || of[0].Lines[0].Stage != events.StageFirst || of[0].Lines[0].Known != 7 || !of[0].Closed.IsZero() || of[0].Hours != 0 {
		t.Errorf("%+v", of)
	}
}

// TestCameBackClosedTwice: a case that was closed again is closed since then.
func TestCameBackClosedTwice(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.tell("or-3", clock(1, 12, 0), x.ref, "", x.closed)
	s.packedAt(x, clock(1, 14, 40), 1, lacks(1, 5))
	if of := back(t, s, x.key(), projections.CameBackShort); len(of) != 1 || of[0].Hours != 2 || !of[0].Closed.Equal(clock(1, 12, 0)) {
		t.Errorf("%+v", of)
	}
}

// TestCameBackOtherCase: what a set has too many of after another case is not what this
// case's set lacks.
func TestCameBackOtherCase(t *testing.T) {
	s, x := plain()
	y := s.two(x, []events.Exception{lacks(1, 5)}, []events.Exception{excepted(1, 4, events.ReasonAdded)})
	s.tell("or-4", clock(1, 17, 12), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: y.set, OuterLabel: y.set})
	if of := back(t, s, x.key(), projections.CameBackShort); len(of) != 1 || of[0].Why != projections.BackUnexplained {
		t.Errorf("%+v", of)
	}
	if of := back(t, s, y.key(), projections.CameBackOver); len(of) != 1 || of[0].Case != "K-9" || of[0].Why != projections.BackUnexplained {
		t.Errorf("%+v", of)
	}
}
