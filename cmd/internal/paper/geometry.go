package paper

import (
	"fmt"
	"slices"

	"listbound/events"
)

// The layouts of sheets whose boxes can be read back. Each page's symbol says its number, and with
// the list's lines the number alone gives the place of every box: language, title and policy
// of the day of reading have no part in it. So what follows here never changes for these numbers:
// whoever moves a box gives it new ones and leaves these to the sheets that are out there (the
// test of what each layout was holds to that). Sheets of layout 1 and 2 had no boxes.
const (
	firstLayout = 3 // A4, without cavity, relief and goods
	withLetter  = 1
	withCavity  = 2
	withRelief  = 4
	withGoods   = 8
	lastLayout  = firstLayout + withLetter + withCavity + withRelief + withGoods
)

// Millimetres of the count sheet's parts.
const (
	margin = 12.0 // where nothing is printed: copiers and printers lose it
	side   = 16.0 // of the table: between it and the margin are the dots

	// The symbol is as large as it takes to be read on the page of a camera out of
	// focus: at 47 mm through a blur of 2.5 pixels at 150 dpi in seven of eight
	// tries, at 45 mm in none. Its quiet zone reaches into the margin.
	symbolSide   = 49.0
	symbolTop    = 7.6
	secondModule = 0.62 // the same text, smaller: 29 modules with correction M
	secondSide   = secondModule * (29 + 2*quiet)

	ringInset = 15.5 // of the centres of the corner marks from the paper's edges
	dotSide   = 2.4
	dotInset  = 13.2 // of the centres of the dots left and right
	dotsTop   = symbolTop + symbolSide + 1.3
	dotsAlong = 16.0 // at most so far apart
	dotsDown  = 13.8

	boxWidth   = 45.0 // the codes'
	gap        = 3.0
	headLeft   = 21.0 // beside the corner mark
	headBottom = symbolTop + symbolSide - 0.4
	tableTop   = dotsTop + 2.4
	headHeight = 6.0
	pitch      = 6.5 // least height of a row: room for a figure by hand
	rowPad     = 1.0
	body       = 9.5 // points
	leastBody  = 7.0 // of a line that makes room
	sheetBand  = 6.0 // of the word that marks practice, inside the margin

	secondBottom = margin - quiet*secondModule
	footTop      = secondBottom + secondSide // from the paper's lower edge, and so on
	dotsBottom   = footTop + 2
	tableBottom  = dotsBottom + 2.3

	colNumber   = 8.0
	colQuantity = 12.0
	colAdded    = 12.0

	tick      = 4.4 // side of a box to tick, to the middle of its frame
	tickFrame = 0.35

	signRows = 3         // who counted, who witnessed, when
	ending   = 8 * pitch // these, and the places that stand below
)

// RingDiameters of a corner mark from outside to inside: black, white, black.
var RingDiameters = [3]float64{7, 5, 3}

// leastModule is for label printers of 203 dpi, whose dots are 0.125 mm wide; below
// two or three of them a module is lost (common practice, no source).
const leastModule = 0.3

// Point is a place on a page in millimetres, from its upper left corner.
type Point struct{ X, Y float64 }

// Rect is a place on a page in millimetres, from its upper left corner.
type Rect struct{ X, Y, W, H float64 }

// Inset is the rectangle without a border of so much.
func (r Rect) Inset(d float64) Rect { return Rect{r.X + d, r.Y + d, r.W - 2*d, r.H - 2*d} }

// Field is a column of the table of lines. Stage is that of the counts written in
// it, "" where nothing is read.
type Field struct {
	X, W  float64
	Stage events.Stage
	Lined bool // only to write in, though its stage is one that is ticked elsewhere

	key string // of its heading
}

// Ticked reports whether the column has boxes to tick.
func (f Field) Ticked() bool { return f.Stage != "" && f.Stage != events.StageAdded && !f.Lined }

