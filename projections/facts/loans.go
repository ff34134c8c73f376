package facts

import "listbound/events"

// maxTurns is how many turns a set that a supplier lends is followed back to its arrival: it stays for a few cases.
const maxTurns = 12

// LentAt returns the arrival by which a set was lent at a moment (nil: as far as is known in the turn), nil where it was not, or
// has been handed back.
func (b *Book) LentAt(c *Trip, by *Item) *Item {
	for range maxTurns {
		for i := len(c.Steps) - 1; i >= 0; i-- {
			it := c.Steps[i]
			d := ReturnOf(it)
			if d == nil || by != nil && !it.Less(by) {
				continue
			}
			switch d.Step {
			case events.ReturnArrived:
				return it
			case events.ReturnHanded:
				return nil
			}
		}
		if c.Key.Trip == "" {
			return nil
		}
		before := c.Key
		before.Trip = c.Prev // "" where it is the first: what was seen before any packing
		c = b.Trip(before)
	}
	return nil
}

// ListOf returns the inventory that a set was counted by when it arrived or was handed back, nil where it isn't known.
func (b *Book) ListOf(it *Item) *events.ListIssued {
	d := ReturnOf(it)
	if d == nil || d.List == "" {
		return nil
	}
	b.asked(DimVersion, versionKey(d.List, d.Version))
	for _, x := range b.issued(d.List) {
		if l := x.Data.(*events.ListIssued); l.Version == d.Version {
			return l
		}
	}
	return nil
}
