package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

// Rule finds one family of faults in a trip. A rule is pure: it looks at the
// trip and asks the book, and no rule rests on what another has found.
type Rule struct {
	Name  string
	Codes []projections.Code // every code it can give
	find  func(*judgement)
}

// Rules are all rules. Their order means nothing: findings are sorted.
func Rules() []Rule {
	return []Rule{
		{"used again", []projections.Code{projections.NotReprocessed}, (*judgement).reused},
		{"run again", []projections.Code{projections.NotReprocessed}, (*judgement).runUnprepared},
		{"sheet", []projections.Code{
			projections.SheetSwapped, projections.SheetStale, projections.SheetAltered, projections.SheetUnknown,
			projections.SheetUnreadable, projections.SheetAbsent,
		}, (*judgement).sheets},
		{"sheet elsewhere", []projections.Code{projections.SheetInDoubt}, (*judgement).doubt},
		{"sheet moved", []projections.Code{projections.SheetMoved}, (*judgement).moved},
		{"tag", []projections.Code{projections.TagUnread}, (*judgement).tags},
		{"label", []projections.Code{projections.LabelSwapped}, (*judgement).labels},
		{"label of another", []projections.Code{projections.LabelSwapped}, (*judgement).othersLabel},
		{"seals", []projections.Code{projections.SealDiffers}, (*judgement).seals},
		{"weight", []projections.Code{projections.TooHeavy}, (*judgement).weight},
		{"second look", []projections.Code{projections.SecondLookMissing}, (*judgement).secondLook},
		{"put aside", []projections.Code{projections.PutAside}, (*judgement).aside},
		{"package", []projections.Code{projections.PackageUnfit}, (*judgement).packages},
		{"shelf life", []projections.Code{projections.PackageUnfit}, (*judgement).shelfLife},
		{"links", []projections.Code{projections.LinkMissing}, (*judgement).links},
		{"opened unread", []projections.Code{projections.LinkMissing}, (*judgement).unread},
		{"order", []projections.Code{projections.LinkOutOfOrder}, (*judgement).order},
		{"packed after its run", []projections.Code{projections.LinkOutOfOrder}, (*judgement).packedAfterRun},
		{"two cases", []projections.Code{projections.LinkOutOfOrder}, (*judgement).twoCases},
		{"places", []projections.Code{projections.TwoPlaces}, (*judgement).places},
		{"release", []projections.Code{projections.NotReleased}, (*judgement).release},
		{"implants", []projections.Code{projections.ImplantTooEarly}, (*judgement).implants},
		{"indicator inside", []projections.Code{projections.IndicatorNotSeen}, (*judgement).indicators},
		{"recall", []projections.Code{projections.LoadRecalled}, (*judgement).recalls},
		{"list version", []projections.Code{projections.ListSuperseded}, (*judgement).listVersion},
		{"sealed version", []projections.Code{projections.ListSuperseded, projections.SheetAltered}, (*judgement).sealedVersion},
		{"two people", []projections.Code{projections.CountOnePerson}, eachCase((*judgement).persons)},
		{"counted by", []projections.Code{projections.CountedOnWrongList}, eachCase((*judgement).countSheets)},
		{"counted by a damaged code", []projections.Code{projections.SheetUnreadable}, eachCase((*judgement).countedUnreadable)},
		{"first count", []projections.Code{projections.CountDiffersAtOpen}, eachCase((*judgement).firstCount)},
		{"midway", []projections.Code{projections.CountShort, projections.CountOver}, eachCase((*judgement).midway)},
		{"unaccounted", []projections.Code{projections.CountShort, projections.CountOver}, eachCase((*judgement).ends)},
		{"not counted", []projections.Code{projections.CountMissing}, eachCase((*judgement).gaps)},
		{"closing", []projections.Code{projections.ClosedUnreconciled}, eachCase((*judgement).closed)},
		{"corrected", []projections.Code{projections.Corrected}, (*judgement).restsOnCorrections},
		{"left open", []projections.Code{projections.LinkMissing}, eachCase((*judgement).leftOpen)},
		{"on its way", []projections.Code{projections.Overdue}, (*judgement).overdueOnItsWay},
		{"result", []projections.Code{projections.Overdue}, (*judgement).overdueIndicator},
		{"last count", []projections.Code{projections.Overdue}, eachCase((*judgement).overdueCount)},
		{"case open", []projections.Code{projections.Overdue}, eachCase((*judgement).overdueClosing)},
		{"silence", []projections.Code{projections.StationSilent}, (*judgement).silent},
		{"records", []projections.Code{
			projections.SignatureBad, projections.StationGap, projections.ClockDoubtful, projections.RecordUnread,
		}, (*judgement).records},
	}
}

// counts is what a rule about counts looks at: one case in which the trip was
// opened or counted. A trip has several where something went wrong, and
// opening it for another one takes nothing back.
type counts struct {
	*facts.CaseUse
	state *caseState // over all sets of the case
	*tally
}

// eachCase makes a rule of one that looks at a case.
func eachCase(find func(*judgement, counts)) func(*judgement) {
	return func(j *judgement) {
		for i := range j.c.Cases {
			u := &j.c.Cases[i]
			s := j.w.caseState(u.Ref)
			t := s.tallies[j.c.Key]
			if t == nil {
				t = tallyUp(j.c, u.Ref)
			}
			find(j, counts{u, s, t})
		}
	}
}
