package events

import (
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

// A sheet code is 54 characters:
//
//	1 <26 characters: trip> <26 characters: binding> <1 check character>
//
// The first character is the version. The 52 after it are 260 bits, most
// significant first, five to a character: the 128 of the trip's UUID, then the
// first 132 of the binding digest. Characters are the 32 of Crockford's
// base 32, digits and capitals without I, L, O and U.
//
// The check character makes the sum over all characters of value times 2^i
// zero in GF(32) (x^5+x^2+1; i counts from the right, the check character is
// 0). A wrong character changes the sum since no power of 2 is zero; swapped
// neighbours change it since two neighbouring powers are never equal.
const (
	sheetCodeLen   = 54
	sheetAlphabet  = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	sheetVersion   = '1'
	shortCodeChars = 7
)

// ErrSheetCode is in every refusal of a damaged sheet code: what to do about it.
var ErrSheetCode = errors.New("scan it again, or record the sheet as unreadable")

// SheetCode is what a sheet's symbol says: a trip, and the first 132 bits of
// the binding digest (the last four bits of Binding are zero).
type SheetCode struct {
	Trip    string
	Binding [17]byte
}

// NewSheetCode returns the code of a sheet bound to a trip.
func NewSheetCode(trip string, binding Digest) (SheetCode, error) {
	if err := checkUUID("trip", trip); err != nil {
		return SheetCode{}, err
	}
	c := SheetCode{Trip: trip}
	copy(c.Binding[:], binding[:17])
	c.Binding[16] &= 0xf0
	return c, nil
}

// String returns the 54 characters, or nothing for a code without a trip.
func (c SheetCode) String() string {
	u, err := uuid.Parse(c.Trip)
	if err != nil {
		return ""
	}
	var bits [33]byte // 264 bits, the last four unused
	copy(bits[:16], u[:])
	copy(bits[16:], c.Binding[:])
	out := make([]byte, 0, sheetCodeLen)
	out = append(out, sheetVersion)
	for i := range sheetCodeLen - 2 {
		out = append(out, sheetAlphabet[bits5(bits[:], i)])
	}
	return string(append(out, sheetAlphabet[checkValue(out)]))
}

// Short returns eight characters in two groups, for reading aloud: the first
// 35 bits of the binding and their check character. It is for comparing two
// codes by ear, and for finding one; it is no proof.
func (c SheetCode) Short() string {
	out := make([]byte, 0, shortCodeChars+1)
	for i := range shortCodeChars {
		out = append(out, sheetAlphabet[bits5(c.Binding[:], i)])
	}
	out = append(out, sheetAlphabet[checkValue(out)])
	return string(out[:4]) + "-" + string(out[4:])
}

// Matches reports whether the code commits to this binding digest.
func (c SheetCode) Matches(binding Digest) bool {
	o, err := NewSheetCode(c.Trip, binding)
	return err == nil && o.Binding == c.Binding
}

// ParseSheetCode reads a code as scanned or typed. Small letters, spaces and
// hyphens between groups, and O, I, L for 0, 1, 1 are accepted: the check
// character still guards the rest.
func ParseSheetCode(s string) (SheetCode, error) {
	if c, ok := parsePrinted(s); ok {
		return c, nil
	}
	if len(s) > 4*sheetCodeLen {
		return SheetCode{}, fmt.Errorf("sheet code has %d characters; a sheet code has %d", len(s), sheetCodeLen)
	}
	vals, norm, err := codeValues(s)
	if err != nil {
		return SheetCode{}, err
	}
	if len(vals) != sheetCodeLen {
		return SheetCode{}, fmt.Errorf("sheet code has %d characters; a sheet code has %d: %w",
			len(vals), sheetCodeLen, ErrSheetCode)
	}
	if sum(vals) == 0 && norm[0] == practiceVersion {
		return SheetCode{}, ErrPractice
	}
	if norm[0] != sheetVersion {
		return SheetCode{}, fmt.Errorf("sheet code begins with %q; this program knows version %q", norm[0], sheetVersion)
	}
	if sum(vals) != 0 {
		return SheetCode{}, fmt.Errorf("sheet code is damaged (the check character does not fit): %w", ErrSheetCode)
	}
	var bits [33]byte
	for i, v := range vals[1 : sheetCodeLen-1] {
		put5(bits[:], i, v)
	}
	u := uuid.UUID(bits[:16])
	c := SheetCode{Trip: u.String()}
	if err := checkUUID("sheet code: trip", c.Trip); err != nil {
		return SheetCode{}, err
	}
	copy(c.Binding[:], bits[16:])
	return c, nil
}

// parsePrinted takes a code in just the form in which it is printed, which is
// that of every code in a record; a rebuild reads millions. What it does not
// take is looked at in full.
func parsePrinted(s string) (SheetCode, bool) {
	if len(s) != sheetCodeLen || s[0] != sheetVersion {
		return SheetCode{}, false
	}
	var bits [33]byte
	var check byte
	for i := range sheetCodeLen {
		v := codeValue[s[i]]
		if v > 31 {
			return SheetCode{}, false
		}
		check = double(check) ^ v
		if i > 0 && i < sheetCodeLen-1 {
			put5(bits[:], i-1, v)
		}
	}
	u := uuid.UUID(bits[:16])
	if check != 0 || u.Version() != 7 || u.Variant() != uuid.RFC4122 {
		return SheetCode{}, false
	}
	c := SheetCode{Trip: u.String()}
	copy(c.Binding[:], bits[16:])
	return c, true
}

// codeValue is the value of each character, 255 for those no code has.
var codeValue = func() (t [256]byte) {
	for i := range t {
		t[i] = 255
	}
	for i := range len(sheetAlphabet) {
		t[sheetAlphabet[i]] = byte(i)
	}
	return t
}()

// ParseShortCode checks a short form as typed and returns it as printed.
func ParseShortCode(s string) (string, error) {
	vals, norm, err := codeValues(s)
	if err != nil {
		return "", err
	}
	if len(vals) != shortCodeChars+1 || sum(vals) != 0 {
		return "", fmt.Errorf("%q is not a short code: eight characters, the last a check", s)
	}
	return norm[:4] + "-" + norm[4:], nil
}

// codeValues returns the values and the normal form of code characters.
func codeValues(s string) (vals []byte, norm string, err error) {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == ' ' || r == '-':
			continue
		case r >= 'a' && r <= 'z':
			r -= 'a' - 'A'
		}
		switch r {
		case 'O':
			r = '0'
		case 'I', 'L':
			r = '1'
		}
		v := strings.IndexRune(sheetAlphabet, r)
		if v < 0 {
			return nil, "", fmt.Errorf("sheet code holds %q, which no code has: %w", r, ErrSheetCode)
		}
		vals = append(vals, byte(v))
		b.WriteRune(r)
	}
	return vals, b.String(), nil
}

// bits5 returns the i-th group of five bits, most significant first.
func bits5(b []byte, i int) byte {
	var v byte
	for k := range 5 {
		n := 5*i + k
		v = v<<1 | b[n/8]>>(7-n%8)&1
	}
	return v
}

func put5(b []byte, i int, v byte) {
	for k := range 5 {
		n := 5*i + k
		b[n/8] |= v >> (4 - k) & 1 << (7 - n%8)
	}
}

// double multiplies by x in GF(32) = GF(2)[x]/(x^5+x^2+1), whose powers of x
// run through all 31 non-zero elements.
func double(v byte) byte {
	v <<= 1
	if v&0x20 != 0 {
		v ^= 0x25
	}
	return v
}

// sum is Horner's rule over the characters' values.
func sum(vals []byte) byte {
	var s byte
	for _, v := range vals {
		s = double(s) ^ v
	}
	return s
}

// checkValue returns the value that makes the sum zero.
func checkValue(chars []byte) byte {
	var s byte
	for _, c := range chars {
		s = double(s) ^ byte(strings.IndexByte(sheetAlphabet, c))
	}
	return double(s)
}
