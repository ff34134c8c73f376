package judge

import (
	"slices"

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

// Rules are all rules: each file of a family lists its own. Their order means
// nothing, since findings are sorted.
func Rules() []Rule {
	return slices.Concat(
		reuseRules(),
		sheetRules(),
		doubtRules(),
		movedRules(),
		tagRules(),
		labelRules(),
		trayRules(),
		sealRules(),
		packingRules(),
		placedRules(),
		packageRules(),
		linkRules(),
		orderRules(),
		placeRules(),
		releaseRules(),
		indicatorRules(),
		recallRules(),
		listRules(),
		personRules(),
		countSheetRules(),
		firstCountRules(),
		midwayRules(),
		unaccountedRules(),
		passedOffRules(),
		staysRules(),
		gapRules(),
		closingRules(),
		assemblyRules(),
		missingRules(),
		migrationRules(),
		correctionRules(),
		loanRules(),
		overdueRules(),
		registerRules(),
		recordRules(),
	)
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
