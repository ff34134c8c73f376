package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func passedOffRules() []Rule {
	return []Rule{{"passed off", []projections.Code{projections.CountShort}, eachCase((*judgement).passedOff)}}
}

// passedOff notes what a count had found short and then said to have left the field. A specimen, or a clip that stays, may
// well be remembered only when its line is short; so may a piece that is still in the patient be explained away. Nobody can
// tell the two apart from the record, so it is shown and holds nothing up.
func (j *judgement) passedOff(t counts) {
	for _, it := range t.counts {
		d := facts.CountOf(it)
		x := &projections.PassedOff{Set: j.c.Key.Set, Stage: d.Stage, At: it.At(), Badge: d.Counter}
		var lines []int64
		for _, r := range d.Removed {
			if !r.Short {
				continue
			}
			x.Lines = append(x.Lines, t.passedLine(r))
			lines = append(lines, r.Line)
		}
		if len(lines) > 0 {
			f := j.add(projections.CountShort, projections.SeverityNoted, x, it)
			f.Lines, f.From, f.To = lines, it.At(), it.At()
		}
	}
}

// passedLine is what left the field, with what its line is called.
func (t *tally) passedLine(r events.Removed) projections.PassedLine {
	l := t.books.lines[t.books.at(r.Line)]
	return projections.PassedLine{Line: r.Line, Item: l.Item, Description: l.Description,
		Beyond: t.books.isBeyond(r.Line), Quantity: r.Quantity, Reason: r.Reason}
}
