package projections

import (
	"slices"
	"sort"
	"strings"
	"time"

	"listbound/events"
)

// chain is what is in force of one trip, in order.
type chain struct {
	key        TripKey
	all        []*item // everything recorded of the trip, void facts and corrections too
	steps      []*item // observations of the set that are in force
	packed     []*item
	sealed     []*item
	sterilized []*item
	opened     []*item
	counted    []*item
	readings   []reading
	caseRef    string    // the case it was opened for last
	closings   []*item   // case.closed of caseRef, in force
	cases      []caseUse // every case it was opened or counted for
	next       *item     // the pack by which the set's next trip began
	prev       string    // the set's trip before this one
	list       *events.ListIssued
	listItem   *item // where list was issued
}

// class says what a reading found.
type class uint8

const (
	readNothing    class = iota // no sheet was looked at
	readUnreadable              // a damaged code
	readGood
	readAbsent
	readStale   // another trip of the same set
	readSwapped // another set's
	readAltered
	readUnknown
)

// conclusive says whether a reading tells whose sheet was there.
func (c class) conclusive() bool { return c >= readGood }

// reading is one look at a set's sheet, tag, label and seals.
type reading struct {
	it         *item
	class      class
	owner      TripKey // whose sheet it is, where it is another trip's
	forged     bool    // owner's trip, but content that was never sealed for it
	replaced   bool    // an earlier sheet of this trip, since replaced
	unlisted   bool    // can't be held against anything: the list is not known
	seal       *item
	tag, outer string
	seals      []string
	sealBroken bool
	found      string
	opening    bool
}

// tray returns the set that the reading is really of.
func (r *reading) tray() string {
	if r.tag != "" {
		return r.tag
	}
	return r.it.Event.Subject
}

// own says whether the reading is of the set that the record names.
func (r *reading) own() bool { return r.tray() == r.it.Event.Subject }

// chainsKept bounds the memory of chains between two new facts.
const chainsKept = 4096

// fresh forgets what was derived before the last new fact.
func (w *World) fresh() {
	if w.derived.chains == nil || w.derived.gen != w.gen || len(w.derived.chains) > chainsKept {
		w.derived.gen = w.gen
		w.derived.chains = make(map[TripKey]*chain)
		w.derived.cases = make(map[string]*caseState)
		w.derived.recalls = make(map[string]*readLoads)
	}
}

func (w *World) chain(k TripKey) *chain {
	w.fresh()
	if c, ok := w.derived.chains[k]; ok {
		return c
	}
	c := w.buildChain(k)
	w.fresh() // building may have fetched facts
	w.derived.chains[k] = c
	return c
}

func (w *World) buildChain(k TripKey) *chain {
	w.need(DimTrip, k.Trip)
	c := &chain{key: k}
	var own []*item
	if t := w.trips[k.Trip]; t != nil && k.Trip != "" {
		own = t.items
	}
	c.all = make([]*item, 0, len(own)+2)
	for _, it := range own {
		if it.Event.Subject == k.Set {
			c.all = append(c.all, it)
		}
	}
	w.aroundTrip(k, own)
	s := w.sets[k.Set]
	if s != nil {
		for _, it := range s.loose {
			if w.packedBefore(k.Set, it.at()) == k.Trip {
				c.all = append(c.all, it)
			}
		}
	}
	if !slices.IsSortedFunc(c.all, compare) {
		slices.SortFunc(c.all, compare)
	}
	c.classify()
	if s != nil {
		c.neighbours(s.packs.sorted())
	}
	if n := len(c.opened); n > 0 {
		c.caseRef = caseOf(c.opened[n-1].data)
	} else if n := len(c.counted); n > 0 {
		c.caseRef = caseOf(c.counted[n-1].data)
	}
	w.casesOf(c)
	c.list, c.listItem = w.listOf(c)
	for i := range c.readings {
		w.read(c, &c.readings[i])
	}
	return c
}

