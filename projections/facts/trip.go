package facts

import (
	"listbound/events"
	"listbound/projections"
	"slices"
	"sort"
	"time"
)

// Trip is what is in force of one trip, in order.
type Trip struct {
	Key        projections.TripKey
	All        []*Item // everything recorded of the trip, void facts and corrections too
	Steps      []*Item // observations of the set that are in force
	Packed     []*Item
	Sealed     []*Item
	Sterilized []*Item
	Opened     []*Item
	Counted    []*Item
	Pieces     []*Item // reports of what became of pieces
	Readings   []Reading
	CaseRef    string    // the case it was opened for last
	Closings   []*Item   // case.closed of caseRef, in force
	Cases      []CaseUse // every case it was opened or counted for
	Next       *Item     // the pack by which the set's next trip began
	Prev       string    // the set's trip before this one
	List       *events.ListIssued
	ListItem   *Item // where list was issued
	// Trays are facts of other sets, made in the time of this trip, in which this
	// set's tag was read on the tray: as observed, or as a correction once made it.
	// Void ones are among them; see OnTray.
	Trays []*Item
}

// Trip returns what is in force of a trip.
func (b *Book) Trip(k projections.TripKey) *Trip {
	return b.chains.Get(b, k, func() *Trip { return b.buildChain(k) })
}

func (b *Book) buildChain(k projections.TripKey) *Trip {
	b.need(DimTrip, k.Trip)
	b.asked(DimTrip, k.Trip)
	c := &Trip{Key: k}
	var own []*Item
	if t := b.trips[k.Trip]; t != nil && k.Trip != "" {
		own = t.items
	}
	c.All = make([]*Item, 0, len(own)+2)
	b.aroundTrip(k, own)
	for _, it := range own {
		if it.Event.Subject == k.Set && (it.Kind != events.KindSetCounted || b.countedIn(it, k.Trip) == k.Trip) {
			c.All = append(c.All, it)
		}
	}
	s := b.sets[k.Set]
	if s != nil {
		c.All = s.appendLoose(c.All, k, own)
		for _, it := range s.trays {
			p := b.lastPacking(k.Set, it.At())
			if p == nil && k.Trip == "" || p != nil && p.Event.Trip == k.Trip {
				c.Trays = append(c.Trays, it)
			}
		}
		slices.SortFunc(c.Trays, Compare)
	}
	c.All = append(c.All, b.countedElsewhere(c)...)
	if !slices.IsSortedFunc(c.All, Compare) {
		slices.SortFunc(c.All, Compare)
	}
	c.classify()
	var packs []*Item
	if s != nil {
		packs = s.packs.sorted()
		c.neighbours(packs)
	}
	b.askedAround(c, packs)
	if n := len(c.Opened); n > 0 {
		c.CaseRef = events.CaseOf(c.Opened[n-1].Data)
	} else if n := len(c.Counted); n > 0 {
		c.CaseRef = events.CaseOf(c.Counted[n-1].Data)
	}
	b.casesOf(c)
	c.List, c.ListItem = b.listOf(c)
	for i := range c.Readings {
		b.read(c, &c.Readings[i])
	}
	return c
}

// appendLoose adds the facts of a set without a trip that were observed when one was the set's own: from its packings in force, which
// are among own, until the next ones; where it is none, before all packings. All else that the set has, of years, is passed over.
func (s *setIndex) appendLoose(to []*Item, k projections.TripKey, own []*Item) []*Item {
	loose, packs := s.loose.sorted(), s.packs.sorted()
	if len(loose) == 0 {
		return to
	}
	upTo := func(i int) int { // those before the next packing in force
		for _, p := range packs[i:] {
			if !p.Void {
				return sort.Search(len(loose), func(i int) bool { return !loose[i].At().Before(p.At()) })
			}
		}
		return len(loose)
	}
	if k.Trip == "" {
		return append(to, loose[:upTo(0)]...)
	}
	for _, p := range own {
		if p.Kind != events.KindSetPacked || p.Event.Subject != k.Set {
			continue
		}
		i := sort.Search(len(packs), func(i int) bool { return !packs[i].Less(p) })
		from, end := upTo(i), upTo(i+1)
		to = append(to, loose[from:max(from, end)]...)
	}
	return to
}

