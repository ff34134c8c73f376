package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func doubtRules() []Rule {
	return []Rule{
		{"sheet elsewhere", []projections.Code{projections.SheetInDoubt}, (*judgement).doubt},
	}
}

// doubt finds a set whose sheet was read on another set, and that has not been
// read since. Before it is opened that is the most useful thing the records can
// say, so it is broken, not doubtful: the sheet is known not to be where it
// belongs. Once the other set has its own again, this sheet may have gone back as
// well, and that is doubtful until somebody reads it.
func (j *judgement) doubt() {
	c, w := j.c, j.w
	on, bad := w.strayed(c.Key)
	var since *facts.Reading
	if bad == nil {
		on, bad, since = w.givenUp(c.Key)
	}
	if bad == nil || onScreen(c, bad.It) || readSince(c, bad.It) || foundWithoutOwn(c) || w.usedBefore(c, bad.It) || packedAgain(c) {
		return
	}
	d := &projections.ProbablyWrong{
		Set: c.Key.Set, On: on.Set, At: moment(bad.It), Counted: bad.It.Kind == events.KindSetCounted,
		Window: w.window(w.Trip(on), c, bad), Unopened: w.firstOpened(c) == nil,
	}
	d.TagUnread = !d.Counted && bad.Tag == ""
	shown := []*facts.Item{bad.It}
	sev, gone := projections.SeverityBroken, w.goneFrom(on, c.Key, bad.It)
	if since != nil {
		sev, d.Own, shown = projections.SeverityDoubtful, momentOf(since), append(shown, since.It)
	} else if gone != nil {
		shown = append(shown, gone.It)
		d.Gone = momentOf(gone)
	}
	other, lines := on, []int64(nil)
	if start := w.pathStart(c.Key); gone == nil && w.probablyCarries(c, on, start) {
		other = start
		sc := w.Trip(start)
		changes := changesOf(sc.List, c.List)
		d.Carries, d.Changes = &projections.TripKey{Set: start.Set, Trip: start.Trip}, &changes
		lines = changedLines(c.List, sc.List)
		shown = append(shown, w.path(on, start)...)
	}
	f := j.add(projections.SheetInDoubt, sev, d, shown...)
	during(f, d.Window)
	f.Other, f.Lines = &projections.TripKey{Set: other.Set, Trip: other.Trip}, lines
}

// onScreen reports whether the list was on the screen when its sheet was read
// elsewhere: then there is no paper that could be missing.
func onScreen(c *facts.Trip, at *facts.Item) bool {
	s := facts.SealOf(c.SealAt(at))
	return s != nil && s.Placement == events.Screen
}

// readSince reports whether the set has been read after its sheet turned up
// elsewhere. That reading has its own finding.
func readSince(c *facts.Trip, bad *facts.Item) bool {
	last := c.LastConclusive()
	return last != nil && bad.Less(last.It)
}

// foundWithoutOwn reports whether the set is known to be without its own sheet:
// that reading says what it has.
func foundWithoutOwn(c *facts.Trip) bool {
	last := c.LastConclusive()
	return last != nil && last.Class != facts.ReadGood && c.Faulted(last)
}

// usedBefore reports whether the set was opened, and read or counted by its own sheet,
// before its sheet turned up elsewhere: it is over.
func (w *World) usedBefore(c *facts.Trip, bad *facts.Item) bool {
	open := c.FirstOpened() // also of another tray under its name: then label or tray is in doubt, and told
	if open == nil {
		return false
	}
	if last := c.LastConclusive(); last != nil && !last.It.Less(open) {
		return true
	}
	right := w.LastRight(c)
	return right != nil && !right.Less(open) && right.Less(bad)
}

// packedAgain reports whether the set was packed again unopened, with a new sheet.
func packedAgain(c *facts.Trip) bool { return c.Next != nil && len(c.Opened) == 0 }

// goneFrom returns the reading by which a sheet was no longer on the set it had
// turned up on: it can be anywhere. It is nil where the sheet is still there.
func (w *World) goneFrom(on, sheet projections.TripKey, bad *facts.Item) *facts.Reading {
	last := w.Trip(on).LastConclusive()
	if last == nil || !bad.Less(last.It) || last.Class == facts.ReadSwapped && last.Owner == sheet {
		return nil
	}
	return last
}

// probablyCarries reports whether a set, whose sheet is on another one, carries
// the sheet at the start of the path: the only one nobody has found.
func (w *World) probablyCarries(c *facts.Trip, on, start projections.TripKey) bool {
	if last := c.LastConclusive(); last != nil && last.Class == facts.ReadAbsent {
		return false
	}
	held, _ := w.carrier(c.Key)
	return held == on && w.missed(start)
}

// path returns the readings that lead from a set to the start of its path.
func (w *World) path(at, start projections.TripKey) []*facts.Item {
	var out []*facts.Item
	for at != start {
		next, r := w.carrier(at)
		if r == nil {
			break
		}
		out = append(out, r.It)
		at = next
	}
	return out
}
