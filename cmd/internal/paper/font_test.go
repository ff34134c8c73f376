package paper

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
)

func TestMissing(t *testing.T) {
	for s, want := range map[string]string{
		"": "", "Forceps, 12.5 cm × 3 (½) ± 0,1 µm ≤ ⌀ ▲ … „Größe“ – naïve ŁŐŘĆ": "",
		"Λαβίδα αιμοστατική": "", "Зажим кровоостанавливающий": "",
		"鉗子 Clip 鉗": "鉗子", "🙁": "🙁", "مقص": "مقص", "שק": "שק", "a\u0308": "\u0308", "\ufffe": "\ufffe", "\u200b": "\u200b",
	} {
		if got := string(Missing(s)); got != want {
			t.Errorf("Missing(%q) = %q; want %q", s, got, want)
		}
	}
}

// The three faces show what the paper itself says, in each language: the words
// of a language are complete, take the same values, and can be printed.
func TestWordsComplete(t *testing.T) {
	if len(Languages()) < 2 {
		t.Fatal("fewer than two languages")
	}
	for _, l := range Languages() {
		w, err := l.words()
		if err != nil {
			t.Fatal(err)
		}
		v := reflect.ValueOf(*w)
		looked := 0
		for i := range v.NumField() {
			if v.Field(i).Kind() != reflect.String {
				continue
			}
			looked++
			name, s := v.Type().Field(i).Name, v.Field(i).String()
			if s == "" || strings.HasPrefix(s, textPrefix) {
				t.Errorf("%s: %s is %q", l, name, s)
			}
			if m := Missing(s); len(m) > 0 {
				t.Errorf("%s: %s can't be printed: %q", l, name, m)
			}
		}
		if looked < 30 {
			t.Errorf("%d words", looked)
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
	got := strings.ReplaceAll(strings.ReplaceAll(text(t, sheetPDF(t, s, A4, English), "-raw"), "\n", ""), " ", "")
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
	seeds := [][]byte{nil, monoTTF[:12], monoTTF[:400], []byte("\x00\x01\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00cmap\x00\x00\x00\x00\x00\x00\x00\x1c\x00\x00\x00\x04\x00\x00\x00\x01")}
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
