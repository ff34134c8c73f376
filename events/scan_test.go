package events

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

const scanTrip = "019530a1-7c00-7abc-8def-0123456789ab"

func scanCode(t testing.TB) SheetCode {
	t.Helper()
	c, err := NewSheetCode(scanTrip, Digest{0xde, 0xad, 0xbe, 0xef, 5: 7, 16: 0xf0})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func label(t testing.TB, kind ScanKind, id string) string {
	t.Helper()
	s, err := LabelText(kind, id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func ExampleRecognise() {
	tag, err := LabelText(ScanSet, "LAP-014")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(tag)
	for _, scan := range []string{tag, "]d280044012345AAbb\x1d94B-1182", "LAP-014"} {
		s, err := Recognise(scan, ScanSet)
		fmt.Println(s.Kind, s.Value, err)
	}
	_, err = Recognise(tag, ScanBadge)
	fmt.Println(err)
	// Output:
	// X9SLAP-0140
	// set LAP-014 <nil>
	// set 4012345AAbb <nil>
	// set LAP-014 <nil>
	// this is set LAP-014; asked for is: badge
}

// TestSymbolOfASet: a tag, an outer label and a label that does not say which of
// the two it is are told apart, and none is another scanned twice.
func TestSymbolOfASet(t *testing.T) {
	for scan, want := range map[string]ScanKind{
		label(t, ScanTag, "LAP-014"): ScanTag, label(t, ScanOuter, "LAP-014"): ScanOuter, label(t, ScanOuter, "Sieb/7"): ScanOuter,
		"X9SLAP-0140": ScanLabel, // as printed before labels said what they are on
		"LAP-014":     "", "(8004)LAP-014": "", label(t, ScanBadge, "B-1182"): "",
	} {
		if s, err := Recognise(scan); err != nil || s.Symbol != want {
			t.Errorf("%s is %q (%v), want %q", scan, s.Symbol, err, want)
		}
	}
	both := label(t, ScanTag, "LAP-014") + "\n" + label(t, ScanOuter, "LAP-014")
	if _, err := Recognise(both); err == nil {
		t.Error("tag and label in one scan pass for one symbol scanned twice")
	}
	if all, err := RecogniseAll(both); err != nil || len(all) != 2 {
		t.Errorf("%v, %v", all, err)
	}
}

func TestRecognise(t *testing.T) {
	code := scanCode(t).String()
	short := scanCode(t).Short()
	tests := []struct {
		scan string
		want []ScanKind
		kind ScanKind
		id   string
	}{
		{code, nil, ScanSheet, code},
		{strings.ToLower(code), nil, ScanSheet, code},
		{" " + code[:6] + " " + code[6:30] + "-" + code[30:] + "\r\n", nil, ScanSheet, code},
		{"]Q1" + code, nil, ScanSheet, code},
		{short, nil, ScanShort, short},
		{short, []ScanKind{ScanShort}, ScanShort, short},
		{strings.ReplaceAll(strings.ToLower(short), "-", ""), []ScanKind{ScanShort}, ScanShort, short},
		{strings.ReplaceAll(strings.ToLower(short), "-", ""), nil, ScanPlain, strings.ReplaceAll(strings.ToLower(short), "-", "")},
		// What could be a short code by chance is an identifier where one is asked for.
		{short, []ScanKind{ScanSet}, ScanSet, short},
		{label(t, ScanSet, "LAP-014"), nil, ScanSet, "LAP-014"},
		{strings.ToLower(label(t, ScanSet, "LAP-014")), nil, ScanSet, "LAP-014"},
		{"]C0" + label(t, ScanBadge, "B-1182"), nil, ScanBadge, "B-1182"},
		{label(t, ScanLoad, "S2-0302-04"), nil, ScanLoad, "S2-0302-04"},
		{label(t, ScanCase, "K-0412"), nil, ScanCase, "K-0412"},
		{label(t, ScanSeal, "483920"), nil, ScanSeal, "483920"},
		{label(t, ScanTag, "LAP-014"), nil, ScanSet, "LAP-014"},
		{label(t, ScanOuter, "LAP-014"), nil, ScanSet, "LAP-014"},
		{label(t, ScanOuter, "Κασετίνα/7"), []ScanKind{ScanSet}, ScanSet, "Κασετίνα/7"},
		{label(t, ScanSet, "4012345AAbb"), nil, ScanSet, "4012345AAbb"},
		{label(t, ScanSet, "Κασετίνα/7"), nil, ScanSet, "Κασετίνα/7"},
		{"LAP-014", nil, ScanPlain, "LAP-014"},
		{"LAP-014", []ScanKind{ScanSet}, ScanSet, "LAP-014"},
		{"lap-014", []ScanKind{ScanSet}, ScanSet, "lap-014"},
		{"483920", []ScanKind{ScanSeal}, ScanSeal, "483920"},
		{"B-3310", []ScanKind{ScanBadge, ScanCase}, ScanPlain, "B-3310"},
		{"8004LAP-014", []ScanKind{ScanSet}, ScanSet, "8004LAP-014"}, // no GIAI: no company prefix
		{"800412345A", []ScanKind{ScanSet}, ScanSet, "800412345A"},   // five digits are none
		{"80041234567A", nil, ScanSet, "1234567A"},
		{"7023123456A", nil, ScanSet, "123456A"},
		{"7023123456", nil, ScanSet, "123456"}, // just the six digits
		{code[:39], nil, ScanPlain, code[:39]}, // a sheet code has 54 characters: so little of one is none
		{"X9Z-77", nil, ScanPlain, "X9Z-77"},   // no label has a Z there
		{"X9", nil, ScanPlain, "X9"},
		// Brackets with anything but two to four digits in them are no GS1 symbol.
		{"(1)A", nil, ScanPlain, "(1)A"},
		{"(12345)A", nil, ScanPlain, "(12345)A"},
		{"(x1)A", nil, ScanPlain, "(x1)A"},
		{"(8004", nil, ScanPlain, "(8004"},
		// 8018 begins a patient's number only before eighteen digits.
		{"8018ABCDEFGHIJKLMNOPQR", nil, ScanPlain, "8018ABCDEFGHIJKLMNOPQR"},
		{"801812345678901234567", nil, ScanPlain, "801812345678901234567"},
		{"80181234567890123456A", nil, ScanPlain, "80181234567890123456A"},
		{"K-8018401234598765400009", nil, ScanPlain, "K-8018401234598765400009"}, // the check digit does not fit
		{"80044012345AAbb", nil, ScanSet, "4012345AAbb"},
		{"80044012345AAbb", []ScanKind{ScanSeal}, ScanSeal, "80044012345AAbb"},
		{"]C180044012345AAbb", nil, ScanSet, "4012345AAbb"},
		{"]d291" + code, nil, ScanSheet, code},
		{"91" + code, nil, ScanSheet, code},
		{"]d280044012345AAbb\x1d91" + code, nil, ScanSheet, code},
		{"]d280044012345AAbb\x1d91" + code, []ScanKind{ScanSet}, ScanSet, "4012345AAbb"},
		{"^80044012345AAbb^92S2-0302-04", []ScanKind{ScanLoad}, ScanLoad, "S2-0302-04"},
		{"]Q392S2-0302-04{GS}", nil, ScanLoad, "S2-0302-04"},
		{"]Q393K-0412<GS>", nil, ScanCase, "K-0412"},
		{"]Q394B-1182~", nil, ScanBadge, "B-1182"},
		{"]Q395483920|", nil, ScanSeal, "483920"},
		{"(8004)4012345AAbb", nil, ScanSet, "4012345AAbb"},
		{"(01) 09521234543213 (17) 261200 (10) L(4)7", nil, ScanItem, "09521234543213"},
		// The same code twice, from an impatient hand.
		{label(t, ScanSet, "LAP-014") + label(t, ScanSet, "LAP-014"), nil, ScanSet, "LAP-014"},
	}
	if len(tests) == 0 {
		t.Fatal("no cases")
	}
	for _, tt := range tests {
		got, err := Recognise(tt.scan, tt.want...)
		if err != nil || got.Kind != tt.kind || got.Value != tt.id {
			t.Errorf("Recognise(%q, %q) = %s %q, %v; want %s %q", tt.scan, tt.want, got.Kind, got.Value, err, tt.kind, tt.id)
		}
	}
}

func TestRecogniseRefuses(t *testing.T) {
	code := scanCode(t).String()
	tag := label(t, ScanSet, "LAP-014")
	damaged := []byte(code)
	damaged[20], damaged[21] = damaged[21], damaged[20]
	if damaged[20] == damaged[21] {
		t.Fatal("the swapped neighbours are equal")
	}
	tests := []struct {
		scan string
		want []ScanKind
		says string
	}{
		{"", nil, "nothing was scanned"},
		{"\r\n", nil, "nothing was scanned"},
		{"]C1", nil, "no code"},
		{string(damaged), nil, "sheet code is damaged"},
		{code[:53], nil, "has 53 characters"},
		{code[:40], nil, "has 40 characters"},
		{code + "7", nil, "two codes ran together"},
		{code + "LAP-014", nil, "two codes ran together"},
		{code + tag, nil, "2 codes in one scan"},
		{tag[:5] + "9" + tag[6:], nil, "damaged"},
		{strings.ReplaceAll(tag, "-", "ß"), nil, "keyboard layout"},
		{tag + "B-1182", nil, "ran together"},
		{tag + label(t, ScanBadge, "B-1182"), nil, "set LAP-014 and badge B-1182"},
		{tag + "\n" + label(t, ScanBadge, "B-1182"), []ScanKind{ScanSet}, "2 codes in one scan"},
		{tag, []ScanKind{ScanBadge, ScanCase}, "this is set LAP-014; asked for is: badge or case"},
		{code, []ScanKind{ScanSet}, "this is sheet code " + scanCode(t).Short()},
		{"LAP-014", []ScanKind{ScanSheet}, "asked for is: sheet code"},
		{"LAP-014", []ScanKind{ScanShort}, "asked for is: short code"},
		{"two words", nil, "plain identifier"},
		{strings.Repeat("7", 65), nil, "plain identifier"},
		{strings.Repeat("7", maxScan+1), nil, "more than any code"},
		{strings.Repeat("7", maxScan), nil, "plain identifier"},
		{"X9B1182", nil, "the label is damaged"},
		{"X9K1182", nil, "the label is damaged"},
		{"X9XB1182", nil, "the label is damaged"},
		{"LAP\xff", nil, "no characters"},
		{"LAP-014\x1d", nil, "does not begin like one"},
		{"]d280044012345AAbb\x1d92S2-0302-04", nil, "names set 4012345AAbb and load S2-0302-04"},
		{"]d28004401\x1d800304012345666663" + "87", nil, "two assets"},
		{"]d28004401-PART\x1d70234012345AAbb", nil, "label of a part"},
		{"]d2800304012345666663", nil, "no serial number"},
		{"]d291" + string(damaged), nil, "GS1 91"},
		{"]C100106141411234567897", nil, "SSCC 106141411234567897"},
		{"]C100106141411234567897" + "92S2-0302-04", nil, "it names no set"}, // a carrier's own 92
		{"]C1777", nil, "no identifier known here"},
		{"(777)1", nil, "no identifier known here"},
		{"(77)1", nil, "no identifier known here"},
		{"(7777)1", nil, "no identifier known here"},
		{"]d2(8004)4012345AAbb", nil, "no identifier known here"},
		{"https://example.com/list/7", nil, "without a GS1 identifier"},
	}
	if len(tests) == 0 {
		t.Fatal("no cases")
	}
	for _, tt := range tests {
		got, err := Recognise(tt.scan, tt.want...)
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("Recognise(%.80q, %q) = %s %q, %v; want an error with %q", tt.scan, tt.want, got.Kind, got.Value, err,
				tt.says)
		}
	}
}

// Patient numbers are refused in every form, and never repeated.
func TestRecogniseRefusesPatients(t *testing.T) {
	const number = "401234598765400000"
	forms := []string{
		"8018" + number, "]d28018" + number, "]C18018" + number[:17] + "9", "8018" + number[:17] + "9", "(8018)" + number,
		"^8018" + number + "^80191", "]d280044012345AAbb\x1d8018" + number, "]d280044012345AAbb8018" + number,
		"80044012345AAbb8018" + number,
		"https://id.gs1.org/8018/" + number, "https://id.gs1.org/8004/401?8018=" + number, "\n]C18018" + number + "21",
		// Where the element itself would be refused for something else first.
		"8018A^8018" + number, "https://id.gs1.org/8018/" + number + "/21", "(77)1(8018)" + number,
		"https://id.gs1.org/21/1?8018=" + number + "&77=1", "LAP-8018" + number, "\x1dX(8018)" + number,
		"]C18018" + number[:9], "]d2777\x1d8018" + number[:17] + "9", "]d2777\x1d(8018)" + number,
	}
	for _, scan := range forms {
		got, err := RecogniseAll(scan)
		if !errors.Is(err, ErrPatient) || got != nil || strings.Contains(err.Error(), number[:8]) {
			t.Errorf("RecogniseAll(%q) = %v, %v; want ErrPatient", scan, got, err)
		}
	}
}

func TestRecogniseAllTakesApart(t *testing.T) {
	code := scanCode(t).String()
	tag, badge, load := label(t, ScanSet, "LAP-014"), label(t, ScanBadge, "B-1182"), label(t, ScanLoad, "S2-0302-04")
	tests := []struct {
		scan string
		want string
	}{
		{tag + badge, "set LAP-014 and badge B-1182"},
		{tag + code, "set LAP-014 and sheet code " + scanCode(t).Short()},
		{"A]C180044012345AAbb", "identifier A and set 4012345AAbb"},
		{"]A]C180044012345AAbb", "identifier ]A and set 4012345AAbb"},
		// A symbology identifier has a letter behind its bracket (ISO/IEC 15424).
		{"A]0B", "identifier A]0B"},
		{"A]9B", "identifier A]9B"},
		{tag + code + badge, "set LAP-014 and sheet code " + scanCode(t).Short() + " and badge B-1182"},
		{code + load, "sheet code " + scanCode(t).Short() + " and load S2-0302-04"},
		{"]C180044012345AAbb]C192S2-0302-04", "set 4012345AAbb and load S2-0302-04"},
		{"LAP-014\r\nB-1182\r\n", "identifier LAP-014 and identifier B-1182"},
		{"]d280044012345AAbb^92S2-0302-04", "set 4012345AAbb and load S2-0302-04"},
	}
	for _, tt := range tests {
		got, err := RecogniseAll(tt.scan)
		if err != nil || describe(got) != tt.want {
			t.Errorf("RecogniseAll(%q) = %s, %v; want %s", tt.scan, describe(got), err, tt.want)
		}
	}
}

// Two labels that ran together are never a third. Three can be, when the middle
// one has 18 characters (2^18 is -1 modulo 37): that is refused, never guessed.
func TestRecogniseAllRefusesTwoReadings(t *testing.T) {
	badge := label(t, ScanBadge, "B-1182")
	for i := range 400 {
		two := label(t, ScanSet, fmt.Sprintf("T-%03d", i)) + badge
		if got, err := RecogniseAll(two); err != nil || len(got) != 2 {
			t.Fatalf("%q was read as %s, %v", two, describe(got), err)
		}
	}
	middle := label(t, ScanSet, "LAP-MAJOR-0014")
	if len(middle) != 18 {
		t.Fatalf("the middle label has %d characters", len(middle))
	}
	three := label(t, ScanSet, "T-001") + middle + badge
	if _, err := parseLabel(three); err != nil {
		t.Fatalf("%q can't be read as one label: %v; the test shows nothing", three, err)
	}
	if got, err := RecogniseAll(three); err == nil || !strings.Contains(err.Error(), "read twice") {
		t.Errorf("%q was read as %s, %v", three, describe(got), err)
	}
}

// Made by a second implementation of the format, 30 lines in another language.
func TestLabelText(t *testing.T) {
	for _, tt := range []struct {
		kind     ScanKind
		id, text string
	}{
		{ScanSet, "LAP-014", "X9SLAP-0140"},
		{ScanSet, "0", "X9S0T"},
		{ScanSet, "a", "X9XSC4C"},
		{ScanSet, "ab", "X9XSC5H06"},
		{ScanBadge, "abc", "X9XBC5H66R"},
		{ScanLoad, "abcd", "X9XLC5H66S0N"},
		{ScanCase, "abcde", "X9XCC5H66S356"},
		{ScanSeal, "abcdefgh", "X9XKC5H66S35CSKPGI"},
		{ScanSet, "Κασετίνα/7", "X9XSSTDCXCEFGF7BBKW4STQWXFEEP4QKEQ"},
	} {
		if got := label(t, tt.kind, tt.id); got != tt.text {
			t.Errorf("the label of %s %s says %s, want %s", tt.kind, tt.id, got, tt.text)
		}
		if got, err := parseLabel(tt.text); err != nil || got.Kind != tt.kind || got.Value != tt.id {
			t.Errorf("%s reads as %v, %v", tt.text, got, err)
		}
	}
}

// Every single wrong character and every swap of neighbours in a label shows.
func TestLabelCheckCharacter(t *testing.T) {
	for _, id := range []string{"LAP-014", "0", "4012345AAbb", strings.Repeat("Z9-", 21)} {
		text := label(t, ScanSet, id)
		for i := range text {
			for _, c := range []byte(labelAlphabet) {
				if c == text[i] {
					continue
				}
				if got, err := parseLabel(text[:i] + string(c) + text[i+1:]); err == nil {
					t.Fatalf("%q with %c at %d reads as %v", text, c, i, got)
				}
			}
			if i > 0 && text[i] != text[i-1] {
				b := []byte(text)
				b[i], b[i-1] = b[i-1], b[i]
				if got, err := parseLabel(string(b)); err == nil {
					t.Fatalf("%q with %d and %d swapped reads as %v", text, i-1, i, got)
				}
			}
		}
	}
}

// An identifier has one label: neither the coded form of what needs none nor
// padding that says something is one.
func TestLabelIsUnique(t *testing.T) {
	whole := func(text string) string { return text + string(labelAlphabet[labelCheck(text)]) }
	coded := encode32([]byte("4012345AAbb")) // 88 bits in 18 characters: two of padding
	if got := whole("X9XS" + coded); got != label(t, ScanSet, "4012345AAbb") {
		t.Fatalf("the label is %q", got)
	}
	last := strings.IndexByte(sheetAlphabet, coded[17])
	for _, text := range []string{
		whole("X9XS" + encode32([]byte("LAP-014"))),
		whole("X9XS" + coded[:17] + string(sheetAlphabet[last+1])),
		whole("X9XS" + coded + "0"),
		whole("X9X"), whole("X9XS"), whole("X9S"), whole("X9XQ" + coded), whole("X9XS" + encode32([]byte("a b"))),
		whole("X9XS" + encode32([]byte("a\xff"))),
	} {
		if got, err := Recognise(text); err == nil {
			t.Errorf("%q is recognised as %s", text, describe([]Scan{got}))
		}
	}
}

// TestLabelTooShort: the lead alone has the sum of a label, and so may begin one.
func TestLabelTooShort(t *testing.T) {
	if labelSum(labelLead) != labelTotal {
		t.Fatalf("the sum of %s is %d; the test shows nothing", labelLead, labelSum(labelLead))
	}
	for _, text := range []string{"", labelLead} {
		for range 3 {
			if got, err := parseLabel(text); err == nil {
				t.Errorf("%q reads as %v", text, got)
			}
			text += string(labelAlphabet[labelCheck(text)])
		}
	}
}

func TestLabelTextRefuses(t *testing.T) {
	for _, tt := range []struct {
		kind ScanKind
		id   string
	}{{ScanSet, ""}, {ScanSet, "two words"}, {ScanSheet, "LAP-014"}, {ScanPlain, "LAP-014"},
		{ScanSet, strings.Repeat("a", 65)}} {
		if got, err := LabelText(tt.kind, tt.id); err == nil {
			t.Errorf("LabelText(%s, %q) = %q", tt.kind, tt.id, got)
		}
	}
}

// Only what scanners are usually set to type counts as a separator.
func TestSeparators(t *testing.T) {
	for _, sep := range []string{"\x1d", "^", "~", "|", "{GS}", "<GS>"} {
		if got, err := Recognise("]d280044012345AAbb"+sep+"92S2-0302-04", ScanLoad); err != nil || got.Value != "S2-0302-04" {
			t.Errorf("with %q: %v, %v", sep, got, err)
		}
	}
	for _, sep := range []string{"#", "{gs}", "GS"} {
		if got, err := Recognise("]d280044012345AAbb"+sep+"92S2-0302-04", ScanLoad); err == nil {
			t.Errorf("%q counts as a separator: %v", sep, got)
		}
	}
}

func FuzzRecognise(f *testing.F) {
	code := scanCode(f).String()
	seeds := []string{
		code, label(f, ScanSet, "LAP-014") + code, label(f, ScanSet, "4012345AAbb"), "]d280044012345AAbb\x1d91" + code,
		"(01)09521234543213(17)261200",
		"https://id.gs1.org/01/04012345123456/21/12?17=261231", "8018401234598765400000", "]C1", "X9X", "X9XS0",
		"LAP-014\nB-1182", "]Q3414401234500011525498\x1d",
		"X9X9X9X9", "(8004)", "http://", "%", "254", scanCode(f).Short(),
	}
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, scan string) {
		all, err := RecogniseAll(scan)
		if err != nil {
			if all != nil {
				t.Fatalf("both %v and an error", all)
			}
			return
		}
		if len(all) == 0 {
			t.Fatal("neither a scan nor an error")
		}
		for _, s := range all {
			for _, e := range s.Elements {
				if e.AI == "8018" {
					t.Fatal("a patient's number came through")
				}
			}
			switch s.Kind {
			case ScanSheet:
				if c, err := ParseSheetCode(s.Value); err != nil || c.String() != s.Value {
					t.Fatalf("sheet code %q: %v", s.Value, err)
				}
			case ScanSet, ScanBadge, ScanLoad, ScanCase, ScanSeal:
				// Whatever was recognised can be printed and is recognised again.
				text, err := LabelText(s.Kind, s.Value)
				if err != nil {
					t.Fatalf("%s %q can't be labelled: %v", s.Kind, s.Value, err)
				}
				if again, err := parseLabel(text); err != nil || again.Value != s.Value || again.Kind != s.Kind {
					t.Fatalf("%q reads as %v, %v", text, again, err)
				}
			}
		}
	})
}
