package marks

import (
	"slices"

	"listbound/cmd/internal/paper"
)

// perMM is how finely cells are straightened: twice what 100 dpi has, so that a stroke of a pen is several wide.
const perMM = 8

// patch is a part of the page, straightened.
type patch struct {
	at    paper.Rect // on the page
	w, h  int
	v     []float32 // brightness
	whole bool      // all of it is in the picture
}

// straighten takes a part of the page out of the picture. What is so small is bent so little that its corners say where
// everything in it lies.
func straighten(g *gray, w *warp, at paper.Rect, perMM float64) *patch {
	p := &patch{at: at, w: int(at.W * perMM), h: int(at.H * perMM), whole: true}
	p.v = make([]float32, p.w*p.h)
	x0, y0 := w.apply(paper.Point{X: at.X, Y: at.Y})
	x1, y1 := w.apply(paper.Point{X: at.X + at.W, Y: at.Y})
	x2, y2 := w.apply(paper.Point{X: at.X, Y: at.Y + at.H})
	x3, y3 := w.apply(paper.Point{X: at.X + at.W, Y: at.Y + at.H})
	for j := range p.h {
		t := (float64(j) + 0.5) / float64(p.h)
		ax, ay, bx, by := x0+t*(x2-x0), y0+t*(y2-y0), x1+t*(x3-x1), y1+t*(y3-y1)
		for i := range p.w {
			s := (float64(i) + 0.5) / float64(p.w)
			v, ok := g.at(ax+s*(bx-ax), ay+s*(by-ay))
			p.whole = p.whole && ok
			p.v[j*p.w+i] = float32(v)
		}
	}
	return p
}

// col and row are where a place on the page is in the patch.
func (p *patch) col(x float64) int { return min(max(int((x-p.at.X)*perMM+0.5), 0), p.w) }
func (p *patch) row(y float64) int { return min(max(int((y-p.at.Y)*perMM+0.5), 0), p.h) }

// smooth is the mean of each pixel's surroundings of 3 x 3, against noise.
func (p *patch) smooth() {
	out := make([]float32, len(p.v))
	for j := range p.h {
		for i := range p.w {
			sum, n := float32(0), float32(0)
			for y := max(0, j-1); y <= min(p.h-1, j+1); y++ {
				for x := max(0, i-1); x <= min(p.w-1, i+1); x++ {
					sum, n = sum+p.v[y*p.w+x], n+1
				}
			}
			out[j*p.w+i] = sum / n
		}
	}
	p.v = out
}

// sharpen takes some of a lens's blur back: by so much of what each pixel differs from its surroundings.
func (p *patch) sharpen(by float32) {
	if by <= 0 {
		return
	}
	wide := patch{w: p.w, h: p.h, v: p.v}
	for range 3 {
		wide.smooth()
	}
	for i, v := range p.v {
		p.v[i] = min(max(v+by*(v-wide.v[i]), 0), 255)
	}
}

// white fits a plane to the paper: what is darker than most is left out, again and again.
func (p *patch) white() []float32 {
	var a, b, c float64 // at the middle, and how it changes to the right and down
	for round := range 5 {
		var n, sx, sy, sxx, syy, sxy, sv, svx, svy float64
		for j := 0; j < p.h; j += 2 {
			y := float64(j)/float64(p.h) - 0.5
			for i := 0; i < p.w; i += 2 {
				x, v := float64(i)/float64(p.w)-0.5, float64(p.v[j*p.w+i])
				if at := a + b*x + c*y; round > 0 && v < at-0.04*a {
					continue
				}
				n, sx, sy, sxx, syy, sxy = n+1, sx+x, sy+y, sxx+x*x, syy+y*y, sxy+x*y
				sv, svx, svy = sv+v, svx+v*x, svy+v*y
			}
		}
		if n < 20 {
			break
		}
		mx, my, mv := sx/n, sy/n, sv/n
		cxx, cyy, cxy, cvx, cvy := sxx/n-mx*mx+1e-4, syy/n-my*my+1e-4, sxy/n-mx*my, svx/n-mv*mx, svy/n-mv*my
		det := cxx*cyy - cxy*cxy
		b, c = (cvx*cyy-cvy*cxy)/det, (cvy*cxx-cvx*cxy)/det
		a = mv - b*mx - c*my
	}
	out := make([]float32, len(p.v))
	for j := range p.h {
		for i := range p.w {
			out[j*p.w+i] = float32(max(1, a+b*(float64(i)/float64(p.w)-0.5)+c*(float64(j)/float64(p.h)-0.5)))
		}
	}
	return out
}

// closing fills what is narrower than n pixels with the brightness around it: strokes vanish, shadows stay.
func closing(v []float32, w, h, n int) []float32 {
	out := brightest(slices.Clone(v), w, h, n)
	negate(out)
	brightest(out, w, h, n) // of what is negated: the darkest
	negate(out)
	return out
}

// opening darkens what a bright square of n pixels does not fit into.
func opening(v []float32, w, h, n int) []float32 {
	out := slices.Clone(v)
	negate(out)
	brightest(out, w, h, n)
	negate(out)
	return brightest(out, w, h, n)
}

func negate(v []float32) {
	for i := range v {
		v[i] = -v[i]
	}
}

// brightest puts in place of each pixel the brightest in a square of n pixels around it.
func brightest(v []float32, w, h, n int) []float32 {
	line := make([]float32, 3*max(w, h)) // one for all: this is where most of a reading's time went
	for j := range h {
		slide(v[j*w:(j+1)*w], 1, w, n, line)
	}
	for i := range w {
		slide(v[i:], w, h, n, line)
	}
	return v
}

// slide does it along a line whose values are step apart (van Herk: each value is looked at three times whatever n is).
func slide(v []float32, step, count, n int, line []float32) {
	src, ahead, back := line[:count], line[count:2*count], line[2*count:3*count]
	for i, at := 0, 0; i < count; i, at = i+1, at+step {
		src[i] = v[at]
	}
	for from := 0; from < count; from += n { // ahead is the most of a block up to here, back from here on
		to := min(from+n, count)
		m := src[from]
		for i := from; i < to; i++ {
			if src[i] > m {
				m = src[i]
			}
			ahead[i] = m
		}
		m = src[to-1]
		for i := to - 1; i >= from; i-- {
			if src[i] > m {
				m = src[i]
			}
			back[i] = m
		}
	}
	half := n / 2
	block, next := 0, n // the one in which the window begins, and the one after it
	for i, at := 0, 0; i < count; i, at = i+1, at+step {
		a, b := max(i-half, 0), min(i+half, count-1)
		if a == next {
			block, next = next, next+n
		}
		switch m := back[a]; {
		case b >= next:
			if ahead[b] > m {
				m = ahead[b]
			}
			v[at] = m
		case a == block:
			v[at] = ahead[b]
		default: // the window ends with the line, within a block
			v[at] = m
		}
	}
}
