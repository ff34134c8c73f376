package events

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// Check digits published by GS1: gs1.org/how-calculate-check-digit-manually,
// gs1.se/Support/Berakna-kontrollsiffra, gs1india.org/SERV/checkdgt.htm.
func TestGS1CheckDigit(t *testing.T) {
	for digits, want := range map[string]byte{"629104150021": '3', "730001100001": '7', "890400021003": '7'} {
		if got, err := CheckDigit(digits); err != nil || got != want {
			t.Errorf("CheckDigit(%s) = %c, %v; want %c", digits, got, err, want)
		}
		// A GTIN is refused with any single digit changed.
		gtin := "0" + digits + string(want)
		if _, err := Recognise("]d201"+gtin, ScanItem); err != nil {
			t.Fatal(err)
		}
		for i := range gtin {
			for c := byte('0'); c <= '9'; c++ {
				if c == gtin[i] {
					continue
				}
				if got, err := Recognise("]d201" + gtin[:i] + string(c) + gtin[i+1:]); err == nil {
					t.Errorf("%s with %c at %d reads as %v", gtin, c, i, got)
				}
			}
		}
	}
	for _, s := range []string{"", "12a"} {
		if _, err := CheckDigit(s); err == nil {
			t.Errorf("CheckDigit(%q) gives no error", s)
		}
	}
}

// 8003, 8004, 8017 and 8018 are not in the list of predefined lengths: they
// need a separator although part or all of them has a fixed length (GS1
// Application Identifier Syntax Dictionary @0344bf4: no "*" in their entries).
func TestGS1SeparatorAfterFixedPart(t *testing.T) {
	values := map[string]string{
		"8003": "0401234566666387", "8004": "4012345AAbb", "8017": "401234500000987658", "8018": "401234598765400000",
	}
	for id, value := range values {
		if applicationIdentifiers[id].predefined {
			t.Errorf("%s is in the list of predefined lengths", id)
		}
		if id == "8018" {
			continue // refused in any form: TestRecogniseRefusesPatients
		}
		with, err := parseElements(id + value + "\x1d2112")
		want := []Element{{id, value}, {"21", "12"}}
		if err != nil || !slices.Equal(with, want) {
			t.Errorf("%s with separator = %v, %v; want %v", id, with, err, want)
		}
		without, err := parseElements(id + value + "2112")
		if err == nil && slices.Equal(without, want) {
			t.Errorf("%s without separator was split all the same", id)
		}
		if id == "8017" && err == nil {
			t.Errorf("8017 without separator = %v; want it refused", without)
		}
	}
	// Too long for the variable part: the separator is missing for certain.
	for _, s := range []string{"80044012345AAbb" + "91" + strings.Repeat("A", 54),
		"80030401234566666387" + "21" + strings.Repeat("1", 14)} {
		if got, err := parseElements(s); err == nil || !strings.Contains(err.Error(), "without a separator") {
			t.Errorf("%q = %v, %v; want it refused for its separator", s, got, err)
		}
	}
}

// Pairs of EPC URN and GS1 Digital Link from the CBV 2.0 event hash reference
// implementation's examples: giai:4012345.AAbb, grai:4012345.66666.87,
// gsrnp:4012345.0000098765, sgtin:4012345.012345.12, sgln:4012345.00011.987.
// The first two links are from github.com/bwipp/postscriptbarcode/wiki/GS1-Digital-Link-URIs.
func TestGS1DigitalLink(t *testing.T) {
	tests := []struct {
		link string
		kind ScanKind
		id   string
		more Element
	}{
		{"https://id.gs1.org/01/09521234543213/10/ABC123/21/12345", ScanItem, "09521234543213", Element{"10", "ABC123"}},
		{"https://id.gs1.org/01/09521234543213?17=261231", ScanItem, "09521234543213", Element{"17", "261231"}},
		{"https://id.gs1.org/8004/4012345AAbb", ScanSet, "4012345AAbb", Element{"8004", "4012345AAbb"}},
		{"HTTPS://example.org/assets/8003/0401234566666387?lang=en", ScanSet, "0401234566666387",
			Element{"8003", "0401234566666387"}},
		{"https://id.gs1.org/8017/401234500000987658", ScanBadge, "401234500000987658",
			Element{"8017", "401234500000987658"}},
		{"https://id.gs1.org/01/04012345123456/21/12", ScanItem, "04012345123456", Element{"21", "12"}},
		{"https://id.gs1.org/414/4012345000115/254/987", ScanPlace, "4012345000115.987", Element{"254", "987"}},
		{"https://id.gs1.org/8004/4012345A%2Fb", ScanSet, "4012345A/b", Element{"8004", "4012345A/b"}},
	}
	if len(tests) == 0 {
		t.Fatal("no cases")
	}
	for _, tt := range tests {
		got, err := Recognise(tt.link)
		if v, ok := got.Element("00"); ok {
			t.Errorf("%s has an SSCC %s", tt.link, v)
		}
		if v, ok := got.Element(tt.more.AI); err != nil || got.Kind != tt.kind || got.Value != tt.id || !ok ||
			v != tt.more.Value {
			t.Errorf("Recognise(%q) = %v, %v; want %s %q with %v", tt.link, got, err, tt.kind, tt.id, tt.more)
		}
	}
	for _, bad := range []string{"https://id.gs1.org/01/09521234543214", "https://id.gs1.org/01",
		"https://id.gs1.org/8004/%zz", "https://id.gs1.org/8004/401/77/1",
		"https://id.gs1.org/8004/401?17=1", "https:///8004/401"} {
		if got, err := Recognise(bad); err == nil {
			t.Errorf("Recognise(%q) = %v", bad, got)
		}
	}
}

