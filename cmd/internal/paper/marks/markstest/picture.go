package markstest

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"testing"
)

// Run runs a program that is no part of this one; without it there is nothing to say, so the test fails.
func Run(t testing.TB, in []byte, debian, name string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is not installed: these tests need the Debian package %s", name, debian)
	}
	cmd := exec.Command(path, args...)
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1", "MAGICK_THREAD_LIMIT=1")
	cmd.Stdin = bytes.NewReader(in)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, stderr.Bytes())
	}
	return out
}

// Convert runs ImageMagick, which Debian calls otherwise in each release.
func Convert(t testing.TB, in []byte, args ...string) []byte {
	t.Helper()
	for _, name := range []string{"magick", "convert-im6.q16"} {
		if _, err := exec.LookPath(name); err == nil {
			return Run(t, in, "imagemagick", name, args...)
		}
	}
	return Run(t, in, "imagemagick", "convert", args...)
}

// Render returns the pages of a PDF in grey.
func Render(t testing.TB, pdf []byte, dpi int) []*image.Gray {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "print.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	Run(t, nil, "poppler-utils", "pdftoppm", "-r", strconv.Itoa(dpi), "-gray", path, filepath.Join(dir, "page"))
	names, err := filepath.Glob(filepath.Join(dir, "page*.pgm"))
	if err != nil || len(names) == 0 {
		t.Fatalf("pdftoppm drew no pages (%v)", err)
	}
	sort.Strings(names)
	var out []*image.Gray
	for _, n := range names {
		raw, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, ReadPGM(t, raw))
	}
	return out
}

// ReadPGM reads a grey picture as programs hand it on.
func ReadPGM(t testing.TB, raw []byte) *image.Gray {
	t.Helper()
	var w, h, top int
	if _, err := fmt.Sscanf(string(raw[:min(len(raw), 40)]), "P5\n%d %d\n%d\n", &w, &h, &top); err != nil || top != 255 || len(raw) < w*h {
		t.Fatalf("not a grey picture: %v", err)
	}
	g := image.NewGray(image.Rect(0, 0, w, h))
	copy(g.Pix, raw[len(raw)-w*h:])
	return g
}

// PGM writes a grey picture.
func PGM(g *image.Gray) []byte {
	b := fmt.Appendf(nil, "P5\n%d %d\n255\n", g.Rect.Dx(), g.Rect.Dy())
	for y := range g.Rect.Dy() {
		b = append(b, g.Pix[y*g.Stride:y*g.Stride+g.Rect.Dx()]...)
	}
	return b
}

// Over draws what was written over a page, as ink on paper: where both are, both darken.
func Over(t testing.TB, page *image.Gray, svg string) *image.Gray {
	t.Helper()
	raw := Run(t, []byte(svg), "librsvg2-bin", "rsvg-convert", "-w", strconv.Itoa(page.Rect.Dx()), "-h", strconv.Itoa(page.Rect.Dy()),
		"--background-color", "white")
	ink, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	red := func(x, y int) uint32 {
		r, _, _, _ := ink.At(x, y).RGBA()
		return r >> 8
	}
	if m, ok := ink.(*image.RGBA); ok { // what librsvg writes; asking for each colour takes ten times as long
		red = func(x, y int) uint32 { return uint32(m.Pix[y*m.Stride+4*x]) }
	}
	out := image.NewGray(page.Rect)
	for y := range page.Rect.Dy() {
		for x := range page.Rect.Dx() {
			out.Pix[y*out.Stride+x] = uint8(uint32(page.Pix[y*page.Stride+x]) * red(x, y) / 255)
		}
	}
	return out
}

// Degraded is what one way of taking a picture makes of a page, which comes with 300 dpi.
func Degraded(t testing.TB, page *image.Gray, way Way, seed int) image.Image {
	t.Helper()
	if way.args == nil {
		return page
	}
	args := append([]string{"pgm:-"}, way.args(page.Rect.Dx(), page.Rect.Dy(), seed)...)
	if way.JPEG == 0 {
		return ReadPGM(t, Convert(t, PGM(page), append(args, "-colorspace", "Gray", "-depth", "8", "pgm:-")...))
	}
	raw := Convert(t, PGM(page), append(args, "-quality", strconv.Itoa(way.JPEG), "jpeg:-")...)
	m, err := jpeg.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m
}
