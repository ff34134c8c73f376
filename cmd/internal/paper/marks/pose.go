package marks

import (
	"math"
	"slices"

	"listbound/cmd/internal/paper"
)

// pose is where a page lies in the picture.
type pose struct {
	homography
	layout paper.Geometry // the skeleton
	symbol Symbol
	ringed int // corner marks that were seen
}

// skeletons are a layout of each size of paper: marks and symbols stand alike in all of one size.
func skeletons() (out []paper.Geometry) {
	for layout := 1; ; layout++ {
		g, ok := paper.Skeleton(layout)
		if !ok && len(out) > 0 {
			return out
		}
		if ok && !slices.ContainsFunc(out, func(o paper.Geometry) bool { return o.Width == g.Width && o.Height == g.Height }) {
			out = append(out, g)
		}
	}
}

// findPage finds the page by its corner marks, in whatever way it is turned, and reads its symbol. Without a symbol it
// is no page. ok is false where that fails; seen is whether four marks lay as on a page.
func findPage(g *gray, found []ring, mirrored bool) (out pose, seen, ok bool) {
	sheets := skeletons()
	for _, quad := range quads(found) {
		for _, sheet := range sheets {
			for turn := range 4 {
				var pairs []pair
				for i, c := range sheet.Rings {
					r := quad[(i+turn)%4]
					if mirrored {
						r = quad[(4-i+turn)%4]
					}
					pairs = append(pairs, pair{c, r.x, r.y})
				}
				if !likely(pairs, quad) {
					continue
				}
				h, fits := fit(pairs)
				if !fits {
					continue
				}
				seen = true
				if s, reads := symbolIn(g, &h, sheet); reads {
					if l, known := paper.Skeleton(s.Layout); known && l.Width == sheet.Width && l.Height == sheet.Height {
						return pose{h, l, s, 4}, true, true
					}
				}
			}
		}
	}
	return out, seen, false
}

// likely reports whether four marks have the distances that marks of their size have on a page.
func likely(pairs []pair, quad [4]ring) bool {
	diameter := (quad[0].diameter + quad[1].diameter + quad[2].diameter + quad[3].diameter) / 4
	side := func(i, j int) float64 {
		seen := math.Hypot(pairs[i].x-pairs[j].x, pairs[i].y-pairs[j].y)
		flat := math.Hypot(pairs[i].page.X-pairs[j].page.X, pairs[i].page.Y-pairs[j].page.Y)
		return seen / flat * paper.RingDiameters[0] / diameter
	}
	top, right, bottom, left := side(0, 1), side(1, 2), side(2, 3), side(3, 0)
	across, down := (top+bottom)/2, (left+right)/2
	return across > 0.72 && across < 1.3 && down > 0.72 && down < 1.3 && across/down > 0.8 && across/down < 1.25 &&
		top/bottom > 0.6 && top/bottom < 1.67 && left/right > 0.6 && left/right < 1.67
}

