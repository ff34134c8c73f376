package events

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestSheetCodeCatchesEverySlip tries every wrong character at every place of a
// whole code and of its short form, and every exchange of neighbours.
func TestSheetCodeCatchesEverySlip(t *testing.T) {
	code := testCode(t)
	parseLong := func(s string) error { _, err := ParseSheetCode(s); return err }
	parseShort := func(s string) error { _, err := ParseShortCode(s); return err }
	for _, tt := range []struct {
		name         string
		code         string
		length       int
		parse        func(string) error
		substitution int // how many there are to try
	}{
		{"code", code.String(), sheetCodeLen, parseLong, 54 * 31},
		{"short form", strings.ReplaceAll(code.Short(), "-", ""), 8, parseShort, 8 * 31},
	} {
		if len(tt.code) != tt.length {
			t.Fatalf("%s %q has %d characters, want %d", tt.name, tt.code, len(tt.code), tt.length)
		}
		if err := tt.parse(tt.code); err != nil {
			t.Fatalf("%s %q: %v", tt.name, tt.code, err)
		}
		tried := 0
		for i := range tt.code {
			for _, c := range []byte(sheetAlphabet) {
				if c == tt.code[i] {
					continue
				}
				tried++
				b := []byte(tt.code)
				b[i] = c
				if tt.parse(string(b)) == nil {
					t.Errorf("%s: %c for %c at place %d goes unnoticed", tt.name, c, tt.code[i], i+1)
				}
			}
		}
		if tried != tt.substitution {
			t.Errorf("%s: %d substitutions tried, want %d", tt.name, tried, tt.substitution)
		}
		swaps := 0
		for i := 1; i < len(tt.code); i++ {
			if tt.code[i] == tt.code[i-1] {
				continue
			}
			swaps++
			b := []byte(tt.code)
			b[i], b[i-1] = b[i-1], b[i]
			if tt.parse(string(b)) == nil {
				t.Errorf("%s: places %d and %d exchanged go unnoticed", tt.name, i, i+1)
			}
		}
		if swaps < tt.length*2/3 {
			t.Errorf("%s: only %d exchanges tried", tt.name, swaps)
		}
	}
}

// TestCheckCharacterCatchesEverySlip is the same for any code: every exchange of
// every two unequal values at every place, every substitution.
func TestCheckCharacterCatchesEverySlip(t *testing.T) {
	seen := map[byte]bool{}
	v := byte(1)
	for range 31 {
		seen[v] = true
		v = double(v)
	}
	if len(seen) != 31 || v != 1 {
		t.Fatalf("doubling runs through %d values and comes back to %d, want 31 and 1", len(seen), v)
	}
	for a := range byte(32) {
		for b := range byte(32) {
			if a != b && double(a)^b == double(b)^a {
				t.Errorf("values %d and %d exchanged go unnoticed", a, b)
			}
			if double(a^b) != double(a)^double(b) {
				t.Errorf("doubling is not linear at %d, %d: one place's slip would depend on the others", a, b)
			}
		}
	}
}

func TestSheetCodeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d, other Digest
		copy(d[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "digest"))
		trip := testTrip(rapid.IntRange(0, 100000).Draw(t, "trip"))
		c, err := NewSheetCode(trip, d)
		if err != nil {
			t.Fatal(err)
		}
		s := c.String()
		if strings.Trim(s, sheetAlphabet) != "" || len(s) != 54 {
			t.Fatalf("%q is not 54 characters that every scanner types", s)
		}
		got, err := ParseSheetCode(s)
		if err != nil || got != c {
			t.Fatalf("%s: %+v, %v, want %+v", s, got, err, c)
		}
		if quick, ok := parsePrinted(s); !ok || quick != c {
			t.Fatalf("%s is as printed, and was not read at sight: %+v, %v", s, quick, ok)
		}
		if got.String() != s || got.Trip != trip || got.Short() != c.Short() {
			t.Fatalf("%s is written again as %s", s, got)
		}
		if !got.Matches(d) {
			t.Fatalf("%s does not match its own binding", s)
		}
		// 132 bits of the binding count, and no more.
		bit := rapid.IntRange(0, 255).Draw(t, "bit")
		other = d
		other[bit/8] ^= 0x80 >> (bit % 8)
		if got.Matches(other) != (bit >= 132) {
			t.Fatalf("bit %d of the binding changed: matches %v", bit, got.Matches(other))
		}
		if o, err := NewSheetCode(trip, other); err != nil || (o.Short() == c.Short()) != (bit >= 35) {
			t.Fatalf("bit %d of the binding changed: short forms %s and %s", bit, o.Short(), c.Short())
		}
	})
}

