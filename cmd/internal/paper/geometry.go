package paper

import (
	"listbound/events"
	"listbound/projections/words"
)

// Layout numbers the description of the sheet's geometry that is below. Each page's
// symbol says it, so that a program that reads filled-in sheets knows where to look
// also after the description has changed; the number changes with it. Sheets whose
// symbols say no page were drawn by an earlier one.
const Layout = 2

// Millimetres of the count sheet's parts.
const (
	margin = 12.0
	// The symbol is as large as it takes to be read on the page of a camera out of
	// focus: at 47 mm through a blur of 2.5 pixels at 150 dpi in seven of eight
	// tries, at 45 mm in none.
	symbolSide = 49.0
	boxWidth   = 45.0 // the codes'
	gap        = 3.0
	headGap    = 2.0
	headHeight = 7.0
	rowLeast   = 6.7 // room for a figure by hand
	rowPad     = 1.2
	signHeight = 8.0
	remarks    = 14.0
	footGap    = 3.0
	body       = 10.0 // points
	sheetBand  = 6.0  // of the word that marks practice, inside the margin

	colNumber   = 8.0
	colQuantity = 14.0
	colCount    = 14.5
)

// leastModule is for label printers of 203 dpi, whose dots are 0.125 mm wide; below
// two or three of them a module is lost (common practice, no source).
const leastModule = 0.3

// Rect is a place on a page in millimetres, from its upper left corner.
type Rect struct{ X, Y, W, H float64 }

// Field is a column of the table of lines. Stage is that of the counts written in
// it, "" where nothing is written.
type Field struct {
	X, W  float64
	Stage events.Stage

	key string // of its heading
}

// Geometry is where everything that is written in by hand, or looked for by a
// scanner, stands on the pages of a sheet. WriteSheet draws from it.
type Geometry struct {
	Layout        int
	Width, Height float64
	Symbol        Rect // with its quiet zone; the same on every page
	Fields        []Field
	Pages         []Page
}

// Page is one page of a sheet.
type Page struct {
	Table   Rect // with its heading and, on the last page, what is signed
	Rows    []Row
	Signs   []Rect // who counted, who witnessed, when; on the last page
	Remarks Rect   // on the last page
}

// Row is where a line of the list stands.
type Row struct {
	Line int64
	Y, H float64
}

// Cell is where a field of a row is written in.
func (r Row) Cell(f Field) Rect { return Rect{f.X, r.Y, f.W, r.H} }

// GeometryOf returns where everything stands on a sheet that WriteSheet prints.
func GeometryOf(s Sheet, size Size, lang *words.Language) (Geometry, error) {
	p, err := newSheetPrinter(&s, size, lang)
	if err != nil {
		return Geometry{}, err
	}
	p.plan()
	return p.geometry, p.err
}

func (p *sheetPrinter) inner() float64 { return p.w - 2*margin }

// fields are the columns from left to right; the instrument's takes what is left.
func (p *sheetPrinter) fields() []Field {
	out := []Field{
		{W: colNumber, key: "paper.no"},
		{W: p.inner() - colNumber - colQuantity - 5*colCount, key: "paper.instrument"},
		{W: colQuantity, key: "paper.quantity"},
		{W: colCount, key: "paper.first", Stage: events.StageFirst},
		{W: colCount, key: "paper.added", Stage: events.StageAdded},
		{W: colCount, key: "paper.cavity", Stage: events.StageCavity},
		{W: colCount, key: "paper.closing", Stage: events.StageClosing},
		{W: colCount, key: "paper.final", Stage: events.StageFinal},
	}
	x := margin
	for i := range out {
		out[i].X = x
		x += out[i].W
	}
	return out
}

// plan finds where everything stands, before anything is drawn: each page says of
// how many it is.
func (p *sheetPrinter) plan() {
	p.geometry = Geometry{
		Layout: Layout, Width: p.w, Height: p.h, Fields: p.fields(),
		Symbol: Rect{p.w - margin - symbolSide, margin, symbolSide, symbolSide},
	}
	top := max(p.head(false), margin+symbolSide) + headGap
	room := p.h - margin - p.footerHeight() - top - headHeight
	p.breakPages(room)
	if p.err != nil {
		return
	}
	for i, rows := range p.rows {
		page := Page{Table: Rect{X: margin, Y: top, W: p.inner()}}
		y := top + headHeight
		for _, r := range rows {
			page.Rows = append(page.Rows, Row{r.line.Line, y, r.height})
			y += r.height
		}
		if i == len(p.rows)-1 {
			for range 3 {
				page.Signs = append(page.Signs, Rect{margin, y, p.inner(), signHeight})
				y += signHeight
			}
			page.Remarks = Rect{margin, y, p.inner(), remarks - 2}
		}
		page.Table.H = y - top
		p.geometry.Pages = append(p.geometry.Pages, page)
	}
}

// breakPages lays the rows out and shares them among pages of so much room.
func (p *sheetPrinter) breakPages(room float64) {
	ending := 3*signHeight + remarks
	if room < rowLeast {
		p.fail("the head of the sheet leaves no room for lines: shorten the title or the seals")
		return
	}
	left := 0.0
	for _, l := range p.sheet.Lines {
		r := p.layout(l)
		if r.height > room {
			p.fail("line %d does not fit on one page: shorten its description", r.line.Line)
			return
		}
		if len(p.rows) == 0 || r.height > left {
			p.rows = append(p.rows, nil)
			left = room
		}
		last := len(p.rows) - 1
		p.rows[last] = append(p.rows[last], r)
		left -= r.height
	}
	if ending > room {
		p.fail("the head of the sheet leaves no room for the signatures: shorten the title or the seals")
		return
	}
	if left < ending {
		// The last line goes along: signatures on a page of their own would stand
		// under nothing.
		last := len(p.rows) - 1
		p.rows = append(p.rows, nil)
		if n := len(p.rows[last]) - 1; n > 0 && p.rows[last][n].height+ending <= room {
			p.rows[last+1] = append(p.rows[last+1], p.rows[last][n])
			p.rows[last] = p.rows[last][:n]
		}
	}
}

// layout sets a line: the item's number stands beside the description where it can.
func (p *sheetPrinter) layout(l events.Line) row {
	r := row{line: l}
	width := p.geometry.Fields[1].W - 3
	p.font(regular, body)
	r.description = p.wrap(l.Description, width)
	r.item = p.wrap(l.Item, width)
	// What helps to tell the instrument stands behind its number where there is room for it.
	for _, help := range p.words.helps(l) {
		all := p.wrap(l.Item+help, width)
		if len(r.item) == 1 && len(all) == 1 && p.besides(r.description, r.item, width) == p.besides(r.description, all, width) {
			r.item = all
			break
		}
	}
	n := len(r.description) + len(r.item)
	if p.besides(r.description, r.item, width) {
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

// besides reports whether an item's number fits beside the last row of a description.
func (p *sheetPrinter) besides(description, item []string, width float64) bool {
	return len(item) == 1 && p.width(description[len(description)-1])+4+p.width(item[0]) <= width
}
