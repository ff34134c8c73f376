package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func trayRules() []Rule {
	return []Rule{
		{"tray of another name", []projections.Code{projections.LabelSwapped}, (*judgement).underOtherNames},
		{"packed as another", []projections.Code{projections.LabelSwapped}, (*judgement).packedAsAnother},
		{"counted as another", []projections.Code{projections.CountedOnWrongList}, (*judgement).countedAsAnother},
	}
}

// otherName is a reading of this set's tag in a record of another set. A tag is
// on the tray itself and read by a machine, so the tray counts as having been
// there; whether somebody scanned a neighbour's tag is for people to find out.
type otherName struct {
	name projections.TripKey // whose record it is
	read *facts.Reading
	// opening is the reading itself, or the opening at which no tag was read and
	// which it follows in the time of the policy; nil where the tray was only seen.
	opening *facts.Item
}

// openings returns the openings of a trip's set: those recorded under its name, and,
// under whatever name, those of its tray.
func (w *World) openings(c *facts.Trip) []*facts.Item {
	out := c.Opened
	for _, o := range w.otherNames(c) {
		if o.opening != nil && !slices.Contains(out, o.opening) {
			out = append(slices.Clip(out), o.opening)
		}
	}
	if len(out) > len(c.Opened) {
		slices.SortFunc(out, facts.Compare)
	}
	return out
}

// firstOpened returns the first opening of the tray itself, nil without one.
func (w *World) firstOpened(c *facts.Trip) *facts.Item {
	if of := w.openedTray(c); len(of) > 0 {
		return of[0]
	}
	return nil
}

// openedTray returns those of openings that were of the tray itself: not those at
// which the tag of another set was read under its name.
func (w *World) openedTray(c *facts.Trip) []*facts.Item {
	of := w.openings(c)
	other := func(it *facts.Item) bool { return it.Event.Subject == c.Key.Set && w.trayOf(c, it) != c.Key.Set }
	if !slices.ContainsFunc(of, other) {
		return of
	}
	return slices.DeleteFunc(slices.Clone(of), other)
}

// nameOf returns the name that an opening of a trip's tray bears, "" where it is the
// set's own.
func nameOf(c *facts.Trip, opening *facts.Item) string {
	if set := opening.Event.Subject; set != c.Key.Set {
		return set
	}
	return ""
}

// otherNames returns them in order.
func (w *World) otherNames(c *facts.Trip) []otherName {
	var out []otherName
	for _, it := range c.OnTray() {
		k := w.TripOfItem(it)
		x := w.Trip(k)
		var unread *facts.Item // opened last, and nobody read the tag
		known := ""            // the case for which an opening read it
		for i := range x.Readings {
			r := &x.Readings[i]
			switch {
			case r.It == it && r.Opening:
				out = append(out, otherName{k, r, it})
			case r.It == it:
				if unread != nil && it.At().Sub(unread.At()) > w.PolicyFor(unread).MayStillRead() {
					unread = nil
				}
				out = append(out, otherName{k, r, unread})
			case r.Tray() != "":
				unread = nil
				if r.Opening {
					known = events.CaseOf(r.It.Data)
				}
			case r.Opening && events.CaseOf(r.It.Data) != known:
				unread = r.It
			}
		}
	}
	return out
}

// underOtherNames finds that this set's tray was opened or seen under the name of
// another set. Opened so, it lies in use while its own record still calls it
// ready. Seen with its own sheet is another finding (othersLabel).
func (j *judgement) underOtherNames() {
	for _, o := range j.w.otherNames(j.c) {
		sheet := o.read.Class == facts.ReadSwapped && o.read.Owner == j.c.Key
		var f *projections.Finding
		switch {
		case o.opening != nil:
			f = j.openedAsAnother(o, sheet)
		case sheet:
			continue
		default:
			f = j.seenAsAnother(o)
		}
		f.Other, f.From, f.To = &projections.TripKey{Set: o.name.Set, Trip: o.name.Trip}, j.c.RightBefore(o.read), o.read.It.At()
	}
}

