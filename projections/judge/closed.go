package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func closingRules() []Rule {
	return []Rule{
		{"closing", []projections.Code{projections.ClosedUnreconciled}, eachCase((*judgement).closed)},
	}
}

// closed finds a case that was closed with something unaccounted for, or with
// lines that nobody counted at the end. It is reported with the sets that have
// these lines, or with the first set of a case that was closed as unreconciled and has none.
func (j *judgement) closed(t counts) {
	if len(t.Closings) == 0 {
		return
	}
	closing := t.Closings[len(t.Closings)-1]
	d, ok := closing.Data.(*events.CaseClosed)
	if !ok {
		return
	}
	unaccounted, counts := t.state.unaccounted(j.c.Key)
	uncounted, since := j.uncountedAt(t.state, j.c.Key, closing)
	if len(unaccounted) == 0 && len(uncounted) == 0 && !j.saysCase(t, d, closing) {
		return
	}
	f := j.add(projections.ClosedUnreconciled, projections.SeverityBroken, &projections.ClosedOpen{
		Set: j.c.Key.Set, Case: d.Case, Outcome: d.Outcome, At: closing.At(),
		Unaccounted: unaccounted, Uncounted: uncounted, Reason: d.Reason, Actions: d.Actions,
	}, slices.Concat([]*facts.Item{closing}, counts, since)...)
	f.From, f.To = closing.At(), closing.At()
}

// saysCase reports whether a case without any open line is reported with this
// trip: the first that was opened for it.
func (j *judgement) saysCase(t counts, d *events.CaseClosed, closing *facts.Item) bool {
	if d.Outcome != "unreconciled" || len(t.state.left) > 0 {
		return false
	}
	for _, k := range t.state.trips {
		if lines, _ := j.uncountedAt(t.state, k, closing); len(lines) > 0 {
			return false
		}
	}
	return t.state.trips[0] == j.c.Key
}

func openLine(set string, d *lineDiff, quantity int64) projections.OpenLine {
	return projections.OpenLine{Set: set, Line: d.line, Item: d.item, Description: d.name, Beyond: d.beyond, Quantity: quantity}
}

// unaccounted returns what of a trip no set of the case explains, and the counts
// that show it.
func (s *caseState) unaccounted(k projections.TripKey) (lines []projections.OpenLine, shown []*facts.Item) {
	for _, l := range s.left {
		if l.Key != k {
			continue
		}
		t := s.tallies[k]
		i := slices.IndexFunc(t.ends, func(d lineDiff) bool { return d.itemOf(l.Key) == l.Item })
		lines = append(lines, openLine(l.Key.Set, &t.ends[i], l.Quantity))
		shown = append(shown, t.countsOf(l.Item, l.Key)...)
	}
	return lines, shown
}

// uncountedAt returns the lines of a trip that nobody had counted at the end when
// the case was closed, and the counts since which that is so. What came or left
// later was not open then, and a final count that was made later, such as one that
// is read back from paper with the wrong day, closes nothing.
func (j *judgement) uncountedAt(s *caseState, k projections.TripKey, closing *facts.Item,
) (lines []projections.OpenLine, since []*facts.Item) {
	t := s.tallies[k]
	if t == nil {
		return nil, nil
	}
	until := closing.At().Add(facts.Seconds(j.w.PolicyFor(closing).ClockToleranceSeconds))
	if t.final != nil && t.final.At().After(until) {
		t = tallyOf(j.w.Trip(k), events.CaseOf(closing.Data), until)
	}
	for i := range t.unseen {
		l := &t.unseen[i]
		if s.leftOver(k, l) || closing.Less(l.since) {
			continue
		}
		lines = append(lines, openLine(k.Set, &l.lineDiff, 0))
		since = append(since, l.since)
	}
	return lines, since
}

// leftOver reports whether an uncounted line is among the unaccounted ones.
func (s *caseState) leftOver(k projections.TripKey, l *unseenLine) bool {
	of := func(o projections.Leftover) bool { return o.Key == k && o.Item == l.itemOf(k) }
	ends := s.tallies[k].ends
	return slices.ContainsFunc(s.left, of) && slices.ContainsFunc(ends, func(d lineDiff) bool { return d.line == l.line })
}
