package projections

import (
	"slices"
	"time"

	"listbound/events"
)

// Packed returns how a trip was packed last, corrections applied; nil where no
// packing is recorded.
func (w *World) Packed(k TripKey) (*events.SetPacked, error) {
	c := w.chain(k)
	if err := w.failed(); err != nil {
		return nil, err
	}
	if it := c.lastPack(); it != nil {
		return packOf(it), nil
	}
	return nil, nil
}

// TripAt returns the trip that a set was packed for last at or before a moment,
// "" where there is none. A packing that was taken back does not count.
func (w *World) TripAt(set string, at time.Time) (string, error) {
	w.around(set, at)
	trip := w.packedBefore(set, at)
	return trip, w.failed()
}

// Issue is a version of a list, as corrected, and how it was issued.
type Issue struct {
	Fact
	List *events.ListIssued
}

// Issued returns the versions of a list that are in force, in the order in
// which they were issued; of one that was issued more than once, the first.
func (w *World) Issued(list string) ([]Issue, error) {
	var out []Issue
	for _, it := range w.issued(list) {
		d := it.data.(*events.ListIssued)
		if !slices.ContainsFunc(out, func(x Issue) bool { return x.List.Version == d.Version }) {
			out = append(out, Issue{it.Fact, d})
		}
	}
	return out, w.failed()
}

// PolicyAt returns the policy in force at a site at a moment, and the fact that
// adopted it; nil for the default.
func (w *World) PolicyAt(site string, at time.Time) (events.Policy, *Fact, error) {
	p, it := w.policyFact(site, at)
	if err := w.failed(); err != nil {
		return events.Policy{}, nil, err
	}
	if it == nil {
		return *p, nil, nil
	}
	return *p, &it.Fact, nil
}
