//go:build !race

package bundle_test

import (
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
)

// remembered asks its key once about each message and signature. Both are looked up whole, so what was changed is checked.
type remembered struct {
	note.Verifier
	known map[[2]string]bool
}

func (r remembered) Verify(msg, sig []byte) bool {
	asked := [2]string{string(msg), string(sig)}
	good, ok := r.known[asked]
	if !ok {
		good = r.Verifier.Verify(msg, sig)
		r.known[asked] = good
	}
	return good
}

// remembering returns a Check that checks each signature of a station once, in however many bundles it comes.
func remembering() func(raw []byte, key string) bundle.Report {
	keys := make(map[string]note.Verifier)
	verifier := func(vkey string) (note.Verifier, error) {
		if v, ok := keys[vkey]; ok {
			return v, nil
		}
		v, err := note.NewVerifier(vkey)
		if err != nil {
			return nil, err
		}
		keys[vkey] = remembered{v, make(map[[2]string]bool)}
		return keys[vkey], nil
	}
	return func(raw []byte, key string) bundle.Report { return bundle.CheckBy(verifier, raw, key) }
}
