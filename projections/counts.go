package projections

import (
	"slices"
	"strconv"

	"listbound/events"
)

// lineDiff is one line counted otherwise than expected.
type lineDiff struct {
	line           int64
	item, name     string // item id and description, empty for a line that is not on the list
	expected, seen int64
	in             *item // the count
	leftOut        bool  // the final count came later and has no such line
}

// tally is what a trip's counts come to.
type tally struct {
	first  *item   // the count the others are held against, nil without one
	final  *item   // the last final count
	counts []*item // all, in order

	firstDiffs  []lineDiff // against what was packed
	firstGaps   []int64    // lines not counted at first
	finalDiffs  []lineDiff
	finalGaps   []int64
	midDiffs    map[*item][]lineDiff // other full counts that differ
	ends        []lineDiff           // what differs by the last word on each line
	unseen      []unseenLine         // lines not counted at the end
	uncountable bool                 // the list is not known, so what is missing from a count can't be said
}

// unseenLine is a line that no count has at the end: the final count left it
// out, pieces came or left after it, or none settled an earlier difference.
type unseenLine struct {
	lineDiff
	since          *item // the count that left it out, that says what came or left, or that no final count settled
	last           *item // the last count that says so
	added, removed int64 // after the final count
}

func countOf(it *item) *events.SetCounted {
	d, _ := it.data.(*events.SetCounted)
	return d
}

// countedLine looks a line up in a count. Counts are mostly in the list's own
// order, so the place of the line in the list is tried first.
func countedLine(counts []events.Count, i int, line int64) (int64, bool) {
	if i < len(counts) && counts[i].Line == line {
		return counts[i].Counted, true
	}
	for k := range counts {
		if counts[k].Line == line {
			return counts[k].Counted, true
		}
	}
	return 0, false
}

