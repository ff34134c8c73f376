package simulate

import (
	"fmt"
	"slices"
	"time"

	"listbound/events"
)

// way is what happens to a set between its case and its next packing.
type way struct {
	was, now *Trip
	washed   time.Time
	load     string
}

// told is something that is recorded of the way back, at a moment.
type told struct {
	at      time.Time
	station string
	set     string
	data    events.Data
}

// wash takes the sets of the first half of the week that are packed again through the washer, some of
// several cases in each load, and decides of which a piece is lost there, stays there, goes to repair
// or is found later, and what people report of that. Nothing is recorded of a set that was used a
// second time as it was: it came back from somewhere else.
func (h *house) wash() {
	const perLoad = 16
	var ways []*way
	for _, t := range h.half {
		if t.Before != nil && !t.Before.Has(UsedTwice) {
			ways = append(ways, &way{was: t.Before, now: t})
		}
	}
	slices.SortStableFunc(ways, func(a, b *way) int { return a.was.Case.end.Compare(b.was.Case.end) })
	var all []told
	n := 0
	for len(ways) > 0 {
		n++
		first := ways[0].was.Case.end
		size := slices.IndexFunc(ways, func(w *way) bool { return w.was.Case.end.Sub(first) > 4*time.Hour })
		if size < 0 {
			size = len(ways)
		}
		group := ways[:min(size, perLoad)]
		ways = ways[len(group):]
		at := group[len(group)-1].was.Case.end.Add(h.apartBetween(50*time.Minute, 80*time.Minute))
		for i, w := range group {
			w.washed, w.load = at.Add(time.Duration(i)*10*time.Second), fmt.Sprintf("W1-%03d-%02d", h.week.Number+1, n)
			all = append(all, told{w.was.Case.end.Add(25 * time.Minute), "washing", w.was.Set,
				&events.SetReturned{Step: events.ReturnReceived}},
				told{w.washed, "washing", w.was.Set,
					&events.SetReturned{Step: events.ReturnWashed, Washer: "W1", WasherLoad: w.load}})
		}
		for _, w := range group {
			all = append(all, h.reportOf(w, group)...)
		}
	}
	slices.SortStableFunc(all, func(a, b told) int { return a.at.Compare(b.at) })
	for _, x := range all {
		h.record(h.wayStation(x.station, x.at), x.at, x.set, "", x.data, nil)
	}
}

// apartBetween draws a duration, apart from what else is drawn.
func (h *house) apartBetween(from, to time.Duration) time.Duration {
	return from + time.Duration(h.reports.Int64N(int64(to-from)))
}

// wayStation returns a station at which only the way back is recorded, so that it changes nothing else of a week.
func (h *house) wayStation(name string, at time.Time) string {
	station := h.station(name)
	if _, ok := h.clocks[station]; !ok && h.Clock > 0 {
		h.clocks[station] = h.apartBetween(-h.Clock, h.Clock).Truncate(time.Second)
	}
	if key := awayKey(station, at); !h.away[key] {
		h.away[key] = false
	}
	return station
}

// reportOf decides what becomes of a piece of a set, of which nothing has become yet, and what is told of that
// before the set is packed.
func (h *house) reportOf(w *way, group []*way) []told {
	p, r := h.reports.Float64(), h.Rates
	if !h.countedRight(w.was) {
		return nil
	}
	lines := listOf(int(w.now.List)).Lines
	i := 1 + h.reports.IntN(len(lines)-1) // not of the first, of which a piece of another set would be the same
	of := func(after time.Duration, became events.Became) told {
		d := &events.PieceReported{Became: became, Line: lines[i].Line, Quantity: 1}
		if h.reports.IntN(2) == 0 {
			d.Line, d.Item = 0, lines[i].Item
		}
		return told{w.washed.Add(after), "washing", w.was.Set, d}
	}
	short := func(k BackKind) {
		w.was.Back = &Back{Kind: k, Line: lines[i].Line}
		w.now.oddly(i, -1, events.ReasonMissing)
	}
	for _, x := range []struct {
		rate float64
		do   func() []told
	}{
		{r.Reported, func() []told { short(BackReported); return []told{of(time.Hour, events.BecameRepair)} }},
		{r.Replaced, func() []told {
			w.was.Back = &Back{Kind: BackReplaced, Line: lines[i].Line}
			return []told{of(time.Hour, events.BecameRepair), of(2*time.Hour, events.BecameReplaced)}
		}},
		{r.Missed, func() []told { short(BackMissed); return []told{of(20*time.Minute, events.BecameLost)} }},
		{r.Found, func() []told {
			short(BackFound)
			f := of(0, events.BecameFound)
			h.at(w.now.Packed.Add(2*time.Hour), func(at time.Time) { h.record(h.wayStation("linen", at), at, f.set, "", f.data, nil) })
			return nil
		}},
		{r.Basket, func() []told { h.basket(w, group); return nil }},
	} {
		if p < x.rate {
			return x.do()
		}
		p -= x.rate
	}
	return nil
}

// basket lets a piece of the first line of a set stay in the washer, and go into a set of another case. It happens
// once in a load, and in no case in which one strayed: of two pieces that are the same nobody could say which is whose.
func (h *house) basket(w *way, group []*way) {
	strayed := func(c *Case) bool {
		return slices.ContainsFunc(c.Trips, func(t *Trip) bool { return t.Back != nil && t.Back.Other != nil })
	}
	if strayed(w.was.Case) || slices.ContainsFunc(group, func(o *way) bool { return o.was.Back != nil && o.was.Back.Kind == BackGot }) {
		return
	}
	for _, i := range h.reports.Perm(len(group)) {
		o := group[i]
		if o.was.Case == w.was.Case || !h.countedRight(o.was) || strayed(o.was.Case) {
			continue
		}
		w.was.Back = &Back{Kind: BackBasket, Line: 1, Other: o.was}
		o.was.Back = &Back{Kind: BackGot, Line: 1, Other: w.was}
		w.now.oddly(0, -1, events.ReasonMissing)
		o.now.oddly(0, +1, events.ReasonAdded)
		return
	}
}
