package simulate

import "slices"

// mispack lets a piece of the first line, of which every set has some, go into the set that is packed next at the same
// bench, or next but one or two. It is done in the second half of a week, so that nothing else of the week changes by it, to
// sets to which nothing else happens, and once at a bench at which no other first count is wrong: of two pieces that are the
// same nobody could say which is whose.
func (h *house) mispack() {
	for bench := range h.benches() {
		if h.packing.Float64() >= h.Rates.Mispacked || h.otherwiseCounted(bench) {
			continue
		}
		var at []*Trip
		for i := bench; i < len(h.half); i += h.benches() {
			at = append(at, h.half[i])
		}
		for _, i := range h.packing.Perm(max(0, len(at)-3)) {
			from, to := at[i], at[i+1+h.packing.IntN(3)]
			if h.packing.IntN(2) == 0 {
				from, to = to, from
			}
			if !h.asListed(from) || !h.asListed(to) {
				continue
			}
			h.fault(Mispacked, from.Packed, from.Stays[0].Place, from, to)
			from.pieces[0]--
			to.pieces[0]++
			break
		}
	}
}

// asListed reports whether a set is packed as its list says, and nothing else happens to it or in its case, whose
// sets explain each other's counts before any set of another case does.
func (h *house) asListed(t *Trip) bool {
	return len(t.Faults) == 0 && len(t.Case.Faults) == 0 && len(t.odd) == 0 &&
		!slices.ContainsFunc(t.Case.Trips, (*Trip).countedOtherwise)
}

// otherwiseCounted reports whether the first count of another set that was packed at a bench is wrong.
func (h *house) otherwiseCounted(bench int) bool {
	for i := bench; i < len(h.half); i += h.benches() {
		t := h.half[i]
		if t.Case.has(Miscounted) != nil || t.countedOtherwise() {
			return true
		}
	}
	return false
}

// countedOtherwise reports whether something happened to a set by which its first count is wrong.
func (t *Trip) countedOtherwise() bool {
	return slices.ContainsFunc([]FaultKind{LabelSwap, HolderSwap, UsedTwice, Mispacked}, t.Has)
}

// benches is how many the house packs at in half a week.
func (h *house) benches() int { return max(3, len(h.half)/40) }
