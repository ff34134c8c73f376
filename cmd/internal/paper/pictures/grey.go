package pictures

import (
	"image"
	"image/color"
	"image/draw"
)

// grey returns the picture's luma on white: what is transparent shows the paper.
func grey(m image.Image) *image.Gray {
	b := m.Bounds()
	out := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	switch m := m.(type) {
	case *image.Gray:
		for y := range b.Dy() {
			copy(out.Pix[y*out.Stride:][:b.Dx()], m.Pix[y*m.Stride:][:b.Dx()])
		}
		return out
	case *image.YCbCr:
		for y := range b.Dy() {
			copy(out.Pix[y*out.Stride:][:b.Dx()], m.Y[m.YOffset(b.Min.X, b.Min.Y+y):][:b.Dx()])
		}
		return out
	case *image.Paletted:
		var luma [256]byte
		for i, c := range m.Palette {
			luma[i] = onWhite(c)
		}
		for y := range b.Dy() {
			for x, v := range m.Pix[y*m.Stride:][:b.Dx()] {
				out.Pix[y*out.Stride+x] = luma[v]
			}
		}
		return out
	}
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(out, out.Bounds(), m, b.Min, draw.Over)
	return out
}

func onWhite(c color.Color) byte {
	r, g, b, a := c.RGBA()
	rest := 0xffff - a
	return color.GrayModel.Convert(color.RGBA64{uint16(r + rest), uint16(g + rest), uint16(b + rest), 0xffff}).(color.Gray).Y
}

// longest is the longer side of a picture that is worth reading: A4 at 300 dpi has 3508
// pixels, a phone's picture of 12 megapixels 4032. Beyond it a mark gets no clearer, and
// reading takes its time.
const longest = 4400

// shrunk averages the squares of a picture that is larger than it is worth.
func shrunk(m *image.Gray) *image.Gray {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	n := (max(w, h) + longest - 1) / longest
	if n < 2 {
		return m
	}
	out := image.NewGray(image.Rect(0, 0, max(w/n, 1), max(h/n, 1)))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			sum, of := 0, 0
			for j := y * n; j < min(y*n+n, h); j++ {
				for _, v := range m.Pix[j*m.Stride+min(x*n, w-1) : j*m.Stride+min(x*n+n, w)] {
					sum += int(v)
					of++
				}
			}
			out.Pix[y*out.Stride+x] = byte((sum + of/2) / of)
		}
	}
	return out
}

// turned lays a picture as its camera was held: orientation is that of Exif (JEITA CP-3451,
// tag 0x0112), 1 to 8; from 5 on width and height change places.
func turned(m *image.Gray, orientation int) *image.Gray {
	if orientation < 2 || orientation > 8 {
		return m
	}
	w, h := m.Rect.Dx(), m.Rect.Dy()
	out := image.NewGray(image.Rect(0, 0, w, h))
	if orientation >= 5 {
		out = image.NewGray(image.Rect(0, 0, h, w))
	}
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			sx, sy := x, y
			if orientation >= 5 {
				sx, sy = y, x
			}
			switch orientation {
			case 2, 7, 8: // the stored columns run from right to left
				sx = w - 1 - sx
			case 3:
				sx, sy = w-1-sx, h-1-sy
			}
			switch orientation {
			case 4, 6, 7:
				sy = h - 1 - sy
			}
			out.Pix[y*out.Stride+x] = m.Pix[sy*m.Stride+sx]
		}
	}
	return out
}
