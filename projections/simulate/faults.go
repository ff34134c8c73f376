package simulate

import (
	"slices"
	"time"

	"listbound/events"
)

// plant decides what goes wrong in half a week. A set has one fault at most, so
// that what is found has one cause.
func (h *house) plant() {
	for _, t := range h.half {
		if len(t.Faults) == 0 {
			h.plantOn(t)
		}
	}
	for _, c := range h.week.Cases {
		if slices.Contains(h.half, c.Trips[0]) {
			h.plantIn(c)
		}
	}
}

func (h *house) plantOn(t *Trip) {
	for _, x := range []struct {
		rate  float64
		plant func(*Trip)
	}{
		{h.Rates.Swap, func(t *Trip) { h.exchange(SwapOfTwo, t, 2) }},
		{h.Rates.Ring, func(t *Trip) { h.exchange(RingOf, t, 3+h.IntN(3)) }},
		{h.Rates.Relay, h.relay},
		{h.Rates.Carried, h.carry},
		{h.Rates.SwapLost, func(t *Trip) { h.exchange(OneLost, t, 2) }},
		{h.Rates.Lost, func(t *Trip) { h.alone(SheetLost, t) }},
		{h.Rates.Altered, func(t *Trip) { h.alone(Altered, t) }},
		{h.Rates.Stale, func(t *Trip) { h.alone(Stale, t) }},
		{h.Rates.Labels, func(t *Trip) { h.exchange(LabelSwap, t, 2) }},
		{h.Rates.Holders, func(t *Trip) { h.exchange(HolderSwap, t, 2) }},
		{h.Rates.Short, h.packShort},
		{h.Rates.Twice, h.useTwice},
	} {
		if h.chance(x.rate) {
			x.plant(t)
			return
		}
	}
}

func (h *house) fault(k FaultKind, at time.Time, place string, trips ...*Trip) *Fault {
	f := &Fault{Kind: k, At: at, Place: place, Trips: trips}
	for _, t := range trips {
		t.Faults = append(t.Faults, f)
	}
	h.week.Faults = append(h.week.Faults, f)
	return f
}

// reach returns when a fault of a kind can happen to a set: from its seal, inside
// a closed set only at the bench, and until it is opened.
func reach(k FaultKind, t *Trip) (from, to time.Time) {
	from, to = t.Sealed, t.Opened
	if t.Inside() && k != LabelSwap {
		to = t.Stays[0].To
	}
	return from, to
}

// fits reports whether a kind of fault can happen to two sets at once.
func fits(k FaultKind, a, b *Trip) bool {
	switch k {
	case LabelSwap:
		return true
	case HolderSwap:
		return a.Placement == events.Outside && b.Placement == events.Outside
	}
	return a.Placement != events.Screen && b.Placement != events.Screen && a.Inside() == b.Inside()
}

// meet finds others that lie with a set, and a moment at which they all do.
func (h *house) meet(k FaultKind, t *Trip, n int, after time.Time, but *Trip) (all []*Trip, place string, at time.Time) {
	for _, s := range h.Perm(len(t.Stays)) {
		stay := t.Stays[s]
		from, to := overlap(k, t, stay, after, stay.To)
		all = []*Trip{t}
		for _, i := range h.Perm(len(h.half)) {
			x := h.half[i]
			if len(all) == n || !to.After(from) {
				break
			}
			if x == t || x == but || len(x.Faults) > 0 || !fits(k, t, x) {
				continue
			}
			for _, xs := range x.Stays {
				if f, e := overlap(k, x, xs, from, to); xs.Place == stay.Place && e.After(f) {
					all, from, to = append(all, x), f, e
					break
				}
			}
		}
		if len(all) == n && to.After(from) {
			return all, stay.Place, from.Add(h.between(0, to.Sub(from)))
		}
	}
	return nil, "", at
}

// overlap narrows a time to that in which a fault can happen to a set in a stay.
func overlap(k FaultKind, t *Trip, s Stay, from, to time.Time) (time.Time, time.Time) {
	f, e := reach(k, t)
	for _, x := range []time.Time{s.From, f} {
		if x.After(from) {
			from = x
		}
	}
	for _, x := range []time.Time{s.To, e} {
		if x.Before(to) {
			to = x
		}
	}
	return from, to
}

