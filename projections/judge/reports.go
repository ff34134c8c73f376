package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// What people report of pieces between a case and the assembly of its sets explains what
// the assembly shows, where it says where a piece is: in repair, or found. That one was
// missed explains nothing; it only says since when.

// reported is what reports say of an item since it was last known.
type reported struct {
	repaired, found int64         // pieces in repair at the assembly, and found since
	repairs, finds  []*facts.Item // that say so
	lost            int64         // pieces missed before the assembly, and not found by then
	missing         *facts.Item   // the first report of these
}

// reports fills in what is reported of items until an assembly, and what was found after it
// until the set was opened again. Of what is found later another case may be the cause, unless
// the report names this turn.
func (w *World) reports(c *facts.Trip, ref string, pack *facts.Item, items []*backItem) {
	all := slices.Clone(c.Pieces)
	if pack.Kind == events.KindSetPacked {
		next := w.Trip(projections.TripKey{Set: c.Key.Set, Trip: pack.Event.Trip})
		used := w.openings(next)
		for _, it := range next.Pieces {
			if it.Event.Trip == "" && (len(used) == 0 || it.Less(used[0])) {
				all = append(all, it)
			}
		}
	}
	slices.SortFunc(all, facts.Compare)
	for _, it := range all {
		id := w.pieceID(c, pack, it)
		i := slices.IndexFunc(items, func(x *backItem) bool { return x.id == id })
		if i < 0 || !w.afterUse(c, ref, items[i], it) {
			continue
		}
		items[i].report(it, it.Less(pack))
	}
}

// pieceID is by what the piece of a report is found in a packing: by its catalogue number,
// else by its line in the list that the set was packed by before.
func (w *World) pieceID(c *facts.Trip, pack, it *facts.Item) string {
	d := facts.PieceOf(it)
	if d.Item != "" {
		return d.Item
	}
	of := c.LastPack()
	if pack.Kind == events.KindSetPacked && !it.Less(pack) && it.Event.Trip != c.Key.Trip {
		of = pack
	}
	if list := w.ListAt(of); list != nil {
		for _, l := range list.Lines {
			if l.Line == d.Line {
				return backKey(list.List, l)
			}
		}
	}
	return ""
}

// afterUse reports whether a report was made after the item was last known in a case: after
// its last count, or where nobody counted it after the set was opened.
func (w *World) afterUse(c *facts.Trip, ref string, x *backItem, it *facts.Item) bool {
	if x.counted != nil {
		return x.counted.Less(it)
	}
	for _, o := range w.openings(c) {
		if events.CaseOf(o.Data) == ref {
			return o.Less(it)
		}
	}
	return c.LastPack().Less(it)
}

// report takes in one report, before the assembly or after it.
func (x *backItem) report(it *facts.Item, before bool) {
	d := facts.PieceOf(it)
	switch {
	case d.Became == events.BecameFound && !before:
		x.found, x.finds = x.found+d.Quantity, append(x.finds, it)
	case !before:
		// What happens to a piece later tells nothing of this assembly.
	case d.Became == events.BecameRepair:
		x.repaired, x.repairs = x.repaired+d.Quantity, append(x.repairs, it)
	case d.Became == events.BecameBack:
		if x.repaired -= min(x.repaired, d.Quantity); x.repaired == 0 {
			x.repairs = nil
		}
	case d.Became == events.BecameLost:
		if x.lost += d.Quantity; x.missing == nil {
			x.missing = it
		}
	case d.Became == events.BecameFound:
		if x.lost -= min(x.lost, d.Quantity); x.lost == 0 {
			x.missing = nil
		}
	}
}

func pieceReport(it *facts.Item) projections.PieceReport {
	d := facts.PieceOf(it)
	return projections.PieceReport{Moment: moment(it), Became: d.Became, Quantity: d.Quantity, Where: d.Place,
		WasherLoad: d.WasherLoad}
}

// lastWash returns the last time that a set was in a washer, with its load, before it was
// packed again; nil where that is not recorded.
func (w *World) lastWash(c *facts.Trip) *facts.Item {
	for _, it := range slices.Backward(c.Steps) {
		if d := facts.ReturnOf(it); d != nil && d.WasherLoad != "" && (c.Next == nil || it.Less(c.Next)) {
			return it
		}
	}
	return nil
}

