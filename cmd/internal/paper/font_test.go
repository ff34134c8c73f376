package paper

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"listbound/projections/words"
)

func TestMissing(t *testing.T) {
	for s, want := range map[string]string{
		"": "", "Forceps, 12.5 cm × 3 (½) ± 0,1 µm ≤ ⌀ ▲ … „Größe“ – naïve ŁŐŘĆ": "",
		"Λαβίδα αιμοστατική": "", "Зажим кровоостанавливающий": "",
		"鉗子 Clip 鉗": "鉗子", "🙁": "🙁", "مقص": "مقص", "שק": "שק", "a\u0308": "\u0308", "\ufffe": "\ufffe",
		"\u200b": "\u200b",
	} {
		if got := string(Missing(s)); got != want {
			t.Errorf("Missing(%q) = %q; want %q", s, got, want)
		}
	}
}

// The three faces show what the paper itself says, in each language.
func TestWordsCanBePrinted(t *testing.T) {
	looked := 0
	for _, tag := range languages.Languages() {
		l := languages.In(tag)
		for _, key := range l.Keys() {
			if !strings.HasPrefix(key, "paper.") || len(l.Values(key)) > 0 {
				continue
			}
			looked++
			if s := l.Say(key); s == "" || len(Missing(s)) > 0 {
				t.Errorf("%s: %s can't be printed: %q", tag, key, s)
			}
		}
	}
	if looked < 50 {
		t.Errorf("only %d texts", looked)
	}
}

// A language is a file. What it says in a script that the fonts lack is printed
// in English.
func TestPrintInAnotherLanguage(t *testing.T) {
	more, err := words.Load(fstest.MapFS{"eo.json": {Data: []byte(`{
		"paper.count-sheet": "NOMBROLISTO", "paper.list": "Listo {0}, versio {1}", "paper.remarks": "備考",
		"paper.reason-missing": "mankas", "paper.date": "2 January 2006 15:04 MST",
		"paper.packed": "Pakita {{date \"paper.date\" {0}}}",
		"format.months": "januaro februaro marto aprilo majo junio julio aŭgusto septembro oktobro novembro decembro"
	}`)}}, ".")
	if err != nil {
		t.Fatal(err)
	}
	s := sample(t, 6)
	s.Packed = s.Packed.In(time.FixedZone("CET", 3600))
	got := text(t, sheetPDF(t, s, A4, words.Merge(languages, more).In("eo")), "-raw")
	for _, want := range []string{
		"NOMBROLISTO", "Listo LAP-MAJOR, versio 3", "Remarks", "Pakita 2 marto 2026 07:11 CET", "Page 1 of 1",
		"▲ missing: 3 packed", // the sentence is not translated, so no word in it is
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not printed:\n%s", want, got)
		}
	}
}

// What Missing lets pass comes out of the PDF as it went in.
func TestMissingAgreesWithThePrint(t *testing.T) {
	s := sample(t, 4)
	s.Lines[0].Description = "ÀÉÎÕÜßæøåčđęğıłńőřşťůžǅ ΆΈΉΊαβγδεζηθ ЀЁЂабвгдежзӀ ½¼×÷±≤≥≠°µΩ⌀€„“”–—…▲√∞"
	if m := Missing(s.Lines[0].Description); len(m) > 0 {
		t.Fatalf("missing: %q", m)
	}
	s = bind(t, s)
	got := strings.ReplaceAll(strings.ReplaceAll(text(t, sheetPDF(t, s, A4, english), "-raw"), "\n", ""), " ", "")
	if want := strings.ReplaceAll(s.Lines[0].Description, " ", ""); !strings.Contains(got, want) {
		t.Errorf("printed: %s\nwant: %s", got, want)
	}
}

// A character may be in a segment and yet have glyph 0, which is the empty box.
func TestSegments(t *testing.T) {
	table := []byte{
		0, 4, 0, 46, 0, 0, // format, length, language
		0, 6, 0, 0, 0, 0, 0, 0, // three segments
		0, 'B', 0, 'd', 0xff, 0xff, // ends
		0, 0,
		0, 'A', 0, 'c', 0xff, 0xff, // starts
		0, 0, 0xff, 0x9d, 0, 1, // deltas: the second makes c glyph 0
		0, 6, 0, 0, 0, 0, // offsets: the first is in the array
		0, 7, 0, 0, // glyphs of A and B
	}
	got, err := segments(table)
	if err != nil || len(got) != 2 || !got['A'] || got['B'] || got['c'] || !got['d'] {
		t.Errorf("segments = %v, %v; want A and d", got, err)
	}
	table[1], table[7] = 4, 200
	if got, err := segments(table); err == nil {
		t.Errorf("a table cut short gives %v", got)
	}
}

// A font that is damaged is an error, not a reading beyond its end.
func FuzzCharacters(f *testing.F) {
	seeds := [][]byte{nil, monoTTF[:12], monoTTF[:400],
		[]byte("\x00\x01\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00cmap\x00\x00\x00\x00\x00\x00\x00\x1c\x00\x00\x00\x04\x00\x00\x00\x01")}
	table, err := fontTable(monoTTF, "cmap")
	if err != nil {
		f.Fatal(err)
	}
	small := bytes.Clone(monoTTF[:12])
	small[4], small[5] = 0, 1
	small = append(small, "cmap\x00\x00\x00\x00\x00\x00\x00\x1c\x00\x00\x10\x00"...)
	small = append(small, table[:4096]...)
	seeds = append(seeds, small)
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, ttf []byte) {
		if m, err := characters(ttf); err != nil && m != nil {
			t.Error("both characters and an error")
		}
	})
}
