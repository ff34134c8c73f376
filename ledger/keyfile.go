package ledger

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger/disk"
)

// LoadOrCreateSecret is LoadOrCreateKey for a key that is used in another way
// than signing notes; it returns the text of the file.
func LoadOrCreateSecret(path, name string) (skey string, err error) {
	if _, _, _, err := LoadOrCreateKey(path, name); err != nil {
		return "", err
	}
	return readKeyFile(path)
}

// LoadOrCreateKey reads the Ed25519 note key at path, or makes one named name. The file is for its owner only (mode
// 0600, in a folder made with 0700). A file that others may read is refused, because whoever has the key can sign as
// its owner.
func LoadOrCreateKey(path, name string) (signer note.Signer, verifier note.Verifier, created bool, err error) {
	skey, err := readKeyFile(path)
	if errors.Is(err, os.ErrNotExist) {
		if skey, err = createKeyFile(path, name); err == nil {
			created = true
		} else if errors.Is(err, os.ErrExist) {
			// Another process has made it meanwhile.
			skey, err = readKeyFile(path)
		}
	}
	if err != nil {
		return nil, nil, false, err
	}
	if signer, err = note.NewSigner(skey); err != nil {
		return nil, nil, false, fmt.Errorf("the file %s does not hold a signing key", path)
	}
	if signer.Name() != name {
		return nil, nil, false, fmt.Errorf("the key in %s is named %q, want %q", path, signer.Name(), name)
	}
	vkey, err := verifierKey(skey)
	if err != nil {
		return nil, nil, false, fmt.Errorf("the file %s: %w", path, err)
	}
	if verifier, err = note.NewVerifier(vkey); err != nil {
		return nil, nil, false, fmt.Errorf("the file %s: %w", path, err)
	}
	return signer, verifier, created, nil
}

// HalfKeys is the pattern of files that a key is written to before it gets its name. One that is left after a kill can hold
// the same key.
const HalfKeys = ".key-*"

// NextKey is where the key lies that is to take the place of the one at path.
func NextKey(path string) string { return path + ".next" }

// TakeNextKey puts the next key in the place of the one at path, which is gone then.
func TakeNextKey(path string) error {
	if err := os.Rename(NextKey(path), path); err != nil {
		return fmt.Errorf("the new key could not take the place of the old one: %w", cause(err))
	}
	return disk.SyncFolder(filepath.Dir(path))
}

// VerifierKey returns the public half of the key at path, in the text form that is handed out.
func VerifierKey(path string) (string, error) {
	skey, err := readKeyFile(path)
	if err != nil {
		return "", err
	}
	vkey, err := verifierKey(skey)
	if err != nil {
		return "", fmt.Errorf("the file %s: %w", path, err)
	}
	return vkey, nil
}

func readKeyFile(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("the key %s is not a plain file", path)
	}
	if err := disk.This().OwnersAlone(path, info.Mode()); err != nil {
		return "", err
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	return strings.TrimSpace(string(data)), nil
}

func createKeyFile(path, name string) (skey string, err error) {
	if skey, _, err = note.GenerateKey(rand.Reader, name); err != nil {
		return "", err
	}
	if _, err := note.NewSigner(skey); err != nil {
		return "", fmt.Errorf("%q cannot be the name of a key: it is empty or holds a space or a plus sign", name)
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	f, err := os.CreateTemp(dir, HalfKeys) // made with mode 0600
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name()) //nolint:errcheck // the name is a leftover once the link stands
	if _, err := f.WriteString(skey + "\n"); err != nil {
		return "", errors.Join(err, f.Close())
	}
	if err := f.Sync(); err != nil {
		return "", errors.Join(err, f.Close())
	}
	if err := f.Close(); err != nil {
		return "", err
	}
	// A link, unlike a rename, never replaces a key that is there already.
	if err := os.Link(f.Name(), path); err != nil {
		return "", err
	}
	return skey, disk.SyncFolder(dir)
}

// verifierKey derives the public key from the text of a note signing key,
// PRIVATE+KEY+<name>+<hash>+<base64 of algorithm and seed>.
func verifierKey(skey string) (string, error) {
	parts := strings.SplitN(skey, "+", 5)
	if len(parts) != 5 {
		return "", errors.New("does not hold a signing key")
	}
	key, err := base64.StdEncoding.DecodeString(parts[4])
	if err != nil || len(key) != 1+ed25519.SeedSize || key[0] != 1 {
		return "", errors.New("does not hold an Ed25519 signing key")
	}
	public := ed25519.NewKeyFromSeed(key[1:]).Public().(ed25519.PublicKey)
	return note.NewEd25519VerifierKey(parts[2], public)
}
