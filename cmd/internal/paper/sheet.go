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
	Implants, HighRisk     bool     // likewise
	Exceptions             []events.Exception
	Code                   events.SheetCode
	Placement              events.Placement
	Packed                 time.Time // printed in its own zone
	Seals                  []string
	CheckLine              string // the ledger's line (events.CheckLine) at the foot, "" for none
	Practice               bool   // printed across every page, and said by the symbol
}

// SheetOf puts a sheet together from what was recorded of a trip. At is when
// the set was packed, in the zone to print.
func SheetOf(set, trip string, list *events.ListIssued, packed *events.SetPacked, at time.Time, sealed *events.ListSealed) (Sheet, error) {
	if packed.List != list.List || packed.Version != list.Version {
		return Sheet{}, fmt.Errorf("set %s was packed by list %s version %d, not by %s version %d", set,
			packed.List, packed.Version, list.List, list.Version)
	}
	code, err := events.ParseSheetCode(sealed.Code)
	if err != nil {
		return Sheet{}, err
	}
	return Sheet{
		Set: set, Trip: trip, Title: list.Title, List: list.List, Version: list.Version, Lines: list.Lines, Cycles: list.Cycles,
		Implants: list.Implants, HighRisk: list.HighRisk,
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

// WriteSheet prints a count sheet as PDF. It refuses a sheet whose code was
// not made for exactly this list, set and trip, and a character it can't show.
// The same sheet gives the same bytes.
func WriteSheet(w io.Writer, s Sheet, size Size, lang *words.Language) error {
	p, err := newSheetPrinter(&s, size, lang)
	if err != nil {
		return err
	}
	p.plan()
	p.print()
	return p.write(w)
}

func newSheetPrinter(s *Sheet, size Size, lang *words.Language) (*sheetPrinter, error) {
	text, err := wordingOf(lang)
	if err != nil {
		return nil, err
	}
	width, height, err := size.millimetres()
	if err != nil {
		return nil, err
	}
	if err := s.check(); err != nil {
		return nil, err
	}
	p := &sheetPrinter{
		canvas: newCanvas(width, height, text.say("paper.count-sheet")+" "+s.Set, lang.Tag(), s.Packed),
		words:  text, sheet: s, code: s.Code.String(), short: s.Code.Short(),
	}
	if s.Practice {
		if p.code, err = events.PracticeText(p.code); err != nil {
			return nil, err
		}
	}
	p.exceptions = make(map[int64]events.Exception, len(s.Exceptions))
	for _, e := range s.Exceptions {
		p.exceptions[e.Line] = e
	}
	return p, nil
}

// check refuses what must not leave the printer.
func (s *Sheet) check() error {
	list := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines, Cycles: s.Cycles, Implants: s.Implants,
		HighRisk: s.HighRisk}
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
		return fmt.Errorf("the sheet code does not belong to list %s version %d on set %s: print with the list "+
			"as it was sealed", s.List, s.Version, s.Set)
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

	geometry Geometry
	rows     [][]row // of each page
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
	if p.err != nil {
		return
	}
	for i, page := range p.geometry.Pages {
		p.page()
		if p.sheet.Practice {
			p.practice(p.words.say("paper.practice"), sheetBand)
		}
		p.header(i + 1)
		p.tableHead(page.Table.Y)
		for k, r := range p.rows[i] {
			p.row(page.Rows[k].Y, r)
		}
		p.signatures(page.Signs)
		p.columns(page.Table.Y, page.Table.Y+page.Table.H)
		if page.Remarks.H > 0 {
			p.remarks(page.Remarks)
		}
		p.footer(i + 1)
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

// header draws what every page carries: a page alone must still say which set,
// which list and which trip it belongs to, to a person and to a scanner.
func (p *sheetPrinter) header(page int) {
	p.head(true)
	text, err := events.SheetPage{Code: p.sheet.Code, Page: page, Pages: len(p.rows), Layout: Layout}.Text()
	if err == nil && p.sheet.Practice {
		text, err = events.PracticeText(text)
	}
	if err != nil {
		p.fail("%w", err)
		return
	}
	s := p.geometry.Symbol
	p.symbol(s.X, s.Y, s.W, text, leastModule)
	x := s.X - gap - boxWidth // nothing may stand in the symbol's quiet zone
	y := margin + 3
	p.box(x, y, boxWidth, 18, 0.5)
	p.font(regular, body)
	p.centre(x, y+1.2, boxWidth, p.words.say("paper.short-code"))
	p.font(mono, 20)
	p.centre(x, y+6.5, boxWidth, p.short)
	y += 19
	p.font(regular, body)
	p.text(x, y, p.words.say("paper.code"))
	y += p.lineHeight()
	p.font(mono, body)
	const third = 18
	for i := 0; i < len(p.code); i += third {
		p.text(x, y, grouped(p.code[i:min(i+third, len(p.code))], 6))
		y += p.lineHeight()
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

func (p *sheetPrinter) tableHead(y float64) {
	p.grey(margin, y, p.inner(), headHeight)
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
	p.line(margin, y, margin+p.inner(), y, 0.5)
	p.line(margin, y+headHeight, margin+p.inner(), y+headHeight, 0.5)
}

func (p *sheetPrinter) row(y float64, r row) {
	no, what, packed := p.geometry.Fields[0], p.geometry.Fields[1], p.geometry.Fields[2]
	if r.exception != nil {
		p.grey(margin, y+0.2, packed.X+packed.W-margin, r.height-0.2) // below the rule
	}
	p.font(regular, body)
	p.centre(no.X, y+rowPad, no.W, fmt.Sprint(r.line.Line))
	p.font(bold, body)
	ty := p.lines(what.X+1.5, y+rowPad, r.mark)
	p.font(regular, body)
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
		next := y + rowPad + p.lineHeight()
		p.font(regular, body)
		p.centre(packed.X, next, packed.W, p.words.say("paper.of-quantity", r.line.Quantity))
	}
	p.line(margin, y+r.height, margin+p.inner(), y+r.height, 0.2)
}

func (p *sheetPrinter) columns(top, bottom float64) {
	edges := []float64{margin}
	for _, f := range p.geometry.Fields {
		edges = append(edges, f.X+f.W)
	}
	for i, x := range edges {
		thick := 0.2
		if i == 0 || i == 3 || i == len(edges)-1 {
			thick = 0.5
		}
		p.line(x, top, x, bottom, thick)
	}
	p.line(margin, bottom, margin+p.inner(), bottom, 0.5)
}

// signatures continue the count columns: who counted in each, who witnessed, when.
func (p *sheetPrinter) signatures(places []Rect) {
	keys := []string{"paper.counted-by", "paper.witnessed-by", "paper.time"}
	for i, r := range places {
		if i == 0 {
			p.line(margin, r.Y, margin+p.inner(), r.Y, 0.5)
		}
		s := p.words.say(keys[i])
		p.font(bold, body)
		p.text(p.geometry.Fields[1].X+1.5, r.Y+(r.H-p.lineHeight())/2, s)
		p.line(margin, r.Y+r.H, margin+p.inner(), r.Y+r.H, 0.2)
	}
}

func (p *sheetPrinter) remarks(r Rect) {
	p.font(regular, body)
	p.text(r.X+1.5, r.Y+1, p.words.say("paper.remarks"))
	p.box(r.X, r.Y, r.W, r.H, 0.2)
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
	count := p.words.say("paper.page", page, len(p.rows))
	if p.sheet.CheckLine != "" {
		count = p.words.say("paper.check-line", p.sheet.CheckLine) + "   " + count
	}
	p.right(margin, y, p.inner(), count)
	// Which sheet stands in full at the head; here one line of it is enough.
	p.text(margin, y, p.shrink(regular, body, 6, p.short+" · "+p.sheet.Set, p.inner()-p.width(count)-gap)[0])
}
