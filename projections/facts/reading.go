package facts

import (
	"cmp"
	"encoding/hex"
	"listbound/events"
	"listbound/projections"
	"slices"
	"time"
)

// Class says what a reading found.
type Class uint8

const (
	ReadNothing    Class = iota // no sheet was looked at
	ReadUnreadable              // a damaged code
	ReadGood
	ReadAbsent
	ReadStale   // another trip of the same set
	ReadSwapped // another set's
	ReadAltered
	ReadUnknown
)

// Conclusive reports whether a reading tells whose sheet was there.
func (c Class) Conclusive() bool { return c >= ReadGood }

// Reading is one look at a set's sheet, tag, label and seals.
type Reading struct {
	It         *Item
	Class      Class
	Owner      projections.TripKey // whose sheet it is, where it is another trip's
	Forged     bool                // owner's trip, but content that was never sealed for it
	Unbound    bool                // the trip whose sheet it is has no seal: it was held against the list packed by
	Replaced   bool                // an earlier sheet of this trip, since replaced
	Unlisted   bool                // can't be held against anything: the list is not known
	Seal       *Item
	Tag, Outer string
	Seals      []string
	SealBroken bool
	Found      string
	Opening    bool
}

// Tray returns the set whose tag was read on the tray, "" where none was: that a
// record names a set proves nothing about the tray.
func (r *Reading) Tray() string { return r.Tag }

// Named returns the set that a reading is taken for: the tag's, else the record's.
func (r *Reading) Named() string { return cmp.Or(r.Tag, r.It.Event.Subject) }

// Own reports whether nothing says that the reading is of another set than the
// record names. Proved says whether a tag does.
func (r *Reading) Own() bool { return r.Named() == r.It.Event.Subject }

// Proved reports whether the tag on the tray was read and is the record's set's.
func (r *Reading) Proved() bool { return r.Tray() == r.It.Event.Subject }

func looked(it *Item, s *events.Reading, tag, outer string, seals []string, broken bool) Reading {
	r := Reading{It: it, Tag: tag, Outer: outer, Seals: seals, SealBroken: broken}
	if s == nil {
		return r
	}
	r.Found = s.Found
	switch {
	case s.Found == events.FoundNone:
		r.Class = ReadAbsent
	case s.Unreadable, s.Code != "" && it.Code == nil:
		r.Class = ReadUnreadable
	case s.Code != "":
		r.Class = ReadUnknown // until read says better
	}
	return r
}

// GoodBeforeUse returns a good reading at or before the opening.
func (c *Trip) GoodBeforeUse() *Reading {
	open := c.FirstOpened()
	for i := range c.Readings {
		if r := &c.Readings[i]; r.Class == ReadGood && r.Own() && (open == nil || !open.Less(r.It)) {
			return r
		}
	}
	return nil
}

// InPlace reports whether a sheet was found where it was sealed.
func (r *Reading) InPlace() bool {
	s := SealOf(r.Seal)
	return s != nil && r.Found == string(s.Placement)
}

// Inside reports whether a sheet lies inside the closed set.
func Inside(p events.Placement) bool { return p == events.InsideBag || p == events.InsideBare }

// Faulted reports whether a reading that is not good has a finding: without a
// seal nothing can be missing, and a code that nothing is known of may be right.
func (c *Trip) Faulted(r *Reading) bool {
	switch r.Class {
	case ReadAbsent:
		s := SealOf(r.Seal)
		return s != nil && s.Placement != events.Screen
	case ReadUnknown:
		return !r.Unlisted
	}
	return r.Class != ReadGood
}

// Screened reports whether a trip has no paper that could be elsewhere.
func (c *Trip) Screened() bool {
	n := len(c.Sealed)
	return n > 0 && SealOf(c.Sealed[n-1]).Placement == events.Screen
}

// commits reports whether a code commits to what a list.sealed recorded. known is
// false where the seal says nothing that a code can be held against.
func (b *Book) commits(code *events.SheetCode, c *Trip, seal *Item) (match, known bool) {
	d := SealOf(seal)
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
	if d.List != "" && (c.List == nil || d.List != c.List.List || d.Version != c.List.Version) {
		return false, false
	}
	return b.commitsToList(code, c)
}

