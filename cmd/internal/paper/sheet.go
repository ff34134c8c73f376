package paper

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections/words"
)

// Sheet is one list, bound to one set and one trip, ready to print.
type Sheet struct {
	Set, Trip, Title, List string
	Version                int64
	Lines                  []events.Line
	Cycles                 []string // the list's; not printed, but part of what the code commits to
	Exceptions             []events.Exception
	Code                   events.SheetCode
	Placement              events.Placement
	Packed                 time.Time // printed in its own zone
	Seals                  []string
}

// SheetOf puts a sheet together from what was recorded of a trip. At is when
// the set was packed, in the zone to print.
func SheetOf(set, trip string, list *events.ListIssued, packed *events.SetPacked, at time.Time, sealed *events.ListSealed) (Sheet, error) {
	if packed.List != list.List || packed.Version != list.Version {
		return Sheet{}, fmt.Errorf("set %s was packed by list %s version %d, not by %s version %d", set, packed.List, packed.Version, list.List, list.Version)
	}
	code, err := events.ParseSheetCode(sealed.Code)
	if err != nil {
		return Sheet{}, err
	}
	return Sheet{
		Set: set, Trip: trip, Title: list.Title, List: list.List, Version: list.Version, Lines: list.Lines, Cycles: list.Cycles,
		Exceptions: packed.Exceptions, Code: code, Placement: sealed.Placement, Packed: at, Seals: sealed.Seals,
	}, nil
}

// Size is a paper size.
type Size int

// The sizes of a count sheet.
const (
	A4 Size = iota
	Letter
)

// ParseSize reads "a4" or "letter".
func ParseSize(s string) (Size, error) {
	switch strings.ToLower(s) {
	case "a4":
		return A4, nil
	case "letter":
		return Letter, nil
	}
	return 0, fmt.Errorf("paper size %q is not known; it is a4 or letter", s)
}

func (s Size) millimetres() (w, h float64, err error) {
	switch s {
	case A4:
		return 210, 297, nil
	case Letter:
		return 215.9, 279.4, nil
	}
	return 0, 0, fmt.Errorf("paper size %d is not known; it is A4 or Letter", s)
}

// Millimetres of the count sheet's parts.
const (
	margin      = 12.0
	symbolSide  = 31.0
	boxWidth    = 43.0 // the short code's
	gap         = 3.0
	colNumber   = 9.0
	colQuantity = 16.0
	colCount    = 16.5
	rowLeast    = 8.0 // room for a figure by hand
	rowPad      = 1.0
	headHeight  = 7.0
	signHeight  = 9.0
	remarks     = 16.0
	footGap     = 3.0
	body        = 10.0 // points
	leastModule = 0.3  // 203 dpi label printers draw 0.125 mm dots; below two or three of them a module is lost (common practice, no source)
)

// WriteSheet prints a count sheet as PDF. It refuses a sheet whose code was
// not made for exactly this list, set and trip, and a character it can't show.
// The same sheet gives the same bytes.
func WriteSheet(w io.Writer, s Sheet, size Size, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	width, height, err := size.millimetres()
	if err != nil {
		return err
	}
	if err := s.check(); err != nil {
		return err
	}
	p := &sheetPrinter{
		canvas: newCanvas(width, height, text.say("paper.count-sheet")+" "+s.Set, lang.Tag(), s.Packed),
		words:  text, sheet: &s, code: s.Code.String(), short: s.Code.Short(),
	}
	p.exceptions = make(map[int64]events.Exception, len(s.Exceptions))
	for _, e := range s.Exceptions {
		p.exceptions[e.Line] = e
	}
	p.print()
	return p.write(w)
}

