package judge

import (
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func migrationRules() []Rule {
	return []Rule{
		{"high-risk pieces", []projections.Code{projections.PieceMigrated}, (*judgement).migrated},
		{"packed with high-risk pieces", []projections.Code{projections.PieceMigrated}, (*judgement).packedWith},
	}
}

// Instruments for tissues of high risk are to stay in their set: they are not to move from one
// set to another, whatever is known of where they are (NICE IPG666, 1.2 and 1.3). So where
// another set explains what one has too few of, and either is of such a list, that is no relief.

// migration is pieces that lie in another set than theirs, where one of the two is of a list
// of high risk.
type migration struct {
	move  projections.Move
	shown projections.Shown
	load  string
	line  int64
	name  string
	its   []*facts.Item // that show it
	pack  *facts.Item   // by which the set that has the pieces was packed with them; nil: only counts show it
}

// highRisk reports whether a turn's set was packed by a list of high risk, or is one by the register of sets that its
// site held to then.
func (w *World) highRisk(k projections.TripKey) bool {
	c := w.Trip(k)
	if c.List != nil && c.List.HighRisk {
		return true
	}
	pack := c.LastPack()
	if pack == nil {
		return false
	}
	site, _, _ := strings.Cut(pack.Event.Station, "/")
	if !w.EverHeldTo(site, pack.At()) || !w.HoldsTo(site, events.RegisterSets, pack.At()) {
		return false
	}
	d, ok := w.Entered(events.RegisterSets, k.Set, pack.At()).Entry.(*events.SetEntered)
	return ok && d.HighRisk
}

// migrations returns the pieces of high risk that went from or to a turn's set: as the
// packings after its case show it, and of other pieces as its last counts do.
func (w *World) migrations(c *facts.Trip) []migration {
	ref := w.usedLast(c)
	if ref == "" {
		return nil
	}
	var out []migration
	if a := w.assembledAfter(c, ref); a != nil {
		for _, x := range a.items {
			moves, moved := x.movesOf(c.Key, w.backCase(ref).moves)
			for _, m := range moves {
				out = w.addMigration(out, c.Key, m, projections.ShownAssembly, "", x.line)
			}
			if it := w.lastWash(c); it != nil && x.lacks()+x.over() > moved {
				load := facts.ReturnOf(it).WasherLoad
				moves, _ := x.movesOf(c.Key, w.washedTogether(load))
				for _, m := range moves {
					out = w.addMigration(out, c.Key, m, projections.ShownWasher, load, x.line)
				}
			}
		}
	}
	s := w.caseState(ref)
	for _, m := range s.moves {
		if m.From != c.Key && m.To != c.Key {
			continue
		}
		t := s.tallies[c.Key]
		i := slices.IndexFunc(t.ends, func(d lineDiff) bool { return d.itemOf(c.Key) == m.Item })
		if i < 0 || !w.highRisk(m.From) && !w.highRisk(m.To) {
			continue
		}
		l := lineOf(t.books.lines, t.ends[i].line)
		x := migration{move: m, shown: projections.ShownCount, line: l.Line, name: l.Description, its: []*facts.Item{t.ends[i].in}}
		if to := w.Trip(m.To); to.Next != nil && w.differs(m.To, to.Next, m.Item) > 0 {
			x.pack, x.its = to.Next, append(x.its, to.Next)
		}
		out = append(out, x)
	}
	return out
}

func lineOf(lines []events.Line, n int64) events.Line {
	if i := slices.IndexFunc(lines, func(l events.Line) bool { return l.Line == n }); i >= 0 {
		return lines[i]
	}
	return events.Line{Line: n}
}

// addMigration adds a move that the assemblies of its sets show, where it is of high risk.
func (w *World) addMigration(
	all []migration, k projections.TripKey, m projections.Move, shown projections.Shown, load string, line events.Line,
) []migration {
	if !w.highRisk(m.From) && !w.highRisk(m.To) {
		return all
	}
	x := migration{move: m, shown: shown, load: load, line: line.Line, name: line.Description}
	for _, of := range []projections.TripKey{m.From, m.To} {
		c := w.Trip(of)
		a := w.assembledAfter(c, w.usedLast(c))
		x.its = append(x.its, a.pack)
		if of == m.To {
			x.pack = a.pack
		}
		if load != "" {
			x.its = append(x.its, w.lastWash(c))
		}
	}
	return append(all, x)
}

// migrated tells of pieces of high risk that lie in another set. It is told of the set of high
// risk, of two such of the one that lacks the pieces, and noted of the other.
func (j *judgement) migrated() {
	for _, m := range j.w.migrations(j.c) {
		of, other := m.move.From, m.move.To
		if !j.w.highRisk(of) {
			of, other = other, of
		}
		if of != j.c.Key {
			other = of
		}
		d := &projections.Migrated{
			Set: j.c.Key.Set, Case: j.w.usedLast(j.c), Other: other.Set, Shown: m.shown, WasherLoad: m.load, Line: m.line,
			Description: m.name, Quantity: m.move.Quantity, There: m.move.From == j.c.Key,
		}
		sev := projections.SeverityBroken
		its := m.its
		if of != j.c.Key {
			d.By, sev = of.Set, projections.SeverityNoted
		}
		if m.shown == projections.ShownCount {
			if right := j.w.laidBack(m.move); right != nil {
				at := moment(right)
				d.Righted, sev, its = &at, projections.SeverityNoted, append(its, right)
			}
		}
		f := j.add(projections.PieceMigrated, sev, d, its...)
		f.From, f.To, f.Lines = m.its[0].At(), m.its[len(m.its)-1].At(), []int64{m.line}
		f.Other = &projections.TripKey{Set: other.Set, Trip: other.Trip}
	}
}

// laidBack returns the later of the next packings of two sets, where each has its own pieces by it of what
// the counts had in the wrong one; nil while one of them was not packed, or not so.
func (w *World) laidBack(m projections.Move) *facts.Item {
	from, to := w.Trip(m.From).Next, w.Trip(m.To).Next
	if from == nil || to == nil || w.differs(m.From, from, m.Item) < 0 || w.differs(m.To, to, m.Item) > 0 {
		return nil
	}
	if from.Less(to) {
		return to
	}
	return from
}

// differs returns by how many pieces of an item a packing of a turn's set, or of its next one, differs
// from its list.
func (w *World) differs(k projections.TripKey, pack *facts.Item, item string) int64 {
	list, d := w.ListAt(pack), facts.PackOf(pack)
	if list == nil || d == nil {
		return 0
	}
	for _, x := range itemsPacked(list, d) {
		if ItemOf(k, events.Line{Line: x.line.Line, Item: x.name}) == item {
			return x.packed - x.listed - x.standIn
		}
	}
	return 0
}

// packedWith finds a set that was packed with pieces of another one, where either is of high
// risk: until it is packed without them, it is not to be opened for anybody.
func (j *judgement) packedWith() {
	if j.c.Prev == "" || !slices.ContainsFunc(j.c.Packed, j.w.packedOver) {
		return
	}
	before := j.w.Trip(projections.TripKey{Set: j.c.Key.Set, Trip: j.c.Prev})
	for _, m := range j.w.migrations(before) {
		if m.pack == nil || m.pack.Event.Trip != j.c.Key.Trip {
			continue
		}
		sev := projections.SeverityBroken
		d := &projections.PackedWithMigrated{Set: j.c.Key.Set, Other: m.move.From.Set, Packed: moment(m.pack), Line: m.line,
			Description: m.name, Quantity: m.move.Quantity}
		its := m.its
		j.w.Trip(projections.TripKey{Set: m.pack.Event.Subject, Trip: m.pack.Event.Trip}) // what lies around it
		again := j.w.PackedAfter(m.pack)
		if again != nil && j.w.differs(before.Key, again, m.move.Item) <= 0 && !j.usedBetween(m.pack, again) {
			at := moment(again)
			d.Righted, sev, its = &at, projections.SeverityNoted, append(its, again)
		}
		f := j.add(projections.PieceMigrated, sev, d, its...)
		f.From, f.To, f.Lines = m.pack.At(), m.pack.At(), []int64{m.line}
		f.Other = &projections.TripKey{Set: m.move.From.Set, Trip: m.move.From.Trip}
	}
}

// packedOver reports whether a packing has more pieces in some line than its list.
func (w *World) packedOver(pack *facts.Item) bool {
	list, d := w.ListAt(pack), facts.PackOf(pack)
	return list != nil && slices.ContainsFunc(d.Exceptions, func(x events.Exception) bool {
		return x.Counted > lineOf(list.Lines, x.Line).Quantity
	})
}

// usedBetween reports whether a turn's set was opened between two packings.
func (j *judgement) usedBetween(from, to *facts.Item) bool {
	return slices.ContainsFunc(j.w.openings(j.c), func(it *facts.Item) bool { return from.Less(it) && it.Less(to) })
}
