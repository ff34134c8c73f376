package marks

import (
	"bytes"
	"fmt"
	"image"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/cmd/internal/texts"
	"listbound/events"
	"listbound/projections/words"
)

const trip = "019530a1-7c00-7abc-8def-0123456789ab"

func english(t testing.TB) *words.Language {
	t.Helper()
	c, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c.In("en")
}

// sheet is one of n lines, as it is printed.
func sheet(t testing.TB, n int, change func(*paper.Sheet)) *paper.Sheet {
	t.Helper()
	s := &paper.Sheet{Set: "LAP-014", Trip: trip, Title: "Laparotomy, major", List: "LAP-MAJOR", Version: 3, Placement: events.Outside,
		Packed: time.Date(2026, 3, 2, 6, 11, 0, 0, time.UTC), Seals: []string{"483920"}}
	for i := range n {
		s.Lines = append(s.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("FCP-%03d", i+101), Quantity: int64(i%7 + 1),
			Description: []string{"Forceps, mosquito, curved, 12.5 cm", "Scissors, dissecting, curved, blunt, 18 cm", "Towel clip, 11 cm",
				"Needle holder, carbide inserts, 20 cm", "Wundhaken, scharf, vierzinkig, Größe ½"}[i%5]})
	}
	if change != nil {
		change(s)
	}
	l := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines}
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

// printed are the pages of a sheet at 300 dpi, as the ways of taking pictures want them, and where everything on them
// stands.
func printed(t testing.TB, s *paper.Sheet, size paper.Size) ([]*image.Gray, paper.Geometry) {
	t.Helper()
	return printedAt(t, s, size, 300)
}

func printedAt(t testing.TB, s *paper.Sheet, size paper.Size, dpi int) ([]*image.Gray, paper.Geometry) {
	t.Helper()
	var b bytes.Buffer
	if err := paper.WriteSheet(&b, *s, size, english(t)); err != nil {
		t.Fatal(err)
	}
	layout := 3
	if size == paper.Letter {
		layout++
	}
	if s.Cavity {
		layout += 2
	}
	if s.Relief {
		layout += 4
	}
	if len(s.Goods) > 0 {
		layout += 8
	}
	g, err := paper.GeometryOf(s, layout)
	if err != nil {
		t.Fatal(err)
	}
	return markstest.Render(t, b.Bytes(), dpi), g
}

func of(s *paper.Sheet) Find { return func(Symbol) (*paper.Sheet, error) { return s, nil } }

// written draws what a page's people may have written: a hand for each column, and now and then something else. With
// blank the last column is not counted.
func written(g paper.Geometry, page int, seed uint64) []markstest.Mark {
	r := rand.New(rand.NewPCG(seed, 3))
	var out []markstest.Mark
	hands := make(map[events.Stage]markstest.Kind)
	n := 0
	for _, f := range g.Fields {
		if f.Ticked() {
			hands[f.Stage] = markstest.Clear[(int(seed)+n)%len(markstest.Clear)]
			n++
			if seed%4 == 3 && f.Stage == events.StageFinal {
				hands[f.Stage] = markstest.Nothing
			}
		}
	}
	for _, row := range g.Pages[page-1].Rows {
		for _, f := range g.Fields {
			m := markstest.Mark{Line: row.Line, Stage: f.Stage, Kind: hands[f.Stage], Hand: hands[f.Stage],
				Text: strconv.Itoa(r.IntN(24) + 1)}
			k := r.IntN(1000)
			if seed%5 == 4 { // a page on which much went wrong
				k /= 4
			}
			switch {
			case f.Stage == "":
				continue
			case !f.Ticked():
				m.Kind = markstest.Nothing
				if k < 40 {
					m.Kind = markstest.Number
				}
			case m.Hand == markstest.Nothing:
			case k < 40:
				m.Kind = markstest.Number
			case k < 55:
				m.Kind = markstest.Nothing
			case k < 65:
				m.Kind = markstest.Both
			case k < 75:
				m.Kind = markstest.Erased
			case k < 85:
				m.Kind = markstest.Struck
			case k < 93:
				m.Kind = markstest.Beside
			case k < 100:
				m.Kind = markstest.Dot
			}
			out = append(out, m)
		}
	}
	return append(out, goodsWritten(g, page, r, hands)...)
}

