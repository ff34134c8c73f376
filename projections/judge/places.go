package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"strings"
)

func placeRules() []Rule {
	return []Rule{
		{"places", []projections.Code{projections.TwoPlaces}, (*judgement).places},
		{"opened during a run", []projections.Code{projections.TwoPlaces}, (*judgement).duringRun},
	}
}

// places finds a set in two places at once.
//
// Packing an unopened set again is ordinary (a torn wrap, a date run out), so
// it is only noted, until something is observed of the older trip afterwards:
// then two trips of one set are open, and one of them is of another set.
func (j *judgement) places() {
	c, w := j.c, j.w
	if c.Next != nil {
		after := j.afterRepack(c)
		if len(after) > 0 {
			j.twoTrips(c, c.Next, after)
		} else if w.firstOpened(c) == nil {
			f := j.add(projections.TwoPlaces, projections.SeverityNoted, &projections.PackedAgain{Set: c.Key.Set, At: c.Next.At()}, c.Next)
			f.From, f.To = c.Steps[len(c.Steps)-1].At(), c.Next.At()
		}
	}
	if c.Prev != "" {
		p := w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Prev})
		if p.Next != nil && p.Next.Event.Trip == c.Key.Trip {
			if after := j.afterRepack(p); len(after) > 0 {
				j.twoTrips(p, p.Next, after)
			}
		}
	}
	for i := 1; i < len(c.Steps); i++ {
		a, b := c.Steps[i-1], c.Steps[i]
		limit := facts.Seconds(w.PolicyFor(b).MinimumTravelSeconds)
		if a.Event.Station == b.Event.Station || sameRoom(a, b) || b.At().Sub(a.At()) >= limit {
			continue
		}
		f := j.add(projections.TwoPlaces, projections.SeverityDoubtful, &projections.TooFarApart{Set: c.Key.Set,
			First: moment(a), Second: moment(b)}, a, b)
		f.From, f.To = a.At(), b.At()
		f.Places = []string{facts.PlaceOf(a).String(), facts.PlaceOf(b).String()}
	}
}

// duringRun finds a set that was opened while it is recorded to have been in a sterilizer: either another tray, such
// as its twin's, ran under its name, or another one was opened under it. How a run ended may be recorded late, so
// neither is certain. An opening by no good run is not released, which is said and weighs more.
func (j *judgement) duringRun() {
	for _, run := range j.c.Sterilized {
		began, ended := j.span(run)
		if !began.Before(ended) || sameRunBefore(j.c, run) {
			continue
		}
		for _, open := range j.w.openedTray(j.c) {
			if !began.Before(open.At()) || !open.At().Before(ended) {
				continue
			}
			limit := facts.Seconds(j.w.PolicyFor(open).ClockToleranceSeconds)
			good, _ := j.c.Releasing(j.w.Book, open)
			if good == nil || open.At().Sub(began) <= limit || ended.Sub(open.At()) <= limit {
				continue
			}
			d := &projections.OpenedDuringRun{Set: j.c.Key.Set, Run: *runDetail(run), Started: began,
				Opened: projections.Use{Case: events.CaseOf(open.Data), At: moment(open)}}
			d.Run.At = ended
			f := j.add(projections.TwoPlaces, projections.SeverityDoubtful, d, run, open)
			f.From, f.To = began, ended
		}
	}
}

// sameRunBefore reports whether an earlier record of the same run exists: findings of the run are reported with that one.
func sameRunBefore(c *facts.Trip, run *facts.Item) bool {
	i := slices.IndexFunc(c.Sterilized, func(it *facts.Item) bool { return sameRun(facts.RunOf(it), facts.RunOf(run)) })
	return c.Sterilized[i] != run
}

// sameRoom compares where two steps were observed; an opening names its room
// besides its station.
func sameRoom(a, b *facts.Item) bool {
	rooms := func(it *facts.Item) []projections.Place {
		if d, ok := it.Data.(*events.SetOpened); ok && d.Room != "" {
			return []projections.Place{facts.PlaceOf(it), {Name: strings.TrimSpace(d.Room)}}
		}
		return []projections.Place{facts.PlaceOf(it)}
	}
	for _, x := range rooms(a) {
		if slices.ContainsFunc(rooms(b), x.Same) {
			return true
		}
	}
	return false
}

// afterRepack returns what was observed of a trip after the set's next trip had
// begun, beyond what the clocks may differ. Of a run that is when it was started, where that is
// known: how it ended is often recorded when its sets have been taken out.
func (j *judgement) afterRepack(c *facts.Trip) []*facts.Item {
	limit := facts.Seconds(j.w.PolicyFor(c.Next).ClockToleranceSeconds)
	var out []*facts.Item
	for _, it := range c.Steps {
		at := it.At()
		if it.Kind == events.KindSetSterilized {
			at = facts.Began(it)
		}
		if at.Sub(c.Next.At()) > limit {
			out = append(out, it)
		}
	}
	return out
}

func (j *judgement) twoTrips(older *facts.Trip, pack *facts.Item, after []*facts.Item) {
	open := j.w.firstOpened(older)
	f := j.add(projections.TwoPlaces, projections.SeverityDoubtful, &projections.TwoTrips{
		Set: older.Key.Set, Packed: older.Next.At(), Unopened: open == nil || older.Next.Less(open),
		Step: after[0].Kind, At: moment(after[0]),
	}, append([]*facts.Item{pack}, after...)...)
	f.From, f.To = pack.At(), after[len(after)-1].At()
	f.Other = &projections.TripKey{Set: older.Key.Set, Trip: older.Key.Trip}
	if older.Key == j.c.Key {
		f.Other = &projections.TripKey{Set: pack.Event.Subject, Trip: pack.Event.Trip}
	}
}
