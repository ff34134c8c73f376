package marks

import (
	"math"

	"listbound/cmd/internal/paper"
)

// warp takes a place on the page to the picture, also of a page that is bent: how far each dot at the table's edges
// is from where a flat page has it is blended over the page (a Coons patch).
type warp struct {
	homography
	left, right, top, bottom float64
	byTop, byBottom          []paper.Point // displacements of dots that are evenly apart, in millimetres
	byLeft, byRight          []paper.Point
	found, printed           int
	widest                   float64 // the longest run of dots in a row that were not found
	black                    float64 // how much darker than paper the dots are
	sharpen                  float32 // how much of a lens's blur is to be taken back
	blacks                   []float64
	worst                    float64 // largest displacement
}

// unbend looks for the dots.
func unbend(g *gray, p *pose) *warp {
	d := p.layout.Dots
	w := &warp{homography: p.homography, left: d.Top[0].X, right: d.Top[len(d.Top)-1].X, top: d.Top[0].Y, bottom: d.Bottom[0].Y}
	w.byTop, w.byBottom = w.edge(g, d.Top), w.edge(g, d.Bottom)
	w.byLeft, w.byRight = w.edge(g, d.Left), w.edge(g, d.Right)
	w.black = max(median(w.blacks), 0.1)
	// Rows and columns meet in the corners.
	for _, c := range []struct{ a, b *paper.Point }{
		{&w.byTop[0], &w.byLeft[0]}, {&w.byTop[len(w.byTop)-1], &w.byRight[0]},
		{&w.byBottom[0], &w.byLeft[len(w.byLeft)-1]}, {&w.byBottom[len(w.byBottom)-1], &w.byRight[len(w.byRight)-1]},
	} {
		m := paper.Point{X: (c.a.X + c.b.X) / 2, Y: (c.a.Y + c.b.Y) / 2}
		*c.a, *c.b = m, m
	}
	return w
}

// edge measures the dots of an edge; one that is not found takes what its neighbours have.
func (w *warp) edge(g *gray, dots []paper.Point) []paper.Point {
	out := make([]paper.Point, len(dots))
	known := make([]bool, len(dots))
	last := paper.Point{}
	for i, d := range dots {
		// A page that bends bends on: the last dot says where to look for the next.
		at, black, ok := dot(g, &w.homography, paper.Point{X: d.X + last.X, Y: d.Y + last.Y})
		if !ok && last != (paper.Point{}) {
			at, black, ok = dot(g, &w.homography, d)
		}
		if ok {
			w.blacks = append(w.blacks, black)
			last = paper.Point{X: at.X - d.X, Y: at.Y - d.Y}
			out[i], known[i] = last, true
			w.worst = max(w.worst, math.Hypot(last.X, last.Y))
			w.found++
		}
		w.printed++
	}
	w.widest = max(w.widest, filledIn(out, known))
	return out
}

// filledIn interpolates what is not known, and returns how many in a row were not.
func filledIn(v []paper.Point, known []bool) float64 {
	gap, most := 0, 0
	for i := range v {
		if known[i] {
			gap = 0
			continue
		}
		gap++
		most = max(most, gap)
		a, b := i-1, i+1
		for a >= 0 && !known[a] {
			a--
		}
		for b < len(v) && !known[b] {
			b++
		}
		switch {
		case a >= 0 && b < len(v):
			k := float64(i-a) / float64(b-a)
			v[i] = paper.Point{X: v[a].X + k*(v[b].X-v[a].X), Y: v[a].Y + k*(v[b].Y-v[a].Y)}
		case a >= 0:
			v[i] = v[a]
		case b < len(v):
			v[i] = v[b]
		}
	}
	return float64(most)
}

// dot finds a dot around its place, the one piece of about its size, and how dark it is.
func dot(g *gray, h *homography, at paper.Point) (out paper.Point, black float64, ok bool) {
	const reach, perMM, diameter = 4.2, 6.0, 2.4
	const n = 51 // 2*reach*perMM and one
	v := make([]float64, n*n)
	count := [256]int{}
	for j := range n {
		for i := range n {
			b, _ := g.at(h.apply(paper.Point{X: at.X - reach + float64(i)/perMM, Y: at.Y - reach + float64(j)/perMM}))
			v[j*n+i] = b
			count[int(b)]++
		}
	}
	dark, light := percentile(&count, n*n/50), percentile(&count, n*n*7/10)
	if light-dark < 30 {
		return at, 0, false
	}
	spots := make([]bool, n*n)
	for i, b := range v {
		spots[i] = b < (dark+light)/2
	}
	found, label := pieces(spots, n, n)
	best := math.Inf(1)
	const area = math.Pi / 4 * diameter * diameter * perMM * perMM
	for _, p := range found {
		w, hh := float64(p.w())/perMM, float64(p.h())/perMM
		if a := float64(p.area); a < 0.45*area || a > 1.5*area || min(w, hh) < 1.4 || max(w, hh) > 3.4 ||
			p.x0 == 0 || p.y0 == 0 || p.x1 == n-1 || p.y1 == n-1 {
			continue
		}
		x, y := weighted(v, label, p, n, light)
		c := paper.Point{X: at.X - reach + x/perMM, Y: at.Y - reach + y/perMM}
		if d := math.Hypot(c.X-at.X, c.Y-at.Y); d < best {
			best, out, ok = d, c, true
		}
	}
	return out, 1 - dark/light, ok
}

// weighted is a piece's middle by darkness, finer than its pixels.
func weighted(v []float64, label []int32, p piece, n int, light float64) (x, y float64) {
	sum := 0.0
	for j := p.y0; j <= p.y1; j++ {
		for i := p.x0; i <= p.x1; i++ {
			if k := j*n + i; int(label[k]) == p.id {
				d := light - v[k]
				sum, x, y = sum+d, x+d*float64(i), y+d*float64(j)
			}
		}
	}
	return x / sum, y / sum
}

// percentile is the brightness that so many pixels are darker than.
func percentile(count *[256]int, n int) float64 {
	for v, c := range count {
		if n -= c; n < 0 {
			return float64(v)
		}
	}
	return 255
}

// apply takes a place on the page to the picture.
func (w *warp) apply(p paper.Point) (x, y float64) {
	u := min(max((p.X-w.left)/(w.right-w.left), 0), 1)
	v := min(max((p.Y-w.top)/(w.bottom-w.top), 0), 1)
	t, b, l, r := along(w.byTop, u), along(w.byBottom, u), along(w.byLeft, v), along(w.byRight, v)
	c00, c10, c01, c11 := w.byTop[0], w.byTop[len(w.byTop)-1], w.byBottom[0], w.byBottom[len(w.byBottom)-1]
	blend := func(t, b, l, r, c00, c10, c01, c11 float64) float64 {
		return (1-v)*t + v*b + (1-u)*l + u*r - (1-u)*(1-v)*c00 - u*(1-v)*c10 - (1-u)*v*c01 - u*v*c11
	}
	return w.homography.apply(paper.Point{X: p.X + blend(t.X, b.X, l.X, r.X, c00.X, c10.X, c01.X, c11.X),
		Y: p.Y + blend(t.Y, b.Y, l.Y, r.Y, c00.Y, c10.Y, c01.Y, c11.Y)})
}

// along is the displacement at a share of an edge.
func along(edge []paper.Point, k float64) paper.Point {
	at := k * float64(len(edge)-1)
	i := min(int(at), len(edge)-2)
	f := at - float64(i)
	return paper.Point{X: edge[i].X + f*(edge[i+1].X-edge[i].X), Y: edge[i].Y + f*(edge[i+1].Y-edge[i].Y)}
}
