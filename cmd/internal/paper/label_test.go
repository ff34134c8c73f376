package paper

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"
	"testing"

	"listbound/events"
)

var longTitle = "Laparotomy, major, with long retractors and everything else one may need"

func setLabel(set string) SetLabel {
	return SetLabel{Set: set, Title: longTitle, List: "LAP-MAJOR", Version: 3, Packed: packedAt, Badge: "B-1182", Short: "9VP9-TST4"}
}

func loadLabel(load string) LoadLabel {
	return LoadLabel{Load: load, Sterilizer: "S2", Run: 4, Cycle: "dynamic-air-132", Started: packedAt, Badge: "B-2044"}
}

// On every size the label is whole, and what a decoder reads off it leads back
// to the set or load: at a label printer's resolution, and from a copy.
func TestLabels(t *testing.T) {
	sizes := LabelSizes()
	if len(sizes) == 0 {
		t.Fatal("no label sizes")
	}
	for _, size := range sizes {
		var set, load bytes.Buffer
		if err := WriteSetLabel(&set, setLabel("LAP-014"), size, english); err != nil {
			t.Fatalf("%s: %v", size.Name, err)
		}
		if err := WriteLoadLabel(&load, loadLabel("S2-0302-04"), size, german); err != nil {
			t.Fatalf("%s: %v", size.Name, err)
		}
		for _, l := range []struct {
			pdf  []byte
			kind events.ScanKind
			id   string
			says []string
		}{
			{set.Bytes(), events.ScanSet, "LAP-014", []string{"SET", "LAP-014", "List LAP-MAJOR, version 3",
				"Packed 02 Mar 2026 06:11 UTC", "by B-1182", "Count sheet 9VP9-TST4", "Laparotomy"}},
			{load.Bytes(), events.ScanLoad, "S2-0302-04", []string{"S2-0302-04", "Sterilisator S2", "Nr. 4",
				"Programm dynamic-air-132", "Start 02.03.2026 06:11 UTC", "von B-2044"}},
		} {
			doc := boxes(t, l.pdf)
			if len(doc.Pages) != 1 {
				t.Fatalf("%s: %d pages", size.Name, len(doc.Pages))
			}
			p := doc.Pages[0]
			if math.Abs(p.Width-size.Width/mmPerPoint) > 0.1 || math.Abs(p.Height-size.Height/mmPerPoint) > 0.1 {
				t.Errorf("%s: the page is %.1f x %.1f points", size.Name, p.Width, p.Height)
			}
			var said []string
			for _, w := range p.Words {
				if w.XMin < 0 || w.YMin < 0 || w.XMax > p.Width || w.YMax > p.Height {
					t.Errorf("%s: %q is outside the label", size.Name, w.Text)
				}
				said = append(said, w.Text)
			}
			for _, want := range l.says {
				if !strings.Contains(strings.Join(said, " "), want) {
					t.Errorf("%s: the label does not say %q: %q", size.Name, want, said)
				}
			}
			g := render(t, l.pdf, 203)[0] // 11 dots are 1.4 mm
			if n := inkOnMargins(g, 11); n != 0 {
				t.Errorf("%s: %d dark points on the margins", size.Name, n)
			}
			for name, text := range map[string]string{"zbar": decode(t, g), "zxing": decodeZXing(t, g),
				"zxing, from a copy": decodeZXing(t, photocopy(render(t, l.pdf, 150)[0]))} {
				if scan, err := events.Recognise(text, l.kind); err != nil || scan.Value != l.id {
					t.Errorf("%s, %s: %q is recognised as %v, %v", size.Name, name, text, scan, err)
				}
			}
		}
	}
}

