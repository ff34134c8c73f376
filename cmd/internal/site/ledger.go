package site

import (
	"context"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/events"
	"listbound/ledger/proof"
)

// Dir is the data folder. Pages keep what is not yet recorded beside the ledger.
func (s *Site) Dir() string { return s.opts.Dir }

// ReadRecord returns one record as stored.
func (s *Site) ReadRecord(seq int64) ([]byte, error) { return s.ledger.Read(seq) }

// CheckLine returns the line that is printed of the ledger as it is now, with all that is recorded. Where it can't be
// signed any more, it is of what was signed.
func (s *Site) CheckLine(ctx context.Context) (events.CheckLine, error) {
	cp := s.ledger.Signed()
	if len(s.ledger.Damage()) == 0 {
		var err error
		if cp, err = s.Checkpoint(ctx); err != nil {
			return events.CheckLine{}, err
		}
	}
	return events.NewCheckLine(cp.Size, cp.Root)
}

// RootAt implements Service.
func (s *Site) RootAt(ctx context.Context, size int64) (tlog.Hash, error) {
	if _, err := s.Consistency(ctx, size); err != nil { // signs what there is, and knows how many there were
		return tlog.Hash{}, err
	}
	return s.ledger.RootAt(size)
}

// Signed returns the last signed checkpoint.
func (s *Site) Signed() proof.Checkpoint { return s.ledger.Signed() }

// Checkpoint returns a signed checkpoint over every record there is now.
func (s *Site) Checkpoint(ctx context.Context) (proof.Checkpoint, error) {
	signed, err := s.ledger.Checkpoint(ctx)
	if err != nil {
		return proof.Checkpoint{}, err
	}
	return proof.OpenCheckpoint(signed, s.Name(), s.ledger.Verifier())
}

// AuditErrors counts the records whose own form or signature did not hold when
// they were read again.
func (s *Site) AuditErrors() int64 { return s.ledger.AuditErrors() }

// SignedNote returns the newest signed checkpoint, as it is handed out.
func (s *Site) SignedNote() []byte { return s.ledger.SignedNote() }

// Tile returns a tile or an entry bundle of the ledger by its name in the form
// of c2sp.org/tlog-tiles; os.ErrNotExist says that there is none.
func (s *Site) Tile(name string) ([]byte, error) { return s.ledger.Tile(name) }
