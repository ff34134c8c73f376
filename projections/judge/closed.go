package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// closed finds a case that was closed with something unaccounted for, or with
// lines that nobody counted at the end.
func (j *judgement) closed(t counts) {
	if len(t.Closings) == 0 {
		return
	}
	closing := t.Closings[len(t.Closings)-1]
	d, ok := closing.Data.(*events.CaseClosed)
	if !ok {
		return
	}
	unaccounted, counts := t.state.unaccounted()
	uncounted, since := t.state.uncountedAt(closing)
	if len(unaccounted) == 0 && len(uncounted) == 0 && d.Outcome != "unreconciled" {
		return
	}
	f := j.add(projections.ClosedUnreconciled, projections.SeverityBroken, &projections.ClosedOpen{
		Set: j.c.Key.Set, Case: d.Case, Outcome: d.Outcome, At: closing.At(),
		Unaccounted: unaccounted, Uncounted: uncounted, Reason: d.Reason, Actions: d.Actions,
	}, slices.Concat([]*facts.Item{closing}, counts, since)...)
	f.From, f.To = closing.At(), closing.At()
}

func openLine(set string, d *lineDiff, quantity int64) projections.OpenLine {
	return projections.OpenLine{Set: set, Line: d.line, Item: d.item, Description: d.name, Quantity: quantity}
}

// unaccounted returns what no set of the case explains, and the counts that show it.
func (s *caseState) unaccounted() (lines []projections.OpenLine, shown []*facts.Item) {
	for _, l := range s.left {
		t := s.tallies[l.Key]
		i := slices.IndexFunc(t.ends, func(d lineDiff) bool { return d.itemOf(l.Key) == l.Item })
		lines = append(lines, openLine(l.Key.Set, &t.ends[i], l.Quantity))
		shown = append(shown, t.countsOf(l.Item, l.Key)...)
	}
	return lines, shown
}

// uncountedAt returns the lines that nobody had counted at the end when the
// case was closed, and the counts since which that is so. What came or left
// later was not open then.
func (s *caseState) uncountedAt(closing *facts.Item) (lines []projections.OpenLine, since []*facts.Item) {
	for _, k := range s.trips {
		t := s.tallies[k]
		for i := range t.unseen {
			l := &t.unseen[i]
			if s.leftOver(k, l) || closing.Less(l.since) {
				continue
			}
			lines = append(lines, openLine(k.Set, &l.lineDiff, 0))
			since = append(since, l.since)
		}
	}
	return lines, since
}

// leftOver reports whether an uncounted line is among the unaccounted ones.
func (s *caseState) leftOver(k projections.TripKey, l *unseenLine) bool {
	of := func(o projections.Leftover) bool { return o.Key == k && o.Item == l.itemOf(k) }
	ends := s.tallies[k].ends
	return slices.ContainsFunc(s.left, of) && slices.ContainsFunc(ends, func(d lineDiff) bool { return d.line == l.line })
}
