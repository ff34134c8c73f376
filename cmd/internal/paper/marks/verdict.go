package marks

import (
	"slices"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

// Limits of the verdicts. They were set on pages drawn with seeds below 100 and tried on others (see the tests' table).
const (
	sharpFrame  = 0.75 // share of black that a frame has in a sharp picture
	sharpenBy   = 4.0
	sharpenMost = 2.0

	threshold   = 0.14 // of the darkness of a stroke of the print's black: what counts as ink at all
	noiseFactor = 5    // or so much noise, where that is more

	inkTicked    = 0.045 // share of the box's inside
	longTicked   = 1.8   // millimetres
	darkTicked   = 0.285 // of a stroke of the print's black
	darkBlurred  = 0.06  // more in a blurred picture: a wide smear keeps its darkness there, a thin pale stroke doesn't
	blurred      = 0.53  // share of black that a frame has where that begins, and so much less where it is all
	blurredBy    = 0.04
	inkAside     = 0.10 // of a mark that stays off the middle
	longAside    = 2.2
	inkEmpty     = 0.006
	longEmpty    = 0.9
	meanEmpty    = 0.045 // above the page's emptiest boxes
	longWritten  = 1.6
	darkWritten  = 0.20
	longUnclear  = 0.9
	tailHeight   = 2.4 // of a mark that comes in from a neighbouring row
	columnTicked = 0.3 // share of its boxes that have anything, from which an empty one is a question
)

// sheetMarks are a page's cells as measured, row by row.
type sheetMarks struct {
	fields []paper.Field // those with a stage
	goods  []paper.Field // and of rows for goods
	rows   []paper.Row
	cells  [][]*seen
	sharp  float64 // how dark frames are beside dots
	frame  float64 // median darkness of the frames
	noise  float64

	darkEnough float64 // for a tick
	base       float64 // mean darkness inside the emptiest boxes
	greyLost   bool    // pale things are white: see Page.GreyLost
}

// lookAll straightens every cell of a page.
func lookAll(g *gray, w *warp, layout paper.Geometry, page paper.Page) *sheetMarks {
	m := &sheetMarks{rows: page.AllRows(), fields: counted(layout.Fields), goods: counted(layout.GoodsFields)}
	m.sharp = m.sharpness(g, w)
	w.sharpen = float32(min(max(sharpenBy*(sharpFrame-m.sharp), 0), sharpenMost))
	m.darkEnough = darkTicked + darkBlurred*m.blur()
	var frames []float64
	dx, dy, yard := 0.0, 0.0, 0.6 // of the row above
	for _, r := range m.rows {
		cells := make([]*seen, len(m.fields))
		var xs, ys []float64
		for i, f := range m.of(r) {
			if f.Ticked() {
				cells[i] = look(g, w, r, f, dx, dy, yard)
				if cells[i].framed {
					t := r.Tick(f)
					xs, ys = append(xs, cells[i].tick.X-t.X), append(ys, cells[i].tick.Y-t.Y)
					frames = append(frames, cells[i].yard)
				}
			}
		}
		if len(xs) > 0 {
			slices.Sort(xs)
			slices.Sort(ys)
			dx, dy = xs[len(xs)/2], ys[len(ys)/2]
			yard = median(frames[len(frames)-len(xs):])
		}
		for i, f := range m.of(r) {
			if !f.Ticked() {
				cells[i] = look(g, w, r, f, dx, dy, yard)
			}
		}
		m.cells = append(m.cells, cells)
	}
	m.frame = median(frames)
	return m
}

// counted are the columns that counts are written in.
func counted(all []paper.Field) (out []paper.Field) {
	for _, f := range all {
		if f.Stage != "" {
			out = append(out, f)
		}
	}
	return out
}

// of are the columns of a row that counts are written in: as many in each.
func (m *sheetMarks) of(r paper.Row) []paper.Field {
	if r.Goods() {
		return m.goods
	}
	return m.fields
}

// lines is how many rows have a line of the list; those for goods are below them.
func (m *sheetMarks) lines() int {
	if i := slices.IndexFunc(m.rows, paper.Row.Goods); i >= 0 {
		return i
	}
	return len(m.rows)
}

// sharpness is how dark thin frames are beside dots, which no blur makes paler. A picture where they are much paler
// is sharpened until they are not: else a wide smear would look darker than a thin pale stroke. It is asked of a few
// rows.
func (m *sheetMarks) sharpness(g *gray, w *warp) float64 {
	var shares []float64
	for i := 0; i < len(m.rows); i += max(1, len(m.rows)/4) {
		for _, f := range m.of(m.rows[i]) {
			if f.Ticked() {
				if s := look(g, w, m.rows[i], f, 0, 0, 0.6); s.framed {
					shares = append(shares, s.frame/w.black)
				}
			}
		}
	}
	return median(shares)
}

// blur is how blurred a picture is, from 0 to 1.
func (m *sheetMarks) blur() float64 { return min(max((blurred-m.sharp)/blurredBy, 0), 1) }

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// measure finds the ink in all cells, after what the page's noise is.
func (m *sheetMarks) measure() {
	var noise []float64
	for _, row := range m.cells {
		for _, c := range row {
			noise = append(noise, c.roughness())
		}
	}
	m.noise = median(noise)
	limit := max(threshold, noiseFactor*m.noise/m.frame)
	var means []float64
	for _, row := range m.cells {
		for _, c := range row {
			c.measure(m.yardOf(c), limit)
			if c.field.Ticked() {
				means = append(means, c.inside.mean)
			}
		}
	}
	slices.Sort(means)
	if len(means) > 0 {
		m.base = means[len(means)/10]
	}
	for i, row := range m.cells {
		m.uncrease(row)
		for k, c := range row { // one row alone may be two long ticks that meet
			c.runsOn = c.runsOn || c.through && (i > 0 && m.cells[i-1][k].through || i+1 < len(m.cells) && m.cells[i+1][k].through)
		}
	}
	m.hands(limit)
}

// yardOf is the darkness of a cell's frame; one that is far from the page's is not believed.
func (m *sheetMarks) yardOf(c *seen) float64 {
	if !c.framed {
		return m.frame
	}
	return min(max(c.yard, 0.6*m.frame), 1.2*m.frame)
}

// roughness is how much a quarter of the line's pixels differ from paper: of what is not written on, the noise.
func (s *seen) roughness() float64 {
	x0, y0, x1, y1 := s.region(s.lineRegion())
	var all []float64
	for y := y0; y < y1; y += 2 {
		for x := x0; x < x1; x += 2 {
			all = append(all, float64(s.stroke[y*s.w+x]))
		}
	}
	return median(all)
}

// uncrease takes out what runs through all of a row: a fold, or the edge of a shadow. Nobody writes so.
func (m *sheetMarks) uncrease(row []*seen) {
	wide := func(in inkIn, r paper.Rect) int {
		return slices.IndexFunc(in.pieces, func(p piece) bool {
			return float64(p.w()) >= 0.85*r.W*perMM && float64(p.h()) < 2.2*perMM
		})
	}
	n := 0
	for _, c := range row {
		if wide(c.line, c.lineRegion()) >= 0 {
			n++
		}
	}
	if n*10 < len(row)*7 {
		return
	}
	for _, c := range row {
		c.line.without(wide(c.line, c.lineRegion()), c.lineRegion())
		if c.field.Ticked() {
			c.inside.without(wide(c.inside, c.insideRegion()), c.insideRegion())
			c.creased = true
		}
	}
}

// without takes a piece out.
func (in *inkIn) without(i int, r paper.Rect) {
	if i < 0 {
		return
	}
	in.share -= float64(in.pieces[i].area) / (r.W * r.H * perMM * perMM)
	in.pieces = slices.Delete(slices.Clone(in.pieces), i, i+1)
	in.longest = 0
	for _, p := range in.pieces {
		in.longest = max(in.longest, p.longest()/perMM)
	}
}

// box says what a box shows by itself.
func (m *sheetMarks) box(c *seen) (Verdict, Why) {
	in := c.inside
	switch {
	case !c.whole:
		return Ask, Outside
	case c.strike && c.creased: // the fold may hide that it is struck out
		return Ask, Creased
	case c.strike:
		return Ask, StruckOut
	case c.runsOn:
		return Ask, RunsOn
	case c.inked() && in.dark >= c.enough:
		if !c.usual {
			return Ask, Shape
		}
		return Ticked, ""
	case (in.share < inkEmpty || in.longest < longEmpty) && in.mean-m.base < meanEmpty:
		return Empty, ""
	case in.share < inkEmpty || in.longest < longEmpty:
		return Ask, Smudged
	case in.dark < c.enough:
		return Ask, Pale
	case in.longest < longTicked || in.share < inkTicked || !in.middle:
		return Ask, Small
	}
	return Ask, Smudged
}

// onLine says whether something is written on a line; unclear is true where a person must look.
func (m *sheetMarks) onLine(i, k int, ticked [][]bool) (written, unclear bool) {
	c := m.cells[i][k]
	if ticked[i][k] && c.tail {
		return false, false
	}
	r := c.lineRegion()
	height := int(r.H * perMM)
	neighbour := func(j int) bool { // between lines and goods stands a heading
		return j >= 0 && j < len(m.rows) && m.rows[j].Goods() == m.rows[i].Goods() && ticked[j][k]
	}
	for _, p := range c.line.pieces {
		comesIn := float64(p.h()) < tailHeight*perMM && (p.y0 <= 1 && neighbour(i-1) || p.y1 >= height-2 && neighbour(i+1))
		switch long := p.longest() / perMM; {
		case comesIn:
		case long >= longWritten:
			written = true
		case long >= longUnclear:
			unclear = true
		}
	}
	if written && c.line.dark < darkWritten {
		return false, true
	}
	return written, unclear && !written
}

// verdicts are all rows of a page by the rules that look at more than one cell too.
func (m *sheetMarks) verdicts() (rows, goods []Row, blank []events.Stage) {
	ticked := make([][]bool, len(m.rows))
	rows = make([]Row, len(m.rows))
	for i, r := range m.rows {
		rows[i] = Row{Line: max(r.Line, -r.Line), Cells: make([]Cell, len(m.fields))}
		ticked[i] = make([]bool, len(m.fields))
		for k, f := range m.of(r) {
			cell := Cell{Stage: f.Stage, Verdict: Empty, Ink: m.cells[i][k].inside.share, Dark: m.cells[i][k].inside.dark}
			if f.Ticked() {
				cell.Verdict, cell.Why = m.box(m.cells[i][k])
			}
			ticked[i][k] = cell.Verdict == Ticked
			rows[i].Cells[k] = cell
		}
	}
	for i := range rows {
		for k := range m.fields {
			written, unclear := m.onLine(i, k, ticked)
			rows[i].Cells[k].besides(written, unclear)
		}
	}
	n := m.lines()
	rows, goods = rows[:n], rows[n:]
	for k, f := range m.fields {
		struckColumn(rows, k)
		struckColumn(goods, k)
		if m.column(rows, k) && f.Ticked() && n > 0 {
			blank = append(blank, f.Stage)
		}
	}
	m.goodsColumns(rows, goods)
	return rows, goods, blank
}

// goodsColumns asks about empty boxes of goods that are counted: of what has a number, in a column that has a mark anywhere. Rows in
// which nothing is stand for what was not used.
func (m *sheetMarks) goodsColumns(rows, goods []Row) {
	for k, f := range m.goods {
		marked := slices.ContainsFunc(slices.Concat(rows, goods), func(r Row) bool {
			c := r.Cells[k]
			return c.Written || c.Verdict != Empty && c.Why != Unmarked
		})
		for i := range goods {
			if c := &goods[i].Cells[k]; f.Ticked() && marked && c.Verdict == Empty && goods[i].Used() {
				c.Verdict, c.Why = Ask, Unmarked
			}
		}
	}
}

// besides adds what is on the line to what the box shows.
func (c *Cell) besides(written, unclear bool) {
	c.Written = written
	switch {
	case c.Verdict == Ask:
	case written && c.Verdict == Ticked:
		c.Verdict, c.Why = Ask, NumberToo
	case written:
		c.Verdict, c.Why = Ask, Number
	case unclear:
		c.Verdict, c.Why = Ask, LineUnclear
	}
}

// struckColumn asks about all ticked rows of a column between the first and the last through which a line runs on, and
// those right above and below, where that is so in a third of them: a line that passes beside some boxes strikes them
// out as well.
func struckColumn(rows []Row, k int) {
	first, last, n := -1, -1, 0
	for i := range rows {
		if rows[i].Cells[k].Why == RunsOn {
			if first < 0 {
				first = i
			}
			last, n = i, n+1
		}
	}
	if n < 2 || 3*n < last-first+1 {
		return
	}
	for i := max(0, first-1); i <= min(len(rows)-1, last+1); i++ {
		if c := &rows[i].Cells[k]; c.Verdict == Ticked {
			c.Verdict, c.Why = Ask, RunsOn
		}
	}
}

// column asks about empty boxes in a column that is ticked or asked about, and reports whether nothing at all is in it. Where pale things
// are white, one mark is enough to ask: the others may have been made with another pen.
func (m *sheetMarks) column(rows []Row, k int) (blank bool) {
	n := 0
	blank = true
	for i := range rows {
		if rows[i].Cells[k].Verdict != Empty {
			blank = false
			n++
		}
	}
	if blank || !m.fields[k].Ticked() || !m.greyLost && float64(n) < columnTicked*float64(len(rows)) {
		return blank
	}
	for i := range rows {
		if c := &rows[i].Cells[k]; c.Verdict == Empty {
			c.Verdict, c.Why = Ask, Unmarked
		}
	}
	return blank
}
