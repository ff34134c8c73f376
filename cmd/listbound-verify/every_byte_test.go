//go:build !race

package main

import (
	"bytes"
	"testing"

	"listbound/cmd/internal/bundle"
)

// TestEveryByte changes each byte of a bundle in turn: every change is found
// and a place is named.
func TestEveryByte(t *testing.T) {
	raw, key := makeBundle(t)
	if r := bundle.Check(raw, key); !r.OK || r.Records != 5 || !r.KeyTrusted {
		t.Fatalf("the bundle as made: %+v", r)
	}
	if r := bundle.Check(raw, ""); !r.Whole || r.OK || r.KeyTrusted || r.Key != key {
		t.Fatalf("with the key from the bundle: %+v", r)
	}
	near := 0
	for i := range raw {
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
	if least := len(raw) * 9 / 10; near < least {
		t.Errorf("the changed byte itself was named for %d of %d changes", near, len(raw))
	}
}
