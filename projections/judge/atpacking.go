package judge

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// Two sets lie beside each other while they are packed, and a piece goes into the wrong one. Their first counts show it,
// one short and the other over, mostly in rooms that know nothing of each other.

// packedBeside is how far apart two sets may be packed at one station to have lain beside each other there: common
// practice, no source.
const packedBeside = 2 * time.Hour

// fewLines is in how many lines a first count may differ for that to be a piece in the wrong set: one that differs in more
// was made of another tray, or by another list. Common practice, no source.
const fewLines = 3

// looseItem is a difference between a set's first count and its packing that neither the other sets of its case nor
// reports of its pieces explain: n pieces of an item are missing, or are over where n is negative.
type looseItem struct {
	item string // the catalogue number
	line events.Line
	n    int64
}

// exchange is pieces that probably went into the wrong one of two sets at packing, for use in two cases.
type exchange struct {
	other projections.TripKey
	ref   string // the other set's case
	x, y  looseItem
	at    projections.PackedBeside
	shown []*facts.Item // the other set's packing and first count
}

// loose returns what the first count of a trip's set for its last case has loose, by item.
func (w *World) loose(c *facts.Trip, ref string) []looseItem {
	if ref == "" || w.usedLast(c) != ref {
		return nil
	}
	s := w.caseState(ref)
	t := s.tallies[c.Key]
	if t == nil || len(t.firstDiffs) == 0 || len(t.firstDiffs) > fewLines || w.otherTray(c, ref) {
		return nil
	}
	var out []looseItem
	for i := range t.firstDiffs {
		d := &t.firstDiffs[i]
		if d.item == "" || d.beyond || slices.ContainsFunc(out, func(x looseItem) bool { return x.item == d.item }) {
			continue
		}
		x := looseItem{item: d.item, line: events.Line{Line: d.line, Item: d.item, Description: d.name}}
		for _, b := range w.firstBalances(c, t) {
			if b.Item == d.item {
				x.n += b.Expected - b.Counted
			}
		}
		for _, m := range s.firstMoves {
			switch {
			case m.Item != d.item:
			case m.From == c.Key:
				x.n -= m.Quantity
			case m.To == c.Key:
				x.n += m.Quantity
			}
		}
		if x.n != 0 {
			out = append(out, x)
		}
	}
	return out
}

// firstBalances returns the differences of a set's first count without those that reports since packing explain: a piece
// that was reported missing or sent to repair is in no other set.
func (w *World) firstBalances(c *facts.Trip, t *tally) []projections.Balance {
	out := balances(c.Key, t.firstDiffs)
	pack := c.LastPack()
	if pack == nil || t.first == nil {
		return out
	}
	for _, it := range c.Pieces {
		if !pack.Less(it) || !it.Less(t.first) {
			continue
		}
		id := w.pieceID(c, pack, it)
		i := slices.IndexFunc(t.firstDiffs, func(d lineDiff) bool {
			return backKey(facts.PackOf(pack).List, events.Line{Line: d.line, Item: d.item}) == id
		})
		if i < 0 {
			continue
		}
		q := facts.PieceOf(it).Quantity
		switch facts.PieceOf(it).Became {
		case events.BecameLost, events.BecameRepair:
			out[i].Expected -= q
		case events.BecameFound, events.BecameBack, events.BecameReplaced:
			out[i].Expected += q
		}
	}
	// A report explains at most the difference, and never turns it round.
	for i := range out {
		d := t.firstDiffs[i]
		out[i].Expected = min(max(out[i].Expected, min(d.expected, d.seen)), max(d.expected, d.seen))
	}
	return out
}

// beside says how two packings lay beside each other at one station; false where they did not.
func (w *World) beside(pack, other *facts.Item) (projections.PackedBeside, bool) {
	if pack == nil || other == nil {
		return projections.PackedBeside{}, false
	}
	all := w.PackedBeside(pack, packedBeside)
	i, k := slices.Index(all, pack), slices.Index(all, other)
	if i < 0 || k < 0 {
		return projections.PackedBeside{}, false
	}
	d := projections.PackedBeside{Set: other.Event.Subject, Place: moment(pack).Place, Packed: pack.At(), OtherPacked: other.At()}
	var between []string
	for _, it := range all[min(i, k)+1 : max(i, k)] {
		if s := it.Event.Subject; s != pack.Event.Subject && s != other.Event.Subject && !slices.Contains(between, s) {
			between = append(between, s)
		}
	}
	d.Between = int64(len(between))
	return d, true
}

