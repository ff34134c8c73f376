package site

import (
	"context"

	"listbound/ledger/proof"
)

// Dir is the data folder. Pages keep what is not yet recorded beside the ledger.
func (s *Site) Dir() string { return s.opts.Dir }

// ReadRecord returns one record as stored.
func (s *Site) ReadRecord(seq int64) ([]byte, error) { return s.ledger.Read(seq) }

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
