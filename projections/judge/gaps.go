package judge

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func gapRules() []Rule {
	return []Rule{
		{"not counted", []projections.Code{projections.CountMissing}, eachCase((*judgement).gaps)},
	}
}

// gaps finds lines that a first or final count left out, lines that nobody
// counted after pieces came or left, and stages that the policy asks for.
func (j *judgement) gaps(t counts) {
	j.leftOut(t.first, t.firstGaps)
	j.leftOut(t.final, t.finalGaps)
	j.afterFinal(t.tally)
	j.noList(t)
	if !t.Opened || len(t.tally.counts) == 0 && j.missing(events.KindSetCounted) {
		return // link-missing says that nothing was counted
	}
	j.stages(t)
}

// noList finds counts that can't be reconciled with a list, since no packing of
// the set is recorded here: a loaner, a set of another house, a bench that is
// still offline. They are held against each other all the same.
func (j *judgement) noList(t counts) {
	if len(t.tally.counts) == 0 || len(j.c.Packed) > 0 || j.c.List != nil || j.c.Goods() {
		return
	}
	its := t.tally.counts
	f := j.add(projections.CountMissing, projections.SeverityDoubtful, &projections.NoList{
		Set: j.c.Key.Set, Counts: stagesAt(its),
	}, its...)
	f.From, f.To = its[0].At(), its[len(its)-1].At()
}

func (j *judgement) leftOut(count *facts.Item, lines []int64) {
	if count == nil || len(lines) == 0 {
		return
	}
	f := j.add(projections.CountMissing, projections.SeverityDoubtful, &projections.LinesUncounted{
		Set: j.c.Key.Set, Stage: facts.CountOf(count).Stage, At: count.At(), Lines: lines,
	}, count)
	f.Lines, f.From, f.To = lines, count.At(), count.At()
}

func (j *judgement) afterFinal(t *tally) {
	var late []unseenLine
	var shown []*facts.Item
	for _, l := range t.unseen {
		if l.last != nil {
			late = append(late, l)
			shown = append(shown, l.since, l.last)
		}
	}
	if len(late) == 0 {
		return
	}
	f := j.add(projections.CountMissing, projections.SeverityDoubtful, &projections.AfterFinal{
		Set: j.c.Key.Set, Final: t.final.At(), Lines: lateLines(late),
	}, append(shown, t.final)...)
	f.From, f.To = t.final.At(), t.final.At()
	for _, l := range late {
		f.Lines, f.To = append(f.Lines, l.line), facts.Latest(f.To, l.last.At())
	}
	slices.Sort(f.Lines)
}

// stages finds stages that are absent although one that comes after them was
// counted, the case was closed, or the set was packed again.
func (j *judgement) stages(t counts) {
	c, w := j.c, j.w
	var missing []events.Stage
	var shown []*facts.Item
	look := func(stages []events.Stage, by *facts.Item) {
		for _, s := range stages {
			counted := slices.ContainsFunc(t.tally.counts, func(it *facts.Item) bool { return facts.CountOf(it).Stage == s })
			if !counted && !slices.Contains(missing, s) {
				missing, shown = append(missing, s), append(shown, by)
			}
		}
	}
	for _, it := range t.tally.counts {
		p := w.PolicyFor(it)
		if i := slices.Index(p.Stages, facts.CountOf(it).Stage); i > 0 {
			look(p.Stages[:i], it)
		}
	}
	switch p := w.PolicyFor(c.Steps[len(c.Steps)-1]); {
	case len(t.Closings) > 0:
		look(p.Stages, t.Closings[0])
	case c.Next != nil:
		look(p.Stages, c.Next)
	}
	if len(missing) == 0 {
		return
	}
	open := c.UsedFrom(c.Cases[0].Ref)
	f := j.add(projections.CountMissing, projections.SeverityDoubtful, &projections.StagesMissing{
		Set: c.Key.Set, Stages: missing,
	}, append(shown, open)...)
	f.From, f.To = open.At(), facts.Latest(shown[0].At(), open.At())
}
