package paper

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"listbound/events"
	"listbound/projections/words"
)

// Every page alone leads a scanner to its trip, also as a bad copy.
func TestSheetSymbolOnEveryPage(t *testing.T) {
	for _, tt := range []struct {
		size  Size
		lang  *words.Language
		lines int
		pages int // at least
	}{{A4, english, 60, 3}, {Letter, german, 12, 1}} {
		s := sample(t, tt.lines)
		pages := render(t, sheetPDF(t, s, tt.size, tt.lang), 150)
		if len(pages) < tt.pages {
			t.Fatalf("%d lines on %d pages", tt.lines, len(pages))
		}
		for i, g := range pages {
			for how, got := range map[string]string{
				"it": decode(t, g), "a copy of it": decode(t, photocopy(g)), "it, to a second decoder,": decodeZXing(t, g),
			} {
				scan, err := events.Recognise(got, events.ScanSheet)
				if err != nil || scan.Value != s.Code.String() || scan.Page != i+1 || scan.Pages != len(pages) {
					t.Errorf("page %d: %s says %q, recognised as %v, %v", i+1, how, got, scan, err)
				}
			}
		}
	}
}

func decodeZXing(t *testing.T, g *image.Gray) string {
	t.Helper()
	bmp, err := gozxing.NewBinaryBitmapFromImage(g)
	if err != nil {
		t.Fatal(err)
	}
	res, err := qrcode.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		t.Fatalf("no QR symbol found: %v", err)
	}
	return res.GetText()
}

// Nothing of a long list is lost, split or anonymous.
func TestSheetSaysEveryLine(t *testing.T) {
	s := sample(t, 120)
	s.Lines[6].Description = strings.Repeat("Retractor blade with a long description, ", 9) + "end of seven"
	s.Lines[8].Description = strings.Repeat("W", 100) + " one word wider than its column"
	s.Lines[9].Item = strings.Repeat("ITEM-", 12)
	s = bind(t, s)
	pdf := sheetPDF(t, s, A4, english)
	pages := strings.Split(strings.TrimSuffix(text(t, pdf, "-layout"), "\f"), "\f")
	for i, page := range pages {
		for _, want := range []string{
			"COUNT SHEET", s.Set, s.Title, "List LAP-MAJOR, version 3", "Packed 2 March 2026, 06:11 UTC",
			"483920, 483921", "outside, in the holder",
			s.Code.Short(), grouped(s.Code.String()[:18], 6), grouped(s.Code.String()[18:36], 6),
			grouped(s.Code.String()[36:], 6), fmt.Sprintf("Page %d of %d", i+1, len(pages)), "does not prove that nothing was retained",
			"No.", "Instrument", "First", "Added", "Closing", "Final",
		} {
			if !strings.Contains(page, want) {
				t.Errorf("page %d does not say %q", i+1, want)
			}
		}
	}
	if last := pages[len(pages)-1]; !strings.Contains(last, "Scrub person (badge)") || !strings.Contains(last,
		"Circulating nurse (badge)") || !strings.Contains(last, "FCP-") {
		t.Errorf("the last page has no signatures under lines:\n%s", last)
	}
	if n := strings.Count(strings.Join(pages, ""), "Scrub person (badge)"); n != 1 {
		t.Errorf("signatures stand %d times", n)
	}
	// Item and description of a line are on one page, next to one another.
	raw := strings.Split(text(t, pdf, "-raw"), "\f")
	for _, l := range s.Lines {
		where := 0
		for _, page := range raw {
			page = strings.ReplaceAll(page, "\n", "")
			page = strings.ReplaceAll(page, " ", "")
			d := strings.ReplaceAll(l.Description, " ", "")
			if strings.Contains(page, d+l.Item) {
				where++
			}
		}
		if where != 1 {
			t.Errorf("line %d stands whole on %d pages: %s, %s", l.Line, where, l.Item, l.Description)
		}
	}
	all := strings.Join(raw, "")
	if !strings.Contains(all, "▲ missing: 3 packed, the list says 4") || !strings.Contains(all,
		"Packed otherwise than listed: 1 (line 4)") {
		t.Error("the exception on line 4 is not marked")
	}
}

