package events

import (
	"fmt"
	"slices"
	"strings"
)

// CheckLine is what is printed of a ledger on each count sheet, so that the paper bears witness to it: how many records
// it had, and the first 130 bits of the root of its tree. Sheets lie in thousands of files; who writes the ledger anew
// later contradicts each.
//
// The line has 36 characters of the alphabet of sheet codes: the version; 35 bits of size and 80 bits of root, five to a
// character, and a check character over these; then 50 bits of root, and a check character over all. The first 25 may be
// typed alone. That is enough against rewriting afterwards, which must hit 80 bits on every sheet anew. Whoever keeps two
// histories from the start can make 80 bits agree, by a search of 2^40 for each sheet, but not 130.
type CheckLine struct {
	Size int64
	Root [32]byte // of which the first Bits count
	Bits int
}

const (
	lineVersion = '1'
	lineSize    = 7  // characters of the size
	lineFirst   = 25 // characters that may be typed alone
	lineLen     = 36
	lineShort   = 16 // characters of root in the first part
	lineRest    = 10 // in the second
	bitsPer     = 5
	// maxLineSize is the largest size that a line can say.
	maxLineSize = 1<<(lineSize*bitsPer) - 1
)

// NewCheckLine returns the line of a ledger's tree.
func NewCheckLine(size int64, root [32]byte) (CheckLine, error) {
	if size < 0 || size > maxLineSize {
		return CheckLine{}, fmt.Errorf("no check line can say %d records", size)
	}
	return CheckLine{Size: size, Root: root, Bits: (lineShort + lineRest) * bitsPer}, nil
}

// String returns the line as its symbol says it.
func (l CheckLine) String() string {
	out := []byte{lineVersion}
	for i := range lineSize {
		out = append(out, sheetAlphabet[l.Size>>(bitsPer*(lineSize-1-i))&31])
	}
	root := func(from, n int) {
		for i := range n {
			out = append(out, sheetAlphabet[bits5(l.Root[:], from+i)])
		}
		out = append(out, sheetAlphabet[checkValue(out)])
	}
	root(0, lineShort)
	root(lineShort, lineRest)
	return string(out)
}

// Printed returns the line in groups; those before the stroke may be typed alone.
func (l CheckLine) Printed() string {
	s, group := l.String(), 5
	var groups []string
	for g := range slices.Chunk([]byte(s), group) {
		groups = append(groups, string(g))
	}
	return strings.Join(groups[:lineFirst/group], " ") + " / " + strings.Join(groups[lineFirst/group:], " ")
}

// ParseCheckLine reads a line as scanned, or its first 25 characters as typed.
func ParseCheckLine(s string) (CheckLine, error) {
	vals, norm, err := codeValues(strings.ReplaceAll(s, "/", " "))
	switch {
	case err != nil:
		return CheckLine{}, fmt.Errorf("the line %q holds a character that none has", s)
	case len(vals) != lineFirst && len(vals) != lineLen:
		return CheckLine{}, fmt.Errorf("a check line has %d characters, or the first %d of them, not %d",
			lineLen, lineFirst, len(vals))
	case norm[0] != lineVersion:
		return CheckLine{}, fmt.Errorf("a check line begins with %c", lineVersion)
	case sum(vals[:lineFirst]) != 0 || len(vals) == lineLen && sum(vals) != 0:
		return CheckLine{}, fmt.Errorf("a character of the line %q is not the one that is printed", s)
	}
	l := CheckLine{Bits: lineShort * bitsPer}
	for _, v := range vals[1 : 1+lineSize] {
		l.Size = l.Size<<bitsPer | int64(v)
	}
	for i, v := range vals[1+lineSize : lineFirst-1] {
		put5(l.Root[:], i, v)
	}
	if len(vals) == lineLen {
		l.Bits += lineRest * bitsPer
		for i, v := range vals[lineFirst : lineLen-1] {
			put5(l.Root[:], lineShort+i, v)
		}
	}
	return l, nil
}

// Agrees reports whether a tree of the line's size has a root that the line can be of.
func (l CheckLine) Agrees(root [32]byte) bool {
	for i := range l.Bits / bitsPer {
		if bits5(l.Root[:], i) != bits5(root[:], i) {
			return false
		}
	}
	return true
}
