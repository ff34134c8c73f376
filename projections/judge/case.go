package judge

import "listbound/projections"

// caseState is what the counts of a case come to over all its sets.
type caseState struct {
	trips   []projections.TripKey
	tallies map[projections.TripKey]*tally
	moves   []projections.Move
	left    []projections.Leftover
}

func (w *World) caseState(ref string) *caseState {
	return w.caseStates.Get(w.Book, ref, func() *caseState { return w.buildCase(ref) })
}

func (w *World) buildCase(ref string) *caseState {
	s := &caseState{trips: w.CaseTrips(ref), tallies: make(map[projections.TripKey]*tally)}
	var bs []projections.Balance
	for _, k := range s.trips {
		t := tallyUp(w.Trip(k), ref)
		s.tallies[k] = t
		for i := range t.ends {
			d := &t.ends[i]
			bs = append(bs, projections.Balance{Key: k, Item: d.itemOf(k), Expected: d.expected, Counted: d.seen})
		}
	}
	if len(bs) > 0 {
		s.moves, s.left = Reconcile(bs)
	}
	return s
}
