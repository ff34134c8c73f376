package judge

import (
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

func packingRules() []Rule {
	return []Rule{
		{"weight", []projections.Code{projections.TooHeavy}, (*judgement).weight},
		{"second look", []projections.Code{projections.SecondLookMissing}, (*judgement).secondLook},
	}
}

// weight finds a set that was packed heavier than the policy allows. One that
// nobody weighed is not judged. A set packed again in its trip is what it was
// packed as last. Once its use is over nobody can divide it any more: that is noted,
// for the next version of its list.
func (j *judgement) weight() {
	pack := j.c.LastPack()
	d := facts.PackOf(pack)
	if d == nil {
		return
	}
	limit := j.w.PolicyFor(pack).WeightLimitGrams
	if limit == 0 || d.WeightGrams <= limit {
		return
	}
	sev := projections.SeverityDoubtful
	if j.c.Over() {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.TooHeavy, sev, &projections.OverWeight{
		Set: j.c.Key.Set, At: moment(pack), Grams: d.WeightGrams, Limit: limit, Opened: j.w.firstOpened(j.c) != nil,
	}, pack)
	f.From, f.To = pack.At(), pack.At()
}

// secondLook finds a set that nobody looked over besides who packed it, where the
// policy asks for that with sets of its list. The records know badges, not roles.
func (j *judgement) secondLook() {
	pack := j.c.LastPack()
	d := facts.PackOf(pack)
	if d == nil || !slices.Contains(j.w.PolicyFor(pack).SecondLook, d.List) {
		return
	}
	if d.SecondLook != "" && d.SecondLook != pack.Event.Operator {
		return
	}
	f := j.add(projections.SecondLookMissing, projections.SeverityDoubtful, &projections.NoSecondLook{
		Set: j.c.Key.Set, List: d.List, At: moment(pack), Badge: d.SecondLook, Opened: j.w.firstOpened(j.c) != nil,
	}, pack)
	f.From, f.To = pack.At(), pack.At()
}
