package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// A checkpoint of which there is no copy can be signed anew where everything else agrees: every tile is that of the
// records in the bundles, the stream holds the same records, and what the ledger itself signed among them was signed by
// the key that is to sign now. It says no more than the tiles do, which whoever has the key could have made as well:
// only what was seen outside (witnesses, printed sheets, bundles) shows that they are those of before.

// signAnew makes the checkpoint of the records in the bundles. there is the damaged one, nil if it is gone. Where anything
// disagrees it returns the error given, with what disagrees.
func (r *repairing) signAnew(ctx context.Context, there []byte, otherwise error) error {
	if signedByAnother(there, r.opts.verifiers()...) {
		return fmt.Errorf("%w (it was signed by another key named %s; put back that key)", otherwise, r.opts.Origin)
	}
	size, err := r.bundledSize()
	if err != nil {
		return err
	}
	if size == 0 {
		return otherwise
	}
	r.signed = proof.Checkpoint{Origin: r.opts.Origin, Size: size}
	stored := map[int64]tlog.Hash{}
	if err := r.eachStored(ctx, func(seq int64, record []byte) { stored[seq] = proof.LeafHash(record) }); err != nil {
		return err
	}
	keys, signer, err := r.keysOfRecords(ctx)
	if err != nil {
		return fmt.Errorf("%w (it can't be signed anew: %w)", otherwise, err)
	}
	tree, differs := &proof.Tree{}, ""
	tile := func(level int, index int64, hashes []tlog.Hash) {
		there, err := r.files.readTile(level, index, len(hashes))
		if err != nil || !slices.Equal(there, hashes) {
			differs = proof.TilePath(level, index, len(hashes)) + " is not that of the records in the bundles"
		}
	}
	err = r.eachSigned(ctx, func(seq int64, record []byte) error {
		leaf := proof.LeafHash(record)
		switch {
		case stored[seq] != leaf:
			differs = fmt.Sprintf("record %d is another one in the stream, or not there", seq)
		case !r.ownRecord(record, keys(seq)):
			differs = fmt.Sprintf("record %d was signed by another key named %s", seq, r.opts.Origin)
		}
		tree.Append(leaf, tile)
		return nil
	})
	if err != nil {
		return fmt.Errorf("%w (it can't be signed anew: %w)", otherwise, err)
	}
	if tree.Partial(tile); differs != "" {
		return fmt.Errorf("%w (it can't be signed anew: %s)", otherwise, differs)
	}
	r.signed.Root = tree.Root()
	r.checkpoint, err = proof.SignCheckpoint(r.signed, signer)
	return err
}

// keysOfRecords finds out by which key of the ledger each record was signed, and which is to sign now. The last one that
// the records name must be at hand.
func (r *repairing) keysOfRecords(ctx context.Context) (at func(seq int64) note.Verifier, signer note.Signer, err error) {
	type since struct {
		seq int64
		key note.Verifier
	}
	var keys []since
	if r.repair.Replaces != nil {
		err = r.eachSigned(ctx, func(seq int64, record []byte) error {
			former, key, ok := r.repair.Replaces(record)
			if !ok {
				return nil
			}
			if len(keys) == 0 {
				keys = append(keys, since{0, former})
			}
			if keys[len(keys)-1].key.KeyHash() != former.KeyHash() {
				return fmt.Errorf("record %d hands on a key that was not the ledger's", seq)
			}
			keys = append(keys, since{seq, key})
			return nil
		})
	}
	if len(keys) == 0 {
		keys = []since{{0, r.opts.Verifier}}
	}
	switch last := keys[len(keys)-1].key; {
	case err != nil:
	case last.KeyHash() == r.opts.Verifier.KeyHash():
		signer = r.opts.Signer
	case r.opts.Next != nil && last.KeyHash() == r.opts.Next.Verifier.KeyHash():
		signer = r.opts.Next.Signer
	default:
		err = errors.New("the records lead to another key of the ledger than the one that is here")
	}
	return func(seq int64) note.Verifier {
		v := keys[0].key
		for _, k := range keys[1:] {
			if k.seq < seq {
				v = k.key
			}
		}
		return v
	}, signer, err
}

// ownRecord reports whether a record that names the ledger as its signer was signed by the key. Any other says nothing.
func (r *repairing) ownRecord(record []byte, key note.Verifier) bool {
	text, _, _, err := proof.SplitArrival(r.opts.Origin, record)
	if err != nil {
		return false
	}
	_, err = note.Open(text, note.VerifierList(key))
	var unverified *note.UnverifiedNoteError
	if err == nil || !errors.As(err, &unverified) {
		return err == nil
	}
	return !slices.ContainsFunc(unverified.Note.UnverifiedSigs, func(s note.Signature) bool { return s.Name == r.opts.Origin })
}

// signedByAnother reports whether a checkpoint names a signature of the ledger's name by another key.
func signedByAnother(msg []byte, vs ...note.Verifier) bool {
	_, err := note.Open(msg, note.VerifierList(vs...))
	var unverified *note.UnverifiedNoteError
	return errors.As(err, &unverified) && slices.ContainsFunc(unverified.Note.UnverifiedSigs, func(s note.Signature) bool {
		return s.Name == vs[0].Name() && !slices.ContainsFunc(vs, func(v note.Verifier) bool { return s.Hash == v.KeyHash() })
	})
}

// bundledSize returns how many records the entry bundles hold, by their names.
func (r *repairing) bundledSize() (int64, error) {
	for index := int64(0); ; index++ {
		full := proof.EntriesPath(index, proof.TileWidth)
		switch there, err := r.files.hasFull(full); {
		case err != nil:
			return 0, err
		case there:
			continue
		}
		entries, err := os.ReadDir(r.files.path(proof.PartialDir(full)))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return 0, err
		}
		widest := 0
		for _, e := range entries {
			if n, err := strconv.Atoi(e.Name()); err == nil && !strings.HasSuffix(e.Name(), ".tmp") && n < proof.TileWidth {
				widest = max(widest, n)
			}
		}
		return index*proof.TileWidth + int64(widest), nil
	}
}