// goodsWritten draws what may stand in the rows for goods: some are not used; of the others the number at first, what came, and for
// each count after it a mark that it is the sum, or the number.
func goodsWritten(g paper.Geometry, page int, r *rand.Rand, hands map[events.Stage]markstest.Kind) (out []markstest.Mark) {
	for i, row := range g.Pages[page-1].Goods {
		used := i%3 != 2
		for _, f := range g.GoodsFields {
			m := markstest.Mark{Line: row.Line, Stage: f.Stage, Kind: hands[f.Stage], Hand: hands[f.Stage],
				Text: strconv.Itoa(5 + 5*r.IntN(8))}
			switch {
			case f.Stage == "":
				continue
			case !used:
				m.Kind = markstest.Nothing
			case f.Stage == events.StageAdded && r.IntN(2) == 0:
				m.Kind = markstest.Nothing
			case f.Stage == events.StageAdded:
				m.Kind, m.Text = markstest.Number, "10 5"
			case f.Lined, r.IntN(6) == 0:
				m.Kind = markstest.Number
			}
			out = append(out, m)
		}
	}
	return out
}

// tally counts what a page's reading said of what was written.
type tally struct{ wrong, asked, n int }

type table struct {
	rows        []string
	at          map[[2]string]*tally
	asked, sure int // of what needs no question
	wrong       int
	pictures    int
	decoded     int // of them by a second decoder
	why         map[string]int
}

func newTable() *table { return &table{at: map[[2]string]*tally{}, why: map[string]int{}} }

func (x *table) count(way string, kind string, wrong, asked, needless bool) {
	k := [2]string{way, kind}
	if x.at[k] == nil {
		x.at[k] = &tally{}
	}
	t := x.at[k]
	t.n++
	if wrong {
		t.wrong++
		x.wrong++
	}
	if asked {
		t.asked++
	}
	if needless {
		x.sure++
		if asked {
			x.asked++
		}
	}
}

// score holds a reading against what was drawn.
func (x *table) score(way string, marks []markstest.Mark, p *Page) (bad []string) {
	ticks := make(map[events.Stage]bool)
	for _, m := range marks {
		for _, k := range markstest.Clear {
			ticks[m.Stage] = ticks[m.Stage] || m.Kind == k
		}
	}
	cells := make(map[string]Cell)
	for _, r := range p.Rows {
		for _, c := range r.Cells {
			cells[fmt.Sprint(r.Line, c.Stage)] = c
		}
	}
	for _, r := range p.Goods {
		for _, c := range r.Cells {
			cells[fmt.Sprint(-r.Line, c.Stage)] = c
		}
	}
	for _, m := range marks {
		c, ok := cells[fmt.Sprint(m.Line, m.Stage)]
		if !ok {
			bad = append(bad, fmt.Sprintf("%s: line %d has no cell for %s", way, m.Line, m.Stage))
			continue
		}
		clear := false
		for _, k := range markstest.Clear {
			clear = clear || m.Kind == k
		}
		kind := string(m.Kind)
		if m.Stage == events.StageAdded {
			kind = "added " + kind
		}
		wrong := false
		needless := clear
		switch {
		case clear:
			wrong = c.Verdict == Empty
		case m.Kind == markstest.Nothing || m.Kind == markstest.Dot:
			wrong = c.Verdict == Ticked
			needless = m.Kind == markstest.Nothing && !ticks[m.Stage]
		default:
			wrong = c.Verdict != Ask
		}
		once := c.Verdict == Empty && slices.Contains(p.Blank, m.Stage) // the stage is asked about as a whole
		wrong = wrong && !once
		x.count(way, kind, wrong, c.Verdict == Ask || once && m.Kind != markstest.Nothing, needless)
		if c.Verdict == Ask && needless {
			x.why[string(c.Why)+" "+kind]++
		}
		if wrong || needless && c.Verdict == Ask {
			bad = append(bad, fmt.Sprintf("%s: line %d %s, %s: %s %s (ink %.3f, dark %.2f)",
				way, m.Line, m.Stage, kind, c.Verdict, c.Why, c.Ink, c.Dark))
		}
	}
	return bad
}

