package judge

import "listbound/projections"

// caseState is what the counts of a case come to over all its sets.
type caseState struct {
	trips   []projections.TripKey
	tallies map[projections.TripKey]*tally
	moves   []projections.Move
	left    []projections.Leftover

	firstMoves []projections.Move // what the first counts differ in, packed in another set
}

func (w *World) caseState(ref string) *caseState {
	return w.caseStates.Get(w.Book, ref, func() *caseState { return w.buildCase(ref) })
}

func (w *World) buildCase(ref string) *caseState {
	s := &caseState{trips: w.CaseTrips(ref), tallies: make(map[projections.TripKey]*tally)}
	var first, bs []projections.Balance
	for _, k := range s.trips {
		t := tallyUp(w.Trip(k), ref)
		s.tallies[k] = t
		first = append(first, w.firstBalances(w.Trip(k), t)...)
		bs = append(bs, balances(k, t.ends)...)
	}
	s.moves, s.left = Reconcile(bs)
	s.firstMoves, _ = Reconcile(first)
	return s
}

func balances(k projections.TripKey, ds []lineDiff) []projections.Balance {
	out := make([]projections.Balance, 0, len(ds))
	for i := range ds {
		out = append(out, projections.Balance{Key: k, Item: ds[i].itemOf(k), Expected: ds[i].expected, Counted: ds[i].seen})
	}
	return out
}
