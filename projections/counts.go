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
	uncountable bool                 // the list is not known, so what is missing from a count can't be said
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
	return t
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
			diffs = append(diffs, lineDiff{l.Line, l.Item, l.Description, expected[i], got})
		}
	}
	for i, x := range counts {
		if i < n && b.lines[i].Line == x.Line {
			continue
		}
		if k := b.at(x.Line); k >= n && !uncountable && x.Counted != 0 {
			diffs = append(diffs, lineDiff{x.Line, "", "", 0, x.Counted})
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
		for i := range t.finalDiffs {
			d := &t.finalDiffs[i]
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
	j.final(s, t)
	j.gaps(u, t, linkMissing)
	j.closed(u, s)
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

// middle judges counts between first and final. A final count that is right in
// those lines has put them right, so they are noted; without one they stand.
func (j *judgement) middle(t *tally) {
	for _, it := range t.counts {
		diffs := t.midDiffs[it]
		if len(diffs) == 0 {
			continue
		}
		settled := t.final != nil && it.less(t.final)
		for _, over := range []bool{false, true} {
			var ds []lineDiff
			for _, d := range diffs {
				if (d.seen > d.expected) == over {
					ds = append(ds, d)
				}
			}
			if len(ds) == 0 {
				continue
			}
			code, sev := CountShort, SeverityBroken
			if over {
				code = CountOver
			}
			shown := []*item{it}
			if settled {
				sev = SeverityNoted
				shown = append(shown, t.final)
			}
			then := t.finalOf(ds)
			f := j.add(code, sev, func(in sentences) Text {
				return Text{in.sayMiddle(j.c.key, it, ds, settled, then), in.nextMiddle(sev, then)}
			}, shown...)
			f.Lines, f.From, f.To = linesOf(ds), it.at(), it.at()
		}
	}
}

// finalOfLines is what the final count has in lines that differed before it.
type finalOfLines int

const (
	finalRight finalOfLines = iota
	finalDiffers
	finalLeftOut
)

func (t *tally) finalOf(ds []lineDiff) finalOfLines {
	for _, d := range ds {
		for _, f := range t.finalDiffs {
			if f.line == d.line {
				return finalDiffers
			}
		}
		for _, l := range t.finalGaps {
			if l == d.line {
				return finalLeftOut
			}
		}
	}
	return finalRight
}

// final judges the last count, item by item over the whole case.
func (j *judgement) final(s *caseState, t *tally) {
	if len(t.finalDiffs) == 0 {
		return
	}
	k := j.c.key
	type state struct {
		item    string
		net     int64
		lines   []lineDiff
		moves   []Move
		left    int64
		further []*item
	}
	var states []*state
	for _, d := range t.finalDiffs {
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
				if o := s.tallies[other]; o != nil && o.final != nil {
					x.further = append(x.further, o.final)
				}
			}
		}
		for _, l := range s.left {
			if l.Item == x.item && l.Key == k {
				x.left = l.Quantity
			}
		}
	}
	put := func(code Code, sev Severity, words func(sentences) Text, ds []lineDiff, further []*item) {
		f := j.add(code, sev, words, append([]*item{t.final, t.first}, further...)...)
		f.Lines, f.To = linesOf(ds), t.final.at()
		f.From = f.To
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
			put(CountDiffersAtOpen, SeverityNoted, func(in sentences) Text {
				return Text{in.sayBetweenLines(k, t.final, x.lines), in.nextCount(SeverityNoted)}
			}, x.lines, nil)
			continue
		case len(x.moves) > 0:
			put(code, SeverityDoubtful, func(in sentences) Text {
				return Text{in.sayMisplaced(k, t.final, x.lines, x.moves), in.nextCount(SeverityDoubtful)}
			}, x.lines, x.further)
		}
		if x.left != 0 {
			put(code, SeverityBroken, func(in sentences) Text {
				return Text{in.sayLeft(k, t.final, x.lines, x.left, len(s.trips)), in.nextCount(SeverityBroken)}
			}, x.lines, nil)
		}
	}
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

// closed: the case was closed with something unaccounted for.
func (j *judgement) closed(u *caseUse, s *caseState) {
	c := j.c
	if len(u.closings) == 0 {
		return
	}
	it := u.closings[len(u.closings)-1]
	d, ok := it.data.(*events.CaseClosed)
	if !ok || len(s.left) == 0 && d.Outcome != "unreconciled" {
		return
	}
	shown := []*item{it}
	var open []openItem
	for _, l := range s.left {
		o := openItem{set: l.Key.Set, quantity: l.Quantity}
		if t := s.tallies[l.Key]; t != nil {
			for i := range t.finalDiffs {
				if t.finalDiffs[i].itemOf(l.Key) == l.Item {
					o.line = &t.finalDiffs[i]
					break
				}
			}
			shown = append(shown, t.final)
		}
		open = append(open, o)
	}
	f := j.add(ClosedUnreconciled, SeverityBroken, func(in sentences) Text { return Text{in.sayClosed(c.key, it, d, open), in.nextClosed()} }, shown...)
	f.From, f.To = it.at(), it.at()
}

type openItem struct {
	set      string
	line     *lineDiff
	quantity int64
}