func (x *table) String() string {
	kinds := append([]markstest.Kind(nil), markstest.Clear...)
	kinds = append(kinds, "empty", "dot", "erased", "struck", "beside", "number", "both", "added empty", "added number")
	var b strings.Builder
	fmt.Fprintf(&b, "%-28s", "wrong/asked/n")
	for _, k := range kinds {
		fmt.Fprintf(&b, " %12s", k)
	}
	b.WriteString("\n")
	for _, w := range x.rows {
		fmt.Fprintf(&b, "%-28s", w)
		for _, k := range kinds {
			s := "-"
			if t := x.at[[2]string{w, string(k)}]; t != nil {
				s = fmt.Sprintf("%d/%d/%d", t.wrong, t.asked, t.n)
			}
			fmt.Fprintf(&b, " %12s", s)
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "the symbol is found by a second decoder in %d of %d pictures\n", x.decoded, x.pictures)
	share := 100 * float64(x.asked) / float64(max(1, x.sure))
	fmt.Fprintf(&b, "%d wrong; asked without need %d of %d (%.2f %%)\n", x.wrong, x.asked, x.sure, share)
	return b.String()
}

// run reads pages of two sizes of paper in some ways, from a seed on.
func (x *table) run(t *testing.T, pages, seed, lines int, ways []markstest.Way,
	each func(page int, way string, p *Page, bad []string),
) {
	t.Helper()
	for _, w := range ways {
		x.rows = append(x.rows, w.Name)
	}
	for i := range pages {
		size := paper.Size(i % 2)
		s := sheet(t, lines, columns(i))
		drawn, g := printed(t, s, size)
		page := 1 + i%len(drawn)
		if len(s.Goods) > 0 {
			page = len(drawn)
		}
		marks := written(g, page, uint64(seed+i))
		full := markstest.Over(t, drawn[page-1], markstest.SVG(g, page, marks, uint64(seed+i)))
		for _, way := range ways {
			m := markstest.Degraded(t, full, way, seed+i)
			x.secondDecoder(t, m, s, page, way.Name)
			p, err := Read(m, of(s))
			if err != nil {
				t.Errorf("page %d, %s: %v", seed+i, way.Name, err)
				continue
			}
			each(seed+i, way.Name, p, x.score(way.Name, marks, p))
		}
	}
}

// columns gives every other two pages the columns that only some policies have, and a third of all pages rows for goods.
func columns(page int) func(*paper.Sheet) {
	return func(s *paper.Sheet) {
		s.Cavity, s.Relief = page%4 > 1, page%4 > 1
		if page%3 == 2 {
			s.Goods = goods(4 + page%8)
		}
	}
}

// goods are so many kinds, as a site's list has them.
func goods(n int) (out []events.Line) {
	for i := range n {
		out = append(out, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("GZ-%d", i), Quantity: int64(5 + i%6), Sort: events.Sponges,
			Description: []string{"Gauze, X-ray detectable, 10 x 10 cm", "Needle, CT-1",
				"Bauchtuch, röntgenfähig, mit Band, 45 x 45 cm"}[i%3]})
	}
	return out
}

// secondDecoder finds the page's symbol too, in each picture.
func (x *table) secondDecoder(t *testing.T, m image.Image, s *paper.Sheet, page int, way string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.pgm")
	if err := os.WriteFile(path, markstest.PGM(grey(m)), 0o600); err != nil {
		t.Fatal(err)
	}
	x.pictures++
	out, _ := exec.Command("zbarimg", "--nodbus", "--raw", "-q", path).Output() // it fails where it finds none
	for text := range strings.Lines(string(out)) {
		if r, ok := symbolOf(strings.TrimSpace(text)); ok && r.Code == s.Code && r.Page == page {
			x.decoded++
			return
		}
	}
	t.Errorf("%s: zbarimg finds no symbol", way)
}

// TestPapers reads whole pages in every way and prints the table by way and kind of mark. It is run by make papers:
// LISTBOUND_PAPERS says how many pages, and LISTBOUND_PAPERS_SEED from which seed on. Seeds below 100 are those that
// limits were set on; without the variables a page that is none of them is read in a few ways.
func TestPapers(t *testing.T) {
	pages, seed, lines, ways := 1, 500, 15, markstest.Ways()
	all := os.Getenv("LISTBOUND_PAPERS")
	if all == "" {
		ways = slices.DeleteFunc(ways, func(w markstest.Way) bool {
			return !slices.Contains([]string{"turned up to 5 degrees", "phone, perspective, blur 1"}, w.Name)
		})
	} else {
		pages, lines = number(t, "LISTBOUND_PAPERS", 8), 60
		seed = number(t, "LISTBOUND_PAPERS_SEED", 1000)
		only := os.Getenv("LISTBOUND_PAPERS_WAY")
		ways = slices.DeleteFunc(ways, func(w markstest.Way) bool { return !strings.Contains(w.Name, only) })
	}
	x := newTable()
	x.run(t, pages, seed, lines, ways, func(page int, way string, p *Page, bad []string) {
		if all != "" {
			t.Logf("page %d, %s: %.2f pixels a millimetre, frame %.2f, dots %d of %d, %d asked, %v blank", page, way, p.PixelsPerMillimetre,
				p.Darkness, p.Dots, p.DotsOf, p.Asked(), p.Blank)
		}
		for _, b := range bad {
			t.Log("   ", b)
		}
	})
	t.Logf("\n%s%v", x, x.why)
	if x.wrong > 0 {
		t.Errorf("%d boxes are read wrong", x.wrong)
	}
	if x.sure < pages*len(ways)*30 {
		t.Errorf("only %d boxes were looked at", x.sure)
	}
	if 50*x.asked > x.sure {
		t.Errorf("%d of %d boxes are asked without need, more than 2 %%", x.asked, x.sure)
	}
}

func number(t *testing.T, name string, otherwise int) int {
	s := os.Getenv(name)
	if s == "" {
		return otherwise
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}
