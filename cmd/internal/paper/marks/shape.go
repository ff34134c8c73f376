package marks

import (
	"math"

	"listbound/cmd/internal/paper"
)

// Limits of what a mark's shape may be. Lengths are in pixels of a cell, angles in degrees above the horizontal.
const (
	shapeInk     = 0.45 // of the mark's own darkness: a stroke no fatter than it was drawn
	alongInk     = 0.93 // share of its ink that lies along the strokes of a tick, a cross or a slash
	underInk     = 0.86 // share of these strokes that has ink
	leastSlant   = 28.0
	mostSlant    = 52.0  // a "1" is steeper, and mostly the stroke of a "7" whose bar lies on the frame
	slashInk     = 0.97  // share of a slash's ink that lies along it: what is left of such a bar does not
	mostArm      = 68.0  // of a tick's right arm; a blurred "4" or "6" is fitted by a steeper one
	leavingArm   = 0.6   // of the left arm's height, where the right one goes on beyond the box; else it is the higher one
	crossInk     = 0.96  // the first of a cross: a four is like it
	crossBlurred = 0.985 // where a blur makes the strokes of an "86" one
	underCross   = 0.98  // and the second: the stem and the bar of a "7" meet, and hardly cross
	wobble       = 0.19  // millimetres by which a stroke may leave the straight
	slanting     = 1.2   // pixels' sides along a slanting edge are so much longer than it
	mostBelow    = 9.0   // pixels that a tick's lowest point may be hidden by the frame
	closeDark    = 0.5   // of a mark that may be looked at close to the frame
	closeSharp   = 0.55  // of the frame there, of the print's black
	holeArea     = 7     // pixels; smaller ones are noise
)

// point is a place in a mask, in pixels.
type point struct{ x, y float64 }

// mask is what is inked inside a box.
type mask struct {
	w, h int
	on   []bool
	ink  []point // middles of the pixels that are on
	half float64 // of the strokes' width

	sharp float64 // share of the print's black that the frame has
}

// shapeRegion is what is looked at for a mark's shape: nearer to the frame where a blur takes that no further.
func (s *seen) shapeRegion() paper.Rect {
	if s.inside.dark >= closeDark && s.frame >= closeSharp*s.black {
		return s.tick.Inset(0.45)
	}
	return s.insideRegion()
}

// mask takes what is as dark as the mark inside the box; specks are left out.
func (s *seen) mask(yard, threshold float64) *mask {
	x0, y0, x1, y1 := s.region(s.shapeRegion())
	m := &mask{w: x1 - x0, h: y1 - y0, sharp: s.frame / s.black}
	limit := max(threshold, shapeInk*s.inside.dark) * yard
	on := make([]bool, m.w*m.h)
	for j := range m.h {
		for i := range m.w {
			on[j*m.w+i] = float64(s.stroke[(y0+j)*s.w+x0+i]) > limit
		}
	}
	found, label := pieces(on, m.w, m.h)
	m.on = make([]bool, len(on))
	for k, l := range label {
		if l != 0 && found[l-1].longest() >= 0.4*perMM {
			m.on[k] = true
			m.ink = append(m.ink, point{float64(k%m.w) + 0.5, float64(k/m.w) + 0.5})
		}
	}
	edges := 0
	for k, on := range m.on {
		if !on {
			continue
		}
		for _, n := range []struct{ at, edge bool }{{k%m.w > 0 && m.on[k-1], k%m.w == 0}, {k%m.w < m.w-1 && m.on[k+1], k%m.w == m.w-1},
			{k >= m.w && m.on[k-m.w], k < m.w}, {k < len(m.on)-m.w && m.on[k+m.w], k >= len(m.on)-m.w}} {
			if !n.at && !n.edge {
				edges++
			}
		}
	}
	m.half = min(slanting*float64(len(m.ink))/float64(max(edges, 1)), 0.4*perMM)
	return m
}

// usual reports whether a mark is one that people tick a box with: a tick, a cross, a slash that rises, or the box
// filled in. A figure is none; nor is a tick that was crossed out.
func (m *mask) usual() (strokes []segment, ok bool) {
	if len(m.ink) == 0 {
		return nil, false
	}
	if m.filled() {
		return nil, true
	}
	if m.hole() {
		return nil, false
	}
	x0, y0, x1, y1 := m.bounds()
	for _, start := range [][]point{
		{{x0, (y0 + y1) / 2}, {x0 + 0.3*(x1-x0), y1}, {x1, y0}}, // a tick
		{{x0, y1}, {x1, y0}},                     // a slash
		{{x0, y0}, {x1, y1}, {x1, y0}, {x0, y1}}, // a cross
	} {
		if f := m.fit(start); f.good() && f.proper() {
			return f.strokes(), m.ends() <= f.ends()
		}
	}
	return nil, false
}

