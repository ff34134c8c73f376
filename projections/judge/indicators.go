package judge

import (
	"cmp"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func indicatorRules() []Rule {
	return []Rule{
		{"implants", []projections.Code{projections.ImplantTooEarly}, (*judgement).implants},
		{"indicator inside", []projections.Code{projections.IndicatorNotSeen}, (*judgement).indicators},
	}
}

// indicators finds an opening of which it is not recorded what the chemical
// indicator inside shows, where the policy asks for that: not looked at is not
// passed. At a site whose stations record none it says nothing of the set, so no
// policy asks by itself. That there was none inside is an observation, and found
// wherever it is recorded.
func (j *judgement) indicators() {
	for _, it := range j.w.openedTray(j.c) {
		d, ok := it.Data.(*events.SetOpened)
		if !ok {
			continue
		}
		var of projections.Detail
		switch {
		case d.Indicator == "none":
			of = &projections.NoIndicator{Set: j.c.Key.Set, At: moment(it)}
		case d.Indicator == "" && j.w.PolicyFor(it).AsksIndicator() && !j.indicatorSeen(d.Case):
			of = &projections.IndicatorUnseen{Set: j.c.Key.Set, At: moment(it)}
		default:
			continue
		}
		f := j.add(projections.IndicatorNotSeen, projections.SeverityDoubtful, of, it)
		f.From, f.To = it.At(), it.At()
	}
}

// indicatorSeen reports whether an opening for a case tells of the indicator: a set
// may be scanned as opened more than once.
func (j *judgement) indicatorSeen(ref string) bool {
	for _, it := range j.w.openedTray(j.c) {
		if d, ok := it.Data.(*events.SetOpened); ok && d.Case == ref && d.Indicator != "" {
			return true
		}
	}
	return false
}

// implants finds a set with implants that was opened before the biological
// indicator of its load was read negative (CDC, MMWR 2003;52(RR-17)). With a
// recorded reason it was an emergency: the result is awaited all the same.
func (j *judgement) implants() {
	open := j.w.firstOpened(j.c)
	if open == nil || j.c.List == nil || !j.c.List.Implants || !j.w.PolicyFor(open).AsksImplantIndicator() {
		return
	}
	good, _ := j.c.Releasing(j.w.Book, open)
	if good == nil {
		return // which release says
	}
	run := facts.RunOf(good)
	negative, unproved, soon := j.readNegative(run)
	limit := facts.Seconds(j.w.PolicyFor(open).ClockToleranceSeconds)
	d := &projections.ImplantEarly{Set: j.c.Key.Set, At: moment(open), Run: *runDetail(good), Emergency: run.Emergency}
	if negative != nil {
		if negative.At().Sub(open.At()) <= limit {
			return
		}
		d.Negative = negative.At()
	}
	nothing := cmp.Or(unproved, soon) // a negative result that shows nothing
	switch {
	case negative != nil:
		nothing = nil
	case unproved != nil:
		d.Unproved = unproved.At()
	case soon != nil:
		d.TooSoon = soon.At()
	}
	f := j.add(projections.ImplantTooEarly, earlySeverity(run.Emergency, d.Negative), d, good, open, negative, nothing)
	f.From, f.To = good.At(), open.At()
}

// earlySeverity: without a result and a reason nothing speaks for the set; with
// both there is nothing left to do.
func earlySeverity(emergency string, negative time.Time) projections.Severity {
	switch {
	case emergency == "" && negative.IsZero():
		return projections.SeverityBroken
	case emergency != "" && !negative.IsZero():
		return projections.SeverityNoted
	}
	return projections.SeverityDoubtful
}

// readNegative returns the first negative result of a run's load, nil without one.
// Where the unprocessed control of the lot was negative too, the test showed nothing:
// unproved is the first such. Neither did one that was read too soon after the cycle's start.
func (j *judgement) readNegative(run *events.SetSterilized) (first, unproved, soon *facts.Item) {
	for _, it := range j.w.ResultOf(run.Load) {
		d, ok := it.Data.(*events.IndicatorRead)
		if !ok || d.Sterilizer != run.Sterilizer || d.Result != "negative" {
			continue
		}
		of := &first
		switch {
		case d.Unproved():
			of = &unproved
		case readTooSoon(it, run):
			of = &soon
		}
		if *of == nil || it.Less(*of) {
			*of = it
		}
	}
	return first, unproved, soon
}

// readTooSoon reports whether an indicator was read negative before the run that it is of can
// have ended.
func readTooSoon(it *facts.Item, run *events.SetSterilized) bool {
	d, ok := it.Data.(*events.IndicatorRead)
	return ok && d.TooSoon(it.At(), facts.Latest(run.StartedAt(), d.StartedAt()))
}
