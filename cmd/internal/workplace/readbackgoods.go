package workplace

import (
	"cmp"
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
)

// Rows for goods on a sheet that is read back become what the page of a count records of goods: lines beyond the list, each with
// how many came since the count before. A person types the numbers of a row off its cut-out; a mark says only that a count came to
// their sum, and where it may be of another sum it is asked.

// goodsSaid is what a person read off a row for goods. It is of one picture.
type goodsSaid struct {
	Numbers []int64     `json:"numbers,omitempty"` // at first, and after that each that came
	None    bool        `json:"none,omitzero"`     // neither is written there
	Else    bool        `json:"else,omitzero"`     // another name is written there than the sheet was printed with
	Item    string      `json:"item,omitempty"`
	Name    string      `json:"name,omitempty"`
	Sort    events.Sort `json:"sort,omitempty"`
	Picture string      `json:"picture"`
}

// What a person said of a count that came to fewer than the sum.
const (
	fewerLater   = "later"   // the rest came after it
	fewerMissing = "missing" // the rest was missing then
	fewerStays   = "stays"   // the rest was left in the patient on purpose
)

// whyNoSum: it is ticked, and the sum that this means doesn't follow from the row.
const whyNoSum = "no-sum"

// paperGoods is a row for goods that is used.
type paperGoods struct {
	row  int64 // below zero, as its line
	page *paperPage
	said goodsSaid
	of   events.Line // "" as its description where nobody has named it yet
	line int64       // in the counts of the set
	here bool        // nothing is recorded of it but what was read off this sheet
}

// goodsNumber is what a count comes to of goods.
type goodsNumber struct {
	name    string
	counted int64
}

// goodsKey is by what goods of two counts are the same.
func goodsKey(item, name string) string { return strings.ToLower(cmp.Or(item, name)) }

func (s *paperSheet) hasGoods() bool {
	return slices.ContainsFunc(s.inOrder(), func(p *paperPage) bool { return len(p.Goods) > 0 })
}

// marked reports whether anything is in a stage's column of a row.
func (p *paperPage) marked(r *paperRow, stage events.Stage) bool {
	k := slices.Index(p.Stages, stage)
	return k >= 0 && k < len(r.Cells) && (r.Cells[k].Mark != markEmpty || r.Cells[k].Written)
}

// goodsMarked reports whether anything is in a stage's column of a row for goods.
func (p *paperPage) goodsMarked(stage events.Stage) bool {
	return slices.ContainsFunc(p.Goods, func(r paperRow) bool { return p.marked(&r, stage) })
}

// goodsDiffer are the rows for goods of which a recorded count says nothing and the page does, or the other way round. What a
// number says no program reads.
func (p *paperPage) goodsDiffer(stage events.Stage, was paperCount, named []events.Line) (out []int64) {
	if stage == events.StageAdded || !slices.Contains(p.Stages, stage) {
		return nil
	}
	rest := slices.Clone(was.goods)
	var unnamed []int64
	for i := range p.Goods {
		r := &p.Goods[i]
		n, marked := int(-r.Line)-1, p.marked(r, stage)
		if n >= len(named) {
			if marked {
				unnamed = append(unnamed, r.Line)
			}
			continue
		}
		k := slices.Index(rest, goodsKey(named[n].Item, named[n].Description))
		if k >= 0 {
			rest = slices.Delete(rest, k, k+1)
		}
		if marked != (k >= 0) {
			out = append(out, r.Line)
		}
	}
	if len(unnamed) != len(rest) {
		out = append(out, unnamed...)
	}
	return out
}

// onLines are the lines of the set that was counted, with what its counts have beyond the list.
func (st *readState) onLines() []projections.LineStanding {
	for _, s := range st.standing.Sets {
		if s.Key == st.on {
			return s.Lines
		}
	}
	if st.on != st.own() {
		return nil
	}
	return st.lines
}

