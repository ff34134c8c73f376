package facts

import (
	"fmt"
	"slices"
	"time"
)

// need fetches the facts of a dimension and key, once.
func (b *Book) need(dim Dim, key string) {
	if b.gone != nil && key != "" {
		b.needHeld(dim, key)
	}
	if b.src == nil || b.err != nil || key == "" && dim != DimStation {
		return
	}
	k := dimKey{dim, key}
	if _, ok := b.have[k]; ok {
		return
	}
	facts, err := b.src.Facts(dim, key)
	if err != nil {
		b.err = fmt.Errorf("fetching what is known of %s %s: %w", dim, key, err)
		return
	}
	b.have[k] = struct{}{}
	b.fetching = true
	defer func() { b.fetching = false }()
	for _, f := range facts {
		b.Add(f)
	}
}

// Absent says that the source has nothing under a key: it need not be asked for what comes under it first now.
func (b *Book) Absent(dim Dim, key string) {
	if b.src != nil {
		b.have[dimKey{dim, key}] = struct{}{}
	}
}

// leastAround is how many packings Around is asked for at first, and wantAround how many different trips in force it must show on a
// side: a turn is told apart by the packings before and after it, and its verdict can depend on the second one after it (PackedAfter).
// Whoever looks further asks around those. Each packing more brings all that was seen of the set until it, for nothing. Packings of one
// moment count for one, since what lies around the first of them is not what lies around the last.
const (
	leastAround = 2
	wantAround  = 2
)

// around fetches the set's packings near a moment, once for all moments between
// the same two. It asks for more until it has seen enough trips on each side, or
// all there are: packings can be void, or repeat a trip.
func (b *Book) around(set string, at time.Time) {
	if b.gone != nil && set != "" {
		b.aroundHeld(set, at)
	}
	if b.src == nil || set == "" || b.err != nil {
		return
	}
	t := int64(Ever)
	if !at.IsZero() {
		t = Nanos(at)
	}
	if slices.ContainsFunc(b.near[set], func(g gap) bool { return g.from <= t && t < g.to }) {
		return
	}
	b.fetching = true
	defer func() { b.fetching = false }()
	for n := b.Least; ; n *= 2 {
		facts, err := b.src.Around(set, at, n)
		if err != nil {
			b.err = fmt.Errorf("fetching what is known of set %s: %w", set, err)
			return
		}
		for _, f := range facts {
			b.Add(f)
		}
		if b.enough(facts, set, at, n) {
			b.near[set] = append(b.near[set], gapAround(facts, set, t))
			return
		}
	}
}

// gapAround returns the gap between packings that a moment lies in.
func gapAround(facts []Fact, set string, t int64) gap {
	g := gap{Ever, After}
	for _, f := range facts {
		if !packs(f, set) {
			continue
		}
		if at := Nanos(f.Event.Time); at <= t {
			g.from = max(g.from, at)
		} else {
			g.to = min(g.to, at)
		}
	}
	return g
}

func (b *Book) enough(facts []Fact, set string, at time.Time, n int) bool {
	var found [2]int
	var trips [2]map[string]struct{}
	var moments [2]map[int64]struct{}
	for _, f := range facts {
		if !packs(f, set) {
			continue
		}
		side := 0
		if f.Event.Time.After(at) {
			side = 1
		}
		found[side]++
		if it := b.seqs.get(f.Seq); it != nil && !it.Void {
			if trips[side] == nil {
				trips[side], moments[side] = make(map[string]struct{}), make(map[int64]struct{})
			}
			trips[side][f.Event.Trip] = struct{}{}
			moments[side][Nanos(f.Event.Time)] = struct{}{}
		}
	}
	for side := range found {
		if found[side] >= n && min(len(trips[side]), len(moments[side])) < wantAround {
			return false
		}
	}
	return true
}

// Failed returns the Source's error, if there was one, and clears it. Every question from outside ends with it.
func (b *Book) Failed() error {
	err := b.err
	b.err = nil
	if err != nil {
		b.Gen++ // what was derived from half the facts
	}
	return err
}