// commitsToList holds a code against the list the set was packed by.
func (b *Book) commitsToList(code *events.SheetCode, c *Trip) (match, known bool) {
	if c.List == nil {
		return false, false
	}
	l, err := b.listDigest(c.ListItem)
	if err != nil {
		return false, false
	}
	binding, err := events.Binding(l, c.Key.Set, c.Key.Trip)
	return err == nil && code.Matches(binding), err == nil
}

// read classifies a reading that has a code.
func (b *Book) read(c *Trip, r *Reading) {
	r.Seal = c.SealAt(r.It)
	if r.Class != ReadUnknown {
		return
	}
	code := r.It.Code
	if code.Trip == c.Key.Trip {
		r.Class, r.Replaced = b.ReadOwn(c, r.It, code)
		r.Unlisted, r.Unbound = r.Class == ReadUnknown, len(c.Sealed) == 0
		return
	}
	owner := b.Owner(code)
	switch {
	case owner.TripKey == projections.TripKey{}:
		r.Class = ReadUnknown
		return
	case owner.Set == c.Key.Set:
		r.Class = ReadStale
	default:
		r.Class = ReadSwapped
	}
	r.Owner, r.Forged, r.Unbound = owner.TripKey, owner.Forged, owner.Unbound
}

// ReadOwn holds a code of the trip against its seals. The seal in force
// decides: a sheet that was replaced by a later one carries other content. A
// seal observed after the reading is good as well: the content was bound to
// set and trip, and what the clocks say is another finding. It is unknown where
// there is nothing to hold the code against.
func (b *Book) ReadOwn(c *Trip, at *Item, code *events.SheetCode) (cl Class, replaced bool) {
	force := c.SealAt(at)
	if force == nil {
		return heldAgainst(b.commitsToList(code, c)), false
	}
	cl = heldAgainst(b.commits(code, c, force))
	if cl == ReadGood {
		return cl, false
	}
	for _, s := range c.Sealed {
		if m, _ := b.commits(code, c, s); m {
			if force.Less(s) {
				return ReadGood, false
			}
			return ReadAltered, true
		}
	}
	return cl, false
}

// heldAgainst returns what a code of the trip is by what it was held against.
func heldAgainst(match, known bool) Class {
	switch {
	case match:
		return ReadGood
	case known:
		return ReadAltered
	}
	return ReadUnknown
}

// Owner is whose trip a code names. Forged: with other content than was sealed for
// it or, where nothing was (Unbound), than it was packed by.
type Owner struct {
	projections.TripKey
	Forged, Unbound bool
}

// Owner returns whose trip a code names. Where one trip was used for several sets,
// the set whose seal the code fits is meant.
func (b *Book) Owner(code *events.SheetCode) Owner {
	b.need(DimTrip, code.Trip)
	b.asked(DimTrip, code.Trip)
	t := b.trips[code.Trip]
	if t == nil {
		return Owner{}
	}
	const ( // what a fact tells of the code, least first
		seen = 1 + iota
		packed
		sealed
		fitting
	)
	var o Owner
	rank := 0
	for _, it := range slices.Clone(t.items) {
		if it.Void || !it.Kind.AboutSet() {
			continue
		}
		n := seen
		var forged bool
		switch it.Kind {
		case events.KindListSealed:
			n = sealed
			// A seal without a binding is held against the list, which needs the chain's pack.
			c := packedFor(t, projections.TripKey{Set: it.Event.Subject, Trip: code.Trip})
			if SealOf(it).Binding == "" {
				c.Sealed = []*Item{it}
				c.List, c.ListItem = b.listOf(c)
			}
			match, known := b.commits(code, c, it)
			if match {
				n = fitting
			}
			forged = known && !match
		case events.KindSetPacked:
			n = packed
		}
		switch set := it.Event.Subject; {
		case n > rank || n == rank && set < o.Set:
			o, rank = Owner{projections.TripKey{Set: set, Trip: code.Trip}, forged, n < sealed}, n
		case n == rank && set == o.Set: // of several seals one may have bound it
			o.Forged = o.Forged && forged
		}
	}
	if o.Unbound {
		c := packedFor(t, o.TripKey)
		c.List, c.ListItem = b.listOf(c)
		match, known := b.commitsToList(code, c)
		o.Forged = known && !match
	}
	return o
}

