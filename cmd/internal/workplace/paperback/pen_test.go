//go:build !race

package paperback_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// The layouts that the tests' sheets are printed by: A4, first, added, closing and final; and with rows for goods.
const (
	layoutA4    = 3
	layoutGoods = 11
)

// dpi at which sheets are scanned: the least that is usual.
const dpi = 150

// sheet is a printed sheet, as pictures of its pages that a pen can write on.
type sheet struct {
	t        testing.TB
	geometry paper.Geometry
	pages    []*image.Gray
}

// printed prints a set's sheet at the house, as a person does, and scans it.
func printed(t testing.TB, h *workplacetest.House, set string, list *events.ListIssued) *sheet {
	t.Helper()
	return printedWith(t, h, set, list)
}

// printedWith is a sheet on which lines were packed otherwise than the list says.
func printedWith(t testing.TB, h *workplacetest.House, set string, list *events.ListIssued, other ...events.Exception) *sheet {
	t.Helper()
	pdf := h.Get("/print/sheet.pdf?set=" + set)
	return scanned(t, []byte(pdf), &paper.Sheet{Lines: list.Lines, Exceptions: other, Goods: h.Goods})
}

// scanned rasterises the pages of a sheet's PDF.
func scanned(t testing.TB, pdf []byte, of *paper.Sheet) *sheet {
	t.Helper()
	layout := layoutA4
	if len(of.Goods) > 0 {
		layout = layoutGoods
	}
	g, err := paper.GeometryOf(of, layout)
	if err != nil {
		t.Fatal(err)
	}
	s := &sheet{t: t, geometry: g, pages: rasterised(t, pdf)}
	if len(s.pages) != len(g.Pages) {
		t.Fatalf("%d pages drawn, %d planned", len(s.pages), len(g.Pages))
	}
	return s
}

// rasterised are the pages of a PDF.
func rasterised(t testing.TB, pdf []byte) (out []*image.Gray) {
	t.Helper()
	dir := t.TempDir()
	in := filepath.Join(dir, "sheet.pdf")
	if err := os.WriteFile(in, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	if msg, err := exec.Command("pdftoppm", "-gray", "-png", "-r", fmt.Sprint(dpi), in, filepath.Join(dir,
		"p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v: %s", err, msg)
	}
	names, err := filepath.Glob(filepath.Join(dir, "p-*.png"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := png.Decode(bytes.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		gray := image.NewGray(m.Bounds())
		draw.Draw(gray, gray.Bounds(), m, m.Bounds().Min, draw.Src)
		out = append(out, gray)
	}
	return out
}

// stroke draws a line of a pen, in millimetres.
func (s *sheet) stroke(page int, x1, y1, x2, y2 float64) {
	const per, width, ink = dpi / 25.4, 0.5, 40
	m := s.pages[page]
	n := int(20 * per * max(abs(x2-x1), abs(y2-y1), 0.1))
	for i := range n + 1 {
		k := float64(i) / float64(n)
		x, y := (x1+k*(x2-x1))*per, (y1+k*(y2-y1))*per
		for dy := -width * per / 2; dy <= width*per/2; dy++ {
			for dx := -width * per / 2; dx <= width*per/2; dx++ {
				m.SetGray(int(x+dx), int(y+dy), color.Gray{Y: ink})
			}
		}
	}
}

func abs(x float64) float64 { return max(x, -x) }

// at finds where a stage of a line is written in.
func (s *sheet) at(line int64, stage events.Stage) (page int, row paper.Row, field paper.Field) {
	s.t.Helper()
	for i, p := range s.geometry.Pages {
		for _, r := range p.AllRows() {
			for _, f := range s.geometry.FieldsOf(r) {
				if r.Line == line && f.Stage == stage {
					return i, r, f
				}
			}
		}
	}
	s.t.Fatalf("no place for %s of line %d", stage, line)
	return 0, paper.Row{}, paper.Field{}
}

// tick ticks lines of a stage.
func (s *sheet) tick(stage events.Stage, lines ...int64) {
	for _, line := range lines {
		page, row, f := s.at(line, stage)
		b := row.Tick(f)
		s.stroke(page, b.X+0.15*b.W, b.Y+0.5*b.H, b.X+0.4*b.W, b.Y+0.85*b.H)
		s.stroke(page, b.X+0.4*b.W, b.Y+0.85*b.H, b.X+0.95*b.W, b.Y+0.1*b.H)
	}
}

// write writes something on the line beside a box: a stroke as of a 7.
func (s *sheet) write(stage events.Stage, line int64) {
	page, row, f := s.at(line, stage)
	b := row.Write(f)
	x := b.X + 0.3*b.W
	s.stroke(page, x, b.Y+0.25*b.H, x+2.4, b.Y+0.25*b.H)
	s.stroke(page, x+2.4, b.Y+0.25*b.H, x+0.8, b.Y+0.8*b.H)
}

// all are the numbers of the lines up to one.
func all(n int64, but ...int64) (out []int64) {
	for i := int64(1); i <= n; i++ {
		skip := false
		for _, b := range but {
			skip = skip || b == i
		}
		if !skip {
			out = append(out, i)
		}
	}
	return out
}

// picture is a page as a scanner hands it over.
func (s *sheet) picture(page int) []byte {
	s.t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, s.pages[page], &jpeg.Options{Quality: 80}); err != nil {
		s.t.Fatal(err)
	}
	return out.Bytes()
}
