package marks

import (
	"math"
	"slices"

	"listbound/cmd/internal/paper"
)

// Millimetres around a cell that are looked at with it.
const (
	beyondX = 0.9
	beyondY = 1.3
)

// seen is a cell as it was straightened, before anything is said of it.
type seen struct {
	field  paper.Field
	cell   paper.Rect
	tick   paper.Rect // as shifted
	write  paper.Rect
	framed bool // its own frame was found
	whole  bool
	paper  float64 // brightness of paper in the middle

	w, h    int
	at      paper.Rect
	dark    []float32 // how much darker than paper, 1 is black
	stroke  []float32 // the same without what is wider than a stroke
	frame   float64   // darkness of the printed frame
	black   float64   // of the page's dots, which no blur makes paler
	yard    float64   // of a stroke as black as it
	inside  inkIn     // the box
	line    inkIn     // the place to write
	strike  bool
	creased bool    // a fold runs through the row
	tail    bool    // the mark in the box goes on into the line
	usual   bool    // the mark in the box is a tick, a cross, a slash, or fills it
	through bool    // a line goes through to the rows above and below
	runsOn  bool    // a stroke in the box goes on far beyond it at both ends
	enough  float64 // how dark a tick must be here
}

// inkIn is what a pen left in a region.
type inkIn struct {
	share   float64 // of the region
	longest float64 // millimetres
	dark    float64 // of the longest piece, frame's darkness is 1
	middle  bool    // it comes near the region's middle
	pieces  []piece
	mean    float64
}

// look straightens a cell and finds its frame.
func look(g *gray, w *warp, row paper.Row, f paper.Field, dx, dy, yard float64) *seen {
	c := row.Cell(f)
	at := paper.Rect{X: c.X - beyondX, Y: c.Y - beyondY, W: c.W + 2*beyondX, H: c.H + 2*beyondY}
	p := straighten(g, w, at, perMM)
	p.smooth()
	p.sharpen(w.sharpen)
	s := &seen{yard: yard, black: w.black, field: f, cell: c, tick: row.Tick(f), write: row.Write(f), whole: p.whole,
		w: p.w, h: p.h, at: at}
	white := p.white()
	s.paper = float64(white[len(white)/2])
	s.dark = make([]float32, len(p.v))
	for i, v := range p.v {
		s.dark[i] = 1 - v/white[i]
	}
	if f.Ticked() {
		s.yard, dx, dy, s.framed = s.findFrame(p, dx, dy)
		s.frame = s.yard
		s.yard = strokeDarkness(s.frame, w.black)
	}
	s.tick.X, s.tick.Y = s.tick.X+dx, s.tick.Y+dy
	s.write.X, s.write.Y = s.write.X+dx, s.write.Y+dy
	s.cell.X, s.cell.Y = s.cell.X+dx, s.cell.Y+dy
	// What is as wide as a shadow is background too; what is as dark as half of the print is none.
	floor := 0.55 * float32(max(s.yard, 0.3))
	ground := closing(p.v, p.w, p.h, 15)
	s.stroke = make([]float32, len(p.v))
	for i, v := range p.v {
		b := max(ground[i], white[i]*(1-floor))
		s.stroke[i] = max(0, 1-v/b)
	}
	return s
}

// findFrame finds the printed frame near its place: two lines across and two down, each as far apart as printed. Its
// darkness is what strokes are measured by.
func (s *seen) findFrame(p *patch, dx0, dy0 float64) (yard, dx, dy float64, ok bool) {
	t := s.tick
	col := make([]float64, p.w)
	row := make([]float64, p.h)
	x0, x1 := p.col(t.X+dx0+0.4), p.col(t.X+t.W+dx0-0.4)
	y0, y1 := p.row(t.Y+dy0+0.4), p.row(t.Y+t.H+dy0-0.4)
	for j := y0; j < y1; j++ {
		for i := range p.w {
			col[i] += math.Min(0.6, float64(s.dark[j*p.w+i])) / float64(y1-y0)
		}
	}
	for j := range p.h {
		for i := x0; i < x1; i++ {
			row[j] += math.Min(0.6, float64(s.dark[j*p.w+i])) / float64(x1-x0)
		}
	}
	dx, kx := alignedPair(col, (t.X-s.at.X)*perMM, t.W*perMM, dx0*perMM)
	dy, ky := alignedPair(row, (t.Y-s.at.Y)*perMM, t.H*perMM, dy0*perMM)
	dx, dy = dx/perMM, dy/perMM
	return s.frameDarkness(p, t.X+dx, t.Y+dy, t.W), dx, dy, min(kx, ky) > 0.05
}

