package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"strings"
	"time"
)

var results = map[facts.Class]projections.Result{
	facts.ReadNothing: projections.ResultNone, facts.ReadUnreadable: projections.ResultUnreadable,
	facts.ReadGood: projections.ResultRight, facts.ReadAbsent: projections.ResultAbsent,
	facts.ReadStale: projections.ResultEarlier, facts.ReadSwapped: projections.ResultOther,
	facts.ReadAltered: projections.ResultAltered, facts.ReadUnknown: projections.ResultUnknown,
}

// Trace lays a trip's chain open. Its links are those of the policy in force at
// the trip's last observation.
func (w *World) Trace(k projections.TripKey) (projections.Trace, error) {
	c := w.Trip(k)
	t := projections.Trace{Key: k, Case: c.CaseRef, Over: c.Over(), Links: []projections.TraceLink{},
		Readings: []projections.SheetReading{}, Stays: []projections.Stay{}}
	if len(c.Steps) == 0 {
		return t, w.Failed()
	}
	last := c.Steps[len(c.Steps)-1]
	t.Station = last.Event.Station
	if p := facts.PackOf(c.LastPack()); p != nil {
		t.List, t.Version = p.List, p.Version
	}
	if c.List != nil {
		t.Title = c.List.Title
	}
	if n := len(c.Sealed); n > 0 {
		s := facts.SealOf(c.Sealed[n-1])
		t.Placement, t.Seals, t.BagLot = s.Placement, s.Seals, s.BagLot
	}
	if good, run := c.Releasing(w.Book, w.firstOpened(c)); good != nil {
		t.Load = facts.RunOf(good).Load
	} else if run != nil {
		t.Load = facts.RunOf(run).Load
	}
	t.Links = w.traceLinks(c, last)
	for i := range c.Readings {
		r := &c.Readings[i]
		x := projections.SheetReading{Seq: r.It.Seq, At: r.It.At(), Place: facts.PlaceOf(r.It).String(),
			By: r.It.Event.Operator, Result: results[r.Class], Found: r.Found, Opening: r.Opening}
		if r.Owner != (projections.TripKey{}) {
			x.Owner = &projections.TripKey{Set: r.Owner.Set, Trip: r.Owner.Trip}
		}
		if !r.Own() {
			x.Tray = r.Tray()
		}
		if r.Proved() {
			t.TagRead = r.It.At()
		}
		t.Readings = append(t.Readings, x)
	}
	for _, it := range c.Whereabouts() {
		place, at := facts.PlaceOf(it), it.SeenBy()
		if n := len(t.Stays); n > 0 && strings.EqualFold(t.Stays[n-1].Place, place.String()) {
			t.Stays[n-1].To = at
			t.Stays[n-1].Seen = append(t.Stays[n-1].Seen, at)
			continue
		}
		if n := len(t.Stays); n > 0 {
			t.Stays[n-1].To = at
		}
		t.Stays = append(t.Stays, projections.Stay{
			Place: place.String(), By: it.Event.Operator, From: at, To: at, Seen: []time.Time{at},
		})
	}
	return t, w.Failed()
}

func (w *World) traceLinks(c *facts.Trip, last *facts.Item) []projections.TraceLink {
	var out []projections.TraceLink
	latest := 0
	for _, l := range w.PolicyFor(last).Links {
		if c.Goods() && l != events.KindSetCounted && l != events.KindCaseClosed {
			continue // nobody packs, sterilizes or opens goods as a set
		}
		it := c.First(l)
		if l == events.KindSetOpened {
			it = w.firstOpened(c)
		}
		x := projections.TraceLink{Kind: l, State: projections.LinkDue}
		if it != nil {
			latest = len(out)
			x = projections.TraceLink{Kind: l, State: projections.LinkThere, Seq: it.Seq, At: it.At(),
				Place: facts.PlaceOf(it).String(), By: it.Event.Operator}
		}
		out = append(out, x)
	}
	for i := range out {
		if out[i].State == projections.LinkDue && (i < latest || c.Next != nil && len(c.Opened) > 0) {
			out[i].State = projections.LinkAbsent
		}
	}
	return out
}

// Exchange returns the ring or the open path through a trip; without Carries
// where no sheet of it is known to be elsewhere now.
func (w *World) Exchange(k projections.TripKey) (projections.Exchange, error) {
	var x projections.Exchange
	if ring, shown := w.ring(k); ring != nil {
		x.Closed = true
		for i, at := range ring {
			x.Carries = append(x.Carries, carryOf(at, ring[(i+1)%len(ring)], shown[i]))
		}
		return x, w.Failed()
	}
	at := w.pathStart(k)
	seen := []projections.TripKey{at}
	for {
		o, r := w.holds(at)
		if r == nil || slices.Contains(seen, o) {
			break
		}
		x.Carries = append(x.Carries, carryOf(at, o, r.It))
		seen = append(seen, o)
		at = o
	}
	if len(x.Carries) > 0 {
		x.First, x.Last = seen[0], at
	}
	return x, w.Failed()
}

func carryOf(set, sheet projections.TripKey, it *facts.Item) projections.Carry {
	return projections.Carry{Set: set, Sheet: sheet, Seq: it.Seq, At: it.At(), Place: facts.PlaceOf(it).String()}
}

// SetTrips returns the trips of a set, first packed first, and of what was
// observed before any packing.
func (w *World) SetTrips(set string) ([]projections.TripKey, error) {
	out := w.TripsOf(set, nil)
	return out, w.Failed()
}
