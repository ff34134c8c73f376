package judge

import (
	"cmp"
	"listbound/projections"
	"math/bits"
	"slices"
)

// exactSets is up to how many unbalanced sets of one item the fewest moves are
// found by trying every grouping (3^n steps, 12 sets take about a millisecond).
const exactSets = 12

// Reconcile gives the smallest explanation of the differences in a case: a
// clamp short in one set and over in another is one misplaced clamp, not a
// missing one. Per item it takes as many pieces as possible for misplaced,
// which leaves all leftovers of an item short or all over, in as few moves as
// possible. Where several explanations are equally small, sets that fit each
// other exactly come first, then the order of set and trip decides, so that
// the answer does not depend on the order of bs. Balances of one set and item
// are added up. Both results are sorted by item, then by set and trip.
//
// The number of moves is the least possible as long as not more than twelve
// unbalanced sets of an item remain after the exact pairs are taken out.
// Beyond that the largest differences are matched first, which may take more
// moves than needed, though never as many as there are sets.
//
// The leftovers of an item always add up to expected less counted. They are
// what is truly unaccounted for; that there are none proves nothing about what
// the counts themselves missed.
func Reconcile(bs []projections.Balance) (moves []projections.Move, left []projections.Leftover) {
	var r reconciler
	es := unbalanced(bs)
	for len(es) > 0 {
		n := 1
		for n < len(es) && es[n].item == es[0].item {
			n++
		}
		m, l := len(r.moves), len(r.left)
		r.item(es[:n])
		slices.SortFunc(r.moves[m:], func(a, b projections.Move) int {
			return cmp.Or(projections.CompareKeys(a.From, b.From), projections.CompareKeys(a.To, b.To))
		})
		slices.SortFunc(r.left[l:], func(a, b projections.Leftover) int { return projections.CompareKeys(a.Key, b.Key) })
		es = es[n:]
	}
	return r.moves, r.left
}

// difference is expected less counted of one item in one set.
type difference struct {
	item string
	key  projections.TripKey
	n    int64
}

// unbalanced returns the differences that are not zero, by item and key.
// Balances without a difference are dropped before sorting: they add nothing
// to any sum, and nearly all lines of a case are such.
func unbalanced(bs []projections.Balance) []difference {
	var es []difference
	for _, b := range bs {
		if b.Expected != b.Counted {
			es = append(es, difference{b.Item, b.Key, b.Expected - b.Counted})
		}
	}
	slices.SortFunc(es, func(a, b difference) int {
		if c := cmp.Compare(a.item, b.item); c != 0 {
			return c
		}
		return projections.CompareKeys(a.key, b.key)
	})
	out := es[:0]
	for _, e := range es {
		if n := len(out); n > 0 && out[n-1].item == e.item && out[n-1].key == e.key {
			out[n-1].n += e.n
			continue
		}
		out = append(out, e)
	}
	return slices.DeleteFunc(out, func(e difference) bool { return e.n == 0 })
}

// reconciler gathers the result and keeps the tables of the search, so that a
// case of many items allocates them once.
type reconciler struct {
	moves []projections.Move
	left  []projections.Leftover
	sums  []int64
	best  []int8
	group []uint16
	in    []difference
}

// item reconciles the differences of one item.
func (r *reconciler) item(es []difference) {
	var total int64
	for _, e := range es {
		total += e.n
	}
	es = r.pairs(es)
	if len(es) > exactSets {
		// Largest first: a move that settles a large difference leaves a small rest.
		slices.SortStableFunc(es, func(a, b difference) int { return cmp.Compare(magnitude(b.n), magnitude(a.n)) })
		r.match(es)
		return
	}
	r.groups(es, sign(total))
}

func magnitude(n int64) int64 { return max(n, -n) }

func sign(n int64) int { return cmp.Compare(n, 0) }

// pairs settles each short that an over of the same size matches, and returns
// the rest. No better explanation is lost by it: when x and -x stand in two
// groups, the pair and the two groups' rest are as many groups and as balanced.
func (r *reconciler) pairs(es []difference) []difference {
	for i := range es {
		for j := i + 1; es[i].n != 0 && j < len(es); j++ {
			if es[i].n == -es[j].n {
				r.move(&es[i], &es[j])
			}
		}
	}
	return slices.DeleteFunc(es, func(e difference) bool { return e.n == 0 })
}

// groups settles the differences in the fewest moves. A connected group of k sets
// needs k-1 moves, so the fewest moves come from the most groups. What a group
// leaves over must be of the sign of the item's total, so that an item that is
// short as a whole is over in no set: its sum is zero or has that sign.
func (r *reconciler) groups(es []difference, total int) {
	size := 1 << len(es)
	r.sums = grow(r.sums, size)
	r.best = grow(r.best, size)
	r.group = grow(r.group, size)
	full := size - 1
	for mask := 1; mask <= full; mask++ {
		low := bits.TrailingZeros(uint(mask))
		r.sums[mask] = r.sums[mask&(mask-1)] + es[low].n
		r.best[mask] = -1
		// The group that holds the first set of mask: the lowest bit and any of the rest.
		rest := mask & (mask - 1)
		for sub := 0; ; sub = (sub - rest) & rest {
			g := sub | 1<<low
			possible := r.sums[g] == 0 || sign(r.sums[g]) == total
			if possible && r.best[mask&^g] >= 0 && r.best[mask&^g]+1 > r.best[mask] {
				r.best[mask], r.group[mask] = r.best[mask&^g]+1, uint16(g)
			}
			if sub == rest {
				break
			}
		}
	}
	for mask := full; mask != 0; {
		g := r.group[mask]
		in := r.in[:0]
		for i := range es {
			if g>>i&1 != 0 {
				in = append(in, es[i])
			}
		}
		r.match(in)
		r.in = in
		mask &^= int(g)
	}
}

// match matches shorts with overs in the order given and keeps the rest as
// leftovers. Each move settles a short or an over.
func (r *reconciler) match(es []difference) {
	i, j := 0, 0
	for {
		for i < len(es) && es[i].n <= 0 {
			i++
		}
		for j < len(es) && es[j].n >= 0 {
			j++
		}
		if i == len(es) || j == len(es) {
			break
		}
		r.move(&es[i], &es[j])
	}
	for _, e := range es {
		if e.n != 0 {
			r.left = append(r.left, projections.Leftover{Item: e.item, Key: e.key, Quantity: e.n})
		}
	}
}

// move takes what a short and an over have in common off both.
func (r *reconciler) move(a, b *difference) {
	if a.n < 0 {
		a, b = b, a
	}
	q := min(a.n, -b.n)
	a.n -= q
	b.n += q
	r.moves = append(r.moves, projections.Move{Item: a.item, From: a.key, To: b.key, Quantity: q})
}

// grow returns s with n elements. The first stays as it was made, zero: the
// empty group is never written.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