// TestSheetHelps: what a list says of a line besides stands behind the item's number where there is room, and costs no row. Of how
// many parts an instrument is stands there in any case, if in smaller letters.
func TestSheetHelps(t *testing.T) {
	s := sample(t, 60)
	for i := range s.Lines {
		s.Lines[i].Mark, s.Lines[i].Parts, s.Lines[i].TrayPlace = fmt.Sprintf("r%d", i+1), 2, "left"
	}
	s.Lines[4].Mark = "a mark that is so long that there is no room for it on this sheet"
	s.Lines[5].Description = "Probe"
	s.Lines[6].Description = "Probe, 14 cm, straight"
	s.Lines[7].Description, s.Lines[7].Parts = "Probe, 14 cm, straight", 0
	const least = 20 // letters of a description, beside which there was room for the item's number alone
	for i := range 20 {
		s.Lines[i+8].Description = "Retractor, self-retaining, with two pairs"[:least+i]
	}
	for _, lang := range []*words.Language{english, german} {
		with := text(t, sheetPDF(t, bind(t, s), A4, lang), "-raw")
		parts := map[*words.Language]string{english: " · 2 parts each", german: " · je 2 Teile"}[lang]
		for i := range s.Lines {
			want := parts
			switch i {
			case 5:
				want = fmt.Sprintf(" · %s r6%s · left", map[*words.Language]string{english: "marked", german: "Kennz."}[lang], parts)
			case 7:
				want = " r8 "
			}
			at, _, _ := strings.Cut(with[strings.Index(with, s.Lines[i].Item):], "\n")
			if !strings.Contains(at+" ", want) {
				t.Errorf("%s: line %d doesn't say %q but %q", lang.Tag(), i+1, want, at)
			}
		}
		if strings.Contains(with, "so long") {
			t.Error("a part of what there is no room for is printed")
		}
	}
	with := text(t, sheetPDF(t, bind(t, s), A4, english), "-raw")
	for i := range s.Lines {
		s.Lines[i].Mark, s.Lines[i].Parts, s.Lines[i].TrayPlace = "", 0, ""
	}
	without := text(t, sheetPDF(t, bind(t, s), A4, english), "-raw")
	if a, b := strings.Count(with, "\f"), strings.Count(without, "\f"); a != b {
		t.Errorf("with it there are %d pages, without %d", a, b)
	}
}

type bboxDoc struct {
	Pages []struct {
		Width  float64    `xml:"width,attr"`
		Height float64    `xml:"height,attr"`
		Words  []bboxWord `xml:"word"`
	} `xml:"body>doc>page"`
}

type bboxWord struct {
	XMin float64 `xml:"xMin,attr"`
	YMin float64 `xml:"yMin,attr"`
	XMax float64 `xml:"xMax,attr"`
	YMax float64 `xml:"yMax,attr"`
	Text string  `xml:",chardata"`
}

func boxes(t *testing.T, pdf []byte) bboxDoc {
	t.Helper()
	var doc bboxDoc
	d := xml.NewDecoder(strings.NewReader(text(t, pdf, "-bbox")))
	d.Strict = false
	d.Entity = xml.HTMLEntity
	if err := d.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Pages) == 0 || len(doc.Pages[0].Words) == 0 {
		t.Fatal("no words found on the pages")
	}
	return doc
}

// Every word is inside the margins, and in the lines at least 9.5 points tall; nothing else
// is drawn on the margins either.
func TestSheetInsideThePage(t *testing.T) {
	s := sample(t, 40)
	s.Set = "4012345/AAbb-" + strings.Repeat("very-long-", 5)
	s.Title = strings.Repeat("A title that needs several lines. ", 5)
	s.Lines[3].Description = strings.Repeat("x", 390)
	s = bind(t, s)
	// DejaVu's ascent and descent are together 1.164 of the type size.
	const least = 9.5 * 1.164
	for _, size := range []Size{A4, Letter} {
		w, h, err := size.millimetres()
		if err != nil {
			t.Fatal(err)
		}
		pdf := sheetPDF(t, s, size, german)
		pages := boxes(t, pdf).Pages
		for i, p := range pages {
			if diff := max(p.Width-w/mmPerPoint, w/mmPerPoint-p.Width, p.Height-h/mmPerPoint, h/mmPerPoint-p.Height); diff > 0.1 {
				t.Errorf("page %d is %.1f x %.1f points", i+1, p.Width, p.Height)
			}
			for _, word := range p.Words {
				const edge = margin / mmPerPoint
				if word.XMin < edge-0.5 || word.YMin < edge-2 || word.XMax > p.Width-edge+0.5 || word.YMax > p.Height-edge+2 {
					t.Errorf("page %d: %q is outside the margins", i+1, word.Text)
				}
				inLines := word.YMin > (tableTop+headHeight)/mmPerPoint && word.YMax < p.Height-tableBottom/mmPerPoint
				caption := word.YMax-word.YMin < 7*1.164+0.1 // of a place on the last page
				if word.YMax-word.YMin < least-0.1 && inLines && !(caption && i == len(pages)-1) {
					t.Errorf("page %d: %q is %.1f points tall", i+1, word.Text, (word.YMax-word.YMin)/1.164)
				}
			}
		}
		for i, g := range render(t, pdf, 100) {
			if n := inkOnMargins(g, 42); n != 0 {
				t.Errorf("page %d has %d dark points on its margins", i+1, n)
			}
		}
	}
}

