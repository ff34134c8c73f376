package rowtext_test

import (
	"reflect"
	"strings"
	"testing"

	"golang.org/x/text/encoding/unicode"

	"listbound/projections/rowtext"
)

// TestDecode: the same word as it is saved by what people have.
func TestDecode(t *testing.T) {
	for name, raw := range map[string]string{
		"UTF-8": "Gefäß", "UTF-8 with a mark": "\xef\xbb\xbfGefäß", "Windows-1252": "Gef\xe4\xdf",
		"UTF-16LE": "\xff\xfeG\x00e\x00f\x00\xe4\x00\xdf\x00", "UTF-16BE": "\xfe\xff\x00G\x00e\x00f\x00\xe4\x00\xdf",
	} {
		if got, err := rowtext.Decode([]byte(raw)); got != "Gefäß" || err != nil {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
	const table = "Nr.;Gefäß;größer als ½\r\nŽ-1;Čapek;…\r\n"
	for name, e := range map[string]unicode.Endianness{"little": unicode.LittleEndian, "big": unicode.BigEndian} {
		raw, err := unicode.UTF16(e, unicode.IgnoreBOM).NewEncoder().String(table)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := rowtext.Decode([]byte(raw)); got != table || err != nil {
			t.Errorf("UTF-16 without a mark, %s end first: %q, %v", name, got, err)
		}
	}
	for _, raw := range []string{"", "a", "ab\x00cd\x00ef", "\x00\x00\x00\x00"} { // no text at all stays what it is
		if got, err := rowtext.Decode([]byte(raw)); got != raw || err != nil {
			t.Errorf("%q: %q, %v", raw, got, err)
		}
	}
}

// TestSplit: rows stand where the file has them, and a quote for inches is one only where that is asked for.
func TestSplit(t *testing.T) {
	got, err := rowtext.Split("a;b\n\n\nc\n", ';', false)
	if want := [][]string{{"a", "b"}, nil, nil, {"c"}}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := rowtext.Split("1;5\" clamp\n", ';', false); err == nil {
		t.Error("a quote within a cell is taken unasked")
	}
	if got, err := rowtext.Split("1;5\" clamp\n", ';', true); err != nil || got[0][1] != `5" clamp` {
		t.Errorf("%q, %v", got, err)
	}
}

// TestUnmarked: UTF-16 shows by its zeros: of more than every second letter one, and at most one in a hundred on the other side.
func TestUnmarked(t *testing.T) {
	latin := strings.Repeat("a", 99)
	for text, shows := range map[string]bool{
		"aΩa": true, "aΩ": false, "ΩaΩ": false, // the second letter has no byte of zero
		latin + "aĀ": true, latin + "Ā": false, // the last one has it on the other side
		strings.Repeat("a", 2048) + strings.Repeat("Ω", 5000): true, strings.Repeat("Ω", 2048) + strings.Repeat("a", 5000): false,
	} {
		for _, e := range []unicode.Endianness{unicode.LittleEndian, unicode.BigEndian} {
			raw, err := unicode.UTF16(e, unicode.IgnoreBOM).NewEncoder().String(text)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := rowtext.Decode([]byte(raw)); (got == text) != shows || err != nil {
				t.Errorf("%.40q, %v: %.40q, %v", text, e, got, err)
			}
		}
	}
}

// TestInert: what a spreadsheet would compute is text, and all else stays as it is.
func TestInert(t *testing.T) {
	for _, s := range []string{"=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "="} {
		if got := rowtext.Inert(s); got != "'"+s {
			t.Errorf("%q: %q", s, got)
		}
	}
	for _, s := range []string{"", "1", "A=1", "'=1", "ä", " =1"} {
		if got := rowtext.Inert(s); got != s {
			t.Errorf("%q: %q", s, got)
		}
	}
}