// caseUse is a case in which a trip was opened or counted: one, unless
// something went wrong.
type caseUse struct {
	ref      string
	opened   bool
	closings []*item
}

func (w *World) casesOf(c *chain) {
	for _, of := range [][]*item{c.opened, c.counted} {
		for _, it := range of {
			ref := caseOf(it.data)
			if i := slices.IndexFunc(c.cases, func(u caseUse) bool { return u.ref == ref }); i < 0 {
				c.cases = append(c.cases, caseUse{ref: ref, opened: it.kind == events.KindSetOpened})
			}
		}
	}
	for i := range c.cases {
		u := &c.cases[i]
		w.need(DimCase, u.ref)
		for _, it := range w.cases[u.ref] {
			if it.kind == events.KindCaseClosed && !it.void && caseOf(it.data) == u.ref {
				u.closings = append(u.closings, it)
			}
		}
		slices.SortFunc(u.closings, compare)
		if u.ref == c.caseRef {
			c.closings = u.closings
		}
	}
}

func (c *chain) classify() {
	c.steps = make([]*item, 0, len(c.all))
	for _, it := range c.all {
		if it.void {
			continue
		}
		switch it.kind {
		case events.KindSetPacked:
			c.packed = append(c.packed, it)
		case events.KindListSealed:
			c.sealed = append(c.sealed, it)
		case events.KindSetSterilized:
			c.sterilized = append(c.sterilized, it)
		case events.KindSetOpened:
			c.opened = append(c.opened, it)
		case events.KindSetCounted:
			c.counted = append(c.counted, it)
		case events.KindSetChecked:
		default:
			continue
		}
		c.steps = append(c.steps, it)
	}
	for _, it := range c.steps {
		switch d := it.data.(type) {
		case *events.SetChecked:
			c.readings = append(c.readings, looked(it, d.Sheet, d.Tag, d.OuterLabel, d.Seals, d.SealBroken))
		case *events.SetOpened:
			r := looked(it, d.Sheet, d.Tag, d.OuterLabel, d.Seals, d.SealBroken)
			r.opening = true
			c.readings = append(c.readings, r)
		}
	}
}

func looked(it *item, s *events.Reading, tag, outer string, seals []string, broken bool) reading {
	r := reading{it: it, tag: tag, outer: outer, seals: seals, sealBroken: broken}
	switch {
	case s == nil:
	case s.Found == events.FoundNone:
		r.class, r.found = readAbsent, s.Found
	case s.Unreadable, s.Code != "" && it.code == nil:
		r.class, r.found = readUnreadable, s.Found
	case s.Code != "":
		r.class, r.found = readUnknown, s.Found // until read says better
	default:
		r.found = s.Found
	}
	return r
}

// aroundTrip fetches what lies around each packing of a trip; for what was seen
// of a set before any packing, what lies around the first.
func (w *World) aroundTrip(k TripKey, own []*item) {
	if w.src == nil {
		return
	}
	if k.Trip == "" {
		w.around(k.Set, time.Time{})
		return
	}
	for _, it := range own {
		if it.kind == events.KindSetPacked && it.Event.Subject == k.Set {
			w.around(k.Set, it.at())
		}
	}
}

// neighbours finds the set's trips before and after.
func (c *chain) neighbours(packs []*item) {
	if len(c.packed) == 0 {
		return
	}
	first := c.packed[0]
	at := sort.Search(len(packs), func(i int) bool { return !packs[i].less(first) })
	other := func(p *item) bool { return !p.void && p.Event.Trip != c.key.Trip }
	for i := at - 1; i >= 0; i-- {
		if p := packs[i]; other(p) {
			c.prev = p.Event.Trip
			break
		}
	}
	for _, p := range packs[at:] {
		if other(p) {
			c.next = p
			break
		}
	}
}

// over says whether nothing more is to come of the trip: its case is closed,
// or the set has been packed again.
func (c *chain) over() bool { return c.next != nil || len(c.closings) > 0 && len(c.opened) > 0 }