func inkBetween(g *image.Gray, top, bottom int) int {
	n := 0
	for y := top; y < bottom; y++ {
		for x := range g.Rect.Dx() {
			if g.GrayAt(x, y).Y < 200 {
				n++
			}
		}
	}
	return n
}

func inkOnMargins(g *image.Gray, edge int) int {
	n := 0
	w, h := g.Rect.Dx(), g.Rect.Dy()
	for y := range h {
		for x := range w {
			if (x < edge || y < edge || x >= w-edge || y >= h-edge) && g.GrayAt(x, y).Y < 250 {
				n++
			}
		}
	}
	return n
}

// Wherever the page ends, no word is printed over another, and the signatures
// stand under lines.
func TestSheetPageBreaks(t *testing.T) {
	broken := 0
	for n := 9; n <= 24; n++ {
		s := sample(t, n+8)
		s.Lines[0].Description = strings.Repeat("blades ", 3*(n-8)) // so that pages end at other places
		pdf := sheetPDF(t, bind(t, s), Letter, german)
		pages := boxes(t, pdf).Pages
		if len(pages) > 1 {
			broken++
		}
		for i, p := range pages {
			for a := range p.Words {
				for b := range a {
					v, w := p.Words[a], p.Words[b]
					if min(v.XMax, w.XMax)-max(v.XMin, w.XMin) > 0.5 && min(v.YMax, w.YMax)-max(v.YMin, w.YMin) > 3 {
						t.Errorf("%d lines, page %d: %q is printed over %q", n, i+1, v.Text, w.Text)
					}
				}
			}
		}
		const dpi = 150
		for i, g := range render(t, pdf, dpi) { // white between the table and the dots below it
			y := int(math.Round((279.4 - tableBottom + 0.2) * dpi / 25.4))
			if dark := inkBetween(g, y, y+2); dark > 2*16 { // but for the dots left and right
				t.Errorf("%d lines, page %d: the table reaches into the foot (%d dark points)", n, i+1, dark)
			}
		}
		last := pages[len(pages)-1]
		items, signs := 0, 0
		for _, w := range last.Words {
			if strings.HasPrefix(w.Text, "FCP-") {
				items++
			}
			if w.Text == "Zweite" {
				signs++
			}
		}
		if items == 0 || signs != 1 {
			t.Errorf("%d lines: the last page has %d lines over %d signatures", n, items, signs)
		}
	}
	if broken < 8 {
		t.Fatalf("%d of 16 sheets have a second page; the test shows little", broken)
	}
}

// A symbol is solid: without hairlines between its modules, which decoders trip
// over, at whatever resolution the page is drawn.
func TestSymbolHasNoSeams(t *testing.T) {
	pdf := sheetPDF(t, sample(t, 3), A4, english)
	for _, dpi := range []int{133, 150, 250, 333} {
		g := renderCairo(t, pdf, dpi)
		mm := float64(dpi) / 25.4
		module := symbolSide / 41 // version 4 of QR has 33 modules, and 4 around are white (ISO/IEC 18004; from memory)
		// The dark square of 3 x 3 modules in the upper left finder pattern.
		g0, _ := Skeleton(firstLayout)
		x, y := g0.Symbol.X+6*module, g0.Symbol.Y+6*module
		darkest, lightest := uint8(255), uint8(0)
		for py := int((y+0.5*module)*mm) + 1; py < int((y+2.5*module)*mm); py++ {
			for px := int((x+0.5*module)*mm) + 1; px < int((x+2.5*module)*mm); px++ {
				v := g.GrayAt(px, py).Y
				darkest, lightest = min(darkest, v), max(lightest, v)
			}
		}
		if darkest != 0 || lightest > 20 {
			t.Errorf("at %d dpi the finder pattern's middle goes from %d to %d", dpi, darkest, lightest)
		}
		left, top, edge := g0.Symbol.X*mm, g0.Symbol.Y*mm, symbolSide*mm
		for py := int(top) + 1; py < int(top+edge); py++ {
			for px := int(left) + 1; px < int(left+edge); px++ {
				near := min(float64(px)-left, float64(py)-top, left+edge-float64(px), top+edge-float64(py))
				if near < 3.5*module*mm && g.GrayAt(px, py).Y < 250 {
					t.Fatalf("at %d dpi the quiet zone is dark at %d, %d", dpi, px, py)
				}
			}
		}
	}
}