// TestSheetCodeAsTyped: small letters, groups, and the letters a person writes
// for 0 and 1.
func TestSheetCodeAsTyped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d Digest
		copy(d[:], rapid.SliceOfN(rapid.Byte(), 17, 17).Draw(t, "digest"))
		c, err := NewSheetCode(testTrip(rapid.IntRange(0, 1000).Draw(t, "trip")), d)
		if err != nil {
			t.Fatal(err)
		}
		typed := func(s string) string {
			var b strings.Builder
			for _, r := range s {
				b.WriteString(rapid.SampledFrom([]string{"", "", " ", "-", "  "}).Draw(t, "gap"))
				switch r {
				case '0':
					r = rapid.SampledFrom([]rune("0oO")).Draw(t, "zero")
				case '1':
					r = rapid.SampledFrom([]rune("1iIlL")).Draw(t, "one")
				}
				if rapid.Bool().Draw(t, "small") {
					r = []rune(strings.ToLower(string(r)))[0]
				}
				b.WriteRune(r)
			}
			return b.String()
		}
		if s := typed(c.String()); len(s) <= 4*sheetCodeLen {
			if got, err := ParseSheetCode(s); err != nil || got != c {
				t.Fatalf("%q: %+v, %v", s, got, err)
			}
		}
		if s := typed(c.Short()); s != "" {
			if got, err := ParseShortCode(s); err != nil || got != c.Short() {
				t.Fatalf("%q: %q, %v, want %q", s, got, err, c.Short())
			}
		}
	})
}

func TestSheetCodeRefuses(t *testing.T) {
	whole := testCode(t).String()
	damaged := "sheet code is damaged (the check character does not fit): scan it again, or record the sheet as unreadable"
	// A code of the right sum over bits that are no version 7 UUID.
	noTrip := []byte("1" + strings.Repeat("0", 52))
	noTrip = append(noTrip, sheetAlphabet[checkValue(noTrip)])
	for _, tt := range []struct{ name, in, want string }{
		{"nothing", "", "sheet code has 0 characters; a sheet code has 54: scan it again, or record the sheet as unreadable"},
		{"cut off", whole[:53],
			"sheet code has 53 characters; a sheet code has 54: scan it again, or record the sheet as unreadable"},
		{"one too many", whole + "0",
			"sheet code has 55 characters; a sheet code has 54: scan it again, or record the sheet as unreadable"},
		{"far too many", strings.Repeat("0", 217), "sheet code has 217 characters; a sheet code has 54"},
		{"a U", "U" + whole[1:], "sheet code holds 'U', which no code has: scan it again, or record the sheet as unreadable"},
		{"an umlaut", whole[:53] + "ä",
			"sheet code holds 'ä', which no code has: scan it again, or record the sheet as unreadable"},
		{"a control character", whole + "\x1d",
			"sheet code holds '\\x1d', which no code has: scan it again, or record the sheet as unreadable"},
		{"broken UTF-8", "\xff" + whole[1:],
			"sheet code holds '�', which no code has: scan it again, or record the sheet as unreadable"},
		{"another version", "2" + whole[1:], "sheet code begins with '2'; this program knows version '1'"},
		{"check character", whole[:53] + string(sheetAlphabet[(strings.IndexByte(sheetAlphabet, whole[53])+1)%32]), damaged},
		{"no trip", string(noTrip),
			`sheet code: trip "00000000-0000-0000-0000-000000000000" is not a version 7 UUID in small letters`},
		{"the short form", testCode(t).Short(),
			"sheet code has 8 characters; a sheet code has 54: scan it again, or record the sheet as unreadable"},
	} {
		if c, err := ParseSheetCode(tt.in); err == nil {
			t.Errorf("%s: accepted as %+v", tt.name, c)
		} else if err.Error() != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, err, tt.want)
		}
	}
	for _, in := range []string{"", "ABCD", whole, "ABCD-EFGHJ", "UUUU-UUUU", "0000-0001"} {
		if s, err := ParseShortCode(in); err == nil {
			t.Errorf("short code %q: accepted as %q", in, s)
		}
	}
	for _, trip := range []string{"", "LAP-014", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F",
		"{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}"} {
		if c, err := NewSheetCode(trip, Digest{}); err == nil {
			t.Errorf("trip %q: accepted as %s", trip, c)
		}
		if s := (SheetCode{Trip: trip}).String(); trip == "" && s != "" {
			t.Errorf("a code without a trip is written as %q", s)
		}
	}
}

// TestTwinSetsHaveOtherCodes: word-for-word equal lists, other set or other trip.
func TestTwinSetsHaveOtherCodes(t *testing.T) {
	list := ListIssued{List: "LAP-MAJOR", Version: 3, Title: "Laparotomy, major",
		Lines: []Line{{Line: 1, Item: "FCP-125", Description: "Forceps, mosquito", Quantity: 6}}}
	d, err := list.Digest()
	if err != nil {
		t.Fatal(err)
	}
	seen := make(map[string]string)
	for _, x := range []struct{ set, trip string }{{"LAP-014", testTrip(0)}, {"LAP-015", testTrip(0)},
		{"LAP-014", testTrip(1)}} {
		b, err := Binding(d, x.set, x.trip)
		if err != nil {
			t.Fatal(err)
		}
		c, err := NewSheetCode(x.trip, b)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []string{b.String(), c.String(), c.Short()} {
			if other, ok := seen[s]; ok {
				t.Errorf("%s of %s/%s is also that of %s", s, x.set, x.trip, other)
			}
			seen[s] = x.set + "/" + x.trip
		}
	}
}