// A label for practice says so on every size, and its symbol passes nowhere else.
func TestLabelsForPractice(t *testing.T) {
	for _, size := range LabelSizes() {
		var set, load, badge bytes.Buffer
		s, l := setLabel("LAP-014"), loadLabel("S2-0302-04")
		s.Practice, l.Practice = true, true
		if err := WriteSetLabel(&set, s, size, english); err != nil {
			t.Fatalf("%s: %v", size.Name, err)
		}
		if err := WriteLoadLabel(&load, l, size, german); err != nil {
			t.Fatalf("%s: %v", size.Name, err)
		}
		if err := WriteIDLabels(&badge, []IDLabel{{events.ScanBadge, "B-1182", true}}, size, english); err != nil {
			t.Fatalf("%s: %v", size.Name, err)
		}
		for _, p := range []struct {
			pdf      []byte
			word, id string
		}{{set.Bytes(), "PRACTICE", "LAP-014"}, {load.Bytes(), "ÜBUNG", "S2-0302-04"}, {badge.Bytes(), "PRACTICE", "B-1182"}} {
			if n := strings.Count(text(t, p.pdf, "-raw"), p.word); n < 3 {
				t.Errorf("%s: the label of %s says %s %d times", size.Name, p.id, p.word, n)
			}
			symbol := decode(t, render(t, p.pdf, 203)[0])
			if got, err := events.Recognise(symbol); !errors.Is(err, events.ErrPractice) {
				t.Errorf("%s: %s passes for %v, %v", size.Name, symbol, got, err)
			}
			if got, err := events.RecognisePractice(symbol); err != nil || got[0].Value != p.id {
				t.Errorf("%s, where people practise: %v, %v", symbol, got, err)
			}
		}
	}
}

// Badges, cases, tags and seals have labels of their own, one a page.
func TestIDLabels(t *testing.T) {
	for kind, says := range map[events.ScanKind]string{
		events.ScanBadge: "BADGE", events.ScanCase: "CASE", events.ScanTag: "SET TAG", events.ScanSeal: "TAMPER-EVIDENT LOCK",
	} {
		for _, size := range LabelSizes() {
			var b bytes.Buffer
			labels := []IDLabel{{kind, "A-0001", false}, {kind, "A-0002", false}}
			if err := WriteIDLabels(&b, labels, size, english); err != nil {
				t.Fatalf("%s on %s: %v", kind, size.Name, err)
			}
			pages := render(t, b.Bytes(), 203)
			if len(pages) != len(labels) {
				t.Fatalf("%s on %s: %d pages", kind, size.Name, len(pages))
			}
			for i, g := range pages {
				got, err := events.Recognise(decode(t, g))
				if err != nil || got.Kind != kind && got.Symbol != kind || got.Value != labels[i].ID {
					t.Errorf("%s on %s: read as %v, %v", kind, size.Name, got, err)
				}
			}
			if got := text(t, b.Bytes(), "-raw"); strings.Count(strings.NewReplacer("\n", "", " ", "").Replace(got),
				strings.ReplaceAll(says, " ", "")) != 2 || !strings.Contains(got, "A-0002") {
				t.Errorf("%s on %s says %q", kind, size.Name, got)
			}
		}
	}
	for name, labels := range map[string][]IDLabel{
		"none": nil, "of a load": {{events.ScanLoad, "S2", false}}, "without an id": {{events.ScanBadge, "", false}},
		"of two kinds": {{events.ScanBadge, "B-1", false}, {events.ScanCase, "K-1", false}},
	} {
		var b bytes.Buffer
		if err := WriteIDLabels(&b, labels, LabelSizes()[0], english); err == nil || b.Len() != 0 {
			t.Errorf("labels %s: %v, %d bytes", name, err, b.Len())
		}
	}
}

// What is not known when the label is printed has room to be written by hand, and
// what is known is printed.
func TestSetLabelLeavesRoom(t *testing.T) {
	for _, tt := range []struct {
		l    SetLabel
		says []string
	}{
		{SetLabel{Set: "LAP-014"}, []string{"Packed on ____________", "by ____________", "Load ____________"}},
		{SetLabel{Set: "LAP-014", Packed: packedAt, Badge: "B-1182", Load: "S2-0302-04"},
			[]string{"Packed 02 Mar 2026", "by B-1182", "Load S2-0302-04"}},
	} {
		var b bytes.Buffer
		if err := WriteSetLabel(&b, tt.l, LabelSizes()[0], english); err != nil {
			t.Fatal(err)
		}
		got := text(t, b.Bytes(), "-raw")
		for _, want := range tt.says {
			if !strings.Contains(got, want) {
				t.Errorf("the label does not say %q: %q", want, got)
			}
		}
	}
}

func TestLabelSameBytes(t *testing.T) {
	var a, b bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		if err := WriteSetLabel(w, setLabel("LAP-014"), LabelSizes()[0], english); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two prints of one label differ")
	}
}

