package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

func placedRules() []Rule {
	return []Rule{{"placed otherwise", []projections.Code{projections.PlacedOtherwise}, (*judgement).placed}}
}

// placed finds a count sheet that was put where the policy in force doesn't have it: the site assessed where sheets travel, and
// this one travels otherwise. It is doubtful while somebody can still put it right, and noted once the set is used.
func (j *judgement) placed() {
	if len(j.c.Sealed) == 0 {
		return
	}
	pack, seal := facts.PackOf(j.c.LastPack()), j.c.Sealed[len(j.c.Sealed)-1]
	if pack == nil {
		return
	}
	policy, d := j.w.PolicyFor(seal), facts.SealOf(seal)
	if policy.MayTravel(pack.List, d.Placement) {
		return
	}
	sev, opened := projections.SeverityDoubtful, j.w.firstOpened(j.c) != nil
	if opened || j.c.Over() {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.PlacedOtherwise, sev, &projections.PlacedAgainstPolicy{
		Set: j.c.Key.Set, List: pack.List, At: moment(seal), Placement: d.Placement, Allowed: policy.Placements, Opened: opened,
	}, seal)
	f.From, f.To = seal.At(), seal.At()
}