// TestListDigestCoversEveryWord changes each part of a list in turn.
func TestListDigestCoversEveryWord(t *testing.T) {
	list := func(change func(*ListIssued)) Digest {
		l := &ListIssued{List: "LAP-MAJOR", Version: 3, Title: "Laparotomy, major", Cycles: []string{"steam-134"},
			Lines: []Line{{Line: 1, Item: "FCP-125", Description: "Forceps, mosquito", Quantity: 6},
				{Line: 2, Item: "NDH-180", Description: "Needle holder", Quantity: 2}}}
		change(l)
		d, err := l.Digest()
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	seen := map[Digest]string{list(func(*ListIssued) {}): "the list itself"}
	for _, c := range []struct {
		what   string
		change func(*ListIssued)
	}{
		{"list", func(l *ListIssued) { l.List = "LAP-MINOR" }},
		{"version", func(l *ListIssued) { l.Version = 4 }},
		{"title", func(l *ListIssued) { l.Title += "." }},
		{"cycle", func(l *ListIssued) { l.Cycles = nil }},
		{"line number", func(l *ListIssued) { l.Lines[1].Line = 3 }},
		{"item", func(l *ListIssued) { l.Lines[1].Item = "NDH-181" }},
		{"description", func(l *ListIssued) { l.Lines[1].Description = "Needle  holder" }},
		{"quantity", func(l *ListIssued) { l.Lines[1].Quantity = 3 }},
		{"order of lines", func(l *ListIssued) { l.Lines[0], l.Lines[1] = l.Lines[1], l.Lines[0] }},
		{"one line less", func(l *ListIssued) { l.Lines = l.Lines[:1] }},
	} {
		d := list(c.change)
		if other, ok := seen[d]; ok {
			t.Errorf("with another %s the digest is that of %s", c.what, other)
		}
		seen[d] = c.what
	}
	if _, err := (&ListIssued{Title: "\xff"}).Digest(); err == nil {
		t.Error("a list in broken UTF-8 has a digest")
	}
}

func TestDiffLines(t *testing.T) {
	old := []Line{{Line: 1, Item: "A", Description: "a", Quantity: 1}, {Line: 2, Item: "B", Description: "b", Quantity: 2},
		{Line: 4, Item: "D", Description: "d", Quantity: 4}}
	next := []Line{{Line: 4, Item: "D", Description: "d", Quantity: 5}, {Line: 3, Item: "C", Description: "c", Quantity: 3},
		{Line: 1, Item: "A", Description: "a", Quantity: 1}}
	got := DiffLines(old, next)
	if len(got) != 3 || got[0].Line != 2 || got[1].Line != 3 || got[2].Line != 4 {
		t.Fatalf("differences %+v, want lines 2, 3, 4", got)
	}
	if got[0].New != nil || got[0].Old.Item != "B" || got[1].Old != nil || got[1].New.Item != "C" ||
		got[2].Old.Quantity != 4 || got[2].New.Quantity != 5 {
		t.Errorf("differences %+v", got)
	}
	if same := DiffLines(old, old); len(same) != 0 {
		t.Errorf("a list differs from itself in %+v", same)
	}
}

// FuzzSheetCode: what is accepted is written back as the one form of it.
func FuzzSheetCode(f *testing.F) {
	whole := testCode(f)
	seeds := []string{whole.String(), whole.Short(), strings.ToLower(whole.String()), "1" + strings.Repeat("0", 53),
		"ol-IO", "\xff\x00", ""}
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if c, err := ParseSheetCode(s); err == nil {
			norm := strings.NewReplacer(" ", "", "-", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(s))
			if c.String() != norm {
				t.Errorf("%q is read as %s", s, c)
			}
			if again, err := ParseSheetCode(c.String()); err != nil || again != c {
				t.Errorf("%s is read again as %+v, %v", c, again, err)
			}
		}
		if short, err := ParseShortCode(s); err == nil {
			if again, err := ParseShortCode(short); err != nil || again != short {
				t.Errorf("%q is read as %s, then as %s, %v", s, short, again, err)
			}
		}
	})
}

// TestBindingIsTheCanonicalText: the way without the library gives its digest.
func TestBindingIsTheCanonicalText(t *testing.T) {
	for _, set := range []string{"LAP-014", "", "A/B~{}<>&'", `quo"te`, `back\slash`, "Ärzte-1", "tab\t"} {
		got, err := Binding(Digest{1, 2, 3}, set, "019cad2b-e120-7b76-86a2-cb50b367d9ce")
		if err != nil {
			t.Fatal(err)
		}
		want, err := digest(bindingDomain,
			map[string]string{"list": Digest{1, 2, 3}.String(), "set": set, "trip": "019cad2b-e120-7b76-86a2-cb50b367d9ce"})
		if err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Errorf("set %q: %s, want %s", set, got, want)
		}
	}
	for _, bad := range [][2]string{{"\xff", "a turn"}, {"LAP-014", "\xff"}} { // no JSON has it
		if got, err := Binding(Digest{}, bad[0], bad[1]); err == nil {
			t.Errorf("%q has the binding %s", bad, got)
		}
	}
}
