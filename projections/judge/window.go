package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"strings"
	"time"
)

// sight is one sighting of a set.
type sight struct {
	at    time.Time
	place projections.Place
}

func sightsOf(c *facts.Trip) []sight {
	out := make([]sight, 0, len(c.Steps))
	for _, it := range c.Steps {
		out = append(out, sight{it.At(), facts.PlaceOf(it)})
	}
	return out
}

// window returns when and where the sheets of two sets can have changed
// places, when one of them was found with the other's: since the last moment
// at which each was known to have its own, and no later than either was found
// without it; then only while both were at one place. Without a place they
// shared, the time stands alone.
func (w *World) window(x, y *facts.Trip, bad *facts.Item) projections.Window {
	from, to := x.KnownRight(bad), bad.At()
	yFrom, yTo := y.KnownRight(bad), bad.At()
	for i := range y.Readings {
		r := &y.Readings[i]
		if r.Class.Conclusive() && r.Class != facts.ReadGood && r.Own() && r.It.At().After(yFrom) && r.It.At().Before(yTo) {
			yTo = r.It.At()
			break
		}
	}
	if yFrom.After(to) || from.After(yTo) { // the sheet was moved more than once: only the set's own times are sure
		return projections.Window{From: from, To: to}
	}
	if yFrom.After(from) {
		from = yFrom
	}
	if yTo.Before(to) {
		to = yTo
	}
	return together(sightsOf(x), sightsOf(y), from, to)
}

// together narrows a window to the time in which two sets were at one place. A
// set is at a place from a sighting there until it is next seen elsewhere.
func together(a, b []sight, from, to time.Time) projections.Window {
	var lo, hi time.Time
	var places []projections.Place
	for _, x := range stays(a, to) {
		for _, y := range stays(b, to) {
			if !x.place.Same(y.place) {
				continue
			}
			s, e := facts.Latest(from, x.from, y.from), facts.Earliest(to, x.to, y.to)
			if e.Before(s) || e.Equal(s) && !from.Equal(to) { // leaving as the other comes is not being together
				continue
			}
			if len(places) == 0 || s.Before(lo) {
				lo = s
			}
			if len(places) == 0 || e.After(hi) {
				hi = e
			}
			if !slices.ContainsFunc(places, x.place.Same) {
				places = append(places, x.place)
			}
		}
	}
	if len(places) == 0 {
		return projections.Window{From: from, To: to}
	}
	slices.SortFunc(places, func(a, b projections.Place) int { return strings.Compare(a.String(), b.String()) })
	return projections.Window{From: lo, To: hi, Places: places}
}

type stay struct {
	place    projections.Place
	from, to time.Time
}

func stays(s []sight, end time.Time) []stay {
	var out []stay
	for _, x := range s {
		if n := len(out); n > 0 {
			out[n-1].to = x.at
		}
		out = append(out, stay{x.place, x.at, facts.Latest(end, x.at)})
	}
	return out
}
