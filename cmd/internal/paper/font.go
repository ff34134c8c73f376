package paper

import (
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"sync"
	"unicode"
)

var (
	//go:embed fonts/DejaVuSansCondensed.ttf
	regularTTF []byte
	//go:embed fonts/DejaVuSansCondensed-Bold.ttf
	boldTTF []byte
	//go:embed fonts/DejaVuSansMono-Bold.ttf
	monoTTF []byte
)

// The three faces of a page. Mono is for codes: its zero is dotted, its digits
// and capitals can't be taken for each other, and its groups stand in columns.
const (
	regular = ""
	bold    = "B"
	mono    = "M"
)

// covered reads the characters of each face once; they never change.
var covered = sync.OnceValues(func() (map[string]map[rune]bool, error) {
	out := make(map[string]map[rune]bool)
	for face, ttf := range map[string][]byte{regular: regularTTF, bold: boldTTF, mono: monoTTF} {
		m, err := characters(ttf)
		if err != nil {
			return nil, fmt.Errorf("the embedded font %q: %w", face, err)
		}
		out[face] = m
	}
	return out, nil
})

// Missing returns the characters of s that the paper can't show, each once, in
// order: those the fonts have no glyph for, and those of scripts that need
// joining or run from right to left, which would print in a wrong order. A list
// with such a character is refused before anything prints as an empty box.
func Missing(s string) []rune {
	faces, err := covered()
	var out []rune
	for _, r := range s {
		if err == nil && faces[regular][r] && faces[bold][r] && !needsShaping(r) {
			continue
		}
		if !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

func needsShaping(r rune) bool {
	return unicode.In(r, unicode.Arabic, unicode.Hebrew, unicode.Nko, unicode.Mn, unicode.Me, unicode.Cf)
}

// characters reads a TrueType font's cmap, format 4 (the whole of the Basic
// Multilingual Plane; characters beyond it can't be set by the PDF writer).
func characters(ttf []byte) (map[rune]bool, error) {
	table, err := fontTable(ttf, "cmap")
	if err != nil {
		return nil, err
	}
	be := binary.BigEndian
	if len(table) < 4 {
		return nil, errors.New("its cmap is too short")
	}
	for i := range int(be.Uint16(table[2:])) {
		rec := 4 + 8*i
		if rec+8 > len(table) {
			break
		}
		at := int(be.Uint32(table[rec+4:]))
		if be.Uint16(table[rec:]) == 3 && be.Uint16(table[rec+2:]) == 1 && at+14 <= len(table) && be.Uint16(table[at:]) == 4 {
			return segments(table[at:])
		}
	}
	return nil, errors.New("it has no Unicode cmap of format 4")
}

func fontTable(ttf []byte, tag string) ([]byte, error) {
	be := binary.BigEndian
	if len(ttf) < 12 {
		return nil, errors.New("not a font")
	}
	for i := range int(be.Uint16(ttf[4:])) {
		at := 12 + 16*i
		if at+16 > len(ttf) {
			break
		}
		if string(ttf[at:at+4]) != tag {
			continue
		}
		from, n := int(be.Uint32(ttf[at+8:])), int(be.Uint32(ttf[at+12:]))
		if from+n > len(ttf) {
			break
		}
		return ttf[from : from+n], nil
	}
	return nil, fmt.Errorf("it has no table %q", tag)
}

// segments reads a cmap subtable of format 4: end codes, a pad, start codes,
// deltas, and offsets into the glyph array, which follows them.
func segments(t []byte) (map[rune]bool, error) {
	be := binary.BigEndian
	n := int(be.Uint16(t[6:])) / 2
	if 16+8*n > len(t) {
		return nil, errors.New("its cmap is cut short")
	}
	at := func(block, i int) int { return int(be.Uint16(t[block+2*i:])) }
	ends, starts, deltas, offsets := 14, 16+2*n, 16+4*n, 16+6*n
	out := make(map[rune]bool)
	for i := range n {
		for c := at(starts, i); c <= at(ends, i) && c < 0xffff; c++ {
			glyph := c + at(deltas, i)
			if off := at(offsets, i); off != 0 {
				p := offsets + 2*i + off + 2*(c-at(starts, i))
				if p+2 > len(t) {
					return nil, errors.New("its cmap points outside itself")
				}
				if glyph = int(be.Uint16(t[p:])); glyph != 0 {
					glyph += at(deltas, i)
				}
			}
			if glyph&0xffff != 0 {
				out[rune(c)] = true
			}
		}
	}
	return out, nil
}
