package events

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"
)

// TestCanonicalVectors: the source stands beside each pair.
func TestCanonicalVectors(t *testing.T) {
	published := 0
	for _, v := range readVectors[struct {
		Name, Source, Input, Output, WantErr string
		Published                            string // what the standard makes of an input that is refused here
	}](t, "canonical.json") {
		got, err := Canonical([]byte(v.Input))
		if v.WantErr != "" {
			if err == nil || err.Error() != v.WantErr {
				t.Errorf("%s: error %v, want %s (%s)", v.Name, err, v.WantErr, v.Source)
			}
		} else if err != nil || string(got) != v.Output {
			t.Errorf("%s: %q, %v, want %q (%s)", v.Name, got, err, v.Output, v.Source)
		} else if again, err := Canonical(got); err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: the canonical form's canonical form is %q, %v", v.Name, again, err)
		}
		// The library beneath us knows the whole of the standard, numbers too.
		if v.Published != "" {
			published++
			c := jsontext.Value(v.Input)
			if err := c.Canonicalize(); err != nil || string(c) != v.Published {
				t.Errorf("%s: the library gives %q, %v, want %q", v.Name, c, err, v.Published)
			}
		}
	}
	if published == 0 {
		t.Error("no pair with the published form of all numbers")
	}
}

// canonicalSlowly is Canonical without its shortcut.
func canonicalSlowly(raw []byte) ([]byte, error) {
	if err := checkNumbers(raw); err != nil {
		return nil, err
	}
	v := jsontext.Value(bytes.Clone(raw))
	err := v.Canonicalize()
	return v, err
}

// canonicalSeeds are texts at which the one pass and the library could part.
var canonicalSeeds = []string{
	`{}`, `[]`, `""`, `0`, `-0`, `-1`, `01`, `9007199254740991`, `9007199254740992`, `-9007199254740991`, `1.0`, `1e2`, `true`, `nul`,
	`{"a":1,"b":[2,{"c":null}]}`, `{"b":1,"a":2}`, `{"a":1,"a":2}`, `{"a":1,}`, `[1,]`, `[1 ,2]`, `{"a" :1}`, `{} `, ` {}`, `{}{}`,
	`"\"\\\b\f\n\r\t"`, `"\/"`, `"\u0008"`, `"\u000b"`, `"\u000B"`, `"\u001f"`, `"\u0020"`,
	`"\u00e9"`, `"\ud800"`, "\"\x7f\"", "\"\x1f\"",
	`{"c":[{"b":1,"a":{"z":0,"y":"}"}},{}],"b":{"d":1,"a":2},"a":{}}`, `{"b":1,"a":2,"b":3}`, `{"b":{"y":1,"x":2},"c":1,"a":[{"l":1,"c":2}]}`,
	`{"aa":1,"a":2}`, `{"b":1,"a":2`, `{"b":1,"é":2,"a":3}`, `{"b":{"d":1,"c":2},"a":1.0}`,
	` { "b" : 1 , "a" : [ 2 , 3.5 ] } `, `{"a": -0}`, `[1, 2 ,{"a":1 , "a" : 2}]`,
	"\"\u2028é😀\"", "\"\xff\"", "\"\xed\xa0\x80\"", `{"é":1,"z":2}`, `{"\u000b":1}`,
	`{"😀":1,"\ufb33":2}`, `"a`, `"\`, `"\u00`, `[`, `{"a"`, `{"a":`, "",
	strings.Repeat("[", 40) + strings.Repeat("]", 40),
}

// FuzzIsCanonical: what the one pass calls canonical is what the library makes of it, byte for byte.
func FuzzIsCanonical(f *testing.F) {
	for _, s := range canonicalSeeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, err := canonicalSlowly(raw)
		if isCanonical(raw) && (err != nil || !bytes.Equal(c, raw)) {
			t.Fatalf("%q is called canonical; the library makes %q of it: %v", raw, c, err)
		}
		if said := checkNumbers(raw); wholeNumbers(raw) && said != nil && !strings.Contains(said.Error(), "stands twice") {
			t.Fatalf("the numbers in %q are called whole: %v", raw, said)
		}
		if err == nil && len(raw) <= MaxRecord {
			if got, err := Canonical(raw); err != nil || !bytes.Equal(got, c) {
				t.Fatalf("of %q: %q, %v, want %q", raw, got, err, c)
			}
		}
	})
}

// TestIsCanonicalTakesRecords: what is canonical is seen to be, else the pass costs and gives nothing.
func TestIsCanonicalTakesRecords(t *testing.T) {
	for _, s := range []string{
		`{}`, `[]`, `""`, `0`, `-7`, `{"a":1,"b":[2,{"c":null}]}`, `"\"\\\b\f\n\r\t\u000b\u001f"`, "\"\u2028\ufffdé😀\x7f\"",
		`[true,false,null,9007199254740991]`,
	} {
		if !isCanonical([]byte(s)) {
			t.Errorf("%s is not seen to be canonical", s)
		}
	}
}

