package judge

import (
	"slices"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/run"
)

// contradictedByLog finds a release that the run's own log contradicts: by its figures the run doesn't hold the cycle that
// it was held to. What was merely not measured contradicts nothing.
func (j *judgement) contradictedByLog() {
	open := j.w.firstOpened(j.c)
	good, _ := j.c.Releasing(j.w.Book, open)
	if good == nil {
		return
	}
	log := j.logOf(good)
	if log == nil {
		return
	}
	said := facts.LogOf(log)
	d := &projections.LogContradicts{Set: j.c.Key.Set, Run: *runDetail(good), Logged: moment(log), Cycle: said.Cycle.Name,
		Source: said.Cycle.Source, Opened: momentAt(open)}
	sev := projections.SeverityDoubtful
	for _, l := range run.Lacks(&said.Cycle, &said.Figures) {
		if l.Unknown() {
			continue
		}
		if l.Grave() {
			sev = projections.SeverityBroken
		}
		is, bound := l.Of(&said.Cycle, &said.Figures)
		d.Lacks = append(d.Lacks, projections.RunLack{What: l, Is: is, Bound: bound})
	}
	if len(d.Lacks) == 0 {
		return
	}
	f := j.add(projections.NotReleased, sev, d, good, log, open)
	f.From, f.To = facts.Earliest(facts.Began(good), said.StartedAt()), good.At()
}

// logNear is how far the sterilizer's own clock may be from the ledger's: a zone that was said wrongly is hours, and a day
// on another load may have the name.
const logNear = 24 * time.Hour

// logOf returns the log of a run: of its load in its sterilizer, the last one begun. Where the load failed before and was run
// again, a log that began before that was recorded is the failed one's.
func (j *judgement) logOf(good *facts.Item) *facts.Item {
	of := facts.RunOf(good)
	for _, it := range slices.Backward(j.w.RunLogs(of.Load)) {
		d := facts.LogOf(it)
		if d.Sterilizer != of.Sterilizer || d.StartedAt().Sub(facts.Began(good)).Abs() > logNear {
			continue
		}
		failed := slices.ContainsFunc(j.c.Sterilized, func(x *facts.Item) bool {
			r := facts.RunOf(x)
			return r.Load == of.Load && r.Result == "failed" && x.Less(good) && d.StartedAt().Before(x.At())
		})
		if !failed {
			return it
		}
	}
	return nil
}
