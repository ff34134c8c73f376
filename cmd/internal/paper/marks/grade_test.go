package marks

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
)

// printing is a symbol as it may come out of a printer: what each module reflects, and how much wider dark ones are.
type printing struct {
	size    int
	dark    []bool
	reflect []float64 // 0 is black
	growth  float64   // of a module, on both sides together
}

// modulesOf reads a symbol off a page as it was drawn.
func modulesOf(page *image.Gray, at paper.Rect, size int) *printing {
	p := &printing{size: size}
	m := at.W / float64(size+2*quietZone) * flatDPI / 25.4
	for j := range size {
		for i := range size {
			x, y := at.X*flatDPI/25.4+(quietZone+float64(i)+0.5)*m, at.Y*flatDPI/25.4+(quietZone+float64(j)+0.5)*m
			dark := page.GrayAt(int(x), int(y)).Y < 128
			p.dark = append(p.dark, dark)
			p.reflect = append(p.reflect, map[bool]float64{true: 0, false: 1}[dark])
		}
	}
	return p
}

// turn makes a module what it should not be.
func (p *printing) turn(i, j int) {
	k := j*p.size + i
	p.dark[k] = !p.dark[k]
	p.reflect[k] = 1 - p.reflect[k]
}

// on draws the symbol on a copy of the page, each pixel as the mean of 16 points in it.
func (p *printing) on(page *image.Gray, at paper.Rect) *image.Gray {
	out := image.NewGray(page.Rect)
	copy(out.Pix, page.Pix)
	m := at.W / float64(p.size+2*quietZone) * flatDPI / 25.4
	x0, y0 := at.X*flatDPI/25.4+quietZone*m, at.Y*flatDPI/25.4+quietZone*m
	at1 := func(x, y float64) float64 {
		i, j := int(math.Floor(x)), int(math.Floor(y))
		v := 1.0
		if i >= 0 && j >= 0 && i < p.size && j < p.size {
			v = p.reflect[j*p.size+i]
		}
		return v
	}
	reach := math.Abs(p.growth) / 2
	point := func(x, y float64) float64 { // the darkest of what reaches here, or the brightest
		v := at1(x, y)
		for _, d := range [4][2]float64{{-reach, 0}, {reach, 0}, {0, -reach}, {0, reach}} {
			if p.growth > 0 {
				v = min(v, at1(x+d[0], y+d[1]))
			} else {
				v = max(v, at1(x+d[0], y+d[1]))
			}
		}
		return v
	}
	for y := int(y0 - m); y < int(y0+float64(p.size+1)*m); y++ {
		for x := int(x0 - m); x < int(x0+float64(p.size+1)*m); x++ {
			sum := 0.0
			for k := range 16 {
				sum += point((float64(x)+float64(k%4)/4+0.125-x0)/m, (float64(y)+float64(k/4)/4+0.125-y0)/m)
			}
			out.SetGray(x, y, color.Gray{Y: uint8(255 * sum / 16)})
		}
	}
	return out
}

// errorsIn turns one module in each of n codewords of the first block. A symbol of 33 modules at level Q has 24 data and 26
// error-correction codewords in each of two blocks, of which 13 can be wrong; codewords of the blocks take turns
// (ISO/IEC 18004, tables 7 and 9). Where its bits lie: two columns at a time from the right, up and down in turn.
func (p *printing) errorsIn(n int) {
	free := func(i, j int) bool {
		s := p.size
		finder := i < 9 && j < 9 || i > s-9 && j < 9 || i < 9 && j > s-9
		alignment := i >= s-9 && i < s-4 && j >= s-9 && j < s-4
		return !finder && !alignment && i != 6 && j != 6
	}
	bit, up := 0, true
	for right := p.size - 1; right > 0; right -= 2 {
		if right == 6 {
			right--
		}
		for k := range p.size {
			j := k
			if up {
				j = p.size - 1 - k
			}
			for _, i := range [2]int{right, right - 1} {
				if !free(i, j) {
					continue
				}
				if word := bit / 8; bit%8 == 3 && word%2 == 0 && word/2 < n {
					p.turn(i, j)
				}
				bit++
			}
		}
		up = !up
	}
}

// stretched is a page drawn longer, as a printer or a scanner does that feeds it too fast.
func stretched(m *image.Gray, by float64) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, m.Rect.Dx(), int(float64(m.Rect.Dy())*by)))
	for y := range out.Rect.Dy() {
		at := min(max((float64(y)+0.5)/by-0.5, 0), float64(m.Rect.Dy()-1))
		a := int(at)
		b, f := min(a+1, m.Rect.Dy()-1), at-float64(a)
		for x := range m.Rect.Dx() {
			v := float64(m.Pix[a*m.Stride+x])*(1-f) + float64(m.Pix[b*m.Stride+x])*f
			out.Pix[y*out.Stride+x] = uint8(v + 0.5)
		}
	}
	return out
}

