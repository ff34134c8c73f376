package marks

import "math"

// piece is a connected patch of dark pixels.
type piece struct {
	x0, y0, x1, y1 int // the last ones belong to it
	area           int
	cx, cy         float64
	id             int
}

func (p piece) w() int { return p.x1 - p.x0 + 1 }
func (p piece) h() int { return p.y1 - p.y0 + 1 }

// longest is the larger of its two extents along the axes, or the diagonal of a thin one.
func (p piece) longest() float64 {
	return math.Hypot(float64(p.w()), float64(p.h()))
}

// pieces finds the connected patches, neighbours across corners included. The map has each pixel's
// piece by its number from 1.
func pieces(dark []bool, w, h int) ([]piece, []int32) {
	label := make([]int32, w*h)
	var out []piece
	var stack []int32
	for start := range dark {
		if !dark[start] || label[start] != 0 {
			continue
		}
		p := piece{x0: w, y0: h, id: len(out) + 1}
		label[start] = int32(p.id)
		stack = append(stack[:0], int32(start))
		sx, sy := 0, 0
		for len(stack) > 0 {
			at := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			x, y := at%w, at/w
			p.x0, p.y0, p.x1, p.y1 = min(p.x0, x), min(p.y0, y), max(p.x1, x), max(p.y1, y)
			p.area++
			sx, sy = sx+x, sy+y
			for j := max(0, y-1); j <= min(h-1, y+1); j++ {
				for i := max(0, x-1); i <= min(w-1, x+1); i++ {
					if n := j*w + i; dark[n] && label[n] == 0 {
						label[n] = int32(p.id)
						stack = append(stack, int32(n))
					}
				}
			}
		}
		p.cx, p.cy = float64(sx)/float64(p.area)+0.5, float64(sy)/float64(p.area)+0.5
		out = append(out, p)
	}
	return out, label
}

// outline is how much a piece encloses, its holes included, and how far it goes from its middle.
func outline(p piece, label []int32, w int) (filled int, reach float64) {
	for y := p.y0; y <= p.y1; y++ {
		first, last := -1, -1
		for x := p.x0; x <= p.x1; x++ {
			if int(label[y*w+x]) == p.id {
				if first < 0 {
					first = x
				}
				last = x
			}
		}
		if first < 0 {
			continue
		}
		filled += last - first + 1
		for _, x := range []int{first, last} {
			reach = max(reach, math.Hypot(float64(x)+0.5-p.cx, float64(y)+0.5-p.cy)+0.5)
		}
	}
	return filled, reach
}
