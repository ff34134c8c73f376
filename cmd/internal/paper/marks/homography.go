package marks

import (
	"math"

	"listbound/cmd/internal/paper"
)

// homography takes a place on a flat page to where a camera sees it.
type homography [9]float64

func (h *homography) apply(p paper.Point) (x, y float64) {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return (h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w
}

// inverse takes what the camera sees back to the page.
func (h *homography) inverse() homography {
	a, b, c, d, e, f, g, i, j := h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]
	return homography{e*j - f*i, c*i - b*j, b*f - c*e, f*g - d*j, a*j - c*g, c*d - a*f, d*i - e*g, b*g - a*i, a*e - b*d}
}

// pixelsPerMillimetre around a place.
func (h *homography) pixelsPerMillimetre(p paper.Point) float64 {
	x0, y0 := h.apply(p)
	x1, y1 := h.apply(paper.Point{X: p.X + 1, Y: p.Y})
	x2, y2 := h.apply(paper.Point{X: p.X, Y: p.Y + 1})
	return math.Sqrt(math.Abs((x1-x0)*(y2-y0) - (x2-x0)*(y1-y0)))
}

// pair is a place on the page and where it was seen.
type pair struct {
	page paper.Point
	x, y float64
}

// fit finds the homography that brings at least four pairs together, with the least squares where there are more. ok is
// false where they lie so that there is none.
func fit(pairs []pair) (out homography, ok bool) {
	if len(pairs) < 4 {
		return out, false
	}
	// Around the middle and of size one, or rounding would count.
	var mx, my, size float64
	for _, p := range pairs {
		mx, my = mx+p.x/float64(len(pairs)), my+p.y/float64(len(pairs))
	}
	for _, p := range pairs {
		size = max(size, math.Abs(p.x-mx), math.Abs(p.y-my))
	}
	if size == 0 {
		return out, false
	}
	var a [8][9]float64
	for _, p := range pairs {
		x, y, u, v := p.page.X/100, p.page.Y/100, (p.x-mx)/size, (p.y-my)/size
		for _, row := range [2][9]float64{{x, y, 1, 0, 0, 0, -u * x, -u * y, u}, {0, 0, 0, x, y, 1, -v * x, -v * y, v}} {
			for i := range 8 {
				for j := range 9 {
					a[i][j] += row[i] * row[j]
				}
			}
		}
	}
	h, ok := solve(&a)
	if !ok {
		return out, false
	}
	h[0], h[1], h[3], h[4], h[6], h[7] = h[0]/100, h[1]/100, h[3]/100, h[4]/100, h[6]/100, h[7]/100
	full := [9]float64{h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1}
	for i := range 3 {
		out[i] = full[i]*size + mx*full[6+i]
		out[3+i] = full[3+i]*size + my*full[6+i]
		out[6+i] = full[6+i]
	}
	return out, true
}

// solve is Gauss's elimination with pivots.
func solve(a *[8][9]float64) (out [8]float64, ok bool) {
	for i := range 8 {
		best := i
		for k := i + 1; k < 8; k++ {
			if math.Abs(a[k][i]) > math.Abs(a[best][i]) {
				best = k
			}
		}
		if math.Abs(a[best][i]) < 1e-12 {
			return out, false
		}
		a[i], a[best] = a[best], a[i]
		for k := range 8 {
			if k == i {
				continue
			}
			f := a[k][i] / a[i][i]
			for j := i; j < 9; j++ {
				a[k][j] -= f * a[i][j]
			}
		}
	}
	for i := range 8 {
		out[i] = a[i][8] / a[i][i]
	}
	return out, true
}
