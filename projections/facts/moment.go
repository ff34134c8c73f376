package facts

import (
	"slices"
	"time"

	"listbound/projections"
)

// SetMoment says as of when is judged: it is an input of judgement as the facts
// are, so that the same facts and the same moment give the same verdict. While
// none is set nothing is late, however long it has been waited for.
func (b *Book) SetMoment(t time.Time) { b.now = t }

// Moment returns as of when is judged, zero where no moment is set.
func (b *Book) Moment() time.Time { return b.now }

// Passed reports whether a moment has passed. Where it has not, the question is
// noted: the judgement holds until then, unless a fact changes it.
func (b *Book) Passed(t time.Time) bool {
	if !b.now.IsZero() && !b.now.Before(t) {
		return true
	}
	b.AskedBetween(DimTime, "", Nanos(t), Nanos(t))
	return false
}

// Passing is what time touches when it goes on to a moment: every judgement that
// asked for one that has passed by then.
func Passing(until time.Time) Ask { return Ask{DimTime, "", Ever, Nanos(until)} }

// ResultOf returns the indicators in force that name a load.
func (b *Book) ResultOf(load string) []*Item {
	b.need(DimLoadReadings, load)
	b.asked(DimLoadReadings, load)
	var out []*Item
	for _, it := range b.readOf[load] {
		if d := indicatorOf(it); d != nil && !it.Void && d.Load == load {
			out = append(out, it)
		}
	}
	return out
}

// FirstOf returns the first, in the order of set and trip, of the trips that
// were in a load: findings of the load as a whole are reported with it.
func (b *Book) FirstOf(load string) projections.TripKey {
	b.need(DimLoad, load)
	b.asked(DimLoad, load)
	var trips []projections.TripKey
	for _, it := range slices.Clone(b.loads[load]) {
		if !it.Void && RunOf(it).Load == load {
			trips = append(trips, b.TripOfItem(it))
		}
	}
	if trips == nil {
		return projections.TripKey{}
	}
	return slices.MinFunc(trips, projections.CompareKeys)
}