// TestSymbolGrades: the symbol at the head is read by itself, with that at the foot covered, at every step of print
// quality that ISO/IEC 15415 has a grade for, the worst (grade 0, "F") included, as far as it says of one how bad
// it may be. Limits of grades: symbol contrast, modulation and unused error correction as a verifier's manual has them
// (manualshive.com/en/manual/cognex/dataman-475/dataman-475_reference-manual_2634671-39.html), axial nonuniformity and
// print growth as another one has (manualshive.com/en/manual/microscan/quadrus-ez/1788313?page=178); fixed pattern damage
// by modules of a finder, from memory. What the symbol reflects is set module by module; it is not measured.
func TestSymbolGrades(t *testing.T) {
	s := sheet(t, 12, nil)
	drawn, g := printedAt(t, s, paper.A4, flatDPI)
	page := covered(drawn[0], at(g.Second, 0).Sub(image.Pt(30, 30)))
	plain := func() *printing { return modulesOf(page, g.Symbol, firstSize) }
	contrast := func(step float64) *image.Gray {
		p := plain()
		for k, dark := range p.dark {
			if dark {
				p.reflect[k] = 1 - step
			}
		}
		return p.on(page, g.Symbol)
	}
	modulation := func(step float64) *image.Gray { // of half of the modules, at random
		p, r := plain(), rand.New(rand.NewPCG(1, 15415))
		for k, dark := range p.dark {
			if r.IntN(2) == 0 {
				p.reflect[k] = map[bool]float64{true: (1 - step) / 2, false: (1 + step) / 2}[dark]
			}
		}
		return p.on(page, g.Symbol)
	}
	finder := func(step float64) *image.Gray {
		p := plain()
		for k := range int(step) {
			p.turn([]int{3, 0, 6, 2, 4}[k], []int{3, 2, 5, 4, 0}[k])
		}
		return p.on(page, g.Symbol)
	}
	growth := func(step float64) *image.Gray { // by how it is measured, 1 is a dark share of 0.65 instead of a half
		p := plain()
		p.growth = 2 * 0.15 * step
		return p.on(page, g.Symbol)
	}
	wrong := func(step float64) *image.Gray {
		p := plain()
		p.errorsIn(int(step))
		return p.on(page, g.Symbol)
	}
	for _, tt := range []struct {
		what   string
		make   func(step float64) *image.Gray
		steps  []float64 // the last of grades 4, 3, 2, 1 and one of grade 0
		beyond float64   // is refused; 0 where nothing was tried
	}{
		{"symbol contrast", contrast, []float64{0.70, 0.55, 0.40, 0.20, 0.15}, 0},
		{"modulation", modulation, []float64{0.50, 0.40, 0.30, 0.20, 0.15}, 0},
		{"fixed pattern damage, modules", finder, []float64{0, 1, 2, 3, 5}, 0},
		{"axial nonuniformity", func(step float64) *image.Gray { return stretched(page, (2+step)/(2-step)) },
			[]float64{0.06, 0.08, 0.10, 0.12, 0.14}, 0.9},
		{"print growth", growth, []float64{0.50, 0.70, 0.85, 1.00, 1.20}, 3.2},
		{"print loss", growth, []float64{-0.50, -0.70, -0.85, -1.00, -1.20}, -3.2},
		{"codewords wrong of 13 that may be", wrong, []float64{4, 6, 8, 9, 13}, 14},
	} {
		var said []string
		for i, step := range tt.steps {
			if i < len(tt.steps)-1 && os.Getenv("LISTBOUND_PAPERS") == "" {
				continue // what is read at the worst is read at the others
			}
			m := flat(tt.make(step))
			_, _, p, err := locate(m)
			switch {
			case err != nil:
				t.Errorf("%s %v, grade %d: %v", tt.what, step, len(tt.steps)-1-i, err)
			case p.symbol.Code != s.Code || p.symbol.Page != 1:
				t.Errorf("%s %v is read as %+v", tt.what, step, p.symbol)
			}
			said = append(said, fmt.Sprintf("%v %s", step, second(t, m, s)))
		}
		if tt.beyond != 0 {
			if _, _, p, err := locate(flat(tt.make(tt.beyond))); err == nil {
				t.Errorf("%s %v is read, as %+v", tt.what, tt.beyond, p.symbol)
			}
		}
		t.Log(tt.what, "is read at", strings.Join(said, ", "))
	}
}

// second says whether another decoder finds the symbol as well; it is asked where there is time.
func second(t *testing.T, m *image.Gray, s *paper.Sheet) string {
	if os.Getenv("LISTBOUND_PAPERS") == "" {
		return ""
	}
	path := filepath.Join(t.TempDir(), "page.pgm")
	if err := os.WriteFile(path, markstest.PGM(m), 0o600); err != nil {
		t.Fatal(err)
	}
	out, _ := exec.Command("zbarimg", "--nodbus", "--raw", "-q", path).Output() // it fails where it finds none
	if slices.ContainsFunc(strings.Fields(string(out)), func(text string) bool {
		r, ok := symbolOf(text)
		return ok && r.Code == s.Code
	}) {
		return "(by a second decoder too)"
	}
	return "(not by a second decoder)"
}
