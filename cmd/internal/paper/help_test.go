package paper

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/texts"
	"listbound/events"
	"listbound/projections/words"
)

const trip = "019530a1-7c00-7abc-8def-0123456789ab"

var packedAt = time.Date(2026, 3, 2, 6, 11, 0, 0, time.UTC)

var instruments = []string{
	"Forceps, mosquito, curved, 12.5 cm", "Forceps, Kocher, straight, 1 x 2 teeth, 16 cm", "Scissors, dissecting, curved, blunt, 18 cm",
	"Needle holder, tungsten carbide inserts, 20 cm", "Retractor, self-retaining, with two pairs of blades and wing screws (4 parts)",
	"Towel clip, 11 cm", "Suction tube, ⌀ 6 mm", "Scalpel handle no. 4", "Dissecting forceps, atraumatic, 24 cm",
	"Wundhaken, scharf, vierzinkig, Größe ½", "Λαβίδα αιμοστατική, κυρτή, 18 cm",
	"Зажим кровоостанавливающий, изогнутый, 20 см",
}

// languages are what this program prints in.
var languages = func() *words.Catalogue {
	c, err := texts.Load()
	if err != nil {
		panic(err)
	}
	c.OnError(func(err error) { panic(err) })
	return c
}()

var (
	english = languages.In("en")
	german  = languages.In("de")
)

// sample returns a sheet of n lines whose code is bound to it.
func sample(t testing.TB, n int) Sheet {
	t.Helper()
	s := Sheet{
		Set: "LAP-014", Trip: trip, Title: "Laparotomy, major", List: "LAP-MAJOR", Version: 3,
		Placement: events.Outside, Packed: packedAt, Seals: []string{"483920", "483921"},
	}
	for i := range n {
		s.Lines = append(s.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("FCP-%03d", i+101),
			Description: instruments[i%len(instruments)], Quantity: int64(i%7 + 1)})
	}
	if n > 3 {
		s.Exceptions = []events.Exception{{Line: 4, Counted: 3, Reason: "missing"}}
	}
	return bind(t, s)
}

func bind(t testing.TB, s Sheet) Sheet {
	t.Helper()
	l := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines, Cycles: s.Cycles}
	d, err := l.Digest()
	if err != nil {
		t.Fatal(err)
	}
	b, err := events.Binding(d, s.Set, s.Trip)
	if err != nil {
		t.Fatal(err)
	}
	if s.Code, err = events.NewSheetCode(s.Trip, b); err != nil {
		t.Fatal(err)
	}
	return s
}

func sheetPDF(t *testing.T, s Sheet, size Size, lang *words.Language) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSheet(&b, s, size, lang); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// tool runs a program that is no part of this project. A print is judged by
// independent readers; without them there is nothing to say, so the test fails.
func tool(t *testing.T, debian, name string, args ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is not installed: these tests need the Debian package %s", name, debian)
	}
	cmd := exec.Command(path, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, stderr.Bytes())
	}
	return out
}

func toFile(t *testing.T, data []byte, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// render returns the pages of a PDF as grey images.
func render(t *testing.T, pdf []byte, dpi int) []*image.Gray {
	t.Helper()
	path := toFile(t, pdf, "print.pdf")
	root := filepath.Join(filepath.Dir(path), "page")
	tool(t, "poppler-utils", "pdftoppm", "-r", strconv.Itoa(dpi), "-gray", path, root)
	names, err := filepath.Glob(root + "*.pgm")
	if err != nil || len(names) == 0 {
		t.Fatalf("pdftoppm drew no pages (%v)", err)
	}
	var out []*image.Gray
	for _, n := range names {
		raw, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, readPGM(t, raw))
	}
	return out
}

// renderCairo returns the first page as another renderer draws it, which blends
// every edge into its surroundings on its own.
func renderCairo(t *testing.T, pdf []byte, dpi int) *image.Gray {
	t.Helper()
	raw := tool(t, "poppler-utils", "pdftocairo", "-r", strconv.Itoa(dpi), "-gray", "-png", "-singlefile", toFile(t, pdf, "print.pdf"), "-")
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	g := image.NewGray(img.Bounds())
	draw.Draw(g, g.Rect, img, img.Bounds().Min, draw.Src)
	return g
}

func readPGM(t *testing.T, raw []byte) *image.Gray {
	t.Helper()
	var w, h, top int
	if _, err := fmt.Sscanf(string(raw[:min(len(raw), 40)]), "P5\n%d %d\n%d\n", &w, &h, &top); err != nil || top != 255 {
		t.Fatalf("not a grey picture: %v", err)
	}
	g := image.NewGray(image.Rect(0, 0, w, h))
	copy(g.Pix, raw[len(raw)-w*h:])
	return g
}

func writePGM(g *image.Gray) []byte {
	b := fmt.Appendf(nil, "P5\n%d %d\n255\n", g.Rect.Dx(), g.Rect.Dy())
	return append(b, g.Pix...)
}

// decode reads the one symbol in a picture with zbarimg.
func decode(t *testing.T, g *image.Gray) string {
	t.Helper()
	path := toFile(t, writePGM(g), "page.pgm")
	out := tool(t, "zbar-tools", "zbarimg", "--nodbus", "--raw", path)
	return strings.TrimRight(string(out), "\n")
}

func text(t *testing.T, pdf []byte, args ...string) string {
	t.Helper()
	path := toFile(t, pdf, "print.pdf")
	return string(tool(t, "poppler-utils", "pdftotext", append(args, "-enc", "UTF-8", path, "-")...))
}

// photocopy turns a page by two degrees, takes 40 % of its contrast away and
// adds noise: what a tired copier leaves of it.
func photocopy(g *image.Gray) *image.Gray {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	out := image.NewGray(g.Rect)
	sin, cos := math.Sincos(2 * math.Pi / 180)
	noise := rand.New(rand.NewPCG(1, 2))
	at := func(x, y int) float64 {
		if x < 0 || y < 0 || x >= w || y >= h {
			return 255
		}
		return float64(g.Pix[y*g.Stride+x])
	}
	for y := range h {
		for x := range w {
			dx, dy := float64(x)-float64(w)/2, float64(y)-float64(h)/2
			sx, sy := cos*dx+sin*dy+float64(w)/2, -sin*dx+cos*dy+float64(h)/2
			fx, fy := math.Floor(sx), math.Floor(sy)
			ix, iy, ax, ay := int(fx), int(fy), sx-fx, sy-fy
			v := (at(ix, iy)*(1-ax)+at(ix+1, iy)*ax)*(1-ay) + (at(ix, iy+1)*(1-ax)+at(ix+1, iy+1)*ax)*ay
			v = 128 + 0.6*(v-128) + 12*noise.NormFloat64()
			out.Pix[y*out.Stride+x] = uint8(max(0, min(255, v)))
		}
	}
	return out
}