func TestGrouped(t *testing.T) {
	for in, want := range map[string]string{"": "", "ABCDEF": "ABCDEF", "ABCDEFG": "ABCDEF G", "ABCDEFGHIJKLM": "ABCDEF GHIJKL M"} {
		if got := grouped(in, 6); got != want {
			t.Errorf("grouped(%q) = %q; want %q", in, got, want)
		}
	}
}

func TestSheetSameBytes(t *testing.T) {
	s := sample(t, 30)
	one := sheetPDF(t, s, A4, english)
	if !bytes.Equal(one, sheetPDF(t, s, A4, english)) {
		t.Error("two prints of one sheet differ")
	}
	for _, want := range []string{"/CreationDate (D:20260302061100", "/ModDate (D:20260302061100"} {
		if !bytes.Contains(one, []byte(want)) {
			t.Errorf("the PDF does not say %s", want)
		}
	}
	other := s
	other.Seals = []string{"483922"}
	if bytes.Equal(one, sheetPDF(t, other, A4, english)) {
		t.Error("another seal prints the same bytes")
	}
	if bytes.Equal(one, sheetPDF(t, s, A4, german)) {
		t.Error("German prints the same bytes")
	}
}

func TestSheetExceptions(t *testing.T) {
	s := sample(t, 20)
	s.Exceptions = nil
	for i := range 12 {
		s.Exceptions = append(s.Exceptions, events.Exception{Line: int64(12 - i), Counted: 97,
			Reason: []string{"missing", "substituted", "damaged", "at repair"}[i%4]})
	}
	got := text(t, sheetPDF(t, s, A4, german), "-raw")
	for _, want := range []string{"▲ fehlt: 97 gepackt", "▲ ersetzt: 97 gepackt", "▲ beschädigt: 97 gepackt",
		"▲ at repair: 97 gepackt", "gelistet: 12 (Zeile 1, 2, 3, 4, 5, 6, 7, 8, …)"} {
		if !strings.Contains(strings.ReplaceAll(got, "\n", " "), want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	// Once in the words, once in the column.
	if n := strings.Count(got, "97"); n != 24 {
		t.Errorf("the packed number of 12 lines stands %d times", n)
	}
}

func TestWriteSheetRefuses(t *testing.T) {
	change := func(f func(*Sheet)) Sheet {
		s := sample(t, 12)
		f(&s)
		return s
	}
	rebound := func(f func(*Sheet)) Sheet { return bind(t, change(f)) }
	tests := []struct {
		name string
		s    Sheet
		size Size
		lang *words.Language
		says string
	}{
		{"a changed line", change(func(s *Sheet) { s.Lines[2].Quantity++ }), A4, english,
			"does not belong to list LAP-MAJOR version 3 on set LAP-014"},
		{"a changed word", change(func(s *Sheet) { s.Title += "." }), A4, english, "does not belong"},
		{"the twin set", change(func(s *Sheet) { s.Set = "LAP-015" }), A4, english, "does not belong"},
		{"of high risk", change(func(s *Sheet) { s.HighRisk = true }), A4, english, "does not belong"},
		{"with implants", change(func(s *Sheet) { s.Implants = true }), A4, english, "does not belong"},
		{"other cycles", change(func(s *Sheet) { s.Cycles = []string{"dynamic-air-132"} }), A4, english, "does not belong"},
		{"another trip", change(func(s *Sheet) { s.Trip = "019530a1-7c00-7abc-8def-0123456789ac" }), A4, english, "seal the list again"},
		{"no set", change(func(s *Sheet) { s.Set = "" }), A4, english, "names no set"},
		{"no lines", change(func(s *Sheet) { s.Lines = nil }), A4, english, "has 0 lines"},
		{"an exception without its line", change(func(s *Sheet) { s.Exceptions[0].Line = 99 }), A4, english, "line 99"},
		{"a sign no font has", rebound(func(s *Sheet) { s.Lines[6].Description = "Clip 鉗子" }), A4, english,
			`line 7: the description has characters that can't be printed: '鉗' (U+9257), '子' (U+5B50)`},
		{"an item in Arabic", rebound(func(s *Sheet) { s.Lines[1].Item = "مقص" }), A4, english, "line 2: the item"},
		{"a reason with an emoji", change(func(s *Sheet) { s.Exceptions[0].Reason = "lost 🙁" }), A4, english,
			"line 4: the reason of the exception has characters that can't be printed: '🙁' (U+1F641)"},
		{"a seal", change(func(s *Sheet) { s.Seals = []string{"鉗"} }), A4, english, "a seal's number"},
		{"too many seals", change(func(s *Sheet) {
			s.Seals = strings.Fields(strings.Repeat("48392048392048392 ",
				200))
		}), A4, english, "no room"},
		{"no language", sample(t, 3), A4, nil, "language"},
		{"no paper", sample(t, 3), Size(7), english, "paper size"},
	}
	if len(tests) == 0 {
		t.Fatal("no cases")
	}
	for _, tt := range tests {
		var b bytes.Buffer
		err := WriteSheet(&b, tt.s, tt.size, tt.lang)
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: error %v; want one with %q", tt.name, err, tt.says)
		}
		if b.Len() != 0 {
			t.Errorf("%s: %d bytes were written all the same", tt.name, b.Len())
		}
	}
}

type brokenPrinter struct{}

var errPaper = errors.New("out of paper")

func (brokenPrinter) Write([]byte) (int, error) { return 0, errPaper }

func TestWriteSheetReportsTheWriter(t *testing.T) {
	if err := WriteSheet(brokenPrinter{}, sample(t, 3), A4, english); !errors.Is(err, errPaper) {
		t.Errorf("error %v; want the writer's", err)
	}
}

func TestSheetOf(t *testing.T) {
	s := sample(t, 8)
	list := &events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines}
	packed := &events.SetPacked{List: s.List, Version: s.Version, Exceptions: s.Exceptions}
	sealed := &events.ListSealed{Placement: events.Outside, Seals: s.Seals, Code: s.Code.String()}
	zone := time.FixedZone("CET", 3600)
	got, err := SheetOf(s.Set, s.Trip, list, packed, packedAt.In(zone), sealed)
	if err != nil {
		t.Fatal(err)
	}
	if out := text(t, sheetPDF(t, got, A4, german)); !strings.Contains(out, "Gepackt 2. März 2026, 07:11 CET") {
		t.Errorf("the sheet does not say when it was packed:\n%s", out)
	}
	packed.Version = 2
	if _, err := SheetOf(s.Set, s.Trip, list, packed, packedAt, sealed); err == nil {
		t.Error("a set packed by another version gets this list")
	}
	packed.Version, sealed.Code = 3, "1"
	if _, err := SheetOf(s.Set, s.Trip, list, packed, packedAt, sealed); err == nil {
		t.Error("a damaged code is printed")
	}
}