// quads are the sets of four marks that may be a page's corners, the largest first, clockwise as seen.
func quads(found []ring) (out [][4]ring) {
	var round []ring
	for _, r := range found {
		if r.round {
			round = append(round, r)
		}
	}
	const most = 16 // marks of four pages
	if len(round) > most {
		slices.SortFunc(round, func(a, b ring) int { return int(1000 * (b.diameter - a.diameter)) })
		round = round[:most]
	}
	for a := range round {
		for b := a + 1; b < len(round); b++ {
			for c := b + 1; c < len(round); c++ {
				for d := c + 1; d < len(round); d++ {
					q := clockwise([4]ring{round[a], round[b], round[c], round[d]})
					if alike(q) && convex(q) {
						out = append(out, q)
					}
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b [4]ring) int { return int(area(b) - area(a)) })
	return out
}

func alike(q [4]ring) bool {
	lo, hi := q[0].diameter, q[0].diameter
	for _, r := range q {
		lo, hi = min(lo, r.diameter), max(hi, r.diameter)
	}
	return hi < 1.8*lo
}

func clockwise(q [4]ring) [4]ring {
	var mx, my float64
	for _, r := range q {
		mx, my = mx+r.x/4, my+r.y/4
	}
	s := q[:]
	slices.SortFunc(s, func(a, b ring) int {
		if math.Atan2(a.y-my, a.x-mx) < math.Atan2(b.y-my, b.x-mx) {
			return -1
		}
		return 1
	})
	return q
}

func convex(q [4]ring) bool {
	for i := range 4 {
		a, b, c := q[i], q[(i+1)%4], q[(i+2)%4]
		cross := (b.x-a.x)*(c.y-b.y) - (b.y-a.y)*(c.x-b.x)
		if cross < 0.3*math.Hypot(b.x-a.x, b.y-a.y)*math.Hypot(c.x-b.x, c.y-b.y) {
			return false // not convex, or an angle far from a right one
		}
	}
	return true
}

func area(q [4]ring) float64 {
	s := 0.0
	for i := range 4 {
		a, b := q[i], q[(i+1)%4]
		s += (a.x*b.y - a.y*b.x) / 2
	}
	return s
}

// poseBySymbol finds the page from a symbol that was found by itself, and those corner marks that are to be seen: one
// may be covered.
func poseBySymbol(g *gray, found []ring, d detected, s Symbol) (out pose, ok bool) {
	layout, known := paper.Skeleton(s.Layout)
	if !known {
		return out, false
	}
	for _, at := range []struct {
		rect paper.Rect
		size float64
	}{{layout.Symbol, firstSize}, {layout.Second, secondSize}} {
		m := at.rect.W / (at.size + 2*quietZone)
		near, far := quietZone*m+3.5*m, quietZone*m+(at.size-3.5)*m
		places := [3]paper.Point{{X: at.rect.X + near, Y: at.rect.Y + near}, {X: at.rect.X + far, Y: at.rect.Y + near},
			{X: at.rect.X + near, Y: at.rect.Y + far}}
		var pairs []pair
		for i, p := range places {
			pairs = append(pairs, pair{p, d.finders[i][0], d.finders[i][1]})
		}
		rough := affine(pairs) // without perspective, so the farther a mark is the wider it is looked for
		seen := 0
		for _, c := range layout.Rings {
			x, y := rough.apply(c)
			reach := rough.pixelsPerMillimetre(c) * (4 + 0.2*math.Hypot(c.X-places[0].X, c.Y-places[0].Y))
			if r, hit := nearest(found, x, y, reach); hit {
				seen++
				pairs = append(pairs, pair{c, r.x, r.y})
			}
		}
		if seen < 3 {
			continue
		}
		if h, fits := fit(pairs); fits {
			if read, reads := symbolIn(g, &h, layout); reads && read.Text == s.Text {
				return pose{h, layout, s, seen}, true
			}
		}
	}
	return out, false
}

func nearest(found []ring, x, y, reach float64) (out ring, ok bool) {
	best := reach
	for _, r := range found {
		if d := math.Hypot(r.x-x, r.y-y); r.round && d < best {
			best, out, ok = d, r, true
		}
	}
	return out, ok
}

// affine takes three pairs together.
func affine(p []pair) homography {
	a, b, c := p[0].page, p[1].page, p[2].page
	det := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
	row := func(u, v, w float64) (float64, float64, float64) {
		dx := ((v-u)*(c.Y-a.Y) - (w-u)*(b.Y-a.Y)) / det
		dy := ((w-u)*(b.X-a.X) - (v-u)*(c.X-a.X)) / det
		return dx, dy, u - dx*a.X - dy*a.Y
	}
	var h homography
	h[0], h[1], h[2] = row(p[0].x, p[1].x, p[2].x)
	h[3], h[4], h[5] = row(p[0].y, p[1].y, p[2].y)
	h[8] = 1
	return h
}
