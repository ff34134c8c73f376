package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/run"
)

// releasedWithout finds a release without what the policy of that time asks for. With a reason why it was released before its
// indicator was read, that alone is noted.
func (j *judgement) releasedWithout() {
	open := j.w.firstOpened(j.c)
	good, _ := j.c.Releasing(j.w.Book, open)
	if good == nil {
		return
	}
	p, d := j.w.PolicyFor(good), facts.RunOf(good)
	out := &projections.ReleasedWithout{Set: j.c.Key.Set, Run: *runDetail(good), Emergency: d.Emergency, Opened: momentAt(open)}
	for _, a := range p.ReleaseAsks {
		has := true
		switch a {
		case events.AskParameters:
			has = d.Parameters == events.ParametersMet || j.logHolds(good)
		case events.AskIndicator:
			negative, _, _ := j.readNegative(d)
			has = negative != nil && negative.At().Sub(good.At()) <= facts.Seconds(p.ClockToleranceSeconds)
		case events.AskSecondLook:
			out.Same = d.SecondLook != "" && d.SecondLook == good.Event.Operator
			has = d.SecondLook != "" && !out.Same
		}
		if !has {
			out.Lacks = append(out.Lacks, a)
		}
	}
	if len(out.Lacks) == 0 {
		return
	}
	sev := projections.SeverityDoubtful
	if d.Emergency != "" && len(out.Lacks) == 1 && out.Lacks[0] == events.AskIndicator {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.NotReleased, sev, out, good, open)
	f.From, f.To = good.At(), good.At()
}

// logHolds reports whether the run's own log shows that it holds its cycle. One that is handed in later speaks for it as well.
func (j *judgement) logHolds(good *facts.Item) bool {
	log := j.logOf(good)
	if log == nil {
		return false
	}
	d := facts.LogOf(log)
	return !run.Fails(&d.Cycle, &d.Figures)
}
