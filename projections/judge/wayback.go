package judge

import (
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

// stepsBack finds a used set that was packed again without steps of its way back that the policy in force then asks for. It is
// told of the turn that was packed so, whose next user meets what was left out.
func (j *judgement) stepsBack() {
	c := j.c
	pack := c.LastPack()
	if c.Prev == "" || pack == nil {
		return
	}
	asked := j.w.PolicyFor(pack).WayBack
	if len(asked) == 0 {
		return
	}
	p := j.w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Prev})
	used := j.w.openings(p)
	ref := j.w.usedLast(p)
	if ref == "" {
		return
	}
	d := &projections.StepsBackMissing{Set: c.Key.Set, Case: ref, Packed: moment(pack), Again: momentAt(c.Next)}
	for _, step := range asked {
		// Steps that were recorded once it was packed first are of this turn; packed a second time, it had both.
		if !slices.ContainsFunc(slices.Concat(p.Steps, c.Steps), func(it *facts.Item) bool {
			r := facts.ReturnOf(it)
			return r != nil && r.Step == step && it.Less(pack) && (len(used) == 0 || used[len(used)-1].Less(it))
		}) {
			d.Missing = append(d.Missing, step)
		}
	}
	if len(d.Missing) == 0 {
		return
	}
	open := j.w.firstOpened(c)
	d.Opened = momentAt(open)
	sev := projections.SeverityDoubtful
	if c.Next != nil { // processed since
		sev = projections.SeverityNoted
	}
	f := j.add(projections.LinkMissing, sev, d, pack, open, c.Next)
	if len(used) > 0 {
		f.From = used[len(used)-1].At()
	} else {
		f.From = pack.At()
	}
	f.To = pack.At()
}
