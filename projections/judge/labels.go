package judge

import (
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

func labelRules() []Rule {
	return []Rule{
		{"label", []projections.Code{projections.LabelSwapped}, (*judgement).labels},
		{"label of another", []projections.Code{projections.LabelSwapped}, (*judgement).othersLabel},
	}
}

// labels compares the outer label, the tag on the tray and the set the record
// is about. The record is made by scanning one of the two, so either can be
// the one that stands out.
func (j *judgement) labels() {
	for i := range j.c.Readings {
		j.labelsAt(&j.c.Readings[i])
	}
}

func (j *judgement) labelsAt(r *facts.Reading) {
	set := r.It.Event.Subject
	tray, outer := r.Named(), r.Outer
	if outer == "" {
		outer = set
	}
	if tray == outer && tray == set {
		return
	}
	if tray == outer && tray != set {
		// Tag and label agree, and both say another set than the record.
		f := j.add(projections.LabelSwapped, projections.SeverityBroken, &projections.AnotherSetsRecord{Set: set,
			Tray: tray, At: moment(r.It)}, r.It)
		f.Other, f.From, f.To = &projections.TripKey{Set: tray}, j.c.RightBefore(r), r.It.At()
		return
	}
	// The sheet sides with the outer label: then sheet and label lie with the
	// wrong tray, and the sheet finding names the label too.
	if r.Class.Conclusive() && r.Class != facts.ReadAbsent && r.Class != facts.ReadUnknown {
		whose := r.Owner.Set
		if whose == "" {
			whose = set
		}
		if whose == outer && whose != tray {
			return
		}
	}
	sev := projections.SeverityBroken
	right := j.labelCorrected(r)
	if right != nil {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.LabelSwapped, sev, &projections.LabelAgainstTray{
		Set: set, Tray: tray, TagUnread: r.Tray() == "", Label: outer, At: moment(r.It), Sheet: sideOf(r), Righted: momentOf(right),
	}, r.It)
	f.From, f.To = j.c.RightBefore(r), r.It.At()
	other := outer
	if other == set {
		other = tray
	}
	f.Other = &projections.TripKey{Set: other}
	if right != nil {
		f.Events = append(f.Events, right.It.Seq)
	}
}

// sideOf returns which of tag and label the sheet agrees with, where they differ.
// That it agrees with the label alone is another finding.
func sideOf(r *facts.Reading) projections.SheetSide {
	switch {
	case r.Class == facts.ReadNothing || r.Class == facts.ReadUnreadable:
		return projections.SideUnread
	case r.Class == facts.ReadAbsent:
		return projections.SideAbsent
	case (r.Class == facts.ReadGood || r.Class == facts.ReadAltered) && r.Own(), r.Owner.Set == r.Named():
		return projections.SideTray
	}
	return projections.SideNeither
}

// labelCorrected returns the reading at which the label outside was the set's
// own again, at the opening at the latest. What the sheet was then is not asked.
func (j *judgement) labelCorrected(wrong *facts.Reading) *facts.Reading {
	open := j.w.firstOpened(j.c)
	if wrong.Opening || open != nil && !wrong.It.Less(open) { // opened under the wrong name, be it another set's
		return nil
	}
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if wrong.It.Less(r.It) && r.Outer == j.c.Key.Set && r.Own() && (open == nil || !open.Less(r.It)) {
			return r
		}
	}
	return nil
}

// othersLabel: this set's tray, with its own sheet, was found under the name
// of another set.
func (j *judgement) othersLabel() {
	opened := j.w.otherNames(j.c) // openings are said by underOtherNames
	for _, x := range j.w.Readers(j.c.Key) {
		if x.Set == j.c.Key.Set {
			continue
		}
		xc := j.w.Trip(x)
		for i := range xc.Readings {
			r := &xc.Readings[i]
			if r.Owner != j.c.Key || r.Tray() != j.c.Key.Set {
				continue
			}
			if slices.ContainsFunc(opened, func(o otherName) bool { return o.opening != nil && o.read.It == r.It }) {
				continue
			}
			sev := projections.SeverityBroken
			right := j.labelCorrected(r)
			if right != nil {
				sev = projections.SeverityNoted
			}
			f := j.add(projections.LabelSwapped, sev, &projections.UnderAnotherName{
				Set: j.c.Key.Set, Name: x, At: moment(r.It), Righted: momentOf(right),
			}, r.It)
			f.Other, f.From, f.To = &projections.TripKey{Set: x.Set, Trip: x.Trip}, j.c.RightBefore(r), r.It.At()
			if right != nil {
				f.Events = append(f.Events, right.It.Seq)
			}
		}
	}
}