// check refuses what must not leave the printer.
func (s *Sheet) check() error {
	list := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines, Cycles: s.Cycles}
	if err := list.Check(); err != nil {
		return fmt.Errorf("list %s: %w", s.List, err)
	}
	if s.Set == "" {
		return errors.New("the sheet names no set")
	}
	if s.Code.Trip != s.Trip {
		return fmt.Errorf("the sheet code was made for trip %s, the sheet is for trip %s: seal the list again", s.Code.Trip, s.Trip)
	}
	d, err := list.Digest()
	if err != nil {
		return err
	}
	b, err := events.Binding(d, s.Set, s.Trip)
	if err != nil {
		return err
	}
	if !s.Code.Matches(b) {
		return fmt.Errorf("the sheet code does not belong to list %s version %d on set %s: print with the list as it was sealed", s.List, s.Version, s.Set)
	}
	for _, e := range s.Exceptions {
		if !slices.ContainsFunc(s.Lines, func(l events.Line) bool { return l.Line == e.Line }) {
			return fmt.Errorf("an exception names line %d, which list %s version %d does not have", e.Line, s.List, s.Version)
		}
	}
	return s.checkCharacters()
}

func (s *Sheet) checkCharacters() error {
	fields := []struct{ where, text string }{
		{"the set's id", s.Set}, {"the list's id", s.List}, {"the title", s.Title},
		{"a seal's number", strings.Join(s.Seals, "")}, {"the time zone", zone(s.Packed)},
	}
	for _, l := range s.Lines {
		fields = append(fields, struct{ where, text string }{fmt.Sprintf("line %d: the item", l.Line), l.Item},
			struct{ where, text string }{fmt.Sprintf("line %d: the description", l.Line), l.Description})
	}
	for _, e := range s.Exceptions {
		fields = append(fields, struct{ where, text string }{fmt.Sprintf("line %d: the reason of the exception", e.Line), e.Reason})
	}
	for _, f := range fields {
		if err := checkPrintable(f.where, f.text); err != nil {
			return err
		}
	}
	return nil
}

func zone(t time.Time) string { name, _ := t.Zone(); return name }

// checkPrintable names the characters that can't be shown, for the person who
// wrote the list.
func checkPrintable(where, text string) error {
	missing := Missing(text)
	if len(missing) == 0 {
		return nil
	}
	var names []string
	for _, r := range missing {
		names = append(names, fmt.Sprintf("%q (%U)", r, r))
	}
	return fmt.Errorf("%s has characters that can't be printed: %s; write them in Latin, Greek or Cyrillic letters and common signs",
		where, strings.Join(names, ", "))
}

type sheetPrinter struct {
	*canvas
	words       wording
	sheet       *Sheet
	code, short string
	exceptions  map[int64]events.Exception
	pages       int // of how many; known after the rows were laid out
}

// row is one line of the list, laid out.
type row struct {
	line        events.Line
	exception   *events.Exception
	description []string
	item        []string
	beside      bool // the item stands right on the description's last line
	mark        []string
	height      float64
}

func (p *sheetPrinter) print() {
	rows := make([]row, 0, len(p.sheet.Lines))
	for _, l := range p.sheet.Lines {
		rows = append(rows, p.layout(l))
	}
	room := p.h - margin - p.footerHeight() - p.headerHeight() - headHeight
	ending := 3*signHeight + remarks
	if room < rowLeast {
		p.fail("the head of the sheet leaves no room for lines: shorten the title or the seals")
		return
	}
	// First see where pages end, then draw: each page says of how many it is.
	var pages [][]row
	left := 0.0
	for _, r := range rows {
		if r.height > room {
			p.fail("line %d does not fit on one page: shorten its description", r.line.Line)
			return
		}
		if len(pages) == 0 || r.height > left {
			pages = append(pages, nil)
			left = room
		}
		last := len(pages) - 1
		pages[last] = append(pages[last], r)
		left -= r.height
	}
	if ending > room {
		p.fail("the head of the sheet leaves no room for the signatures: shorten the title or the seals")
		return
	}
	if left < ending {
		// The last line goes along: signatures on a page of their own would stand
		// under nothing.
		last := len(pages) - 1
		pages = append(pages, nil)
		if n := len(pages[last]) - 1; n > 0 && pages[last][n].height+ending <= room {
			pages[last+1] = append(pages[last+1], pages[last][n])
			pages[last] = pages[last][:n]
		}
	}
	p.pages = len(pages)
	for i, rows := range pages {
		p.page()
		y := p.header()
		top := y
		y = p.tableHead(y)
		for _, r := range rows {
			p.row(y, r)
			y += r.height
		}
		if i == len(pages)-1 {
			y = p.signatures(y)
			p.columns(top, y)
			p.remarks(y)
		} else {
			p.columns(top, y)
		}
		p.footer(i + 1)
	}
}

