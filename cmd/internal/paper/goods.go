package paper

import (
	"fmt"

	"listbound/events"
)

// Rows for goods (sponges, sharps, small items) stand below the lines on the last page, each with its name and how many are
// in a pack; the last rows are blank, for what is on no list of goods. Numbers are always written: how many at first, each pack that
// is opened later beside the one before, and the sum. At a count after the first the box is ticked when the count is the sum. How
// many rows there are follows from how many goods the sheet has, and nothing from their names.
const (
	mostGoods  = 11 // that are named: with the blank rows and the signatures they fit on a page of either size
	blankGoods = 2
	goodsRow   = 9.2 // two lines of type, and more room for a pen than a line of the list
	goodsHead  = 9.2

	goodsNumber = 8.0
	goodsPack   = 10.0
	goodsFirst  = 12.5
	goodsSum    = 12.5
	goodsAdded  = 0.2 // share of what stands left of the boxes
)

// NamedGoods are those of some goods that have a row with their name.
func NamedGoods(all []events.Line) []events.Line { return all[:min(len(all), mostGoods)] }

// goodsFields are the columns of rows for goods: the boxes stand below those of the lines.
func goodsFields(lines []Field) []Field {
	var boxes []Field
	for _, f := range lines {
		if f.Ticked() && f.Stage != events.StageFirst {
			boxes = append(boxes, f)
		}
	}
	left := boxes[0].X - side
	added := goodsAdded * left
	out := append([]Field{
		{W: goodsNumber, key: "paper.no"},
		{W: left - goodsNumber - goodsPack - goodsFirst - added - goodsSum, key: "paper.goods"},
		{W: goodsPack, key: "paper.goods-pack"},
		{W: goodsFirst, key: "paper.first", Stage: events.StageFirst, Lined: true},
		{W: added, key: "paper.added", Stage: events.StageAdded},
		{W: goodsSum, key: "paper.goods-sum"},
	}, boxes...)
	x := side
	for i := range out {
		out[i].X = x
		x += out[i].W
	}
	return out
}

func (p *plan) goodsRows() int {
	if p.geometry.GoodsFields == nil {
		return 0
	}
	return len(NamedGoods(p.sheet.Goods)) + blankGoods
}

func (p *plan) goodsHeight() float64 {
	n := p.goodsRows()
	if n == 0 {
		return 0
	}
	return goodsHead + float64(n)*goodsRow
}

// placedGoods are the rows for goods below a height. Where no line stands above them their heading is the page's.
func (p *plan) placedGoods(y float64, alone bool) ([]Row, float64) {
	n := p.goodsRows()
	if n == 0 {
		return nil, y
	}
	if alone {
		y -= headHeight
	}
	y += goodsHead
	var out []Row
	for i := range n {
		out = append(out, Row{Line: int64(-1 - i), Y: y, H: goodsRow})
		y += goodsRow
	}
	return out, y
}

// GoodsName is what a row for goods is called, on the sheet and by whoever asks about it.
func GoodsName(row int) string { return fmt.Sprintf("G%d", row) }

// goods draws the rows for goods.
func (p *sheetPrinter) goods(rows []Row) {
	if len(rows) == 0 {
		return
	}
	p.goodsHeading(rows[0].Y - goodsHead)
	fields := p.geometry.GoodsFields
	for i, r := range rows {
		p.font(regular, body)
		p.centre(fields[0].X, r.Y+(r.H-p.lineHeight())/2, fields[0].W, GoodsName(i+1))
		if i < len(rows)-blankGoods {
			p.namedGoods(r, p.sheet.Goods[i])
		}
		for _, f := range fields {
			p.cell(r, f)
		}
		p.line(side, r.Y+r.H, side+p.inner(), r.Y+r.H, 0.2)
	}
}

// goodsHeading has the columns' names, and what to do, where goods are named.
func (p *sheetPrinter) goodsHeading(y float64) {
	p.grey(side, y, p.inner(), goodsHead)
	for i, f := range p.geometry.GoodsFields {
		s := p.words.say(f.key)
		if i == 1 {
			p.fitted(Rect{f.X + 1.5, y + 0.4, f.W - 3, goodsHead - 0.8}, s)
			continue
		}
		p.shrink(bold, body, 7, s, f.W-1)
		p.centre(f.X, y+(goodsHead-p.lineHeight())/2, f.W, s)
	}
	p.line(side, y, side+p.inner(), y, 0.5)
	p.line(side, y+goodsHead, side+p.inner(), y+goodsHead, 0.5)
}

// namedGoods says what goods a row is for; a name too long for two lines is smaller, and at last cut short.
func (p *sheetPrinter) namedGoods(r Row, g events.Line) {
	const least = 7.0
	what, pack := p.geometry.GoodsFields[1], p.geometry.GoodsFields[2]
	name := []rune(shown(g.Description))
	var lines []string
	for size, n := body, len(name); ; {
		p.font(regular, size)
		text := string(name[:n])
		if n < len(name) {
			text += "…"
		}
		if lines = p.wrap(text, what.W-3); float64(len(lines))*p.lineHeight() <= r.H-0.3 {
			break
		}
		if size > least {
			size -= 0.25
		} else {
			n--
		}
	}
	p.lines(what.X+1.5, r.Y+(r.H-float64(len(lines))*p.lineHeight())/2, lines)
	p.font(bold, 13)
	p.centre(pack.X, r.Y+(r.H-p.lineHeight())/2, pack.W, fmt.Sprint(g.Quantity))
}
