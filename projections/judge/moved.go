package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func movedRules() []Rule {
	return []Rule{
		{"sheet moved", []projections.Code{projections.SheetMoved}, (*judgement).moved},
	}
}

// moved finds the right sheet in another place than sealed.
func (j *judgement) moved() {
	for i := range j.c.Readings {
		j.movedAt(&j.c.Readings[i])
	}
}

func (j *judgement) movedAt(r *facts.Reading) {
	s := facts.SealOf(r.Seal)
	if r.Class != facts.ReadGood || !r.Own() || s == nil {
		return
	}
	if r.InPlace() {
		j.inHand(r, s)
		return
	}
	sev := projections.SeverityDoubtful
	right := j.correctedBy(r, (*facts.Reading).InPlace) // the next good reading may be misplaced as well
	if right != nil {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.SheetMoved, sev, &projections.Moved{
		Set: j.c.Key.Set, At: moment(r.It), Found: events.Placement(r.Found), Sealed: s.Placement, Righted: momentOf(right),
	}, r.It, r.Seal)
	f.From, f.To = r.Seal.At(), r.It.At()
	if right != nil {
		f.Events = append(f.Events, right.It.Seq)
	}
}

// inHand finds a sheet that was closed inside and read, though nobody has opened the set: it was
// taken out, or the set is open, wherever it is said to have been. Nothing puts that right but
// packing the set anew. A reading that may be from before the container was closed shows nothing.
func (j *judgement) inHand(r *facts.Reading, s *events.ListSealed) {
	limit := facts.Seconds(j.w.PolicyFor(r.It).ClockToleranceSeconds)
	if r.Opening || !facts.Inside(s.Placement) || r.It.At().Sub(r.Seal.At()) <= limit || j.openBefore(r.It) {
		return
	}
	f := j.add(projections.SheetMoved, projections.SeverityDoubtful, &projections.ReadWhileClosed{
		Set: j.c.Key.Set, At: moment(r.It), Sealed: s.Placement,
	}, r.It, r.Seal)
	f.From, f.To = r.Seal.At(), r.It.At()
}

// openBefore reports whether the set was open at a moment as far as is known: opened for a case, or back
// to be cleaned.
func (j *judgement) openBefore(at *facts.Item) bool {
	limit := facts.Seconds(j.w.PolicyFor(at).ClockToleranceSeconds)
	if open := j.w.firstOpened(j.c); open != nil && open.At().Sub(at.At()) <= limit {
		return true
	}
	return slices.ContainsFunc(j.c.Steps, func(it *facts.Item) bool {
		return (it.Kind == events.KindSetReturned || it.Kind == events.KindSetOpened || it.Kind == events.KindSetCounted) && it.Less(at)
	})
}
