package events

import (
	"errors"
	"strings"
	"testing"
)

func page(t testing.TB, n, of int) string {
	t.Helper()
	s, err := SheetPage{Code: scanCode(t), Page: n, Pages: of, Layout: 2}.Text()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func practised(t testing.TB, text string) string {
	t.Helper()
	s, err := PracticeText(text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A page says its sheet and which page it is, however it is typed; the bare code
// of older prints goes on to be read.
func TestSheetPage(t *testing.T) {
	code := scanCode(t).String()
	for _, tt := range []struct {
		scan        string
		page, pages int
	}{
		{page(t, 1, 1), 1, 1}, {page(t, 2, 3), 2, 3}, {page(t, 99, 99), 99, 99},
		{strings.ToLower(page(t, 2, 3)), 2, 3}, {"]Q1" + page(t, 40, 41) + "\r\n", 40, 41}, {code, 0, 0},
	} {
		got, err := Recognise(tt.scan, ScanSheet)
		if err != nil || got.Value != code || got.Page != tt.page || got.Pages != tt.pages {
			t.Errorf("%s: page %d of %d of %s, %v", tt.scan, got.Page, got.Pages, got.Value, err)
		}
	}
	for _, p := range []SheetPage{
		{Page: 1, Pages: 1, Layout: 2}, {Code: scanCode(t), Page: 0, Pages: 1, Layout: 2},
		{Code: scanCode(t), Page: 2, Pages: 1, Layout: 2}, {Code: scanCode(t), Page: 1, Pages: 100, Layout: 2},
		{Code: scanCode(t), Page: 1, Pages: 1}, {Code: scanCode(t), Page: 1, Pages: 1, Layout: 32},
	} {
		if got, err := p.Text(); err == nil {
			t.Errorf("%+v gives %s", p, got)
		}
	}
}

// No single wrong character and no exchange of neighbours in a page's symbol goes
// unnoticed: it would name another page.
func TestSheetPageCheck(t *testing.T) {
	text := page(t, 2, 3)
	for i := range text {
		for _, c := range sheetAlphabet {
			if wrong := text[:i] + string(c) + text[i+1:]; wrong != text {
				if got, err := parseSheetPage(wrong); err == nil {
					t.Fatalf("%s is read as page %d of %d", wrong, got.Page, got.Pages)
				}
			}
		}
		if i > 0 && text[i] != text[i-1] {
			if got, err := parseSheetPage(text[:i-1] + text[i:i+1] + text[i-1:i] + text[i+1:]); err == nil {
				t.Errorf("neighbours %d exchanged are read as page %d of %d", i, got.Page, got.Pages)
			}
		}
	}
}

// Two pages that ran together are two scans; so are a page and a label.
func TestSheetPagesInARow(t *testing.T) {
	tag := label(t, ScanSet, "LAP-014")
	all, err := RecogniseAll(page(t, 1, 2) + page(t, 2, 2) + tag)
	if err != nil || len(all) != 3 || all[0].Page != 1 || all[1].Page != 2 || all[2].Value != "LAP-014" {
		t.Errorf("%v, %v", all, err)
	}
	if _, err := Recognise(page(t, 1, 2) + page(t, 2, 2)); err == nil {
		t.Error("two pages count as one scan")
	}
	if _, err := Recognise(page(t, 1, 2) + page(t, 1, 2)); err != nil {
		t.Errorf("one page read twice: %v", err)
	}
}

// What was printed for practice is refused by name wherever it is not for
// practice, in a scan and in a record, and is an ordinary code where it is.
func TestPractice(t *testing.T) {
	code := scanCode(t).String()
	for _, tt := range []struct {
		text string
		kind ScanKind
		id   string
		page int
	}{
		{code, ScanSheet, code, 0},
		{page(t, 2, 3), ScanSheet, code, 2},
		{page(t, 40, 41), ScanSheet, code, 40},
		{label(t, ScanSet, "LAP-014"), ScanSet, "LAP-014", 0},
		{label(t, ScanBadge, "B-1182"), ScanBadge, "B-1182", 0},
		{label(t, ScanSet, "4012345AAbb"), ScanSet, "4012345AAbb", 0},
		{label(t, ScanSeal, "P-1"), ScanSeal, "P-1", 0},
	} {
		for _, scan := range []string{practised(t, tt.text), strings.ToLower(practised(t, tt.text)), "]Q1" + practised(t, tt.text)} {
			if got, err := Recognise(scan); !errors.Is(err, ErrPractice) {
				t.Errorf("%s is taken for %v, %v", scan, got, err)
			}
			got, err := RecognisePractice(scan)
			if err != nil || len(got) != 1 || got[0].Kind != tt.kind || got[0].Value != tt.id || got[0].Page != tt.page {
				t.Errorf("%s for practice is %v, %v", scan, got, err)
			}
		}
		if got, err := Recognise(practised(t, tt.text) + label(t, ScanSet, "LAP-015")); !errors.Is(err, ErrPractice) {
			t.Errorf("with a real label behind it it is %v, %v", got, err)
		}
		if got, err := RecognisePractice(tt.text); err != nil || got[0].Value != tt.id {
			t.Errorf("%s, where people practise: %v, %v", tt.text, got, err)
		}
	}
	c := checks{}
	c.optionalCode("sheet: ", practised(t, code))
	if !errors.Is(c.err, ErrPractice) {
		t.Errorf("a record takes it: %v", c.err)
	}
}

func TestPracticeRefuses(t *testing.T) {
	for _, s := range []string{"", "LAP-014", scanCode(t).String()[:53], practised(t, scanCode(t).String()), "X9SLAP-0141"} {
		if got, err := PracticeText(s); err == nil {
			t.Errorf("%q becomes %q", s, got)
		}
	}
	code := practised(t, scanCode(t).String())
	for i := range code {
		wrong := code[:i] + string(sheetAlphabet[(strings.IndexByte(sheetAlphabet, code[i])+1)%32]) + code[i+1:]
		if got, err := RecognisePractice(wrong); err == nil && got[0].Kind == ScanSheet {
			t.Fatalf("%s, damaged, is read", wrong)
		}
	}
	twice := labelWithCheck("X9PP" + label(t, ScanSet, "L")[2:4])
	if got, err := RecognisePractice(twice); err == nil {
		t.Errorf("%s is %v", twice, got)
	}
}

// ReadSheetPage says the page with its layout, and whether it is for practice; a bare code is no page.
func TestReadSheetPage(t *testing.T) {
	for text, want := range map[string]bool{page(t, 2, 3): false, practised(t, page(t, 2, 3)): true} {
		p, practice, err := ReadSheetPage(text)
		if err != nil || practice != want || p.Page != 2 || p.Pages != 3 || p.Layout != 2 || p.Code != scanCode(t) {
			t.Errorf("%s: %+v, %v, %v", text, p, practice, err)
		}
	}
	for _, text := range []string{"", scanCode(t).String(), page(t, 2, 3)[1:], "LAP-014", "äöü"} {
		if p, _, err := ReadSheetPage(text); err == nil {
			t.Errorf("%q is %+v", text, p)
		}
	}
}
