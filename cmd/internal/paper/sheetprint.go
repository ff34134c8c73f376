package paper

import (
	"fmt"
	"strings"

	"github.com/boombuler/barcode/qr"

	"listbound/events"
)

// sheetPrinter draws what a plan describes.
type sheetPrinter struct {
	*plan
	words       wording
	code, short string
	headScale   float64
	trial       []TrialMark // printed into the first column
}

func (p *sheetPrinter) print() {
	if p.err != nil {
		return
	}
	for i, page := range p.geometry.Pages {
		p.page()
		if p.sheet.Practice {
			p.practice(p.words.say("paper.practice"), sheetBand)
		}
		p.landmarks()
		p.header(i + 1)
		if len(page.Rows) > 0 || len(page.Goods) == 0 {
			p.tableHead(page.Table.Y)
		}
		for k, r := range p.rows[i] {
			p.row(page.Rows[k], r)
			p.trialMark(page.Rows[k])
		}
		p.goods(page.Goods)
		p.signatures(page.Signs)
		p.columns(page)
		for _, place := range page.Places {
			p.place(place)
		}
		p.footer(i + 1)
	}
}

// landmarks are what a program finds the page by, and how it is bent.
func (p *sheetPrinter) landmarks() {
	for _, c := range p.geometry.Rings {
		for i, d := range RingDiameters {
			p.disc(c, d, i == 1)
		}
	}
	dots := p.geometry.Dots
	for _, edge := range [][]Point{dots.Top, dots.Bottom, dots.Left[1 : len(dots.Left)-1], dots.Right[1 : len(dots.Right)-1]} {
		for _, c := range edge {
			p.disc(c, dotSide, false)
		}
	}
}

// facts are the header's lines under the title.
func (p *sheetPrinter) facts() []string {
	s, w := p.sheet, p.words
	out := []string{w.say("paper.list", s.List, s.Version)}
	if !s.Packed.IsZero() {
		out = append(out, w.say("paper.packed", s.Packed))
	}
	out = append(out, w.say("paper.travels", s.Placement))
	out = append(out, w.say("paper.seals", s.Seals))
	if len(s.Exceptions) > 0 {
		var lines []string
		for _, l := range s.Lines {
			if _, ok := p.exceptions[l.Line]; ok {
				lines = append(lines, fmt.Sprint(l.Line))
			}
		}
		if len(lines) > 8 {
			lines = append(lines[:8], "…")
		}
		out = append(out, w.say("paper.differs", len(s.Exceptions), strings.Join(lines, ", ")))
	}
	return out
}

// fitHead is how much smaller the header's left part has to be than it would like. It may not push the
// table down: the place of a box would depend on the words of a language.
func (p *sheetPrinter) fitHead() float64 {
	for scale := 1.0; scale >= 0.5; scale -= 0.05 {
		if p.head(scale, false) <= headBottom {
			return scale
		}
	}
	p.fail("the head of the sheet leaves no room for lines: shorten the title or the seals")
	return 1
}

// head lays the header's left part out and, when draw is set, draws it.
func (p *sheetPrinter) head(scale float64, draw bool) float64 {
	x, y := headLeft, margin
	width := p.geometry.Symbol.X - boxWidth - 2*gap - x
	put := func(lines []string) {
		if draw {
			p.lines(x, y, lines)
		}
		y += float64(len(lines)) * p.lineHeight()
	}
	p.font(bold, 9*scale)
	put([]string{p.words.say("paper.count-sheet")})
	put(p.shrink(bold, 26*scale, 14*scale, p.sheet.Set, width))
	p.font(bold, 12*scale)
	put(p.wrap(p.sheet.Title, width))
	y += 0.5
	for _, f := range p.facts() {
		p.font(regular, body*scale)
		put(p.wrap(f, width))
	}
	return y
}

