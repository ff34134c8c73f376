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
	There   int64       `json:"there,omitzero"` // so many of what came were recorded otherwise when a person said,
	Same    bool        `json:"same,omitzero"`  // that they are the same,
	Some    int64       `json:"some,omitzero"`  // or so many of them
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

// written reports whether something is on the line of a stage's column of a row.
func (p *paperPage) written(r *paperRow, stage events.Stage) bool {
	k := slices.Index(p.Stages, stage)
	return k >= 0 && k < len(r.Cells) && r.Cells[k].Written
}

// goodsMarked reports whether anything is in a stage's column of a row for goods.
func (p *paperPage) goodsMarked(stage events.Stage) bool {
	return slices.ContainsFunc(p.Goods, func(r paperRow) bool { return p.marked(&r, stage) })
}

// goodsDiffer are the rows for goods of which a recorded count says nothing and the page does, or the other way round. What a
// number says no program reads. The record says of each row whether anything was in it; of a page that was not read then, the
// names of what was counted tell.
func (p *paperPage) goodsDiffer(stage events.Stage, was paperCount, named []events.Line) (out []int64) {
	if stage == events.StageAdded || !slices.Contains(p.Stages, stage) {
		return nil
	}
	rest := slices.Clone(was.goods)
	var unnamed []int64
	for i := range p.Goods {
		r := &p.Goods[i]
		n, marked := int(-r.Line)-1, p.marked(r, stage)
		if before, known := was.letter(p, len(p.Rows)+i); known {
			if marked != (before != markEmpty) || before == markTicked && p.written(r, stage) {
				out = append(out, r.Line)
			}
			continue
		}
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
	if len(unnamed) > 0 && len(unnamed) != len(rest) {
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
			g.here = !st.other.counted[g.line]
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

// after is how many came by the first so many numbers of a row, without those of the first count.
func (s *goodsSaid) after(numbers int) (n int64) {
	for i := 1; i < numbers; i++ {
		n += s.Numbers[i]
	}
	return n
}

// came is how many came after the first count.
func (s *goodsSaid) came() int64 { return s.after(len(s.Numbers)) }

// atFirst is how many were there at the first count.
func (s *goodsSaid) atFirst() int64 {
	if len(s.Numbers) == 0 {
		return 0
	}
	return s.Numbers[0]
}

// sum is how many came in all.
func (s *goodsSaid) sum() int64 { return s.atFirst() + s.came() }

// remain is how many of goods should be there at a stage by the sheet: the sum, without what stays in the patient by a count before.
func (st *readState) remain(b *readback, g *paperGoods, stage events.Stage) int64 {
	n := g.said.sum()
	stays := int64(0)
	for _, was := range st.done {
		stays += was.stays[g.line]
	}
	n -= st.share(b, g, stays, func(g *paperGoods) int64 { return g.said.sum() })
	for _, before := range st.columns(b) {
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

// goodsCount is what goods come to at a stage; ok is false where it must be asked, n < 0 where they were not counted.
func (st *readState) goodsCount(b *readback, g *paperGoods, stage events.Stage) (n int64, ok bool) {
	c, _ := st.sheet.cell(g.row, stage)
	numbers := g.said.Numbers
	switch {
	case stage == events.StageAdded:
		if n := st.cameAlone(b, g, st.columns(b)); n > 0 {
			return n, true
		}
		return -1, true
	case c == nil, st.isDoneOn(g.page, stage):
		return -1, true
	case stage == events.StageFirst:
		if len(numbers) == 0 || numbers[0] == 0 || st.firstThere(b, g) {
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
		(g.said.came() == 0 || st.isLast(stage))
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
		if n, said := st.done[before].counts[g.line]; said && n != st.sumBefore(b, g) {
			return true
		}
		s := b.fewer(before, g)
		if s.Fewer == fewerMissing || s.Fewer == "" && s.Picture != "" && !s.Not && s.Counted > st.remain(b, g, before) {
			return true
		}
	}
	return false
}

// sumBefore is how many of goods there were before what isn't recorded yet came, in all rows of the same goods.
func (st *readState) sumBefore(b *readback, g *paperGoods) (n int64) {
	for _, o := range st.goodsUsed(b) {
		if o.line == g.line {
			n += o.said.sum() - st.came(b, o)
		}
	}
	return n
}

// isLast reports whether a stage is the last that the sheet has: nothing comes after it. Of one before it, the sheet may have been read
// while its later columns were empty, and packs have come since.
func (st *readState) isLast(stage events.Stage) bool {
	all := st.sheet.stages()
	return len(all) > 0 && stage == all[len(all)-1]
}

// goodsCounts lays goods to the counts of a stage.
func (st *readState) goodsCounts(b *readback, used []*paperGoods, c *stageCount) {
	for _, g := range used {
		n, _ := st.goodsCount(b, g, c.stage)
		if g.line == 0 {
			continue
		}
		if n < 0 {
			if r, _ := st.sheet.row(g.row); c.stage != events.StageAdded && g.page.marked(r, c.stage) && !st.firstThere(b, g) {
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
