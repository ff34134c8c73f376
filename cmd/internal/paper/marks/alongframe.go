package marks

import (
	"math"
	"slices"
)

// Limits of what a pen left on the printed frame, in millimetres.
const (
	frameAround = 0.55 // on both sides of the frame's line that is looked at
	frameMore   = 0.18 // as much more ink across it as a pen leaves that does not run exactly on it
	frameRun    = 1.0  // so far along the frame
	frameClear  = 0.7  // from the edge of a stroke that goes through it
)

// onFrame reports whether a pen ran along the frame, away from the strokes in the box: the bar of a "7" whose stem alone
// is inside, where it looks like a slash.
func (s *seen) onFrame(strokes []segment, half float64) bool {
	x0, y0, _, _ := s.region(s.shapeRegion())
	long := lengthened(strokes)
	clear := math.Pow(half+frameClear*perMM, 2)
	across := func(x, y float64, down bool) (ink float64, ok bool) {
		for d := -frameAround; d <= frameAround; d += 1.0 / perMM {
			px, py := (x+d-s.at.X)*perMM, (y-s.at.Y)*perMM
			if down {
				px, py = (x-s.at.X)*perMM, (y+d-s.at.Y)*perMM
			}
			at := point{px - float64(x0), py - float64(y0)}
			if slices.ContainsFunc(long, func(g segment) bool { return g.squared(at) < clear }) {
				return 0, false
			}
			if i, j := int(px), int(py); i >= 0 && j >= 0 && i < s.w && j < s.h {
				ink += min(1, float64(s.stroke[j*s.w+i])/s.yard) / perMM
			}
		}
		return ink, true
	}
	t := s.tick
	var all []float64
	var sides [4][]float64 // NaN where a stroke goes through
	for side := range sides {
		for k := 0.45; k < t.W-0.45; k += 1.0 / perMM {
			x, y := t.X+k, t.Y+float64(side/2)*t.H
			if side%2 == 1 {
				x, y = t.X+float64(side/2)*t.W, t.Y+k
			}
			v, ok := across(x, y, side%2 == 0)
			if ok {
				all = append(all, v)
			} else {
				v = math.NaN()
			}
			sides[side] = append(sides[side], v)
		}
	}
	if len(all) == 0 {
		return false
	}
	slices.Sort(all)
	for _, side := range sides {
		run := 0
		for _, v := range side {
			if run++; !(v > all[len(all)/4]+frameMore) {
				run = 0
			}
			if float64(run) >= frameRun*perMM {
				return true
			}
		}
	}
	return false
}

// lengthened are strokes as they go on beyond the box.
func lengthened(strokes []segment) []segment {
	var long []segment
	for _, g := range strokes {
		if l := g.length(); l > 0 {
			dx, dy := perMM*(g.b.x-g.a.x)/l, perMM*(g.b.y-g.a.y)/l
			long = append(long, segment{point{g.a.x - dx, g.a.y - dy}, point{g.b.x + dx, g.b.y + dy}})
		}
	}
	return long
}
