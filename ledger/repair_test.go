//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// Whatever JetStream did to its files, the entry bundles bring the stream back.
func TestRepair(t *testing.T) {
	ctx := context.Background()
	n := 0
	for _, d := range damages {
		if !d.repair {
			continue
		}
		n++
		if testing.Short() && n%3 != 1 {
			continue
		}
		t.Run(d.name, func(t *testing.T) {
			t.Parallel()
			opts := wholeLedger(t)
			d.do(t, opts.Dir)
			// As it happens: the damage is found by opening, and the server has already cut what it found.
			l := ledgertest.OpenDamaged(t, opts)
			checkpoint := l.SignedNote()
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			report, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route})
			if err != nil {
				t.Fatal(err)
			}
			if report.Signed != wholeSize || report.Tail != 0 {
				t.Errorf("report: %+v", report)
			}
			if _, err := os.Stat(report.Aside); err != nil {
				t.Errorf("the damaged stream was not kept: %v", err)
			}
			l = ledgertest.Open(t, opts)
			prev, _, err := l.Last(ctx, "north/or-3")
			if err != nil || prev != wholeSize {
				t.Errorf("the station's last record is %d: %v", prev, err)
			}
			fill(t, l, "north/or-3", prev, 10, 0)
			mustCheck(t, l) // signs what checkConsistent compares
			checkConsistent(t, l, [][]byte{checkpoint, l.SignedNote()})
		})
	}
	if n != 7 {
		t.Errorf("only %d kinds of damage", n)
	}
}

// What was acknowledged behind the checkpoint is kept as far as it survived.
func TestRepairKeepsTheTail(t *testing.T) {
	ctx := context.Background()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 20, 0)
	if _, err := l.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	fill(t, l, "north/or-4", 0, 20, 0)
	var records [][]byte
	err := l.Scan(ctx, 1, func(_ int64, record []byte) error { records = append(records, record); return nil })
	if err != nil {
		t.Fatal(err)
	}
	l.Kill()
	if err := os.Remove(filepath.Join(msgsDir(opts.Dir), "index.db")); err != nil {
		t.Fatal(err)
	}
	flipSmall(t, opts.Dir, 10)
	l = ledgertest.OpenDamaged(t, opts)
	if len(l.Damage()) == 0 {
		t.Fatal("the damage was not found")
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := filepath.Glob(filepath.Join(opts.Dir, "before-recovery-*"))
	if err != nil || len(before) != 1 {
		t.Fatalf("copies from before the recovery: %v, %v", before, err)
	}
	report, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route})
	if err != nil {
		t.Fatal(err)
	}
	if left, err := filepath.Glob(filepath.Join(opts.Dir, "before-recovery-*")); err != nil || len(left) > 0 {
		t.Errorf("the copies were left where the next repair would take them for its own: %v, %v", left, err)
	}
	l = ledgertest.Open(t, opts)
	if l.Size() != 40 || report.Signed != 20 || report.Tail != 20 {
		t.Errorf("%d records, report %+v, want 20 signed and 20 behind them", l.Size(), report)
	}
	for seq := int64(1); seq <= l.Size(); seq++ {
		if got, err := l.Read(seq); err != nil || !bytes.Equal(got, records[seq-1]) {
			t.Errorf("record %d differs after the repair: %v", seq, err)
		}
	}
}

func noCheckpoint(t *testing.T, dir string) {
	both(remove("log/checkpoint"), remove("newest.checkpoint"), remove("stream.clean"))(t, dir)
}

// otherKeysCheckpoint signs the checkpoint with another key of the same name.
func otherKeysCheckpoint(t *testing.T, dir string) {
	t.Helper()
	path := filepath.Join(dir, "log", "checkpoint")
	msg, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, verifier := ledgertest.Key(t, ledgertest.Origin)
	c, err := proof.OpenCheckpoint(msg, ledgertest.Origin, verifier)
	if err != nil {
		t.Fatal(err)
	}
	skey, _, err := note.GenerateKey(rand.Reader, ledgertest.Origin)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	if msg, err = proof.SignCheckpoint(c, signer); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, msg, 0o600); err != nil {
		t.Fatal(err)
	}
}

// A checkpoint of which no copy is left is signed anew where all else agrees, and is the one that was there.
func TestCheckpointSignedAnew(t *testing.T) {
	for name, do := range map[string]func(*testing.T, string){
		"removed": noCheckpoint,
		"changed": both(flipFile("log/checkpoint", 25), flipFile("newest.checkpoint", 25), flipFile("stream.clean", 25)),
	} {
		opts := wholeLedger(t)
		path := filepath.Join(opts.Dir, "log", "checkpoint")
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		do(t, opts.Dir)
		if _, err := ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route}); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		after, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: another checkpoint than before: %v\n%s\n%s", name, err, before, after)
		}
		ledgertest.Open(t, opts)
	}
}