func TestGS1Elements(t *testing.T) {
	tests := []struct {
		scan string
		want []Element
	}{
		{"01095212345432131726123110ABC\x1d2112",
			[]Element{{"01", "09521234543213"}, {"17", "261231"}, {"10", "ABC"}, {"21", "12"}}},
		{"\x1d0109521234543213\x1d10A", []Element{{"01", "09521234543213"}, {"10", "A"}}},
		// a separator nobody needs does no harm
		{"41440123450001152541\x1d", []Element{{"414", "4012345000115"}, {"254", "1"}}},
		{"8017401234500000987658\x1d801912", []Element{{"8017", "401234500000987658"}, {"8019", "12"}}},
		{"70234012345AAbb", []Element{{"7023", "4012345AAbb"}}},
		{"17000229", []Element{{"17", "000229"}}},
		{"17260200", []Element{{"17", "260200"}}},
	}
	for _, tt := range tests {
		got, err := parseElements(tt.scan)
		if err != nil || !slices.Equal(got, tt.want) {
			t.Errorf("parseElements(%q) = %v, %v; want %v", tt.scan, got, err, tt.want)
		}
	}
	filler, err := CheckDigit("1401234566666")
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{
		"80031401234566666" + string(filler), "80030401234566666487", "801740123450000098765", "801740123450000098765A",
		"401234500000987658",
		"01095212345432", "010952123454321A", "17261301", "17260230", "10", "10\x1d", "10ABCDEFGHIJKLMNOPQRSTU", "10A#",
		"10ä", "3012A", "8019", "801912", "2541",
		"800314012345666663", "8004A\x1d8004B", "9", "5", "80044012345AAbb\x1d\x1d",
	} {
		if got, err := parseElements(bad); err == nil {
			t.Errorf("parseElements(%q) = %v; want it refused", bad, got)
		}
	}
}

func TestGS1Date(t *testing.T) {
	now := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	for value, want := range map[string]string{
		"261231": "2026-12-31", "260200": "2026-02-28", "280200": "2028-02-29", "760101": "2076-01-01",
		"770101": "1977-01-01", "990101": "1999-01-01", "260100": "2026-01-31",
	} {
		if got, err := (Element{"17", value}).Date(now); err != nil || got.Format(time.DateOnly) != want {
			t.Errorf("%s = %v, %v; want %s", value, got, err, want)
		}
	}
	// Later the same two digits mean another century.
	if got, err := (Element{"17", "260101"}).Date(now.AddDate(50, 0, 0)); err != nil || got.Year() != 2126 {
		t.Errorf("26 seen from 2076 = %v, %v; want 2126", got, err)
	}
	if got, err := (Element{"17", "260101"}).Date(now.AddDate(49, 0, 0)); err != nil || got.Year() != 2026 {
		t.Errorf("26 seen from 2075 = %v, %v; want 2026", got, err)
	}
	for _, e := range []Element{{"17", "261301"}, {"17", "270229"}, {"17", "2612"}, {"10", "261231"}} {
		if got, err := e.Date(now); err == nil {
			t.Errorf("%v = %v; want it refused", e, got)
		}
	}
}

// ais are the formats of the identifiers known here as the GS1 Application
// Identifier Syntax Dictionary (@0344bf4) has them: * for a predefined length,
// N digits, X characters of set 82, a comma before a check of the digits.
const ais = `
00 * N18,csum
01 * N14,csum
10 X..20
11 * N6,yymmd0
13 * N6,yymmd0
15 * N6,yymmd0
17 * N6,yymmd0
20 * N2
21 X..20
22 X..20
30 N..8
240 X..30
241 X..30
250 X..30
254 X..20
414 * N13,csum
7023 X..30
8003 N14,zero,csum [X..16]
8004 X..30
8017 N18,csum
8018 N18,csum
8019 N..10
90 X..30
91 X..90
92 X..90
93 X..90
94 X..90
95 X..90
96 X..90
97 X..90
98 X..90
99 X..90
`

