package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func linkRules() []Rule {
	return []Rule{
		{"links", []projections.Code{projections.LinkMissing}, (*judgement).links},
		{"opened unread", []projections.Code{projections.LinkMissing}, (*judgement).unread},
	}
}

// links finds required links that are absent although a later one is there.
//
// A link is asked for by the policy in force at the later link and, where one
// came before, at the earlier as well: a step cannot be asked for after the
// time for it has passed.
func (j *judgement) links() {
	missing, by := j.missingLinks()
	if len(missing) == 0 {
		return
	}
	c := j.c
	d := &projections.StepsMissing{Set: c.Key.Set, Missing: missing, By: by.Kind, At: by.At()}
	if c.Next != nil && len(c.Opened) > 0 && by == c.Steps[len(c.Steps)-1] {
		d.Repacked = c.Next.At()
	}
	f := j.add(projections.LinkMissing, projections.SeverityBroken, d, by)
	f.To = by.At()
}

// missing reports whether a link is asked for and absent.
func (j *judgement) missing(l events.Kind) bool {
	missing, _ := j.missingLinks()
	return slices.Contains(missing, l)
}

// missingLinks returns the absent links, and the step that first shows one.
func (j *judgement) missingLinks() (missing []events.Kind, by *facts.Item) {
	c := j.c
	if len(c.Steps) == 0 || c.Goods() { // those come to a room without any of the links
		return nil, nil
	}
	note := func(absent []events.Kind, at *facts.Item) {
		for _, l := range absent {
			if !slices.Contains(missing, l) {
				missing = append(missing, l)
				if by == nil {
					by = at
				}
			}
		}
	}
	last := c.Steps[len(c.Steps)-1]
	for _, l := range facts.AllLinks {
		if at := c.First(l); at != nil {
			links := j.stepPolicy(at).Links
			note(j.absent(links[:max(slices.Index(links, l), 0)]), at)
		}
	}
	if c.Next != nil && len(c.Opened) > 0 {
		// Packed again after use: what was not done by now will not be. The case
		// may still be closed.
		links := j.w.PolicyFor(last).Links
		if end := slices.Index(links, events.KindCaseClosed); end >= 0 {
			links = links[:end]
		}
		note(j.absent(links), last)
	}
	return missing, by
}

// stepPolicy returns the policy in force at a step. The closing of a case is no
// step of the trip: its policy is that of the last step.
func (j *judgement) stepPolicy(at *facts.Item) *events.Policy {
	if at.Kind == events.KindCaseClosed {
		at = j.c.Steps[len(j.c.Steps)-1]
	}
	return j.w.PolicyFor(at)
}

// absent returns which of some links are not there, and were asked for by the
// policy at the last one before that is.
func (j *judgement) absent(links []events.Kind) []events.Kind {
	var out []events.Kind
	var before *facts.Item
	for _, l := range links {
		if it := j.c.First(l); it != nil {
			before = it
			continue
		}
		if before == nil || slices.Contains(j.w.PolicyFor(before).Links, l) {
			out = append(out, l)
		}
	}
	return out
}

// unread finds an opening without the sheet being read, where the policy does
// not allow it.
func (j *judgement) unread() {
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if !r.Opening || r.Class != facts.ReadNothing || r.Seal == nil {
			continue
		}
		s := facts.SealOf(r.Seal)
		if slices.Contains(j.w.PolicyFor(r.It).MayStayUnread, s.Placement) {
			continue
		}
		// A case may use one set twice; a sheet read at the first opening was read.
		if g := j.c.LastGood(r.It); g != nil && g.Opening {
			continue
		}
		d := &projections.OpenedUnread{Set: j.c.Key.Set, At: moment(r.It), Placement: s.Placement}
		sev, read := projections.SeverityBroken, j.readSoonAfter(r)
		if read != nil {
			sev, d.Read, d.Counted = projections.SeverityNoted, momentAt(read), read.Kind == events.KindSetCounted
		}
		f := j.add(projections.LinkMissing, sev, d, r.It, r.Seal, read)
		f.From, f.To = j.c.RightBefore(r), r.It.At()
	}
}

// readSoonAfter returns the look at the set's own sheet where the set was, or the count
// by its code, that follows an unread opening within the time of the policy: the reading that
// was still to be made. Nil without one.
func (j *judgement) readSoonAfter(r *facts.Reading) *facts.Item {
	if !r.Own() {
		return nil // another tray was opened: what is read of this one does not make up for it
	}
	for i := range j.c.Readings {
		x := &j.c.Readings[i]
		there := x.Proved() || x.It.Event.Station == r.It.Event.Station || facts.PlaceOf(x.It).Same(facts.PlaceOf(r.It))
		if x.Class == facts.ReadGood && x.Own() && there && j.soonAfter(r, x.It) {
			return x.It
		}
	}
	for _, it := range j.c.Counted {
		if it.Code == nil || !j.soonAfter(r, it) || events.CaseOf(it.Data) != events.CaseOf(r.It.Data) || it.Code.Trip != j.c.Key.Trip {
			continue
		}
		if j.elsewhere(r, it) {
			return nil // what it was counted by was printed again
		}
		if cl, _ := j.w.ReadOwn(j.c, it, it.Code); cl == facts.ReadGood {
			return it
		}
	}
	return nil
}

// seenSoonAfter returns the look at the set's own sheet on its own tray, by the tag,
// that follows a look within the time of the policy. Nil without one.
func (j *judgement) seenSoonAfter(r *facts.Reading) *facts.Item {
	for i := range j.c.Readings {
		if x := &j.c.Readings[i]; r.Own() && x.Class == facts.ReadGood && x.Proved() && j.soonAfter(r, x.It) {
			return x.It
		}
	}
	return nil
}

// elsewhere reports whether the set's sheet was read on another tray before a count,
// after it was last read with the set by a look.
func (j *judgement) elsewhere(r *facts.Reading, count *facts.Item) bool {
	own := j.c.LastGood(r.It)
	for _, x := range j.w.Readers(j.c.Key) {
		for _, y := range j.w.Trip(x).Readings {
			if y.Class == facts.ReadSwapped && y.Owner == j.c.Key && y.Tray() != j.c.Key.Set &&
				y.It.Less(count) && (own == nil || own.It.Less(y.It)) {
				return true
			}
		}
	}
	return false
}

// soonAfter reports whether a record follows a look within the time that the policy
// leaves for what was still to be read.
func (j *judgement) soonAfter(r *facts.Reading, it *facts.Item) bool {
	return r.It.Less(it) && it.At().Sub(r.It.At()) <= j.w.PolicyFor(r.It).MayStillRead()
}
