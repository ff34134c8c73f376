package events

import (
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
