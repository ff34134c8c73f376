package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func firstCountRules() []Rule {
	return []Rule{
		{"first count", []projections.Code{projections.CountDiffersAtOpen}, eachCase((*judgement).firstCount)},
	}
}

// firstCount finds a first count that differs from what packing recorded. If another
// set of the case has the opposite difference, the pieces were probably packed there; the same goes for a set of another
// case that was packed beside this one. The finding calls for action with the set that is
// short, and is noted with a set that only has what others lack.
func (j *judgement) firstCount(t counts) {
	if len(t.firstDiffs) == 0 || j.packedInTray(t) {
		return
	}
	pack := j.c.LastPack()
	shown := []*facts.Item{t.first, pack}
	var moves []projections.Move
	var beside []projections.PackedBeside
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
		packed := j.w.Trip(other).LastPack()
		few := len(t.firstDiffs) <= fewLines && len(t.state.tallies[other].firstDiffs) <= fewLines
		if b, ok := j.w.beside(pack, packed); ok && few && !slices.ContainsFunc(beside, func(x projections.PackedBeside) bool {
			return x.Set == b.Set
		}) {
			beside, shown = append(beside, b), append(shown, packed)
		}
	}
	named := movesOf(j.c.Key, moves)
	var exchanged []projections.ExchangedAtPacking
	for _, e := range j.w.exchangedAtPacking(j.c, t.Ref) {
		moves, exchanged = append(moves, e.move(j.c.Key)), append(exchanged, e.detail(j.c.Key))
		shown = append(shown, e.shown...)
	}
	sev, by := projections.SeverityDoubtful, []string(nil)
	if onlyOthers(j.c.Key, t.firstDiffs, moves) {
		sev, by = projections.SeverityNoted, shortSets(moves)
	}
	arrival := j.arrivedShort(t.firstDiffs)
	if arrival != nil {
		sev, shown = projections.SeverityNoted, append(shown, arrival)
	}
	f := j.add(projections.CountDiffersAtOpen, sev, &projections.FirstDiffers{
		Set: j.c.Key.Set, At: t.first.At(), Lines: lineCounts(t.firstDiffs), Moves: named, By: by,
		Beside: beside, Exchanged: exchanged, Arrived: momentAt(arrival),
	}, shown...)
	f.Lines, f.From, f.To = linesOf(t.firstDiffs), pack.At(), t.first.At()
}

// packedInTray reports whether all that a first count differs in is as packing recorded
// it of the tray that was opened for the case under this trip's name.
func (j *judgement) packedInTray(t counts) bool {
	return slices.ContainsFunc(j.trays(), func(k projections.TripKey) bool {
		tray := j.w.Trip(k)
		if k == j.c.Key || !j.openedUnder(tray, t.Ref) {
			return false
		}
		b := newBooks(tray)
		return !slices.ContainsFunc(t.firstDiffs, func(d lineDiff) bool {
			i := slices.IndexFunc(b.lines, func(l events.Line) bool { return l.Line == d.line })
			return i < 0 || b.packed[i] != d.seen
		})
	})
}

// onlyOthers reports whether a set differs by nothing but pieces that other sets
// of the case lack: no line has fewer than expected, and moves to the set explain
// each piece that is over.
func onlyOthers(k projections.TripKey, ds []lineDiff, moves []projections.Move) bool {
	over := make(map[string]int64)
	for i := range ds {
		if ds[i].seen < ds[i].expected {
			return false
		}
		over[ds[i].itemOf(k)] += ds[i].seen - ds[i].expected
	}
	for _, m := range moves {
		if m.To == k {
			over[m.Item] -= m.Quantity
		}
	}
	for _, n := range over {
		if n != 0 {
			return false
		}
	}
	return true
}
