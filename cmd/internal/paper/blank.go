package paper

import (
	"errors"
	"fmt"
	"io"
	"time"

	"listbound/events"
	"listbound/projections/words"
)

// Millimetres of a form for a set that has no count sheet. Whoever fills it in writes what the instruments are; so no
// program can read it back, and of the marks of a count sheet it has none but a symbol, which says so.
const (
	blankTop    = 58.0
	blankRow    = 7.6
	blankBottom = 44.0
	blankSymbol = 18.0
	blankModule = 0.4
)

// BlankFormSymbol is what the symbol of such a form says: that it is one, and of no set. It is no page of a count sheet, so
// whoever takes its picture by mistake is told what it is, and a scan of it at the station begins typing it in.
const BlankFormSymbol = "listbound blank form"

// Goods have rows of their own at the foot of a form: fewer kinds than on a count sheet, so that room is left for instruments.
const (
	formGoods  = 6
	formOthers = 2 // blank ones
)

// FormGoods are those of some goods that have a row with their name on a form.
func FormGoods(all []events.Line) []events.Line { return all[:min(len(all), formGoods)] }

// FormGoodsRows is how many rows for goods a form has: none where there are no goods.
func FormGoodsRows(all []events.Line) int {
	if len(all) == 0 {
		return 0
	}
	return len(FormGoods(all)) + formOthers
}

// WriteBlankForms prints so many forms for sets that are counted by hand without a count sheet of theirs, as while no program can
// be asked: with rows to name the instruments in, and rows for goods where there are such. It says on itself that it is no count
// sheet of any set.
func WriteBlankForms(w io.Writer, forms int, size Size, goods []events.Line, practice bool, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	width, height, err := size.millimetres()
	if err != nil {
		return err
	}
	if forms < 1 || forms > 500 {
		return errors.New("forms are printed from 1 to 500 at once")
	}
	c := newCanvas(width, height, text.say("paper.blank-form"), lang.Tag(), time.Time{})
	for range forms {
		c.page()
		if practice {
			c.practice(text.say("paper.practice"), sheetBand)
		}
		c.blankHead(text)
		c.blankTable(text, goods)
		c.blankFoot(text)
	}
	return c.write(w)
}

// named is a place to write in, with its name.
func (c *canvas) named(x, y, w, h float64, name string) {
	c.box(x, y, w, h, 0.2)
	c.font(regular, 7)
	c.text(x+1, y+0.6, name)
}

func (c *canvas) blankHead(text wording) {
	inner := c.w - 2*side
	c.font(bold, 14)
	c.text(side, margin+2, text.say("paper.blank-form"))
	c.font(regular, body)
	c.lines(side, margin+9, c.wrap(text.say("paper.blank-why"), inner-blankSymbol-4))
	c.symbol(side+inner-blankSymbol, margin+1, blankSymbol, BlankFormSymbol, blankModule)
	y := margin + 20
	third := inner / 3
	c.named(side, y, 2*third, 10, text.say("paper.blank-set"))
	c.named(side+2*third, y, third, 10, text.say("paper.place-case"))
	y += 10
	for i, key := range []string{"paper.place-room", "paper.place-date", "paper.place-start", "paper.place-end"} {
		c.named(side+float64(i)*inner/4, y, inner/4, 10, text.say(key))
	}
}

func (c *canvas) blankTable(text wording, goods []events.Line) {
	inner := c.w - 2*side
	keys := []string{"paper.no", "paper.instrument", "paper.quantity", "paper.first", "paper.added", "paper.closing", "paper.final"}
	const number, count = 9.0, 16.0
	x := []float64{side, side + number, side + inner - 5*count}
	for i := range 5 {
		x = append(x, side+inner-float64(4-i)*count)
	}
	c.grey(side, blankTop, inner, blankRow)
	for i, key := range keys {
		s := text.say(key)
		c.shrink(bold, body, 7, s, x[i+1]-x[i]-1)
		c.centre(x[i], blankTop+1.8, x[i+1]-x[i], s)
	}
	y := blankTop + blankRow
	c.font(regular, body)
	rows := int((c.h - blankBottom - y) / blankRow)
	first := rows - FormGoodsRows(goods) // of those for goods
	for n := range rows {
		name := fmt.Sprint(n + 1)
		thick := 0.2
		if n >= first {
			name = GoodsName(n - first + 1)
		}
		if n == first {
			thick = 0.5
		}
		c.line(side, y, side+inner, y, thick)
		c.font(regular, body)
		c.centre(x[0], y+1.8, number, name)
		if n >= first && n-first < len(FormGoods(goods)) {
			g := goods[n-first]
			s := text.say("paper.goods-pack-of", shown(g.Description), g.Quantity)
			c.fitted(Rect{x[1] + 1.5, y + 0.4, x[2] - x[1] - 3, blankRow - 0.6}, s)
		}
		y += blankRow
	}
	for _, at := range x {
		c.line(at, blankTop, at, y, 0.2)
	}
	c.line(side, y, side+inner, y, 0.5)
	c.line(side, blankTop, side+inner, blankTop, 0.5)
}

func (c *canvas) blankFoot(text wording) {
	inner := c.w - 2*side
	y := c.h - blankBottom + 1
	for i, key := range []string{"paper.counted-by", "paper.witnessed-by", "paper.place-remarks"} {
		c.named(side+float64(i)*inner/3, y, inner/3, 14, text.say(key))
	}
	c.font(bold, body)
	c.lines(side, y+16, c.wrap(text.say("paper.caution"), inner))
}
