package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
)

// carrier returns the set that was last found with a trip's sheet, if the
// trip's set has not been read with it since. No sheet has two carriers and no
// set carries two sheets, so carriers form paths and rings.
func (w *World) carrier(k projections.TripKey) (projections.TripKey, *facts.Reading) {
	var at projections.TripKey
	var last *facts.Reading
	for _, x := range w.Readers(k) {
		if o, r := w.Trip(x).Carries(); r != nil && o == k && (last == nil || last.It.Less(r.It)) {
			at, last = x, r
		}
	}
	if last == nil {
		return projections.TripKey{}, nil
	}
	if g := w.Trip(k).LastGood(nil); g != nil && last.It.Less(g.It) {
		return projections.TripKey{}, nil
	}
	return at, last
}

// strayed returns the latest reading of a trip's sheet on another set that no
// good reading of either set follows; without one, a count made by it. Taking
// the sheet off that set, or putting a third one's there, does not bring it back
// to its own.
func (w *World) strayed(k projections.TripKey) (projections.TripKey, *facts.Reading) {
	var at projections.TripKey
	var last *facts.Reading
	var right *facts.Item
	if g := w.Trip(k).LastGood(nil); g != nil {
		right = g.It
	}
	for _, x := range w.Readers(k) {
		c := w.Trip(x)
		own := c.LastGood(nil)
		for i := range c.Readings {
			r := &c.Readings[i]
			switch {
			case r.Class != facts.ReadSwapped || r.Owner != k:
			case r.Tray() == k.Set: // the set itself with its own sheet, only under the other's name
				if right == nil || right.Less(r.It) {
					right = r.It
				}
			case r.Own() && (own == nil || own.It.Less(r.It)) && (last == nil || last.It.Less(r.It)):
				at, last = x, r
			}
		}
	}
	if last == nil || right != nil && last.It.Less(right) {
		return w.countedBy(k, right)
	}
	return at, last
}

// givenUp returns the latest reading of a trip's sheet on another set that was read
// with its own since, and by which it was. Nothing has been seen of the trip's own
// set after it: neither a good reading nor a count by its sheet.
func (w *World) givenUp(k projections.TripKey) (at projections.TripKey, last, since *facts.Reading) {
	right := w.LastRight(w.Trip(k))
	for _, x := range w.Readers(k) {
		for i := range w.Trip(x).Readings {
			r := &w.Trip(x).Readings[i]
			// The set itself with its own sheet, only under the other's name.
			if r.Class == facts.ReadSwapped && r.Owner == k && r.Tray() == k.Set && (right == nil || right.Less(r.It)) {
				right = r.It
			}
		}
	}
	for _, x := range w.Readers(k) {
		c := w.Trip(x)
		own := c.LastGood(nil)
		for i := range c.Readings {
			r := &c.Readings[i]
			if r.Class != facts.ReadSwapped || r.Owner != k || right != nil && r.It.Less(right) {
				continue
			}
			if r.Own() && own != nil && r.It.Less(own.It) && (last == nil || last.It.Less(r.It)) {
				at, last, since = x, r, own
			}
		}
	}
	return at, last, since
}

// countedBy returns the latest count of another set by a trip's sheet. A slip in
// one count is ended by the next that either set has by its own sheet.
func (w *World) countedBy(k projections.TripKey, right *facts.Item) (projections.TripKey, *facts.Reading) {
	var at projections.TripKey
	var last *facts.Reading
	if r := w.LastRight(w.Trip(k)); r != nil && (right == nil || right.Less(r)) {
		right = r
	}
	for _, x := range w.Readers(k) {
		c := w.Trip(x)
		if slices.ContainsFunc(c.Readings, func(r facts.Reading) bool { return r.Tag == k.Set }) {
			continue // what was counted under that name may be the set itself
		}
		own := w.LastRight(c)
		for _, it := range c.Counted {
			if it.Code == nil || it.Code.Trip != k.Trip || x.Set == k.Set {
				continue
			}
			if last != nil && it.Less(last.It) || own != nil && it.Less(own) || right != nil && it.Less(right) {
				continue
			}
			if w.Owner(it.Code).TripKey == k {
				at, last = x, &facts.Reading{It: it, Class: facts.ReadSwapped, Owner: k, Seal: c.SealAt(it)}
			}
		}
	}
	return at, last
}

// missed reports whether k's sheet is probably on the set whose sheet k now
// carries: k's own sheet has not been seen since, and k has carried no third
// set's sheet.
func (w *World) missed(k projections.TripKey) bool {
	c := w.Trip(k)
	if _, r := w.strayed(k); r != nil || c.Screened() {
		return false
	}
	own := c.LastGood(nil)
	var of projections.TripKey
	for i := range c.Readings {
		r := &c.Readings[i]
		if r.Class != facts.ReadSwapped || !r.Own() || own != nil && r.It.Less(own.It) {
			continue
		}
		if at, _ := w.strayed(r.Owner); at != k {
			continue
		}
		if of != (projections.TripKey{}) && of != r.Owner {
			return false
		}
		of = r.Owner
	}
	return true
}

// holds returns whose sheet a trip's set has now, as far as readings tell.
func (w *World) holds(k projections.TripKey) (projections.TripKey, *facts.Reading) {
	o, r := w.Trip(k).Carries()
	if r == nil {
		return projections.TripKey{}, nil
	}
	if at, _ := w.carrier(o); at != k {
		return projections.TripKey{}, nil
	}
	return o, r
}

// ring returns the trips of a closed swap through k, each carrying the next
// one's sheet, beginning with k; nil where the path is open. With it come the
// readings that show it.
func (w *World) ring(k projections.TripKey) (ring []projections.TripKey, shown []*facts.Item) {
	for at := k; ; {
		o, r := w.holds(at)
		if r == nil || slices.Contains(ring, at) {
			return nil, nil
		}
		ring, shown = append(ring, at), append(shown, r.It)
		if o == k {
			return ring, shown
		}
		at = o
	}
}

// pathStart follows carriers back from a set whose sheet is elsewhere to the
// set whose own sheet nobody has found.
func (w *World) pathStart(k projections.TripKey) projections.TripKey {
	seen := map[projections.TripKey]bool{k: true}
	for {
		x, r := w.carrier(k)
		if r == nil || seen[x] {
			return k
		}
		seen[x] = true
		k = x
	}
}
