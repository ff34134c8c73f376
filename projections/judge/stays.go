package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

func staysRules() []Rule {
	return []Rule{{"stays on purpose", []projections.Code{projections.StaysOnPurpose}, eachCase((*judgement).stays)}}
}

// stays notes what was left in the patient on purpose. The count comes out by it, and somebody will have to take it out or
// leave it there knowingly: so it is told of for as long as the history is kept.
func (j *judgement) stays(t counts) {
	for _, it := range t.counts {
		d := facts.CountOf(it)
		x := &projections.LeftInside{Case: d.Case, Set: j.c.Key.Set, Stage: d.Stage, At: it.At(), Badge: d.Counter}
		var lines []int64
		for _, r := range d.Removed {
			if r.Stays {
				x.Lines = append(x.Lines, t.passedLine(r))
				lines = append(lines, r.Line)
			}
		}
		if len(lines) > 0 {
			f := j.add(projections.StaysOnPurpose, projections.SeverityNoted, x, it)
			f.Lines, f.From, f.To = lines, it.At(), it.At()
		}
	}
}
