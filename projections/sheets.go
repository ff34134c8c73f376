package projections

import (
	"encoding/hex"
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// commits says whether a code commits to what a list.sealed recorded. known is
// false where the seal says nothing that a code can be held against.
func (w *World) commits(code *events.SheetCode, c *chain, seal *item) (match, known bool) {
	d := sealOf(seal)
	if d == nil {
		return false, false
	}
	if d.Binding != "" {
		var b events.Digest
		if n, err := hex.Decode(b[:], []byte(d.Binding)); err == nil && n == len(b) {
			return code.Matches(b), true
		}
	}
	if d.Code != "" {
		if p, err := events.ParseSheetCode(d.Code); err == nil {
			return p.Binding == code.Binding, true
		}
	}
	if d.List != "" && (c.list == nil || d.List != c.list.List || d.Version != c.list.Version) {
		return false, false
	}
	return w.commitsToList(code, c)
}

// commitsToList holds a code against the list the set was packed by.
func (w *World) commitsToList(code *events.SheetCode, c *chain) (match, known bool) {
	if c.list == nil {
		return false, false
	}
	l, err := w.listDigest(c.listItem)
	if err != nil {
		return false, false
	}
	b, err := events.Binding(l, c.key.Set, c.key.Trip)
	return err == nil && code.Matches(b), err == nil
}

// read classifies a reading that has a code.
func (w *World) read(c *chain, r *reading) {
	r.seal = c.sealAt(r.it)
	if r.class != readUnknown {
		return
	}
	code := r.it.code
	if code.Trip == c.key.Trip {
		r.class, r.replaced, r.unlisted = w.readOwn(c, r.it, code)
		return
	}
	owner, sealed := w.owner(code)
	switch {
	case owner == TripKey{}:
		r.class = readUnknown
	case owner.Set == c.key.Set:
		r.class, r.owner, r.forged = readStale, owner, !sealed
	default:
		r.class, r.owner, r.forged = readSwapped, owner, !sealed
	}
}

// readOwn holds a code of the trip against its seals. The seal in force
// decides: a sheet that was replaced by a later one carries other content. A
// seal observed after the reading is good as well: the content was bound to
// set and trip, and what the clocks say is another finding.
func (w *World) readOwn(c *chain, at *item, code *events.SheetCode) (cl class, replaced, unlisted bool) {
	force := c.sealAt(at)
	if force == nil {
		switch match, known := w.commitsToList(code, c); {
		case match:
			return readGood, false, false
		case known:
			return readAltered, false, false
		}
		return readUnknown, false, true
	}
	match, known := w.commits(code, c, force)
	if match {
		return readGood, false, false
	}
	for _, s := range c.sealed {
		if m, _ := w.commits(code, c, s); m {
			if force.less(s) {
				return readGood, false, false
			}
			return readAltered, true, false
		}
	}
	if !known {
		return readUnknown, false, true
	}
	return readAltered, false, false
}

// owner returns whose trip a code names, and whether the code's content was
// sealed for it. Where one trip was used for several sets, the set whose seal
// the code fits is meant.
func (w *World) owner(code *events.SheetCode) (k TripKey, sealed bool) {
	w.need(DimTrip, code.Trip)
	t := w.trips[code.Trip]
	if t == nil {
		return TripKey{}, false
	}
	rank := 0
	for _, it := range slices.Clone(t.items) {
		if it.void || !ofSet(it.kind) {
			continue
		}
		n := 1
		switch it.kind {
		case events.KindListSealed:
			n = 3
			// A seal without a binding is held against the list, which needs the chain's pack.
			c := &chain{key: TripKey{it.Event.Subject, code.Trip}}
			for _, p := range slices.Clone(t.items) {
				if !p.void && p.kind == events.KindSetPacked && p.Event.Subject == it.Event.Subject {
					c.packed = append(c.packed, p)
				}
			}
			slices.SortFunc(c.packed, compare)
			if sealOf(it).Binding == "" {
				c.sealed = []*item{it}
				c.list, c.listItem = w.listOf(c)
			}
			if match, _ := w.commits(code, c, it); match {
				n = 4
			}
		case events.KindSetPacked:
			n = 2
		}
		if n > rank || n == rank && it.Event.Subject < k.Set {
			k, rank = TripKey{it.Event.Subject, code.Trip}, n
		}
	}
	return k, rank == 4
}

// lastConclusive returns a set's latest reading that tells whose sheet it has.
func (c *chain) lastConclusive() *reading {
	for i := len(c.readings) - 1; i >= 0; i-- {
		if r := &c.readings[i]; r.class.conclusive() && r.own() {
			return r
		}
	}
	return nil
}

// carries returns the trip whose sheet the set was found with when last read.
func (c *chain) carries() (TripKey, *reading) {
	if r := c.lastConclusive(); r != nil && r.class == readSwapped {
		return r.owner, r
	}
	return TripKey{}, nil
}

// lastGood returns a set's latest good reading before a moment, nil without one.
func (c *chain) lastGood(before *item) *reading {
	for i := len(c.readings) - 1; i >= 0; i-- {
		if r := &c.readings[i]; r.class == readGood && r.own() && (before == nil || r.it.less(before)) {
			return r
		}
	}
	return nil
}

// readers returns the trips in whose facts a trip's sheet code stands.
func (w *World) readers(k TripKey) []TripKey {
	if k.Trip == "" {
		return nil
	}
	w.need(DimSheet, k.Trip)
	t := w.trips[k.Trip]
	if t == nil || len(t.sheet) == 0 {
		return nil
	}
	seen := make(map[TripKey]struct{})
	for _, it := range slices.Clone(t.sheet) {
		if x := w.resolve(it.Event, 0); x != k {
			seen[x] = struct{}{}
		}
	}
	return sortedKeys(seen)
}

// carrier returns the set that was last found with a trip's sheet, if the
// trip's set has not been read with it since. No sheet has two carriers and no
// set carries two sheets, so carriers form paths and rings.
func (w *World) carrier(k TripKey) (TripKey, *reading) {
	var at TripKey
	var last *reading
	for _, x := range w.readers(k) {
		if o, r := w.chain(x).carries(); r != nil && o == k && (last == nil || last.it.less(r.it)) {
			at, last = x, r
		}
	}
	if last == nil {
		return TripKey{}, nil
	}
	if g := w.chain(k).lastGood(nil); g != nil && last.it.less(g.it) {
		return TripKey{}, nil
	}
	return at, last
}

// lastRight returns when a set last had its own sheet: at a good reading, or
// at a count made by it.
func (w *World) lastRight(c *chain) *item {
	var at *item
	if g := c.lastGood(nil); g != nil {
		at = g.it
	}
	for _, it := range c.counted {
		if it.code == nil || it.code.Trip != c.key.Trip || at != nil && it.less(at) {
			continue
		}
		if cl, _, _ := w.readOwn(c, it, it.code); cl == readGood {
			at = it
		}
	}
	return at
}

// strayed returns the latest reading of a trip's sheet on another set that no
// good reading of either set follows; without one, a count made by it. Taking
// the sheet off that set, or putting a third one's there, does not bring it back
// to its own.
func (w *World) strayed(k TripKey) (TripKey, *reading) {
	var at TripKey
	var last *reading
	var right *item
	if g := w.chain(k).lastGood(nil); g != nil {
		right = g.it
	}
	for _, x := range w.readers(k) {
		c := w.chain(x)
		own := c.lastGood(nil)
		for i := range c.readings {
			r := &c.readings[i]
			switch {
			case r.class != readSwapped || r.owner != k:
			case r.tray() == k.Set: // the set itself with its own sheet, only under the other's name
				if right == nil || right.less(r.it) {
					right = r.it
				}
			case r.own() && (own == nil || own.it.less(r.it)) && (last == nil || last.it.less(r.it)):
				at, last = x, r
			}
		}
	}
	if last == nil || right != nil && last.it.less(right) {
		return w.countedBy(k, right)
	}
	return at, last
}

// countedBy returns the latest count of another set by a trip's sheet. A slip in
// one count is ended by the next that either set has by its own sheet.
func (w *World) countedBy(k TripKey, right *item) (TripKey, *reading) {
	var at TripKey
	var last *reading
	if r := w.lastRight(w.chain(k)); r != nil && (right == nil || right.less(r)) {
		right = r
	}
	for _, x := range w.readers(k) {
		c := w.chain(x)
		if slices.ContainsFunc(c.readings, func(r reading) bool { return r.tag == k.Set }) {
			continue // what was counted under that name may be the set itself
		}
		own := w.lastRight(c)
		for _, it := range c.counted {
			if it.code == nil || it.code.Trip != k.Trip || x.Set == k.Set {
				continue
			}
			if last != nil && it.less(last.it) || own != nil && it.less(own) || right != nil && it.less(right) {
				continue
			}
			if o, _ := w.owner(it.code); o == k {
				at, last = x, &reading{it: it, class: readSwapped, owner: k, seal: c.sealAt(it)}
			}
		}
	}
	return at, last
}

// missed says whether a set's own sheet is probably with the one set whose sheet
// it has: it has not turned up anywhere, and no other set misses a sheet that
// this one had for a while.
func (w *World) missed(k TripKey) bool {
	c := w.chain(k)
	if _, r := w.strayed(k); r != nil || c.screened() {
		return false
	}
	own := c.lastGood(nil)
	var of TripKey
	for i := range c.readings {
		r := &c.readings[i]
		if r.class != readSwapped || !r.own() || own != nil && r.it.less(own.it) {
			continue
		}
		if at, _ := w.strayed(r.owner); at != k {
			continue
		}
		if of != (TripKey{}) && of != r.owner {
			return false
		}
		of = r.owner
	}
	return true
}

// holds returns whose sheet a trip's set has now, as far as readings tell.
func (w *World) holds(k TripKey) (TripKey, *reading) {
	o, r := w.chain(k).carries()
	if r == nil {
		return TripKey{}, nil
	}
	if at, _ := w.carrier(o); at != k {
		return TripKey{}, nil
	}
	return o, r
}

// ring returns the trips of a closed swap through k, each carrying the next
// one's sheet, beginning with k; nil where the path is open. With it come the
// readings that show it.
func (w *World) ring(k TripKey) (ring []TripKey, shown []*item) {
	for at := k; ; {
		o, r := w.holds(at)
		if r == nil || slices.Contains(ring, at) {
			return nil, nil
		}
		ring, shown = append(ring, at), append(shown, r.it)
		if o == k {
			return ring, shown
		}
		at = o
	}
}

// pathStart follows carriers back from a set whose sheet is elsewhere to the
// set whose own sheet nobody has found.
func (w *World) pathStart(k TripKey) TripKey {
	seen := map[TripKey]bool{k: true}
	for {
		x, r := w.carrier(k)
		if r == nil || seen[x] {
			return k
		}
		seen[x] = true
		k = x
	}
}

// window returns when and where the sheets of two sets can have changed
// places, when one of them was found with the other's: since the last moment
// at which each was known to have its own, and no later than either was found
// without it; then only while both were at one place. Without a place they
// shared, the time stands alone.
func (w *World) window(x, y *chain, bad *item) (from, to time.Time, places []string) {
	from, to = x.knownRight(bad), bad.at()
	yFrom, yTo := y.knownRight(bad), bad.at()
	for i := range y.readings {
		r := &y.readings[i]
		if r.class.conclusive() && r.class != readGood && r.own() && r.it.at().After(yFrom) && r.it.at().Before(yTo) {
			yTo = r.it.at()
			break
		}
	}
	if yFrom.After(to) || from.After(yTo) { // the sheet was moved more than once: only the set's own times are sure
		return from, to, nil
	}
	if yFrom.After(from) {
		from = yFrom
	}
	if yTo.Before(to) {
		to = yTo
	}
	return together(x.sights(), y.sights(), from, to)
}

// knownRight returns when a set was last known to have its own sheet: at its
// seal, or a good reading; without either, its first sighting.
func (c *chain) knownRight(before *item) time.Time {
	var at time.Time
	if len(c.steps) > 0 {
		at = c.steps[0].at()
	}
	if s := c.sealAt(before); s != nil && !s.at().After(before.at()) {
		at = s.at()
	}
	if g := c.lastGood(before); g != nil && g.it.at().After(at) {
		at = g.it.at()
	}
	if at.After(before.at()) {
		return before.at()
	}
	return at
}

// together narrows a window to the time in which two sets were at one place. A
// set is at a place from a sighting there until it is next seen elsewhere.
func together(a, b []sight, from, to time.Time) (time.Time, time.Time, []string) {
	var lo, hi time.Time
	var places []string
	for _, x := range stays(a, to) {
		for _, y := range stays(b, to) {
			if !samePlace(x.place, y.place) {
				continue
			}
			s, e := latest(from, x.from, y.from), earliest(to, x.to, y.to)
			if e.Before(s) || e.Equal(s) && !from.Equal(to) { // leaving as the other comes is not being together
				continue
			}
			if len(places) == 0 || s.Before(lo) {
				lo = s
			}
			if len(places) == 0 || e.After(hi) {
				hi = e
			}
			if !slices.ContainsFunc(places, func(p string) bool { return samePlace(p, x.place) }) {
				places = append(places, x.place)
			}
		}
	}
	if len(places) == 0 {
		return from, to, nil
	}
	slices.SortFunc(places, strings.Compare)
	return lo, hi, places
}

type stay struct {
	place    string
	from, to time.Time
}

func stays(s []sight, end time.Time) []stay {
	var out []stay
	for _, x := range s {
		if n := len(out); n > 0 {
			out[n-1].to = x.at
		}
		out = append(out, stay{x.place, x.at, latest(end, x.at)})
	}
	return out
}

func latest(t time.Time, more ...time.Time) time.Time {
	for _, m := range more {
		if m.After(t) {
			t = m
		}
	}
	return t
}

func earliest(t time.Time, more ...time.Time) time.Time {
	for _, m := range more {
		if m.Before(t) {
			t = m
		}
	}
	return t
}
