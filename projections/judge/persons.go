package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

// persons: a count has two people. The records know badges, not roles, so two
// of one role can't be told apart from two of both.
func (j *judgement) persons(t counts) {
	var alone, twice []*facts.Item
	for _, it := range t.counts {
		d := facts.CountOf(it)
		if !j.w.PolicyFor(it).TwoPersons {
			continue
		}
		switch d.Witness {
		case "":
			alone = append(alone, it)
		case d.Counter:
			twice = append(twice, it)
		}
	}
	put := func(d projections.Detail, of []*facts.Item) {
		f := j.add(projections.CountOnePerson, projections.SeverityDoubtful, d, of...)
		f.From, f.To = of[0].At(), of[len(of)-1].At()
	}
	if len(alone) > 0 {
		put(&projections.NoSecondPerson{Set: j.c.Key.Set, Counts: stagesAt(alone)}, alone)
	}
	if len(twice) > 0 {
		put(&projections.OneBadge{Set: j.c.Key.Set, Counts: stagesAt(twice)}, twice)
	}
}
