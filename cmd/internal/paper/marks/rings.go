package marks

import "math"

// ring is something dark around something dark, with white between: a corner mark, or a finder of a symbol.
type ring struct {
	x, y     float64 // in pixels of the picture
	diameter float64
	round    bool
}

// rings finds what is ringed in a picture. Text, ticks and noise hardly ever are.
func rings(g *gray) []ring {
	const across = 1100 // enough for the gaps in a ring on a page that fills half of the picture
	n := max(1, (max(g.w, g.h)+across/2)/across)
	small := g.shrunk(n)
	var out []ring
	for _, share := range []float64{0.85, 0.75, 0.92} {
		for _, r := range ringed(small, share) {
			r.x, r.y, r.diameter = r.x*float64(n), r.y*float64(n), r.diameter*float64(n)
			known := false
			for _, o := range out {
				known = known || math.Hypot(o.x-r.x, o.y-r.y) < r.diameter/2
			}
			if !known {
				out = append(out, r)
			}
		}
	}
	return out
}

func ringed(g *gray, share float64) (out []ring) {
	found, label := pieces(g.darkSpots(share, max(12, min(g.w, g.h)/24)), g.w, g.h)
	// Cores by where they are, so that each ring looks only around its own middle.
	const bin = 16
	at := make(map[[2]int][]piece)
	for _, p := range found {
		if p.area >= 4 {
			k := [2]int{int(p.cx) / bin, int(p.cy) / bin}
			at[k] = append(at[k], p)
		}
	}
	for _, p := range found {
		w, h := float64(p.w()), float64(p.h())
		if min(w, h) < 8 || max(w, h) > float64(max(g.w, g.h))/6 || w/h < 0.6 || w/h > 1.67 {
			continue
		}
		filled, reach := outline(p, label, g.w)
		if f := float64(p.area) / float64(filled); f < 0.3 || f > 0.8 || float64(filled) < 0.6*w*h*math.Pi/4 {
			continue
		}
		mx, my := (float64(p.x0)+float64(p.x1)+1)/2, (float64(p.y0)+float64(p.y1)+1)/2
		if !hasCore(at, bin, p, mx, my, float64(filled)) {
			continue
		}
		out = append(out, ring{x: mx, y: my, diameter: 2 * math.Sqrt(float64(filled)/math.Pi),
			round: float64(filled) > 2.45*reach*reach})
	}
	return out
}

func hasCore(at map[[2]int][]piece, bin int, p piece, mx, my, filled float64) bool {
	reach := 0.12 * float64(p.w()+p.h()) / 2
	for j := int(my-reach) / bin; j <= int(my+reach)/bin; j++ {
		for i := int(mx-reach) / bin; i <= int(mx+reach)/bin; i++ {
			for _, c := range at[[2]int{i, j}] {
				if c.id != p.id && math.Hypot(c.cx-mx, c.cy-my) < reach && float64(c.area) > 0.06*filled && float64(c.area) < 0.4*filled &&
					float64(c.area) > 0.55*float64(c.w()*c.h()) {
					return true
				}
			}
		}
	}
	return false
}