// countedElsewhere returns the counts that name an earlier trip and go with an
// opening in this one (countedIn).
func (b *Book) countedElsewhere(c *Trip) []*Item {
	if c.Key.Trip == "" {
		return nil
	}
	var out []*Item
	for _, o := range c.All {
		if o.Void || o.Kind != events.KindSetOpened {
			continue
		}
		ref := events.CaseOf(o.Data)
		for _, it := range slices.Clone(b.askedCase(ref)) {
			named := it.Event.Trip
			if it.Kind == events.KindSetCounted && it.Event.Subject == c.Key.Set && named != "" && named != c.Key.Trip &&
				events.CaseOf(it.Data) == ref && b.countedIn(it, named) == c.Key.Trip && !slices.Contains(out, it) {
				out = append(out, it)
			}
		}
	}
	return out
}

// OnTray returns the facts of other sets, in force and in order, in which this
// trip's set was on the tray by its tag.
func (c *Trip) OnTray() []*Item {
	var out []*Item
	for _, it := range c.Trays {
		if !it.Void && TagOf(it.Data) == c.Key.Set {
			out = append(out, it)
		}
	}
	return out
}

// CaseUse is a case in which a trip was opened or counted: one, unless
// something went wrong.
type CaseUse struct {
	Ref      string
	Opened   bool
	Closings []*Item
}

func (b *Book) casesOf(c *Trip) {
	for _, of := range [][]*Item{c.Opened, c.Counted} {
		for _, it := range of {
			ref := events.CaseOf(it.Data)
			if i := slices.IndexFunc(c.Cases, func(u CaseUse) bool { return u.Ref == ref }); i < 0 {
				c.Cases = append(c.Cases, CaseUse{Ref: ref, Opened: it.Kind == events.KindSetOpened || c.Goods()})
			}
		}
	}
	for i := range c.Cases {
		u := &c.Cases[i]
		b.need(DimCase, u.Ref)
		b.asked(DimCase, u.Ref)
		for _, it := range b.cases[u.Ref] {
			if it.Kind == events.KindCaseClosed && !it.Void && events.CaseOf(it.Data) == u.Ref {
				u.Closings = append(u.Closings, it)
			}
		}
		slices.SortFunc(u.Closings, Compare)
		if u.Ref == c.CaseRef {
			c.Closings = u.Closings
		}
	}
}

func (c *Trip) classify() {
	c.Steps = make([]*Item, 0, len(c.All))
	looks := 0
	for _, it := range c.All {
		if it.Void {
			continue
		}
		switch it.Kind {
		case events.KindSetPacked:
			c.Packed = append(c.Packed, it)
		case events.KindListSealed:
			c.Sealed = append(c.Sealed, it)
		case events.KindSetSterilized:
			c.Sterilized = append(c.Sterilized, it)
		case events.KindSetOpened:
			c.Opened = append(c.Opened, it)
		case events.KindSetCounted:
			c.Counted = append(c.Counted, it)
		case events.KindSetChecked:
			looks++
		case events.KindSetReturned:
		case events.KindPieceReported:
			c.Pieces = append(c.Pieces, it)
			continue // of a piece: it tells nothing of where the set is
		default:
			continue
		}
		c.Steps = append(c.Steps, it)
	}
	c.Readings = make([]Reading, 0, looks+len(c.Opened))
	for _, it := range c.Steps {
		switch d := it.Data.(type) {
		case *events.SetChecked:
			c.Readings = append(c.Readings, looked(it, d.Sheet, d.Tag, d.OuterLabel, d.Seals, d.SealBroken))
		case *events.SetOpened:
			r := looked(it, d.Sheet, d.Tag, d.OuterLabel, d.Seals, d.SealBroken)
			r.Opening = true
			c.Readings = append(c.Readings, r)
		}
	}
}

