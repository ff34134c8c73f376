package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
)

func midwayRules() []Rule {
	return []Rule{
		{"midway", []projections.Code{projections.CountShort, projections.CountOver}, eachCase((*judgement).midway)},
	}
}

// midway judges counts that do not have the last word. A final count that is
// right in those lines has put them right, so they are noted; a count that
// differs as well is judged by itself.
func (j *judgement) midway(t counts) {
	for _, it := range t.counts {
		if len(t.midDiffs[it]) == 0 {
			continue
		}
		by := make(map[midwayLines][]lineDiff)
		for _, d := range t.midDiffs[it] {
			if !t.lastWord(it, d.line) {
				x := midwayLines{d.seen > d.expected, t.afterwards(it, d.line)}
				by[x] = append(by[x], d)
			}
		}
		for _, over := range []bool{false, true} {
			for _, then := range sequels {
				x := midwayLines{over, then}
				if len(by[x]) > 0 {
					j.midwayIn(t.tally, it, x, by[x])
				}
			}
		}
	}
}

// midwayLines tells apart the lines of one count that are judged alike.
type midwayLines struct {
	over bool
	then projections.Sequel
}

func (j *judgement) midwayIn(t *tally, it *facts.Item, x midwayLines, ds []lineDiff) {
	code, sev := projections.CountShort, projections.SeverityNoted
	if x.over {
		code = projections.CountOver
	}
	shown := []*facts.Item{it}
	switch x.then {
	case projections.ThenNothing:
		sev = projections.SeverityBroken
	case projections.ThenLeftOut:
		sev = projections.SeverityBroken
		shown = append(shown, t.final)
	case projections.ThenRight, projections.ThenDiffers:
		shown = append(shown, t.final)
	case projections.ThenLater:
		shown = append(shown, t.wordOn(ds)...)
	}
	f := j.add(code, sev, &projections.Midway{
		Set: j.c.Key.Set, Stage: facts.CountOf(it).Stage, At: it.At(), Lines: lineCounts(ds),
		Then: x.then, Noted: sev == projections.SeverityNoted,
	}, shown...)
	f.Lines, f.From, f.To = linesOf(ds), it.At(), it.At()
}