// An id that needs a larger symbol than the label has room for is refused with
// the way out, and prints on a larger one.
func TestLabelTooSmall(t *testing.T) {
	long := strings.Repeat("a-very-long-id/", 4)
	small, err := ParseLabelSize("40x20")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteSetLabel(&b, setLabel(long), small, english); err == nil || !strings.Contains(err.Error(),
		"take a larger label") || b.Len() != 0 {
		t.Errorf("error %v and %d bytes; want a larger label asked for", err, b.Len())
	}
	// Here the words fit, and the symbol's modules would be smaller than a printer's dots can draw.
	if err := WriteSetLabel(&b, SetLabel{Set: strings.Repeat("ä", 64)}, LabelSize{"80x20", 80, 20},
		english); err == nil || !strings.Contains(err.Error(), "the symbol of") || b.Len() != 0 {
		t.Errorf("error %v; want the symbol refused", err)
	}
	large, err := ParseLabelSize("4x2in")
	if err != nil {
		t.Fatal(err)
	}
	b.Reset()
	if err := WriteSetLabel(&b, setLabel(long), large, english); err != nil {
		t.Fatal(err)
	}
	scan, err := events.Recognise(decode(t, render(t, b.Bytes(), 203)[0]), events.ScanSet)
	if err != nil || scan.Value != long {
		t.Errorf("recognised as %v, %v", scan, err)
	}
}

func TestLabelRefuses(t *testing.T) {
	size := LabelSizes()[0]
	for name, write := range map[string]func(*bytes.Buffer) error{
		"no set":             func(b *bytes.Buffer) error { return WriteSetLabel(b, SetLabel{}, size, english) },
		"no language":        func(b *bytes.Buffer) error { return WriteSetLabel(b, setLabel("LAP-014"), size, nil) },
		"no language, load":  func(b *bytes.Buffer) error { return WriteLoadLabel(b, loadLabel("S2"), size, nil) },
		"no size":            func(b *bytes.Buffer) error { return WriteLoadLabel(b, loadLabel("S2"), LabelSize{}, english) },
		"a sign no font has": func(b *bytes.Buffer) error { return WriteSetLabel(b, SetLabel{Set: "L", Title: "鉗"}, size, english) },
	} {
		var b bytes.Buffer
		if err := write(&b); err == nil || b.Len() != 0 {
			t.Errorf("%s: error %v, %d bytes", name, err, b.Len())
		}
	}
}

func TestParse(t *testing.T) {
	for s, want := range map[string][2]float64{"100x50": {100, 50}, "4x2in": {101.6, 50.8}, "62.5 x 29": {62.5, 29}} {
		if got, err := ParseLabelSize(s); err != nil || math.Abs(got.Width-want[0]) > 1e-9 || math.Abs(got.Height-want[1]) > 1e-9 {
			t.Errorf("ParseLabelSize(%q) = %v, %v", s, got, err)
		}
	}
	for _, s := range []string{"", "100", "100x", "axb", "10x10", "4x2", "400x50", "NaNx50", "-60x50"} {
		if got, err := ParseLabelSize(s); err == nil {
			t.Errorf("ParseLabelSize(%q) = %v", s, got)
		}
	}
	for s, want := range map[string]Size{"a4": A4, "A4": A4, "Letter": Letter} {
		if got, err := ParseSize(s); err != nil || got != want {
			t.Errorf("ParseSize(%q) = %v, %v", s, got, err)
		}
	}
	if _, err := ParseSize("a5"); err == nil {
		t.Error("a5 is taken")
	}
}

// TestSymbolOnScreen: the symbol that a page shows is read as what it says.
func TestSymbolOnScreen(t *testing.T) {
	for _, text := range []string{"X9PTPR17-AK", strings.Repeat("0123456789", 6)} {
		s, err := SymbolOf(text)
		if err != nil {
			t.Fatal(err)
		}
		const module = 5
		g := image.NewGray(image.Rect(0, 0, s.Side*module, s.Side*module))
		for i := range g.Pix {
			g.Pix[i] = 255
		}
		for _, square := range strings.Split(s.Path, "z") {
			var x, y int
			if _, err := fmt.Sscanf(square, "M%d %dh1v1h-1", &x, &y); err != nil {
				continue // after the last
			}
			for i := range module * module {
				g.SetGray(x*module+i%module, y*module+i/module, color.Gray{})
			}
		}
		if got := decode(t, g); got != text {
			t.Errorf("%q is read as %q", text, got)
		}
	}
}
