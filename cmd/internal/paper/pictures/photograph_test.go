package pictures

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// TestPhotograph: a photograph is made anew from its pixels: upright, small, and with nothing that stood beside them.
func TestPhotograph(t *testing.T) {
	upright := map[uint16]string{1: "48x32 KWWG", 3: "48x32 GWWK", 6: "32x48 WKGW", 8: "32x48 WGKW", 2: "48x32 WKGW", 4: "48x32 WGKW",
		5: "32x48 KWWG", 7: "32x48 GWWK"}
	for n, want := range upright {
		raw := exif(file(t, "a.jpg"), binary.BigEndian, n)
		raw = append(append(bytes.Clone(raw[:2]), "\xff\xfe\x00\x11GPS 48.137 N...."[:19]...), raw[2:]...) // a comment
		made, err := Photograph(raw, Usual())
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(made, []byte("Exif")) || bytes.Contains(made, []byte("GPS")) {
			t.Error("what stood beside the pixels is still there")
		}
		if got := said(grey(decoded(t, made)), nil); got != want {
			t.Errorf("orientation %d: %s, want %s", n, got, want)
		}
	}
	// A PNG with 3000 x 20 pixels, clear but for a red corner.
	large := image.NewNRGBA(image.Rect(0, 0, 3000, 20))
	for x := range 1000 {
		for y := range 20 {
			large.SetNRGBA(x, y, color.NRGBA{R: 255, A: 255})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, large); err != nil {
		t.Fatal(err)
	}
	made, err := Photograph(b.Bytes(), Usual())
	if err != nil {
		t.Fatal(err)
	}
	m := decoded(t, made)
	if m.Bounds().Dx() != PhotographSide || m.Bounds().Dy() != 6 {
		t.Errorf("%v", m.Bounds())
	}
	for x, want := range map[int]color.RGBA{100: {R: 255, A: 255}, 900: {255, 255, 255, 255}} {
		r, g, _, _ := m.At(x, 3).RGBA()
		if r>>8 < 240 || (g>>8 > 200) != (want.G > 0) {
			t.Errorf("at %d stands %v", x, m.At(x, 3))
		}
	}
}

func decoded(t *testing.T, raw []byte) image.Image {
	t.Helper()
	m, err := jpeg.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestPhotographRefused(t *testing.T) {
	few := Usual()
	few.Pixels = 48*32 - 1
	for _, test := range []struct {
		raw    []byte
		limits Limits
		want   Cause
	}{
		{nil, Usual(), Empty}, {file(t, "a.jpg"), Limits{Bytes: 9}, TooManyBytes}, {file(t, "a.jpg"), few, TooManyPixels},
		{file(t, "a.png"), few, TooManyPixels}, {file(t, "lzw.tif"), Usual(), NotKnown}, {file(t, "a.png")[:99], Usual(), Damaged},
		{[]byte("<svg onload=alert(1)>"), Usual(), NotKnown},
	} {
		_, err := Photograph(test.raw, test.limits)
		if e, ok := errors.AsType[*Error](err); !ok || e.Cause != test.want {
			t.Errorf("%.9q: %v, want %s", test.raw, err, test.want)
		}
	}
}