// header draws what every page carries: a page alone must still say which set,
// which list and which trip it belongs to, to a person and to a scanner.
func (p *sheetPrinter) header(page int) {
	p.head(p.headScale, true)
	text, err := events.SheetPage{Code: p.sheet.Code, Page: page, Pages: len(p.rows), Layout: p.geometry.Layout}.Text()
	if err == nil && p.sheet.Practice {
		text, err = events.PracticeText(text)
	}
	if err != nil {
		p.fail("%w", err)
		return
	}
	s, second := p.geometry.Symbol, p.geometry.Second
	p.symbol(s.X, s.Y, s.W, text, leastModule)
	p.symbolWith(qr.M, second.X, second.Y, second.W, text, leastModule)
	x := s.X - gap - boxWidth // nothing may stand in the symbol's quiet zone
	y := margin
	p.box(x, y, boxWidth, 16, 0.5)
	p.font(regular, body)
	p.centre(x, y+0.8, boxWidth, p.words.say("paper.short-code"))
	p.font(mono, 20)
	p.centre(x, y+5.5, boxWidth, p.short)
	y += 17
	p.font(regular, body)
	p.text(x, y, p.words.say("paper.code"))
	y += p.lineHeight()
	p.font(mono, body)
	const third = 18
	for i := 0; i < len(p.code); i += third {
		p.text(x, y, grouped(p.code[i:min(i+third, len(p.code))], 6))
		y += p.lineHeight()
	}
	p.fitted(Rect{x, y, boxWidth, headBottom - y}, p.howTo())
}

func (p *sheetPrinter) howTo() string {
	if p.trial != nil {
		return p.words.say("paper.trial-how-to")
	}
	return p.words.say("paper.how-to-tick")
}

// fitted sets a text into a box, as large as it can.
func (c *canvas) fitted(in Rect, s string) {
	for size := body; ; size -= 0.25 {
		c.font(regular, size)
		if lines := c.wrap(s, in.W); float64(len(lines))*c.lineHeight() <= in.H || size <= 5 {
			c.lines(in.X, in.Y, lines)
			return
		}
	}
}

// grouped sets spaces between groups, for typing a code that no scanner reads.
func grouped(s string, n int) string {
	var b strings.Builder
	for i, r := range s {
		if i > 0 && i%n == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
	}
	return b.String()
}

func (p *sheetPrinter) inner() float64 { return p.w - 2*side }

func (p *sheetPrinter) tableHead(y float64) {
	p.grey(side, y, p.inner(), headHeight)
	for i, f := range p.geometry.Fields {
		s := p.words.say(f.key)
		p.shrink(bold, body, 7, s, f.W-1)
		ty := y + (headHeight-p.lineHeight())/2
		if i == 1 {
			p.text(f.X+1.5, ty, s)
			continue
		}
		p.centre(f.X, ty, f.W, s)
	}
	p.line(side, y, side+p.inner(), y, 0.5)
	p.line(side, y+headHeight, side+p.inner(), y+headHeight, 0.5)
}

func (p *sheetPrinter) row(at Row, r row) {
	no, what, packed := p.geometry.Fields[0], p.what(), p.geometry.Fields[2]
	y := at.Y
	if r.exception != nil {
		p.grey(side, y+0.2, packed.X+packed.W-side, r.height-0.2) // below the rule
	}
	p.font(regular, body)
	p.centre(no.X, y+rowPad, no.W, fmt.Sprint(r.line.Line))
	ty := y + rowPad
	if r.exception != nil {
		p.exception(what, ty, r)
		p.font(regular, body)
		ty += float64(r.marks) * p.lineHeight()
	}
	r = p.helped(r)
	ty = p.lines(what.X+1.5, ty, r.description)
	if r.beside {
		ty -= p.lineHeight()
	}
	for _, l := range r.item {
		p.right(what.X+1.5, ty, what.W-3, l)
		ty += p.lineHeight()
	}
	quantity := r.line.Quantity
	if r.exception != nil {
		quantity = r.exception.Counted
	}
	p.font(bold, 13)
	p.centre(packed.X, y+0.6, packed.W, fmt.Sprint(quantity))
	if r.exception != nil {
		p.font(regular, body)
		p.centre(packed.X, y+rowPad+p.lineHeight(), packed.W, p.words.say("paper.of-quantity", r.line.Quantity))
	}
	for _, f := range p.geometry.Fields {
		p.cell(at, f)
	}
	p.line(side, y+r.height, side+p.inner(), y+r.height, 0.2)
}

// cell is where a stage's count is ticked or written. What stands across a page for practice stops before it:
// a program would take it for a pale mark.
func (p *sheetPrinter) cell(at Row, f Field) {
	if f.Stage == "" {
		return
	}
	if p.sheet.Practice {
		c := at.Cell(f).Inset(0.2)
		p.pdf.SetFillColor(255, 255, 255)
		p.pdf.Rect(c.X, c.Y, c.W, c.H, "F")
		p.black()
	}
	if f.Ticked() {
		t := at.Tick(f)
		p.box(t.X, t.Y, t.W, t.H, tickFrame)
	}
}

