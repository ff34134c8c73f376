package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func overdueRules() []Rule {
	return []Rule{
		{"left open", []projections.Code{projections.LinkMissing}, eachCase((*judgement).leftOpen)},
		{"on its way", []projections.Code{projections.Overdue}, (*judgement).overdueOnItsWay},
		{"result", []projections.Code{projections.Overdue}, (*judgement).overdueIndicator},
		{"last count", []projections.Code{projections.Overdue}, eachCase((*judgement).overdueCount)},
		{"case open", []projections.Code{projections.Overdue}, eachCase((*judgement).overdueClosing)},
		{"silence", []projections.Code{projections.StationSilent}, (*judgement).silent},
	}
}

// What is overdue is doubtful: nothing recorded contradicts the chain, so it is
// not broken, but somebody has to look. The finding disappears once what was waited
// for is recorded; that it was late can still be seen in the history as of an earlier time.

// overdue reports whether what is waited for since an observation is overdue.
// Where it is not yet, the judgement holds until then.
func (j *judgement) overdue(since *facts.Item, hours int64) bool {
	due, waits := events.Overdue(since.SeenBy(), hours) // not when a clock that was ahead gets there
	if !waits {
		return false
	}
	if j.w.Passed(due) {
		return true
	}
	if j.until.IsZero() || due.Before(j.until) {
		j.until = due
	}
	return false
}

// waits returns how long the policy in force at an observation waits.
func (j *judgement) waits(it *facts.Item) events.Waits { return j.w.PolicyFor(it).Waits.Complete() }

func (j *judgement) waiting(since *facts.Item, hours int64) projections.Waiting {
	m := moment(since)
	m.At = since.SeenBy()
	return projections.Waiting{Set: j.c.Key.Set, Since: m, Hours: hours}
}

func (j *judgement) addOverdue(sev projections.Severity, since *facts.Item, hours int64, d projections.Detail) {
	f := j.add(projections.Overdue, sev, d, since)
	f.From, _ = events.Overdue(since.SeenBy(), hours)
}

// overdueOnItsWay finds a set that nobody has opened and that is not where it
// should be by now: packed and in no load, in a load and not released, or
// released and not seen any more.
func (j *judgement) overdueOnItsWay() {
	c := j.c
	pack := c.LastPack()
	if pack == nil || c.Next != nil || len(c.Counted) > 0 || j.w.firstOpened(c) != nil {
		return
	}
	good, last := c.Releasing(j.w.Book, nil)
	switch {
	case last == nil || last.Less(pack):
		hours := j.waits(pack).Run
		if slices.Contains(j.w.PolicyFor(pack).Links, events.KindSetSterilized) && j.overdue(pack, hours) {
			j.addOverdue(projections.SeverityDoubtful, pack, hours, &projections.RunOverdue{Waiting: j.waiting(pack, hours)})
		}
	case good == nil && facts.RunOf(last).Result == "passed":
		if hours := j.waits(last).Release; j.overdue(last, hours) {
			j.addOverdue(projections.SeverityDoubtful, last, hours, &projections.ReleaseOverdue{
				Waiting: j.waiting(last, hours), Run: *runDetail(last),
			})
		}
	case good != nil:
		seen := c.LastSeen()
		if hours := j.waits(seen).Seen; j.overdue(seen, hours) {
			j.addOverdue(projections.SeverityDoubtful, seen, hours, &projections.SeenOverdue{Waiting: j.waiting(seen, hours)})
		}
	}
}

// overdueIndicator finds a load whose biological indicator nobody has read. It
// is reported with the load's first set, and noted with the others.
func (j *judgement) overdueIndicator() {
	for i, run := range j.c.Sterilized {
		d := facts.RunOf(run)
		hours := j.waits(run).Indicator
		if hours == events.WaitsForever || d.Result != "passed" || i > 0 && sameRun(facts.RunOf(j.c.Sterilized[i-1]), d) {
			continue
		}
		if slices.ContainsFunc(j.w.ResultOf(d.Load), func(it *facts.Item) bool {
			r, ok := it.Data.(*events.IndicatorRead)
			return ok && r.Sterilizer == d.Sterilizer && !readTooSoon(it, d)
		}) || !j.overdue(run, hours) {
			continue
		}
		sev := projections.SeverityNoted
		if j.w.FirstOf(d.Load) == j.c.Key {
			sev = projections.SeverityDoubtful
		}
		j.addOverdue(sev, run, hours, &projections.IndicatorOverdue{Waiting: j.waiting(run, hours), Run: *runDetail(run)})
	}
}

