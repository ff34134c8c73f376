package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func orderRules() []Rule {
	return []Rule{
		{"order", []projections.Code{projections.LinkOutOfOrder}, (*judgement).order},
		{"packed after its run", []projections.Code{projections.LinkOutOfOrder}, (*judgement).packedAfterRun},
		{"closed after its run", []projections.Code{projections.LinkOutOfOrder}, (*judgement).closedAfterRun},
		{"changed while closed", []projections.Code{projections.LinkOutOfOrder}, (*judgement).changedClosed},
		{"two cases", []projections.Code{projections.LinkOutOfOrder}, (*judgement).twoCases},
	}
}

// order finds links whose observed times contradict the policy's order by more
// than the clocks may differ.
func (j *judgement) order() {
	if len(j.c.Steps) == 0 {
		return
	}
	for _, l := range facts.AllLinks {
		step, before := j.latestBefore(l)
		if before == nil {
			continue
		}
		f := j.add(projections.LinkOutOfOrder, projections.SeverityDoubtful, &projections.OutOfOrder{
			Set: j.c.Key.Set, Step: step.Kind, StepAt: step.At(), Before: before.Kind, BeforeAt: before.At(),
		}, step, before)
		f.From, f.To = step.At(), before.At()
	}
}

// latestBefore returns a link's step and, of the links that belong before it,
// the latest one that was observed after it; nil where all came in order.
func (j *judgement) latestBefore(l events.Kind) (step, before *facts.Item) {
	c := j.c
	it := c.First(l)
	if it == nil {
		return nil, nil
	}
	p := j.stepPolicy(it)
	for _, e := range p.Links[:max(slices.Index(p.Links, l), 0)] {
		x, at := c.First(e), it
		if l == events.KindCaseClosed && e == events.KindSetCounted {
			// Every count belongs before the last closing. Other steps may come again.
			x, at = c.LastCount(), c.Closings[len(c.Closings)-1]
		}
		late := x != nil && x.At().Sub(at.At()) > facts.Seconds(p.ClockToleranceSeconds)
		if late && (before == nil || before.Less(x)) {
			step, before = at, x
		}
	}
	return step, before
}

// twoCases finds a set that was opened for two cases within minutes in one room,
// or counted for another case than it was opened for: a reference typed wrong.
// What can't be that is reused.
func (j *judgement) twoCases() {
	c := j.c
	if len(c.Opened) == 0 {
		return
	}
	for i := 1; i < len(c.Opened); i++ {
		a, b := c.Opened[i-1], c.Opened[i]
		if c.Next != nil && a.Less(c.Next) && c.Next.Less(b) {
			continue // packed again between the two: places says whose the second is
		}
		refA, refB := events.CaseOf(a.Data), events.CaseOf(b.Data)
		if refA == refB || !j.sameOpening(a, b) || j.countedApart(refA, refB) {
			continue
		}
		f := j.add(projections.LinkOutOfOrder, projections.SeverityDoubtful, &projections.OpenedForTwo{
			Set: c.Key.Set, First: refA, FirstAt: a.At(), Second: refB, SecondAt: b.At(),
		}, a, b)
		f.From, f.To = a.At(), b.At()
	}
	var other []*facts.Item
	uses := j.uses()
	for _, it := range c.Counted {
		ref := events.CaseOf(it.Data)
		opened := slices.ContainsFunc(c.Opened, func(o *facts.Item) bool { return events.CaseOf(o.Data) == ref })
		if !opened && !slices.ContainsFunc(uses, func(u use) bool { return u.ref == ref }) {
			other = append(other, it)
		}
	}
	if len(other) == 0 {
		return
	}
	f := j.add(projections.LinkOutOfOrder, projections.SeverityDoubtful, &projections.CountedForOther{
		Set: c.Key.Set, Opened: events.CaseOf(c.Opened[0].Data), Counted: events.CaseOf(other[0].Data), At: other[0].At(),
	}, append(other, c.Opened[0])...)
	f.From, f.To = c.Opened[0].At(), other[len(other)-1].At()
}

// packedAfterRun finds a set that was packed again within its trip after it had
// been sterilized, and opened without another run: what was packed last was in
// no load.
func (j *judgement) packedAfterRun() {
	c, w := j.c, j.w
	open := w.firstOpened(c)
	_, run := c.Releasing(w.Book, open)
	if open == nil || run == nil || len(c.Packed) == 0 {
		return
	}
	p := w.PolicyFor(run)
	if !facts.Precedes(p, events.KindSetPacked, events.KindSetSterilized) {
		return
	}
	first := c.Packed[0]
	ran, _ := j.span(run)
	if first.At().Sub(ran) > facts.Seconds(p.ClockToleranceSeconds) {
		return // the first packing is after the run already, which is said
	}
	for _, pack := range slices.Backward(c.Packed) {
		if !pack.Less(open) {
			continue
		}
		if pack.At().Sub(ran) > facts.Seconds(p.ClockToleranceSeconds) {
			f := j.add(projections.LinkOutOfOrder, projections.SeverityBroken, &projections.PackedAfterRun{
				Set: c.Key.Set, Load: facts.RunOf(run).Load, Run: ran, Packed: pack.At(), Opened: open.At(),
			}, run, pack, open)
			f.From, f.To = ran, pack.At()
		}
		return
	}
}

