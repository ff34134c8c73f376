package practise

import (
	"slices"
	"time"

	"listbound/events"
)

const sealed = events.KindListSealed

// Answer is what a learner says.
type Answer struct {
	Set      string
	Step     Step
	From, To time.Time
	Touched  []string // the other sets
}

// Part is one of the questions.
type Part string

// The questions.
const (
	PartSet     Part = "set"
	PartStep    Part = "step"
	PartWindow  Part = "window"
	PartTouched Part = "touched"
)

// Parts lists them.
func Parts() []Part { return []Part{PartSet, PartStep, PartWindow, PartTouched} }

// Why says why a part of an answer is right or wrong.
type Why string

// The reasons.
const (
	WhyRight     Why = "right"
	WhyOpen      Why = "open"      // right, though it really was another step: the records leave it open
	WhyNothing   Why = "nothing"   // not answered
	WhyUnknown   Why = "unknown"   // no such set here
	WhyUntouched Why = "untouched" // nothing happened to it
	WhyOther     Why = "other"     // another step
	WhyBackwards Why = "backwards" // ends before it begins
	WhyBeside    Why = "beside"    // what happened lies outside
	WhyWide      Why = "wide"      // the records say more
	WhyMore      Why = "more"      // sets that were not touched
	WhyLess      Why = "less"      // sets that were touched are not named
)

// Mark is what a part of an answer comes to.
type Mark struct {
	Part  Part
	Why   Why
	Sets  []string // that the reason is about
	Right bool
}

// Mark marks an answer, each part by itself.
func (in *Incident) Mark(a Answer) []Mark {
	marks := []Mark{in.markSet(a), in.markStep(a), in.markWindow(a), in.markTouched(a)}
	for i := range marks {
		marks[i].Right = marks[i].Why == WhyRight || marks[i].Why == WhyOpen
	}
	return marks
}

// Passed reports whether each part is right.
func Passed(ms []Mark) bool {
	return !slices.ContainsFunc(ms, func(m Mark) bool { return !m.Right })
}

// Touched are the sets that it happened to.
func (t *Truth) Touched() []string {
	var out []string
	for _, k := range t.Turns {
		if !slices.Contains(out, k.Set) {
			out = append(out, k.Set)
		}
	}
	slices.Sort(out)
	return out
}

func (in *Incident) markSet(a Answer) Mark {
	m := Mark{Part: PartSet, Why: WhyRight, Sets: []string{a.Set}}
	switch {
	case a.Set == "":
		m.Why, m.Sets = WhyNothing, nil
	case !slices.Contains(in.Sets, a.Set):
		m.Why = WhyUnknown
	case !slices.Contains(in.Truth.Touched(), a.Set):
		m.Why = WhyUntouched
	}
	return m
}

func (in *Incident) markStep(a Answer) Mark {
	m := Mark{Part: PartStep, Why: WhyOther}
	switch {
	case a.Step == "":
		m.Why = WhyNothing
	case a.Step == in.Truth.Step:
		m.Why = WhyRight
	case slices.Contains(in.Truth.Open, a.Step):
		m.Why = WhyOpen
	}
	return m
}

func (in *Incident) markWindow(a Answer) Mark {
	m, t := Mark{Part: PartWindow, Why: WhyRight}, &in.Truth
	switch {
	case a.From.IsZero() || a.To.IsZero():
		m.Why = WhyNothing
	case a.To.Before(a.From):
		m.Why = WhyBackwards
	case t.At.Before(a.From.Add(-Slack)) || t.At.After(a.To.Add(Slack)):
		m.Why = WhyBeside
	case a.From.Before(t.From.Add(-Slack)) || a.To.After(t.To.Add(Slack)):
		m.Why = WhyWide
	}
	return m
}

// markTouched holds the other sets against those that it happened to besides the one that was answered. Where that one
// is wrong, any of the touched sets may be left out as the one.
func (in *Incident) markTouched(a Answer) Mark {
	touched := in.Truth.Touched()
	m := Mark{Part: PartTouched, Why: WhyRight}
	var more, less []string
	for _, s := range a.Touched {
		if !slices.Contains(touched, s) {
			more = append(more, s)
		}
	}
	for _, s := range touched {
		if s != a.Set && !slices.Contains(a.Touched, s) {
			less = append(less, s)
		}
	}
	if !slices.Contains(touched, a.Set) && len(less) == 1 {
		less = nil
	}
	switch {
	case len(more) > 0:
		m.Why, m.Sets = WhyMore, more
	case len(less) > 0:
		m.Why, m.Sets = WhyLess, less
	}
	return m
}
