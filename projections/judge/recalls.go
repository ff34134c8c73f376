package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"time"
)

func recallRules() []Rule {
	return []Rule{
		{"recall", []projections.Code{projections.LoadRecalled}, (*judgement).recalls},
	}
}

// recalls finds the positive indicators that cover the load this trip rests
// on: the last one that passed and was released by the opening, and the last of
// all, which the set lay in as well. They cover the loads of their sterilizer
// after the last negative load and up to the next negative one. A load with a
// result stands at its earliest set.sterilized; one without stands at this
// trip's own.
func (j *judgement) recalls() {
	good, last := j.c.Releasing(j.w.Book, j.w.firstOpened(j.c))
	if good != nil {
		j.recallsOf(good)
	}
	if last != nil && (good == nil || facts.RunOf(good).Load != facts.RunOf(last).Load ||
		facts.RunOf(good).Sterilizer != facts.RunOf(last).Sterilizer) {
		j.recallsOf(last)
	}
}

func (j *judgement) recallsOf(run *facts.Item) {
	d := facts.RunOf(run)
	r := j.w.ReadLoads(d.Sterilizer)
	at, own := run.At(), -1
	if r != nil {
		for i := range r.Loads {
			if r.Loads[i].Load == d.Load {
				at, own = r.Loads[i].At, i
			}
		}
	}
	j.w.AskedBetween(facts.DimSterilizer, d.Sterilizer, facts.Nanos(facts.Earliest(run.At(), at)), facts.Nanos(facts.Latest(run.At(), at)))
	if r == nil {
		return
	}
	for i := range r.Loads {
		if !r.Loads[i].Positive || i != own && !r.Covers(i, own, at) {
			continue
		}
		j.recalled(run, r, i)
	}
}

func (j *judgement) recalled(run *facts.Item, r *facts.ReadLoads, i int) {
	p := &r.Loads[i]
	shown := append([]*facts.Item{run}, p.Shown...)
	// By DESIGN a step is judged by the policy in force when it was observed;
	// the step is the sterilization.
	policy := j.w.PolicyFor(run)
	d := facts.RunOf(run)
	of := &projections.Recalled{Set: j.c.Key.Set, Load: d.Load, Sterilizer: d.Sterilizer, Positive: p.Load, Read: p.Read,
		Unopened: j.w.firstOpened(j.c) == nil}
	sev := projections.SeverityBroken
	if policy.Recall == events.RecallRepeat {
		sev = repeat(r, i, of, &shown)
	}
	before, after := r.Around(i)
	var from, to time.Time
	if before >= 0 {
		from = r.Loads[before].At
		shown = append(shown, r.Loads[before].Shown...)
	}
	to = p.At
	if after < len(r.Loads) {
		to = r.Loads[after].At
		shown = append(shown, r.Loads[after].Shown...)
	}
	of.Since, of.Recall, of.Settled = from, sev == projections.SeverityBroken, sev == projections.SeverityNoted
	f := j.add(projections.LoadRecalled, sev, of, shown...)
	f.From, f.To = from, to
}

// repeat applies CDC 2008, Table 12: one positive makes doubtful; a further
// one among the three repeated cycles recalls; three negatives settle it. Of the three
// loads that ran next a positive one recalls too, whenever they were run: those that ran
// before the first was known can tell against the sterilizer, but not for it.
func repeat(r *facts.ReadLoads, i int, of *projections.Recalled, shown *[]*facts.Item) projections.Severity {
	repeated := r.Repeated(i)
	for _, k := range nextTo(r, i) {
		if r.Loads[k].Positive {
			*shown = append(*shown, r.Loads[k].Shown...)
			of.Repeats, of.Other = projections.RepeatPositive, r.Loads[k].Load
			return projections.SeverityBroken
		}
	}
	for k := range i {
		if r.Loads[k].Positive && slices.Contains(nextTo(r, k), i) {
			*shown = append(*shown, r.Loads[k].Shown...)
			of.Repeats, of.Other = projections.RepeatOf, r.Loads[k].Load
			return projections.SeverityBroken
		}
	}
	of.Repeats, of.Negative = projections.RepeatAwaited, len(repeated)
	if len(repeated) < facts.Repeats {
		return projections.SeverityDoubtful
	}
	of.Repeats = projections.RepeatNegative
	for _, k := range repeated {
		*shown = append(*shown, r.Loads[k].Shown...)
		of.SettledBy = append(of.SettledBy, r.Loads[k].Load)
	}
	return projections.SeverityNoted
}

// nextTo returns the loads whose own positive result recalls with the positive load i:
// those that ran next, and those that repeat its test.
func nextTo(r *facts.ReadLoads, i int) (out []int) {
	for k := i + 1; k < len(r.Loads) && k <= i+facts.Repeats; k++ {
		out = append(out, k)
	}
	for _, k := range r.Repeated(i) {
		if !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}
