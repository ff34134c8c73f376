package facts

import (
	"listbound/events"
	"listbound/projections"
	"slices"
	"sort"
	"time"
)

// TripAt is TripBy, and returns the Source's error as well. A packing that was taken back does not count.
func (b *Book) TripAt(set string, at time.Time) (string, error) {
	trip := b.TripBy(set, at)
	return trip, b.Failed()
}

// TripsOf returns the trips of a set that something held belongs to. With a
// Source they are found from the trips already known of, however many of these
// the Source knows: asked as known at an earlier moment, a trip that is known
// now may not exist, and what belongs to it now have belonged to no trip.
func (b *Book) TripsOf(set string, known []projections.TripKey) []projections.TripKey {
	seen := make(map[projections.TripKey]struct{})
	if b.src != nil {
		b.around(set, time.Time{}) // what was seen before any packing, or without one
		for _, k := range known {
			if c := b.Trip(k); len(c.All) > 0 {
				seen[k] = struct{}{}
			}
		}
	}
	if s := b.sets[set]; s != nil {
		for _, p := range slices.Clone(s.packs.items) {
			seen[projections.TripKey{Set: set, Trip: p.Event.Trip}] = struct{}{}
		}
		for _, it := range slices.Clone(s.loose.items) {
			b.around(set, it.At())
			seen[projections.TripKey{Set: set, Trip: b.packedBefore(set, it.At())}] = struct{}{}
		}
	}
	if b.src == nil {
		for id, t := range b.trips {
			for _, it := range t.items {
				if it.Event.Subject == set {
					seen[projections.TripKey{Set: set, Trip: id}] = struct{}{}
				}
			}
		}
	}
	return SortedKeys(seen)
}

// Readers returns the trips in whose facts a trip's sheet code stands.
func (b *Book) Readers(k projections.TripKey) []projections.TripKey {
	items := b.SheetFacts(k)
	if len(items) == 0 {
		return nil
	}
	seen := make(map[projections.TripKey]struct{})
	for _, it := range items {
		if x := b.TripOfItem(it); x != k {
			seen[x] = struct{}{}
		}
	}
	return SortedKeys(seen)
}

// SheetFacts returns the facts in which a trip's sheet code stands, or once stood.
func (b *Book) SheetFacts(k projections.TripKey) []*Item {
	if k.Trip == "" {
		return nil
	}
	b.need(DimSheet, k.Trip)
	b.asked(DimSheet, k.Trip)
	t := b.trips[k.Trip]
	if t == nil {
		return nil
	}
	return slices.Clone(t.sheet)
}

// Resolve returns the trip of a fact: its own, or for a fact without one the
// set's trip packed last at or before its time, else the set's facts before
// any packing. A correction without a trip is where the corrected event is.
// The zero TripKey is returned for what belongs to no trip.
func (b *Book) Resolve(f Fact) projections.TripKey {
	if f.Event == nil || f.Event.Data == nil {
		return projections.TripKey{}
	}
	return b.TripOf(f.Event)
}

// TripOf is Resolve for an event.
func (b *Book) TripOf(e *events.Event) projections.TripKey { return b.tripOf(e, nil, 0) }

// TripOfItem is TripOf for the event of an item.
func (b *Book) TripOfItem(it *Item) projections.TripKey { return b.tripOf(it.Event, it, 0) }

// tripOf is TripOf. it is the event's item, nil where it has to be looked up; depth
// counts the corrections of corrections that were followed to the event.
func (b *Book) tripOf(e *events.Event, it *Item, depth int) projections.TripKey {
	k := e.Kind()
	switch {
	case k == events.KindSetCounted && e.Trip != "":
		if it == nil {
			it = b.itemOf(e)
		}
		return projections.TripKey{Set: e.Subject, Trip: b.countedIn(it, e.Trip)}
	case e.Trip != "" && k.HoldsTrip():
		return projections.TripKey{Set: e.Subject, Trip: e.Trip}
	case k.AboutSet():
		b.around(e.Subject, e.Time)
		return projections.TripKey{Set: e.Subject, Trip: b.packedBefore(e.Subject, e.Time)}
	}
	if c, ok := e.Data.(*events.EventCorrected); ok && depth <= maxFixDepth {
		b.need(DimEvent, c.Event)
		if t := b.ids.get(c.Event); t != nil {
			return b.tripOf(t.Event, t, depth+1)
		}
		if b.gone != nil { // it may be among those
			b.noteLack()
		}
	}
	return projections.TripKey{}
}

// itemOf returns the item of an event, nil where it is not held.
func (b *Book) itemOf(e *events.Event) *Item {
	if it := b.ids.get(e.ID); it == nil || it.Event == e {
		return it
	}
	for _, it := range b.twins[e.ID] {
		if it.Event == e {
			return it
		}
	}
	return nil
}

// countedIn returns the trip of a count that names one. The stations' pages name
// the trip that the set is opened in for the case as far as is known, and a
// packing handed in later can take the opening to another. So the count goes
// with the opening for its case, where by its own time, too, the set had been
// packed anew since, and it was not made by the sheet of the trip it names.
func (b *Book) countedIn(it *Item, named string) string {
	if it == nil || it.Code != nil && it.Code.Trip == named {
		return named
	}
	set := it.Event.Subject
	b.around(set, it.At())
	now := b.packedBefore(set, it.At())
	if now == named || now == "" || !b.packedIn(set, named) {
		return named
	}
	ref := events.CaseOf(it.Data)
	opened := false
	for _, o := range slices.Clone(b.askedCase(ref)) {
		if o.Void || o.Kind != events.KindSetOpened || o.Event.Subject != set || events.CaseOf(o.Data) != ref {
			continue
		}
		switch b.TripOfItem(o).Trip {
		case named:
			return named
		case now:
			opened = true
		}
	}
	if opened {
		return now
	}
	return named
}

