//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// powerCut is a ledger whose power fails while a round is written.
type powerCut struct {
	opts     ledger.Options // of the ledger before
	records  int            // in the round that is not finished
	dir      string         // the folder as it was in the middle of the round
	acked    ledger.Appended
	batch    []ledger.Entry // the round
	synced   map[int]int64  // size of each block at the last sync
	oldIndex []byte         // the stream's index at the last clean stop
}

// cutPower appends records that are acknowledged, and copies the folder in the middle of the round behind them.
func cutPower(t *testing.T, records int) *powerCut {
	ctx := context.Background()
	p := &powerCut{opts: ledgertest.Options(t), records: records, synced: map[int]int64{}}
	l := ledgertest.Open(t, p.opts)
	length := 300
	if records == 40 {
		length = 59_000
		fill(t, l, "north/or-9", 0, 120, length)
	}
	fill(t, l, "north/or-3", 0, 20, 300)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	var err error
	if p.oldIndex, err = os.ReadFile(filepath.Join(msgsDir(p.opts.Dir), "index.db")); err != nil {
		t.Fatal(err)
	}
	cut, hold := p.opts, false
	cut.SetPlain() // nothing is packed while it is copied; what a crash leaves of that TestCrashWhilePacking has
	cut.SetFaults(ledger.NewFaults(func(step string) error {
		if step != "sync stream" || !hold {
			return nil
		}
		p.dir = t.TempDir()
		if err := copyRunning(p.dir, p.opts.Dir); err != nil {
			t.Error(err)
		}
		return errFault
	}, func(step string) error {
		if step == "sync stream" {
			for _, n := range blocks(t, p.opts.Dir) {
				info, err := os.Stat(blockPath(p.opts.Dir, n))
				if err != nil {
					t.Error(err)
					return nil
				}
				p.synced[n] = info.Size()
			}
		}
		return nil
	}))
	l = ledgertest.Open(t, cut)
	prev, _, err := l.Last(ctx, "north/or-3")
	if err != nil {
		t.Fatal(err)
	}
	p.acked = mustAppend(t, l, entry(t, "north/or-3", "acknowledged", prev))[0]
	hold = true
	for i := range records {
		p.batch = append(p.batch, entry(t, "north/or-4", fmt.Sprint(i, strings.Repeat("x", length)), 0))
	}
	if _, err := l.Append(ctx, p.batch...); !errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Fatalf("append whose sync failed: %v", err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return p
}

// lastBlock returns the number and the bytes of the block that was being written, and the places to cut it at: the last
// synced byte, and others behind it.
func (p *powerCut) lastBlock(t *testing.T) (number int, data []byte, cuts []int64) {
	t.Helper()
	written := blocks(t, p.dir)
	number = written[len(written)-1]
	data, err := os.ReadFile(blockPath(p.dir, number))
	if err != nil {
		t.Fatal(err)
	}
	if p.records == 40 && p.synced[number] != 0 {
		t.Fatal("the round did not begin a new block")
	}
	cuts = []int64{p.synced[number], int64(len(data))}
	for i, s := range parseBlock(t, data) {
		if int64(s.start) < p.synced[number] || i%13 > 0 && s.end != len(data) {
			continue
		}
		cuts = append(cuts, int64(s.start)+1, int64(s.start)+30, int64(s.end)-1, int64(s.end))
	}
	slices.Sort(cuts)
	return number, data, slices.Compact(cuts)
}

// startAfter starts the ledger on what the power failure left: the last block with the given bytes, and an index, or
// none. What was acknowledged must be there, and the writer gets the rest in, once.
func (p *powerCut) startAfter(t *testing.T, block int, data, index []byte) {
	ctx := context.Background()
	after := p.opts
	after.Dir = t.TempDir()
	copyTree(t, after.Dir, p.dir)
	if err := os.WriteFile(blockPath(after.Dir, block), data, 0o600); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(msgsDir(after.Dir), "index.db")
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	if index != nil {
		if err := os.WriteFile(path, index, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	l := ledgertest.Open(t, after)
	if d := l.Damage(); len(d) > 0 {
		t.Fatal(d)
	}
	record, err := l.Read(p.acked.Seq)
	if err != nil || !bytes.Equal(record, p.acked.Record) {
		t.Fatalf("the acknowledged record: %v", err)
	}
	// The writer starts over with the same notes.
	last, _, err := l.Last(ctx, "north/or-4")
	if err != nil {
		t.Fatal(err)
	}
	if have := int(max(last-p.acked.Seq, 0)); have < p.records {
		rest := slices.Clone(p.batch[have:])
		for i := range rest {
			rest[i].ExpectPrev = last
		}
		mustAppend(t, l, rest...)
	}
	if want := p.acked.Seq + int64(p.records); l.Size() != want {
		t.Errorf("%d records, want %d", l.Size(), want)
	}
}

// Power fails while a round is written: what was acknowledged is on disk, of the rest any part. The stream's blocks are
// cut at and between records, or end in zeros, as file systems leave them; its index is absent, as old as the last
// clean stop, or as new as the round.
func TestPowerFails(t *testing.T) {
	for _, records := range []int{1, 5, 40} { // in the round; with 40 long ones it runs over into a new block
		p := cutPower(t, records)
		block, data, cuts := p.lastBlock(t)
		// Each start takes its time: every cut of the middle round is seen in all four ways, in a short run in one.
		allWays := records == 5 && !testing.Short()
		for i, at := range cuts {
			for v, zeros := range []int{0, 5000} {
				for w, index := range [][]byte{nil, p.oldIndex} {
					if !allWays && i%4 != 2*v+w {
						continue
					}
					name := fmt.Sprintf("%d records, cut at %d of %d, %d zeros, index %t",
						records, at, len(data), zeros, index != nil)
					t.Run(name, func(t *testing.T) {
						t.Parallel()
						p.startAfter(t, block, append(bytes.Clone(data[:at]), make([]byte, zeros)...), index)
					})
				}
			}
		}
	}
}