// packedFor returns a trip with nothing but how a set was packed in it.
func packedFor(t *tripIndex, k projections.TripKey) *Trip {
	c := &Trip{Key: k}
	for _, p := range slices.Clone(t.items) {
		if !p.Void && p.Kind == events.KindSetPacked && p.Event.Subject == k.Set {
			c.Packed = append(c.Packed, p)
		}
	}
	slices.SortFunc(c.Packed, Compare)
	return c
}

// LastConclusive returns a set's latest reading that tells whose sheet it has.
func (c *Trip) LastConclusive() *Reading {
	for i := range slices.Backward(c.Readings) {
		if r := &c.Readings[i]; r.Class.Conclusive() && r.Own() {
			return r
		}
	}
	return nil
}

// Carries returns the trip whose sheet the set was found with when last read.
func (c *Trip) Carries() (projections.TripKey, *Reading) {
	if r := c.LastConclusive(); r != nil && r.Class == ReadSwapped {
		return r.Owner, r
	}
	return projections.TripKey{}, nil
}

// LastGood returns a set's latest good reading before a moment, nil without one.
func (c *Trip) LastGood(before *Item) *Reading {
	for i := range slices.Backward(c.Readings) {
		if r := &c.Readings[i]; r.Class == ReadGood && r.Own() && (before == nil || r.It.Less(before)) {
			return r
		}
	}
	return nil
}

// LastRight returns when a set last had its own sheet: at a good reading, or
// at a count made by it.
func (b *Book) LastRight(c *Trip) *Item {
	var at *Item
	if g := c.LastGood(nil); g != nil {
		at = g.It
	}
	for _, it := range c.Counted {
		if it.Code == nil || it.Code.Trip != c.Key.Trip || at != nil && it.Less(at) {
			continue
		}
		if cl, _ := b.ReadOwn(c, it, it.Code); cl == ReadGood {
			at = it
		}
	}
	return at
}

// Mislabelled reports whether the tag on the tray was read and says another set
// than the label or the record.
func (r *Reading) Mislabelled() bool {
	return r.Tag != "" && (!r.Own() || r.Outer != "" && r.Outer != r.Tag)
}

// WithTray reports whether the tag was read and the sheet is that of the tray.
func (r *Reading) WithTray() bool {
	return r.Tag != "" && (r.Class == ReadGood && r.Own() || r.Owner.Set == r.Tag)
}

// RightBefore returns when a set was last known to have its own sheet before a
// reading: at its seal, or a good reading; without either, at its packing, when
// it had none yet. It is zero where none of them is recorded. A good reading by
// which tray and label were apart already doesn't count. Where this one shows
// label and sheet with the wrong tray, neither does a good one that didn't read
// the tag: both may have lain there already.
func (c *Trip) RightBefore(r *Reading) time.Time {
	var at time.Time
	if len(c.Packed) > 0 {
		at = c.Packed[0].At()
	}
	if s := c.SealAt(r.It); s != nil && !s.At().After(r.It.At()) {
		at = s.At()
	}
	strict := r.Mislabelled() && !r.WithTray()
	for i := range c.Readings {
		g := &c.Readings[i]
		good := g.Class == ReadGood && g.Own() && !g.Mislabelled() && g.It.Less(r.It)
		if good && (g.Tag != "" || !strict) {
			at = Latest(at, g.It.At())
		}
	}
	return Earliest(at, r.It.At())
}

// SheetOf returns what an observation says of the sheet; empty where it says nothing.
func SheetOf(it *Item) events.Reading {
	var r *events.Reading
	switch d := events.AsRead(it.Data).(type) {
	case *events.SetChecked:
		r = d.Sheet
	case *events.SetOpened:
		r = d.Sheet
	}
	if r == nil {
		return events.Reading{}
	}
	return *r
}