// exchangedWith finds, of the sets that have too many of what this one lacks, or the other way round, the one that was
// packed closest in time; nil if there is none.
func (w *World) exchangedWith(c *facts.Trip, x looseItem) *exchange {
	pack := c.LastPack()
	if pack == nil {
		return nil
	}
	var best *exchange
	apart := func(e *exchange) time.Duration { return e.at.OtherPacked.Sub(e.at.Packed).Abs() }
	for _, it := range w.PackedBeside(pack, packedBeside) {
		o := w.Trip(w.TripOfItem(it))
		if o.Key.Set == c.Key.Set || o.LastPack() != it || o.List == nil ||
			!slices.ContainsFunc(o.List.Lines, func(l events.Line) bool { return l.Item == x.item }) {
			continue
		}
		ref := w.usedLast(o)
		of := w.loose(o, ref)
		i := slices.IndexFunc(of, func(y looseItem) bool { return y.item == x.item && sign(y.n) == -sign(x.n) })
		if i < 0 {
			continue
		}
		e := &exchange{other: o.Key, ref: ref, x: x, y: of[i], shown: []*facts.Item{it, w.caseState(ref).tallies[o.Key].first}}
		e.at, _ = w.beside(pack, it)
		if best == nil || cmp.Or(cmp.Compare(apart(e), apart(best)), projections.CompareKeys(e.other, best.other)) < 0 {
			best = e
		}
	}
	return best
}

// exchangedAtPacking returns the differences of a set's first count that are the opposite of a neighbour's at packing. Each
// must be the nearest such neighbour of the other, so that both verdicts name the same pair.
func (w *World) exchangedAtPacking(c *facts.Trip, ref string) []exchange {
	var out []exchange
	for _, x := range w.loose(c, ref) {
		e := w.exchangedWith(c, x)
		if e == nil {
			continue
		}
		o := w.Trip(e.other)
		if back := w.exchangedWith(o, e.y); back == nil || back.other != c.Key {
			continue
		}
		if w.trayRead(c, ref) && w.trayRead(o, e.ref) || w.onlyDiffers(c, ref, x.n+e.y.n) && w.onlyDiffers(o, e.ref, x.n+e.y.n) {
			out = append(out, *e)
		}
	}
	slices.SortFunc(out, func(a, b exchange) int {
		return cmp.Or(projections.CompareKeys(a.other, b.other), strings.Compare(a.x.item, b.x.item))
	})
	return out
}

// trayRead reports whether the tag on the tray was read when a set was opened for a case, so that it is this set that was
// counted.
func (w *World) trayRead(c *facts.Trip, ref string) bool {
	return slices.ContainsFunc(c.Readings, func(r facts.Reading) bool {
		return r.Opening && events.CaseOf(r.It.Data) == ref && r.Tray() == c.Key.Set
	})
}

// onlyDiffers reports whether a set's first count has nothing else loose than the one item that was exchanged, of which this
// many are left. Where no tag was read, more than that is rather another set's tray.
func (w *World) onlyDiffers(c *facts.Trip, ref string, left int64) bool {
	return left == 0 && len(w.loose(c, ref)) == 1
}

// move returns the exchange in the form of a move within a case.
func (e *exchange) move(k projections.TripKey) projections.Move {
	m := projections.Move{Item: e.x.item, From: k, To: e.other, Quantity: min(magnitude(e.x.n), magnitude(e.y.n))}
	if sign(e.x.n) == -1 {
		m.From, m.To = m.To, m.From
	}
	return m
}

func (e *exchange) detail(k projections.TripKey) projections.ExchangedAtPacking {
	m := e.move(k)
	return projections.ExchangedAtPacking{
		Set: e.other.Set, Case: e.ref, Line: e.x.line.Line, Description: e.x.line.Description, Quantity: m.Quantity,
		There: m.From == k, Beside: e.at,
	}
}
