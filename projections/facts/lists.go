package facts

import (
	"listbound/events"
	"slices"
)

// Issue is a version of a list, as corrected, and how it was issued.
type Issue struct {
	Fact
	List *events.ListIssued
}

// Issued returns the versions of a list that are in force, in the order in
// which they were issued; of one that was issued more than once, the first.
func (b *Book) Issued(list string) ([]Issue, error) {
	var out []Issue
	for _, it := range b.issued(list) {
		d := it.Data.(*events.ListIssued)
		if !slices.ContainsFunc(out, func(x Issue) bool { return x.List.Version == d.Version }) {
			out = append(out, Issue{it.Fact, d})
		}
	}
	return out, b.Failed()
}

// issued returns the list.issued facts of a list that are in force, in order.
func (b *Book) issued(list string) []*Item {
	b.need(DimList, list)
	all := b.lists[list]
	out := make([]*Item, 0, len(all))
	for _, it := range all {
		if d, ok := it.Data.(*events.ListIssued); ok && !it.Void && d.List == list {
			out = append(out, it)
		}
	}
	if !slices.IsSortedFunc(out, Compare) {
		slices.SortFunc(out, Compare)
	}
	return out
}

// listOf returns the list version a trip was packed against. Should a version
// have been issued more than once, the one that was sealed is meant, else the
// one that was known when the set was packed.
func (b *Book) listOf(c *Trip) (*events.ListIssued, *Item) {
	pack := c.LastPack()
	p := PackOf(pack)
	if p == nil {
		return nil, nil
	}
	b.asked(DimVersion, versionKey(p.List, p.Version))
	var found []*Item
	for _, it := range b.issued(p.List) {
		if it.Data.(*events.ListIssued).Version == p.Version {
			found = append(found, it)
		}
	}
	switch len(found) {
	case 0:
		return nil, nil
	case 1: // as a rule
		return found[0].Data.(*events.ListIssued), found[0]
	}
	best := found[0]
	for _, it := range found[1:] {
		if !it.At().After(pack.At()) {
			best = it
		}
	}
	if len(c.Sealed) > 0 {
		want := SealOf(c.Sealed[len(c.Sealed)-1]).ListDigest
		for _, it := range found {
			if d, err := b.listDigest(it); err == nil && d.String() == want {
				best = it
			}
		}
	}
	return best.Data.(*events.ListIssued), best
}

func (b *Book) listDigest(it *Item) (events.Digest, error) {
	l := it.Data.(*events.ListIssued)
	if it.By != nil { // corrections may change again
		return l.Digest()
	}
	if d, ok := b.digests[it]; ok {
		return d, nil
	}
	d, err := l.Digest()
	if err == nil {
		b.digests[it] = d
	}
	return d, err
}

// Newer returns the newest version of a list after one, issued by the time of
// an observation; nil where there is none.
func (b *Book) Newer(list string, version int64, at *Item) *Item {
	b.AskedBetween(DimList, list, Ever, Nanos(at.At()))
	for _, it := range slices.Backward(b.issued(list)) {
		if d := it.Data.(*events.ListIssued); d.Version > version && !it.At().After(at.At()) {
			return it
		}
	}
	return nil
}

// PackedFor returns the chain as it was packed when a seal was put on it: a set
// packed again in one trip is sealed anew, and the first seal was right in its
// time. A seal before any packing is held against the first.
func (b *Book) PackedFor(c *Trip, seal *Item) *Trip {
	n := 1
	for n < len(c.Packed) && !c.Packed[n].At().After(seal.At()) {
		n++
	}
	if n == len(c.Packed) {
		return c
	}
	sc := &Trip{Key: c.Key, Packed: c.Packed[:n], Sealed: []*Item{seal}}
	sc.List, sc.ListItem = b.listOf(sc)
	return sc
}

// SealTrue reports whether the digests in a seal are those of the list it names,
// as issued. The station computed them; a sheet printed from other lines
// would show here before anyone reads it.
func (b *Book) SealTrue(c *Trip, seal *Item) bool {
	d := SealOf(seal)
	if d.ListDigest == "" && d.Binding == "" {
		return true
	}
	l, err := b.listDigest(c.ListItem)
	if err != nil {
		return true
	}
	if d.ListDigest != "" && d.ListDigest != l.String() {
		return false
	}
	if d.Binding == "" {
		return true
	}
	binding, err := events.Binding(l, c.Key.Set, c.Key.Trip)
	return err != nil || d.Binding == binding.String()
}
