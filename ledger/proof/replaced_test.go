package proof_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// replacedKey is the n-th key of the ledger.
func replacedKey(t *testing.T, n int) (note.Signer, string) {
	t.Helper()
	seed := sha256.Sum256(fmt.Append(nil, "replaced ", n))
	private := ed25519.NewKeyFromSeed(seed[:])
	text, err := note.NewEd25519VerifierKey(origin, private.Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	secret := base64.StdEncoding.EncodeToString(append([]byte{1}, seed[:]...))
	skey := "PRIVATE+KEY+" + text[:len(origin)+len("+12345678+")] + secret
	s, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	return s, text
}

// TestReplacedKeys: a checkpoint is good by the key that was the ledger's when it had so many records, and by no other:
// what an earlier key signed later is told from what a later key signed of before.
func TestReplacedKeys(t *testing.T) {
	var keys proof.Keys
	var signers []note.Signer
	for i, since := range []int64{0, 5, 9} {
		s, text := replacedKey(t, i)
		k, err := proof.NewKeySince(since, text)
		if err != nil || k.Since != since || k.Text != text || k.Key.KeyHash() != s.KeyHash() {
			t.Fatalf("%+v, %v", k, err)
		}
		keys, signers = append(keys, k), append(signers, s)
	}
	if _, err := proof.NewKeySince(5, keys[0].Text+"x"); err == nil || !strings.Contains(err.Error(), "the key since record 5") {
		t.Errorf("a key that is none: %v", err)
	}
	if keys.Newest().Since != 9 || keys[:1].Newest().Since != 0 {
		t.Error("another key is the newest")
	}
	for i, v := range keys.Verifiers() {
		if v == nil || v.KeyHash() != signers[i].KeyHash() {
			t.Errorf("verifier %d is %v", i, v)
		}
	}
	for size, want := range map[int64]int{0: 0, 4: 0, 5: 1, 8: 1, 9: 2, 100: 2} {
		if k := keys.ForCheckpoint(size); k.Text != keys[want].Text {
			t.Errorf("%d records are signed by the key since %d", size, k.Since)
		}
		for i, s := range signers {
			c := proof.Checkpoint{Origin: origin, Size: size, Root: tlog.Hash{7}}
			if size == 0 {
				c.Root = proof.EmptyRoot
			}
			msg, err := proof.SignCheckpoint(c, s)
			if err != nil {
				t.Fatal(err)
			}
			got, err := keys.OpenCheckpoint(msg, origin)
			switch says := fmt.Sprint(err); {
			case i == want && (err != nil || got.Size != size):
				t.Errorf("%d records by key %d: %v", size, i, err)
			case i < want && (!errors.Is(err, proof.ErrReplacedKey) || got.Size != 0 ||
				!strings.Contains(says, fmt.Sprintf("record %d replaced it", keys[i+1].Since))):
				t.Errorf("%d records by the earlier key %d: %v", size, i, err)
			case i > want && (err == nil || errors.Is(err, proof.ErrReplacedKey) || got.Size != 0):
				t.Errorf("%d records by the later key %d: %v", size, i, err)
			}
			if _, err := keys[:1].OpenCheckpoint(msg, origin); (err == nil) != (i == 0) {
				t.Errorf("where the first key is the only one, key %d: %v", i, err)
			}
			if _, err := keys.OpenCheckpoint(msg, origin+"x"); err == nil {
				t.Error("a checkpoint of another ledger was opened")
			}
		}
	}
}

// TestHeadsAreWhole: a head has two numbers from 1 on, and the count is no more than the last record.
func TestHeadsAreWhole(t *testing.T) {
	for line, good := range map[string]bool{"set A 3 1": true, "set A 3 3": true, "set A 3 4": false, "set A 3 0": false,
		"set A 0 0": false, "set A 0 1": false, "set A x 1": false, "set A 3 x": false, "set A 3 -1": false, "set A 3": false, "A": false,
		"set A 9223372036854775807 1": true, "set A 9223372036854775808 1": false, "3 1": false} {
		if h, err := proof.ParseHead(line); (err == nil) != good {
			t.Errorf("%q is %+v, %v", line, h, err)
		}
	}
}