// span returns when a run of the trip began and had ended: by its start, and by the first record of it,
// such as that it passed and was not released yet.
func (j *judgement) span(run *facts.Item) (began, ended time.Time) {
	began, ended = facts.Began(run), run.At()
	for _, it := range j.c.Sterilized {
		if sameRun(facts.RunOf(it), facts.RunOf(run)) {
			began, ended = facts.Earliest(began, facts.Began(it)), facts.Earliest(ended, it.At())
		}
	}
	return began, ended
}

// closedAfterRun finds a container that was closed again after its run began, and before anybody
// opened the set, with new locks or with a sheet that went inside: it was open then, and was in no
// load since. With the sheet inside that is certain. A new sheet for the outside or the screen,
// without new locks, is only printed again.
func (j *judgement) closedAfterRun() {
	c, w := j.c, j.w
	open := w.firstOpened(c)
	run, _ := c.Releasing(w.Book, open)
	if run == nil {
		return
	}
	p := w.PolicyFor(run)
	if !facts.Precedes(p, events.KindListSealed, events.KindSetSterilized) {
		return
	}
	began, ended := j.span(run)
	limit := facts.Seconds(p.ClockToleranceSeconds)
	var closed *facts.Item
	var d *projections.ClosedAfterRun
	for i, it := range c.Sealed {
		if open != nil && !it.Less(open) || it.At().Sub(began) <= limit {
			continue
		}
		first := i == 0
		if first && it.At().Sub(ended) > limit {
			continue // the steps are out of order, which is said
		}
		seal := facts.SealOf(it)
		inside, locks := facts.Inside(seal.Placement), []string(nil)
		if !first {
			locks = lacking(seal.Seals, facts.SealOf(c.Sealed[i-1]).Seals)
		}
		if !first && len(locks) == 0 && !inside || closed != nil && (d.Inside() || !inside) {
			continue
		}
		closed, d = it, &projections.ClosedAfterRun{Set: c.Key.Set, Run: *runDetail(run), Closed: moment(it), First: first,
			Placement: seal.Placement, Locks: locks, Opened: momentAt(open)}
		d.Run.At = ended
		if it.At().Sub(ended) <= limit {
			d.Started = began
		}
	}
	if closed == nil {
		return
	}
	sev := projections.SeverityDoubtful
	if d.Inside() {
		sev = projections.SeverityBroken
	}
	f := j.add(projections.LinkOutOfOrder, sev, d, run, closed, open)
	f.From, f.To = began, closed.At()
}

// changedClosed finds a set of which a piece was sent to repair, or replaced, after it was packed and
// closed and before anybody opened it: its container was open, or the piece is another set's. What the
// packing lacked had left before. A set that went back was opened there, and is packed anew.
func (j *judgement) changedClosed() {
	c := j.c
	pack, open := c.LastPack(), j.w.firstOpened(c)
	if pack == nil {
		return
	}
	var d *projections.ChangedClosed
	var shown []*facts.Item
	out := make(map[string]int64)
	for _, it := range c.Pieces {
		p := facts.PieceOf(it)
		repair := p.Became == events.BecameRepair
		if !repair && p.Became != events.BecameReplaced || !pack.Less(it) || open != nil && open.Less(it) ||
			c.Next != nil && c.Next.Less(it) {
			continue
		}
		closed, run := closedBy(c, pack, it)
		if closed == nil {
			continue
		}
		if id := j.w.pieceID(c, pack, it); repair {
			if out[id] += p.Quantity; out[id] <= j.lacked(pack, id) {
				continue
			}
		}
		d = &projections.ChangedClosed{Set: c.Key.Set, Report: pieceReport(it), Line: p.Line, Item: p.Item,
			Description: p.Description, Closed: moment(closed), Opened: momentAt(open)}
		shown = []*facts.Item{it, closed}
		if run != nil {
			d.Run, shown = runDetail(run), append(shown, run)
		}
	}
	if d == nil {
		return
	}
	sev := projections.SeverityDoubtful
	if c.Next != nil {
		d.Settled, sev, shown = momentAt(c.Next), projections.SeverityNoted, append(shown, c.Next)
	}
	if open != nil {
		shown = append(shown, open)
	}
	f := j.add(projections.LinkOutOfOrder, sev, d, shown...)
	f.From, f.To = d.Closed.At, d.Report.At
	if d.Line > 0 {
		f.Lines = []int64{d.Line}
	}
}

// closedBy returns the step after a packing by which a set was closed when something was reported of it, nil where it
// was not, and the run that it had been in by then.
func closedBy(c *facts.Trip, pack, it *facts.Item) (closed, run *facts.Item) {
	for _, step := range c.Steps {
		if !pack.Less(step) || !step.Less(it) {
			continue
		}
		switch step.Kind {
		case events.KindListSealed:
			closed = step
		case events.KindSetSterilized:
			if run = step; closed == nil {
				closed = step
			}
		case events.KindSetReturned:
			closed, run = nil, nil
		}
	}
	return closed, run
}

// lacked is how many pieces of an item a packing was short of.
func (j *judgement) lacked(pack *facts.Item, id string) int64 {
	list := j.w.ListAt(pack)
	if list == nil {
		return 0
	}
	for _, x := range itemsPacked(list, facts.PackOf(pack)) {
		if x.id == id {
			return max(0, x.listed-x.packed)
		}
	}
	return 0
}
