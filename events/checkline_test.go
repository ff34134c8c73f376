package events

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"
)

func ExampleCheckLine() {
	l, err := NewCheckLine(2311, sha256.Sum256([]byte("root")))
	fmt.Println(l.Printed(), err)
	typed, err := ParseCheckLine(l.Printed()[:29])
	fmt.Println(typed.Size, typed.Bits, err)
	// Output:
	// 10000 28790 9MJK8 KFRB3 3EX3J / 07ATS AVEFE T <nil>
	// 2311 80 <nil>
}

// TestCheckLine: a line is read as printed, scanned and typed, whole or the first part; every single wrong character
// and every exchange of unequal neighbours is noticed.
func TestCheckLine(t *testing.T) {
	for i, size := range []int64{0, 1, 2311, 1_000_000, maxLineSize} {
		root := sha256.Sum256([]byte{byte(i)})
		l, err := NewCheckLine(size, root)
		if err != nil {
			t.Fatal(err)
		}
		s := l.String()
		if len(s) != 36 {
			t.Fatalf("%q has %d characters", s, len(s))
		}
		for _, text := range []string{s, strings.ToLower(s), l.Printed(), s[:25], l.Printed()[:29],
			strings.NewReplacer("0", "o", "1", "l").Replace(s)} {
			got, err := ParseCheckLine(text)
			if err != nil || got.Size != size || !got.Agrees(root) {
				t.Errorf("%q reads as %+v, %v", text, got, err)
			}
			if got.Bits != 80 && got.Bits != l.Bits {
				t.Errorf("%q has %d bits of the root", text, got.Bits)
			}
			other := root
			other[9] ^= 1 // bit 79
			if got.Agrees(other) {
				t.Errorf("%q agrees with another root", text)
			}
			other = root
			other[16] ^= 0x40 // bit 129
			if got.Agrees(other) != (got.Bits == 80) {
				t.Errorf("%q compares %d bits, and %v with a root that differs in the last", text, got.Bits, got.Agrees(other))
			}
		}
		for at := range s {
			for _, c := range sheetAlphabet {
				if bad := s[:at] + string(c) + s[at+1:]; bad != s {
					if got, err := ParseCheckLine(bad); err == nil {
						t.Errorf("%q is read as %+v", bad, got)
					}
				}
			}
			if at > 0 && s[at] != s[at-1] {
				if _, err := ParseCheckLine(s[:at-1] + s[at:at+1] + s[at-1:at] + s[at+1:]); err == nil {
					t.Errorf("an exchange at %d of %q is not noticed", at, s)
				}
			}
		}
	}
	for _, bad := range []string{"", "1", strings.Repeat("1", 25), "u" + strings.Repeat("0", 24),
		strings.Repeat("0", 36), strings.Repeat("0", 37)} {
		if l, err := ParseCheckLine(bad); err == nil {
			t.Errorf("%q is read as %+v", bad, l)
		}
	}
	for _, size := range []int64{-1, maxLineSize + 1} {
		if _, err := NewCheckLine(size, [32]byte{}); err == nil {
			t.Errorf("a line says %d records", size)
		}
	}
}

// TestCheckLineLength: a line of another length says how many characters there are.
func TestCheckLineLength(t *testing.T) {
	want := fmt.Sprintf("has %d characters, or the first %d of them, not 3", len(strings.ReplaceAll(CheckLine{}.String(), " ", "")), lineFirst)
	if _, err := ParseCheckLine("1AB"); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("%v, want %q", err, want)
	}
}
