package pictures

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func file(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// read returns what each page comes to: its size and what its corners are, or the cause.
func read(b []byte, l Limits) []string {
	var out []string
	for m, err := range Pages(b, l) {
		out = append(out, said(m, err))
	}
	return out
}

func said(m *image.Gray, err error) string {
	if err != nil {
		e, ok := errors.AsType[*Error](err)
		if !ok {
			return "no *Error: " + err.Error()
		}
		return strings.TrimSpace(string(e.Cause) + " " + e.Format)
	}
	w, h := m.Rect.Dx(), m.Rect.Dy()
	shade := func(x, y int) string {
		switch v := m.GrayAt(x, y).Y; {
		case v < 60:
			return "K"
		case v < 200:
			return "G"
		}
		return "W"
	}
	// In from the corners, where the blocks are, by row from the upper left.
	return fmt.Sprintf("%dx%d %s%s%s%s", w, h, shade(5, 5), shade(w-6, 5), shade(5, h-6), shade(w-6, h-6))
}

func TestFormats(t *testing.T) {
	for name, want := range map[string]string{
		"a.png": "48x32 KWWG", "a.jpg": "48x32 KWWG", "cmyk.jpg": "48x32 KWWG",
		"g4.tif":  "48x32 KWWK 32x48 KWWK", // its grey was made black
		"fax.tif": "coding CCITT group 3 in TIFF coding CCITT group 3 in TIFF",
		"lzw.tif": "48x32 KWWG 32x48 KWWG", "zip.tif": "48x32 KWWG 32x48 KWWG",
		"jpeg.tif": "coding JPEG in TIFF coding JPEG in TIFF",
		"a.jp2":    "format JPEG 2000", "a.webp": "format WebP", "a.gif": "format GIF", "a.bmp": "format BMP",
	} {
		if got := strings.Join(read(file(t, name), Usual()), " "); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}

func TestRefusedByName(t *testing.T) {
	for what, want := range map[string]string{
		"": "empty", "Tuesday": "format", "\x00\x00\x00\x18ftypheic\x00": "format HEIC", "\x00\x00\x00\x18ftypmif1": "format HEIC",
		"\x00\x00\x00\x18ftypavif": "format AVIF", "\x97JB2\r\n\x1a\n": "format JBIG2", "II+\x00": "format BigTIFF",
		"\xff\xd8": "damaged JPEG", "\x89PNG\r\n\x1a\n": "damaged PNG", "II*\x00": "damaged TIFF", "%PDF-1.7\n": "damaged PDF",
	} {
		if got := strings.Join(read([]byte(what), Usual()), " "); got != want {
			t.Errorf("%q: %s, want %s", what, got, want)
		}
	}
}

// exif puts an orientation into a JPEG, in a segment as cameras write it.
func exif(b []byte, order binary.ByteOrder, orientation uint16) []byte {
	head := "II*\x00"
	if order == binary.BigEndian {
		head = "MM\x00*"
	}
	d := []byte("Exif\x00\x00" + head)
	for _, v := range []any{uint32(8), uint16(1), uint16(0x0112), uint16(3), uint32(1), orientation, uint16(0), uint32(0)} {
		d, _ = binary.Append(d, order, v)
	}
	seg := append([]byte{0xff, 0xe1, 0, byte(len(d) + 2)}, d...)
	return append(append(bytes.Clone(b[:2]), seg...), b[2:]...)
}

// What each orientation means is the table of Exif 2.3 (JEITA CP-3451C): which edge the stored first
// row and first column are.
func TestTurnedAsTheCameraWasHeld(t *testing.T) {
	want := map[uint16]string{
		0: "48x32 KWWG", 1: "48x32 KWWG", 9: "48x32 KWWG",
		2: "48x32 WKGW", // row 0 top, column 0 right
		3: "48x32 GWWK", // bottom, right
		4: "48x32 WGKW", // bottom, left
		5: "32x48 KWWG", // left, top
		6: "32x48 WKGW", // right, top
		7: "32x48 GWWK", // right, bottom
		8: "32x48 WGKW", // left, bottom
	}
	for n, w := range want {
		for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
			if got := strings.Join(read(exif(file(t, "a.jpg"), order, n), Usual()), " "); got != w {
				t.Errorf("orientation %d: %s, want %s", n, got, w)
			}
		}
	}
}

func TestLimits(t *testing.T) {
	l := Usual()
	l.Pages = 1
	if got := strings.Join(read(file(t, "lzw.tif"), l), ", "); got != "48x32 KWWG, pages" {
		t.Errorf("one page of two: %s", got)
	}
	l = Usual()
	l.Pixels = 48*32 - 1
	for _, name := range []string{"a.png", "a.jpg"} {
		if got := strings.Join(read(file(t, name), l), ", "); got != "pixels" {
			t.Errorf("%s with a pixel too many: %s", name, got)
		}
	}
	l = Usual()
	l.Bytes = len(file(t, "a.png")) - 1
	if got := strings.Join(read(file(t, "a.png"), l), ", "); got != "bytes" {
		t.Errorf("a byte too many: %s", got)
	}
}

// A picture that says it is of 2^31 x 2^31 pixels is refused before memory is asked for.
func TestClaimedSizes(t *testing.T) {
	png := bytes.Clone(file(t, "a.png"))
	binary.BigEndian.PutUint32(png[16:], 1<<31-1)
	binary.BigEndian.PutUint32(png[20:], 1<<31-1)
	binary.BigEndian.PutUint32(png[29:], crc32.ChecksumIEEE(png[12:29]))
	if got := strings.Join(read(png, Usual()), ", "); got != "damaged PNG" && got != "pixels" {
		t.Errorf("a PNG of 2^62 pixels: %s", got)
	}
	for what, s := range map[string]string{
		"Flate": stream("/Width 60000 /Height 60000 /ColorSpace /DeviceGray /BitsPerComponent 8 /Filter /FlateDecode",
			deflated(make([]byte, 1<<20))),
		"fax": stream("/Width 60000 /Height 60000 /Filter /CCITTFaxDecode /DecodeParms << /K -1 /Columns 60000 >>", []byte{0, 0}),
	} {
		if got := strings.Join(read(pdfOf(s), Usual()), ", "); got != "pixels" {
			t.Errorf("%s: %s", what, got)
		}
	}
	// 200 MB of zeros for a picture of 4 pixels.
	bomb := stream("/Width 2 /Height 2 /ColorSpace /DeviceGray /BitsPerComponent 8 /Filter /FlateDecode", deflated(make([]byte, 200<<20)))
	if got := strings.Join(read(pdfOf(bomb), Usual()), ", "); got != "damaged PDF" {
		t.Errorf("a stream of 200 MB for 4 pixels: %s", got)
	}
}

func TestRoundInACircle(t *testing.T) {
	b := bytes.Clone(file(t, "lzw.tif"))
	order := byteOrder(b)
	_, second, err := directory(b, order, order.Uint32(b[4:]))
	if err != nil {
		t.Fatal(err)
	}
	n := order.Uint16(b[second:])
	order.PutUint32(b[second+2+uint32(n)*tiffEntry:], order.Uint32(b[4:]))
	if got := strings.Join(read(b, Usual()), ", "); got != "48x32 KWWG, 32x48 KWWG, damaged TIFF" {
		t.Errorf("pages in a circle: %s", got)
	}
}

// What is larger than it is worth is averaged, so that a page of 600 dpi takes no longer than one of 300.
func TestShrunk(t *testing.T) {
	m := image.NewGray(image.Rect(0, 0, longest+2, 3))
	for i := range m.Pix {
		m.Pix[i] = byte(i%m.Stride%2) * 200
	}
	got := shrunk(m)
	if got.Rect.Dx() != longest/2+1 || got.Rect.Dy() != 1 || got.Pix[0] != 100 {
		t.Errorf("%v, first %d; want half the width, one row of 100", got.Rect, got.Pix[0])
	}
	small := image.NewGray(image.Rect(0, 0, longest, 3))
	if shrunk(small) != small {
		t.Error("a picture that is no larger than it is worth was changed")
	}
}

func FuzzPages(f *testing.F) {
	for _, name := range []string{"a.png", "a.jpg", "cmyk.jpg", "g4.tif", "lzw.tif", "zip.tif", "jpeg.tif", "fax.tif"} {
		f.Add(file(f, name))
	}
	for _, p := range pdfs(f) {
		f.Add(p.file)
	}
	f.Add(exif(file(f, "a.jpg"), binary.BigEndian, 6))
	l := Limits{Bytes: 1 << 20, Pages: 4, Pixels: 1 << 16}
	f.Fuzz(func(t *testing.T, b []byte) {
		n := 0
		for m, err := range Pages(b, l) {
			if n++; n > l.Pages+1 {
				t.Fatalf("%d pages, with %d allowed", n, l.Pages)
			}
			var e *Error
			switch {
			case err != nil && !errors.As(err, &e):
				t.Fatalf("%v is no *Error", err)
			case err == nil && int64(m.Rect.Dx())*int64(m.Rect.Dy()) > l.Pixels:
				t.Fatalf("%v is larger than allowed", m.Rect)
			}
		}
	})
}
