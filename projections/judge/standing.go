package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
)

// CaseStanding returns where a case stands. A case nobody has named has no sets.
func (w *World) CaseStanding(ref string) (projections.CaseStanding, error) {
	out := projections.CaseStanding{Case: ref}
	s := w.caseState(ref)
	out.Moves, out.Left = slices.Clone(s.moves), slices.Clone(s.left)
	for _, k := range s.trips {
		out.Sets = append(out.Sets, w.standing(k, ref))
	}
	for _, it := range w.CaseFacts(ref) {
		if d, ok := it.Data.(*events.CaseClosed); ok && !it.Void && d.Case == ref {
			out.Closed, out.Outcome, out.Actions, out.Reason = true, d.Outcome, d.Actions, d.Reason
		}
	}
	return out, w.Failed()
}

// Standing returns where one trip stands before a case has named it.
func (w *World) Standing(k projections.TripKey) (projections.SetStanding, error) {
	c := w.Trip(k)
	out := w.standing(k, c.CaseRef)
	return out, w.Failed()
}

func (w *World) standing(k projections.TripKey, ref string) projections.SetStanding {
	c := w.Trip(k)
	out := projections.SetStanding{Key: k, Opened: w.firstOpened(c) != nil, Listed: c.List != nil}
	if p := facts.PackOf(c.LastPack()); p != nil {
		out.List, out.Version = p.List, p.Version
	}
	if c.List != nil {
		out.Title = c.List.Title
	}
	if c.Goods() {
		out.Goods, out.Opened, out.Listed = true, true, true
		out.List = facts.CountOf(c.Counted[len(c.Counted)-1]).Goods
		if all, err := w.Issued(out.List); err == nil && len(all) > 0 {
			out.Title = all[len(all)-1].List.Title
		}
	}
	if n := len(c.Sealed); n > 0 {
		out.Code = facts.SealOf(c.Sealed[n-1]).Code
	}
	t := tallyUp(c, ref)
	b := t.books
	for _, it := range t.counts {
		d := facts.CountOf(it)
		out.Stages = append(out.Stages, d.Stage)
		for _, r := range d.Removed {
			out.Removed = append(out.Removed, projections.RemovedStanding{Removed: r, Stage: d.Stage, Counter: d.Counter})
		}
	}
	var missed []*backItem
	if c.List != nil && c.LastPack() != nil {
		missed, _ = w.missedPacked(c)
	}
	for i := range b.lines {
		l := projections.LineStanding{Line: b.lines[i], Packed: b.packed[i], Expected: b.expected[i],
			Beyond: b.isBeyond(b.lines[i].Line)}
		for _, it := range t.counts {
			if d := facts.CountOf(it); d.Stage != events.StageAdded {
				if x := countedLine(d.Counts, i, l.Line.Line); x != nil {
					l.Last, l.Counted = x.Counted, true
				}
			}
		}
		if k := slices.IndexFunc(missed, func(x *backItem) bool { return x.line.Line == l.Line.Line }); k >= 0 && !l.Beyond {
			l.Missed = missed[k].lost
		}
		out.Lines = append(out.Lines, l)
	}
	return out
}

// Sealed returns what a trip's last seal says, corrections applied; nil where
// no sealing is recorded.
func (w *World) Sealed(k projections.TripKey) (*events.ListSealed, error) {
	c := w.Trip(k)
	if err := w.Failed(); err != nil {
		return nil, err
	}
	if n := len(c.Sealed); n > 0 {
		return facts.SealOf(c.Sealed[n-1]), nil
	}
	return nil, nil
}
