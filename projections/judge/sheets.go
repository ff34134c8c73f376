package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
)

func sheetRules() []Rule {
	return []Rule{
		{"sheet", []projections.Code{
			projections.SheetSwapped, projections.SheetStale, projections.SheetAltered, projections.SheetUnknown,
			projections.SheetUnreadable, projections.SheetAbsent,
		}, (*judgement).sheets},
	}
}

// group is the readings of one trip that found the same wrong thing.
type group struct {
	class facts.Class
	owner projections.TripKey
	tray  string
	rs    []*facts.Reading
}

// sheets judges every look at the set's sheet that did not find its own.
func (j *judgement) sheets() {
	var groups []group
	for _, r := range j.looksAtTray() {
		if r.Class == facts.ReadNothing || r.Class == facts.ReadGood && r.Own() {
			continue
		}
		if r.Owner.Set != "" && r.Owner.Set == r.Tray() && !r.Own() {
			// The tray is another set, and lies with its own sheet: only the name it
			// went under is wrong, which labels has said. With this set's sheet, or a
			// third one's, sheet and tray do not belong together.
			continue
		}
		g := group{class: r.Class, owner: r.Owner, tray: r.Named()}
		at := slices.IndexFunc(groups, func(x group) bool { return x.class == g.class && x.owner == g.owner && x.tray == g.tray })
		if at < 0 {
			groups, at = append(groups, g), len(groups)
		}
		groups[at].rs = append(groups[at].rs, r)
	}
	for i := range groups {
		j.sheet(&groups[i])
	}
}

// looksAtTray returns the looks at a set's sheet: those under its name, but where
// nothing tells whose sheet was there only those at its own tray, and such looks at its
// tray under other names, held against its own seal.
func (j *judgement) looksAtTray() []*facts.Reading {
	c := j.c
	var out []*facts.Reading
	for i := range c.Readings {
		r := &c.Readings[i]
		if untold(r) && j.w.trayOf(c, r.It) != c.Key.Set {
			continue
		}
		out = append(out, r)
	}
	for _, o := range j.w.otherNames(c) {
		if untold(o.read) {
			r := *o.read
			r.Seal = c.SealAt(r.It)
			out = append(out, &r)
		}
	}
	slices.SortStableFunc(out, func(a, b *facts.Reading) int { return facts.Compare(a.It, b.It) })
	return out
}

// untold reports whether a look was at a sheet that was not there or could not be read.
func untold(r *facts.Reading) bool {
	return r.Class == facts.ReadAbsent || r.Class == facts.ReadUnreadable
}

// corrected returns the good reading after which an earlier wrong one no longer
// stands against the chain: it was put right before the set was used. The
// reading at the opening itself counts, for it shows what lay in front of the
// people who used the set; what is found at the opening or after it stays.
func (j *judgement) corrected(last *facts.Reading) *facts.Reading {
	return j.correctedBy(last, func(*facts.Reading) bool { return true })
}

// correctedBy is corrected by a good reading that has something else besides.
func (j *judgement) correctedBy(last *facts.Reading, has func(*facts.Reading) bool) *facts.Reading {
	open := j.w.firstOpened(j.c)
	if open != nil && !last.It.Less(open) {
		return nil
	}
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if r.Class == facts.ReadGood && r.Own() && last.It.Less(r.It) && (open == nil || !open.Less(r.It)) && has(r) {
			return r
		}
	}
	return nil
}

func items(rs []*facts.Reading) []*facts.Item {
	out := make([]*facts.Item, len(rs))
	for i, r := range rs {
		out[i] = r.It
	}
	return out
}

// wrongSheet is a group of equal wrong readings as the rules see it.
type wrongSheet struct {
	*group
	j           *judgement
	first, last *facts.Reading
	right       *facts.Reading // by which it was put right, nil where it was not
	shown       []*facts.Item
}