// packedIn reports whether a set is recorded as packed in a trip.
func (b *Book) packedIn(set, trip string) bool {
	b.need(DimTrip, trip)
	b.asked(DimTrip, trip)
	t := b.trips[trip]
	return t != nil && slices.ContainsFunc(t.items, func(p *Item) bool {
		return !p.Void && p.Kind == events.KindSetPacked && p.Event.Subject == set
	})
}

// askedCase returns the facts that name a case, or once did.
func (b *Book) askedCase(ref string) []*Item {
	b.need(DimCase, ref)
	b.asked(DimCase, ref)
	return b.cases[ref]
}

// packedBefore returns the trip that a set was packed for last at or before a moment.
func (b *Book) packedBefore(set string, at time.Time) string {
	p := b.lastPacking(set, at)
	if p == nil {
		b.AskedBetween(DimSet, set, Ever, Nanos(at))
		return ""
	}
	b.AskedBetween(DimSet, set, Nanos(p.At()), Nanos(at))
	return p.Event.Trip
}

// PackedBy reports whether any packing of a set at or before a moment is in force.
func (b *Book) PackedBy(set string, at time.Time) bool { return b.TripBy(set, at) != "" }

// TripBy returns the trip that a set was packed for last at or before a moment, ""
// where there is none.
func (b *Book) TripBy(set string, at time.Time) string {
	b.around(set, at)
	return b.packedBefore(set, at)
}

// lastPacking returns the set.packed in force last at or before a moment, nil
// without one.
func (b *Book) lastPacking(set string, at time.Time) *Item {
	s := b.sets[set]
	if s == nil {
		return nil
	}
	packs := s.packs.sorted()
	after := sort.Search(len(packs), func(i int) bool { return packs[i].At().After(at) })
	for _, p := range slices.Backward(packs[:after]) {
		if !p.Void {
			return p
		}
	}
	return nil
}

// Trips returns the trips of all facts held, by set and trip.
func (b *Book) Trips() []projections.TripKey {
	seen := make(map[projections.TripKey]struct{}, len(b.trips))
	for id, t := range b.trips {
		for i, it := range t.items {
			if set := it.Event.Subject; i == 0 || set != t.items[i-1].Event.Subject { // mostly all are of one set
				seen[projections.TripKey{Set: set, Trip: id}] = struct{}{}
			}
		}
	}
	for set, s := range b.sets {
		for _, it := range s.loose.items {
			seen[projections.TripKey{Set: set, Trip: b.packedBefore(set, it.At())}] = struct{}{}
		}
	}
	return SortedKeys(seen)
}

// SortedKeys returns the keys of a set of trips, in order.
func SortedKeys(m map[projections.TripKey]struct{}) []projections.TripKey {
	out := make([]projections.TripKey, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.SortFunc(out, projections.CompareKeys)
	return out
}

// Case returns the trips that were opened or counted for a case.
func (b *Book) Case(ref string) ([]projections.TripKey, error) {
	out := b.CaseTrips(ref)
	return out, b.Failed()
}

// CaseTrips returns the trips that were opened or counted for a case.
func (b *Book) CaseTrips(ref string) []projections.TripKey {
	var out []projections.TripKey
	for _, it := range slices.Clone(b.askedCase(ref)) {
		if !it.Void && it.Kind != events.KindCaseClosed && events.CaseOf(it.Data) == ref {
			if k := b.TripOfItem(it); !slices.Contains(out, k) {
				out = append(out, k)
			}
		}
	}
	slices.SortFunc(out, projections.CompareKeys)
	return out
}

// PackedAfter returns the first packing of a set after one of its packings, nil without
// one; it may be of the same trip. Whoever asks has asked for the trip of that packing, or
// for the one that it ended, so that what lies around it is there. Of a fact that is no packing
// it is the first packing after it: the trip which that names may be of another time.
func (b *Book) PackedAfter(pack *Item) *Item {
	set, to := pack.Event.Subject, int64(After)
	if pack.Kind != events.KindSetPacked {
		b.around(set, pack.At())
	}
	var next *Item
	if s := b.sets[set]; s != nil {
		packs := s.packs.sorted()
		at := sort.Search(len(packs), func(i int) bool { return pack.Less(packs[i]) })
		for _, p := range packs[at:] {
			if !p.Void {
				next, to = p, Nanos(p.At())
				break
			}
		}
	}
	b.AskedBetween(DimPackings, set, Nanos(pack.At()), to)
	return next
}

// CorrectedPackings returns the packings of a set, void ones too, of which a correction in
// force speaks and that were recorded after a trip's last packing and not after a moment:
// those that can have been the next packing of the set.
func (b *Book) CorrectedPackings(c *Trip) []*Item {
	last, s := c.LastPack(), b.sets[c.Key.Set]
	if last == nil || s == nil {
		return nil
	}
	var out []*Item
	for _, p := range s.packs.sorted() {
		if p.By != nil && last.Less(p) && p.Event.Trip != c.Key.Trip && (c.Next == nil || !c.Next.Less(p)) {
			out = append(out, p)
		}
	}
	return out
}

// ListAt returns the list version that a packing was made by, nil where it is not known.
func (b *Book) ListAt(pack *Item) *events.ListIssued {
	l, _ := b.listOf(&Trip{Packed: []*Item{pack}})
	return l
}
