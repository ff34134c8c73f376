package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func trayRules() []Rule {
	return []Rule{
		{"tray of another name", []projections.Code{projections.LabelSwapped}, (*judgement).underOtherNames},
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

// otherNames returns them in order.
func (j *judgement) otherNames() []otherName {
	var out []otherName
	for _, it := range j.c.OnTray() {
		k := j.w.TripOf(it.Event)
		x := j.w.Trip(k)
		var unread *facts.Item // opened last, and nobody read the tag
		known := ""            // the case for which an opening read it
		for i := range x.Readings {
			r := &x.Readings[i]
			switch {
			case r.It == it && r.Opening:
				out = append(out, otherName{k, r, it})
			case r.It == it:
				if unread != nil && it.At().Sub(unread.At()) > j.w.PolicyFor(unread).MayStillRead() {
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
	for _, o := range j.otherNames() {
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

// trayOf returns the set that an opening opened: the one whose tag was read on the
// tray, where that one was packed here, else the one that the record names.
func (j *judgement) trayOf(opening *facts.Item) string {
	tag := facts.TagOf(opening.Data)
	if tag == "" || tag == opening.Event.Subject {
		return opening.Event.Subject
	}
	if !j.w.PackedBy(tag, opening.At()) {
		return opening.Event.Subject
	}
	return tag
}