// exchange lets something of sets that lie together change places at one moment.
func (h *house) exchange(k FaultKind, t *Trip, n int) {
	if !fits(k, t, t) {
		return
	}
	all, place, at := h.meet(k, t, n, t.Sealed, nil)
	if all == nil {
		return
	}
	h.fault(k, at, place, all...)
	h.at(at, func(at time.Time) { h.goRound(k, all, place, at) })
}

// relay lets two sets exchange their sheets, and later one of them with a third.
func (h *house) relay(x *Trip) {
	if !fits(RelayOf, x, x) {
		return
	}
	two, place, first := h.meet(RelayOf, x, 2, x.Sealed, nil)
	if two == nil {
		return
	}
	y := two[1]
	then, place2, second := h.meet(RelayOf, y, 2, first, x)
	if then == nil {
		return
	}
	h.fault(RelayOf, first, place, x, y, then[1])
	h.at(first, func(at time.Time) { h.goRound(RelayOf, two, place, at) })
	h.at(second, func(at time.Time) { h.goRound(RelayOf, then, place2, at) })
}

// carry lets one set exchange its sheet with a second, and that one, where the first
// is not, with a third: best one that lies beside the first later, so that the two
// were together, but not when the sheet came from the one to the other. Both places are
// such that a scan can show them.
func (h *house) carry(x *Trip) {
	if x.Placement != events.Outside {
		return
	}
	var two, then []*Trip
	var place, place2 string
	var first, second time.Time
	for range 60 {
		a, at, when := h.meet(CarriedOn, x, 2, x.Sealed, nil)
		if a == nil {
			return
		}
		b, at2, when2 := h.meet(CarriedOn, a[1], 2, when, x)
		if b == nil || at2 == at || x.At(when2) == at2 || x.Hidden(when) || a[1].Hidden(when2) {
			continue
		}
		two, place, first, then, place2, second = a, at, when, b, at2, when2
		if then[1].Case == x.Case {
			break
		}
	}
	if then == nil {
		return
	}
	h.fault(CarriedOn, first, place, x, two[1], then[1])
	h.at(first, func(at time.Time) { h.goRound(CarriedOn, two, place, at) })
	h.at(second, func(at time.Time) { h.goRound(CarriedOn, then, place2, at) })
}

// goRound gives each tray what the next one has.
func (h *house) goRound(k FaultKind, all []*Trip, place string, at time.Time) {
	if k != LabelSwap {
		first := all[0].sheet
		for i := range all[1:] {
			h.lay(all[i+1].sheet, all[i], place, at)
		}
		if k == OneLost {
			h.lay(first, nil, place, at)
			all[1].sheet = nil
		} else {
			h.lay(first, all[len(all)-1], place, at)
		}
	}
	if k == LabelSwap || k == HolderSwap {
		a, b := all[0], all[1]
		a.label, b.label = b.label, a.label
		a.label.Moves = append(a.label.Moves, Move{at, place, a})
		b.label.Moves = append(b.label.Moves, Move{at, place, b})
	}
}

// lay puts a sheet with a tray, or nowhere.
func (h *house) lay(s *Sheet, t *Trip, place string, at time.Time) {
	if s != nil {
		s.Moves = append(s.Moves, Move{at, place, t})
	}
	if t != nil {
		t.sheet = s
	}
}

// alone does something to the sheet of one set.
func (h *house) alone(k FaultKind, t *Trip) {
	if !fits(k, t, t) || k == Stale && (t.Before == nil || t.Before.Sheet == nil) {
		return
	}
	from, to := reach(k, t)
	at := from.Add(h.between(0, to.Sub(from)))
	place := t.At(at)
	h.fault(k, at, place, t)
	h.at(at, func(at time.Time) {
		h.lay(t.sheet, nil, place, at)
		t.sheet = nil
		switch k {
		case Altered:
			s := &Sheet{Of: t, Kind: AlteredSheet, Code: codeOf(otherList(t), t)}
			h.week.Sheets = append(h.week.Sheets, s)
			h.lay(s, t, place, at)
		case Stale:
			h.lay(t.Before.Sheet, t, place, at)
		}
	})
}

func (h *house) packShort(t *Trip) {
	h.fault(PieceShort, t.Packed, t.Stays[0].Place, t)
	t.pieces[len(t.pieces)-1]--
}