// Place is where something is filled in beside the lines. What is in the place for
// the patient's label is nobody's to read.
type Place struct {
	Name string
	Rect
}

// The names of places.
const (
	PlaceCase    = "case"
	PlaceRoom    = "room"
	PlaceDate    = "date"
	PlaceStart   = "start"
	PlaceEnd     = "end"
	PlaceCounter = "counter"
	PlaceWitness = "witness"
	PlacePatient = "patient" // never read
	PlaceRemarks = "remarks"
)

// Geometry is where everything that is written in by hand, or looked for by a
// scanner, stands on the pages of a sheet. WriteSheet draws from it.
type Geometry struct {
	Layout         int
	Width, Height  float64
	Symbol, Second Rect     // with their quiet zones; the same on every page
	Rings          [4]Point // clockwise from the upper left
	Dots           Dots
	Fields         []Field
	GoodsFields    []Field // of the rows for goods: the same stages in the same order
	Pages          []Page
}

// FieldsOf are the columns of a row.
func (g *Geometry) FieldsOf(r Row) []Field {
	if r.Goods() {
		return g.GoodsFields
	}
	return g.Fields
}

// Dots along the edges of the table: both rows from left to right, both columns from top to
// bottom. The corners are in a row and in a column.
type Dots struct{ Top, Bottom, Left, Right []Point }

// Page is one page of a sheet.
type Page struct {
	Table  Rect // with its heading and, on the last page, what is signed
	Rows   []Row
	Goods  []Row  // for goods, below the lines; on the last page of layouts that have such
	Signs  []Rect // who counted, who witnessed, when; on the last page
	Places []Place
}

// AllRows are those of lines and, below them, those for goods.
func (p *Page) AllRows() []Row { return slices.Concat(p.Rows, p.Goods) }

// Row is where a line of the list stands. Line is below zero in a row for goods: -1 in the first one.
type Row struct {
	Line int64
	Y, H float64
}

// Goods reports whether the row is one for goods.
func (r Row) Goods() bool { return r.Line < 0 }

// Cell is where a field of a row is written in. Of goods all of the row is, since numbers stand there one beside the other.
func (r Row) Cell(f Field) Rect {
	if r.Goods() {
		return Rect{f.X, r.Y, f.W, r.H}
	}
	return Rect{f.X, r.Y, f.W, pitch}
}

// Tick is the frame of a field's box to tick, to the middle of its line.
func (r Row) Tick(f Field) Rect {
	c := r.Cell(f)
	return Rect{f.X + 1.5, r.Y + (c.H-tick)/2, tick, tick}
}

// Write is where the number is written when it is another than expected: the whole height of the
// row, up to its rules.
func (r Row) Write(f Field) Rect {
	c := r.Cell(f)
	if f.Ticked() {
		c.X += 1.5 + tick + 1
		c.W -= 1.5 + tick + 1
	}
	return c
}

// layoutOf is the number of the layout by which a sheet is printed today.
func layoutOf(s *Sheet, size Size) int {
	n := firstLayout
	if size == Letter {
		n += withLetter
	}
	if s.Cavity {
		n += withCavity
	}
	if s.Relief {
		n += withRelief
	}
	if len(s.Goods) > 0 {
		n += withGoods
	}
	return n
}

// GeometryOf returns where everything stands on a sheet that was printed by a layout.
func GeometryOf(s *Sheet, layout int) (Geometry, error) {
	p, err := newPlan(s, layout)
	if err != nil {
		return Geometry{}, err
	}
	return p.geometry, nil
}

// plan is where everything stands, with the lines laid out.
type plan struct {
	*canvas
	sheet      *Sheet
	exceptions map[int64]events.Exception
	geometry   Geometry
	rows       [][]row // of each page
}

// row is one line of the list, laid out.
type row struct {
	line        events.Line
	exception   *events.Exception
	marks       int // lines of what the exception says
	description []string
	item        []string
	beside      bool // the item stands right on the description's last line
	height      float64
}

