package facts

import (
	"slices"

	"listbound/events"
)

// A lock is on one container, and its number on one lock. What is recorded of more sets, or again and again, is no such number: the
// lot of the locks, a key, or what somebody types instead.
const (
	lockSets    = 3
	lockRecords = 6
)

// LocksOf returns the closings with the number of a lock, in the order of their records; none where it is no number of one lock.
func (b *Book) LocksOf(lock string) []*Item {
	b.need(DimLock, lock)
	out := slices.Clone(b.locks[lock])
	out = slices.DeleteFunc(out, func(it *Item) bool { d := SealOf(it); return it.Void || d == nil || !slices.Contains(d.Seals, lock) })
	if len(out) > lockRecords {
		return nil
	}
	slices.SortFunc(out, func(x, y *Item) int { return int(x.Seq - y.Seq) })
	out = slices.CompactFunc(out, func(x, y *Item) bool { return x == y })
	var sets []string
	for _, it := range out {
		if !slices.Contains(sets, it.Event.Subject) {
			sets = append(sets, it.Event.Subject)
		}
	}
	if len(sets) > lockSets {
		return nil
	}
	return out
}

// locks adds the other sets whose closing has a number that this one has, mostly none. Those of one set more than a lock can be on
// are added too: of them it was said until now.
func (t *toucher) locks(d *events.ListSealed, at *Item) {
	for _, lock := range d.Seals {
		t.b.need(DimLock, lock)
		all := slices.Clone(t.b.locks[lock])
		alone := !slices.ContainsFunc(all, func(it *Item) bool { return it.Event.Subject != at.Event.Subject })
		if alone || len(all) > 2*lockRecords {
			continue
		}
		for _, it := range all {
			t.trip(t.b.TripOfItem(it))
		}
	}
}
