package proof_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"fmt"

	"golang.org/x/mod/sumdb/note"
)

// testKey returns the key pair that belongs to a name, always the same one.
func testKey(name string) (note.Signer, note.Verifier) {
	seed := sha256.Sum256([]byte("listbound test key " + name))
	vkey, err := note.NewEd25519VerifierKey(name, ed25519.NewKeyFromSeed(seed[:]).Public().(ed25519.PublicKey))
	if err != nil {
		return nil, nil
	}
	verifier, err := note.NewVerifier(vkey)
	if err != nil {
		return nil, nil
	}
	signer, err := note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, verifier.KeyHash(),
		base64.StdEncoding.EncodeToString(append([]byte{1}, seed[:]...))))
	if err != nil {
		return nil, nil
	}
	return signer, verifier
}