// lines are how many lines the description and the item's number take.
func (r *row) lines() int {
	n := len(r.description) + len(r.item)
	if r.beside {
		n--
	}
	return n
}

// Skeleton is what of a page follows from its layout's number alone, before it is known which sheet
// it is of: the marks by which it is found, and the symbols. ok is false for layouts that have none.
func Skeleton(layout int) (g Geometry, ok bool) {
	if layout < firstLayout || layout > lastLayout {
		return Geometry{}, false
	}
	n := layout - firstLayout
	size := A4
	if n&withLetter != 0 {
		size = Letter
	}
	w, h, _ := size.millimetres() // both are known
	g = Geometry{Layout: layout, Width: w, Height: h,
		Symbol: Rect{w - margin - RingDiameters[0] - symbolSide, symbolTop, symbolSide, symbolSide},
		Second: Rect{w - margin - RingDiameters[0] - secondSide, h - footTop, secondSide, secondSide},
		Rings: [4]Point{{ringInset, ringInset}, {w - ringInset, ringInset}, {w - ringInset, h - ringInset},
			{ringInset, h - ringInset}},
		Fields: fields(w, n&withCavity != 0, n&withRelief != 0),
	}
	if n&withGoods != 0 {
		g.GoodsFields = goodsFields(g.Fields)
	}
	left, right, top, bottom := dotInset, w-dotInset, dotsTop, h-dotsBottom
	g.Dots = Dots{
		Top: between(Point{left, top}, Point{right, top}, dotsAlong), Bottom: between(Point{left, bottom}, Point{right, bottom}, dotsAlong),
		Left: between(Point{left, top}, Point{left, bottom}, dotsDown), Right: between(Point{right, top}, Point{right, bottom}, dotsDown),
	}
	return g, true
}

// between shares a way among points that are at most so far apart, both ends included.
func between(a, b Point, most float64) (out []Point) {
	n := 1
	for max(b.X-a.X, b.Y-a.Y)/float64(n) > most {
		n++
	}
	for i := range n + 1 {
		k := float64(i) / float64(n)
		out = append(out, Point{a.X + k*(b.X-a.X), a.Y + k*(b.Y-a.Y)})
	}
	return out
}

// fields are the columns from left to right; the instrument's takes what is left.
func fields(width float64, cavity, relief bool) []Field {
	stages := []Field{{key: "paper.first", Stage: events.StageFirst}, {W: colAdded, key: "paper.added", Stage: events.StageAdded}}
	if relief {
		stages = append(stages, Field{key: "paper.relief", Stage: events.StageRelief})
	}
	if cavity {
		stages = append(stages, Field{key: "paper.cavity", Stage: events.StageCavity})
	}
	stages = append(stages, Field{key: "paper.closing", Stage: events.StageClosing}, Field{key: "paper.final", Stage: events.StageFinal})
	each := map[int]float64{3: 21, 4: 19, 5: 18}[len(stages)-1]
	rest := width - 2*side - colNumber - colQuantity
	for i := range stages {
		if stages[i].W == 0 {
			stages[i].W = each
		}
		rest -= stages[i].W
	}
	out := append([]Field{{W: colNumber, key: "paper.no"}, {W: rest, key: "paper.instrument"}, {W: colQuantity, key: "paper.quantity"}},
		stages...)
	x := side
	for i := range out {
		out[i].X = x
		x += out[i].W
	}
	return out
}

