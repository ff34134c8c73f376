package ledger_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// A backup of a ledger in use has all that was acknowledged before it began, wherever the stream is; and there is one of a
// ledger that has no records yet.
func TestBackupHasAllAcknowledged(t *testing.T) {
	t.Parallel()
	for name, o := range map[string]ledger.Options{"own stream": ledgertest.Options(t), "in a cluster": startLoneServer(t).options()} {
		l := ledgertest.Open(t, o)
		to := filepath.Join(t.TempDir(), "backup")
		if _, err := ledger.BackedUp(to, o.Verifier); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: a backup before the first: %v", name, err)
		}
		var prev int64
		for _, n := range []int{0, 5, 300} {
			prev = fill(t, l, "north/or-3", prev, n, 0)
			size := l.Size()
			if err := ledger.AwaitSigned(t.Context(), o.Dir, o.Verifier); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if c, err := ledger.Backup(t.Context(), o.Dir, to, []note.Verifier{o.Verifier}, nil); err != nil || c.Size < size {
				t.Fatalf("%s: %d records of %d: %v", name, c.Size, size, err)
			}
			if c, err := ledger.BackedUp(to, o.Verifier); err != nil || c.Size < size {
				t.Errorf("%s: the backup says %d records of %d: %v", name, c.Size, size, err)
			}
		}
	}
}
