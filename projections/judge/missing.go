package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func missingRules() []Rule {
	return []Rule{
		{"incomplete", []projections.Code{projections.CameBackShort}, (*judgement).incomplete},
		{"incomplete and not used here", []projections.Code{projections.PieceMissing}, (*judgement).unusedIncomplete},
		{"damaged and packed", []projections.Code{projections.LinkMissing}, (*judgement).damagedPacked},
		{"steps of the way back", []projections.Code{projections.LinkMissing}, (*judgement).stepsBack},
		{"missing since packed", []projections.Code{projections.PieceMissing}, (*judgement).missingSincePacked},
	}
}

// incomplete finds a set of which somebody on its way back from a case said that a piece is missing, and not
// which: this is the first moment at which a piece that was left behind can be noticed. A report that names it,
// or the next packing, replaces the finding.
func (j *judgement) incomplete() {
	ref := j.w.usedLast(j.c)
	used := j.w.openings(j.c)
	if ref == "" || len(used) == 0 {
		return
	}
	var first, last *facts.Item
	for _, it := range j.c.Steps {
		d := facts.ReturnOf(it)
		if d != nil && d.Step == events.ReturnArrived {
			break // lent anew: what it lacks now is its supplier's
		}
		if d == nil || !slices.Contains(d.Faults, events.ReturnIncomplete) || !used[0].Less(it) ||
			j.c.Next != nil && !it.Less(j.c.Next) {
			continue
		}
		if last = it; first == nil {
			first = it
		}
	}
	if first == nil {
		return
	}
	d := &projections.BackIncomplete{Set: j.c.Key.Set, Case: ref, At: moment(first), Sets: max(1, len(j.w.CaseTrips(ref)))}
	shown := []*facts.Item{first}
	if last != first {
		shown = append(shown, last)
	}
	sev, from := projections.SeverityDoubtful, used[0].At()
	if counted := j.countedFor(d, ref, last); counted != nil {
		from, shown = counted.At(), append(shown, counted)
		if d.Missing == 0 {
			sev = projections.SeverityBroken
		}
	}
	if closing := j.closedBefore(ref, first); closing != nil && !closing.At().After(d.At.At) {
		d.Closed = closing.At()
		d.Hours = int64(d.At.At.Sub(d.Closed) / time.Hour)
		shown = append(shown, closing)
	}
	if it := namedSince(j.c, used[0], last); it != nil {
		m := pieceReport(it)
		d.Named, sev, shown = &m, projections.SeverityNoted, append(shown, it)
	}
	if j.c.Next != nil {
		m := moment(j.c.Next)
		d.Packed, sev, shown = &m, projections.SeverityNoted, append(shown, j.c.Next)
	}
	f := j.add(projections.CameBackShort, sev, d, shown...)
	f.From, f.To = from, d.At.At
}

// unusedIncomplete finds the same of a set that nobody used by what is recorded here, such as one that came back from another
// house. No case is to be searched here; whoever had it is to be asked, before the next packing makes it whole again.
func (j *judgement) unusedIncomplete() {
	c, pack := j.c, j.c.LastPack()
	if pack == nil || len(c.Counted) > 0 || j.w.firstOpened(c) != nil || len(j.w.openings(c)) > 0 {
		return
	}
	i := slices.IndexFunc(c.Steps, func(it *facts.Item) bool {
		d := facts.ReturnOf(it)
		return d != nil && !d.Step.IsLoan() && slices.Contains(d.Faults, events.ReturnIncomplete) && pack.Less(it) &&
			(c.Next == nil || it.Less(c.Next))
	})
	if i < 0 {
		return
	}
	said := c.Steps[i]
	d := &projections.UnusedIncomplete{Set: c.Key.Set, At: moment(said), Packed: moment(pack), Settled: momentAt(c.Next)}
	sev, named := projections.SeverityDoubtful, namedSince(c, pack, said)
	if named != nil {
		m := pieceReport(named)
		d.Named = &m
	}
	if named != nil || c.Next != nil {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.PieceMissing, sev, d, said, pack, named, c.Next)
	f.From, f.To = pack.At(), said.At()
}

// countedFor fills in what the counts of a case had missing of the set at its end, and returns the last
// of them, nil where nobody counted it.
func (j *judgement) countedFor(d *projections.BackIncomplete, ref string, last *facts.Item) *facts.Item {
	if j.c.List == nil || j.c.LastPack() == nil {
		return nil
	}
	items := itemsPacked(j.c.List, &events.SetPacked{})
	a := &assembled{pack: last}
	j.w.account(j.c, ref, a, items)
	d.Unsure = a.unsure
	var counted *facts.Item
	for _, x := range items {
		d.Missing += max(0, x.expected-x.known)
		if x.counted != nil && (counted == nil || counted.Less(x.counted)) {
			counted = x.counted
		}
	}
	if counted != nil {
		d.Stage, d.Counted = facts.CountOf(counted).Stage, counted.At()
	}
	return counted
}