// aroundTrip fetches what lies around each packing of a trip; for what was seen
// of a set before any packing, what lies around the first.
func (b *Book) aroundTrip(k projections.TripKey, own []*Item) {
	if b.src == nil && b.gone == nil {
		return
	}
	if k.Trip == "" {
		b.around(k.Set, time.Time{})
		return
	}
	for _, it := range own {
		if it.Kind == events.KindSetPacked && it.Event.Subject == k.Set {
			b.around(k.Set, it.At())
		}
	}
}

// askedAround notes the set's packings and loose facts that a trip was told
// apart from its neighbours by: from the packing before it to the one after.
func (b *Book) askedAround(c *Trip, packs []*Item) {
	if b.log == nil {
		return
	}
	if c.Key.Trip != "" && len(c.Packed) == 0 {
		return // nothing loose belongs to a trip that nobody packed
	}
	from, to := int64(Ever), int64(After)
	other := func(p *Item) bool { return !p.Void && p.Event.Trip != c.Key.Trip }
	last, at := time.Time{}, 0
	if n := len(c.Packed); n > 0 {
		last = c.Packed[n-1].At()
		at = sort.Search(len(packs), func(i int) bool { return !packs[i].Less(c.Packed[0]) })
	}
	for _, p := range slices.Backward(packs[:at]) {
		if other(p) {
			from = Nanos(p.At())
			break
		}
	}
	for _, p := range packs[at:] {
		if other(p) && p.At().After(last) {
			to = Nanos(p.At())
			break
		}
	}
	b.AskedBetween(DimSet, c.Key.Set, from, to)
}

// neighbours finds the set's trips before and after.
func (c *Trip) neighbours(packs []*Item) {
	if len(c.Packed) == 0 {
		return
	}
	first := c.Packed[0]
	at := sort.Search(len(packs), func(i int) bool { return !packs[i].Less(first) })
	other := func(p *Item) bool { return !p.Void && p.Event.Trip != c.Key.Trip }
	for _, p := range slices.Backward(packs[:at]) {
		if other(p) {
			c.Prev = p.Event.Trip
			break
		}
	}
	for _, p := range packs[at:] {
		if other(p) {
			c.Next = p
			break
		}
	}
}

// Over reports whether the trip has ended: its case is closed, or the set has
// been packed again.
func (c *Trip) Over() bool {
	return c.Next != nil || len(c.Closings) > 0 && (len(c.Opened) > 0 || c.Goods())
}

// Whereabouts returns the steps in the order in which they say where the set is. That is their own but for one of a station
// whose clock was ahead, which would stand last for as long as the clock was ahead: it counts as of its recording.
func (c *Trip) Whereabouts() []*Item {
	if !slices.ContainsFunc(c.Steps, func(it *Item) bool { return it.Remarks&events.RemarkAhead != 0 }) {
		return c.Steps
	}
	return slices.SortedStableFunc(slices.Values(c.Steps), func(a, b *Item) int { return a.SeenBy().Compare(b.SeenBy()) })
}

// LastSeen returns the step by which the set was seen last, nil where there is none.
func (c *Trip) LastSeen() *Item {
	steps := c.Whereabouts()
	if len(steps) == 0 {
		return nil
	}
	return steps[len(steps)-1]
}

// Goods reports whether this is not a set's trip but the counts, in one case, of goods that belong to no set.
func (c *Trip) Goods() bool {
	return len(c.Steps) > 0 && !slices.ContainsFunc(c.Steps, func(it *Item) bool {
		return it.Kind != events.KindSetCounted || CountOf(it).Goods == ""
	})
}

// UsedFrom returns by what a use for a case began: the opening, of goods their first count; nil for neither.
func (c *Trip) UsedFrom(ref string) *Item {
	of := c.Opened
	if c.Goods() {
		of = c.Counted
	}
	if i := slices.IndexFunc(of, func(it *Item) bool { return events.CaseOf(it.Data) == ref }); i >= 0 {
		return of[i]
	}
	return nil
}

// FirstOpened returns when the set was opened, nil where it was not.
func (c *Trip) FirstOpened() *Item {
	if len(c.Opened) == 0 {
		return nil
	}
	return c.Opened[0]
}

