package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func loanRules() []Rule {
	return []Rule{
		{"arrived", []projections.Code{projections.LoanDiffers}, (*judgement).arrived},
		{"handed back", []projections.Code{projections.CameBackShort, projections.LoanDiffers}, (*judgement).handedBack},
		{"loan", []projections.Code{projections.Overdue}, (*judgement).overdueLoan},
	}
}

// A set that a supplier lends is counted by its inventory when it comes and when it goes. What it lacked when it came is the
// supplier's and no case's. When it goes it is not packed again, so this count takes the place of the assembly after its last
// case: it is held against the last account of that.

// arrived finds a set that came otherwise than its inventory has it. It is noted once the set was packed, whose packing says
// what it has, or was handed back.
func (j *judgement) arrived() {
	for i, it := range j.c.Steps {
		r := facts.ReturnOf(it)
		if r == nil || r.Step != events.ReturnArrived || len(r.Exceptions) == 0 && len(r.Faults) == 0 {
			continue
		}
		d := &projections.LoanArrived{Set: j.c.Key.Set, Supplier: r.Supplier, At: moment(it), Faults: r.Faults, Lines: j.w.inventory(it)}
		sev, shown := projections.SeverityDoubtful, []*facts.Item{it}
		var since *facts.Item
		for _, s := range j.c.Steps[i+1:] {
			if x := facts.ReturnOf(s); x != nil && x.Step == events.ReturnHanded {
				since = s
				break
			}
		}
		if since == nil {
			since = j.w.PackedAfter(it)
		}
		if since != nil {
			d.Since, sev, shown = momentAt(since), projections.SeverityNoted, append(shown, since)
			d.Packed = since.Kind == events.KindSetPacked
		}
		f := j.add(projections.LoanDiffers, sev, d, shown...)
		f.From, f.To = it.At(), it.At()
		for _, l := range d.Lines {
			f.Lines = append(f.Lines, l.Line)
		}
		slices.Sort(f.Lines)
	}
}

// inventory returns the lines in which a count of a lent set differs from its inventory.
func (w *World) inventory(it *facts.Item) (out []projections.LineCount) {
	list := w.ListOf(it)
	for _, x := range facts.ReturnOf(it).Exceptions {
		l := projections.LineCount{Line: x.Line, Counted: x.Counted}
		if list != nil {
			of := lineOf(list.Lines, x.Line)
			l.Item, l.Description, l.Expected = of.Item, of.Description, of.Quantity
		}
		out = append(out, l)
	}
	return out
}

// arrivedWith returns how many pieces of a line a lent set arrived with, by its inventory where nothing else was counted. Where it
// was counted by another version then, or by another list, the lines are those of the same item.
func (w *World) arrivedWith(arrival *facts.Item, l events.Line) int64 {
	if arrival == nil {
		return l.Quantity
	}
	var of []events.Line
	if list := w.ListOf(arrival); list != nil {
		of = list.Lines
	}
	here := -1
	for i, o := range of {
		if o.Item == l.Item && (here < 0 || o.Line == l.Line) {
			here = i
		}
	}
	if here < 0 {
		return l.Quantity
	}
	for _, x := range facts.ReturnOf(arrival).Exceptions {
		if x.Line == of[here].Line {
			return x.Counted
		}
	}
	return of[here].Quantity
}

// lentFor returns the arrival that a set is handed back after. Handed back a second time, it is held against the same one.
func (w *World) lentFor(c *facts.Trip, handed *facts.Item) *facts.Item {
	for _, it := range slices.Backward(c.Steps) {
		if handed.Less(it) {
			continue
		}
		if arrival := w.LentAt(c, it); arrival != nil {
			return arrival
		}
	}
	return nil
}

// handedBack holds the count by which a lent set goes against the last account of its last case, and against its arrival.
func (j *judgement) handedBack() {
	for _, it := range j.c.Steps {
		r := facts.ReturnOf(it)
		list := j.w.ListOf(it)
		if r == nil || r.Step != events.ReturnHanded || list == nil {
			continue
		}
		j.handedBackAt(it, r, list)
	}
}

