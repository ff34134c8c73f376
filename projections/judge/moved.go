package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func movedRules() []Rule {
	return []Rule{
		{"sheet moved", []projections.Code{projections.SheetMoved}, (*judgement).moved},
	}
}

// moved finds the right sheet in another place than sealed.
func (j *judgement) moved() {
	for i := range j.c.Readings {
		j.movedAt(&j.c.Readings[i])
	}
}

func (j *judgement) movedAt(r *facts.Reading) {
	s := facts.SealOf(r.Seal)
	if r.Class != facts.ReadGood || !r.Own() || s == nil || r.InPlace() {
		return
	}
	sev := projections.SeverityDoubtful
	right := j.correctedBy(r, (*facts.Reading).InPlace) // the next good reading may be misplaced as well
	if right != nil {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.SheetMoved, sev, &projections.Moved{
		Set: j.c.Key.Set, At: moment(r.It), Found: events.Placement(r.Found), Sealed: s.Placement, Righted: momentOf(right),
	}, r.It, r.Seal)
	f.From, f.To = r.Seal.At(), r.It.At()
	if right != nil {
		f.Events = append(f.Events, right.It.Seq)
	}
}