// useTwice opens a set for a later case of the other sets, as it is.
func (h *house) useTwice(t *Trip) {
	for _, c := range h.week.Cases {
		if c.start.Sub(t.Case.end) < time.Hour || len(c.Faults) > 0 || !slices.Contains(h.half, c.Trips[0]) {
			continue
		}
		at := c.start.Add(20 * time.Minute)
		h.fault(UsedTwice, at, c.Room, t)
		t.goTo(c.Room, c.start.Add(10*time.Minute), false)
		t.Stays[len(t.Stays)-1].To = c.end
		h.at(at, func(at time.Time) { h.opened(t, c, at) })
		h.at(at.Add(5*time.Minute), func(at time.Time) { h.counted(t, c, events.StageFirst, at) })
		h.at(c.end.Add(-5*time.Minute), func(at time.Time) { h.counted(t, c, events.StageFinal, at) })
		return
	}
}

// plantIn decides what goes wrong with the counts of a case.
func (h *house) plantIn(c *Case) {
	for _, x := range []struct {
		rate float64
		kind FaultKind
	}{
		{h.Rates.Misplaced, Misplaced}, {h.Rates.Miscount, Miscounted}, {h.Rates.Omitted, LineOmitted},
		{h.Rates.Unclosed, NeverClosed},
	} {
		if !h.chance(x.rate) {
			continue
		}
		n := 1
		if x.kind == Misplaced {
			n = 2
		}
		if len(c.Trips) < n {
			continue
		}
		f := &Fault{Kind: x.kind, At: c.end, Place: c.Room, Case: c}
		for _, i := range h.Perm(len(c.Trips))[:n] {
			f.Trips = append(f.Trips, c.Trips[i])
		}
		f.line = h.IntN(len(f.Trips[0].pieces))
		c.Faults = append(c.Faults, f)
		h.week.Faults = append(h.week.Faults, f)
		return
	}
}

// lose decides of which sets a piece was lost, strayed or sent to repair since the last
// count of their case in the first half of the week. Who packs them now sees it. It is of
// sets that were counted as themselves, so that what the counts say of them is so.
func (h *house) lose() {
	now := make(map[*Trip]*Trip) // by the trip before
	for _, t := range h.half {
		if t.Before != nil {
			now[t.Before] = t
		}
	}
	for _, t := range h.half {
		was := t.Before
		if was == nil || !h.countedRight(was) {
			continue
		}
		switch p, r := h.losses.Float64(), h.Rates; {
		case p < r.Gone:
			h.lack(was, t, BackGone, events.ReasonMissing)
		case p < r.Gone+r.Repair:
			h.lack(was, t, BackRepair, events.ReasonRepair)
		case p < r.Gone+r.Repair+r.Strayed:
			h.stray(was, t, now)
		}
	}
}

// countedRight reports whether nothing happened to a set, and no piece was laid wrong or
// counted wrong in its case.
func (h *house) countedRight(t *Trip) bool {
	return t.Back == nil && len(t.Faults) == 0 &&
		!slices.ContainsFunc(t.Case.Faults, func(f *Fault) bool { return slices.Contains(f.Trips, t) })
}

// lack packs a set with one piece less of some line: not of the first, of which a piece of
// another set would be the same.
func (h *house) lack(was, t *Trip, k BackKind, reason string) {
	lines := listOf(int(t.List)).Lines
	i := 1 + h.losses.IntN(len(lines)-1)
	was.Back = &Back{Kind: k, Line: lines[i].Line}
	t.oddly(i, -1, reason)
}

// stray packs a set with one piece less of the first line, of which every set has some, and
// another set of its case with one more. It happens once in a case: of two pieces that are
// the same nobody could say which is whose.
func (h *house) stray(was, t *Trip, now map[*Trip]*Trip) {
	if slices.ContainsFunc(was.Case.Trips, func(x *Trip) bool { return x.Back != nil && x.Back.Kind == BackTook }) {
		return
	}
	for _, i := range h.losses.Perm(len(was.Case.Trips)) {
		other := was.Case.Trips[i]
		if x := now[other]; other != was && x != nil && h.countedRight(other) {
			was.Back = &Back{Kind: BackStrayed, Line: 1, Other: other}
			other.Back = &Back{Kind: BackTook, Line: 1, Other: was}
			t.oddly(0, -1, events.ReasonMissing)
			x.oddly(0, +1, events.ReasonAdded)
			return
		}
	}
}

// oddly lets a set be packed with another number of pieces in a line than its list says.
func (t *Trip) oddly(line int, by int64, reason string) {
	l := listOf(int(t.List)).Lines[line]
	t.pieces[line] += by
	t.odd = append(t.odd, events.Exception{Line: l.Line, Counted: l.Quantity + by, Reason: reason})
}
