package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

// firstCount finds a first count that is not what packing recorded. What another
// set of the case has too many or too few of the same was probably packed there.
func (j *judgement) firstCount(t counts) {
	if len(t.firstDiffs) == 0 {
		return
	}
	pack := j.c.LastPack()
	shown := []*facts.Item{t.first, pack}
	var moves []projections.Move
	for _, m := range t.state.firstMoves {
		if m.From != j.c.Key && m.To != j.c.Key {
			continue
		}
		moves = append(moves, m)
		other := m.From
		if other == j.c.Key {
			other = m.To
		}
		shown = append(shown, t.state.tallies[other].first)
	}
	f := j.add(projections.CountDiffersAtOpen, projections.SeverityDoubtful, &projections.FirstDiffers{
		Set: j.c.Key.Set, At: t.first.At(), Lines: lineCounts(t.firstDiffs), Moves: movesOf(j.c.Key, moves),
	}, shown...)
	f.Lines, f.From, f.To = linesOf(t.firstDiffs), pack.At(), t.first.At()
}
