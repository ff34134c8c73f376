package judge

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// window returns when the sheet of y can have come to x, where it was found: it
// was not there when either was last known to have its own, or x another one or
// none, and no later than y was found without it, unless readings join a third set
// to the two: then it can have left y early and come to x late, by way of that one.
// y found with the sheet of a third set says nothing, for that may have been
// exchanged earlier or later.
//
// A scan is a sighting and not a stay. A place narrows the time only where a set
// was seen there twice and nowhere in between: while the other one was seen at
// another place in the same way, the two can't have been together.
func (w *World) window(x, y *facts.Trip, bad *facts.Reading) projections.Window {
	from, to := facts.Latest(x.RightBefore(bad), foundOtherwise(x, y, bad)), bad.It.At()
	out := projections.Window{ClockSeconds: w.PolicyFor(bad.It).ClockToleranceSeconds}
	yFrom, yTo := y.RightBefore(bad), to
	direct := len(w.chain(x.Key, y.Key)) == 2
	if direct {
		yTo = withoutOwn(y, x, bad)
	}
	if at := w.elsewhere(y, x, bad); !at.IsZero() {
		yFrom, yTo = facts.Latest(yFrom, at), to
	}
	if !yFrom.After(to) && !from.After(yTo) { // else the sheet was moved more than once: only the set's own times are sure
		from, to = facts.Latest(from, yFrom), facts.Earliest(to, yTo)
	}
	a, b := sightsOf(x), sightsOf(y)
	if from.IsZero() && len(a) > 0 { // neither was packed here
		from = facts.Earliest(a[0].at, to)
	}
	if direct && w.exchanged(x, y) {
		from, to = notApart(stays(a), stays(b), from, to)
	}
	out.From, out.To = from, to
	out.Places = allAlong(stays(a), stays(b), from, to)
	out.Seen = seenBoth(x, y, a, b, to, facts.Seconds(out.ClockSeconds))
	if len(out.Places) == 0 {
		out.IfScanned = w.ifScanned(x, y, from, to)
	}
	return out
}

// exchanged reports whether two sets were found with each other's sheet: then
// they are taken to have met. The sheet of one that was found with a third set's
// can have come by way of that one, while the two were never together.
func (w *World) exchanged(x, y *facts.Trip) bool {
	return slices.ContainsFunc(y.Readings, func(r facts.Reading) bool {
		return r.Own() && r.Class == facts.ReadSwapped && r.Owner == x.Key
	})
}

// foundOtherwise returns when x was last found without the sheet of y before a
// reading that shows it: with a third set's, or with none; zero where it wasn't.
func foundOtherwise(x, y *facts.Trip, bad *facts.Reading) time.Time {
	var at time.Time
	for i := range x.Readings {
		r := &x.Readings[i]
		other := r.Class == facts.ReadSwapped && r.Owner != y.Key || r.Class == facts.ReadAbsent && x.Faulted(r)
		if other && r.Own() && r.It.Less(bad.It) {
			at = facts.Latest(at, r.It.At())
		}
	}
	return at
}

// withoutOwn returns when y was first found without its sheet since it last had
// it: with that of x, or with none.
func withoutOwn(y, x *facts.Trip, bad *facts.Reading) time.Time {
	from, to := y.RightBefore(bad), bad.It.At()
	for i := range y.Readings {
		r := &y.Readings[i]
		without := r.Class == facts.ReadSwapped && r.Owner == x.Key || r.Class == facts.ReadAbsent && y.Faulted(r)
		if without && r.Own() && r.It.At().After(from) && r.It.At().Before(to) {
			return r.It.At()
		}
	}
	return to
}

// elsewhere returns when the sheet of y was last read with a third set before it
// was found with x, to which it can only have come later; zero where it wasn't.
func (w *World) elsewhere(y, x *facts.Trip, bad *facts.Reading) time.Time {
	var at time.Time
	for _, k := range w.Readers(y.Key) {
		z := w.Trip(k)
		for i := range z.Readings {
			r := &z.Readings[i]
			if k != x.Key && r.Class == facts.ReadSwapped && r.Owner == y.Key && r.It.Less(bad.It) && !r.Mislabelled() {
				at = facts.Latest(at, r.It.At())
			}
		}
	}
	return at
}

// sight is one sighting of a set.
type sight struct {
	at    time.Time
	place projections.Place
}

func sightsOf(c *facts.Trip) []sight {
	out := make([]sight, 0, len(c.Steps))
	for _, it := range c.Steps {
		if it.Kind == events.KindSetReturned {
			continue // it was used: what becomes of its sheet happened before
		}
		out = append(out, sight{it.At(), facts.PlaceOf(it)})
	}
	return out
}

// stay is a time in which a set is taken to have been at one place.
type stay struct {
	place    projections.Place
	from, to time.Time
}

// stays are the times between the first and the last of several sightings at one
// place, with none elsewhere in between.
func stays(s []sight) []stay {
	var out []stay
	for i := 0; i < len(s); {
		last := i
		for last+1 < len(s) && s[last+1].place.Same(s[i].place) {
			last++
		}
		if last > i {
			out = append(out, stay{s[i].place, s[i].at, s[last].at})
		}
		i = last + 1
	}
	return out
}

