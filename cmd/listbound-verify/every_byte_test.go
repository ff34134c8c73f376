//go:build !race

package main

import (
	"archive/zip"
	"bytes"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/bundle"
)

// TestEveryByte changes bytes of a bundle: every change is found and the byte is named. That the archive shows a change of any
// bit is proof.TestEveryChangedByteOfABundleIsNamed; this is what the whole checker makes of a damaged one. So of the small
// files, which it all reads in ways of their own, each byte is changed. Of README.txt and the histories, which are held by
// their digests alone, it is each 61st; of the records, their proofs and the manifest, which are signed or lead to what is,
// each 13th; of the archive's headers, of which there are two to each of 22 files, each third.
func TestEveryByte(t *testing.T) {
	raw, key := makeBundle(t)
	if r := bundle.Check(raw, key); !r.OK || r.Records != 5 || !r.KeyTrusted {
		t.Fatalf("the bundle as made: %+v", r)
	}
	if r := bundle.Check(raw, ""); !r.Whole || r.OK || r.KeyTrusted || r.Key != key {
		t.Fatalf("with the key from the bundle: %+v", r)
	}
	every := steps(t, raw)
	tried := 0
	for i := range raw {
		if i%every[i] != 0 {
			continue
		}
		tried++
		changed := bytes.Clone(raw)
		changed[i] ^= 1 << (i % 8)
		k := key
		if tried%2 == 0 {
			k = "" // an outsider without the key sees it too
		}
		r := bundle.Check(changed, k)
		if r.Whole || len(r.Problems) == 0 {
			t.Fatalf("bit %d of byte %d changed: nothing was found", i%8, i)
		}
		// Without a key from outside a damaged key can't place the damage. Else the byte itself is named.
		if r.Key != "" && !slices.ContainsFunc(r.Problems, func(p bundle.Problem) bool { return p.Offset == int64(i) }) {
			t.Errorf("bit %d of byte %d changed: named is %v", i%8, i, r.Problems)
		}
	}
}

// steps returns, for each byte of an archive, which of its like are changed: each first, each third and so on.
func steps(t *testing.T, raw []byte) []int {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	every := slices.Repeat([]int{3}, len(raw))
	for _, f := range z.File {
		step := 1
		switch folder, _, _ := strings.Cut(f.Name, "/"); folder {
		case "README.txt", "history.txt", "history.json":
			step = 61
		case "records", "proofs", "manifest":
			step = 13
		}
		from, err := f.DataOffset()
		if err != nil {
			t.Fatal(err)
		}
		for i := range int64(f.CompressedSize64) {
			every[from+i] = step
		}
	}
	return every
}
