package pictures

import (
	"bytes"
	"compress/zlib"
	"encoding/ascii85"
	"encoding/hex"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	_ "image/png"
)

// stream is a picture as a PDF has it.
func stream(dict string, data []byte) string {
	return fmt.Sprintf("<< /Type /XObject /Subtype /Image %s /Length %d >>\nstream\n%s\nendstream", dict, len(data), data)
}

func deflated(b []byte) []byte {
	var out bytes.Buffer
	w := zlib.NewWriter(&out)
	w.Write(b)
	w.Close()
	return out.Bytes()
}

// pdfOf writes a PDF with each picture on a page of its own, one point a pixel of 48 x 32. The pages
// share their resources, as some writers do.
func pdfOf(pictures ...string) []byte {
	var pages []string
	for i := range pictures {
		pages = append(pages, fmt.Sprintf("q 48 0 0 32 0 0 cm /P%d Do Q", i))
	}
	return pdfDrawing(pages, pictures...)
}

// pdfDrawing writes a PDF whose pages have the given contents; /P0, /P1 … are the objects.
func pdfDrawing(contents []string, objects ...string) []byte {
	const first = 4
	var names, kids []string
	for i := range objects {
		names = append(names, fmt.Sprintf("/P%d %d 0 R", i, first+i))
	}
	all := []string{"<< /Type /Catalog /Pages 2 0 R >>", "", "<< /XObject << " + strings.Join(names, " ") + " >> >>"}
	all = append(all, objects...)
	for _, c := range contents {
		kids = append(kids, fmt.Sprintf("%d 0 R", len(all)+1))
		all = append(all,
			fmt.Sprintf("<< /Type /Page /Parent 2 0 R /MediaBox [0 0 48 32] /Resources 3 0 R /Contents %d 0 R >>", len(all)+2),
			fmt.Sprintf("<< /Length %d >>\nstream\n%s\nendstream", len(c), c))
	}
	all[1] = fmt.Sprintf("<< /Type /Pages /Count %d /Kids [%s] >>", len(kids), strings.Join(kids, " "))
	var out bytes.Buffer
	out.WriteString("%PDF-1.5\n")
	var at []int
	for i, o := range all {
		at = append(at, out.Len())
		fmt.Fprintf(&out, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	start := out.Len()
	fmt.Fprintf(&out, "xref\n0 %d\n0000000000 65535 f \n", len(all)+1)
	for _, a := range at {
		fmt.Fprintf(&out, "%010d 00000 n \n", a)
	}
	fmt.Fprintf(&out, "trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n", len(all)+1, start)
	return out.Bytes()
}

// faxed is the data of the one strip of g4.tif's first page: written by libtiff.
func faxed(t testing.TB) []byte {
	b := file(t, "g4.tif")
	order := byteOrder(b)
	at := order.Uint32(b[4:])
	var from, n uint32
	for e := at + 2; e < at+2+uint32(order.Uint16(b[at:]))*tiffEntry; e += tiffEntry {
		value := order.Uint32(b[e+8:])
		if order.Uint16(b[e+2:]) == 3 {
			value = uint32(order.Uint16(b[e+8:]))
		}
		switch order.Uint16(b[e:]) {
		case 273:
			from = value
		case 279:
			n = value
		}
	}
	return b[from:][:n]
}

// samples are the grey values of a.png.
func samples(t testing.TB) []byte {
	m, _, err := image.Decode(bytes.NewReader(file(t, "a.png")))
	if err != nil {
		t.Fatal(err)
	}
	return grey(m).Pix
}

type pdfCase struct {
	name, want string
	file       []byte
}

// pdfs are PDFs as scanners and copiers make them, and what is refused.
func pdfs(t testing.TB) []pdfCase {
	const size = "/Width 48 /Height 32 "
	const fax = size + "/ColorSpace /DeviceGray /BitsPerComponent 1 /Filter /CCITTFaxDecode "
	const flate = size + "/BitsPerComponent 8 /Filter /FlateDecode "
	jpg, px, g4 := file(t, "a.jpg"), samples(t), faxed(t)
	var a85 bytes.Buffer
	w := ascii85.NewEncoder(&a85)
	w.Write(jpg)
	w.Close()
	a85.WriteString("~>")
	var rgb, cmyk, bits, index, up []byte
	for i, v := range px {
		rgb, cmyk = append(rgb, v, v, v), append(cmyk, 0, 0, 0, 255-v)
		if i%8 == 0 {
			bits = append(bits, 0)
		}
		if v > 60 {
			bits[len(bits)-1] |= 0x80 >> (i % 8)
		}
		index = append(index, map[bool]byte{true: 1, false: 0}[v < 200]+map[bool]byte{true: 1, false: 0}[v < 60])
		if i%48 == 0 {
			up = append(up, 2) // PNG's predictor "up"
		}
		if i >= 48 {
			v -= px[i-48]
		}
		up = append(up, v)
	}
	one := func(s string) []byte { return pdfOf(s) }
	jpeg := stream(size+"/ColorSpace /DeviceGray /BitsPerComponent 8 /Filter /DCTDecode", jpg)
	gray := stream(flate+"/ColorSpace /DeviceGray", deflated(px))
	logo := stream("/Width 4 /Height 4 /ColorSpace /DeviceGray /BitsPerComponent 8", make([]byte, 16))
	form := "<< /Type /XObject /Subtype /Form /BBox [0 0 48 32] /Resources 3 0 R /Length 27 >>\n" +
		"stream\nq 48 0 0 32 0 0 cm /P0 Do Q\nendstream"
	self := "<< /Type /XObject /Subtype /Form /BBox [0 0 48 32] /Resources 3 0 R /Length 6 >>\nstream\n/P0 Do\nendstream"
	return []pdfCase{
		{"a JPEG as it is", "48x32 KWWG", one(jpeg)},
		{"a JPEG in ASCII85", "48x32 KWWG",
			one(stream(size+"/ColorSpace /DeviceGray /BitsPerComponent 8 /Filter [/ASCII85Decode /DCTDecode]", a85.Bytes()))},
		{"two pages that share resources", "48x32 KWWG 48x32 KWWG", pdfOf(jpeg, gray)},
		{"Flate", "48x32 KWWG", one(gray)},
		{"Flate with a predictor", "48x32 KWWG",
			one(stream(flate+"/ColorSpace /DeviceGray /DecodeParms << /Predictor 15 /Columns 48 >>", deflated(up)))},
		{"RGB", "48x32 KWWG", one(stream(flate+"/ColorSpace /DeviceRGB", deflated(rgb)))},
		{"CMYK", "48x32 KWWG", one(stream(flate+"/ColorSpace /DeviceCMYK", deflated(cmyk)))},
		{"a palette", "48x32 KWWG", one(stream(flate+"/ColorSpace [/Indexed /DeviceRGB 2 <ffffff808080000000>]", deflated(index)))},
		{"one bit", "48x32 KWWW", one(stream(size+"/BitsPerComponent 1 /ColorSpace /DeviceGray", bits))},
		{"one bit, turned round", "48x32 WKKK", one(stream(size+"/BitsPerComponent 1 /ColorSpace /DeviceGray /Decode [1 0]", bits))},
		{"group 4", "48x32 KWWK", one(stream(fax+"/DecodeParms << /K -1 /Columns 48 /Rows 32 /BlackIs1 false >>", g4))},
		{"group 4, black is 1", "48x32 WKKW", one(stream(fax+"/DecodeParms << /K -1 /Columns 48 /BlackIs1 true >>", g4))},
		{"group 4, black is 1, turned round", "48x32 KWWK",
			one(stream(fax+"/Decode [1 0] /DecodeParms << /K -1 /Columns 48 /BlackIs1 true >>", g4))},
		{"a maker's mark beside the page", "48x32 KWWG",
			pdfDrawing([]string{"q 48 0 0 32 0 0 cm /P0 Do Q q 1 0 0 1 0 0 cm /P1 Do Q"}, jpeg, logo)},
		{"in a form", "48x32 KWWG", pdfDrawing([]string{"/P1 Do"}, jpeg, form)},
		{"a form that draws itself", "nothing PDF", pdfDrawing([]string{"/P0 Do"}, self)},
		{"no picture", "nothing PDF", pdfDrawing([]string{"0 0 m 10 10 l S"}, jpeg)},
		{"strips", "in-pieces PDF", pdfDrawing([]string{"q 48 0 0 32 0 0 cm /P0 Do Q q 48 0 0 32 0 0 cm /P1 Do Q"}, jpeg, gray)},
		{"JBIG2", "coding JBIG2 in PDF", one(stream(size+"/Filter /JBIG2Decode", []byte{0}))},
		{"JPEG 2000", "coding JPEG 2000 in PDF", one(stream(size+"/Filter /JPXDecode", file(t, "a.jp2")))},
		{"group 3", "coding CCITT group 3 in PDF", one(stream(fax+"/DecodeParms << /K 4 /Columns 48 >>", g4))},
		{"16 bit", "coding 1 x 16 bit in PDF", one(stream(size+"/BitsPerComponent 16 /ColorSpace /DeviceGray", make([]byte, 48*32*2)))},
		{"a page that can't be read between two", "48x32 KWWG coding JBIG2 in PDF 48x32 KWWG",
			pdfOf(jpeg, stream(size+"/Filter /JBIG2Decode", []byte{0}), gray)},
	}
}

func TestPDF(t *testing.T) {
	for _, c := range pdfs(t) {
		if got := strings.Join(read(c.file, Usual()), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// Poppler draws these PDFs as they are read here: the test's own writer could be wrong in the same way.
func TestAsPopplerDrawsThem(t *testing.T) {
	dir := t.TempDir()
	for _, c := range pdfs(t) {
		if !strings.HasPrefix(c.want, "48x32 ") || strings.Contains(c.want, "JBIG2") {
			continue
		}
		in, out := filepath.Join(dir, "in.pdf"), filepath.Join(dir, "out")
		if err := os.WriteFile(in, c.file, 0o600); err != nil {
			t.Fatal(err)
		}
		if msg, err := exec.Command("pdftoppm", "-r", "72", "-f", "1", "-singlefile", "-png", in, out).CombinedOutput(); err != nil {
			t.Fatalf("%s: %v: %s", c.name, err, msg)
		}
		raw, err := os.ReadFile(out + ".png")
		if err != nil {
			t.Fatal(err)
		}
		if got, want := read(raw, Usual())[0], read(c.file, Usual())[0]; got != want {
			t.Errorf("%s: read as %s, drawn as %s", c.name, want, got)
		}
	}
}

func TestLocked(t *testing.T) {
	// The password's hashes are no password's.
	h := hex.EncodeToString(bytes.Repeat([]byte{0x5a}, 32))
	b := pdfOf(stream("/Width 1 /Height 1 /BitsPerComponent 8 /ColorSpace /DeviceGray", []byte{0}),
		"<< /Filter /Standard /V 1 /R 2 /P -4 /O <"+h+"> /U <"+h+"> >>")
	b = bytes.Replace(b, []byte("/Root 1 0 R"), []byte("/Root 1 0 R /ID [<"+h+"> <"+h+">] /Encrypt 5 0 R"), 1)
	if got := strings.Join(read(b, Usual()), " "); got != "locked PDF" {
		t.Errorf("a PDF with a password: %s", got)
	}
}
