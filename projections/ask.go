package projections

import (
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
