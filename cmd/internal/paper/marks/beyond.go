package marks

import (
	"math"
	"slices"
)

// Limits of ink beyond the box.
const (
	beyondInk   = 0.2  // of a stroke, more than what runs along the row there: the print's own lines
	ruleHalf    = 0.3  // millimetres around a rule of the table where print and pen can't be told
	columnHalf  = 0.75 // and of a column's edge, which is printed up to 0.5 wide and may bend
	frameHalf   = 0.38 // the same of the box's frame
	throughPast = 0.62 // past the row's edges: halfway to the next row's frames
	throughGap  = 1    // pixels without ink
	mostAround  = 7    // of 24 directions in which there is ink around the box
)

// outside measures what goes on beyond the box.
type outside struct {
	s      *seen
	limit  float64
	rows   []float32 // what lies along each row of pixels in the cell
	column float64   // how near to the left edge of the column nothing is looked at
	boxed  []float32 // and between the sides of the frame
}

func (s *seen) outside(yard, threshold float64) *outside {
	o := &outside{s: s, column: columnHalf, limit: max(beyondInk, threshold) * yard, rows: make([]float32, s.h),
		boxed: make([]float32, s.h)}
	middle := func(y, x0, x1 int) float32 {
		if x1 <= x0 {
			return 0
		}
		v := slices.Clone(s.stroke[y*s.w+x0 : y*s.w+x1])
		slices.Sort(v)
		return v[len(v)/2]
	}
	x0, _, x1, _ := s.region(s.cell.Inset(0.5))
	f0, _, f1, _ := s.region(s.tick.Inset(0.3))
	for y := range s.h {
		o.rows[y] = middle(y, x0, x1)
		if s.field.Ticked() {
			o.boxed[y] = middle(y, f0, f1)
		}
	}
	return o
}

// on reports whether a pen was at a place; neutral is true where the print hides it.
func (o *outside) on(i, j int) (ink, neutral bool) {
	s := o.s
	if i < 0 || j < 0 || i >= s.w || j >= s.h {
		return false, false
	}
	x, y := s.at.X+(float64(i)+0.5)/perMM, s.at.Y+(float64(j)+0.5)/perMM
	near := func(a, b, d float64) bool { return math.Abs(a-b) < d }
	if near(y, s.cell.Y, ruleHalf) || near(y, s.cell.Y+s.cell.H, ruleHalf) {
		return false, true
	}
	if math.Abs(x-s.cell.X) < o.column || x > s.cell.X+s.cell.W-columnHalf {
		return false, false
	}
	ground, t := o.rows[j], s.tick
	if s.field.Ticked() && x > t.X-frameHalf && x < t.X+t.W+frameHalf {
		if near(y, t.Y, frameHalf) || near(y, t.Y+t.H, frameHalf) {
			return false, true
		}
		if y > t.Y && y < t.Y+t.H && (near(x, t.X, frameHalf) || near(x, t.X+t.W, frameHalf)) {
			return false, false
		}
		ground = max(ground, o.boxed[j])
	}
	return float64(s.stroke[j*s.w+i]-ground) > o.limit, false
}

// through reports whether one line goes through the cell from the row above to the row below, straight or in waves.
func (o *outside) through() bool {
	s := o.s
	p := patch{at: s.at, w: s.w, h: s.h}
	top, bottom := p.row(s.cell.Y-throughPast), p.row(s.cell.Y+s.cell.H+throughPast)
	const lost = math.MaxInt32
	gap := make([]int, s.w) // since the last ink on the best way to each pixel
	next := make([]int, s.w)
	for j := top; j < bottom; j++ {
		alive := false
		for i := range s.w {
			if s.at.X+float64(i)/perMM < s.cell.X {
				next[i] = lost
				continue
			}
			best := lost
			if j == top {
				best = 0
			} else {
				for k := max(0, i-2); k <= min(s.w-1, i+2); k++ {
					best = min(best, gap[k])
				}
			}
			ink, neutral := o.on(i, j)
			switch {
			case best == lost || neutral:
			case ink:
				best = 0
			default:
				if best++; best > throughGap {
					best = lost
				}
			}
			next[i] = best
			alive = alive || best != lost
		}
		if !alive {
			return false
		}
		gap, next = next, gap
	}
	return true
}

// around is in how many of so many directions there is ink around the box: a ring's, or a scribble's over it.
func (o *outside) around(of int) int {
	t, n := o.s.tick, 0
	o.column = 0.55
	defer func() { o.column = columnHalf }()
	p := patch{at: o.s.at, w: o.s.w, h: o.s.h}
	for a := range of {
		sin, cos := math.Sincos(2 * math.Pi * (float64(a) + 0.5) / float64(of))
		k := 1 / max(math.Abs(sin), math.Abs(cos)) // to a square of half a side 1
		for far := 0.5; far < 1.6; far += 0.1 {
			r := (t.W/2 + far) * k
			if ink, _ := o.on(p.col(t.X+t.W/2+r*cos), p.row(t.Y+t.H/2+r*sin)); ink {
				n++
				break
			}
		}
	}
	return n
}

// runsOn reports whether a stroke in the box goes on far beyond it at both of its ends.
func (o *outside) runsOn(s segment) bool {
	x0, y0, _, _ := o.s.region(o.s.shapeRegion())
	p := patch{at: o.s.at, w: o.s.w, h: o.s.h}
	t, l := o.s.tick, s.length()
	if l == 0 {
		return false
	}
	dx, dy := (s.b.x-s.a.x)/l, (s.b.y-s.a.y)/l
	beyond := func(from point, dx, dy float64) bool {
		for d := 0.0; d < 6*perMM; d++ {
			i, j := x0+int(from.x+d*dx), y0+int(from.y+d*dy)
			x, y := o.s.at.X+float64(i)/perMM, o.s.at.Y+float64(j)/perMM
			far := max(t.X-x, x-t.X-t.W, t.Y-y, y-t.Y-t.H)
			if far < 1.4 {
				continue
			}
			if far > 1.8 || i < 2 || j < 2 || i >= p.w-2 || j >= p.h-2 {
				return false
			}
			for v := -2; v <= 2; v++ {
				for u := -2; u <= 2; u++ {
					if ink, _ := o.on(i+u, j+v); ink {
						return true
					}
				}
			}
		}
		return false
	}
	return beyond(s.a, -dx, -dy) && beyond(s.b, dx, dy)
}
