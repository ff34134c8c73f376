package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func correctionRules() []Rule {
	return []Rule{
		{"corrected", []projections.Code{projections.Corrected}, (*judgement).restsOnCorrections},
	}
}

// restsOnCorrections reports the trip's events that a correction in force took back or
// replaced. That is noted. It is doubtful if a broken finding disappears because of it and no second
// person confirmed it: it has the same badge as the event, or none, or comes from another station, such as the ledger
// itself for a correction by a lead. What disappears is found by judging the trip without the correction.
func (j *judgement) restsOnCorrections() {
	if j.bare {
		return
	}
	its := j.correctedItems()
	if len(its) == 0 {
		return
	}
	now := j.w.brokenWays(j.c.Key)
	gone := j.goneWithout(now, its...)
	each := make([][]projections.Code, len(its))
	alone := false
	for i, it := range its {
		if len(its) > 1 && len(gone) > 0 {
			each[i] = j.goneWithout(now, it)
			alone = alone || len(each[i]) > 0
		}
	}
	for i, it := range its {
		hides := each[i]
		if !alone {
			hides = gone // of one, or of several together
		}
		j.rests(it, hides)
	}
}

// rests adds the finding of one correction.
func (j *judgement) rests(it *facts.Item, hides []projections.Code) {
	first, fix := it.Event, it.By.Event
	d := &projections.RestsOnCorrection{
		Set: j.c.Key.Set, Step: it.Kind, At: moment(it), Correction: it.By.At(), Station: fix.Station, Void: it.Void,
		First: first.Operator, By: fix.Operator, Elsewhere: fix.Station != first.Station, Hides: hides,
	}
	if c, ok := it.By.Data.(*events.EventCorrected); ok {
		d.Reason = c.Reason
	}
	own := slices.Contains(j.c.All, it)
	if it.Kind.AboutSet() && !own {
		d.Set = it.Event.Subject
	}
	if len(hides) == 0 && !(it.Kind.AboutSet() && own) && !j.ownPositive(it) && !j.tellsClosing(it) {
		return // of the list, the case, another set or load, and it changes nothing here
	}
	sev := projections.SeverityNoted
	if len(hides) > 0 && (d.Alone() || d.Elsewhere) {
		sev = projections.SeverityDoubtful
	}
	f := j.add(projections.Corrected, sev, d, it)
	f.From, f.To = it.At(), it.By.At()
}

// correctedItems are the facts with a correction in force that the trip's verdict
// can rest on: its own, others' that read its tag or its sheet, the closings of its
// cases and the counts of all their sets, which are reconciled with its own, the packing
// after it, which is held against these, its list, the policies it is held to, and the
// positive indicators of its sterilizers, where two loads' make a recall of one.
func (j *judgement) correctedItems() []*facts.Item {
	var out []*facts.Item
	add := func(its ...*facts.Item) {
		for _, it := range its {
			if it != nil && it.By != nil && it.Kind != events.KindEventCorrected && !slices.Contains(out, it) {
				out = append(out, it)
			}
		}
	}
	add(j.c.All...)
	add(j.c.Trays...)
	add(j.w.SheetFacts(j.c.Key)...)
	for _, it := range j.c.Steps {
		add(j.w.PolicyCorrections(it)...)
	}
	add(j.c.ListItem)
	for _, u := range j.c.Cases {
		for _, it := range j.w.CaseFacts(u.Ref) {
			if it.Kind == events.KindCaseClosed || it.Kind == events.KindSetCounted {
				add(it)
			}
		}
	}
	add(j.w.CorrectedPackings(j.c)...)
	for _, run := range j.c.Sterilized {
		add(j.w.UnsaidPositives(facts.RunOf(run).Sterilizer)...)
	}
	slices.SortFunc(out, facts.Compare)
	return out
}

// ownPositive reports whether a fact was a positive indicator of a load of the
// trip's: that it was taken back concerns the trip even where it broke nothing.
func (j *judgement) ownPositive(it *facts.Item) bool {
	read, ok := it.Event.Data.(*events.IndicatorRead)
	return ok && slices.ContainsFunc(j.c.Sterilized, func(run *facts.Item) bool {
		d := facts.RunOf(run)
		return d.Load == read.Load && d.Sterilizer == read.Sterilizer
	})
}

// tellsClosing reports whether a fact is the closing of a case that this trip is the
// first of. That it was taken back or replaced is told there also where another
// closing says the same, or the contrary, since.
func (j *judgement) tellsClosing(it *facts.Item) bool {
	if it.Kind != events.KindCaseClosed {
		return false
	}
	trips := j.w.caseState(events.CaseOf(it.Event.Data)).trips
	return len(trips) > 0 && trips[0] == j.c.Key
}

// brokenWays returns the ways in which a trip is broken.
func (w *World) brokenWays(k projections.TripKey) []projections.Way {
	j := judgement{w: w, c: w.Trip(k), bare: true}
	for _, r := range Rules() {
		r.find(&j)
	}
	var out []projections.Way
	for i := range j.findings {
		if f := &j.findings[i]; f.Severity == projections.SeverityBroken {
			out = append(out, projections.Way{Code: f.Code, Name: f.Way})
		}
	}
	return out
}

// goneWithout returns the codes of what is broken without the corrections of some
// facts and not broken now.
func (j *judgement) goneWithout(now []projections.Way, its ...*facts.Item) []projections.Code {
	var drop []*facts.Item
	for _, it := range its {
		drop = append(drop, j.w.CorrectionsOf(it)...)
	}
	w := &World{Book: j.w.Without(drop)}
	var then []projections.Way
	for _, a := range w.Recorded(func() { then = w.brokenWays(j.c.Key) }) {
		if a.Dim != facts.DimTime { // what is broken is so at any time
			j.w.AskedBetween(a.Dim, a.Key, a.From, a.To)
		}
	}
	var out []projections.Code
	for _, x := range then {
		if !slices.Contains(now, x) && !slices.Contains(out, x.Code) {
			out = append(out, x.Code)
		}
	}
	slices.Sort(out)
	return out
}