// TestWholeNumbersTakesLines: what people's programs write is seen to have whole numbers, whatever the order and the blanks.
func TestWholeNumbersTakesLines(t *testing.T) {
	for _, s := range []string{
		`{"b":1,"a":[2,-3]}`, ` { "b" : 1 , "a" : [ 2 , "x\"" ] , "c" : { } , "d" : [ ] } `, "\t[\r\n0\t]\n", `{"a":9007199254740991}`,
	} {
		if !wholeNumbers([]byte(s)) {
			t.Errorf("%s is not seen to have whole numbers", s)
		}
	}
	for _, s := range []string{
		`{"a":1.0}`, `{"a":9007199254740992}`, `{"a":1e2}`, `[-0]`, `[1 2]`, `{"a" 1}`, `{"a":1} x`, `[1,]`, `{"a":01}`, ` `,
	} {
		if wholeNumbers([]byte(s)) {
			t.Errorf("%s is said to have whole numbers", s)
		}
	}
}

// TestInOrderTakesStructs: what only lacks the order of its members is put in it by the one pass.
func TestInOrderTakesStructs(t *testing.T) {
	in := `{"line":[{"line":1,"counted":4},{"counted":2,"line":2}],"case":{"b":"","a":{"d":0,"c":null}}}`
	want := `{"case":{"a":{"c":null,"d":0},"b":""},"line":[{"counted":4,"line":1},{"counted":2,"line":2}]}`
	if got, ok := inOrder([]byte(in)); !ok || string(got) != want {
		t.Errorf("%s, %v, want %s", got, ok, want)
	}
	if got, ok := inOrder([]byte(`{"b":1,"a":2,"b":3}`)); ok {
		t.Errorf("a name stands twice in %s", got)
	}
}

func BenchmarkCanonical(b *testing.B) {
	raw, err := json.Marshal(struct {
		Stage  string  `json:"stage"`
		Case   string  `json:"case"`
		Counts []Count `json:"counts"`
	}{"first", "K-1", make([]Count, 20)})
	if err != nil {
		b.Fatal(err)
	}
	for name, f := range map[string]func([]byte) ([]byte, error){"ours": Canonical, "library": canonicalSlowly} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := f(raw); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func TestCanonicalRefuses(t *testing.T) {
	for _, tt := range []struct{ name, in, want string }{
		{"nothing", "", "no JSON value here"},
		{"blanks", " \n", "no JSON value here"},
		{"two values", `{} {}`, "not JSON: invalid character '{' after top-level value at byte 3"},
		{"cut off", `{"a":`, "the JSON text ends too early"},
		{"a name twice", `{"a":1,"b":{"c":1,"c":2}}`, `the name "c" stands twice in one object`},
		{"a name twice, spelled differently", `{"a":1,"\u0061":2}`, `the name "a" stands twice in one object`},
		{"broken UTF-8", "\"\xff\"", "not JSON: invalid UTF-8 at byte 1"},
		{"UTF-8 of a surrogate", "\"\xed\xa0\x80\"", "not JSON: invalid UTF-8 at byte 1"},
		{"a lone surrogate", `"\ud800"`, "not JSON: invalid surrogate pair `\\ud800\"` in string at byte 1"},
		{"surrogates in the wrong order", `"\udc00\ud800"`,
			"not JSON: invalid surrogate pair `\\udc00\\ud800` in string at byte 1"},
		{"a fraction", `[1.5]`, "the number 1.5 is not a whole number between -(2^53-1) and 2^53-1 (at byte 4)"},
		{"a whole fraction", `[1.0]`, "the number 1.0 is not a whole number between -(2^53-1) and 2^53-1 (at byte 4)"},
		{"an exponent", `1e2`, "the number 1e2 is not a whole number between -(2^53-1) and 2^53-1 (at byte 3)"},
		{"minus nothing", `-0`, "the number -0 is not a whole number between -(2^53-1) and 2^53-1 (at byte 2)"},
		{"2^53", `9007199254740992`,
			"the number 9007199254740992 is not a whole number between -(2^53-1) and 2^53-1 (at byte 16)"},
		{"beyond 64 bits", `18446744073709551617`,
			"the number 18446744073709551617 is not a whole number between -(2^53-1) and 2^53-1 (at byte 20)"},
		{"beyond every double", `1e400`, "the number 1e400 is not a whole number between -(2^53-1) and 2^53-1 (at byte 5)"},
		{"a long number is cut in the message", strings.Repeat("9", 300),
			"the number " + strings.Repeat("9", 40) + " is not a whole number between -(2^53-1) and 2^53-1 (at byte 300)"},
		{"a byte order mark", "\ufeff1", "not JSON: invalid character '\\ufeff' at start of value at byte 0"},
		{"too long", `"` + strings.Repeat("x", MaxRecord) + `"`, "60002 bytes are more than the 60000 a record may have"},
	} {
		got, err := Canonical([]byte(tt.in))
		if err == nil {
			t.Errorf("%s: accepted as %q", tt.name, got)
		} else if err.Error() != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, err, tt.want)
		}
	}
}