func BenchmarkWriteSheet(b *testing.B) {
	s := sample(b, 120)
	for b.Loop() {
		if err := WriteSheet(&bytes.Buffer{}, s, A4, english); err != nil {
			b.Fatal(err)
		}
	}
}

// A measure stays with its unit, and an overlong word breaks at its joints.
func TestWrap(t *testing.T) {
	c := newCanvas(210, 297, "", "en", time.Time{})
	c.font(regular, 10)
	for s, want := range map[string]string{
		"Forceps 16 cm":           "Forceps|16 cm",
		"a b c":                   "a b c",
		"":                        "",
		"AB-CDEFGH/IJKLMNOPQRSTU": "AB-CDEFGH/|IJKLMNOPQR|STU",
	} {
		if got := strings.Join(c.wrap(s, 21), "|"); got != want {
			t.Errorf("%q breaks into %q; want %q", s, got, want)
		}
	}
}

// The ledger's check line stands whole at the foot of every page, also beside a long name, and takes no room: nothing
// stands elsewhere because of it.
func TestSheetBearsCheckLine(t *testing.T) {
	const line = "10000 28790 9MJK8 KFRB3 3EX3J / 07ATS AVEFE T"
	for _, set := range []string{"LAP-014", strings.Repeat("LONG-NAME-", 12)} {
		for _, size := range []Size{A4, Letter} {
			s := sample(t, 60)
			s.Set = set
			s = bind(t, s)
			without, err := GeometryOf(&s, layoutOf(&s, size))
			if err != nil {
				t.Fatal(err)
			}
			s.CheckLine = line
			with, err := GeometryOf(&s, layoutOf(&s, size))
			if err != nil || !reflect.DeepEqual(with, without) {
				t.Errorf("with the line things stand elsewhere: %v", err)
			}
			pages := strings.Split(strings.TrimSuffix(text(t, sheetPDF(t, s, size, german), "-layout"), "\f"), "\f")
			for i, page := range pages {
				if !strings.Contains(page, "Verzeichnis "+line) || !strings.Contains(page,
					fmt.Sprintf("Seite %d von %d", i+1, len(pages))) {
					t.Errorf("%s, page %d of %d: the foot is not whole", set, i+1, len(pages))
				}
			}
		}
	}
}