// overdueCount finds an opened set of which the last stages that the policy asks
// for were not counted. Where the case was closed or the set packed again, or a
// later stage was counted, gaps says so.
func (j *judgement) overdueCount(t counts) {
	c := j.c
	if !t.Opened || len(t.Closings) > 0 || c.Next != nil {
		return
	}
	open := c.UsedFrom(t.Ref)
	stages := j.w.PolicyFor(c.Steps[len(c.Steps)-1]).Stages
	for i, s := range slices.Backward(stages) {
		if slices.ContainsFunc(t.tally.counts, func(it *facts.Item) bool { return facts.CountOf(it).Stage == s }) {
			stages = stages[i+1:]
			break
		}
	}
	hours := j.waits(open).Count
	if len(stages) == 0 || !j.overdue(open, hours) {
		return
	}
	j.addOverdue(projections.SeverityDoubtful, open, hours, &projections.CountOverdue{
		Waiting: j.waiting(open, hours), Case: t.Ref, Stages: stages,
	})
}

// asksClosing reports whether the policy asks for a closing of the case, which
// is not there.
func (j *judgement) asksClosing(t counts) bool {
	last := j.c.Steps[len(j.c.Steps)-1]
	return t.Opened && len(t.Closings) == 0 && slices.Contains(j.w.PolicyFor(last).Links, events.KindCaseClosed)
}

// overdueClosing finds a case that nobody has closed. It is reported with the case's
// first set, and noted with the others.
func (j *judgement) overdueClosing(t counts) {
	if !j.asksClosing(t) || j.w.usedElsewhere(t.state, t.Ref) != nil {
		return
	}
	last := j.w.lastOf(t.state, t.Ref)
	if last == nil {
		return
	}
	hours := j.waits(last).Close
	if !j.overdue(last, hours) {
		return
	}
	sev, by := j.tells(t)
	j.addOverdue(sev, last, hours, &projections.CloseOverdue{Waiting: j.waiting(last, hours), Case: t.Ref, By: by})
}

// leftOpen finds a case that nobody closed although a set of it has been packed
// again and opened for another one: no clock is needed to see that the case is
// over. Missing counts have a finding of their own; what is missing here is a
// record of how the case ended. So it is doubtful, and reported with the case's first set.
func (j *judgement) leftOpen(t counts) {
	if !j.asksClosing(t) {
		return
	}
	u := j.w.usedElsewhere(t.state, t.Ref)
	if u == nil {
		return
	}
	sev, by := j.tells(t)
	f := j.add(projections.LinkMissing, sev, &projections.CaseLeftOpen{
		Set: j.c.Key.Set, Case: t.Ref, Used: u.pack.Event.Subject, Packed: u.pack.At(),
		Next: events.CaseOf(u.open.Data), Opened: moment(u.open), By: by,
	}, u.pack, u.open)
	f.To = u.open.At()
}

// tells returns how heavily a finding of the whole case weighs with this set,
// and by which set it is told where that is another one.
func (j *judgement) tells(t counts) (projections.Severity, string) {
	if trips := t.state.trips; slices.Index(trips, j.c.Key) > 0 {
		return projections.SeverityNoted, trips[0].Set
	}
	return projections.SeverityDoubtful, ""
}

// elsewhere is a set's next use after a case.
type elsewhere struct{ pack, open *facts.Item }

// usedElsewhere returns the first set of a case that was packed again and opened
// for another one, nil without any.
func (w *World) usedElsewhere(s *caseState, ref string) *elsewhere {
	var first *elsewhere
	for _, k := range s.trips {
		c := w.Trip(k)
		if c.Next == nil || len(c.Opened) == 0 || c.Next.Less(c.Opened[0]) {
			continue
		}
		for _, it := range w.Trip(w.TripOfItem(c.Next)).Opened {
			if events.CaseOf(it.Data) != ref && (first == nil || it.Less(first.open)) {
				first = &elsewhere{c.Next, it}
			}
		}
	}
	return first
}

// lastOf returns the last opening or count of a case, nil without any.
func (w *World) lastOf(s *caseState, ref string) *facts.Item {
	var last *facts.Item
	for _, k := range s.trips {
		for _, it := range w.Trip(k).Steps {
			opened := it.Kind == events.KindSetOpened || it.Kind == events.KindSetCounted
			if opened && events.CaseOf(it.Data) == ref && (last == nil || last.Less(it)) {
				last = it
			}
		}
	}
	return last
}

// silent finds a station that has recorded nothing for longer than the policy
// waits.
func (j *judgement) silent() {
	st := j.station
	if st == nil || st.Count == 0 || st.Retired != 0 || events.ReservedStation(st.Name) {
		return
	}
	hours := j.w.PolicyOfStation(st.Name, st.Time).Waits.Complete().Station
	due, waits := events.Overdue(st.Time, hours)
	if !waits {
		return
	}
	if !j.w.Passed(due) {
		j.until = due
		return
	}
	f := j.add(projections.StationSilent, projections.SeverityDoubtful, &projections.Silent{
		Station: st.Name, Last: st.Time, Hours: hours,
	})
	f.From = due
}
