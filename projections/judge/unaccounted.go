package judge

import (
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

func unaccountedRules() []Rule {
	return []Rule{
		{"unaccounted", []projections.Code{projections.CountShort, projections.CountOver}, eachCase((*judgement).ends)},
	}
}

// itemAccount is what the last word on each line of one item comes to, in one
// set and over its case.
type itemAccount struct {
	item    string
	net     int64 // short, less than 0: over
	lines   []lineDiff
	moves   []projections.Move // what another set of the case explains
	here    int64              // unaccounted for in this set
	total   int64              // and over all sets of the case
	further []*facts.Item      // the counts of those other sets
}

// itemAccounts returns the items of a set that do not come out at the end.
func itemAccounts(k projections.TripKey, s *caseState, t *tally) []*itemAccount {
	var out []*itemAccount
	for _, d := range t.ends {
		id := d.itemOf(k)
		i := slices.IndexFunc(out, func(x *itemAccount) bool { return x.item == id })
		if i < 0 {
			out, i = append(out, &itemAccount{item: id}), len(out)
		}
		out[i].net += d.expected - d.seen
		out[i].lines = append(out[i].lines, d)
	}
	for _, x := range out {
		x.explain(k, s)
	}
	return out
}

// explain takes over what the reconciliation of the case says of the item.
func (x *itemAccount) explain(k projections.TripKey, s *caseState) {
	for _, m := range s.moves {
		if m.Item != x.item || m.From != k && m.To != k {
			continue
		}
		x.moves = append(x.moves, m)
		other := m.From
		if other == k {
			other = m.To
		}
		if o := s.tallies[other]; o != nil {
			x.further = append(x.further, o.countsOf(x.item, other)...)
		}
	}
	for _, l := range s.left {
		if l.Item != x.item {
			continue
		}
		x.total += l.Quantity
		if l.Key == k {
			x.here = l.Quantity
		}
	}
}

// ends judges the last word on each line, item by item over the whole case. A
// misplaced piece asks something of somebody once, of the set that is short of it:
// that says where it probably lies, until that set is packed with all of them
// again. With the set that it lies in it is noted.
func (j *judgement) ends(t counts) {
	set := j.c.Key.Set
	for _, x := range itemAccounts(j.c.Key, t.state, t.tally) {
		code := projections.CountShort
		if x.net < 0 {
			code = projections.CountOver
		}
		counts := countsDiffer(x.lines)
		if x.net == 0 { // one line of the set lies in another line of the same item
			j.addEnd(t.tally, x, code, projections.SeverityNoted, &projections.BetweenLines{Set: set, Counts: counts})
			continue
		}
		if len(x.moves) > 0 {
			sev, d := projections.SeverityDoubtful, &projections.Misplaced{Set: set, Counts: counts, Moves: movesOf(j.c.Key, x.moves)}
			shown := x.further
			if x.net < 0 {
				sev, d.By = projections.SeverityNoted, shortSets(x.moves)
			} else if p := j.packedFull(t.tally, x); p != nil {
				m := moment(p)
				sev, d.Righted, shown = projections.SeverityNoted, &m, append(shown, p)
			}
			j.addEnd(t.tally, x, code, sev, d, shown...)
		}
		if x.here != 0 {
			j.addEnd(t.tally, x, code, projections.SeverityBroken, &projections.Unaccounted{
				Set: set, Counts: counts, Here: x.here, Total: x.total, Sets: len(t.state.trips),
			})
		}
	}
}

// packedFull returns the set's first packing after the counts of an item by which
// it has as many of it as it had before it was short, nil without one. Where not
// all that is short lies in other sets, no packing says that the rest was found:
// it can come from the stock.
func (j *judgement) packedFull(t *tally, x *itemAccount) *facts.Item {
	if x.here != 0 || slices.ContainsFunc(x.lines, func(d lineDiff) bool { return d.beyond }) {
		return nil // what came singly is packed with no set
	}
	full := t.books.most(x.item)
	for c := j.c; c.Next != nil; {
		next := c.Next
		c = j.w.Trip(projections.TripKey{Set: j.c.Key.Set, Trip: next.Event.Trip})
		pack := c.LastPack()
		if pack == nil {
			return nil
		}
		counted := !slices.ContainsFunc(x.lines, func(d lineDiff) bool { return !d.in.Less(pack) })
		if counted && newBooks(c).packedOf(x.item) >= full {
			return pack
		}
	}
	return nil
}

// shortSets returns the sets that pieces belong to, each once.
func shortSets(moves []projections.Move) []string {
	var out []string
	for _, m := range moves {
		if !slices.Contains(out, m.From.Set) {
			out = append(out, m.From.Set)
		}
	}
	return out
}

func (j *judgement) addEnd(
	t *tally, x *itemAccount, code projections.Code, sev projections.Severity, d projections.Detail, further ...*facts.Item,
) {
	shown := append([]*facts.Item{t.first}, further...)
	var last *facts.Item
	for _, l := range x.lines {
		shown = append(shown, l.in)
		if l.leftOut {
			shown = append(shown, t.final)
		}
		if last == nil || last.Less(l.in) {
			last = l.in
		}
	}
	f := j.add(code, sev, d, shown...)
	f.Lines, f.From, f.To = linesOf(x.lines), last.At(), last.At()
	if t.first != nil {
		f.From = t.first.At()
	}
}