func (m *mask) bounds() (x0, y0, x1, y1 float64) {
	x0, y0 = m.ink[0].x, m.ink[0].y
	for _, p := range m.ink {
		x0, y0, x1, y1 = min(x0, p.x), min(y0, p.y), max(x1, p.x), max(y1, p.y)
	}
	return x0, y0, x1, y1
}

// hole reports whether the mark encloses paper, as 0, 6, 8, 9 and most fours do.
func (m *mask) hole() bool {
	off := make([]bool, len(m.on))
	for i, on := range m.on {
		off[i] = !on
	}
	found, _ := pieces(off, m.w, m.h) // paper that meets in a corner only counts as one
	for _, p := range found {
		if p.x0 > 0 && p.y0 > 0 && p.x1 < m.w-1 && p.y1 < m.h-1 && p.area >= holeArea {
			return true
		}
	}
	return false
}

// segment is a straight stroke.
type segment struct{ a, b point }

func (s segment) length() float64 { return math.Hypot(s.b.x-s.a.x, s.b.y-s.a.y) }

// rise is its angle above the horizontal, from left to right.
func (s segment) rise() float64 {
	a, b := s.a, s.b
	if a.x > b.x {
		a, b = b, a
	}
	return math.Atan2(a.y-b.y, b.x-a.x) * 180 / math.Pi
}

// squared is the square of the distance of a point from it.
func (s segment) squared(p point) float64 {
	dx, dy := s.b.x-s.a.x, s.b.y-s.a.y
	k := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		k = min(max(((p.x-s.a.x)*dx+(p.y-s.a.y)*dy)/l, 0), 1)
	}
	ex, ey := p.x-s.a.x-k*dx, p.y-s.a.y-k*dy
	return ex*ex + ey*ey
}

// fitted are the strokes that lie best on a mark.
type fitted struct {
	m                  *mask
	at                 []point // two of a slash, three of a tick, four of a cross
	explained, covered float64
}

func (f *fitted) strokes() []segment {
	switch len(f.at) {
	case 3:
		return []segment{{f.at[0], f.at[1]}, {f.at[1], f.at[2]}}
	case 4:
		return []segment{{f.at[0], f.at[1]}, {f.at[2], f.at[3]}}
	}
	return []segment{{f.at[0], f.at[1]}}
}

// ends is how many ends such strokes have. A tick whose corner is hidden by the frame is seen as two strokes.
func (f *fitted) ends() int {
	if len(f.at) == 4 {
		return 4
	}
	if len(f.at) == 3 && f.at[1].y > float64(f.m.h) {
		if found, _ := pieces(f.m.on, f.m.w, f.m.h); len(found) == 2 {
			return 4
		}
	}
	return 2
}

func (f *fitted) good() bool { return f.explained >= alongInk && f.covered >= underInk }

// proper reports whether the strokes, as far as they are seen, are to each other as those of a tick, a cross or a
// slash are.
func (f *fitted) proper() bool {
	between := func(v, a, b float64) bool { return v >= a && v <= b }
	s := f.strokes()
	for i := range s {
		var ok bool
		if s[i], ok = f.m.seen(s[i]); !ok {
			return false
		}
	}
	switch len(f.at) {
	case 2:
		return f.explained >= slashInk && between(s[0].rise(), leastSlant, mostSlant) && s[0].length() >= 1.8*perMM
	case 3:
		left, right := s[0], s[1]
		if low := f.at[1].y - float64(f.m.h); low > mostBelow {
			return false
		}
		shorter := 1.0
		if right.b.x > float64(f.m.w)-1.5 {
			shorter = leavingArm
		}
		return left.b.x > left.a.x && left.b.y > left.a.y && right.b.x > right.a.x &&
			between(right.rise(), leastSlant, mostArm) && between(-left.rise(), 15, 80) &&
			!f.m.inked(amid(left, right)) && left.length() >= max(0.45*perMM, 2*f.m.half) &&
			right.a.y-right.b.y > max(1.5*perMM, shorter*(left.b.y-left.a.y))
	}
	ink := crossInk
	if f.m.sharp < fillSharp {
		ink = crossBlurred
	}
	return f.explained >= ink && f.covered >= underCross &&
		between(-s[0].rise(), 30, 60) && between(s[1].rise(), 30, 60) && s[0].length() >= 2.3*perMM &&
		s[1].length() >= 2.3*perMM && f.crossing(s[0], s[1])
}