func (j *judgement) handedBackAt(it *facts.Item, r *events.SetReturned, list *events.ListIssued) {
	arrival := j.w.lentFor(j.c, it)
	d := &projections.LoanHanded{Set: j.c.Key.Set, Supplier: r.Supplier, At: moment(it), Arrived: momentAt(arrival)}
	items := itemsPacked(list, &events.SetPacked{List: r.List, Version: r.Version, Exceptions: r.Exceptions})
	ref, a := j.w.usedLast(j.c), &assembled{pack: it}
	if ref != "" && j.c.LastPack() != nil {
		j.w.account(j.c, ref, a, items)
		j.w.reports(j.c, ref, it, items)
		d.Case, d.Unsure = ref, a.unsure
	}
	sev, code, shown := projections.SeverityNoted, projections.LoanDiffers, []*facts.Item{it, arrival}
	var from time.Time
	for _, x := range items {
		l := projections.LoanLine{Line: x.line.Line, Item: x.line.Item, Description: x.line.Description,
			Arrived: j.w.arrivedWith(arrival, x.line), Known: x.known, Left: x.packed, Uncounted: arrival == nil}
		if !x.had {
			l.Known = l.Arrived
			x.known = l.Arrived
		}
		l.Lacks = max(0, l.Known-x.packed-x.inHand-x.repaired-x.found)
		if l.Lacks == 0 && x.packed == l.Arrived {
			continue
		}
		if x.counted != nil {
			l.Stage, l.Counted, shown = facts.CountOf(x.counted).Stage, x.counted.At(), append(shown, x.counted)
		}
		if l.Lacks > 0 {
			code = projections.CameBackShort
			if x.counted != nil {
				sev, from = projections.SeverityBroken, facts.Latest(from, l.Counted)
			} else if sev != projections.SeverityBroken {
				sev = projections.SeverityDoubtful
			}
		}
		d.Lines = append(d.Lines, l)
	}
	if len(d.Lines) == 0 {
		return
	}
	if closing := j.closedIn(ref, it); closing != nil {
		d.Closed = closing.At()
		d.Hours, shown = int64(it.At().Sub(d.Closed)/time.Hour), append(shown, closing)
	}
	f := j.add(code, sev, d, shown...)
	if f.From, f.To = from, it.At(); from.IsZero() && arrival != nil {
		f.From = arrival.At()
	} else if from.IsZero() {
		f.From = it.At()
	}
	for _, l := range d.Lines {
		f.Lines = append(f.Lines, l.Line)
	}
	slices.Sort(f.Lines)
}

// closedIn is closedBefore where there is a case.
func (j *judgement) closedIn(ref string, by *facts.Item) *facts.Item {
	if ref == "" {
		return nil
	}
	return j.closedBefore(ref, by)
}

// overdueLoan finds a lent set that should have been handed back. It is told of the turn in which the set arrived: of any other set
// nothing is asked for that.
func (j *judgement) overdueLoan() {
	i := slices.IndexFunc(j.c.Steps, func(it *facts.Item) bool {
		r := facts.ReturnOf(it)
		return r != nil && r.Step == events.ReturnArrived
	})
	if i < 0 {
		return
	}
	arrival := j.c.Steps[i]
	last, back := j.w.lentUntil(j.c, arrival)
	if back {
		return
	}
	r := facts.ReturnOf(arrival)
	d := &projections.LoanOverdue{Set: j.c.Key.Set, Supplier: r.Supplier, Arrived: moment(arrival), Due: r.DueAt()}
	if d.Due.IsZero() {
		closing := j.closedIn(j.w.usedLast(last), nil)
		if closing == nil || closing.Less(arrival) {
			return // it waits for its case
		}
		due, waits := events.Overdue(closing.At(), j.waits(closing).Loan)
		if !waits {
			return
		}
		d.Closed, d.Due = momentAt(closing), due
	}
	if !j.w.Passed(d.Due) {
		if j.until.IsZero() || d.Due.Before(j.until) {
			j.until = d.Due
		}
		return
	}
	f := j.add(projections.Overdue, projections.SeverityDoubtful, d, arrival)
	f.From = d.Due
}

// maxLoan is through how many turns a loan is followed: a set is lent for a few cases.
const maxLoan = 12

// lentUntil returns the last turn of a set since it arrived, and whether it was handed back by then, or arrived again.
func (w *World) lentUntil(c *facts.Trip, arrival *facts.Item) (last *facts.Trip, back bool) {
	for range maxLoan {
		if slices.ContainsFunc(c.Steps, func(it *facts.Item) bool {
			r := facts.ReturnOf(it)
			return r != nil && r.Step.IsLoan() && arrival.Less(it)
		}) {
			return c, true
		}
		next := c.Next
		if len(c.Packed) == 0 {
			next = w.PackedAfter(arrival)
		}
		if next == nil {
			break
		}
		c = w.Trip(projections.TripKey{Set: c.Key.Set, Trip: next.Event.Trip})
	}
	return c, false
}

// arrivedShort returns the arrival of a lent set where all that its first count is short of was missing by then, nil otherwise:
// no case is to blame for it, and no packing.
func (j *judgement) arrivedShort(ds []lineDiff) *facts.Item {
	pack := j.c.LastPack()
	if pack == nil {
		return nil
	}
	arrival := j.w.LentAt(j.c, pack)
	if arrival == nil {
		return nil
	}
	list := j.w.ListOf(arrival)
	if list == nil {
		return nil
	}
	for i := range ds {
		l := lineOf(list.Lines, ds[i].line)
		if ds[i].seen >= ds[i].expected || l.Item != ds[i].item || l.Quantity-j.w.arrivedWith(arrival, l) < ds[i].expected-ds[i].seen {
			return nil
		}
	}
	return arrival
}

// lentAnew reports whether a set that was used in a turn arrived from its supplier since: what it has then is held against
// its inventory, not against a case before.
func lentAnew(c *facts.Trip) bool {
	return slices.ContainsFunc(c.Steps, func(it *facts.Item) bool {
		r := facts.ReturnOf(it)
		return r != nil && r.Step == events.ReturnArrived && len(c.Packed) > 0 && c.LastPack().Less(it)
	})
}