// notApart takes from both ends of a window the time in which two sets stayed at
// different places.
func notApart(a, b []stay, from, to time.Time) (time.Time, time.Time) {
	for narrowed := true; narrowed && to.After(from); {
		narrowed = false
		for _, x := range a {
			for _, y := range b {
				if x.place.Same(y.place) {
					continue
				}
				s, e := facts.Latest(x.from, y.from), facts.Earliest(x.to, y.to)
				switch {
				case !e.After(s) || !s.Before(to) || !e.After(from):
				case !s.After(from) && e.Before(to):
					from, narrowed = e, true
				case !e.Before(to) && s.After(from):
					to, narrowed = s, true
				}
			}
		}
	}
	return from, to
}

// ifScanned narrows a window to the time in which x was at one place with a set that
// the sheet of y can have come from, were a set always where it was last seen; nil
// where it never was. Where the two were not found with each other's sheet, that is
// any set of the chain.
func (w *World) ifScanned(x, y *facts.Trip, from, to time.Time) *projections.IfScanned {
	others := []projections.TripKey{y.Key}
	if !w.exchanged(x, y) {
		others = w.chain(x.Key, y.Key)[1:]
	}
	out, a := new(projections.IfScanned), untilSeen(sightsOf(x), to)
	for _, k := range others {
		together(out, a, untilSeen(sightsOf(w.Trip(k)), to), from, to)
		if len(others) > 1 {
			out.Sets = append(out.Sets, k.Set)
		}
	}
	if len(out.Places) == 0 {
		return nil
	}
	slices.SortFunc(out.Places, func(a, b projections.Place) int { return strings.Compare(a.String(), b.String()) })
	slices.Sort(out.Sets)
	return out
}

// chain returns two sets and all that readings of exchanged sheets join to them, in
// the order in which they are reached.
func (w *World) chain(x, y projections.TripKey) []projections.TripKey {
	out := []projections.TripKey{x, y}
	join := func(k projections.TripKey) {
		if !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	for i := 0; i < len(out); i++ {
		k := out[i]
		for _, r := range w.Trip(k).Readings {
			if r.Own() && r.Class == facts.ReadSwapped {
				join(r.Owner)
			}
		}
		for _, z := range w.Readers(k) {
			if slices.ContainsFunc(w.Trip(z).Readings, func(r facts.Reading) bool {
				return r.Own() && r.Class == facts.ReadSwapped && r.Owner == k
			}) {
				join(z)
			}
		}
	}
	return out
}

// together adds to what is known the times within a window at which two sets were at
// one place, and those places.
func together(out *projections.IfScanned, a, b []stay, from, to time.Time) {
	for _, x := range a {
		for _, y := range b {
			if !x.place.Same(y.place) {
				continue
			}
			s, e := facts.Latest(from, x.from, y.from), facts.Earliest(to, x.to, y.to)
			if e.Before(s) || e.Equal(s) && !from.Equal(to) { // leaving as the other comes is not being together
				continue
			}
			if len(out.Places) == 0 {
				out.From, out.To = s, e
			}
			out.From, out.To = facts.Earliest(out.From, s), facts.Latest(out.To, e)
			if !slices.ContainsFunc(out.Places, x.place.Same) {
				out.Places = append(out.Places, x.place)
			}
		}
	}
}

// untilSeen lets a set stay where it was seen until it is seen next.
func untilSeen(s []sight, end time.Time) []stay {
	var out []stay
	for _, x := range s {
		if n := len(out); n > 0 {
			out[n-1].to = x.at
		}
		out = append(out, stay{x.place, x.at, facts.Latest(end, x.at)})
	}
	return out
}

// allAlong returns the place at which two sets stayed during all of a window.
func allAlong(a, b []stay, from, to time.Time) []projections.Place {
	covers := func(s stay) bool { return !s.from.After(from) && !s.to.Before(to) }
	for _, x := range a {
		if !covers(x) {
			continue
		}
		if slices.ContainsFunc(b, func(y stay) bool { return covers(y) && x.place.Same(y.place) }) {
			return []projections.Place{x.place}
		}
	}
	return nil
}

// seenBoth returns where two sets were last both seen by a moment: the one that
// was seen there first nowhere else until the other was.
func seenBoth(x, y *facts.Trip, a, b []sight, by time.Time, clock time.Duration) *projections.SeenBoth {
	var last *projections.SeenBoth
	for _, s := range a {
		for _, t := range b {
			if !s.place.Same(t.place) || s.at.After(by) || t.at.After(by) {
				continue
			}
			first, from, to := a, s.at, t.at
			if to.Before(from) {
				first, from, to = b, to, from
			}
			if seenElsewhere(first, s.place, from, to) {
				continue
			}
			if last != nil && (to.Before(last.Last()) || to.Equal(last.Last()) && from.Before(last.First())) {
				continue
			}
			last = &projections.SeenBoth{
				Place: s.place, Set: x.Key.Set, At: s.at, Other: y.Key.Set, OtherAt: t.at,
				Together: to.Sub(from) <= clock || stayed(first, s.place, to),
			}
		}
	}
	return last
}

// seenElsewhere reports whether a set was seen at another place in a time.
func seenElsewhere(s []sight, place projections.Place, from, to time.Time) bool {
	return slices.ContainsFunc(s, func(x sight) bool {
		return !x.place.Same(place) && !x.at.Before(from) && !x.at.After(to)
	})
}

// stayed reports whether a set was at a place at a moment: seen there before and after.
func stayed(s []sight, place projections.Place, at time.Time) bool {
	return slices.ContainsFunc(stays(s), func(x stay) bool {
		return x.place.Same(place) && !x.from.After(at) && !x.to.Before(at)
	})
}