// books is the running account of a trip's lines.
type books struct {
	lines    []events.Line
	packed   []int64 // as packing recorded
	expected []int64 // now: first count + added - removed
	known    []bool  // expected rests on a count
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

func newBooks(c *chain) *books {
	b := new(books)
	if c.list == nil {
		return b
	}
	n := len(c.list.Lines)
	b.lines = slices.Clip(c.list.Lines)
	b.packed, b.expected, b.known = make([]int64, n), make([]int64, n), make([]bool, n)
	for i := range b.lines {
		b.packed[i] = b.lines[i].Quantity
	}
	for _, x := range packOf(c.lastPack()).Exceptions {
		b.packed[b.at(x.Line)] = x.Counted
	}
	copy(b.expected, b.packed)
	return b
}

// tallyUp goes through a trip's counts of one case in order.
func tallyUp(c *chain, ref string) *tally {
	t := new(tally)
	for _, it := range c.counted {
		if caseOf(it.data) == ref {
			t.counts = append(t.counts, it)
		}
	}
	if len(t.counts) == 0 {
		return t
	}
	t.uncountable = c.list == nil
	begin := 0
	for i, it := range t.counts { // an interrupted first count is begun again: the last one before any other counts
		if countOf(it).Stage != events.StageFirst {
			break
		}
		t.first, begin = it, i
	}
	if t.first == nil {
		for i, it := range t.counts {
			if countOf(it).Stage == events.StageFirst {
				t.first, begin = it, i
				break
			}
		}
	}
	for _, it := range t.counts {
		if countOf(it).Stage == events.StageFinal {
			t.final = it
		}
	}
	b := newBooks(c)
	for i, it := range t.counts {
		switch {
		case it == t.first:
			b.open(t, begin)
		case i > begin || countOf(it).Stage != events.StageFirst:
			b.count(t, it)
		}
	}
	t.conclude(b)
	return t
}

// conclude finds the last word on each line. The final count has it, unless it
// left the line out, or was right and a later count differs; else the last
// count that has the line. A piece short before closing is not found by leaving
// its line out at the end.
func (t *tally) conclude(b *books) {
	t.ends = slices.Clip(t.finalDiffs)
	for _, it := range t.counts {
		for _, d := range t.midDiffs[it] {
			if t.lastWord(it, d.line) {
				d.leftOut = t.final != nil && it.less(t.final)
				t.ends = append(t.ends, d)
			}
		}
	}
	if t.final == nil {
		// What a later count has right stands until a final count settles it.
		for _, it := range t.counts {
			for _, d := range t.midDiffs[it] {
				if t.afterwards(it, d.line) == thenNothing && !t.lastWord(it, d.line) {
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
		if !t.final.less(it) {
			continue
		}
		d := countOf(it)
		for _, r := range d.Removed {
			u := t.unseenAt(b, r.Line, it)
			u.last, u.removed = it, u.removed+r.Quantity
		}
		if d.Stage != events.StageAdded {
			t.unseen = slices.DeleteFunc(t.unseen, func(u unseenLine) bool {
				_, ok := countedLine(d.Counts, 0, u.line)
				return ok
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

func (t *tally) unseenAt(b *books, line int64, since *item) *unseenLine {
	i := slices.IndexFunc(t.unseen, func(u unseenLine) bool { return u.line == line })
	if i < 0 {
		l := &b.lines[b.at(line)]
		i = len(t.unseen)
		t.unseen = append(t.unseen, unseenLine{lineDiff: lineDiff{line: line, item: l.Item, name: l.Description}, since: since})
	}
	return &t.unseen[i]
}

// lastWord says whether what a count says of a line is what stands.
func (t *tally) lastWord(it *item, line int64) bool {
	for i := len(t.counts) - 1; i >= 0; i-- {
		switch x := t.counts[i]; {
		case x == it:
			return !t.differs(t.final, line)
		case t.has(x, line):
			return false
		}
	}
	return false
}

// has says whether a count speaks of a line. A final count need not name a line
// of which there should be none.
func (t *tally) has(it *item, line int64) bool {
	d := countOf(it)
	switch {
	case d.Stage == events.StageAdded:
		return false
	case it == t.final:
		return !slices.Contains(t.finalGaps, line)
	}
	_, ok := countedLine(d.Counts, 0, line)
	return ok
}

// differs says whether a count has a line otherwise than expected.
func (t *tally) differs(it *item, line int64) bool {
	ds := t.midDiffs[it]
	if it == t.final {
		ds = t.finalDiffs
	}
	return slices.ContainsFunc(ds, func(d lineDiff) bool { return d.line == line })
}

// open takes the first count: what it says is what the rest is held against.
func (b *books) open(t *tally, at int) {
	d := countOf(t.counts[at])
	b.remove(d)
	packed := b.packed
	if len(d.Removed) > 0 { // as in any count, it left the field before this one
		packed = slices.Clone(packed)
		for _, r := range d.Removed {
			packed[b.at(r.Line)] -= r.Quantity
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

func (b *books) count(t *tally, it *item) {
	d := countOf(it)
	// What left the field left it before the count that records it.
	b.remove(d)
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
	if len(diffs) > 0 {
		if t.midDiffs == nil {
			t.midDiffs = make(map[*item][]lineDiff)
		}
		t.midDiffs[it] = diffs
	}
}

// compare holds counts against expected numbers. Without a list only lines
// that an earlier count spoke of can be held against anything.
func (b *books) compare(counts []events.Count, expected []int64, uncountable bool) (diffs []lineDiff, gaps []int64) {
	n := len(b.lines)
	for i := range n {
		l := &b.lines[i]
		got, ok := countedLine(counts, i, l.Line)
		switch {
		case !ok && (l.Quantity > 0 || expected[i] > 0 || b.known[i]):
			gaps = append(gaps, l.Line)
		case ok && got != expected[i]:
			diffs = append(diffs, lineDiff{line: l.Line, item: l.Item, name: l.Description, expected: expected[i], seen: got})
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

// itemOf is the key by which lines are reconciled over a case. A line that no
// list explains is like nothing else.
func (d *lineDiff) itemOf(k TripKey) string {
	if d.item != "" {
		return d.item
	}
	return "\x00" + k.Set + "\x00" + k.Trip + "\x00" + strconv.FormatInt(d.line, 10)
}

// caseState is what the counts of a case come to over all its sets.
type caseState struct {
	trips   []TripKey
	tallies map[TripKey]*tally
	moves   []Move
	left    []Leftover
}

func (w *World) caseState(ref string) *caseState {
	w.fresh()
	if s, ok := w.derived.cases[ref]; ok {
		return s
	}
	s := &caseState{trips: w.caseTrips(ref), tallies: make(map[TripKey]*tally)}
	var bs []Balance
	for _, k := range s.trips {
		t := tallyUp(w.chain(k), ref)
		s.tallies[k] = t
		for i := range t.ends {
			d := &t.ends[i]
			bs = append(bs, Balance{Key: k, Item: d.itemOf(k), Expected: d.expected, Counted: d.seen})
		}
	}
	if len(bs) > 0 {
		s.moves, s.left = Reconcile(bs)
	}
	w.fresh()
	w.derived.cases[ref] = s
	return s
}

// counts judges what was counted, in every case the set was used for: opening
// it for another one takes nothing back.
func (j *judgement) counts(linkMissing bool) {
	for i := range j.c.cases {
		j.countsOf(&j.c.cases[i], linkMissing)
	}
}

func (j *judgement) countsOf(u *caseUse, linkMissing bool) {
	c := j.c
	s := j.w.caseState(u.ref)
	t := s.tallies[c.key]
	if t == nil {
		t = tallyUp(c, u.ref)
	}
	j.persons(t)
	j.countSheets(t)
	if len(t.firstDiffs) > 0 {
		f := j.add(CountDiffersAtOpen, SeverityDoubtful, func(in sentences) Text {
			return Text{in.sayCountDiffers(c.key, t.first, t.firstDiffs), in.nextCountDiffers()}
		}, t.first, c.lastPack())
		f.Lines, f.From, f.To = linesOf(t.firstDiffs), c.lastPack().at(), t.first.at()
	}
	j.middle(t)
	j.ends(s, t)
	j.gaps(u, t, linkMissing)
	j.closed(u, s)
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

// persons: a count has two people. The records know badges, not roles, so two
// of one role can't be told apart from two of both.
func (j *judgement) persons(t *tally) {
	var alone, twice []*item
	for _, it := range t.counts {
		d := countOf(it)
		if !j.w.policyAt(it).TwoPersons {
			continue
		}
		switch d.Witness {
		case "":
			alone = append(alone, it)
		case d.Counter:
			twice = append(twice, it)
		}
	}
	for _, of := range [][]*item{alone, twice} {
		if len(of) > 0 {
			f := j.add(CountOnePerson, SeverityDoubtful, func(in sentences) Text { return Text{in.sayOnePerson(j.c.key, of), in.nextOnePerson()} }, of...)
			f.From, f.To = of[0].at(), of[len(of)-1].at()
		}
	}
}

// countSheets: each count was made against this trip's sheet, or the screen,
// which shows the trip's list by definition.
func (j *judgement) countSheets(t *tally) {
	c := j.c
	type wrong struct {
		owner TripKey
		class class
	}
	var order []wrong
	by := make(map[wrong][]*item, 0)
	for _, it := range t.counts {
		if countOf(it).Sheet == events.SheetScreen {
			continue
		}
		var x wrong
		switch {
		case it.code == nil:
			x.class = readUnreadable
		case it.code.Trip == c.key.Trip:
			cl, _, unlisted := j.w.readOwn(c, it, it.code)
			if cl == readGood || unlisted {
				continue
			}
			x.class = cl
		default:
			x.class = readUnknown
			if o, _ := j.w.owner(it.code); o != (TripKey{}) {
				x = wrong{o, readSwapped}
			}
		}
		if by[x] == nil {
			order = append(order, x)
		}
		by[x] = append(by[x], it)
	}
	for _, x := range order {
		its := by[x]
		var y *chain
		if x.owner != (TripKey{}) {
			y = j.w.chain(x.owner)
		}
		f := j.add(CountedOnWrongList, SeverityBroken, func(in sentences) Text { return Text{in.sayWrongList(c, y, x.class, its), in.nextWrongList()} }, its...)
		f.From, f.To = its[0].at(), its[len(its)-1].at()
		if y != nil {
			f.Other, f.Lines = &TripKey{x.owner.Set, x.owner.Trip}, changedLines(y.list, c.list)
		}
	}
}

// middle judges counts that do not have the last word. A final count that is
// right in those lines has put them right, so they are noted; a count that
// differs as well is judged by itself.
func (j *judgement) middle(t *tally) {
	for _, it := range t.counts {
		if len(t.midDiffs[it]) == 0 {
			continue
		}
		by := make(map[middleLines][]lineDiff)
		for _, d := range t.midDiffs[it] {
			if !t.lastWord(it, d.line) {
				x := middleLines{d.seen > d.expected, t.afterwards(it, d.line)}
				by[x] = append(by[x], d)
			}
		}
		for _, over := range []bool{false, true} {
			for then := range thens {
				ds := by[middleLines{over, then}]
				if len(ds) == 0 {
					continue
				}
				code, sev := CountShort, SeverityNoted
				if over {
					code = CountOver
				}
				shown := []*item{it}
				switch then {
				case thenNothing, thenLeftOut:
					sev = SeverityBroken
				case thenLater:
					shown = append(shown, t.wordOn(ds)...)
				}
				if then == thenRight || then == thenDiffers || then == thenLeftOut {
					shown = append(shown, t.final)
				}
				f := j.add(code, sev, func(in sentences) Text {
					return Text{in.sayMiddle(j.c.key, it, ds, then), in.nextMiddle(sev, then)}
				}, shown...)
				f.Lines, f.From, f.To = linesOf(ds), it.at(), it.at()
			}
		}
	}
}

type middleLines struct {
	over bool
	then sequel
}

// sequel is what came after lines differed in a count.
type sequel int

const (
	thenNothing sequel = iota // no final count after it, or a final one before it
	thenRight                 // the final count is as expected
	thenDiffers               // the final count differs as well
	thenLeftOut               // the final count left the line out; another one has it right
	thenLater                 // another later count differs as well
	thens
)

func (t *tally) afterwards(it *item, line int64) sequel {
	before := t.final != nil && it.less(t.final)
	switch {
	case before && t.differs(t.final, line):
		return thenDiffers
	case before && t.has(t.final, line):
		return thenRight
	case slices.ContainsFunc(t.ends, func(d lineDiff) bool { return d.line == line && it.less(d.in) }):
		return thenLater
	case before:
		return thenLeftOut
	}
	return thenNothing
}

// wordOn returns the counts that have the last word on lines.
func (t *tally) wordOn(ds []lineDiff) []*item {
	var out []*item
	for _, d := range ds {
		for _, e := range t.ends {
			if e.line == d.line {
				out = append(out, e.in)
			}
		}
	}
	return out
}

// ends judges the last word on each line, item by item over the whole case.
func (j *judgement) ends(s *caseState, t *tally) {
	if len(t.ends) == 0 {
		return
	}
	k := j.c.key
	type state struct {
		item    string
		net     int64
		lines   []lineDiff
		moves   []Move
		left    int64 // in this set
		total   int64 // over all sets of the case
		further []*item
	}
	var states []*state
	for _, d := range t.ends {
		id := d.itemOf(k)
		i := slices.IndexFunc(states, func(x *state) bool { return x.item == id })
		if i < 0 {
			states, i = append(states, &state{item: id}), len(states)
		}
		x := states[i]
		x.net += d.expected - d.seen
		x.lines = append(x.lines, d)
	}
	for _, x := range states {
		for _, m := range s.moves {
			if m.Item == x.item && (m.From == k || m.To == k) {
				x.moves = append(x.moves, m)
				other := m.From
				if other == k {
					other = m.To
				}
				if o := s.tallies[other]; o != nil {
					x.further = append(x.further, o.countsOf(x.item, other)...)
				}
			}
		}
		for _, l := range s.left {
			if l.Item != x.item {
				continue
			}
			x.total += l.Quantity
			if l.Key == k {
				x.left = l.Quantity
			}
		}
	}
	put := func(code Code, sev Severity, words func(sentences) Text, ds []lineDiff, further []*item) {
		shown := append([]*item{t.first}, further...)
		var last *item
		for _, d := range ds {
			shown = append(shown, d.in)
			if d.leftOut {
				shown = append(shown, t.final)
			}
			if last == nil || last.less(d.in) {
				last = d.in
			}
		}
		f := j.add(code, sev, words, shown...)
		f.Lines, f.From, f.To = linesOf(ds), last.at(), last.at()
		if t.first != nil {
			f.From = t.first.at()
		}
	}
	for _, x := range states {
		code := CountShort
		if x.net < 0 {
			code = CountOver
		}
		switch {
		case x.net == 0: // one line of the set lies in another line of the same item
			put(code, SeverityNoted, func(in sentences) Text {
				return Text{in.sayBetweenLines(k, x.lines), in.nextCount(SeverityNoted)}
			}, x.lines, nil)
			continue
		case len(x.moves) > 0:
			put(code, SeverityDoubtful, func(in sentences) Text {
				return Text{in.sayMisplaced(k, x.lines, x.moves), in.nextCount(SeverityDoubtful)}
			}, x.lines, x.further)
		}
		if x.left != 0 {
			put(code, SeverityBroken, func(in sentences) Text {
				return Text{in.sayLeft(k, x.lines, x.left, x.total, len(s.trips)), in.nextCount(SeverityBroken)}
			}, x.lines, nil)
		}
	}
}

// countsOf returns the counts that have the last word on an item's lines.
func (t *tally) countsOf(id string, k TripKey) []*item {
	var out []*item
	for i := range t.ends {
		if t.ends[i].itemOf(k) == id {
			out = append(out, t.ends[i].in)
		}
	}
	return out
}

// gaps: lines that a first or final count left out, and stages that the policy
// asks for.
func (j *judgement) gaps(u *caseUse, t *tally, linkMissing bool) {
	c, w := j.c, j.w
	for _, x := range []struct {
		it    *item
		lines []int64
	}{{t.first, t.firstGaps}, {t.final, t.finalGaps}} {
		if x.it != nil && len(x.lines) > 0 {
			f := j.add(CountMissing, SeverityDoubtful, func(in sentences) Text { return Text{in.sayLinesUncounted(c, x.it, x.lines), in.nextCountMissing()} }, x.it)
			f.Lines, f.From, f.To = x.lines, x.it.at(), x.it.at()
		}
	}
	var late []unseenLine
	var came []*item
	for _, l := range t.unseen {
		if l.last != nil {
			late = append(late, l)
			came = append(came, l.since, l.last)
		}
	}
	if len(late) > 0 {
		f := j.add(CountMissing, SeverityDoubtful, func(in sentences) Text { return Text{in.sayAfterFinal(c.key, t.final, late), in.nextCountMissing()} }, append(came, t.final)...)
		f.From, f.To = t.final.at(), t.final.at()
		for _, l := range late {
			f.Lines, f.To = append(f.Lines, l.line), latest(f.To, l.last.at())
		}
		slices.Sort(f.Lines)
	}
	if !u.opened || linkMissing && len(t.counts) == 0 {
		return // said already: nothing was counted
	}
	has := func(s events.Stage) *item {
		for _, it := range t.counts {
			if countOf(it).Stage == s {
				return it
			}
		}
		return nil
	}
	last := c.steps[len(c.steps)-1]
	var missing []events.Stage
	var shown []*item
	look := func(p *events.Policy, end int, by *item) {
		for _, s := range p.Stages[:end] {
			if has(s) == nil && !slices.Contains(missing, s) {
				missing = append(missing, s)
				shown = append(shown, by)
			}
		}
	}
	for _, it := range t.counts {
		p := w.policyAt(it)
		if i := slices.Index(p.Stages, countOf(it).Stage); i > 0 {
			look(p, i, it)
		}
	}
	switch p := w.policyAt(last); {
	case len(u.closings) > 0:
		look(p, len(p.Stages), u.closings[0])
	case c.next != nil:
		look(p, len(p.Stages), c.next)
	}
	if len(missing) > 0 {
		f := j.add(CountMissing, SeverityDoubtful, func(in sentences) Text { return Text{in.sayStagesMissing(c, missing), in.nextCountMissing()} }, append(shown, c.opened[0])...)
		f.From, f.To = c.opened[0].at(), latest(shown[0].at(), c.opened[0].at())
	}
}

// closed: the case was closed with something unaccounted for, or with lines
// that nobody counted at the end.
func (j *judgement) closed(u *caseUse, s *caseState) {
	c := j.c
	if len(u.closings) == 0 {
		return
	}
	it := u.closings[len(u.closings)-1]
	d, ok := it.data.(*events.CaseClosed)
	if !ok {
		return
	}
	shown := []*item{it}
	var open []openItem
	for _, l := range s.left {
		o := openItem{set: l.Key.Set, quantity: l.Quantity}
		if t := s.tallies[l.Key]; t != nil {
			for i := range t.ends {
				if t.ends[i].itemOf(l.Key) == l.Item {
					o.line = &t.ends[i]
					break
				}
			}
			shown = append(shown, t.countsOf(l.Item, l.Key)...)
		}
		open = append(open, o)
	}
	for _, k := range s.trips {
		t := s.tallies[k]
		for i := range t.unseen {
			l := &t.unseen[i]
			said := slices.ContainsFunc(s.left, func(o Leftover) bool { return o.Key == k && o.Item == l.itemOf(k) }) &&
				slices.ContainsFunc(t.ends, func(d lineDiff) bool { return d.line == l.line })
			if said || it.less(l.since) { // what came or left after the closing was not open then
				continue
			}
			open = append(open, openItem{set: k.Set, line: &l.lineDiff})
			shown = append(shown, l.since)
		}
	}
	if len(open) == 0 && d.Outcome != "unreconciled" {
		return
	}
	f := j.add(ClosedUnreconciled, SeverityBroken, func(in sentences) Text { return Text{in.sayClosed(c.key, it, d, open), in.nextClosed()} }, shown...)
	f.From, f.To = it.at(), it.at()
}

// openItem is what was open when a case was closed.
type openItem struct {
	set      string
	line     *lineDiff
	quantity int64 // short, less than 0: over; 0: not counted at the end
}

// openAtClosing parts what is unaccounted for from what was not counted.
func openAtClosing(open []openItem) (left, unseen []openItem) {
	for _, o := range open {
		if o.quantity != 0 {
			left = append(left, o)
		} else {
			unseen = append(unseen, o)
		}
	}
	return left, unseen
}
