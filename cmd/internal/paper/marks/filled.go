package marks

// Limits of a box that is filled in. Lengths are in pixels of a cell where nothing else is said.
const (
	solid     = 0.85 // share of a filled box's ink that is no thin stroke
	solidArea = 5.8  // square millimetres of it
	notch     = 5    // so wide a square of paper is no gap between the strokes that fill a box

	fillSharp   = 0.65 // of the frame, of the print's black; below it strokes that lie close look like a patch
	blurredFill = 0.9  // share of what a filled box's ink reaches that is ink, there; of a blurred "88" it is 0.86

	hatchedSide  = 24   // that what a thin pen fills reaches at least, both ways
	hatchedGap   = 4    // so wide a square of paper is no gap between a thin pen's strokes; a small "80" has one
	hatchedNinth = 0.35 // share of each of its ninths that has ink; a figure has corners without
	mostBeyond   = 6    // of 48 directions in which there is ink around a filled box; a scribble over it leaves it in 9
)

// filled reports whether the mark fills the box rather than being made of strokes.
func (m *mask) filled() bool {
	if m.sharp < fillSharp {
		x0, y0, x1, y1 := m.bounds()
		return float64(len(m.ink)) >= blurredFill*(x1-x0+1)*(y1-y0+1) && m.patch()
	}
	return m.patch() || m.hatched()
}

// patch reports whether what a square wider than a pen fits into is most of the mark.
func (m *mask) patch() bool {
	const pen = 9 // pixels
	v := make([]float32, len(m.on))
	for i, on := range m.on {
		if on {
			v[i] = 1
		}
	}
	v = closing(v, m.w, m.h, 3) // between the strokes that fill it
	closed := make([]bool, len(v))
	for i := range v {
		closed[i] = v[i] > 0.5
	}
	n := 0
	for _, on := range opening(v, m.w, m.h, pen) {
		if on > 0.5 {
			n++
		}
	}
	return float64(n) >= solid*float64(len(m.ink)) && float64(n) >= solidArea*perMM*perMM && m.gap(closed) < notch
}

// hatched reports whether a thin pen went over all of the box and left gaps no wider than itself: ink in each ninth of
// what it reaches, and nowhere a square of paper.
func (m *mask) hatched() bool {
	fx0, fy0, fx1, fy1 := m.bounds()
	x0, y0, w, h := int(fx0), int(fy0), int(fx1)-int(fx0)+1, int(fy1)-int(fy0)+1
	if min(w, h) < hatchedSide {
		return false
	}
	var ink, of [9]int
	for j := range h {
		for i := range w {
			k := 3*(3*j/h) + 3*i/w
			of[k]++
			if m.on[(y0+j)*m.w+x0+i] {
				ink[k]++
			}
		}
	}
	for k, n := range ink {
		if float64(n) < hatchedNinth*float64(of[k]) {
			return false
		}
	}
	return m.gap(m.on) < hatchedGap
}

// gap is how wide a square of paper is left within the bounds of the mark.
func (m *mask) gap(on []bool) (widest int) {
	fx0, fy0, fx1, fy1 := m.bounds()
	above := make([]int, m.w) // the widest square that ends at the pixel above
	for y := int(fy0); y <= int(fy1); y++ {
		left, corner := 0, 0
		for x := int(fx0); x <= int(fx1); x++ {
			side := 0
			if !on[y*m.w+x] {
				side = 1 + min(left, above[x], corner)
			}
			left, corner, above[x] = side, above[x], side
			widest = max(widest, side)
		}
	}
	return widest
}
