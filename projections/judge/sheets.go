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
	c := j.c
	var groups []group
	for i := range c.Readings {
		r := &c.Readings[i]
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

// corrected returns the good reading after which an earlier wrong one no longer
// stands against the chain: it was put right before the set was used. The
// reading at the opening itself counts, for it shows what lay in front of the
// people who used the set; what is found at the opening or after it stays.
func (j *judgement) corrected(last *facts.Reading) *facts.Reading {
	return j.correctedBy(last, func(*facts.Reading) bool { return true })
}

// correctedBy is corrected by a good reading that has something else besides.
func (j *judgement) correctedBy(last *facts.Reading, has func(*facts.Reading) bool) *facts.Reading {
	open := j.c.FirstOpened()
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
		Set: c.Key.Set, Sheet: x.owner, Altered: x.first.Forged, First: moment(x.first.It), Last: moment(x.last.It), Times: len(x.rs),
		Ring: ring, Changes: changesOf(y.List, c.List), Window: w.window(c, y, x.first),
		Label: x.first.Outer == x.owner.Set, Righted: momentOf(x.right), Unopened: len(c.Opened) == 0,
	}
	if ring == nil {
		d.Back = momentOf(x.backWith(y))
	}
	f := x.add(projections.SheetSwapped, x.severity(), d)
	f.Other, f.Lines = &projections.TripKey{Set: x.owner.Set, Trip: x.owner.Trip}, changedLines(y.List, c.List)
	during(f, d.Window)
}

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
		Set: c.Key.Set, Sheet: x.owner, Altered: x.first.Forged, At: moment(x.first.It),
		Changes: changesOf(old.List, c.List), Righted: momentOf(x.right),
	}
	if p, now := old.LastPack(), c.LastPack(); p != nil {
		d.Packed, d.Later = p.At(), now != nil && now.Less(p)
	}
	f := x.add(projections.SheetStale, x.severity(), d)
	f.Other, f.Lines = &projections.TripKey{Set: x.owner.Set, Trip: x.owner.Trip}, changedLines(old.List, c.List)
}

func (x *wrongSheet) altered() {
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
	if k, held := x.j.w.carrier(x.j.c.Key); held != nil {
		x.shown = append(x.shown, held.It)
		d.On, d.Found = &projections.TripKey{Set: k.Set, Trip: k.Trip}, momentOf(held)
	}
	x.add(projections.SheetAbsent, x.severity(), d).Other = d.On
}

func (x *wrongSheet) unreadable() {
	d := &projections.Unreadable{Set: x.j.c.Key.Set, At: moment(x.first.It), Text: facts.SheetOf(x.first.It).Text,
		Righted: momentOf(x.right)}
	sev := x.severity()
	if good := x.j.c.GoodBeforeUse(); x.right == nil && good != nil {
		sev, d.Good = projections.SeverityDoubtful, momentOf(good)
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