func (j *judgement) sheet(g *group) {
	x := wrongSheet{group: g, j: j, first: g.rs[0], last: g.rs[len(g.rs)-1]}
	x.right = j.corrected(x.last)
	x.shown = items(g.rs)
	if x.last.Seal != nil {
		x.shown = append(x.shown, x.last.Seal)
	}
	if x.right != nil {
		x.shown = append(x.shown, x.right.It)
	}
	if g.tray != j.c.Key.Set {
		switch g.class {
		case facts.ReadGood, facts.ReadAltered, facts.ReadStale, facts.ReadSwapped:
			x.anotherTray()
			return
		}
	}
	switch g.class {
	case facts.ReadSwapped:
		x.swapped()
	case facts.ReadStale:
		x.stale()
	case facts.ReadAltered:
		x.altered()
	case facts.ReadUnknown:
		x.add(projections.SheetUnknown, x.severity(), &projections.NoSuchSheet{
			Set: j.c.Key.Set, At: moment(x.first.It), OwnTrip: x.first.Unlisted, Righted: momentOf(x.right),
		})
	case facts.ReadAbsent:
		x.absent()
	case facts.ReadUnreadable:
		x.unreadable()
	}
}

func (x *wrongSheet) severity() projections.Severity {
	if x.right != nil {
		return projections.SeverityNoted
	}
	return projections.SeverityBroken
}

func (x *wrongSheet) add(code projections.Code, sev projections.Severity, d projections.Detail) *projections.Finding {
	f := x.j.add(code, sev, d, x.shown...)
	f.From, f.To = x.j.c.RightBefore(x.first), x.first.It.At()
	return f
}

func (x *wrongSheet) anotherTray() {
	whose := x.j.c.Key
	if x.owner != (projections.TripKey{}) {
		whose = x.owner
	}
	f := x.add(projections.SheetSwapped, x.severity(), &projections.TrayWithSheet{
		Set: x.j.c.Key.Set, Tray: x.tray, Sheet: whose, At: moment(x.first.It), Righted: momentOf(x.right),
	})
	f.Other = &projections.TripKey{Set: x.tray}
}

func (x *wrongSheet) swapped() {
	c, w := x.j.c, x.j.w
	y := w.Trip(x.owner)
	ring, ringItems := w.ring(c.Key)
	if ring != nil && ring[1%len(ring)] != x.owner {
		ring, ringItems = nil, nil
	}
	x.shown = append(x.shown, ringItems...)
	d := &projections.AnotherSetsSheet{
		Set: c.Key.Set, Sheet: x.owner, Altered: x.first.Forged, Unbound: x.unbound(),
		First: moment(x.first.It), Last: moment(x.last.It), Times: len(x.rs),
		Ring: ring, Changes: changesOf(y.List, c.List), Window: w.window(c, y, x.first),
		Label: x.first.Outer == x.owner.Set, Righted: momentOf(x.right), Unopened: w.firstOpened(c) == nil,
	}
	if ring == nil {
		d.Back = momentOf(x.backWith(y))
	}
	f := x.add(projections.SheetSwapped, x.severity(), d)
	f.Other, f.Lines = &projections.TripKey{Set: x.owner.Set, Trip: x.owner.Trip}, changedLines(y.List, c.List)
	during(f, d.Window)
}

// unbound reports whether the sheet was held against the list that its owner was
// packed by, since none was bound to it.
func (x *wrongSheet) unbound() bool { return x.first.Forged && x.first.Unbound }

// backWith returns the reading by which the sheet's owner has it back, where
// this set has not been read with its own since: that one is still to be
// looked for.
func (x *wrongSheet) backWith(owner *facts.Trip) *facts.Reading {
	if own := x.j.c.LastGood(nil); own != nil && x.last.It.Less(own.It) {
		return nil
	}
	if b := owner.LastGood(nil); b != nil && x.last.It.Less(b.It) {
		return b
	}
	return nil
}

func (x *wrongSheet) stale() {
	c, old := x.j.c, x.j.w.Trip(x.owner)
	d := &projections.AnotherPacking{
		Set: c.Key.Set, Sheet: x.owner, Altered: x.first.Forged, Unbound: x.unbound(), At: moment(x.first.It),
		Changes: changesOf(old.List, c.List), Righted: momentOf(x.right),
	}
	if p, now := old.LastPack(), c.LastPack(); p != nil {
		d.Packed, d.Later = p.At(), now != nil && now.Less(p)
	}
	f := x.add(projections.SheetStale, x.severity(), d)
	f.Other, f.Lines = &projections.TripKey{Set: x.owner.Set, Trip: x.owner.Trip}, changedLines(old.List, c.List)
}

