package judge

import (
	"slices"
	"strconv"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// lineDiff is one line counted otherwise than expected.
type lineDiff struct {
	line           int64
	item, name     string // item id and description, empty for a line that is not on the list
	beyond         bool   // on no list, and named by the counts
	expected, seen int64
	in             *facts.Item // the count
	leftOut        bool        // the final count came later and has no such line
}

// tally is what a trip's counts come to.
type tally struct {
	first  *facts.Item   // the count the others are held against, nil without one
	final  *facts.Item   // the last final count
	counts []*facts.Item // all, in order

	firstDiffs  []lineDiff // against what was packed
	firstGaps   []int64    // lines not counted at first
	finalDiffs  []lineDiff
	finalGaps   []int64
	midDiffs    map[*facts.Item][]lineDiff // other full counts that differ
	ends        []lineDiff                 // what differs by the last word on each line
	unseen      []unseenLine               // lines not counted at the end
	books       *books                     // the account at the end, which pages show as well
	uncountable bool                       // the list is not known, so what is missing from a count can't be said
}

// unseenLine is a list line with no final figure: the final count omitted it,
// items were added or removed afterwards, or an earlier discrepancy was never
// resolved.
type unseenLine struct {
	lineDiff
	since          *facts.Item // the count that left it out, that says what came or left, or that no final count settled
	last           *facts.Item // the last count that says so
	added, removed int64       // after the final count
}

// countedLine looks a line up in a count, nil where it is left out. Counts are mostly in the list's own
// order, so the place of the line in the list is tried first.
func countedLine(counts []events.Count, i int, line int64) *events.Count {
	if i < len(counts) && counts[i].Line == line {
		return &counts[i]
	}
	if k := lineIn(counts, line); k >= 0 {
		return &counts[k]
	}
	return nil
}

// lineIn returns the place of a line in a count, -1 where it is left out.
func lineIn(counts []events.Count, line int64) int {
	return slices.IndexFunc(counts, func(x events.Count) bool { return x.Line == line })
}

// books is the running account of a trip's lines.
type books struct {
	lines    []events.Line
	packed   []int64 // as packing recorded
	expected []int64 // now: first count + added - removed
	known    []bool  // expected rests on a count
	beyond   []int64 // lines on no list that counts name
}

func (b *books) at(line int64) int {
	for i := range b.lines {
		if b.lines[i].Line == line {
			return i
		}
	}
	// Something was counted that is on no line of the list: expected none.
	b.lines = append(b.lines, events.Line{Line: line})
	b.packed, b.expected, b.known = append(b.packed, 0), append(b.expected, 0), append(b.known, false)
	return len(b.lines) - 1
}

func newBooks(c *facts.Trip) *books {
	b := new(books)
	if c.List == nil {
		return b
	}
	n := len(c.List.Lines)
	b.lines = slices.Clip(c.List.Lines)
	b.packed, b.expected, b.known = make([]int64, n), make([]int64, n), make([]bool, n)
	for i := range b.lines {
		b.packed[i] = b.lines[i].Quantity
	}
	for _, x := range facts.PackOf(c.LastPack()).Exceptions {
		b.packed[b.at(x.Line)] = x.Counted
	}
	copy(b.expected, b.packed)
	return b
}

// bring takes what a count says came to the field that is on no list. A number that
// the list has is the list's line, whatever else a count calls it.
func (b *books) bring(d *events.SetCounted) {
	for _, x := range d.Beyond {
		k := b.at(x.Line)
		b.expected[k] += x.Added
		if l := &b.lines[k]; l.Description == "" {
			l.Item, l.Description, l.Sort = x.Item, x.Description, x.Sort
			b.beyond = append(b.beyond, x.Line)
		}
	}
}

func (b *books) isBeyond(line int64) bool { return slices.Contains(b.beyond, line) }

// packedOf returns how many pieces of an item packing recorded.
func (b *books) packedOf(item string) int64 {
	n := int64(0)
	for i := range b.lines {
		if b.lines[i].Item == item {
			n += b.packed[i]
		}
	}
	return n
}

// most returns how many pieces of an item the set has had by packing or by counts,
// line by line the larger number. What was added during the case does not belong to it.
func (b *books) most(item string) int64 {
	n := int64(0)
	for i := range b.lines {
		if b.lines[i].Item == item && !b.isBeyond(b.lines[i].Line) {
			n += max(b.packed[i], b.expected[i])
		}
	}
	return n
}

// tallyUp goes through a trip's counts of one case in order.
func tallyUp(c *facts.Trip, ref string) *tally { return tallyOf(c, ref, time.Time{}) }

// tallyOf goes through those that were made by a moment; all where that is zero.
func tallyOf(c *facts.Trip, ref string, until time.Time) *tally {
	t := &tally{books: newBooks(c)}
	for _, it := range c.Counted {
		if events.CaseOf(it.Data) == ref && (until.IsZero() || !it.At().After(until)) {
			t.counts = append(t.counts, it)
		}
	}
	if len(t.counts) == 0 {
		return t
	}
	t.uncountable = c.List == nil && !c.Goods()
	begin := 0
	for i, it := range t.counts { // an interrupted first count is begun again: the last one before any other counts
		if facts.CountOf(it).Stage != events.StageFirst {
			break
		}
		t.first, begin = it, i
	}
	if t.first == nil {
		for i, it := range t.counts {
			if facts.CountOf(it).Stage == events.StageFirst {
				t.first, begin = it, i
				break
			}
		}
	}
	for _, it := range t.counts {
		if facts.CountOf(it).Stage == events.StageFinal {
			t.final = it
		}
	}
	b := t.books
	for i, it := range t.counts {
		switch {
		case it == t.first:
			b.open(t, begin)
		case i > begin || facts.CountOf(it).Stage != events.StageFirst:
			b.count(t, it)
		default:
			b.bring(facts.CountOf(it)) // that count is begun again, and what came is there
		}
	}
	t.conclude(b)
	return t
}

// conclude picks the authoritative count for each line. That is the final
// count, unless it left the line out, or was right and a later count differs; else the last
// count that has the line. A piece short before closing is not found by leaving
// its line out at the end.
func (t *tally) conclude(b *books) {
	t.ends = slices.Clip(t.finalDiffs)
	for _, it := range t.counts {
		for _, d := range t.midDiffs[it] {
			if t.lastWord(it, d.line) {
				d.leftOut = t.final != nil && it.Less(t.final)
				t.ends = append(t.ends, d)
			}
		}
	}
	if t.final == nil {
		// What a later count has right stands until a final count settles it.
		for _, it := range t.counts {
			for _, d := range t.midDiffs[it] {
				if t.afterwards(it, d.line) == projections.ThenNothing && !t.lastWord(it, d.line) {
					t.unseenAt(b, d.line, it)
				}
			}
		}
		return
	}
	for _, l := range t.finalGaps {
		t.unseenAt(b, l, t.final)
	}
	for _, it := range t.counts {
		if !t.final.Less(it) {
			continue
		}
		d := facts.CountOf(it)
		for _, r := range d.Removed {
			u := t.unseenAt(b, r.Line, it)
			u.last, u.removed = it, u.removed+r.Quantity
		}
		if d.Stage != events.StageAdded {
			t.unseen = slices.DeleteFunc(t.unseen, func(u unseenLine) bool {
				return lineIn(d.Counts, u.line) >= 0
			})
			continue
		}
		for _, x := range d.Counts {
			if x.Counted != 0 {
				u := t.unseenAt(b, x.Line, it)
				u.last, u.added = it, u.added+x.Counted
			}
		}
	}
}

func (t *tally) unseenAt(b *books, line int64, since *facts.Item) *unseenLine {
	i := slices.IndexFunc(t.unseen, func(u unseenLine) bool { return u.line == line })
	if i < 0 {
		l := &b.lines[b.at(line)]
		i = len(t.unseen)
		d := lineDiff{line: line, item: l.Item, name: l.Description, beyond: b.isBeyond(line)}
		t.unseen = append(t.unseen, unseenLine{lineDiff: d, since: since})
	}
	return &t.unseen[i]
}

// lastWord reports whether what a count says of a line is what stands.
func (t *tally) lastWord(it *facts.Item, line int64) bool {
	for _, x := range slices.Backward(t.counts) {
		switch {
		case x == it:
			return !t.differs(t.final, line)
		case t.has(x, line):
			return false
		}
	}
	return false
}

// has reports whether a count speaks of a line. A final count need not name a line
// of which there should be none, unless the last count before that spoke of it found
// some.
func (t *tally) has(it *facts.Item, line int64) bool {
	d := facts.CountOf(it)
	switch {
	case d.Stage == events.StageAdded:
		return false
	case it == t.final && lineIn(d.Counts, line) < 0:
		return !slices.Contains(t.finalGaps, line) && !t.foundBefore(it, line)
	}
	return lineIn(d.Counts, line) >= 0
}

// foundBefore reports whether the last count before one that spoke of a line had it
// otherwise than expected.
func (t *tally) foundBefore(count *facts.Item, line int64) bool {
	for _, it := range slices.Backward(t.counts) {
		if it.Less(count) && facts.CountOf(it).Stage != events.StageAdded && lineIn(facts.CountOf(it).Counts, line) >= 0 {
			return t.differs(it, line)
		}
	}
	return false
}

// differs reports whether a count has a line otherwise than expected.
func (t *tally) differs(it *facts.Item, line int64) bool {
	ds := t.midDiffs[it]
	if it == t.final {
		ds = t.finalDiffs
	}
	return slices.ContainsFunc(ds, func(d lineDiff) bool { return d.line == line })
}

// open takes the first count: what it says is what the rest is held against.
func (b *books) open(t *tally, at int) {
	d := facts.CountOf(t.counts[at])
	b.remove(d)
	b.bring(d)
	packed := b.packed
	if len(d.Removed)+len(b.beyond) > 0 { // as in any count, it left the field before this one
		packed = slices.Clone(packed)
		for _, r := range d.Removed {
			packed[b.at(r.Line)] -= r.Quantity
		}
		for _, line := range b.beyond { // nobody packed it with the set
			packed[b.at(line)] = b.expected[b.at(line)]
		}
	}
	diffs, gaps := b.compare(d.Counts, packed, t.uncountable)
	if !t.uncountable {
		t.firstDiffs = diffs
	}
	t.firstGaps = gaps
	for i, x := range d.Counts {
		k := i
		if k >= len(b.lines) || b.lines[k].Line != x.Line {
			k = b.at(x.Line)
		}
		b.expected[k], b.known[k] = x.Counted, true
	}
}

func (b *books) remove(d *events.SetCounted) {
	for _, r := range d.Removed {
		b.expected[b.at(r.Line)] -= r.Quantity
	}
}

func (b *books) count(t *tally, it *facts.Item) {
	d := facts.CountOf(it)
	// What left the field left it before the count that records it, and what came did.
	b.remove(d)
	b.bring(d)
	if d.Stage == events.StageAdded {
		for _, x := range d.Counts {
			k := b.at(x.Line)
			b.expected[k], b.known[k] = b.expected[k]+x.Counted, true
		}
		return
	}
	diffs, gaps := b.compare(d.Counts, b.expected, t.uncountable)
	for i := range diffs {
		diffs[i].in = it
	}
	if it == t.final {
		t.finalDiffs, t.finalGaps = diffs, gaps
		return
	}
	if diffs != nil {
		if t.midDiffs == nil {
			t.midDiffs = make(map[*facts.Item][]lineDiff)
		}
		t.midDiffs[it] = diffs
	}
}

// compare holds counts against expected numbers. Without a list only lines
// that an earlier count spoke of can be held against anything. Of what is not on
// the list, and of which there should be none, a count need not speak.
func (b *books) compare(counts []events.Count, expected []int64, uncountable bool) (diffs []lineDiff, gaps []int64) {
	n := len(b.lines)
	for i := range n {
		l := &b.lines[i]
		got := countedLine(counts, i, l.Line)
		switch {
		case got == nil && (l.Quantity > 0 || expected[i] > 0 ||
			b.known[i] && (b.listed(l) || uncountable || expected[i] != 0)):
			gaps = append(gaps, l.Line)
		case got != nil && got.Counted != expected[i]:
			diffs = append(diffs, lineDiff{line: l.Line, item: l.Item, name: l.Description, beyond: b.isBeyond(l.Line),
				expected: expected[i], seen: got.Counted})
		}
	}
	for i, x := range counts {
		if i < n && b.lines[i].Line == x.Line {
			continue
		}
		if k := b.at(x.Line); k >= n && !uncountable && x.Counted != 0 {
			diffs = append(diffs, lineDiff{line: x.Line, seen: x.Counted})
		}
	}
	return diffs, gaps
}

// listed reports whether a line is on the list. One that was only counted has no item,
// or is beyond it.
func (b *books) listed(l *events.Line) bool { return l.Item != "" && !b.isBeyond(l.Line) }

// ItemOf is the key by which a line is reconciled over a case: its catalog number.
// A line without one is like nothing else.
func ItemOf(k projections.TripKey, l events.Line) string {
	if l.Item != "" {
		return l.Item
	}
	return "\x00" + k.Set + "\x00" + k.Trip + "\x00" + strconv.FormatInt(l.Line, 10)
}

func (d *lineDiff) itemOf(k projections.TripKey) string {
	return ItemOf(k, events.Line{Line: d.line, Item: d.item})
}

// byCount parts differences by the counts in which they were found.
func byCount(ds []lineDiff) [][]lineDiff {
	var out [][]lineDiff
	for _, d := range ds {
		i := slices.IndexFunc(out, func(of []lineDiff) bool { return of[0].in == d.in })
		if i < 0 {
			out, i = append(out, nil), len(out)
		}
		out[i] = append(out[i], d)
	}
	return out
}

func linesOf(ds []lineDiff) []int64 {
	out := make([]int64, 0, len(ds))
	for i := range ds {
		if !slices.Contains(out, ds[i].line) {
			out = append(out, ds[i].line)
		}
	}
	slices.Sort(out)
	return out
}

var sequels = []projections.Sequel{projections.ThenNothing, projections.ThenRight, projections.ThenDiffers,
	projections.ThenLeftOut, projections.ThenLater}

func (t *tally) afterwards(it *facts.Item, line int64) projections.Sequel {
	before := t.final != nil && it.Less(t.final)
	switch {
	case before && t.differs(t.final, line):
		return projections.ThenDiffers
	case before && t.has(t.final, line):
		return projections.ThenRight
	case slices.ContainsFunc(t.ends, func(d lineDiff) bool { return d.line == line && it.Less(d.in) }):
		return projections.ThenLater
	case before:
		return projections.ThenLeftOut
	}
	return projections.ThenNothing
}

// wordOn returns the counts that have the last word on lines.
func (t *tally) wordOn(ds []lineDiff) []*facts.Item {
	var out []*facts.Item
	for _, d := range ds {
		for _, e := range t.ends {
			if e.line == d.line {
				out = append(out, e.in)
			}
		}
	}
	return out
}

// countsOf returns the counts that have the last word on an item's lines.
func (t *tally) countsOf(id string, k projections.TripKey) []*facts.Item {
	var out []*facts.Item
	for i := range t.ends {
		if t.ends[i].itemOf(k) == id {
			out = append(out, t.ends[i].in)
		}
	}
	return out
}
