package proof

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/note"
)

// A ledger's key can be replaced: a record of the ledger says so, and is signed by the key before. That record and all
// before it are under the old key, the records behind it under the new one. Checkpoints that cover it are signed by the
// new key, those of fewer records by the old one. What the old key signed besides is not the ledger's, whoever has it.

// KeySince is a key with the record by which the ledger took it, 0 for its first.
type KeySince struct {
	Since int64
	Text  string // in the form that is handed out, a verifier key of a signed note
	Key   note.Verifier
}

// NewKeySince reads a key.
func NewKeySince(since int64, text string) (KeySince, error) {
	v, err := note.NewVerifier(text)
	if err != nil {
		return KeySince{}, fmt.Errorf("the key since record %d: %w", since, err)
	}
	return KeySince{Since: since, Text: text, Key: v}, nil
}

// Keys are all keys of one ledger, in the order in which they took over.
type Keys []KeySince

// Newest returns the key of now.
func (ks Keys) Newest() KeySince { return ks[len(ks)-1] }

// Verifiers returns all of them.
func (ks Keys) Verifiers() []note.Verifier {
	out := make([]note.Verifier, len(ks))
	for i, k := range ks {
		out[i] = k.Key
	}
	return out
}

// ForCheckpoint returns the key that signs a checkpoint over so many records.
func (ks Keys) ForCheckpoint(size int64) KeySince {
	at := ks[0]
	for _, k := range ks[1:] {
		if k.Since <= size {
			at = k
		}
	}
	return at
}

// ErrReplacedKey says that a checkpoint bears the signature of a key that was not the ledger's for so many records.
var ErrReplacedKey = errors.New("signed by a key that was not the ledger's any more")

// OpenCheckpoint checks the origin of a checkpoint, and its signature by the key that was the ledger's when it had so
// many records.
func (ks Keys) OpenCheckpoint(msg []byte, origin string) (Checkpoint, error) {
	if len(ks) == 1 {
		return OpenCheckpoint(msg, origin, ks[0].Key)
	}
	c, err := OpenCheckpoint(msg, origin, ks.Verifiers()...)
	if err != nil {
		return c, err
	}
	k := ks.ForCheckpoint(c.Size)
	if _, err := OpenCheckpoint(msg, origin, k.Key); err == nil {
		return c, nil
	}
	for i, other := range ks[:len(ks)-1] {
		if _, err := OpenCheckpoint(msg, origin, other.Key); err == nil && ks[i+1].Since <= c.Size {
			return Checkpoint{}, fmt.Errorf("checkpoint of %d records: %w: record %d replaced it; whoever has that key can have made this",
				c.Size, ErrReplacedKey, ks[i+1].Since)
		}
	}
	return Checkpoint{}, fmt.Errorf("checkpoint of %d records is signed by a key that the ledger took later", c.Size)
}