// openedAsAnother is noted where the set was opened as itself for the same case,
// by its tag: then what is recorded of it is right, and the other record is wrong.
func (j *judgement) openedAsAnother(o otherName, sheet bool) *projections.Finding {
	d := &projections.OpenedAsAnother{
		Set: j.c.Key.Set, Name: o.name, Case: events.CaseOf(o.opening.Data), At: moment(o.opening), Sheet: sheet,
	}
	shown := []*facts.Item{o.opening, o.read.It}
	if o.opening != o.read.It {
		d.Read = momentOf(o.read)
	}
	sev := projections.SeverityBroken
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if r.Opening && r.Proved() && events.CaseOf(r.It.Data) == d.Case {
			d.Own, sev, shown = momentOf(r), projections.SeverityNoted, append(shown, r.It)
			break
		}
	}
	return j.add(projections.LabelSwapped, sev, d, shown...)
}

func (j *judgement) seenAsAnother(o otherName) *projections.Finding {
	d := &projections.SeenAsAnother{Set: j.c.Key.Set, Name: o.name, At: moment(o.read.It)}
	if right := j.labelCorrected(o.read); right != nil {
		d.Righted = momentOf(right)
		return j.add(projections.LabelSwapped, projections.SeverityNoted, d, o.read.It, right.It)
	}
	return j.add(projections.LabelSwapped, projections.SeverityDoubtful, d, o.read.It)
}

// trays returns the trips whose trays were opened or seen under other names, of which
// this trip is the tray or one of the names.
func (j *judgement) trays() []projections.TripKey {
	out := []projections.TripKey{j.c.Key}
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if r.Tag == "" || r.Own() {
			continue
		}
		k := projections.TripKey{Set: r.Tag, Trip: j.w.TripBy(r.Tag, r.It.At())}
		if k.Trip != "" && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}

// packedAsAnother finds a tray that was opened under another set's name and bore its tag
// again after that set was packed, without having been packed as itself: what was
// packed as the other set was probably this tray. That the tags of two trays were
// exchanged for good would look the same, so it is doubtful.
func (j *judgement) packedAsAnother() {
	for _, tray := range j.trays() {
		names := j.w.otherNames(j.w.Trip(tray))
		if len(names) < 2 {
			continue
		}
		opened := make(map[string]otherName) // by the set whose name it was
		var said []projections.TripKey
		for _, o := range names {
			before, ok := opened[o.name.Set]
			if o.opening != nil {
				opened[o.name.Set] = o
			}
			pack := j.w.Trip(o.name).First(events.KindSetPacked)
			if !ok || before.name == o.name || pack == nil || !before.opening.Less(pack) || !pack.Less(o.read.It) {
				continue
			}
			if tray != j.c.Key && o.name != j.c.Key || slices.Contains(said, o.name) {
				continue
			}
			said = append(said, o.name)
			f := j.add(projections.LabelSwapped, projections.SeverityDoubtful, &projections.PackedAsAnother{
				Tray: tray.Set, Name: o.name, Opened: moment(before.opening), Packed: moment(pack), At: moment(o.read.It),
			}, before.opening, pack, o.read.It)
			f.Other, f.From, f.To = j.otherOf(tray, o.name), before.opening.At(), o.read.It.At()
		}
	}
}

// otherOf returns which of two trips is not this one.
func (j *judgement) otherOf(a, b projections.TripKey) *projections.TripKey {
	if a == j.c.Key {
		a = b
	}
	return &projections.TripKey{Set: a.Set, Trip: a.Trip}
}

// countedAsAnother finds counts of a tray under the name by which it was opened, against
// the other set's list. It asks something of somebody with the tray: its own list is
// the one to count it by.
func (j *judgement) countedAsAnother() {
	for _, tray := range j.trays() {
		y := j.w.Trip(tray)
		var cases []string
		for _, o := range j.w.otherNames(y) {
			if o.opening == nil || tray != j.c.Key && o.name != j.c.Key {
				continue
			}
			ref := events.CaseOf(o.opening.Data)
			if slices.Contains(cases, ref) || provedFor(y, ref) || provedFor(j.w.Trip(o.name), ref) {
				continue
			}
			cases = append(cases, ref)
			j.countedUnder(y, o, ref)
		}
	}
}