func (p *sheetPrinter) inner() float64 { return p.w - 2*margin }

func (p *sheetPrinter) descriptionWidth() float64 {
	return p.inner() - colNumber - colQuantity - 5*colCount
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

// head lays the header's left part out and, when draw is set, draws it.
func (p *sheetPrinter) head(draw bool) float64 {
	x, y := margin, margin
	width := p.inner() - symbolSide - boxWidth - 2*gap
	put := func(lines []string) {
		if draw {
			p.lines(x, y, lines)
		}
		y += float64(len(lines)) * p.lineHeight()
	}
	p.font(bold, 9)
	put([]string{p.words.say("paper.count-sheet")})
	put(p.shrink(bold, 26, 14, p.sheet.Set, width))
	y += 0.5
	p.font(bold, 12)
	put(p.wrap(p.sheet.Title, width))
	y += 0.5
	p.font(regular, body)
	for _, f := range p.facts() {
		p.font(regular, body)
		put(p.wrap(f, width))
	}
	return y
}

const codeStrip = 8.0

func (p *sheetPrinter) headerHeight() float64 {
	return max(p.head(false), margin+symbolSide) + 1.5 + codeStrip + 2
}

// header draws what every page carries: a page alone must still say which set,
// which list and which trip it belongs to, to a person and to a scanner.
func (p *sheetPrinter) header() float64 {
	bottom := max(p.head(true), margin+symbolSide)
	xs := p.w - margin - symbolSide
	p.symbol(xs, margin, symbolSide, p.code, leastModule)
	xb := xs - gap - boxWidth // nothing may stand in the symbol's quiet zone
	p.box(xb, margin+3, boxWidth, 18, 0.5)
	p.font(regular, body)
	p.centre(xb, margin+4.2, boxWidth, p.words.say("paper.short-code"))
	p.font(mono, 20)
	p.centre(xb, margin+9.5, boxWidth, p.short)

	y := bottom + 1.5
	p.font(regular, body)
	p.text(margin, y+1.7, p.words.say("paper.code"))
	label := p.width(p.words.say("paper.code")) + 3
	groups := grouped(p.code, 6)
	for size := 11.0; ; size -= 0.25 {
		p.font(mono, size)
		if p.width(groups) <= p.inner()-label || size < 9 {
			break
		}
	}
	p.text(margin+label, y+1.5, groups)
	return y + codeStrip + 2
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

// edges are the x positions of the table's vertical rules.
func (p *sheetPrinter) edges() []float64 {
	x := margin
	out := []float64{x}
	for _, w := range []float64{colNumber, p.descriptionWidth(), colQuantity, colCount, colCount, colCount, colCount, colCount} {
		x += w
		out = append(out, x)
	}
	return out
}

func (p *sheetPrinter) tableHead(y float64) float64 {
	e := p.edges()
	p.grey(margin, y, p.inner(), headHeight)
	for i, key := range []string{
		"paper.no", "paper.instrument", "paper.quantity",
		"paper.first", "paper.added", "paper.cavity", "paper.closing", "paper.final",
	} {
		s := p.words.say(key)
		p.shrink(bold, body, 7, s, e[i+1]-e[i]-1)
		ty := y + (headHeight-p.lineHeight())/2
		if i == 1 {
			p.text(e[i]+1.5, ty, s)
			continue
		}
		p.centre(e[i], ty, e[i+1]-e[i], s)
	}
	p.line(margin, y, margin+p.inner(), y, 0.5)
	p.line(margin, y+headHeight, margin+p.inner(), y+headHeight, 0.5)
	return y + headHeight
}

func (p *sheetPrinter) layout(l events.Line) row {
	r := row{line: l}
	width := p.descriptionWidth() - 3
	p.font(regular, body)
	r.description = p.wrap(l.Description, width)
	r.item = p.wrap(l.Item, width)
	n := len(r.description) + len(r.item)
	if len(r.item) == 1 && p.width(r.description[len(r.description)-1])+6+p.width(r.item[0]) <= width {
		r.beside = true
		n--
	}
	if e, ok := p.exceptions[l.Line]; ok {
		r.exception = &e
		p.font(bold, body)
		r.mark = p.wrap(p.words.say("paper.packed-of", e.Reason, e.Counted, l.Quantity), width)
		n += len(r.mark)
	}
	r.height = max(rowLeast, float64(n)*p.lineHeight()+2*rowPad)
	return r
}

func (p *sheetPrinter) row(y float64, r row) {
	e := p.edges()
	if r.exception != nil {
		p.grey(margin, y+0.2, e[3]-margin, r.height-0.2) // below the rule
	}
	p.font(regular, body)
	p.centre(e[0], y+rowPad, colNumber, fmt.Sprint(r.line.Line))
	p.font(bold, body)
	ty := p.lines(e[1]+1.5, y+rowPad, r.mark)
	p.font(regular, body)
	ty = p.lines(e[1]+1.5, ty, r.description)
	if r.beside {
		ty -= p.lineHeight()
	}
	for _, l := range r.item {
		p.right(e[1]+1.5, ty, p.descriptionWidth()-3, l)
		ty += p.lineHeight()
	}

	quantity := r.line.Quantity
	if r.exception != nil {
		quantity = r.exception.Counted
	}
	p.font(bold, 13)
	p.centre(e[2], y+rowPad, colQuantity, fmt.Sprint(quantity))
	if r.exception != nil {
		next := y + rowPad + p.lineHeight()
		p.font(regular, body)
		p.centre(e[2], next, colQuantity, p.words.say("paper.of-quantity", r.line.Quantity))
	}
	p.line(margin, y+r.height, margin+p.inner(), y+r.height, 0.2)
}

func (p *sheetPrinter) columns(top, bottom float64) {
	e := p.edges()
	for i, x := range e {
		thick := 0.2
		if i == 0 || i == 3 || i == len(e)-1 {
			thick = 0.5
		}
		p.line(x, top, x, bottom, thick)
	}
	p.line(margin, bottom, margin+p.inner(), bottom, 0.5)
}

// signatures continue the count columns: who counted in each, who witnessed, when.
func (p *sheetPrinter) signatures(y float64) float64 {
	e := p.edges()
	p.line(margin, y, margin+p.inner(), y, 0.5)
	for _, key := range []string{"paper.counted-by", "paper.witnessed-by", "paper.time"} {
		s := p.words.say(key)
		p.font(bold, body)
		p.text(e[1]+1.5, y+(signHeight-p.lineHeight())/2, s)
		y += signHeight
		p.line(margin, y, margin+p.inner(), y, 0.2)
	}
	return y
}

func (p *sheetPrinter) remarks(y float64) {
	p.font(regular, body)
	p.text(margin+1.5, y+1, p.words.say("paper.remarks"))
	p.box(margin, y, p.inner(), remarks-2, 0.2)
}

// caution is what no count may be read without.
func (p *sheetPrinter) caution() []string {
	p.font(bold, body)
	return p.wrap(p.words.say("paper.caution"), p.inner())
}

func (p *sheetPrinter) footerHeight() float64 {
	return footGap + 1 + float64(len(p.caution())+1)*p.lineHeight()
}

func (p *sheetPrinter) footer(page int) {
	y := p.h - margin - p.footerHeight() + footGap
	p.line(margin, y, p.w-margin, y, 0.2)
	lines := p.caution()
	y = p.lines(margin, y+1, lines)
	p.font(regular, body)
	count := p.words.say("paper.page", page, p.pages)
	p.right(margin, y, p.inner(), count)
	// Which sheet stands in full at the head; here one line of it is enough.
	p.text(margin, y, p.shrink(regular, body, 6, p.short+" · "+p.sheet.Set, p.inner()-p.width(count)-gap)[0])
}
