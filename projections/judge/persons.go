package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func personRules() []Rule {
	return []Rule{
		{"two people", []projections.Code{projections.CountOnePerson}, eachCase((*judgement).persons)},
	}
}

// persons finds counts that were not made by two people. Records have badges and no roles, so
// two people of one role look the same as one of each.
//
// It calls for action if no two people counted the set at the end. A
// lone count before that, whose numbers two people confirmed, is noted; so is a
// lone last count of a further set of the case, since it is reported once, with the first set.
func (j *judgement) persons(t counts) {
	alone, twice := j.w.loneCounts(t.tally.counts)
	confirmed := confirmedBy(t.tally, slices.Concat(alone, twice))
	sev, by := projections.SeverityDoubtful, ""
	if confirmed != nil {
		sev = projections.SeverityNoted
	} else if first := j.w.firstAlone(t.state); first != j.c.Key && first != (projections.TripKey{}) {
		sev, by = projections.SeverityNoted, first.Set
	}
	var m *projections.Moment
	if confirmed != nil {
		x := moment(confirmed)
		m = &x
	}
	put := func(d projections.Detail, of []*facts.Item) {
		f := j.add(projections.CountOnePerson, sev, d, append(of, confirmed)...)
		f.From, f.To = of[0].At(), of[len(of)-1].At()
	}
	if len(alone) > 0 {
		put(&projections.NoSecondPerson{Set: j.c.Key.Set, Counts: stagesAt(alone), Confirmed: m, By: by}, alone)
	}
	if len(twice) > 0 {
		put(&projections.OneBadge{Set: j.c.Key.Set, Counts: stagesAt(twice), Confirmed: m, By: by}, twice)
	}
}

// loneCounts returns the counts that name no second person, and those with one
// badge in both roles, where the policy asks for two people.
func (w *World) loneCounts(its []*facts.Item) (alone, twice []*facts.Item) {
	for _, it := range its {
		d := facts.CountOf(it)
		switch {
		case d.Witness != "" && d.Witness != d.Counter || !w.PolicyFor(it).TwoPersons:
		case d.Witness == "":
			alone = append(alone, it)
		default:
			twice = append(twice, it)
		}
	}
	return alone, twice
}

// confirmedBy returns the final count by two people that came after all the lone
// ones, where it, the first count and what was packed agree; nil without one. A
// first count that is not what was packed could hide the same piece twice.
func confirmedBy(t *tally, lone []*facts.Item) *facts.Item {
	if t.uncountable || len(t.firstDiffs)+len(t.firstGaps)+len(t.ends)+len(t.unseen) > 0 {
		return nil
	}
	for _, it := range slices.Backward(t.counts) {
		d := facts.CountOf(it)
		after := !slices.ContainsFunc(lone, func(l *facts.Item) bool { return !l.Less(it) })
		if d.Stage == events.StageFinal && d.Witness != "" && d.Witness != d.Counter && after {
			return it
		}
	}
	return nil
}

// firstAlone returns the first set of a case that no two people counted at the
// end, the zero key where there is none.
func (w *World) firstAlone(s *caseState) projections.TripKey {
	for _, k := range s.trips {
		t := s.tallies[k]
		if t == nil {
			continue
		}
		alone, twice := w.loneCounts(t.counts)
		if lone := slices.Concat(alone, twice); len(lone) > 0 && confirmedBy(t, lone) == nil {
			return k
		}
	}
	return projections.TripKey{}
}