func (x *wrongSheet) altered() {
	if x.first.Unbound {
		p := facts.PackOf(x.j.c.LastPack()) // there is one: it was held against the list packed by
		x.add(projections.SheetAltered, x.severity(), &projections.UnboundSheet{
			Set: x.j.c.Key.Set, At: moment(x.first.It), Packed: listVersion(p.List, p.Version), Righted: momentOf(x.right),
		})
		return
	}
	d := &projections.OtherContent{Set: x.j.c.Key.Set, At: moment(x.first.It), Righted: momentOf(x.right)}
	if x.first.Replaced {
		m := moment(x.first.Seal)
		d.Replaced = &m
	}
	x.add(projections.SheetAltered, x.severity(), d)
}

func (x *wrongSheet) absent() {
	s := facts.SealOf(x.last.Seal)
	if s == nil || s.Placement == events.Screen { // nothing was sealed that could be missing
		return
	}
	d := &projections.NoSheet{Set: x.j.c.Key.Set, At: moment(x.first.It), Placement: s.Placement, Righted: momentOf(x.right)}
	sev := x.severity()
	if k, held := x.j.w.carrier(x.j.c.Key); held != nil {
		x.shown = append(x.shown, held.It)
		d.On, d.Found = &projections.TripKey{Set: k.Set, Trip: k.Trip}, momentOf(held)
	} else if read := x.madeUp(x.j.seenSoonAfter); read != nil {
		// A count by its code does not show that it was found: it may have been printed again.
		sev, d.Read = projections.SeverityNoted, momentAt(read)
	}
	x.add(projections.SheetAbsent, sev, d).Other = d.On
}

// madeUp returns what made up soon after the opening for what could not be seen, as
// soon finds it: after each opening at which it could not be, and after each other look
// within the time that the opening before that look left. Nil where nothing did, or
// where it was put right before.
func (x *wrongSheet) madeUp(soon func(*facts.Reading) *facts.Item) *facts.Item {
	if x.right != nil {
		return nil
	}
	var read *facts.Item
	for _, r := range x.rs {
		opening := x.openingOf(r)
		if opening == nil {
			return nil
		}
		if read = soon(opening); read == nil || !r.It.Less(read) {
			return nil
		}
	}
	x.shown = append(x.shown, read)
	return read
}

// openingOf returns the opening that a look is to be made up for after: itself, the one
// before it, or the first one after it.
func (x *wrongSheet) openingOf(look *facts.Reading) *facts.Reading {
	if look.Opening {
		return look
	}
	var of *facts.Reading
	for i := range x.j.c.Readings {
		r := &x.j.c.Readings[i]
		if !r.Opening {
			continue
		}
		if of == nil || !look.It.Less(r.It) {
			of = r
		}
	}
	return of
}

func (x *wrongSheet) unreadable() {
	d := &projections.Unreadable{Set: x.j.c.Key.Set, At: moment(x.first.It), Text: facts.SheetOf(x.first.It).Text,
		Righted: momentOf(x.right)}
	sev := x.severity()
	if good := x.j.c.GoodBeforeUse(); x.right == nil && good != nil {
		sev, d.Good = projections.SeverityDoubtful, momentOf(good)
	}
	if read := x.madeUp(x.j.readSoonAfter); read != nil {
		sev, d.Read, d.Counted = projections.SeverityNoted, momentAt(read), read.Kind == events.KindSetCounted
	}
	x.add(projections.SheetUnreadable, sev, d)
}

func changedLines(a, b *events.ListIssued) []int64 {
	if a == nil || b == nil {
		return nil
	}
	var out []int64
	for _, d := range events.DiffLines(a.Lines, b.Lines) {
		out = append(out, d.Line)
	}
	return out
}
