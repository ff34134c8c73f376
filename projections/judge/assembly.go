package judge

import (
	"slices"
	"strconv"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func assemblyRules() []Rule {
	return []Rule{
		{"assembly", []projections.Code{projections.CameBackShort, projections.CameBackOver}, (*judgement).cameBack},
		{"missed", []projections.Code{projections.CameBackShort}, (*judgement).missed},
	}
}

// The next packing of a set is a count: by other people, in good light, hours after
// the case. It is compared with the last account of the case that the set was used in,
// and reported with the turn of that case, since that is where a piece is looked for.
//
// Only a packing's exceptions say what is in the tray; one without any is as listed.
// There should be no more than the list says at that time: what was added to the set during
// a case is not part of it, and what a new version of the list leaves out was taken out.

// assembled is a set's assembly after a case, where it is not as it was last known.
type assembled struct {
	pack   *facts.Item
	counts []*facts.Item // that have the last word on the pieces
	unsure bool          // whether it was this set that was counted
	items  []*backItem
}

// backItem is one item of a set, in all its lines.
type backItem struct {
	id, name string // name: the catalogue number
	line     events.Line
	reason   string
	stage    events.Stage
	counted  *facts.Item
	before   int64 // as packed for the case
	known    int64 // at its end, by the last word on each line, else as packed
	expected int64 // at its end, by what was counted first, added and removed
	listed   int64 // by the list of the assembly
	packed   int64 // then
	inHand   int64 // of what the assembly lacks, what it says is damaged or in repair
	replaced int64 // and what something else lies in the place of
	standIn  int64 // pieces over since they stand in for others
	excepted bool
	had      bool // the list before has it too
	reported
}

// should is how many pieces the assembly should have had.
func (x *backItem) should() int64 { return min(x.known, x.listed) }

func (x *backItem) short() int64 { return max(0, x.should()-x.packed) }

func (x *backItem) over() int64 {
	return max(0, x.packed-max(x.known, x.listed)-x.standIn)
}

// missed is what was missing at the end of the case and is missing at assembly as well.
func (x *backItem) missed() int64 {
	return max(0, min(x.expected, x.listed)-max(x.should(), x.packed))
}

// lacks is what neither the packing itself nor a report explains.
func (x *backItem) lacks() int64 { return x.short() - min(x.short(), x.inHand+x.repaired+x.found) }

// backCase is what the assemblies after a case come to over its sets.
type backCase struct {
	sets  map[projections.TripKey]*assembled
	moves []projections.Move
	trips int
}

func (w *World) backCase(ref string) *backCase {
	return w.backCases.Get(w.Book, ref, func() *backCase { return w.assembleCase(ref) })
}

func (w *World) assembleCase(ref string) *backCase {
	b := &backCase{sets: make(map[projections.TripKey]*assembled)}
	var bs []projections.Balance
	trips := w.CaseTrips(ref)
	b.trips = len(trips)
	for _, k := range trips {
		c := w.Trip(k)
		if w.usedLast(c) != ref {
			continue
		}
		a := w.assembledAfter(c, ref)
		if a == nil {
			continue
		}
		b.sets[k] = a
		for _, x := range a.items {
			bs = append(bs, projections.Balance{Key: k, Item: ItemOf(k, events.Line{Line: x.line.Line, Item: x.name}),
				Expected: x.lacks(), Counted: x.over()})
		}
	}
	b.moves, _ = Reconcile(bs)
	return b
}

// usedLast returns the case in which a trip's set was used last, whatever name its tray
// was opened under.
func (w *World) usedLast(c *facts.Trip) string {
	if c.CaseRef != "" {
		return c.CaseRef
	}
	if of := w.openings(c); len(of) > 0 {
		return events.CaseOf(of[len(of)-1].Data)
	}
	return ""
}

// assembledAfter returns a set's assembly after a case, nil where it is as the set was
// last known. That is the next packing; or the one after it, where the set was not
// opened in between: a piece may be missed only when it is packed again.
func (w *World) assembledAfter(c *facts.Trip, ref string) *assembled {
	if c.Next == nil || c.LastPack() == nil || lentAnew(c) {
		return nil
	}
	if a := w.heldAgainst(c, ref, c.Next); a != nil {
		return a
	}
	again := w.PackedAfter(c.Next)
	if again == nil || len(facts.PackOf(again).Exceptions) == 0 {
		return nil
	}
	next := w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Next.Event.Trip})
	if of := w.openings(next); len(of) > 0 && of[0].Less(again) {
		return nil
	}
	return w.heldAgainst(c, ref, again)
}