func TestRepairRefuses(t *testing.T) {
	ctx := context.Background()
	tests := []struct {
		name string
		do   func(*testing.T, string)
		says string
	}{
		{"bundle and stream changed", both(flipFile(fullBundle, 500), flip(1, false)), "records 1 to 16 in it are damaged"},
		{"record of the bundle and stream changed", both(forgeInBundle(1), flip(1, false)), "do not lead to the signed root"},
		{"bundle and stream changed alike", both(forgeInBundle(1), flip(1, true)), "do not lead to the signed root"},
		{"bundle and stream changed, not packed", both(plainBundles, both(flipFile("log/tile/entries/000", 500), flip(1, false))),
			"do not lead to the signed root"},
		{"bundle removed, stream changed", both(remove(fullBundle), flip(1, false)),
			"cannot read tile/entries/000"},
		{"bundle, tile and stream forged", both(remove(fullBundle), remove("log/tile/0/000"),
			flip(1, true)), "do not lead to the signed root"},
		{"bundle and stream removed", both(remove(fullBundle), remove("stream")),
			"cannot read tile/entries/000"},
		{"no checkpoint, bundle changed", both(noCheckpoint, flipFile(fullBundle, 500)), "log/checkpoint"},
		{"no checkpoint, tile changed", both(noCheckpoint, flipFile("log/tile/0/000", 50)), "tile/0/000 is not that of"},
		{"no checkpoint, stream changed", both(noCheckpoint, flip(1, true)), "record 1 is another one in the stream"},
		{"no checkpoint, stream removed", both(noCheckpoint, remove("stream")), "record 300 is another one in the stream, or not there"},
		{"checkpoint of another key of the name", both(remove("newest.checkpoint"), remove("stream.clean"),
			otherKeysCheckpoint), "put back that key"},
	}
	for _, tt := range tests {
		opts := wholeLedger(t)
		tt.do(t, opts.Dir)
		_, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route})
		if err == nil || !strings.HasPrefix(err.Error(), "not repaired: ") || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v", tt.name, err)
		}
		if left, err := filepath.Glob(filepath.Join(opts.Dir, "damaged-stream-*")); err != nil || len(left) > 0 {
			t.Errorf("%s: the stream was touched: %v, %v", tt.name, left, err)
		}
	}
	opts := wholeLedger(t)
	ledgertest.Open(t, opts)
	var owned *ledger.OwnedError
	if _, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route}); !errors.As(err, &owned) {
		t.Errorf("repair of an open ledger: %v", err)
	}
}

// A damaged bundle is made again from the stream, also when other records of the stream are damaged.
func TestRepairBundles(t *testing.T) {
	ctx := context.Background()
	tests := []struct {
		name           string
		do             func(*testing.T, string)
		bundles, tiles int
	}{
		{"changed", flipFile(fullBundle, 500), 1, 0},
		{"removed", remove(fullBundle), 1, 0},
		{"last one changed", flipFile("log/tile/entries/001.p/44", 500), 1, 0},
		{"all removed", remove("log/tile/entries"), 2, 0},
		{"changed, and its tile removed", both(flipFile(fullBundle, 500), remove("log/tile/0/000")), 1, 1},
		{"removed with its tile", both(remove(fullBundle), remove("log/tile/0/000")), 1, 1},
		{"tile changed, bundle not", flipFile("log/tile/0/000", 500), 0, 1},
		{"changed, and a record of another frame in the stream",
			both(flipFile(fullBundle, 500), flip(ledger.RecordsInFrame+1, false)), 1, 0},
		{"its table changed, and a record of the stream", both(flipFromEnd(fullBundle, 20), flip(7, false)), 1, 0},
		{"a record changed, and another in the stream", both(forgeInBundle(1), flip(7, false)), 1, 0},
		{"not packed, changed, and another record in the stream",
			both(plainBundles, both(flipFile("log/tile/entries/000", 500), flip(7, false))), 1, 0},
	}
	for i, tt := range tests {
		if testing.Short() && i%3 != 0 {
			continue
		}
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			opts := wholeLedger(t)
			tt.do(t, opts.Dir)
			report, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route})
			if err != nil {
				t.Fatal(err)
			}
			if report.Bundles != tt.bundles || report.Tiles != tt.tiles || report.Signed != wholeSize {
				t.Errorf("report: %+v", report)
			}
			l := ledgertest.Open(t, opts)
			mustCheck(t, l)
			fill(t, l, "north/or-3", wholeSize, 10, 0)
		})
	}
}

// A new stream that is not on disk does not take the place of the damaged one.
func TestRepairSyncs(t *testing.T) {
	ctx := context.Background()
	opts := wholeLedger(t)
	flipSmall(t, opts.Dir, 10)
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if step == "sync whole stream" {
			return errFault
		}
		return nil
	}, nil))
	before, err := os.ReadFile(blockPath(opts.Dir, 1))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route}); !errors.Is(err, errFault) ||
		!strings.HasPrefix(err.Error(), "not repaired: ") {
		t.Fatalf("repair whose stream was not synced: %v", err)
	}
	after, err := os.ReadFile(blockPath(opts.Dir, 1))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the damaged stream was touched: %v", err)
	}
	opts.SetFaults(nil)
	if _, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route}); err != nil {
		t.Fatal(err)
	}
	ledgertest.Open(t, opts)
}
