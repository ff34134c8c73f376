package workplace

import (
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// passedOff tells what left the field of a set by counts: of it is said what, by whom and why, so that whoever signs or
// closes can ask who saw it. short reports whether any of it was said only after its line had been found short: that makes a
// count come out in which a piece may be missing all the same.
func (v *visit) passedOff(s *projections.SetStanding, removed []projections.RemovedStanding) (words []string, short bool) {
	for _, r := range removed {
		what := v.t("of-line", r.Line)
		i := slices.IndexFunc(s.Lines, func(l projections.LineStanding) bool { return l.Line.Line == r.Line })
		if i >= 0 {
			what = firstOf(s.Lines[i].Description, what)
		}
		stage, by := v.t("stage-"+string(r.Stage)), firstOf(r.Counter, "–")
		short = short || r.Short
		switch {
		case r.Short:
			words = append(words, v.t("passed-off-short", r.Quantity, what, s.Key.Set, stage, by, r.Reason))
		case r.Stays:
			words = append(words, v.t("stays", r.Quantity, what, stage, by, r.Reason))
		default:
			words = append(words, v.t("passed-off", r.Quantity, what, s.Key.Set, stage, by, r.Reason))
		}
	}
	return words, short
}

// passedOff tells what the counts that are made here say has left the field, those of some drafts.
func (t *table) passedOff(counter string, of func(*draft) bool) (words []string, short bool) {
	for i, d := range t.drafts {
		if !of(d) {
			continue
		}
		var removed []projections.RemovedStanding
		for _, r := range d.Removed {
			removed = append(removed, projections.RemovedStanding{Removed: r, Stage: t.stage, Counter: counter})
		}
		w, s := t.v.passedOff(&t.standing.Sets[i], removed)
		words, short = append(words, w...), short || s
	}
	return words, short
}

// wasShort reports whether fewer of a line than there should be were known of when something of it is said to have left:
// this count has it short, had it so before that was counted again, or the counts that are signed have.
func (t *table) wasShort(i int, line int64) bool {
	s := &t.standing.Sets[i]
	k := slices.IndexFunc(s.Lines, func(l projections.LineStanding) bool { return l.Line.Line == line })
	item := judge.ItemOf(s.Key, s.Lines[k].Line)
	signed := slices.ContainsFunc(t.standing.Left, func(l projections.Leftover) bool {
		return l.Key == s.Key && l.Item == item && l.Quantity > 0
	})
	return signed || t.shortNow(i, line) || slices.Contains(t.drafts[i].Shorts, line)
}

// noteShort keeps that this count has a line short: that it is counted again takes nothing of it back.
func (t *table) noteShort(i int, line int64) {
	if d := t.drafts[i]; t.shortNow(i, line) && !slices.Contains(d.Shorts, line) {
		d.Shorts = append(d.Shorts, line)
	}
}

// shortNow reports whether the count has a line with fewer than there should be.
func (t *table) shortNow(i int, line int64) bool {
	e := t.drafts[i].Lines[line]
	if e == nil || t.stage == events.StageAdded {
		return false
	}
	k := slices.IndexFunc(t.standing.Sets[i].Lines, func(l projections.LineStanding) bool { return l.Line.Line == line })
	expected := t.expected(i, &t.standing.Sets[i].Lines[k])
	return t.drafts[i].settled(line, expected) && e.Counted < expected
}
