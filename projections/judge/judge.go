package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"time"
)

// World judges the facts that a book holds. It is not safe for concurrent use.
type World struct {
	*facts.Book
	caseStates facts.Cache[string, *caseState]
	backCases  facts.Cache[string, *backCase]
	washings   facts.Cache[string, []projections.Move]
}

// NewWorld returns a World over an empty book. With a nil Source every fact
// comes by Add.
func NewWorld(src facts.Source) *World { return &World{Book: facts.NewBook(src)} }

// Beside returns a World over the same facts that may judge on another goroutine
// while this one does: see [facts.Book.Beside].
func (w *World) Beside() *World { return &World{Book: w.Book.Beside()} }

// Judge returns the verdict on one trip. Since is zero where nothing observed
// of the trip is in force.
func (w *World) Judge(k projections.TripKey) (projections.Verdict, error) {
	j := judgement{w: w, c: w.Trip(k)}
	v := j.run()
	if err := w.Failed(); err != nil {
		return projections.Verdict{}, err
	}
	return v, nil
}

// JudgeAsking judges a trip and also returns the questions that the verdict
// rests on: as long as no fact is added that meets one, it stands.
func (w *World) JudgeAsking(k projections.TripKey) (v projections.Verdict, asks []facts.Ask, err error) {
	asks = w.Recorded(func() { v, err = w.Judge(k) })
	return v, asks, err
}

// JudgeNeeding judges a trip where facts may have been let go, and returns what the verdict needed.
func (w *World) JudgeNeeding(k projections.TripKey) (v projections.Verdict, n facts.Needed, err error) {
	n = w.Needed(func() { v, err = w.Judge(k) })
	return v, n, err
}

// LetGo returns a World without the facts that no turn is likely to ask for: see [facts.Book.LetGo].
func (w *World) LetGo(seq int64, at time.Time) *World { return &World{Book: w.Book.LetGo(seq, at)} }

var rules = Rules()

// judgement collects the findings of one trip.
type judgement struct {
	w        *World
	c        *facts.Trip
	bare     bool            // without asking what corrections hide
	station  *events.Station // instead of a trip
	findings []projections.Finding
	until    time.Time // the earliest moment that was asked for and has not passed
}

func (j *judgement) run() projections.Verdict {
	c := j.c
	var open *facts.Item // under its name, or of its tray
	if of := j.w.openings(c); len(of) > 0 {
		open = of[0]
	} else if c.Goods() {
		open = c.Counted[0]
	}
	v := projections.Verdict{Set: c.Key.Set, Trip: c.Key.Trip, Case: c.CaseRef, Opened: open != nil, Over: c.Over()}
	if v.Case == "" && open != nil {
		v.Case = events.CaseOf(open.Data)
	}
	if seen := c.LastSeen(); seen != nil {
		v.Since, v.Where = seen.SeenBy(), facts.PlaceOf(seen).String()
	}
	for _, r := range rules {
		r.find(j)
	}
	j.acknowledgements()
	for i := range j.findings {
		f := &j.findings[i]
		slices.Sort(f.Events)
		f.Events = slices.Compact(f.Events)
		if !f.From.IsZero() && f.To.Before(f.From) { // the observed times contradict each other
			f.From, f.To = f.To, f.From
		}
	}
	slices.SortStableFunc(j.findings, projections.CompareFindings)
	v.Findings, v.Until, v.Handled = j.findings, j.until, j.handled()
	v.Status = j.status()
	if projections.AboutRoom(&v) {
		v.Together = &projections.Together{Room: open.Event.Station, Week: projections.WeekOf(open.At()), Opened: open.At().UTC()}
	}
	return v
}

// status is whole only where every link the policy asks for is there. A trip
// that ended without them, by packing the set again unopened, is never whole.
func (j *judgement) status() projections.Status {
	return projections.StatusOf(j.findings, j.complete())
}

func (j *judgement) complete() projections.Status {
	c := j.c
	if len(c.Steps) == 0 {
		return projections.Open
	}
	links := j.w.PolicyFor(c.Steps[len(c.Steps)-1]).Links
	for _, l := range links {
		if c.First(l) == nil && !(c.Goods() && l != events.KindCaseClosed) {
			return projections.Open
		}
	}
	if len(links) == 0 && !c.Over() {
		return projections.Open
	}
	return projections.Whole
}

// add starts a finding; the caller may fill in the rest before the next add.
func (j *judgement) add(code projections.Code, sev projections.Severity, d projections.Detail, shown ...*facts.Item) *projections.Finding {
	f := projections.Finding{Code: code, Severity: sev, Way: d.Way(), Detail: d, Events: make([]int64, 0, len(shown))}
	for _, it := range shown {
		if it != nil {
			f.Events = append(f.Events, it.Seq)
			if it.By != nil {
				f.Events = append(f.Events, it.By.Seq)
			}
		}
	}
	j.findings = append(j.findings, f)
	return &j.findings[len(j.findings)-1]
}