// firstOpened returns when the set was opened, nil where it was not.
func (c *chain) firstOpened() *item {
	if len(c.opened) == 0 {
		return nil
	}
	return c.opened[0]
}

// sealAt returns the list.sealed in force at a moment: the latest at or
// before it. Before the first one, the first is held to.
func (c *chain) sealAt(at *item) *item {
	for i := len(c.sealed) - 1; i >= 0; i-- {
		if !c.sealed[i].at().After(at.at()) {
			return c.sealed[i]
		}
	}
	if len(c.sealed) > 0 {
		return c.sealed[0]
	}
	return nil
}

func sealOf(it *item) *events.ListSealed {
	if it == nil {
		return nil
	}
	d, _ := it.data.(*events.ListSealed)
	return d
}

func packOf(it *item) *events.SetPacked {
	if it == nil {
		return nil
	}
	d, _ := it.data.(*events.SetPacked)
	return d
}

func (c *chain) lastPack() *item {
	if n := len(c.packed); n > 0 {
		return c.packed[n-1]
	}
	return nil
}

// lastCount returns the last count for the case the set was opened for last.
func (c *chain) lastCount() *item {
	for _, it := range slices.Backward(c.counted) {
		if caseOf(it.data) == c.caseRef {
			return it
		}
	}
	return nil
}

// issued returns the list.issued facts of a list that are in force, in order.
func (w *World) issued(list string) []*item {
	w.need(DimList, list)
	all := w.lists[list]
	out := make([]*item, 0, len(all))
	for _, it := range all {
		if d, ok := it.data.(*events.ListIssued); ok && !it.void && d.List == list {
			out = append(out, it)
		}
	}
	if !slices.IsSortedFunc(out, compare) {
		slices.SortFunc(out, compare)
	}
	return out
}

// listOf returns the list version a trip was packed against. Should a version
// have been issued more than once, the one that was sealed is meant, else the
// one that was known when the set was packed.
func (w *World) listOf(c *chain) (*events.ListIssued, *item) {
	pack := c.lastPack()
	p := packOf(pack)
	if p == nil {
		return nil, nil
	}
	var found []*item
	for _, it := range w.issued(p.List) {
		if it.data.(*events.ListIssued).Version == p.Version {
			found = append(found, it)
		}
	}
	if len(found) == 0 {
		return nil, nil
	}
	best := found[0]
	for _, it := range found[1:] {
		if !it.at().After(pack.at()) {
			best = it
		}
	}
	if len(found) > 1 && len(c.sealed) > 0 {
		want := sealOf(c.sealed[len(c.sealed)-1]).ListDigest
		for _, it := range found {
			if d, err := w.listDigest(it); err == nil && d.String() == want {
				best = it
			}
		}
	}
	return best.data.(*events.ListIssued), best
}

func (w *World) listDigest(it *item) (events.Digest, error) {
	l := it.data.(*events.ListIssued)
	if it.by != nil { // corrections may change again
		return l.Digest()
	}
	if d, ok := w.derived.lists[it]; ok {
		return d, nil
	}
	d, err := l.Digest()
	if err == nil {
		w.derived.lists[it] = d
	}
	return d, err
}

// sight is one sighting of a set.
type sight struct {
	at    time.Time
	place string
}

// placeOf says where a step was observed: the place a check names, the load a
// run was, else the station.
func placeOf(it *item) string {
	switch d := it.data.(type) {
	case *events.SetChecked:
		if p := strings.TrimSpace(d.Place); p != "" {
			return p
		}
	case *events.SetSterilized:
		return sayLoad(d.Load)
	}
	return it.Event.Station
}

// samePlace compares places as people write them.
func samePlace(a, b string) bool { return strings.EqualFold(a, b) }

func (c *chain) sights() []sight {
	out := make([]sight, 0, len(c.steps))
	for _, it := range c.steps {
		out = append(out, sight{it.at(), placeOf(it)})
	}
	return out
}