// heldAgainst holds a packing against the account of a case, nil where it agrees.
func (w *World) heldAgainst(c *facts.Trip, ref string, pack *facts.Item) *assembled {
	d := facts.PackOf(pack)
	if d == nil || len(d.Exceptions) == 0 {
		return nil
	}
	list := w.ListAt(pack)
	if list == nil {
		return nil
	}
	a := &assembled{pack: pack}
	items := itemsPacked(list, d)
	w.account(c, ref, a, items)
	w.reports(c, ref, a.pack, items)
	for _, x := range items {
		if x.excepted && x.had && (x.short() > 0 || x.over() > 0 || x.missed() > 0) {
			a.items = append(a.items, x)
			if x.counted != nil {
				a.counts = append(a.counts, x.counted)
			}
		}
	}
	if len(a.items) == 0 {
		return nil
	}
	return a
}

// backKey is by what an item is found in another packing of the set: its catalogue
// number, else its line of the same list.
func backKey(list string, l events.Line) string {
	if l.Item != "" {
		return l.Item
	}
	return "\x00" + list + "\x00" + strconv.FormatInt(l.Line, 10)
}

// itemsPacked returns the items of a list, as a packing says they were packed.
func itemsPacked(list *events.ListIssued, d *events.SetPacked) []*backItem {
	var out []*backItem
	at := make(map[string]*backItem)
	for _, l := range list.Lines {
		id := backKey(list.List, l)
		x := at[id]
		if x == nil {
			x = &backItem{id: id, name: l.Item, line: l}
			at[id], out = x, append(out, x)
		}
		n := l.Quantity
		if i := slices.IndexFunc(d.Exceptions, func(e events.Exception) bool { return e.Line == l.Line }); i >= 0 {
			x.except(l, d.Exceptions[i])
			n = d.Exceptions[i].Counted
		}
		x.listed, x.packed = x.listed+l.Quantity, x.packed+n
	}
	return out
}

func (x *backItem) except(l events.Line, e events.Exception) {
	if less := l.Quantity - e.Counted; less >= 0 {
		switch e.Reason {
		case events.ReasonDamaged, events.ReasonRepair:
			x.inHand += less
		case events.ReasonSubstituted:
			x.replaced += less
		}
	} else if e.Reason == events.ReasonSubstituted {
		x.standIn -= less
	}
	if !x.excepted {
		x.line, x.reason = l, e.Reason
	}
	x.excepted = true
}

// account fills in what was last known of items in a case. Where another tray was opened
// under the set's name, or this one under another's, whose pieces were counted is not
// sure, and what was packed for the case is what is known.
func (w *World) account(c *facts.Trip, ref string, a *assembled, items []*backItem) {
	t := tallyUp(c, ref)
	a.unsure = w.otherTray(c, ref) ||
		slices.ContainsFunc(t.counts, func(it *facts.Item) bool { return !it.Less(a.pack) })
	if a.unsure {
		t = tallyUp(c, "")
	}
	list := facts.PackOf(c.LastPack()).List
	for _, x := range items {
		for i := range t.books.lines {
			l := &t.books.lines[i]
			if t.books.isBeyond(l.Line) || backKey(list, *l) != x.id {
				continue
			}
			known := t.books.expected[i]
			if k := slices.IndexFunc(t.ends, func(d lineDiff) bool { return d.line == l.Line }); k >= 0 {
				known = t.ends[k].seen
			}
			x.had = true
			x.before, x.known, x.expected = x.before+t.books.packed[i], x.known+known, x.expected+t.books.expected[i]
			if it := t.lastOf(l.Line); it != nil && (x.counted == nil || x.counted.Less(it)) {
				x.counted, x.stage = it, facts.CountOf(it).Stage
			}
		}
	}
}

// lastOf returns the count that has the last word on a line, nil where none speaks of it.
func (t *tally) lastOf(line int64) *facts.Item {
	if i := slices.IndexFunc(t.ends, func(d lineDiff) bool { return d.line == line }); i >= 0 {
		return t.ends[i].in
	}
	for _, it := range slices.Backward(t.counts) {
		if d := facts.CountOf(it); d.Stage != events.StageAdded && lineIn(d.Counts, line) >= 0 {
			return it
		}
	}
	return nil
}

// otherTray reports whether a case's openings under a trip's name were of another tray, or
// this trip's tray was opened for it under another name.
func (w *World) otherTray(c *facts.Trip, ref string) bool {
	return slices.ContainsFunc(w.openings(c), func(it *facts.Item) bool {
		return events.CaseOf(it.Data) == ref && (it.Event.Subject != c.Key.Set || w.trayOf(c, it) != c.Key.Set)
	})
}

