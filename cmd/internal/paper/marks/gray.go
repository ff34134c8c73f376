package marks

import (
	"image"
	"image/color"
	"slices"
)

// gray is a picture's brightness, a byte a pixel.
type gray struct {
	pix  []uint8
	w, h int
}

// brightness takes the brightness out of a picture, averaged over squares of n pixels.
func brightness(m image.Image, n int) *gray {
	b := m.Bounds()
	out := &gray{w: b.Dx() / n, h: b.Dy() / n}
	out.pix = make([]uint8, out.w*out.h)
	if n == 1 {
		for y := range out.h {
			luma(m, b.Min.Y+y, out.pix[y*out.w:][:out.w])
		}
		return out
	}
	row := make([]uint8, b.Dx())
	sums := make([]uint32, out.w)
	for y := range out.h {
		clear(sums)
		for k := range n {
			luma(m, b.Min.Y+y*n+k, row)
			for x := range out.w {
				for _, v := range row[x*n : (x+1)*n] {
					sums[x] += uint32(v)
				}
			}
		}
		for x, s := range sums {
			out.pix[y*out.w+x] = uint8(s / uint32(n*n))
		}
	}
	return out
}

// luma writes a row's brightness. The kinds of picture that files have are read without asking for each pixel's colour.
func luma(m image.Image, y int, row []uint8) {
	b := m.Bounds()
	switch m := m.(type) {
	case *image.Gray:
		i := m.PixOffset(b.Min.X, y)
		copy(row, m.Pix[i:i+len(row)])
	case *image.YCbCr:
		i := m.YOffset(b.Min.X, y)
		copy(row, m.Y[i:i+len(row)])
	case *image.RGBA:
		weigh(m.Pix[m.PixOffset(b.Min.X, y):], row)
	case *image.NRGBA:
		weigh(m.Pix[m.PixOffset(b.Min.X, y):], row)
	default:
		for x := range row {
			row[x] = color.GrayModel.Convert(m.At(b.Min.X+x, y)).(color.Gray).Y
		}
	}
}

// weigh is luma of pixels of four bytes (weights of ITU-R BT.601).
func weigh(pix []uint8, row []uint8) {
	for x := range row {
		p := pix[4*x : 4*x+3 : 4*x+3]
		row[x] = uint8((299*uint32(p[0]) + 587*uint32(p[1]) + 114*uint32(p[2]) + 500) / 1000)
	}
}

// shrunk is averaged over squares of n pixels.
func (g *gray) shrunk(n int) *gray {
	if n <= 1 {
		return g
	}
	return brightness(&image.Gray{Pix: g.pix, Stride: g.w, Rect: image.Rect(0, 0, g.w, g.h)}, n)
}

// at is the brightness between pixels; x and y count from the corner of the first one. Outside it is ok false.
func (g *gray) at(x, y float64) (v float64, ok bool) {
	x, y = x-0.5, y-0.5
	if !(x > -0.5 && y > -0.5 && x < float64(g.w)-0.5 && y < float64(g.h)-0.5) {
		return 255, false
	}
	x, y = max(x, 0), max(y, 0)
	i, j := min(int(x), g.w-2), min(int(y), g.h-2)
	if i < 0 || j < 0 {
		return 255, false
	}
	fx, fy := x-float64(i), y-float64(j)
	p := g.pix[j*g.w+i:]
	top := float64(p[0])*(1-fx) + float64(p[1])*fx
	p = p[g.w:]
	return top*(1-fy) + (float64(p[0])*(1-fx)+float64(p[1])*fx)*fy, true
}

// darkSpots are the pixels darker than so much of their surroundings' mean.
func (g *gray) darkSpots(share float64, around int) []bool {
	sums := make([]uint32, (g.w+1)*(g.h+1))
	for y := range g.h {
		line := uint32(0)
		above, here := sums[y*(g.w+1)+1:][:g.w], sums[(y+1)*(g.w+1)+1:][:g.w]
		for x, v := range g.pix[y*g.w:][:g.w] {
			line += uint32(v)
			here[x] = above[x] + line
		}
	}
	out := make([]bool, g.w*g.h)
	for y := range g.h {
		y0, y1 := max(0, y-around), min(g.h, y+around+1)
		above, below := sums[y0*(g.w+1):][:g.w+1], sums[y1*(g.w+1):][:g.w+1]
		dark := out[y*g.w:][:g.w]
		for x, v := range g.pix[y*g.w:][:g.w] {
			x0, x1 := max(0, x-around), min(g.w, x+around+1)
			s := below[x1] - above[x1] - below[x0] + above[x0]
			dark[x] = float64(v)*float64((y1-y0)*(x1-x0)) < share*float64(s)
		}
	}
	return out
}

// without is a copy in which round rings are painted over: a detector of symbols takes them for finders, whose
// widths have the same proportions.
func (g *gray) without(found []ring) *gray {
	out := &gray{pix: slices.Clone(g.pix), w: g.w, h: g.h}
	for _, r := range found {
		if !r.round {
			continue
		}
		d := r.diameter * 0.6
		for y := max(0, int(r.y-d)); y < min(g.h, int(r.y+d)+1); y++ {
			for x := max(0, int(r.x-d)); x < min(g.w, int(r.x+d)+1); x++ {
				out.pix[y*g.w+x] = 255
			}
		}
	}
	return out
}
