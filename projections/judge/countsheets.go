package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func countSheetRules() []Rule {
	return []Rule{
		{"counted by", []projections.Code{projections.CountedOnWrongList}, eachCase((*judgement).countSheets)},
		{"counted by a damaged code", []projections.Code{projections.SheetUnreadable}, eachCase((*judgement).countedUnreadable)},
	}
}

// countSheets: each count was made against this trip's sheet, or the screen,
// which shows the trip's list by definition.
func (j *judgement) countSheets(t counts) {
	c := j.c
	type wrong struct {
		owner projections.TripKey
		class facts.Class
	}
	var order []wrong
	by := make(map[wrong][]*facts.Item, 0)
	for _, it := range t.counts {
		if it.Code == nil || j.ofTray(it, t.Ref) { // the screen, or no code that can be read; or the tray's own list
			continue
		}
		var x wrong
		switch {
		case it.Code.Trip == c.Key.Trip:
			cl, _ := j.w.ReadOwn(c, it, it.Code)
			if cl != facts.ReadAltered {
				continue
			}
			x.class = cl
		default:
			x.class = facts.ReadUnknown
			if o := j.w.Owner(it.Code); o.TripKey != (projections.TripKey{}) {
				x = wrong{o.TripKey, facts.ReadSwapped}
			}
		}
		if by[x] == nil {
			order = append(order, x)
		}
		by[x] = append(by[x], it)
	}
	for _, x := range order {
		its := by[x]
		d := &projections.WrongList{Set: c.Key.Set, Counts: stagesAt(its), Against: against(c, x.owner, x.class)}
		var lines []int64
		if x.owner != (projections.TripKey{}) {
			y := j.w.Trip(x.owner)
			changes := changesOf(y.List, c.List)
			d.Sheet, d.Changes = &projections.TripKey{Set: x.owner.Set, Trip: x.owner.Trip}, &changes
			lines = changedLines(y.List, c.List)
		}
		f := j.add(projections.CountedOnWrongList, projections.SeverityBroken, d, its...)
		f.From, f.To = its[0].At(), its[len(its)-1].At()
		f.Other, f.Lines = d.Sheet, lines
	}
}

// against returns what a count by a wrong sheet was made against.
func against(c *facts.Trip, owner projections.TripKey, cl facts.Class) projections.CountedAgainst {
	switch {
	case owner.Set == c.Key.Set:
		return projections.AgainstOtherPacking
	case owner != projections.TripKey{}:
		return projections.AgainstOtherSet
	case cl == facts.ReadAltered && len(c.Sealed) == 0:
		return projections.AgainstUnbound
	case cl == facts.ReadAltered:
		return projections.AgainstAltered
	}
	return projections.AgainstUnknown
}

// countedUnreadable finds counts made against a sheet whose code is damaged: whose
// it was isn't known. It is noted where the set was counted since by its own sheet,
// or by the list on the screen.
func (j *judgement) countedUnreadable(t counts) {
	d := &projections.CountedUnreadable{Set: j.c.Key.Set}
	var its []*facts.Item
	var again *facts.Item
	for _, it := range t.counts {
		switch n, _ := events.AsRead(it.Data).(*events.SetCounted); {
		case n.Sheet == events.SheetUnreadable:
			its, again = append(its, it), nil
			if n.SheetText != "" && !slices.Contains(d.Texts, n.SheetText) {
				d.Texts = append(d.Texts, n.SheetText)
			}
		case again == nil && j.byOwnList(it):
			again = it
		}
	}
	if len(its) == 0 {
		return
	}
	d.Counts = stagesAt(its)
	sev := projections.SeverityDoubtful
	if again != nil {
		sev, d.Again = projections.SeverityNoted, &stagesAt([]*facts.Item{again})[0]
	}
	f := j.add(projections.SheetUnreadable, sev, d, append(slices.Clone(its), again)...)
	f.From, f.To = its[0].At(), its[len(its)-1].At()
}

// byOwnList reports whether a count was made by the trip's own sheet, or by the
// list on the screen.
func (j *judgement) byOwnList(it *facts.Item) bool {
	if it.Code == nil {
		return facts.CountOf(it).Sheet == events.SheetScreen
	}
	return j.byListOf(j.c, it)
}