// dictionaryEntry writes a format as the dictionary does.
func dictionaryEntry(id string, a ai) string {
	out := id
	if a.predefined {
		out += " *"
	}
	if a.fixed > 0 {
		out += fmt.Sprintf(" N%d", a.fixed)
		for _, c := range []struct {
			name string
			on   bool
		}{{"zero", a.zero}, {"csum", a.check}, {"yymmd0", a.date}} {
			if c.on {
				out += "," + c.name
			}
		}
	}
	switch {
	case a.variable > 0 && a.numeric:
		out += fmt.Sprintf(" N..%d", a.variable)
	case a.variable > 0 && a.optional:
		out += fmt.Sprintf(" [X..%d]", a.variable)
	case a.variable > 0:
		out += fmt.Sprintf(" X..%d", a.variable)
	}
	return out
}

func TestGS1Formats(t *testing.T) {
	want := make(map[string]bool)
	for line := range strings.Lines(strings.TrimSpace(ais)) {
		want[strings.TrimSpace(line)] = true
	}
	if len(want) != len(applicationIdentifiers) {
		t.Errorf("%d formats, want %d", len(applicationIdentifiers), len(want))
	}
	for id, a := range applicationIdentifiers {
		if got := dictionaryEntry(id, a); !want[got] {
			t.Errorf("%s is not in the dictionary", got)
		}
		if a.title == "" {
			t.Errorf("%s has no title", id)
		}
	}
}

// TestGS1Characters: set 82 of the GS1 General Specifications, in full.
func TestGS1Characters(t *testing.T) {
	const set82 = `!"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz`
	if len(set82) != 82 {
		t.Fatalf("%d characters", len(set82))
	}
	for c := range rune(0x180) {
		err := applicationIdentifiers["21"].checkValue("21", "A"+string(c))
		if good := strings.ContainsRune(set82, c); (err == nil) != good {
			t.Errorf("%q: %v", c, err)
		}
	}
}

// TestGS1Messages: what a person with a scanner is told, word for word.
func TestGS1Messages(t *testing.T) {
	for _, tt := range []struct{ scan, want string }{
		{"21" + strings.Repeat("1", 21), `GS1 21 (serial number) "111111111111111111111" is followed by more without a ` +
			`separator, or too long (21 characters, at most 20); if this comes again, set the scanner to send GS or ^ ` +
			`as separator: scan it again`},
		{"800304012345666663" + strings.Repeat("1", 17), `GS1 8003 (GRAI) "0401234566666311111111111111111" is ` +
			`followed by more without a separator, or too long (31 characters, at most 30); if this comes again, set ` +
			`the scanner to send GS or ^ as separator: scan it again`},
		{"0109521234543214", `GS1 01 (GTIN) "09521234543214" is damaged (the check digit should be 3): scan it again`},
		{"010952123454321", `GS1 01 (GTIN) "0952123454321" has 13 characters of 14: scan it again`},
		{"80031401234566666" + "3", `GS1 8003 (GRAI) "14012345666663" does not begin with the filler 0: scan it again`},
		{"10", `GS1 10 (batch or lot) "" is empty: scan it again`},
		{"30A", `GS1 30 (count) "A" has a letter where a digit belongs: scan it again`},
		{"17261301", `GS1 17 (expiry) "261301" is no date (year, month, day): scan it again`},
		{"21A\x1d21B", `GS1 21 (serial number) stands twice in one scan, as "A" and "B": two symbols ran together; ` +
			`scan them one at a time`},
		{"2541", `GS1 254 (location extension) means nothing without 414: scan the whole symbol`},
		{"21A\x1d77", `taken for a GS1 symbol, it goes on with "77", which is no identifier known here (read so far: ` +
			`serial number A): if the scanner leaves separators out, set it to send GS or ^`},
		{"7", `taken for a GS1 symbol, it goes on with "7", which is no identifier known here (read so far: nothing): ` +
			`if the scanner leaves separators out, set it to send GS or ^`},
	} {
		if got, err := parseElements(tt.scan); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, %v\nwant %s", tt.scan, got, err, tt.want)
		}
	}
	// The last and the longest that fit.
	for _, s := range []string{"21" + strings.Repeat("1", 20), "800304012345666663" + strings.Repeat("1", 16),
		"3012345678"} {
		if _, err := parseElements(s); err != nil {
			t.Errorf("%s: %v", s, err)
		}
	}
}