// lastLine is the highest number that a line has in the list, the counts, and what lies at the pages of this case's counts.
func (st *readState) lastLine(v *visit, b *readback) (last int64) {
	for _, l := range st.lines {
		if !l.Beyond { // what counts of the sheet's own set have is not what this one has
			last = max(last, l.Line.Line)
		}
	}
	for _, l := range st.onLines() {
		last = max(last, l.Line.Line)
	}
	if b.Case == "" || !st.sheet.hasGoods() {
		return last
	}
	for _, stage := range Stages() {
		d, _, err := v.d.files.draft(b.Case, st.on.Set, stage)
		if err != nil {
			continue // a draft that can't be read is told of where it is taken up
		}
		for _, x := range d.Beyond {
			last = max(last, x.Line)
		}
	}
	return last
}

// goodsUsed are the rows for goods in which something is, with the lines of the counts that they are.
func (st *readState) goodsUsed(b *readback) (out []*paperGoods) {
	last := st.last
	for _, p := range st.sheet.inOrder() {
		for i := range p.Goods {
			r := &p.Goods[i]
			g := &paperGoods{row: r.Line, page: p, here: true}
			if said, ok := b.Goods[r.Line]; ok && said.Picture == p.Picture {
				g.said = said
			}
			used := slices.ContainsFunc(r.Cells, func(c paperCell) bool { return c.Mark != markEmpty || c.Written })
			if !used || st.sheet.Form && (!b.OnForm || g.said.None) {
				continue
			}
			g.of = events.Line{Item: g.said.Item, Description: g.said.Name, Sort: g.said.Sort}
			if n := int(-r.Line) - 1; n < len(st.sheet.Goods) && !g.said.Else {
				g.of = st.sheet.Goods[n]
			}
			if g.of.Description != "" {
				last = st.lineOf(g, out, last)
			}
			out = append(out, g)
		}
	}
	return out
}

// lineOf finds the line of goods: what the set's counts or a row above have of the same, else a new one.
func (st *readState) lineOf(g *paperGoods, above []*paperGoods, last int64) int64 {
	key := goodsKey(g.of.Item, g.of.Description)
	for _, l := range st.onLines() {
		if l.Beyond && l.Sort != "" && goodsKey(l.Item, l.Description) == key {
			g.line = l.Line.Line
			for _, there := range st.recorded {
				g.here = g.here && !slices.ContainsFunc(there.counts, func(c events.Count) bool { return c.Line == g.line })
			}
			return last
		}
	}
	for _, x := range above {
		if x.line != 0 && goodsKey(x.of.Item, x.of.Description) == key {
			g.line = x.line
			return last
		}
	}
	g.line = last + 1
	return g.line
}

// came is how many of goods came after the first count and are not recorded yet. What a station recorded as having come is, where
// a person said that the paper's count of it is left out.
func (st *readState) came(b *readback, g *paperGoods) int64 {
	if st.leftOut(b, events.StageAdded) && st.cameThere(g) {
		return 0
	}
	n := g.said.after(len(g.said.Numbers))
	for _, was := range st.done {
		n -= was.came[g.line]
	}
	return max(n, 0)
}

// cameThere reports whether a count of what came, which is not from this sheet, has the goods.
func (st *readState) cameThere(g *paperGoods) bool {
	return slices.ContainsFunc(st.recorded[events.StageAdded].counts, func(c events.Count) bool { return c.Line == g.line })
}

// cameTwice reports whether goods came by the sheet of which a station recorded that they came: it may be the same.
func (st *readState) cameTwice(b *readback) bool {
	return slices.ContainsFunc(st.goodsUsed(b), func(g *paperGoods) bool {
		r, _ := st.sheet.row(g.row)
		return st.cameThere(g) && (g.page.marked(r, events.StageAdded) || g.said.after(len(g.said.Numbers)) > 0)
	})
}

// after is how many came by the first so many numbers of a row, without those of the first count.
func (s *goodsSaid) after(numbers int) (n int64) {
	for i := 1; i < numbers; i++ {
		n += s.Numbers[i]
	}
	return n
}

// sum is how many came in all.
func (s *goodsSaid) sum() int64 {
	if len(s.Numbers) == 0 {
		return 0
	}
	return s.Numbers[0] + s.after(len(s.Numbers))
}

// remain is how many of goods should be there at a stage by the sheet: the sum, without what stays in the patient by a count before.
func (st *readState) remain(b *readback, g *paperGoods, stage events.Stage) int64 {
	n := g.said.sum()
	for _, was := range st.done {
		n -= was.stays[g.line]
	}
	for _, before := range st.counted(b) {
		if before == stage {
			break
		}
		if s := b.fewer(before, g); s.Fewer == fewerStays {
			n = min(n, s.Counted)
		}
	}
	return n
}