// namedSince returns the report that says which piece of a set is missing, or that it was found: the last one since the
// set was said to lack one, or one of before that it is still missed by. nil where there is none.
func namedSince(c *facts.Trip, used, said *facts.Item) *facts.Item {
	var lost int64
	var named *facts.Item
	for _, it := range c.Pieces {
		d := facts.PieceOf(it)
		if !used.Less(it) || c.Next != nil && !it.Less(c.Next) {
			continue
		}
		switch d.Became {
		case events.BecameLost:
			lost, named = lost+d.Quantity, it
		case events.BecameFound:
			if lost -= min(lost, d.Quantity); said.Less(it) {
				named = it
			} else if lost == 0 {
				named = nil
			}
		}
	}
	return named
}

// missingSincePacked finds pieces of a set that were reported as missed after it was packed and before it was
// opened. Whoever opens or hands it out is to know; a count of it, or the next packing, tells more.
func (j *judgement) missingSincePacked() {
	pack := j.c.LastPack()
	if pack == nil || j.c.List == nil {
		return
	}
	ref := j.w.usedLast(j.c)
	d := &projections.MissingSincePacked{Set: j.c.Key.Set, Packed: moment(pack)}
	items, last := j.w.missedPacked(j.c)
	if len(items) == 0 {
		return
	}
	t := tallyUp(j.c, ref)
	var shown []*facts.Item
	settled := true
	for _, x := range items {
		l := projections.BackLine{Line: x.line.Line, Item: x.line.Item, Description: x.line.Description,
			Known: x.packed, Packed: max(0, x.packed-x.lost), Pieces: x.lost, Missed: x.missing.At()}
		if d.At.At.IsZero() || l.Missed.Before(d.At.At) {
			d.At = moment(x.missing)
		}
		if it := t.lastOf(x.line.Line); it != nil && last.Less(it) {
			l.Stage, l.Counted, shown = facts.CountOf(it).Stage, it.At(), append(shown, it)
		} else {
			settled = false
		}
		d.Lines, shown = append(d.Lines, l), append(shown, x.missing)
	}
	sev := projections.SeverityDoubtful
	if settled { // whether it is there, the counts tell
		sev = projections.SeverityNoted
	}
	if j.c.Next != nil {
		m := moment(j.c.Next)
		d.Settled, sev, shown = &m, projections.SeverityNoted, append(shown, j.c.Next)
	}
	f := j.add(projections.PieceMissing, sev, d, append(shown, pack)...)
	f.From, f.To = pack.At(), d.At.At
	for i := range d.Lines {
		f.Lines = append(f.Lines, d.Lines[i].Line)
	}
	slices.Sort(f.Lines)
}

// missedPacked returns the items of a set of which pieces were reported as missed after it was packed and before it
// was opened, and were not found by then; and the last of these reports. What the packing lacked is not missed again.
func (w *World) missedPacked(c *facts.Trip) (out []*backItem, last *facts.Item) {
	pack, opened := c.LastPack(), w.openings(c)
	var reports []*facts.Item
	for _, it := range c.Pieces {
		if pack.Less(it) && (len(opened) == 0 || it.Less(opened[0])) && (c.Next == nil || it.Less(c.Next)) {
			reports = append(reports, it)
		}
	}
	if len(reports) == 0 {
		return nil, nil
	}
	items := itemsPacked(c.List, facts.PackOf(pack))
	for _, it := range reports {
		id := w.pieceID(c, pack, it)
		if i := slices.IndexFunc(items, func(x *backItem) bool { return x.id == id }); i >= 0 {
			items[i].report(it, true)
		}
	}
	for _, x := range items {
		if x.lost -= min(x.lost, max(0, x.listed-x.packed)); x.lost > 0 && x.missing != nil {
			out = append(out, x)
		}
	}
	return out, reports[len(reports)-1]
}

// damagedPacked finds a set of which somebody said on its way back that a piece is damaged, and that was packed as listed
// though nothing says what became of the piece: it may lie in the set. It is told of the turn that was packed so, whose next
// user meets it. Which piece is meant the step doesn't say, so that any report of one repaired or replaced since the set
// was packed before explains it, and any piece that the packing lists otherwise.
func (j *judgement) damagedPacked() {
	c := j.c
	if c.Prev == "" || c.LastPack() == nil {
		return
	}
	p := j.w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Prev})
	if p.Next == nil || p.Next.Event.Trip != c.Key.Trip {
		return
	}
	seen := lastIn(p.Steps, func(it *facts.Item) bool {
		d := facts.ReturnOf(it)
		return d != nil && it.Less(p.Next) && slices.Contains(d.Faults, events.ReturnDamaged)
	})
	if seen == nil || slices.ContainsFunc(facts.PackOf(c.LastPack()).Exceptions, func(e events.Exception) bool {
		return e.Reason != events.ReasonAdded
	}) {
		return
	}
	if slices.ContainsFunc(slices.Concat(p.Pieces, c.Pieces), func(it *facts.Item) bool {
		d := facts.PieceOf(it)
		return (d.Became == events.BecameRepair || d.Became == events.BecameReplaced) && it.Less(c.LastPack()) &&
			(p.LastPack() == nil || p.LastPack().Less(it))
	}) {
		return
	}
	open := j.w.firstOpened(c)
	d := &projections.DamagedPacked{Set: c.Key.Set, Seen: moment(seen), Packed: moment(c.LastPack()), Opened: momentAt(open)}
	f := j.add(projections.LinkMissing, projections.SeverityNoted, d, seen, c.LastPack(), open)
	f.From, f.To = seen.At(), c.LastPack().At()
}
