package ledger_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/proof"
)

func TestKeyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "keys", "ledger")
	signer, verifier, created, err := ledger.LoadOrCreateKey(path, "ledger.example/north")
	if err != nil || !created {
		t.Fatalf("created %t, %v", created, err)
	}
	for name, want := range map[string]os.FileMode{path: 0o600, filepath.Dir(path): 0o700 | os.ModeDir} {
		info, err := os.Stat(name)
		if err != nil || info.Mode() != want {
			t.Errorf("%s has the mode %v, want %v: %v", filepath.Base(name), info.Mode(), want, err)
		}
	}
	if entries, err := os.ReadDir(filepath.Dir(path)); err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v, %v", entries, err)
	}
	again, _, created, err := ledger.LoadOrCreateKey(path, "ledger.example/north")
	if err != nil || created || again.KeyHash() != signer.KeyHash() {
		t.Errorf("loaded another key: created %t, %v", created, err)
	}
	msg, err := proof.SignNote("x\n", again)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := proof.OpenNote(msg, note.VerifierList(verifier)); err != nil {
		t.Errorf("the public half does not fit: %v", err)
	}
	vkey, err := ledger.VerifierKey(path)
	if err != nil {
		t.Fatal(err)
	}
	public, err := note.NewVerifier(vkey)
	if err != nil || public.KeyHash() != verifier.KeyHash() || strings.Contains(vkey, "PRIVATE") {
		t.Errorf("public key %q, %v", vkey, err)
	}
	if _, _, _, err := ledger.LoadOrCreateKey(path, "ledger.example/south"); err == nil {
		t.Error("took a key of another name")
	}
	secret, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, mode := range []os.FileMode{0o640, 0o604, 0o660} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		_, _, _, err := ledger.LoadOrCreateKey(path, "ledger.example/north")
		if err == nil || !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("mode %o: %v", mode, err)
		}
		if _, err := ledger.VerifierKey(path); err == nil {
			t.Errorf("mode %o: VerifierKey read it", mode)
		}
	}
	for name, contents := range map[string]string{
		"empty": "", "text": "hello\n", "public": vkey + "\n", "cut": string(secret[:len(secret)/2]),
	} {
		file := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(file, []byte(contents), 0o600); err != nil {
			t.Fatal(err)
		}
		_, _, created, err := ledger.LoadOrCreateKey(file, "ledger.example/north")
		if err == nil || created {
			t.Errorf("%s: accepted", name)
		} else if contents != "" && strings.Contains(err.Error(), strings.TrimSpace(contents)) {
			t.Errorf("%s: the error shows what is in the file: %v", name, err)
		}
		if after, err := os.ReadFile(file); err != nil || string(after) != contents {
			t.Errorf("%s: the file was changed", name)
		}
	}
	if _, _, _, err := ledger.LoadOrCreateKey(filepath.Join(t.TempDir(), "k"), "a b"); err == nil {
		t.Error("made a key with a space in its name")
	}
}

// Several processes that start together agree on one key.
func TestKeyFileRace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	var wg sync.WaitGroup
	hashes := make([]uint32, 8)
	for i := range hashes {
		wg.Go(func() {
			signer, _, _, err := ledger.LoadOrCreateKey(path, "ledger.example/north")
			if err != nil {
				t.Error(err)
				return
			}
			hashes[i] = signer.KeyHash()
		})
	}
	wg.Wait()
	for _, h := range hashes {
		if h != hashes[0] || h == 0 {
			t.Fatalf("keys %x", hashes)
		}
	}
}
