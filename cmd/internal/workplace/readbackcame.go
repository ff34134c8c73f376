package workplace

import (
	"cmp"
	"slices"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// What came after the first count stands on paper without a time, and may be on record already: from this sheet, or by a count that a
// station made. Here is how much of a row, for goods or of a line of the list, is still to be recorded, and by which count.

// cameBefore is what counts that are not from this sheet say of what came, by line.
type cameBefore struct {
	first, later map[int64]int64
	counted      map[int64]bool // the lines that they have
	whole        map[int64]bool // those of which the last count has no more than came by them: they say of all of it that it came
}

// take adds what a count says came.
func (c *cameBefore) take(d *events.SetCounted) {
	if c.first == nil {
		c.first, c.later = make(map[int64]int64), make(map[int64]int64)
		c.counted, c.whole = make(map[int64]bool), make(map[int64]bool)
	}
	for _, x := range d.Counts {
		c.counted[x.Line] = true
	}
	to := c.later
	if d.Stage == events.StageFirst {
		to = c.first
	}
	for _, x := range d.Beyond {
		to[x.Line] += x.Added
	}
	if d.Stage == events.StageAdded {
		for _, x := range d.Counts {
			to[x.Line] += x.Counted
		}
		return
	}
	for _, x := range d.Counts {
		c.whole[x.Line] = d.Stage != events.StageFirst && x.Counted <= c.first[x.Line]+c.later[x.Line]
	}
}

// share is what of a number, which counts have of a line, falls to a row: rows of the same goods take their part one after the other.
func (st *readState) share(b *readback, g *paperGoods, n int64, part func(*paperGoods) int64) int64 {
	for _, o := range st.goodsUsed(b) {
		if o.row == g.row {
			break
		}
		if o.line == g.line {
			n -= min(n, part(o))
		}
	}
	return min(n, part(g))
}

// atFirst is how many of a row were there at first, and are in no first count that a station made.
func (st *readState) atFirst(b *readback, g *paperGoods) int64 {
	return g.said.atFirst() - st.share(b, g, st.other.first[g.line], func(g *paperGoods) int64 { return g.said.atFirst() })
}

// afterFirst is how many of a row counts after the first must have: what came, and what was there at first where the sheet's first
// count is left out and the one of a station hasn't got it.
func (st *readState) afterFirst(b *readback) func(*paperGoods) int64 {
	return func(g *paperGoods) int64 {
		if st.leftOut(b, events.StageFirst) {
			return g.said.came() + st.atFirst(b, g)
		}
		return g.said.came()
	}
}

// inFirst is how many of a row are laid to the sheet's first count, if that is still to be recorded.
func (st *readState) inFirst(b *readback, g *paperGoods) int64 {
	if st.leftOut(b, events.StageFirst) || st.isDoneOn(g.page, events.StageFirst) {
		return 0
	}
	return st.atFirst(b, g)
}

// same is how many of what came by a row are recorded otherwise, as a person said.
func (st *readState) same(b *readback, g *paperGoods) int64 {
	if !g.said.Same || g.said.There != st.cameThere(b, g) {
		return 0
	}
	return cmp.Or(g.said.Some, g.said.There)
}

// firstThere reports whether later counts of a station have what was there at first by a row, as come: then the row has no first count
// of its own, for the station had none of it before.
func (st *readState) firstThere(b *readback, g *paperGoods) bool {
	n := st.inFirst(b, g)
	return n > 0 && st.other.whole[g.line] && st.same(b, g) >= n
}

// firstElsewhere is how many of a row were there at first and are in no first count, since later counts of a station have them.
func (st *readState) firstElsewhere(g *paperGoods) int64 {
	if _, counted := st.done[events.StageFirst].counts[g.line]; counted || !st.isDoneOn(g.page, events.StageFirst) {
		return 0
	}
	return g.said.atFirst()
}

// notHere is how many of what came by a row are not recorded from this sheet.
func (st *readState) notHere(b *readback, g *paperGoods) int64 {
	return st.afterFirst(b)(g) - st.share(b, g, st.recordedHere(g.line), st.afterFirst(b))
}

// recordedHere is how many of a line came by what is recorded from this sheet.
func (st *readState) recordedHere(line int64) (n int64) {
	for _, was := range st.done {
		n += was.came[line]
	}
	return n
}

// cameThere is how many of what came by a row counts that are not from this sheet have, too: they may be the same. Of what lay there at
// first by such a count, it is what the sheet doesn't have at first. Where such counts say of all of it that it came, it is what the sheet has at first, too.
func (st *readState) cameThere(b *readback, g *paperGoods) int64 {
	here, part := st.recordedHere(g.line), st.afterFirst(b)
	n := here + max(0, st.other.later[g.line]-st.firstElsewhere(g)) + max(0, st.other.first[g.line]-g.said.atFirst())
	if st.other.whole[g.line] {
		return st.share(b, g, n, func(g *paperGoods) int64 { return part(g) + st.inFirst(b, g) }) - st.share(b, g, here, part)
	}
	return st.share(b, g, n, part) - st.share(b, g, here, part)
}

// came is how many of goods came after the first count and are not recorded yet.
func (st *readState) came(b *readback, g *paperGoods) int64 {
	same := st.same(b, g)
	if st.firstThere(b, g) {
		same -= st.inFirst(b, g)
	}
	return max(st.notHere(b, g)-same, 0)
}

// lineAdded is a line of the list with what is written under what came, as an account such as goods have; nil where nothing is.
func (st *readState) lineAdded(b *readback, line int64) *paperGoods {
	r, page := st.sheet.row(line)
	if r == nil || !page.marked(r, events.StageAdded) {
		return nil
	}
	g := &paperGoods{row: line, page: page, line: line}
	switch s := b.fewer(events.StageAdded, g); {
	case s.Picture == "":
	case s.Not:
		g.said.None = true
	default:
		g.said = goodsSaid{Numbers: []int64{0, s.Counted}, There: s.There, Same: s.Same, Some: s.Some}
	}
	return g
}

// added is how many of a line came and are not recorded yet; ok is false where that must be asked, n < 0 where nothing is to be
// recorded.
func (st *readState) added(b *readback, line int64) (n int64, ok bool) {
	g := st.lineAdded(b, line)
	switch {
	case g == nil, g.said.None, st.isDone(events.StageAdded) && !st.isDoneOn(g.page, events.StageAdded) &&
		!st.completes(b, events.StageAdded):
		return -1, true
	case g.said.Numbers == nil:
		r, _ := st.sheet.row(line)
		if st.isDoneOn(g.page, events.StageAdded) && !g.page.moreMayHaveCome(r, st.done) {
			return -1, true
		}
		return 0, false
	case st.mayBeSame(b, g):
		return 0, false
	}
	if n = st.came(b, g); n == 0 && g.said.came() > 0 {
		return -1, true
	}
	return n, true
}

// addsLines reports whether the sheet has a count of what came of lines of the list that is still to be recorded, as far as can be told.
func (st *readState) addsLines(b *readback) bool {
	return slices.ContainsFunc(st.lines, func(l projections.LineStanding) bool {
		n, ok := st.added(b, l.Line.Line)
		return n > 0 || (!ok || n == 0) && !st.addedBefore(b, l.Line.Line)
	})
}

// addedBefore reports whether what is written under what came of a line may be recorded already: then it is asked before anything else
// of that count is.
func (st *readState) addedBefore(b *readback, line int64) bool {
	g := st.lineAdded(b, line)
	return g != nil && (st.other.later[line] > 0 || st.isDoneOn(g.page, events.StageAdded))
}

// nextAdded asks what came of lines of which some is recorded already.
func (st *readState) nextAdded(b *readback) *paperQuestion {
	for i := range st.lines {
		l := &st.lines[i]
		_, ok := st.added(b, l.Line.Line)
		if ok || !st.addedBefore(b, l.Line.Line) {
			continue
		}
		g := st.lineAdded(b, l.Line.Line)
		if g.said.Numbers == nil {
			return st.cellQuestion(l, events.StageAdded)
		}
		return &paperQuestion{kind: askCame, stage: events.StageAdded, line: l.Line.Line, page: g.page.Page, item: l.Description,
			printed: st.cameThere(b, g)}
	}
	return nil
}

// fewerCame are the rows of which the paper says that fewer came than is recorded from it.
func (st *readState) fewerCame(b *readback) (out []int64) {
	var rows []*paperGoods
	for i := range st.lines {
		if g := st.lineAdded(b, st.lines[i].Line.Line); g != nil {
			rows = append(rows, g)
		}
	}
	rows = append(rows, st.goodsUsed(b)...)
	for i, g := range rows {
		came, typed := int64(0), true
		for k, o := range rows {
			if o.line != g.line {
				continue
			}
			if k < i { // the same goods as in a row above
				typed = false
			}
			came, typed = came+st.afterFirst(b)(o), typed && o.said.Numbers != nil
		}
		if typed && came < st.recordedHere(g.line) {
			out = append(out, g.row)
		}
	}
	return out
}

// mayBeSame reports whether it is asked if what came by a row is what other counts have.
func (st *readState) mayBeSame(b *readback, g *paperGoods) bool {
	there := st.cameThere(b, g)
	return there > 0 && there != g.said.There
}

// nameFirst reports whether goods must have a name before anything can be said of what came: it may be recorded.
func (st *readState) nameFirst(g *paperGoods) bool {
	return g.of.Description == "" && g.said.sum() > 0 && len(st.done)+len(st.other.first)+len(st.other.later) > 0
}

// withCame adds the count of what came, where no count after it says so of the same goods.
func (st *readState) withCame(b *readback, counted []events.Stage) []events.Stage {
	if slices.Contains(counted, events.StageAdded) {
		return counted
	}
	if !slices.ContainsFunc(st.goodsUsed(b), func(g *paperGoods) bool { return st.cameAlone(b, g, counted) > 0 }) {
		return counted
	}
	at := 0
	if len(counted) > 0 && counted[0] == events.StageFirst {
		at = 1
	}
	return slices.Insert(slices.Clone(counted), at, events.StageAdded)
}

// cameAlone is how many of goods came of which no count after the first says so; before the row was typed, 1 where it seems so.
func (st *readState) cameAlone(b *readback, g *paperGoods, counted []events.Stage) int64 {
	switch {
	case g.said.Numbers == nil && !g.said.None:
		if st.seemsAlone(b, g, counted) {
			return 1
		}
		return 0
	case st.nameFirst(g), st.mayBeSame(b, g): // that is asked first
		return 0
	}
	laid := int64(0)
	for _, later := range counted {
		laid = max(laid, st.cameUntil(b, g, later))
	}
	return st.came(b, g) - laid
}

// seemsAlone is cameAlone of a row that nobody has typed.
func (st *readState) seemsAlone(b *readback, g *paperGoods, counted []events.Stage) bool {
	r, _ := st.sheet.row(g.row)
	if st.sheet.Form || !g.page.marked(r, events.StageAdded) || st.isDone(events.StageAdded) ||
		st.other.later[g.line] > 0 || g.line == 0 && len(st.other.later) > 0 {
		return false
	}
	for _, later := range g.page.Stages {
		if later == events.StageFirst || later == events.StageAdded {
			continue
		}
		if was := st.done[later]; was.has(g.page) { // of goods that nobody has named it can't be told which they are
			if _, said := was.counts[g.line]; said || g.line == 0 {
				return false
			}
		} else if slices.Contains(counted, later) && g.page.marked(r, later) && !b.fewer(later, g).Not {
			return false
		}
	}
	return true
}

// moreMayHaveCome reports whether numbers may have been written under what came since a row was recorded: a mark doesn't tell how many
// there are. After the last count of the sheet nothing comes.
func (p *paperPage) moreMayHaveCome(r *paperRow, done map[events.Stage]paperCount) bool {
	if len(done) == 0 || !p.marked(r, events.StageAdded) {
		return false
	}
	last := p.Stages[len(p.Stages)-1]
	return !done[last].has(p) || !p.marked(r, last)
}

// cameSince reports whether a count came to what was there before the last, or some of the last, came.
func (st *readState) cameSince(b *readback, g *paperGoods, stage events.Stage) bool {
	less := g.said.sum() - st.remain(b, g, stage)
	for n := 1; n < len(g.said.Numbers); n++ {
		if b.fewer(stage, g).Counted == g.said.atFirst()+g.said.after(n)-less {
			return true
		}
	}
	return false
}

// cameUntil is how many of what is not recorded came until a count, as far as the sheet says; 0 where that has none of the goods.
func (st *readState) cameUntil(b *readback, g *paperGoods, at events.Stage) int64 {
	if at == events.StageFirst || at == events.StageAdded {
		return 0
	}
	if counted, _ := st.goodsCount(b, g, at); counted < 0 {
		return 0
	}
	by := st.came(b, g)
	if s := b.fewer(at, g); s.Fewer == fewerLater {
		after := st.afterFirst(b)(g)
		until := s.Counted + after - st.remain(b, g, at)
		by = min(by, max(0, until-(after-by)))
	}
	return by
}

// cameBy is how many of goods came since the count before a stage. What a count that a station made has at first is not laid to the
// sheet's first count again.
func (st *readState) cameBy(b *readback, g *paperGoods, stage events.Stage) int64 {
	switch stage {
	case events.StageFirst:
		return st.atFirst(b, g)
	case events.StageAdded:
		return 0 // the count says it by itself
	}
	said := int64(0)
	for _, at := range st.counted(b) {
		if at == stage {
			break
		}
		said = max(said, st.cameUntil(b, g, at))
	}
	return max(0, st.cameUntil(b, g, stage)-said)
}

// takeThere notes what a count that is not from this sheet has.
func (st *readState) takeThere(it *facts.Item) {
	d := facts.CountOf(it)
	st.recorded[d.Stage] = thereCount{it.Event.ID, it.At(), d.Counter, d.Witness, d.Counts} // the last one
	st.other.take(d)
}
