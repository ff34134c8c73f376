//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// What the stream has lost can still be read and proved from the second copy.
func TestDamagedLedgerStillReads(t *testing.T) {
	ctx := context.Background()
	opts := wholeLedger(t)
	remove("stream")(t, opts.Dir)
	l := ledgertest.OpenDamaged(t, opts)
	if len(l.Damage()) == 0 {
		t.Fatal("the missing stream was not noticed")
	}
	if l.Size() != wholeSize {
		t.Errorf("%d records, want %d", l.Size(), wholeSize)
	}
	n := 0
	if err := l.ScanHashed(ctx, 1, func(int64, []byte) error { n++; return nil }); err != nil || n != wholeSize {
		t.Errorf("scanned %d records: %v", n, err)
	}
	record, err := l.Read(17)
	if err != nil {
		t.Fatal(err)
	}
	p, err := l.Prove(ctx, 17)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Check(record, opts.Origin, opts.Verifier); err != nil {
		t.Error(err)
	}
	if _, err := l.Checkpoint(ctx); err == nil {
		t.Error("signed a checkpoint over a damaged ledger")
	}
}

// Records that were acknowledged but not signed yet, then an unclean stop with damage among them: JetStream cuts, we
// notice.
func TestDamageInTheUnsignedTail(t *testing.T) {
	setUp := killedWithTail
	t.Run("none", func(t *testing.T) {
		l := ledgertest.Open(t, setUp(t))
		if l.Size() != 40 || l.Signed().Size != 20 {
			t.Errorf("%d records, %d signed, want 40 and 20", l.Size(), l.Signed().Size)
		}
		mustCheck(t, l)
	})
	t.Run("in its middle", func(t *testing.T) {
		opts := setUp(t)
		flipSmall(t, opts.Dir, 30)
		l := ledgertest.OpenDamaged(t, opts)
		problems := l.Damage()
		if len(problems) != 1 || problems[0].Seq != 30 || !strings.Contains(problems[0].What, "records 30 to 40") {
			t.Errorf("problems: %v", problems)
		}
		kept, err := os.ReadFile(filepath.Join(opts.Dir, "before-recovery-1", "1.blk"))
		if err != nil {
			t.Fatal(err)
		}
		if n := len(parseBlock(t, kept)); n != 40 {
			t.Errorf("the copy holds %d records, want 40", n)
		}
	})
	t.Run("torn last record", func(t *testing.T) {
		// What a power cut leaves of a record that was never acknowledged.
		opts := setUp(t)
		inBlock(t, opts.Dir, 40, func(_ int, data []byte, s stored) []byte { return data[:s.end-30] })
		l := ledgertest.Open(t, opts)
		if l.Size() != 39 {
			t.Errorf("%d records, want 39", l.Size())
		}
		mustCheck(t, l)
		if _, err := os.Stat(filepath.Join(opts.Dir, "before-recovery-1", "1.blk")); err != nil {
			t.Errorf("no copy of what was cut: %v", err)
		}
	})
	t.Run("rewritten with a right checksum and an earlier time", func(t *testing.T) {
		opts := setUp(t)
		inBlock(t, opts.Dir, 30, func(block int, data []byte, s stored) []byte {
			note, at, _, err := proof.SplitArrival(opts.Origin, data[s.payload:s.end-8])
			if err != nil {
				t.Fatal(err)
			}
			copy(data[s.payload:], proof.AddArrival(opts.Origin, bytes.Clone(note), at.Add(-time.Hour), 0))
			forge(t, data, s, block)
			return data
		})
		l := ledgertest.OpenDamaged(t, opts)
		if problems := l.Damage(); len(problems) != 1 || problems[0].Seq != 30 ||
			!strings.Contains(problems[0].What, "arrived before the one in front") {
			t.Errorf("problems: %v", problems)
		}
	})
	t.Run("rewritten with a right checksum, but no record", func(t *testing.T) {
		opts := setUp(t)
		inBlock(t, opts.Dir, 30, func(block int, data []byte, s stored) []byte {
			data[s.end-10] ^= 1
			forge(t, data, s, block)
			return data
		})
		l := ledgertest.OpenDamaged(t, opts)
		if problems := l.Damage(); len(problems) != 1 || problems[0].Seq != 30 {
			t.Errorf("problems: %v", problems)
		}
	})
}