func (j *judgement) countedUnder(tray *facts.Trip, o otherName, ref string) {
	name := j.w.Trip(o.name)
	var its []*facts.Item
	for _, it := range name.Counted {
		if events.CaseOf(it.Data) == ref && o.opening.Less(it) && !j.byListOf(tray, it) {
			its = append(its, it)
		}
	}
	if len(its) == 0 {
		return
	}
	d := &projections.CountedAsAnother{
		Tray: tray.Key.Set, Name: o.name.Set, Case: ref, Counts: stagesAt(its), Changes: changesOf(name.List, tray.List),
	}
	sev := projections.SeverityDoubtful
	if tray.Key != j.c.Key || d.Changes.Known && len(d.Changes.Lines) == 0 {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.CountedOnWrongList, sev, d, append(its, o.opening)...)
	f.From, f.To = its[0].At(), its[len(its)-1].At()
	f.Other, f.Lines = j.otherOf(tray.Key, o.name), changedLines(name.List, tray.List)
}

// byListOf reports whether a count was made by the sheet of a trip.
func (j *judgement) byListOf(c *facts.Trip, it *facts.Item) bool {
	if it.Code == nil || it.Code.Trip != c.Key.Trip {
		return false
	}
	cl, _ := j.w.ReadOwn(c, it, it.Code)
	return cl == facts.ReadGood
}

// provedFor reports whether a trip's tray was opened for a case under its own name.
func provedFor(c *facts.Trip, ref string) bool {
	return slices.ContainsFunc(c.Readings, func(r facts.Reading) bool {
		return r.Opening && r.Proved() && events.CaseOf(r.It.Data) == ref
	})
}

// ofTray reports whether a count of a case was made by the sheet of the tray that was
// opened for it under this trip's name.
func (j *judgement) ofTray(it *facts.Item, ref string) bool {
	if it.Code.Trip == j.c.Key.Trip {
		return false
	}
	return slices.ContainsFunc(j.trays(), func(k projections.TripKey) bool {
		tray := j.w.Trip(k)
		return k != j.c.Key && j.byListOf(tray, it) && j.openedUnder(tray, ref)
	})
}

// openedUnder reports whether a tray was opened for a case under this trip's name.
func (j *judgement) openedUnder(tray *facts.Trip, ref string) bool {
	return slices.ContainsFunc(j.w.otherNames(tray), func(o otherName) bool {
		return o.name == j.c.Key && o.opening != nil && events.CaseOf(o.opening.Data) == ref
	})
}

// trayOf returns the set that an opening or a check of a trip was of: the one whose tag
// was read on the tray, where that one was packed here, else the one that the record
// names. The tag may be read after an opening, in the time of the policy.
func (w *World) trayOf(c *facts.Trip, at *facts.Item) string {
	tag := facts.TagOf(at.Data)
	if tag == "" && at.Kind == events.KindSetOpened {
		tag = w.tagAfter(c, at)
	}
	if tag == "" || tag == at.Event.Subject || !w.PackedBy(tag, at.At()) {
		return at.Event.Subject
	}
	return tag
}

// tagAfter returns the first tag that was read under a trip's name after an opening at
// which none was, "" without one in the time of the policy.
func (w *World) tagAfter(c *facts.Trip, opening *facts.Item) string {
	for i := range c.Readings {
		r := &c.Readings[i]
		if !opening.Less(r.It) || r.Tray() == "" {
			continue
		}
		if r.Opening || r.It.At().Sub(opening.At()) > w.PolicyFor(opening).MayStillRead() {
			return ""
		}
		return r.Tray()
	}
	return ""
}