// drawJSON writes a JSON value with whole numbers, in any spelling.
func drawJSON(t *rapid.T, depth int) string {
	blank := func() string { return rapid.SampledFrom([]string{"", "", " ", "\n\t", "\r "}).Draw(t, "blank") }
	str := func(s string) string {
		var b strings.Builder
		b.WriteByte('"')
		for _, r := range s {
			switch {
			case r < 0x20 || r == '"' || r == '\\' || rapid.IntRange(0, 3).Draw(t, "escaped") == 0:
				if r > 0xffff {
					r -= 0x10000
					fmt.Fprintf(&b, `\u%04x\u%04X`, 0xd800+r>>10, 0xdc00+r&0x3ff)
				} else {
					fmt.Fprintf(&b, `\u%04x`, r)
				}
			default:
				b.WriteRune(r)
			}
		}
		return b.String() + `"`
	}
	const runes = "abA\"\\/\x00\x1f\x7f\u0080éü€\u2028\u2029דּ\ufffd\uffff\U0001f602\U0010ffff"
	anyString := rapid.StringOf(rapid.RuneFrom([]rune(runes)))
	kind := rapid.IntRange(0, 6).Draw(t, "kind")
	if depth == 0 {
		kind %= 5
	}
	switch kind {
	case 0:
		return "null"
	case 1:
		return fmt.Sprint(rapid.Bool().Draw(t, "bool"))
	case 2, 3:
		return fmt.Sprint(rapid.Int64Range(-MaxInteger, MaxInteger).Draw(t, "integer"))
	case 4:
		return str(anyString.Draw(t, "string"))
	case 5:
		var parts []string
		for range rapid.IntRange(0, 4).Draw(t, "length") {
			parts = append(parts, blank()+drawJSON(t, depth-1)+blank())
		}
		return "[" + strings.Join(parts, ",") + "]"
	}
	var parts []string
	for _, name := range rapid.SliceOfNDistinct(anyString, 0, 5, rapid.ID).Draw(t, "names") {
		parts = append(parts, blank()+str(name)+blank()+":"+blank()+drawJSON(t, depth-1)+blank())
	}
	return "{" + strings.Join(parts, ",") + "}"
}

// TestCanonicalAgainstSecondImplementation holds the canonical form against
// github.com/gowebpki/jcs, written from RFC 8785 by others.
func TestCanonicalAgainstSecondImplementation(t *testing.T) {
	objects := 0
	rapid.Check(t, func(t *rapid.T) {
		in := "[" + drawJSON(t, 4) + "]" // jcs takes objects and arrays
		if rapid.Bool().Draw(t, "object") {
			in = `{"b":` + drawJSON(t, 4) + `,"a":` + in + "}"
		}
		if strings.Contains(in, "{") {
			objects++
		}
		got, err := Canonical([]byte(in))
		if err != nil {
			t.Fatalf("%s is refused: %v", in, err)
		}
		want, err := jcs.Transform([]byte(in))
		if err != nil {
			t.Fatalf("the second implementation refuses %s: %v", in, err)
		}
		if !bytes.Equal(got, want) {
			t.Fatalf("%s: canonical form %s, the second implementation gives %s", in, got, want)
		}
		var a, b any
		if json.Unmarshal([]byte(in), &a) != nil || json.Unmarshal(got, &b) != nil || fmt.Sprint(a) != fmt.Sprint(b) {
			t.Fatalf("%s and its canonical form %s say different things", in, got)
		}
	})
	if objects == 0 {
		t.Fatal("no object was drawn")
	}
}

// TestIntegersKeepTheirDigits: within the bounds a double holds every integer,
// so the canonical form never rounds one.
func TestIntegersKeepTheirDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-MaxInteger-2, MaxInteger+2).Draw(t, "n")
		in := fmt.Sprint(n)
		got, err := Canonical([]byte(in))
		if n < -MaxInteger || n > MaxInteger {
			if err == nil {
				t.Fatalf("%d is accepted", n)
			}
			return
		}
		if err != nil || string(got) != in {
			t.Fatalf("%d becomes %q, %v", n, got, err)
		}
		if int64(float64(n)) != n || math.Abs(float64(n)) > 1<<53-1 {
			t.Fatalf("%d is not exact as a double", n)
		}
	})
}

// TestCanonicalTexts: what a text may hold as it stands is seen in one pass: a blank, and nothing that is to be escaped or is no text.
func TestCanonicalTexts(t *testing.T) {
	for raw, want := range map[string]bool{`"a b"`: true, `" "`: true, `"é"`: true, "\"\x1f\"": false, "\"\xff\"": false, "\"a\xc3\"": false,
		"\"\ufffd\"": true, `"\n"`: true, `"\u000a"`: false} {
		if got := isCanonical([]byte(raw)); got != want {
			t.Errorf("%q: %t", raw, got)
		}
	}
}
