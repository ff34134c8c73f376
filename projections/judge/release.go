package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func releaseRules() []Rule {
	return []Rule{
		{"release", []projections.Code{projections.NotReleased}, (*judgement).release},
		{"started before packing", []projections.Code{projections.NotReleased}, (*judgement).startedBefore},
		{"two starts", []projections.Code{projections.NotReleased}, (*judgement).twoStarts},
		{"beside another load", []projections.Code{projections.NotReleased}, (*judgement).besideAnother},
		{"released without", []projections.Code{projections.NotReleased}, (*judgement).releasedWithout},
		{"tests of the day", []projections.Code{projections.NotReleased}, (*judgement).dayTests},
		{"contradicted by its log", []projections.Code{projections.NotReleased}, (*judgement).contradictedByLog},
		{"immediate use", []projections.Code{projections.ForImmediateUse}, (*judgement).immediateUse},
	}
}

// release: opened without a passed and released load; a failed run that no
// passed one followed; a cycle the list does not allow; a chemical indicator
// that did not change.
func (j *judgement) release() {
	c := j.c
	open := j.w.firstOpened(c)
	good, last := c.Releasing(j.w.Book, open)
	if open != nil && good == nil && !(last == nil && j.earlyRun(open) != nil) { // which is said
		// Where the policy asks for no sterilization here, its absence is no fault.
		if last != nil || slices.Contains(j.w.PolicyFor(open).Links, events.KindSetSterilized) {
			d := &projections.OpenedUnreleased{Set: c.Key.Set, At: moment(open), Last: runDetail(last), Name: nameOf(c, open)}
			var later *facts.Item
			if last == nil && len(c.Sterilized) > 0 { // all of them are later then
				later = c.Sterilized[0]
				d.Later = runDetail(later)
			}
			used := j.usedBefore(events.CaseOf(open.Data))
			if used != nil {
				d.Used = &projections.Use{Case: events.CaseOf(used.Data), At: moment(used)}
			}
			f := j.add(projections.NotReleased, projections.SeverityBroken, d, open, last, later, used)
			f.To = open.At()
		}
	}
	if last != nil && facts.RunOf(last).Result == "failed" && !(open != nil && good == nil) {
		d := &projections.RunFailed{Set: c.Key.Set, Run: *runDetail(last)}
		sev, shown := projections.SeverityBroken, []*facts.Item{last, open}
		if open != nil {
			d.Opened = momentAt(open)
		} else if c.Next != nil && last.Less(c.Next) {
			// Taken apart and packed anew, as is usual: nobody can use what failed any more.
			d.Righted, sev, shown = momentAt(c.Next), projections.SeverityNoted, append(shown, c.Next)
		}
		f := j.add(projections.NotReleased, sev, d, shown...)
		f.From, f.To = last.At(), last.At()
	}
	if good != nil && c.List != nil && len(c.List.Cycles) > 0 && !slices.Contains(c.List.Cycles, facts.RunOf(good).Cycle) {
		f := j.add(projections.NotReleased, projections.SeverityBroken, &projections.WrongCycle{Set: c.Key.Set,
			Run: *runDetail(good), Allowed: c.List.Cycles}, good, c.ListItem)
		f.From, f.To = good.At(), good.At()
	}
	for _, it := range j.w.openedTray(j.c) {
		if d, ok := it.Data.(*events.SetOpened); ok && d.Indicator == "fail" {
			f := j.add(projections.NotReleased, projections.SeverityBroken,
				&projections.IndicatorUnchanged{Set: c.Key.Set, At: moment(it), Name: nameOf(c, it)}, it)
			f.To = it.At()
		}
	}
}

// earlyRun returns the last run, by a moment, that is recorded of the trip and was started before the
// set was packed, nil without one.
func (j *judgement) earlyRun(by *facts.Item) *facts.Item {
	for _, it := range slices.Backward(j.c.Sterilized) {
		late := by != nil && it.At().Sub(by.At()) > facts.Seconds(j.w.PolicyFor(by).ClockToleranceSeconds)
		if !late && j.c.StartedBefore(j.w.Book, it) {
			return it
		}
	}
	return nil
}

// startedBefore finds a run that was started before the set was packed: the set lay in another
// packing in that load, or not at all. Once it was in another run, that one says how it stands.
func (j *judgement) startedBefore() {
	c := j.c
	open := j.w.firstOpened(c)
	run := j.earlyRun(open)
	if run == nil {
		return
	}
	d := &projections.StartedBeforePacking{Set: c.Key.Set, Run: *runDetail(run), Started: facts.Began(run), Packed: moment(c.Packed[0])}
	shown := []*facts.Item{run, c.Packed[0]}
	sev := projections.SeverityNoted
	if _, last := c.Releasing(j.w.Book, open); last != nil {
		d.Since = runDetail(last)
		shown = append(shown, last)
	} else if sev = projections.SeverityBroken; open != nil {
		d.Opened = momentAt(open)
		used := j.usedBefore(events.CaseOf(open.Data))
		if used != nil {
			d.Used = &projections.Use{Case: events.CaseOf(used.Data), At: moment(used)}
		}
		shown = append(shown, open, used)
	}
	f := j.add(projections.NotReleased, sev, d, shown...)
	f.From, f.To = d.Started, c.Packed[0].At()
}