// amid is the place between a tick's arms, at the height of the left one's end: paper, but where a blur makes one wedge
// of a "1" and its upstroke.
func amid(left, right segment) point {
	x, y := right.a.x, left.a.y
	if high := right.b.y - right.a.y; high != 0 {
		x += (right.b.x - right.a.x) * min(max((y-right.a.y)/high, 0), 1)
	}
	return point{(left.a.x + x) / 2, y}
}

func (m *mask) inked(p point) bool {
	x, y := int(p.x), int(p.y)
	return x >= 0 && y >= 0 && x < m.w && y < m.h && m.on[y*m.w+x]
}

// seen is the part of a stroke that is inside the mask.
func (m *mask) seen(s segment) (segment, bool) {
	from, to := 0.0, 1.0
	cut := func(at, by, most float64) {
		a, b := -at/by, (most-at)/by
		if by == 0 {
			return
		}
		from, to = max(from, min(a, b)), min(to, max(a, b))
	}
	dx, dy := s.b.x-s.a.x, s.b.y-s.a.y
	cut(s.a.x, dx, float64(m.w))
	cut(s.a.y, dy, float64(m.h))
	on := func(t float64) point { return point{s.a.x + t*dx, s.a.y + t*dy} }
	return segment{on(from), on(to)}, from < to
}

// crossing reports whether two strokes cross about in the middle of both, with paper on all four sides of it.
func (f *fitted) crossing(a, b segment) bool {
	ux, uy, vx, vy := a.b.x-a.a.x, a.b.y-a.a.y, b.b.x-b.a.x, b.b.y-b.a.y
	det := ux*vy - uy*vx
	if math.Abs(det) < 1e-6 {
		return false
	}
	wx, wy := b.a.x-a.a.x, b.a.y-a.a.y
	s, t := (wx*vy-wy*vx)/det, (wx*uy-wy*ux)/det
	if min(s, t) < 0.3 || max(s, t) > 0.7 {
		return false
	}
	x, y := a.a.x+s*ux, a.a.y+s*uy
	const aside = 1.15 * perMM
	for _, p := range []point{{x - aside, y}, {x + aside, y}, {x, y - aside}, {x, y + aside}} {
		if p.x >= 0 && p.y >= 0 && p.x < float64(f.m.w) && p.y < float64(f.m.h) && f.m.on[int(p.y)*f.m.w+int(p.x)] {
			return false
		}
	}
	return true
}

// fit moves the ends of strokes until they lie on the mark as well as they can.
func (m *mask) fit(start []point) *fitted {
	f := &fitted{m: m, at: start}
	best := f.score()
	for _, step := range []float64{3, 1.5, 0.75} {
		for range 5 {
			before := best
			for i := range f.at {
				for _, d := range []point{{step, 0}, {-step, 0}, {0, step}, {0, -step}} {
					was := f.at[i]
					f.at[i] = point{was.x + d.x, was.y + d.y}
					if s := f.score(); s > best {
						best = s
					} else {
						f.at[i] = was
					}
				}
			}
			if best == before {
				break
			}
		}
	}
	f.score()
	return f
}

// score is how much of the ink lies along the strokes, and of the strokes on ink, as far as they are inside.
func (f *fitted) score() float64 {
	strokes := f.strokes()
	steps, on := 0, 0
	for _, s := range strokes {
		n := max(2, int(s.length()))
		for k := range n {
			t := (float64(k) + 0.5) / float64(n)
			x, y := int(s.a.x+t*(s.b.x-s.a.x)), int(s.a.y+t*(s.b.y-s.a.y))
			if x < 0 || y < 0 || x >= f.m.w || y >= f.m.h {
				continue
			}
			steps++
			if f.m.near(x, y) {
				on++
			}
		}
	}
	if steps == 0 {
		return 0
	}
	half := f.m.half + wobble*perMM
	near := 0
	for _, p := range f.m.ink {
		for _, s := range strokes {
			if s.squared(p) <= half*half {
				near++
				break
			}
		}
	}
	f.explained, f.covered = float64(near)/float64(len(f.m.ink)), float64(on)/float64(steps)
	return f.explained + 0.5*f.covered
}

// near reports whether there is ink at a pixel or beside it.
func (m *mask) near(x, y int) bool {
	for j := max(0, y-1); j <= min(m.h-1, y+1); j++ {
		for i := max(0, x-1); i <= min(m.w-1, x+1); i++ {
			if m.on[j*m.w+i] {
				return true
			}
		}
	}
	return false
}