// alignedPair shifts two lines along a profile to where both are darkest, and says how much darker than between
// and beside them.
func alignedPair(profile []float64, first, apart, about float64) (shift, contrast float64) {
	at := func(x float64) float64 {
		i := int(math.Floor(x - 0.5))
		if i < 0 || i+1 >= len(profile) {
			return 0
		}
		f := x - 0.5 - float64(i)
		return profile[i]*(1-f) + profile[i+1]*f
	}
	best := math.Inf(-1)
	const reach = 1.2 * perMM
	for d := about - reach; d <= about+reach; d += 0.5 {
		a, b := at(first+d), at(first+apart+d)
		sides := (at(first+d-5) + at(first+d+5) + at(first+apart+d-5) + at(first+apart+d+5)) / 4
		score := a + b + min(a, b) - sides - 0.02*math.Abs(d-about)
		if score > best {
			best, shift, contrast = score, d, min(a, b)-sides/2
		}
	}
	return shift, contrast
}

// frameDarkness is the median of what is darkest across the frame, along its four sides.
func (s *seen) frameDarkness(p *patch, x, y, side float64) float64 {
	var all []float64
	line := func(cx, cy float64, across bool) {
		m := float32(0)
		for d := -3; d <= 3; d++ {
			i, j := p.col(cx), p.row(cy)
			if across {
				i += d
			} else {
				j += d
			}
			if i >= 0 && j >= 0 && i < p.w && j < p.h {
				m = max(m, s.dark[j*p.w+i])
			}
		}
		all = append(all, float64(m))
	}
	for k := 0.5; k < side-0.4; k += 0.2 {
		line(x, y+k, true)
		line(x+side, y+k, true)
		line(x+k, y, false)
		line(x+k, y+side, false)
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// strokeDarkness is how dark a pen's black stroke is in the picture. The frame is thinner and a lens takes more of
// it: how much it is paler than black that is wide says how blurred the picture is.
func strokeDarkness(frame, black float64) float64 {
	const frameWidth, strokeWidth = 0.35, 0.45 // millimetres
	share := min(max(frame/black, 0.2), 0.98)
	return black * math.Erf(math.Erfinv(share)*strokeWidth/frameWidth)
}

// region is a rectangle in the patch's pixels.
func (s *seen) region(r paper.Rect) (x0, y0, x1, y1 int) {
	p := patch{at: s.at, w: s.w, h: s.h}
	return p.col(r.X), p.row(r.Y), p.col(r.X + r.W), p.row(r.Y + r.H)
}

// The regions that are looked at: away from what is printed, as far as a blurred line reaches.
func (s *seen) insideRegion() paper.Rect { return s.tick.Inset(0.65) }

func (s *seen) lineRegion() paper.Rect {
	return paper.Rect{X: s.write.X + 0.7, Y: s.cell.Y + 0.8, W: s.write.W - 1.7, H: s.cell.H - 1.6}
}

// measure finds ink, darker than so much of the frame.
func (s *seen) measure(yard, threshold float64) {
	if s.field.Ticked() {
		s.inside = s.ink(s.insideRegion(), yard, threshold)
		s.strike = s.struck(yard, threshold)
	}
	s.line = s.ink(s.lineRegion(), yard, threshold)
	s.tail = s.field.Ticked() && s.goesOn(yard, threshold)
	o := s.outside(yard, threshold)
	s.through = o.through()
	if s.inside.share >= inkTicked {
		m := s.mask(yard, threshold)
		strokes, ok := m.usual()
		s.usual = ok && o.around(24) < mostAround && !(len(strokes) == 0 && o.around(48) > mostBeyond) &&
			!(len(strokes) == 1 && s.onFrame(strokes, m.half))
		s.runsOn = len(strokes) == 1 && slices.ContainsFunc(strokes, o.runsOn)
	}
}

func (s *seen) ink(r paper.Rect, yard, threshold float64) (out inkIn) {
	x0, y0, x1, y1 := s.region(r)
	w, h := x1-x0, y1-y0
	if w <= 0 || h <= 0 {
		return out
	}
	on := make([]bool, w*h)
	for j := range h {
		for i := range w {
			k := (y0+j)*s.w + x0 + i
			on[j*w+i] = float64(s.stroke[k]) > threshold*yard
			out.mean += float64(s.dark[k]) / float64(w*h) / yard
		}
	}
	found, label := pieces(on, w, h)
	best := -1
	for _, p := range found {
		if p.longest() < 0.4*perMM {
			continue
		}
		out.share += float64(p.area) / float64(w*h)
		out.pieces = append(out.pieces, p)
		if best < 0 || p.longest() > out.pieces[best].longest() {
			best = len(out.pieces) - 1
		}
	}
	if best < 0 {
		return out
	}
	longest := out.pieces[best]
	out.longest = longest.longest() / perMM
	var values []float64
	for j := longest.y0; j <= longest.y1; j++ {
		for i := longest.x0; i <= longest.x1; i++ {
			if int(label[j*w+i]) != longest.id {
				continue
			}
			values = append(values, float64(s.stroke[(y0+j)*s.w+x0+i])/yard)
			if math.Hypot(float64(i)+0.5-float64(w)/2, float64(j)+0.5-float64(h)/2) < 0.9*perMM {
				out.middle = true
			}
		}
	}
	slices.Sort(values)
	out.dark = values[len(values)*9/10]
	return out
}

// struck reports whether a line goes through the box and beyond on both sides.
func (s *seen) struck(yard, threshold float64) bool {
	on := func(x, y float64) bool {
		p := patch{at: s.at, w: s.w, h: s.h}
		i, j := p.col(x), p.row(y)
		return i < s.w && j < s.h && float64(s.stroke[j*s.w+i]) > threshold*yard
	}
	t := s.tick
	column := func(x float64) (heights []float64) {
		for y := t.Y + 0.3; y < t.Y+t.H-0.3; y += 1.0 / perMM {
			if on(x, y) {
				heights = append(heights, y)
			}
		}
		return heights
	}
	both := func(a, b float64) []float64 { // at heights that both have, nearly
		var out []float64
		other := column(b)
		for _, y := range column(a) {
			if slices.ContainsFunc(other, func(o float64) bool { return math.Abs(o-y) < 0.5 }) {
				out = append(out, y)
			}
		}
		return out
	}
	left, right := both(t.X-0.45, t.X-0.85), both(t.X+t.W+0.45, t.X+t.W+0.85)
	for _, a := range left {
		for _, b := range right {
			if math.Abs(a-b) > 1.6 {
				continue
			}
			hit, of := 0, 0
			for x := t.X + 0.6; x < t.X+t.W-0.6; x += 0.2 {
				y := a + (b-a)*(x-t.X)/t.W
				of++
				if on(x, y-0.4) || on(x, y) || on(x, y+0.4) {
					hit++
				}
			}
			if hit*10 >= of*9 {
				return true
			}
		}
	}
	return false
}

// goesOn reports whether what is on the line is one piece with the frame and what is in it, and no farther from it
// than a long tick goes: then nothing was written there.
func (s *seen) goesOn(yard, threshold float64) bool {
	x0, y0, x1, y1 := s.region(paper.Rect{X: s.cell.X + 0.5, Y: s.cell.Y + 0.75, W: s.cell.W - 1.2, H: s.cell.H - 1.5})
	w, h := x1-x0, y1-y0
	if w <= 0 || h <= 0 {
		return false
	}
	on := make([]bool, w*h)
	for j := range h {
		for i := range w {
			on[j*w+i] = float64(s.stroke[(y0+j)*s.w+x0+i]) > threshold*yard
		}
	}
	_, label := pieces(on, w, h)
	fx, fy, fx1, fy1 := s.region(s.tick)
	frame := make(map[int32]bool)
	mark := func(x, y int) {
		if i, j := x-x0, y-y0; i >= 0 && j >= 0 && i < w && j < h && label[j*w+i] != 0 {
			frame[label[j*w+i]] = true
		}
	}
	for x := fx; x <= fx1; x++ {
		mark(x, fy)
		mark(x, fy1)
	}
	for y := fy; y <= fy1; y++ {
		mark(fx, y)
		mark(fx1, y)
	}
	lx0, ly0, lx1, ly1 := s.region(s.lineRegion())
	tail, end, area, other := false, 0, 0, 0
	for y := ly0; y < ly1; y++ {
		for x := lx0; x < lx1; x++ {
			l := int32(0)
			if i, j := x-x0, y-y0; i >= 0 && j >= 0 && i < w && j < h {
				l = label[j*w+i]
			}
			if l == 0 {
				continue
			}
			if frame[l] {
				tail, end, area = true, max(end, x-lx0), area+1
			} else {
				other++
			}
		}
	}
	return tail && other < 8 && float64(end) < 5*perMM && area < 3*perMM*perMM
}