// fewer is what was said of goods at a stage.
func (b *readback) fewer(stage events.Stage, g *paperGoods) cellSaid {
	s := b.Cells[cellName(stage, g.row)]
	if s.Picture != g.page.Picture {
		return cellSaid{}
	}
	return s
}

// withCame adds the count of what came, where no count after it says so of the same goods.
func (st *readState) withCame(b *readback, counted []events.Stage) []events.Stage {
	if st.isDone(events.StageAdded) || st.leftOut(b, events.StageAdded) || slices.Contains(counted, events.StageAdded) {
		return counted
	}
	if !slices.ContainsFunc(st.goodsUsed(b), func(g *paperGoods) bool { return st.cameAlone(b, g, counted) }) {
		return counted
	}
	at := 0
	if len(counted) > 0 && counted[0] == events.StageFirst {
		at = 1
	}
	return slices.Insert(slices.Clone(counted), at, events.StageAdded)
}

// cameAlone reports whether goods came, or seem to have come, of which no count after the first says how many.
func (st *readState) cameAlone(b *readback, g *paperGoods, counted []events.Stage) bool {
	r, _ := st.sheet.row(g.row)
	typed := g.said.Numbers != nil || g.said.None
	if typed && st.came(b, g) == 0 || !typed && (st.sheet.Form || !g.page.marked(r, events.StageAdded)) {
		return false
	}
	for _, later := range g.page.Stages {
		if later == events.StageFirst || later == events.StageAdded {
			continue
		}
		if was, ok := st.done[later]; ok { // of goods that nobody has named it can't be told which they are
			if _, said := was.counts[g.line]; said || g.line == 0 {
				return false
			}
		} else if slices.Contains(counted, later) && g.page.marked(r, later) && !b.fewer(later, g).Not {
			return false
		}
	}
	return true
}

// goodsCount is what goods come to at a stage; ok is false where it must be asked, n < 0 where they were not counted.
func (st *readState) goodsCount(b *readback, g *paperGoods, stage events.Stage) (n int64, ok bool) {
	c, _ := st.sheet.cell(g.row, stage)
	numbers := g.said.Numbers
	switch {
	case stage == events.StageAdded:
		if n := st.came(b, g); n > 0 && st.cameAlone(b, g, st.columns(b)) {
			return n, true
		}
		return -1, true
	case c == nil:
		return -1, true
	case stage == events.StageFirst:
		if len(numbers) == 0 || numbers[0] == 0 {
			return -1, true
		}
		return numbers[0], true
	}
	if s, said := b.Cells[cellName(stage, g.row)]; said && s.Picture == g.page.Picture {
		if s.Not {
			return -1, true
		}
		return s.Counted, true
	}
	switch {
	case c.Mark == markEmpty && !c.Written:
		return -1, true
	case c.Mark == markTicked && !c.Written && st.sumSure(b, g, stage):
		return g.said.sum(), true
	}
	return 0, false
}

// sumSure reports whether it is plain which sum a tick means: not where counts that are not on this sheet have such goods, nor where
// something came and a count follows, since it may have come in between, nor after something was left in the patient, nor after
// a count that came to another number.
func (st *readState) sumSure(b *readback, g *paperGoods, stage events.Stage) bool {
	return len(g.said.Numbers) > 0 && g.here && st.remain(b, g, stage) == g.said.sum() && !st.otherSum(b, g, stage) &&
		(g.said.after(len(g.said.Numbers)) == 0 || st.isLast(stage))
}

// otherSum reports whether a count before on the sheet came to another number of goods than there should have been.
func (st *readState) otherSum(b *readback, g *paperGoods, stage events.Stage) bool {
	for _, before := range g.page.Stages {
		switch before {
		case stage:
			return false
		case events.StageFirst, events.StageAdded:
			continue
		}
		if n, said := st.done[before].counts[g.line]; said && n != g.said.sum()-st.came(b, g) {
			return true
		}
		s := b.fewer(before, g)
		if s.Fewer == fewerMissing || s.Fewer == "" && s.Picture != "" && !s.Not && s.Counted > st.remain(b, g, before) {
			return true
		}
	}
	return false
}

