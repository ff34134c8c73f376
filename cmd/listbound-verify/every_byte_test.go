//go:build !race

package main

import (
	"archive/zip"
	"bytes"
	"testing"

	"listbound/cmd/internal/bundle"
)

// TestEveryByte changes each byte of a bundle in turn: every change is found
// and a place is named. Half of this bundle is its README.txt, which is stored as
// it is and held by its digest alone: of that, each sixteenth byte.
func TestEveryByte(t *testing.T) {
	raw, key := makeBundle(t)
	if r := bundle.Check(raw, key); !r.OK || r.Records != 5 || !r.KeyTrusted {
		t.Fatalf("the bundle as made: %+v", r)
	}
	if r := bundle.Check(raw, ""); !r.Whole || r.OK || r.KeyTrusted || r.Key != key {
		t.Fatalf("with the key from the bundle: %+v", r)
	}
	from, size := inside(t, raw, "README.txt")
	near, tried := 0, 0
	for i := range raw {
		if at := int64(i) - from; at > 0 && at < size-1 && at%16 != 0 {
			continue
		}
		tried++
		changed := bytes.Clone(raw)
		changed[i] ^= 1 << (i % 8)
		k := key
		if i%2 == 0 {
			k = "" // an outsider without the key sees it too
		}
		r := bundle.Check(changed, k)
		if r.Whole || len(r.Problems) == 0 {
			t.Fatalf("bit %d of byte %d changed: nothing was found", i%8, i)
		}
		for _, p := range r.Problems {
			if p.Offset == int64(i) {
				near++
				break
			}
		}
	}
	// The byte itself is named wherever the rest of the archive allows it.
	if least := tried * 9 / 10; near < least {
		t.Errorf("the changed byte itself was named for %d of %d changes", near, tried)
	}
}

// inside returns where a file's bytes begin in an archive, and how many they are there.
func inside(t *testing.T, raw []byte, name string) (from, size int64) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		if f.Name == name {
			if from, err = f.DataOffset(); err != nil {
				t.Fatal(err)
			}
			return from, int64(f.CompressedSize64)
		}
	}
	t.Fatalf("there is no %s", name)
	return 0, 0
}
