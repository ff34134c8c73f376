package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"time"
)

// Packed returns how a trip was packed last, corrections applied; nil where no
// packing is recorded.
func (w *World) Packed(k projections.TripKey) (*events.SetPacked, error) {
	c := w.Trip(k)
	if err := w.Failed(); err != nil {
		return nil, err
	}
	if it := c.LastPack(); it != nil {
		return facts.PackOf(it), nil
	}
	return nil, nil
}

// PolicyAt returns the policy in force at a site at a moment, and the fact that
// adopted it; nil for the default.
func (w *World) PolicyAt(site string, at time.Time) (events.Policy, *facts.Fact, error) {
	p, it := w.PolicyFact(site, at)
	if err := w.Failed(); err != nil {
		return events.Policy{}, nil, err
	}
	if it == nil {
		return *p, nil, nil
	}
	return *p, &it.Fact, nil
}

// HistoryEvent returns the event with an id as a history shows it; nil where none has it.
func (w *World) HistoryEvent(id string) (*projections.HistoryEvent, error) {
	it := w.FactByID(id)
	if it == nil || it.Event == nil {
		return nil, w.Failed()
	}
	h := w.historyEvent(it)
	return &h, w.Failed()
}