// isLast reports whether the sheet has nothing of a later stage.
func (st *readState) isLast(stage events.Stage) bool {
	all := st.sheet.stages()
	for _, later := range all[slices.Index(all, stage)+1:] {
		if !st.blank(later) {
			return false
		}
	}
	return true
}

// cameSince reports whether a count came to what was there before the last, or some of the last, came.
func (st *readState) cameSince(b *readback, g *paperGoods, stage events.Stage) bool {
	less := g.said.sum() - st.remain(b, g, stage)
	for n := 1; n < len(g.said.Numbers); n++ {
		if b.fewer(stage, g).Counted == g.said.Numbers[0]+g.said.after(n)-less {
			return true
		}
	}
	return false
}

// goodsCounts lays goods to the counts of a stage.
func (st *readState) goodsCounts(b *readback, used []*paperGoods, c *stageCount) {
	for _, g := range used {
		n, _ := st.goodsCount(b, g, c.stage)
		if g.line == 0 {
			continue
		}
		if n < 0 {
			if r, _ := st.sheet.row(g.row); c.stage != events.StageAdded && g.page.marked(r, c.stage) {
				c.without = append(c.without, g.row)
			}
			continue
		}
		x := events.Beyond{Line: g.line, Item: g.of.Item, Description: g.of.Description, Sort: g.of.Sort,
			Added: st.cameBy(b, g, c.stage)}
		if k := slices.IndexFunc(c.beyond, func(o events.Beyond) bool { return o.Line == g.line }); k >= 0 { // the same in two rows
			c.beyond[k].Added += x.Added
			c.counts[slices.IndexFunc(c.counts, func(o events.Count) bool { return o.Line == g.line })].Counted += n
		} else {
			c.beyond, c.asked = append(c.beyond, x), append(c.asked, g.line)
			c.counts = append(c.counts, events.Count{Line: g.line, Counted: n})
		}
		c.goods = append(c.goods, goodsNumber{g.of.Description, n})
		sum := st.remain(b, g, c.stage)
		if s := b.fewer(c.stage, g); s.Fewer == fewerStays {
			c.removed = append(c.removed, events.Removed{Line: g.line, Quantity: sum - n, Reason: s.Reason, Stays: true})
		}
		if len(g.said.Numbers) > 0 && n != sum && c.stage != events.StageFirst && c.stage != events.StageAdded {
			c.others = append(c.others, otherLine{g.row, n, sum})
		}
	}
	slices.SortFunc(c.counts, func(a, b events.Count) int { return cmp.Compare(a.Line, b.Line) })
	slices.SortFunc(c.beyond, func(a, b events.Beyond) int { return cmp.Compare(a.Line, b.Line) })
}

// cameBy is how many of goods came since the count before a stage, as far as the sheet says.
func (st *readState) cameBy(b *readback, g *paperGoods, stage events.Stage) (n int64) {
	if stage == events.StageFirst {
		return g.said.Numbers[0]
	}
	if stage == events.StageAdded {
		return 0 // the count says it by itself
	}
	said := int64(0)
	for _, at := range st.counted(b) {
		counted, _ := st.goodsCount(b, g, at)
		if at == events.StageFirst || counted < 0 {
			continue
		}
		by := st.came(b, g)
		if s := b.fewer(at, g); s.Fewer == fewerLater {
			by = min(by, max(0, s.Counted+g.said.sum()-st.remain(b, g, at)-g.said.Numbers[0]))
		}
		if at == stage {
			return max(0, by-said)
		}
		said = max(said, by)
	}
	return 0
}

// goodsWords says what a count comes to of goods.
func (c *stageCount) goodsWords(v *visit) string {
	var out []string
	for _, g := range c.goods {
		out = append(out, v.t("readback-goods-number", g.counted, g.name))
	}
	if len(out) == 0 {
		return ""
	}
	words := v.t("readback-goods-are", strings.Join(out, "; "))
	for _, r := range c.removed {
		k := slices.IndexFunc(c.beyond, func(x events.Beyond) bool { return x.Line == r.Line })
		words += " " + v.t("readback-goods-stay", r.Quantity, c.beyond[k].Description, r.Reason)
	}
	return words
}