// cameBack tells of a set that was not assembled as it was last known in its case.
func (j *judgement) cameBack() {
	ref := ""
	if j.c.Next != nil {
		ref = j.w.usedLast(j.c)
	}
	if ref == "" {
		return
	}
	a := j.w.assembledAfter(j.c, ref)
	if a == nil {
		return
	}
	b := j.w.backCase(ref)
	load := ""
	var washed []projections.Move
	if it := j.w.lastWash(j.c); it != nil && slices.ContainsFunc(a.items, func(x *backItem) bool { return x.rest(j.c.Key, b.moves) }) {
		load = facts.ReturnOf(it).WasherLoad
		washed = j.w.washedTogether(load)
	}
	var parts []*backPart
	for _, x := range a.items {
		for _, p := range x.parts(j.c.Key, b.moves, washed) {
			i := slices.IndexFunc(parts, p.same)
			if i < 0 {
				parts = append(parts, p)
				continue
			}
			parts[i].items, parts[i].lines = append(parts[i].items, p.items...), append(parts[i].lines, p.lines...)
			parts[i].moves, parts[i].reports = append(parts[i].moves, p.moves...), append(parts[i].reports, p.reports...)
		}
	}
	for _, p := range parts {
		j.cameBackBy(ref, load, a, b, p)
	}
}

// backPart is what one explanation makes of some items of a set.
type backPart struct {
	code    projections.Code
	why     projections.BackWhy
	counted bool
	items   []*backItem
	lines   []projections.BackLine
	moves   []projections.Move
	reports []*facts.Item
}

func (p *backPart) same(q *backPart) bool {
	return p.code == q.code && p.why == q.why && p.counted == q.counted
}

// movesOf returns those moves that pieces of an item take from or to a set, and how many pieces they are.
func (x *backItem) movesOf(k projections.TripKey, all []projections.Move) (moves []projections.Move, pieces int64) {
	id := ItemOf(k, events.Line{Line: x.line.Line, Item: x.name})
	for _, m := range all {
		if m.Item == id && (m.From == k || m.To == k) {
			moves, pieces = append(moves, m), pieces+m.Quantity
		}
	}
	return moves, pieces
}

// rest reports whether some pieces are explained neither by what is known of the set itself nor by its case.
func (x *backItem) rest(k projections.TripKey, moves []projections.Move) bool {
	_, moved := x.movesOf(k, moves)
	return x.lacks()+x.over() > moved
}

// parts explains an item's pieces, the strongest explanation first: by moves within the case, and by those
// within a load of a washer.
func (x *backItem) parts(k projections.TripKey, inCase, inWasher []projections.Move) (out []*backPart) {
	left := x.short()
	code := projections.CameBackShort
	add := func(why projections.BackWhy, n int64, moves ...projections.Move) {
		if n = min(n, left); n <= 0 {
			return
		}
		left -= n
		l := projections.BackLine{Line: x.line.Line, Item: x.line.Item, Description: x.line.Description, Stage: x.stage,
			Known: x.known, Packed: x.packed, Pieces: n, Reason: x.reason}
		if x.counted != nil {
			l.Counted = x.counted.At()
		}
		var reports []*facts.Item
		switch why {
		case projections.BackRepair:
			reports = x.repairs
		case projections.BackFound:
			reports = x.finds
		case projections.BackUnexplained:
			if x.missing != nil && code == projections.CameBackShort {
				l.Missed, reports = x.missing.At(), []*facts.Item{x.missing}
			}
		case projections.BackAtCount:
			l.Missing = x.expected - x.known
		case projections.BackBefore:
			l.Before = x.before
		}
		out = append(out, &backPart{code: code, why: why, counted: x.counted != nil, items: []*backItem{x},
			lines: []projections.BackLine{l}, moves: moves, reports: reports})
	}
	moves, moved := x.movesOf(k, inCase)
	washes, washed := x.movesOf(k, inWasher)
	add(projections.BackInHand, x.inHand)
	add(projections.BackRepair, x.repaired)
	add(projections.BackFound, x.found)
	add(projections.BackElsewhere, moved, moves...)
	add(projections.BackWasher, washed, washes...)
	add(projections.BackBefore, x.should()-x.before)
	add(projections.BackSubstituted, x.replaced)
	add(projections.BackUnexplained, left)
	left = x.missed()
	add(projections.BackAtCount, left)
	code, left = projections.CameBackOver, x.over()
	add(projections.BackElsewhere, moved, moves...)
	add(projections.BackWasher, washed, washes...)
	add(projections.BackUnexplained, left)
	return out
}

