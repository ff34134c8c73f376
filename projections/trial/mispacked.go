package trial

import (
	"slices"

	"listbound/projections"
	"listbound/projections/simulate"
)

// exchangedWith returns the sets with which a finding says that a set's pieces were exchanged at packing.
func exchangedWith(f *projections.Finding) (sets []string) {
	d, ok := f.Detail.(*projections.FirstDiffers)
	if !ok {
		return nil
	}
	for _, x := range d.Exchanged {
		sets = append(sets, x.Set)
	}
	for _, x := range d.Beside {
		sets = append(sets, x.Set)
	}
	return sets
}

// mispacked reports whether pieces of a set did go into those sets at packing, or theirs into it.
func mispacked(x *simulate.Trip, f *projections.Finding) bool {
	for _, set := range exchangedWith(f) {
		if !slices.ContainsFunc(x.Faults, func(f *simulate.Fault) bool {
			return f.Kind == simulate.Mispacked && slices.ContainsFunc(f.Trips,
				func(o *simulate.Trip) bool { return o != x && o.Set == set })
		}) {
			return false
		}
	}
	return true
}

// missedExchange holds a piece that went into a neighbour at packing against the verdict.
func (t *trial) missedExchange(x *simulate.Trip) error {
	if !x.Has(simulate.Mispacked) {
		return nil
	}
	v, err := t.verdict(keyOf(x))
	if err != nil {
		return err
	}
	right := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
		return len(exchangedWith(&f)) == 1 && mispacked(x, &f)
	})
	if !t.r.Mispacked.hold(right) {
		t.r.example("week %d, %s: a piece was exchanged at packing, and this is told: %v", t.week.Number, x.Set, codes(v.Findings))
	}
	return nil
}