// twoStarts finds a run of the trip whose load is recorded elsewhere with another start or cycle number. A result, and an
// indicator, is of one of the two runs, and which of them had the set in it nobody can tell from the records.
func (j *judgement) twoStarts() {
	open := j.w.firstOpened(j.c)
	j.eachLoad(j.w.OtherStart, func(it, o *facts.Item) {
		run := facts.RunOf(it)
		d := &projections.TwoStarts{Set: j.c.Key.Set, Run: *runDetail(it), Started: run.StartedAt(), RunStation: it.Event.Station,
			Other: *runDetail(o), OtherStarted: facts.RunOf(o).StartedAt(), OtherStation: o.Event.Station, Opened: momentAt(open)}
		f := j.add(projections.NotReleased, projections.SeverityDoubtful, d, it, o, open)
		f.From, f.To = facts.Earliest(facts.Began(it), facts.Began(o)), facts.Latest(it.At(), o.At())
	})
}

// eachLoad tells of each load of the trip, once, what contradicts a run of it.
func (j *judgement) eachLoad(against func(*facts.Item) *facts.Item, tell func(run, other *facts.Item)) {
	var told []string
	for _, it := range j.c.Sterilized {
		load := facts.RunOf(it).Load
		if slices.Contains(told, load) {
			continue
		}
		if o := against(it); o != nil {
			told = append(told, load)
			tell(it, o)
		}
	}
}

// besideAnother finds a run of the trip beside which another load was started in the same sterilizer. One of the two was in
// another machine, or at another time, and its result and indicator speak for that.
func (j *judgement) besideAnother() {
	open := j.w.firstOpened(j.c)
	j.eachLoad(j.w.RunBeside, func(it, o *facts.Item) {
		run := facts.RunOf(it)
		d := &projections.RunsOverlap{Set: j.c.Key.Set, Run: *runDetail(it), Started: run.StartedAt(), RunStation: it.Event.Station,
			Other: *runDetail(o), OtherStarted: facts.RunOf(o).StartedAt(), OtherStation: o.Event.Station, Opened: momentAt(open)}
		f := j.add(projections.NotReleased, projections.SeverityDoubtful, d, it, o, open)
		f.From, f.To = facts.Earliest(d.Started, d.OtherStarted), facts.Latest(it.At(), o.At())
	})
}

// usedBefore returns the last opening for another case in the set's trip before this
// one, nil without one. If no good run followed, two patients are concerned.
func (j *judgement) usedBefore(ref string) *facts.Item {
	if j.c.Prev == "" {
		return nil
	}
	p := j.w.Trip(projections.TripKey{Set: j.c.Key.Set, Trip: j.c.Prev})
	for _, it := range slices.Backward(j.w.openings(p)) {
		if events.CaseOf(it.Data) != ref {
			return it
		}
	}
	return nil
}

// immediateUse tells of runs for immediate use. Sets are used for the case that waits for them, and not kept or
// held from one case to another (multisociety statement, 2011): where the set was opened for another one that is
// broken, where it was seen anywhere in between doubtful. Else it is noted, with its reason. Most such sets were
// opened before, for the case in hand: each opening is held against the run before it, not the first one alone.
func (j *judgement) immediateUse() {
	opened := j.w.openedTray(j.c)
	_, last := j.c.Releasing(j.w.Book, nil)
	for _, it := range j.c.Sterilized {
		run := facts.RunOf(it)
		if run == nil || run.Immediate == "" {
			continue
		}
		after := slices.DeleteFunc(slices.Clone(opened), func(open *facts.Item) bool {
			_, before := j.c.Releasing(j.w.Book, open)
			return before != it
		})
		if len(after) > 0 || it == last {
			j.ranForImmediateUse(it, after)
		}
	}
}

// ranForImmediateUse tells of a run for immediate use and of the openings that follow it: of the first one
// for another case, where there is one.
func (j *judgement) ranForImmediateUse(it *facts.Item, opened []*facts.Item) {
	run := facts.RunOf(it)
	var open *facts.Item
	if len(opened) > 0 {
		open = opened[0]
	}
	if i := slices.IndexFunc(opened, func(x *facts.Item) bool {
		return run.For != "" && events.CaseOf(x.Data) != run.For
	}); i >= 0 {
		open = opened[i]
	}
	d := &projections.ImmediateUse{Set: j.c.Key.Set, Run: *runDetail(it), Why: run.Immediate, For: run.For}
	if open != nil {
		d.Opened = &projections.Use{Case: events.CaseOf(open.Data), At: moment(open)}
	}
	var kept *facts.Item
	for _, x := range j.c.Steps {
		if x.Kind == events.KindSetChecked && it.Less(x) && (open == nil || x.Less(open)) {
			kept = x
			break
		}
	}
	sev := projections.SeverityNoted
	if kept != nil {
		m := moment(kept)
		d.Kept, sev = &m, projections.SeverityDoubtful
	}
	if d.OtherCase() {
		sev = projections.SeverityBroken
	}
	f := j.add(projections.ForImmediateUse, sev, d, it, kept, open)
	f.From, f.To = it.At(), it.At()
}