// helped is a row whose item's number has behind it what helps to tell the instrument, where there is room. Of how many
// parts it is makes itself room by smaller letters. It sets the font of the row.
func (p *sheetPrinter) helped(r row) row {
	p.font(regular, body)
	helps := p.words.helps(r.line)
	for _, help := range helps {
		if with, ok := p.withHelp(r, help); ok {
			return with
		}
	}
	for size := body; r.line.Parts > 0 && size >= leastBody; size -= 0.25 {
		p.font(regular, size)
		if with, ok := p.withHelp(r, helps[len(helps)-1]); ok {
			return with
		}
	}
	p.font(regular, body)
	return r
}

// withHelp sets a row with more behind its item's number. It may not take more lines than the row has.
func (p *sheetPrinter) withHelp(r row, help string) (row, bool) {
	width := p.what().W - 3
	with := r
	with.description = p.wrap(r.line.Description, width)
	with.item = p.wrap(r.line.Item+help, width)
	with.beside = p.besides(with.description, with.item, width)
	return with, with.lines() <= r.lines()
}

// exception says what was packed otherwise, in as many lines as the plan has for it.
func (p *sheetPrinter) exception(what Field, y float64, r row) {
	e := r.exception
	s := p.words.say("paper.packed-of", e.Reason, e.Counted, r.line.Quantity)
	p.font(bold, body)
	line := p.lineHeight()
	for size := body; size >= 4; size -= 0.25 {
		p.font(bold, size)
		lines := p.wrap(s, what.W-3)
		if len(lines) > r.marks {
			continue
		}
		for i, l := range lines {
			p.text(what.X+1.5, y+float64(i)*line, l)
		}
		return
	}
	p.fail("what is said of line %d, which was packed otherwise, doesn't fit: shorten the reason", r.line.Line)
}

func (p *sheetPrinter) columns(page Page) {
	top, bottom := page.Table.Y, page.Table.Y+page.Table.H
	if len(page.Goods) > 0 {
		head, last := page.Goods[0].Y-goodsHead, page.Goods[len(page.Goods)-1]
		p.edges(p.geometry.Fields, top, head)
		p.edges(p.geometry.GoodsFields, head, last.Y+last.H)
		top = last.Y + last.H
	}
	p.edges(p.geometry.Fields, top, bottom)
	p.line(side, bottom, side+p.inner(), bottom, 0.5)
}

// edges are the lines between columns.
func (p *sheetPrinter) edges(fields []Field, top, bottom float64) {
	if bottom <= top {
		return
	}
	for i, f := range fields {
		thick := 0.2
		if i == 0 || i == 3 {
			thick = 0.5
		}
		p.line(f.X, top, f.X, bottom, thick)
	}
	p.line(side+p.inner(), top, side+p.inner(), bottom, 0.5)
}

// signatures continue the count columns: who counted in each, who witnessed, when.
func (p *sheetPrinter) signatures(places []Rect) {
	keys := []string{"paper.counted-by", "paper.witnessed-by", "paper.time"}
	for i, r := range places {
		if i == 0 {
			p.line(side, r.Y, side+p.inner(), r.Y, 0.5)
		}
		s := p.words.say(keys[i])
		p.font(bold, body)
		p.text(p.what().X+1.5, r.Y+(r.H-p.lineHeight())/2, s)
		p.line(side, r.Y+r.H, side+p.inner(), r.Y+r.H, 0.2)
	}
}

// place is something to fill in, with its name in small type at its upper left.
func (p *sheetPrinter) place(at Place) {
	p.box(at.X, at.Y, at.W, at.H, 0.2)
	s := p.words.say("paper.place-" + at.Name)
	p.shrink(regular, 7, 5, s, at.W-1.6)
	p.text(at.X+0.8, at.Y+0.2, s)
}

// caution is what no count may be read without.
func (p *sheetPrinter) caution(width float64) []string {
	p.font(bold, body)
	return p.wrap(p.words.say("paper.caution"), width)
}

func (p *sheetPrinter) footer(page int) {
	x, y := headLeft, p.h-footTop+8
	width := p.geometry.Second.X - gap/2 - x
	y = p.lines(x, y, p.caution(width))
	count := p.words.say("paper.page", page, len(p.rows))
	if p.sheet.CheckLine != "" {
		count = p.words.say("paper.check-line", p.sheet.CheckLine) + "   " + count
	}
	p.shrink(regular, body, 7, count, width*0.75)
	p.right(x, y, width, count)
	// Which sheet stands in full at the head; here one line of it is enough.
	p.text(x, y, p.shrink(regular, p.size, 5, p.short+" · "+p.sheet.Set, width-p.width(count)-gap)[0])
}