// newPlan finds where everything stands, before anything is drawn: each page says of
// how many it is.
func newPlan(s *Sheet, layout int) (*plan, error) {
	g, ok := Skeleton(layout)
	if !ok {
		return nil, fmt.Errorf("layout %d has no boxes that are known here; the layouts are %d to %d", layout, firstLayout, lastLayout)
	}
	p := &plan{canvas: newCanvas(g.Width, g.Height, "", "", s.Packed), sheet: s, geometry: g}
	p.exceptions = make(map[int64]events.Exception, len(s.Exceptions))
	for _, e := range s.Exceptions {
		p.exceptions[e.Line] = e
	}
	p.breakPages()
	if p.err != nil {
		return nil, p.err
	}
	for i, rows := range p.rows {
		p.geometry.Pages = append(p.geometry.Pages, p.placed(rows, i == len(p.rows)-1))
	}
	return p, nil
}

// placed is where the rows of a page stand, and what else is filled in there.
func (p *plan) placed(rows []row, last bool) Page {
	g := &p.geometry
	inner := g.Width - 2*side
	out := Page{Table: Rect{X: side, Y: tableTop, W: inner}, Places: footPlaces(g)}
	y := tableTop + headHeight
	for _, r := range rows {
		out.Rows = append(out.Rows, Row{r.line.Line, y, r.height})
		y += r.height
	}
	if last {
		out.Goods, y = p.placedGoods(y, len(rows) == 0)
		for range signRows {
			out.Signs = append(out.Signs, Rect{side, y, inner, pitch})
			y += pitch
		}
		out.Places = append(out.Places, endPlaces(Rect{side, y + 1, inner, ending - signRows*pitch - 1})...)
	}
	out.Table.H = y - tableTop
	return out
}

// footPlaces stand on every page: a page alone must say whose case it was of.
func footPlaces(g *Geometry) []Place {
	const height = 7.4
	x, y := headLeft, g.Height-footTop
	rest := g.Second.X - gap/2 - x
	var out []Place
	for _, f := range []struct {
		name  string
		share float64
	}{{PlaceCase, 0.42}, {PlaceRoom, 0.24}, {PlaceDate, 0.34}} {
		out = append(out, Place{f.name, Rect{x, y, rest * f.share, height}})
		x += rest * f.share
	}
	return out
}

// endPlaces stand below the signatures on the last page.
func endPlaces(in Rect) []Place {
	const patient, badge, times = 66.0, 15.0, 7.0
	half := (in.W - patient - 2) / 2
	y := in.Y + badge + times
	return []Place{
		{PlaceCounter, Rect{in.X, in.Y, half, badge}}, {PlaceWitness, Rect{in.X + half, in.Y, half, badge}},
		{PlaceStart, Rect{in.X, in.Y + badge, half, times}}, {PlaceEnd, Rect{in.X + half, in.Y + badge, half, times}},
		{PlaceRemarks, Rect{in.X, y, 2 * half, in.Y + in.H - y}},
		{PlacePatient, Rect{in.X + 2*half + 2, in.Y, patient, in.H}},
	}
}

// breakPages lays the rows out and shares them among pages.
func (p *plan) breakPages() {
	room := p.geometry.Height - tableBottom - tableTop - headHeight
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
	if ending := ending + p.goodsHeight(); left < ending {
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

// layout sets a line: the item's number stands beside the description where it can. No word of a
// language has a part in its height.
func (p *plan) layout(l events.Line) row {
	r := row{line: l}
	width := p.what().W - 3
	p.font(regular, body)
	r.description = p.wrap(l.Description, width)
	r.item = p.wrap(l.Item, width)
	r.beside = p.besides(r.description, r.item, width)
	n := r.lines()
	if e, ok := p.exceptions[l.Line]; ok {
		r.exception = &e
		r.marks = 1 + len([]rune(e.Reason))/20
		n += r.marks
	}
	r.height = max(pitch, float64(n)*p.lineHeight()+2*rowPad)
	return r
}

// what is the column of the instruments.
func (p *plan) what() Field { return p.geometry.Fields[1] }

// besides reports whether an item's number fits beside the last row of a description.
func (p *plan) besides(description, item []string, width float64) bool {
	return len(item) == 1 && p.width(description[len(description)-1])+4+p.width(item[0]) <= width
}