// SealAt returns the list.sealed in force at a moment: the latest at or
// before it. Before the first one, the first is held to.
func (c *Trip) SealAt(at *Item) *Item {
	for _, s := range slices.Backward(c.Sealed) {
		if !s.At().After(at.At()) {
			return s
		}
	}
	if len(c.Sealed) > 0 {
		return c.Sealed[0]
	}
	return nil
}

// Unclean returns the step of the way back at which the set was seen not to be clean, before an item (nil: at all), and after
// which no washing is recorded; nil for none. What a case leaves behind is never clean.
func (c *Trip) Unclean(by *Item) (seen *Item) {
	for _, it := range c.Steps {
		switch d := ReturnOf(it); {
		case d == nil || by != nil && !it.Less(by):
		case slices.Contains(d.Faults, events.ReturnSoiled) && d.Step != events.ReturnLeft:
			seen = it
		case d.Step == events.ReturnWashed:
			seen = nil
		}
	}
	return seen
}

// Washed reports whether a washing of the set is recorded in the turn.
func (c *Trip) Washed() bool {
	return slices.ContainsFunc(c.Steps, func(it *Item) bool {
		d := ReturnOf(it)
		return d != nil && d.Step == events.ReturnWashed
	})
}

// LastPack returns the last packing, nil without one.
func (c *Trip) LastPack() *Item {
	if n := len(c.Packed); n > 0 {
		return c.Packed[n-1]
	}
	return nil
}

// LastCount returns the last count for the case the set was opened for last.
func (c *Trip) LastCount() *Item {
	for _, it := range slices.Backward(c.Counted) {
		if events.CaseOf(it.Data) == c.CaseRef {
			return it
		}
	}
	return nil
}

// First returns the first observation of a link.
func (c *Trip) First(l events.Kind) *Item {
	var of []*Item
	switch l {
	case events.KindSetPacked:
		of = c.Packed
	case events.KindListSealed:
		of = c.Sealed
	case events.KindSetSterilized:
		of = c.Sterilized
	case events.KindSetOpened:
		of = c.Opened
	case events.KindSetCounted:
		of = c.Counted
	case events.KindCaseClosed:
		of = c.Closings
	}
	if len(of) == 0 {
		return nil
	}
	return of[0]
}

// Releasing returns the run that a set's use rests on: the last that passed
// and was released by a moment (nil: ever), and the last of any kind. A run that
// passed and was not released takes back what an earlier one released: the set
// was in it for a reason.
//
// A run that was started before the set was packed had nothing of this packing in it,
// whatever it is recorded of.
func (c *Trip) Releasing(b *Book, by *Item) (good, last *Item) {
	for _, it := range c.Sterilized {
		if c.StartedBefore(b, it) {
			continue
		}
		if by != nil && it.At().Sub(by.At()) > Seconds(b.PolicyFor(by).ClockToleranceSeconds) {
			continue
		}
		last = it
		switch d := RunOf(it); {
		case d.Result == "passed" && d.Released:
			good = it
		case d.Result == "passed":
			good = nil
		}
	}
	return good, last
}

// Began returns when a run began: by its start, where that is recorded, else by when its
// end was observed.
func Began(run *Item) time.Time {
	if at, err := time.Parse(time.RFC3339, RunOf(run).Started); err == nil && at.Before(run.At()) {
		return at
	}
	return run.At()
}

// StartedBefore reports whether a run of the trip was started before the set was packed, by
// more than the clocks may differ.
func (c *Trip) StartedBefore(b *Book, run *Item) bool {
	if len(c.Packed) == 0 || !Began(run).Before(run.At()) {
		return false
	}
	p := b.PolicyFor(run)
	return Precedes(p, events.KindSetPacked, events.KindSetSterilized) &&
		c.Packed[0].At().Sub(Began(run)) > Seconds(p.ClockToleranceSeconds)
}

// Precedes reports whether a policy asks for both of two links, the first before the second.
func Precedes(p *events.Policy, first, second events.Kind) bool {
	i, k := slices.Index(p.Links, first), slices.Index(p.Links, second)
	return i >= 0 && i < k
}
