package pictures

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"runtime/debug"

	"golang.org/x/image/draw"
)

// PhotographSide is the longest side of a photograph as it is kept, in pixels: an instrument is told by it on a screen, and it
// has some 100 kB.
const PhotographSide = 1024

// Photograph makes a JPEG or PNG anew, upright and no larger than PhotographSide. Only its pixels are taken over: what a camera
// writes beside them, such as where it was and when, is gone.
func Photograph(file []byte, l Limits) (made []byte, err error) {
	defer func() {
		if r := recover(); r != nil { // as in one: the decoders meet bytes from outside
			made, err = nil, damaged("", fmt.Errorf("%v\n%s", r, debug.Stack()))
		}
	}()
	switch {
	case len(file) == 0:
		return nil, &Error{Cause: Empty}
	case len(file) > l.Bytes:
		return nil, &Error{Cause: TooManyBytes, Limit: int64(l.Bytes)}
	}
	m, orientation, err := coloured(file, l)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	const quality = 82
	if err := jpeg.Encode(&out, upright(small(m), orientation), &jpeg.Options{Quality: quality}); err != nil {
		return nil, damaged("", err)
	}
	return out.Bytes(), nil
}

// coloured reads a picture, and how the camera was held.
func coloured(file []byte, l Limits) (m image.Image, orientation int, err error) {
	config, decode, orientation := jpeg.DecodeConfig, jpeg.Decode, 1
	f := formatOf(file)
	switch f {
	case "JPEG":
		orientation = orientationOf(file)
	case "PNG":
		config, decode = png.DecodeConfig, png.Decode
	default:
		return nil, 0, &Error{Cause: NotKnown, Format: f}
	}
	c, err := config(bytes.NewReader(file))
	if err != nil {
		return nil, 0, damaged(f, err)
	}
	if err := l.fits(c.Width, c.Height); err != nil {
		return nil, 0, err
	}
	if m, err = decode(bytes.NewReader(file)); err != nil {
		return nil, 0, damaged(f, err)
	}
	return m, orientation, nil
}

// small draws a picture on white, with its longest side at most PhotographSide.
func small(m image.Image) *image.RGBA {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	if side := max(w, h); side > PhotographSide {
		w, h = max(1, w*PhotographSide/side), max(1, h*PhotographSide/side)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.CatmullRom.Scale(out, out.Bounds(), m, m.Bounds(), draw.Over, nil)
	return out
}

// upright turns a picture as its Exif orientation says (Exif 2.32, tag 0x0112: where the picture's row 0 and column 0 are).
func upright(m *image.RGBA, orientation int) *image.RGBA {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	from := map[int]func(x, y int) (int, int){
		2: func(x, y int) (int, int) { return w - 1 - x, y },
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
		4: func(x, y int) (int, int) { return x, h - 1 - y },
		5: func(x, y int) (int, int) { return y, x },
		6: func(x, y int) (int, int) { return y, h - 1 - x },
		7: func(x, y int) (int, int) { return w - 1 - y, h - 1 - x },
		8: func(x, y int) (int, int) { return w - 1 - y, x },
	}[orientation]
	if from == nil {
		return m
	}
	size := image.Rect(0, 0, w, h)
	const turnedOnItsSide = 5
	if orientation >= turnedOnItsSide {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range size.Dy() {
		for x := range size.Dx() {
			out.SetRGBA(x, y, m.RGBAAt(from(x, y)))
		}
	}
	return out
}
