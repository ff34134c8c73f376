package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// A folder remembers how far its ledger has ever been: beside stream/ and log/ lies a copy of the newest checkpoint. An
// older copy of the two that is put back, or an empty ledger where they are missing, would give the same numbers to
// other records, under a good signature. So a ledger that is behind its memory, or contradicts it, takes nothing until
// the missing part is back or the loss has been declared. The clean marker holds another copy, of the last stop. A whole
// folder that is put back has no memory of more: then witnesses and printed sheets know.
const memoryName = "newest.checkpoint"

// Loss is what a ledger has been and is not any more.
type Loss struct {
	Size int64     // records there are
	Had  int64     // records there have been
	Root tlog.Hash // of those
	Note []byte    // the checkpoint that says so, signed by this ledger
	what string
}

// MissingText says which records are missing.
func MissingText(from, to int64) string {
	if from == to {
		return fmt.Sprintf("record %d is missing", from)
	}
	return fmt.Sprintf("records %d to %d are missing", from, to)
}

func (x *Loss) problem() Problem { return Problem{Seq: min(x.Size, x.Had) + 1, What: x.what} }

// recall reads what the folder remembers: of its two copies of a checkpoint the one over more records. A copy that
// can't be read is none: the memory is written without waiting for the disk, and a power failure may tear it; the clean
// marker of earlier versions holds a number.
func (l *Ledger) recall() (note []byte, c proof.Checkpoint, err error) {
	for _, name := range []string{memoryName, cleanMarkerName} {
		raw, err := os.ReadFile(filepath.Join(l.opts.Dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, c, fmt.Errorf("cannot read %s: %w", name, cause(err))
		}
		had, _, err := l.opts.openNewest(raw)
		if err != nil {
			if name == memoryName {
				l.log.Warn("the folder's memory of its newest checkpoint cannot be read", "file", name, "err", err)
			}
			continue
		}
		if note == nil || had.Size > c.Size || had.Size == c.Size && had.Root != c.Root {
			note, c = raw, had
		}
	}
	return note, c, nil
}

// remember keeps a copy of a checkpoint that was written. It does not wait for the disk: the next one replaces it.
func (l *Ledger) remember(note []byte) {
	path := filepath.Join(l.opts.Dir, memoryName)
	err := os.WriteFile(path+".tmp", note, 0o600)
	if err == nil {
		err = os.Rename(path+".tmp", path)
	}
	if err != nil {
		l.log.Warn("cannot keep a copy of the newest checkpoint", "file", memoryName, "err", err)
	}
}

// compareMemory holds the ledger against what its folder remembers. It is called when stream and tree are loaded.
func (l *Ledger) compareMemory(note []byte, had proof.Checkpoint) error {
	if note == nil {
		return nil
	}
	if had.Size > l.signed.Size && had.Size <= l.size {
		l.log.Warn("log/checkpoint is an older copy that was put back; all that was signed is there, and is signed again",
			"covers", l.signed.Size, "signed", had.Size)
	}
	loss := &Loss{Size: l.size, Had: had.Size, Root: had.Root, Note: note}
	if had.Size > l.size {
		loss.what = fmt.Sprintf("there are %d records here, and this folder has had %d: %s",
			l.size, had.Size, MissingText(l.size+1, had.Size))
	} else {
		root, err := l.rootOf(had.Size)
		if err != nil || root == had.Root {
			return err
		}
		loss.what = fmt.Sprintf("the first %d records are not those that this folder has had: an older copy was put back and "+
			"recorded in, or they were rewritten", had.Size)
	}
	l.loss = loss
	return nil
}

// rootOf returns the root over the first size records, signed or not.
func (l *Ledger) rootOf(size int64) (tlog.Hash, error) {
	if size <= l.signed.Size {
		return l.RootAt(size)
	}
	tree := l.build.tree.Clone()
	for _, record := range l.tail[:size-l.signed.Size] {
		tree.Append(proof.LeafHash(record), func(int, int64, []tlog.Hash) {})
	}
	return tree.Root(), nil
}

// Loss returns what the ledger has been and is not any more, nil if it is all there. With [Options.AcceptLoss] it takes
// records all the same; the caller records the loss and then calls [Ledger.LossDeclared].
func (l *Ledger) Loss() *Loss {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.loss
}

// LossDeclared signs what was recorded of a loss. From then on the folder remembers the ledger as it is now.
func (l *Ledger) LossDeclared(ctx context.Context) error {
	note, err := l.Checkpoint(ctx)
	if err != nil {
		return err
	}
	// Crash here: the loss is recorded and signed, and the folder still remembers more. It is declared once more.
	l.mu.Lock()
	l.loss = nil
	l.mu.Unlock()
	l.remember(note)
	return nil
}