// washedTogether returns the smallest moves between sets of one load of a washer that explain
// what their assemblies lack and have over, where neither the sets' own reports nor the
// other sets of their cases explain it.
func (w *World) washedTogether(load string) []projections.Move {
	return w.washings.Get(w.Book, load, func() []projections.Move {
		var bs []projections.Balance
		for _, k := range w.Washed(load) {
			c := w.Trip(k)
			if it := w.lastWash(c); it == nil || facts.ReturnOf(it).WasherLoad != load {
				continue // washed again since, and what it has is from there
			}
			ref := w.usedLast(c)
			a := w.assembledAfter(c, ref)
			if a == nil {
				continue
			}
			var inCase []projections.Move
			if ref != "" {
				inCase = w.backCase(ref).moves
			}
			for _, x := range a.items {
				_, moved := x.movesOf(k, inCase)
				lacks, over := x.lacks(), x.over()
				bs = append(bs, projections.Balance{Key: k, Item: ItemOf(k, events.Line{Line: x.line.Line, Item: x.name}),
					Expected: lacks - min(lacks, moved), Counted: over - min(over, moved)})
			}
		}
		moves, _ := Reconcile(bs)
		return moves
	})
}

// missed finds pieces of a used set that were reported as missed before anybody assembled
// it. Where they are missing at the assembly, that is told instead.
func (j *judgement) missed() {
	ref := j.w.usedLast(j.c)
	if ref == "" || j.c.List == nil || j.c.LastPack() == nil {
		return
	}
	var last *facts.Item
	for _, it := range j.c.Pieces {
		if facts.PieceOf(it).Became == events.BecameLost && (j.c.Next == nil || it.Less(j.c.Next)) {
			last = it
		}
	}
	if last == nil {
		return
	}
	items := itemsPacked(j.c.List, &events.SetPacked{})
	a := &assembled{pack: last}
	j.w.account(j.c, ref, a, items)
	for _, it := range j.c.Pieces {
		id := j.w.pieceID(j.c, last, it)
		i := slices.IndexFunc(items, func(x *backItem) bool { return x.id == id })
		if i >= 0 && j.w.afterUse(j.c, ref, items[i], it) {
			items[i].report(it, true) // what was found since is missed no more
		}
	}
	assembled := j.w.assembledAfter(j.c, ref)
	d := &projections.PieceMissed{Set: j.c.Key.Set, Case: ref, Sets: max(1, len(j.w.CaseTrips(ref))), Unsure: a.unsure}
	shown, sev := missedLines(d, items, assembled)
	if len(d.Lines) == 0 {
		return
	}
	if closing := j.closedBefore(ref, last); closing != nil && !closing.At().After(d.At.At) {
		d.Closed = closing.At()
		d.Hours = int64(d.At.At.Sub(d.Closed) / time.Hour)
		shown = append(shown, closing)
	}
	if j.c.Next != nil { // and not short of it then
		m := moment(j.c.Next)
		d.Settled, sev, shown = &m, projections.SeverityNoted, append(shown, j.c.Next)
	}
	f := j.add(projections.CameBackShort, sev, d, shown...)
	f.From, f.To = d.Lines[0].Counted, d.At.At
	for i := range d.Lines {
		f.From, f.Lines = facts.Latest(f.From, d.Lines[i].Counted), append(f.Lines, d.Lines[i].Line)
	}
	if f.From.IsZero() {
		f.From = j.c.LastPack().At()
	}
	slices.Sort(f.Lines)
}

// missedLines puts the lines of which pieces are missed into a finding's detail, unless the
// counts or the next assembly tell of those themselves. What was counted at the end of the
// case weighs more.
func missedLines(d *projections.PieceMissed, items []*backItem, assembled *assembled) (shown []*facts.Item, sev projections.Severity) {
	sev = projections.SeverityDoubtful
	for _, x := range items {
		n := x.lost - min(x.lost, max(0, x.expected-x.known)) // the counts tell of those themselves
		if n <= 0 || assembled != nil && slices.ContainsFunc(assembled.items, func(y *backItem) bool {
			return y.id == x.id && y.short() > 0
		}) {
			continue
		}
		l := projections.BackLine{Line: x.line.Line, Item: x.line.Item, Description: x.line.Description, Stage: x.stage,
			Known: x.known, Packed: max(0, x.known-n), Pieces: n, Missed: x.missing.At()}
		if x.counted != nil {
			l.Counted, sev = x.counted.At(), projections.SeverityBroken
			shown = append(shown, x.counted)
		}
		if d.At.At.IsZero() || l.Missed.Before(d.At.At) {
			d.At = moment(x.missing)
		}
		d.Lines, shown = append(d.Lines, l), append(shown, x.missing)
	}
	return shown, sev
}
