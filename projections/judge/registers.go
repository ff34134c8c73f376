package judge

import (
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func registerRules() []Rule {
	return []Rule{
		{"registers", []projections.Code{projections.NotRegistered, projections.EmergencyAccess}, (*judgement).registers},
	}
}

// lackingRecords are those against which a register has the same.
type lackingRecords struct {
	facts.Lack
	its []*facts.Item
}

// everHeld reports whether a site where anything of this was recorded ever said by then that it holds to its registers.
func (j *judgement) everHeld(parts [][]*facts.Item) bool {
	for _, part := range parts {
		for _, it := range part {
			site, _, _ := strings.Cut(it.Event.Station, "/")
			if j.w.EverHeldTo(site, it.At()) {
				return true
			}
		}
	}
	return false
}

// registers holds what was observed to the registers that its site held to then. Intake refuses most of this; a station
// that signs for itself is never refused, and what was recorded in an emergency is told of.
func (j *judgement) registers() {
	parts := [][]*facts.Item{j.c.All}
	for _, u := range j.c.Cases {
		parts = append(parts, u.Closings)
	}
	if !j.everHeld(parts) {
		return
	}
	its := slices.Concat(parts...)
	slices.SortFunc(its, facts.Compare)
	its = slices.Compact(its)
	var found []lackingRecords
	for _, it := range its {
		if it.Event == nil || it.Void || it.Forged() {
			continue
		}
		e := *it.Event
		e.Data = it.Data
		for _, l := range j.w.Lacks(&e) {
			i := slices.IndexFunc(found, func(x lackingRecords) bool {
				if x.Claim != nil || l.Claim != nil {
					return x.Claim == l.Claim
				}
				return x.Register == l.Register && x.ID == l.ID && x.Way == l.Way && x.Meant == l.Meant
			})
			if i < 0 {
				i = len(found)
				found = append(found, lackingRecords{Lack: l})
			}
			if x := &found[i]; !slices.Contains(x.its, it) {
				x.its = append(x.its, it)
			}
		}
	}
	for _, x := range found {
		j.lacks(x)
	}
}

func (j *judgement) lacks(x lackingRecords) {
	first := moment(x.its[0])
	shown := append(slices.Clone(x.its), x.By, x.Claim, x.Entry.Item)
	of := projections.LackOf{ID: x.ID, Why: string(x.Way), Meant: x.Meant, First: first, Records: len(x.its)}
	code, sev := projections.NotRegistered, projections.SeverityDoubtful
	var d projections.Detail
	switch {
	case x.Claim != nil:
		c := x.Claim.Event.Data.(*events.AccessClaimed)
		code = projections.EmergencyAccess
		d = &projections.AccessUsed{
			Badge: c.Badge, At: x.Claim.Event.Station, Reason: c.Reason, Claimed: x.Claim.At(), First: first, Records: len(x.its),
		}
	case x.Register == events.RegisterPeople:
		d = &projections.PersonLacks{LackOf: of}
	case x.Register == events.RegisterStations:
		d = &projections.StationLacks{LackOf: of}
	case x.Register == events.RegisterSterilizers:
		d = &projections.SterilizerLacks{LackOf: of}
	default:
		sev, d = projections.SeverityNoted, &projections.SetLacks{LackOf: of}
	}
	f := j.add(code, sev, d, shown...)
	f.From, f.To = x.its[0].At(), x.its[len(x.its)-1].At()
}
