package facts

import (
	"slices"

	"listbound/events"
	"listbound/projections"
)

// Bearing tells which facts can bear on one trip's verdict, by what they say and by what was asked for the verdict. It needs
// no book and finds what Touched would, and a little more. It is shown all that was fetched for the trip, with corrections,
// and whatever comes later as well.
type Bearing struct {
	key     projections.TripKey
	seen    map[int64]bool
	ids     map[string]*events.Event
	fixes   map[string][]*events.Event // event.corrected, by the event corrected
	loads   map[string]bool            // in which the trip's set was
	locks   map[string]bool            // numbers that its closings have
	inside  map[string]bool            // sterilizers in which it was
	unclean map[string]bool            // sterilizers of which an indicator was read positive
	starts  map[string][]*events.SetSterilized
}

// NewBearing returns what bears on a trip of which nothing was fetched.
func NewBearing(k projections.TripKey) *Bearing {
	return &Bearing{key: k, seen: make(map[int64]bool), ids: make(map[string]*events.Event),
		fixes: make(map[string][]*events.Event), loads: make(map[string]bool), locks: make(map[string]bool),
		inside: make(map[string]bool), unclean: make(map[string]bool), starts: make(map[string][]*events.SetSterilized)}
}

// Saw takes in facts and returns those that it had not seen.
func (b *Bearing) Saw(fs []Fact) (fresh []Fact) {
	for i := range fs {
		f := &fs[i]
		if b.seen[f.Seq] {
			continue
		}
		b.seen[f.Seq] = true
		fresh = append(fresh, *f)
		if f.Event == nil {
			continue
		}
		b.ids[f.Event.ID] = f.Event
		if c, ok := f.Event.Data.(*events.EventCorrected); ok {
			b.fixes[c.Event] = append(b.fixes[c.Event], f.Event)
		}
	}
	for i := range fresh {
		if e := b.corrected(fresh[i].Event); e != nil {
			for _, d := range b.said(e, 0) {
				b.learn(e, d)
			}
		}
	}
	return fresh
}

// corrected returns the event that a correction is about in the end, any other as it is.
func (b *Bearing) corrected(e *events.Event) *events.Event {
	for range maxFixDepth + 1 {
		if e == nil {
			break
		}
		c, ok := e.Data.(*events.EventCorrected)
		if !ok {
			return e
		}
		e = b.ids[c.Event]
	}
	return nil
}

// said returns an event's data and all that a correction ever put in its place.
func (b *Bearing) said(e *events.Event, depth int) []events.Data {
	out := []events.Data{e.Data}
	if depth > maxFixDepth {
		return out
	}
	for _, c := range b.fixes[e.ID] {
		for _, d := range b.said(c, depth+1) {
			fix, ok := d.(*events.EventCorrected)
			if !ok || fix.Action != "replace" {
				continue
			}
			if is, err := events.ParseObservedData(e.Kind(), fix.Data); err == nil {
				out = append(out, is)
			}
		}
	}
	return out
}

func (b *Bearing) learn(e *events.Event, d events.Data) {
	own := e.Subject == b.key.Set
	switch d := d.(type) {
	case *events.ListSealed:
		for _, lock := range d.Seals {
			b.locks[lock] = b.locks[lock] || own
		}
	case *events.SetSterilized:
		b.loads[d.Load] = b.loads[d.Load] || own
		b.inside[d.Sterilizer] = b.inside[d.Sterilizer] || own
		if all := b.starts[d.Sterilizer]; !slices.ContainsFunc(all, func(o *events.SetSterilized) bool {
			return o.Load == d.Load && o.Run == d.Run && o.Started == d.Started
		}) {
			b.starts[d.Sterilizer] = append(all, d)
		}
	case *events.IndicatorRead:
		b.unclean[d.Sterilizer] = b.unclean[d.Sterilizer] || d.Result == "positive"
	}
}

// On reports whether a fact can change the trip's verdict, for which some questions were asked, as it comes.
func (b *Bearing) On(f *Fact, asks []Ask) bool {
	e := f.Event
	if e == nil || e.Data == nil {
		return true
	}
	if e.Kind() == events.KindEventCorrected || len(f.Was) > 0 || e.Trip == b.key.Trip ||
		e.Subject == b.key.Set && (e.Trip == "" || b.key.Trip == "") {
		return true
	}
	at := Nanos(e.Time)
	for _, d := range b.said(e, 0) {
		for _, k := range Keys(e, d) {
			if asksFor(asks, k, at) {
				return true
			}
		}
		if b.reaches(d, asks) {
			return true
		}
	}
	return false
}

// reaches reports whether what a fact of another trip says reaches the trip by a lock or a load.
func (b *Bearing) reaches(d events.Data, asks []Ask) bool {
	switch d := d.(type) {
	case *events.ListSealed:
		return slices.ContainsFunc(d.Seals, func(lock string) bool { return b.locks[lock] })
	case *events.SetSterilized:
		return b.recalled(d.Sterilizer, asks) || slices.ContainsFunc(b.starts[d.Sterilizer], func(o *events.SetSterilized) bool {
			if o.Load == d.Load {
				return b.loads[d.Load] && saysOther(o, d)
			}
			return (b.loads[d.Load] || b.loads[o.Load]) && o.StartedAt().Sub(d.StartedAt()).Abs() < shortestRun
		})
	case *events.IndicatorRead:
		return b.recalled(d.Sterilizer, asks)
	}
	return false
}

// recalled reports whether a result of a sterilizer can reach the trip.
func (b *Bearing) recalled(sterilizer string, asks []Ask) bool {
	return b.unclean[sterilizer] && (b.inside[sterilizer] || slices.ContainsFunc(asks, func(a Ask) bool {
		return a.Dim == DimSterilizer && a.Key == sterilizer
	}))
}

// asksFor reports whether one of some questions asks for what was observed at a moment and is filed there.
func asksFor(asks []Ask, k DimKey, at int64) bool {
	for i := range asks { // a few dozen
		if a := &asks[i]; a.From <= at && at <= a.To && a.Dim == k.Dim && a.Key == k.Key {
			return true
		}
	}
	return false
}
