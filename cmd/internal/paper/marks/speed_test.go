package marks

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"runtime"
	"strconv"
	"syscall"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/cmd/internal/paper/pictures"
)

// BenchmarkPage reads a page as it comes in: a file of one A4 page in each format and resolution that copiers and
// scanners make, and a phone's twelve megapixels. On one core; what is told is the CPU time of a page, since clocks of a
// machine with other work say nothing.
func BenchmarkPage(b *testing.B) {
	s := sheet(b, 60, nil)
	drawn, g := printed(b, s, paper.A4)
	full := markstest.Over(b, drawn[0], markstest.SVG(g, 1, written(g, 1, 900), 900))
	for _, dpi := range []int{150, 200, 300} {
		m := full
		if dpi != 300 {
			m = changed(b, full, "-resize", fmt.Sprintf("%.3f%%", float64(dpi)/3))
		}
		for _, format := range []struct {
			name string
			file func() []byte
		}{
			{"JPEG", func() []byte { return encoded(b, m, "-quality", "80", "jpeg:-") }},
			{"PNG", func() []byte { return encoded(b, m, "png:-") }},
			{"TIFF, LZW", func() []byte { return encoded(b, m, "-compress", "LZW", "tiff:-") }},
			{"TIFF, fax G4", func() []byte { return encoded(b, m, "-threshold", "58%", "-compress", "Group4", "tiff:-") }},
			{"PDF of JPEG", func() []byte { return inPDF(b, "JPG", encoded(b, m, "-quality", "80", "jpeg:-")) }},
			{"PDF, Flate", func() []byte { return inPDF(b, "PNG", encoded(b, m, "png:-")) }},
		} {
			file := format.file()
			b.Run(strconv.Itoa(dpi)+" dpi "+format.name, func(b *testing.B) { readFile(b, file, s) })
		}
	}
	phone := encoded(b, grey(markstest.Degraded(b, full, markstest.TwelveMegapixels(), 900)), "-quality", "85", "jpeg:-")
	b.Run("phone, 12 megapixels JPEG", func(b *testing.B) { readFile(b, phone, s) })
}

func readFile(b *testing.B, file []byte, s *paper.Sheet) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	before := spent(b)
	for b.Loop() {
		for page, err := range pictures.Pages(file, pictures.Usual()) {
			if err != nil {
				b.Fatal(err)
			}
			if _, err := Read(page, of(s)); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64((spent(b)-before).Milliseconds())/float64(b.N), "cpu-ms/page")
}

// spent is the CPU time of this process.
func spent(b *testing.B) time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

func encoded(b *testing.B, m *image.Gray, args ...string) []byte {
	return markstest.Convert(b, markstest.PGM(m), append([]string{"pgm:-"}, args...)...)
}

// inPDF is a PDF with nothing but a picture on its page, as copiers make it.
func inPDF(b *testing.B, kind string, picture []byte) []byte {
	f := fpdf.New("P", "mm", "A4", "")
	f.AddPage()
	f.RegisterImageOptionsReader("scan", fpdf.ImageOptions{ImageType: kind}, bytes.NewReader(picture))
	f.ImageOptions("scan", 0, 0, 210, 297, false, fpdf.ImageOptions{ImageType: kind}, 0, "")
	var out bytes.Buffer
	if err := f.Output(&out); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

func grey(m image.Image) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, m.Bounds().Dx(), m.Bounds().Dy()))
	draw.Draw(out, out.Rect, m, m.Bounds().Min, draw.Src)
	return out
}