// severity is how heavy a part weighs before anything has put it right. What the counts of
// the case had missing is told by themselves; without a count nobody knows since when.
func (p *backPart) severity() projections.Severity {
	switch {
	case p.why == projections.BackInHand, p.why == projections.BackRepair, p.why == projections.BackFound,
		p.why == projections.BackAtCount, p.code == projections.CameBackOver && p.why != projections.BackUnexplained:
		return projections.SeverityNoted
	case p.why == projections.BackUnexplained && p.code == projections.CameBackShort && p.counted:
		return projections.SeverityBroken
	}
	return projections.SeverityDoubtful
}

func (j *judgement) cameBackBy(ref, load string, a *assembled, b *backCase, p *backPart) {
	d := &projections.CameBack{
		Set: j.c.Key.Set, Case: ref, Why: p.why, Lines: p.lines, Packed: moment(a.pack), Sets: max(1, b.trips), Unsure: a.unsure,
	}
	shown := append([]*facts.Item{a.pack}, a.counts...)
	if closing := j.closedBefore(ref, a.pack); closing != nil {
		d.Closed = closing.At()
		d.Hours = int64(d.Packed.At.Sub(d.Closed) / time.Hour)
		shown = append(shown, closing)
	}
	for _, m := range p.moves {
		for _, k := range []projections.TripKey{m.From, m.To} {
			if k == j.c.Key {
				continue
			}
			if o := b.sets[k]; o != nil {
				shown = append(shown, o.pack)
			} else if c := j.w.Trip(k); p.why == projections.BackWasher {
				shown = append(shown, j.w.assembledAfter(c, j.w.usedLast(c)).pack, j.w.lastWash(c))
			}
		}
	}
	if p.why == projections.BackWasher {
		d.WasherLoad, shown = load, append(shown, j.w.lastWash(j.c))
	}
	for _, it := range p.reports {
		d.Reports, shown = append(d.Reports, pieceReport(it)), append(shown, it)
	}
	d.Moves = movesOf(j.c.Key, p.moves)
	sev := p.severity()
	if p.code == projections.CameBackOver {
		d.By = shortSets(p.moves)
	}
	if right := j.packedRight(a.pack, p); right != nil {
		m := moment(right)
		d.Settled, sev, shown = &m, projections.SeverityNoted, append(shown, right)
	}
	f := j.add(p.code, sev, d, shown...)
	f.From, f.To = j.lastSeenIn(ref, p), a.pack.At()
	if !slices.ContainsFunc(p.lines, func(l projections.BackLine) bool { return l.Missed.IsZero() }) {
		f.To = time.Time{}
		for i := range p.lines {
			f.To = facts.Latest(f.To, p.lines[i].Missed)
		}
	}
	for i := range p.lines {
		f.Lines = append(f.Lines, p.lines[i].Line)
	}
	slices.Sort(f.Lines)
}

// lastSeenIn returns when a part's pieces were last known of: at their last count, else at
// the packing before the case.
func (j *judgement) lastSeenIn(ref string, p *backPart) time.Time {
	var last time.Time
	for _, x := range p.items {
		if x.counted != nil {
			last = facts.Latest(last, x.counted.At())
		}
	}
	if last.IsZero() {
		last = j.c.LastPack().At()
	}
	return last
}

// closedBefore returns the last closing of a case before a packing (nil: at all), nil without one.
func (j *judgement) closedBefore(ref string, pack *facts.Item) *facts.Item {
	j.w.CaseTrips(ref) // asks for the case
	var last *facts.Item
	for _, it := range j.w.CaseFacts(ref) {
		if it.Kind == events.KindCaseClosed && !it.Void && events.CaseOf(it.Data) == ref && (pack == nil || it.Less(pack)) &&
			(last == nil || last.Less(it)) {
			last = it
		}
	}
	return last
}

// packedRight returns the first packing after an assembly by which the set has as many
// pieces of all items of a part as it should, nil without one. They may come from the stock.
func (j *judgement) packedRight(pack *facts.Item, p *backPart) *facts.Item {
	for {
		j.w.Trip(projections.TripKey{Set: j.c.Key.Set, Trip: pack.Event.Trip}) // what lies around it
		if pack = j.w.PackedAfter(pack); pack == nil {
			return nil
		}
		list, d := j.w.ListAt(pack), facts.PackOf(pack)
		if list == nil {
			continue
		}
		now := itemsPacked(list, d)
		if !slices.ContainsFunc(p.items, func(x *backItem) bool {
			i := slices.IndexFunc(now, func(y *backItem) bool { return y.id == x.id })
			switch {
			case i < 0: // on the list no more
				return false
			case p.code == projections.CameBackOver:
				return now[i].packed > now[i].listed+now[i].standIn
			}
			return now[i].packed < min(max(x.should(), x.expected), now[i].listed)
		}) {
			return pack
		}
	}
}
