//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/s2"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// pack packs the bytes of a block as the server does.
func pack(tb testing.TB, data []byte) []byte {
	tb.Helper()
	out := bytes.NewBuffer(binary.AppendUvarint([]byte{'c', 'm', 'p', 1}, uint64(len(data))))
	w := s2.NewWriter(out)
	if _, err := w.Write(data[:len(data)-8]); err != nil {
		tb.Fatal(err)
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return append(out.Bytes(), data[len(data)-8:]...)
}

// awaitPacked waits until the server has packed a block.
func awaitPacked(tb testing.TB, dir string, n int) {
	tb.Helper()
	for until := time.Now().Add(time.Minute); ; {
		if packed, err := ledger.IsPackedFile(blockPath(dir, n)); err != nil {
			tb.Fatal(err)
		} else if packed {
			return
		}
		if time.Now().After(until) {
			tb.Fatalf("block %d is not packed", n)
		}
	}
}

// wordy is a note's line that packs about as well as a real one.
func wordy(random *rand.Rand, size int) string {
	var b strings.Builder
	for b.Len() < size {
		fmt.Fprintf(&b, `"%x":"set %d", `, random.Uint32(), random.IntN(90))
	}
	return b.String()
}

// packedLedger returns options for a copy of a ledger of 400 records in three blocks, of which two are packed, in three chunks
// each. It is the tests that pack them, as the server does (TestSalvage), which begins a block at 8 MB only.
func packedLedger(t *testing.T) ledger.Options {
	t.Helper()
	opts := ledgertest.Options(t)
	packedOnce.Do(func() {
		opts := opts
		opts.Dir = packedDir(t)
		l := fillWordy(t, opts, packedSize, 16_000)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		divide(t, opts.Dir)
		for _, n := range []int{1, 2} {
			change(t, blockPath(opts.Dir, n), func(data []byte) []byte { return pack(t, data) })
		}
		if err := ledgertest.Open(t, opts).Close(); err != nil {
			t.Fatal(err)
		}
		for n, want := range map[int]bool{1: true, 2: true, 3: false} {
			if packed, err := ledger.IsPackedFile(blockPath(opts.Dir, n)); err != nil || packed != want {
				t.Fatalf("block %d is packed: %t, %v", n, packed, err)
			}
		}
	})
	copyTree(t, opts.Dir, packedDir(t))
	return opts
}

const packedSize = 400

// fillWordy returns a new ledger of n records that pack as real ones do.
func fillWordy(t *testing.T, opts ledger.Options, n int64, size int) *ledgertest.Ledger {
	t.Helper()
	l := ledgertest.Open(t, opts)
	random := rand.New(rand.NewPCG(1, 2))
	for prev := int64(0); prev < n; {
		prev = mustAppend(t, l, entry(t, "north/or-3", wordy(random, size), prev))[0].Seq
	}
	return l
}

var packedOnce sync.Once

func packedDir(t *testing.T) string {
	t.Helper()
	dir, err := packedAt()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// inPacked lets f change the bytes of a block, which is packed again.
func inPacked(block int, f func(tb testing.TB, data []byte, records []stored)) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, blockPath(dir, block), func(data []byte) []byte {
			plain, err := ledger.UnpackBlock(nil, data)
			if err != nil {
				t.Fatal(err)
			}
			f(t, plain, parseBlock(t, plain))
			return pack(t, plain)
		})
	}
}

// flipPacked flips a bit of a packed block where it lies, so many bytes behind its beginning, or before its end.
func flipPacked(block, at int) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, blockPath(dir, block), func(data []byte) []byte {
			data[(at+len(data))%len(data)] ^= 4
			return data
		})
	}
}

func cutPacked(block, by int) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, blockPath(dir, block), func(data []byte) []byte { return data[:len(data)-by] })
	}
}

// Damage of a packed block is found before the server looks at it, which would give up the stream. Verify names the records
// that are gone with it, and a repair brings them back from the bundles.
func TestPackedDamage(t *testing.T) {
	ctx := context.Background()
	const isDamaged = "is packed and damaged"
	tests := []struct {
		name  string
		do    func(*testing.T, string)
		says  string
		lacks bool // Verify names records that are lost
	}{
		{"a byte in the middle", flipPacked(1, 800_000), isDamaged, true},
		{"a byte in the middle, unclean stop", both(flipPacked(2, 900_000), unclean), isDamaged, true},
		{"the mark", flipPacked(1, 1), "block 1 of the stream begins with nothing that could be read", true},
		{"the length", flipPacked(1, 5), isDamaged, false},
		{"the head of the first chunk", flipPacked(1, 20), isDamaged, true},
		{"cut short", cutPacked(2, 100_000), isDamaged, true},
		{"a number that was another before it was packed", inPacked(1, func(_ testing.TB, data []byte, records []stored) {
			data[records[6].start+4+5] ^= 1
		}), "record 7 is numbered", true},
		{"a record that was another before it was packed", inPacked(1, func(_ testing.TB, data []byte, records []stored) {
			data[records[6].payload+100] ^= 1
		}), "the stream lacks this record", true},
		{"a record that was rewritten, with its checksum", inPacked(2, func(tb testing.TB, data []byte, records []stored) {
			data[records[6].payload+100] ^= 1
			forge(tb, data, records[6], 2)
		}), "the record in the stream does not have the hash in the tree", false},
	}
	for i, tt := range tests {
		if testing.Short() && i%3 != 0 {
			continue
		}
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			opts := packedLedger(t)
			tt.do(t, opts.Dir)
			l := ledgertest.OpenDamaged(t, opts)
			report, err := l.Verify(ctx, ledger.VerifyOptions{})
			if err != nil {
				t.Fatal(err)
			}
			said := fmt.Sprint(report.Problems)
			if !strings.Contains(said, tt.says) || strings.Contains(said, "lacks") != tt.lacks {
				t.Errorf("want %q, got: %.1000s", tt.says, said)
			}
			if err := l.CloseUnverified(); err != nil {
				t.Fatal(err)
			}
			if _, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route}); err != nil {
				t.Fatal(err)
			}
			l = ledgertest.Open(t, opts)
			fill(t, l, "north/or-3", packedSize, 10, 0)
			mustCheck(t, l)
		})
	}
}

// A bundle is made again from packed blocks, also where these are damaged elsewhere.
func TestRepairBundlesFromPacked(t *testing.T) {
	ctx := context.Background()
	for name, tt := range map[string]struct {
		do      func(*testing.T, string)
		refused string
	}{
		"the bundle alone": {do: remove(fullBundle)},
		"a record of the bundle, and another one's chunk in the stream": {
			do: both(flipFile(fullBundle, 500), flipPacked(1, 900_000))},
		"a bundle, and a byte of a block that holds it": {
			do: both(remove(fullBundle), flipPacked(1, 900_000)), refused: "cannot read tile/entries/000"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			opts := packedLedger(t)
			tt.do(t, opts.Dir)
			report, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route})
			if tt.refused != "" {
				if err == nil || !strings.Contains(err.Error(), tt.refused) {
					t.Errorf("repaired: %v", err)
				}
				return
			}
			if err != nil || report.Bundles != 1 || report.Signed != packedSize {
				t.Fatalf("report: %+v, %v", report, err)
			}
			mustCheck(t, ledgertest.Open(t, opts))
		})
	}
}

// A running ledger whose packed block is damaged says all records of it are lacking, and soon.
func TestPackedDamageWhileRunning(t *testing.T) {
	opts := packedLedger(t)
	l := ledgertest.OpenDamaged(t, opts)
	flipPacked(1, 800_000)(t, opts.Dir)
	report, err := l.Verify(context.Background(), ledger.VerifyOptions{})
	if err != nil {
		t.Fatal(err)
	}
	plain, err := os.ReadFile(blockPath(opts.Dir, 2))
	if err != nil {
		t.Fatal(err)
	}
	if plain, err = ledger.UnpackBlock(nil, plain); err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("record 1: the stream lacks records 1 to %d", parseBlock(t, plain)[0].seq-1)
	if said := fmt.Sprint(report.Problems); !strings.Contains(said, want) {
		t.Errorf("want %q, got %.1000s", want, said)
	}
	if err := l.CloseUnverified(); err != nil {
		t.Fatal(err)
	}
}

// All that is in a packed block can be read without the server, but for what a flipped byte costs: the end of its chunk.
func TestSalvage(t *testing.T) {
	opts := ledgertest.Options(t)
	l := fillWordy(t, opts, 400, 50_000)
	for _, n := range []int{1, 2} {
		awaitPacked(t, opts.Dir, n)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{1, 2} {
		whole, err := os.ReadFile(blockPath(opts.Dir, n))
		if err != nil {
			t.Fatal(err)
		}
		plain, err := ledger.UnpackBlock(nil, whole)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(pack(t, plain), whole) {
			t.Error("the tests pack otherwise than the server")
		}
		var all []int64
		for _, s := range parseBlock(t, plain) {
			all = append(all, s.seq)
		}
		seqs := func(data []byte) (got []int64, err error) {
			plain, err := ledger.UnpackBlock(nil, data)
			ledger.BlockRecords(plain, n, func(seq int64, _ string, _ []byte) { got = append(got, seq) })
			return got, err
		}
		if got, err := seqs(whole); err != nil || !slices.Equal(got, all) {
			t.Errorf("of a whole block %d of %d records were read: %v", len(got), len(all), err)
		}
		const perChunk = 1<<20/50_000 + 3
		worst := 0
		for at := 100_000; at < len(whole); at += 399_989 {
			data := bytes.Clone(whole)
			data[at] ^= 16
			got, err := seqs(data)
			if err == nil {
				t.Errorf("block %d with a flipped byte at %d is whole", n, at)
			}
			if !slices.IsSorted(got) || len(got) == len(all) {
				t.Errorf("block %d, flipped at %d: %d of %d records", n, at, len(got), len(all))
			}
			worst = max(worst, len(all)-len(got))
		}
		if worst > perChunk {
			t.Errorf("block %d: a flipped byte cost %d records, a chunk has %d", n, worst, perChunk)
		}
	}
}

// A block that begins and ends within one round may be packed before it is synced: what it holds counts, not what it takes.
func TestBlocksSyncPacked(t *testing.T) {
	opts := packedLedger(t)
	data, err := os.ReadFile(blockPath(opts.Dir, 1))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := ledger.UnpackBlock(nil, data)
	if err != nil {
		t.Fatal(err)
	}
	var sent []ledger.Sending
	for _, s := range parseBlock(t, plain) {
		sent = append(sent, ledger.Sending{Subject: "custody.north.or-3.set.opened", Record: plain[s.payload : s.end-8]})
	}
	for _, more := range []int64{0, 1} {
		dir := t.TempDir()
		b, err := ledger.OpenBlocks(dir, func(string) {})
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "1.blk"), data, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := b.Hold(0, sent...); err != nil {
			t.Errorf("the packed block does not hold its records: %v", err)
		}
		if err := b.Hold(0, sent[1:]...); err == nil {
			t.Error("the packed block holds other records than it does")
		}
		if err := b.Sync(len(sent), int64(len(plain))+more); (err == nil) != (more == 0) {
			t.Errorf("%d bytes more than there are: %v", more, err)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// What a crash can leave while a block is packed: half of the packed one beside it, or the packed one without the next.
func TestCrashWhilePacking(t *testing.T) {
	opts := wholeLedger(t)
	last := blocks(t, opts.Dir)
	n := last[len(last)-1]
	change(t, blockPath(opts.Dir, n), func(data []byte) []byte { return pack(t, data) })
	half := blockPath(opts.Dir, 1) + ".tmp"
	if err := os.WriteFile(half, []byte("cmp"), 0o600); err != nil {
		t.Fatal(err)
	}
	unclean(t, opts.Dir)
	l := ledgertest.Open(t, opts)
	if packed, err := ledger.IsPackedFile(blockPath(opts.Dir, n)); err != nil || packed {
		t.Errorf("the last block stayed packed: %v", err)
	}
	if _, err := os.Stat(half); err == nil {
		t.Error("half a packed block was left")
	}
	if kept, err := filepath.Glob(filepath.Join(opts.Dir, "before-recovery-*")); err != nil || len(kept) > 0 {
		t.Errorf("a copy of an unharmed stream was kept: %v, %v", kept, err)
	}
	fill(t, l, "north/or-3", wholeSize, 20, 0)
	mustCheck(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	mustCheck(t, ledgertest.Open(t, opts))
}

// What was found in order is not looked at again after a clean stop, while it is the same file; after any other it is.
func TestPackedIsLookedAtOnce(t *testing.T) {
	opts := packedLedger(t)
	if err := ledgertest.Open(t, opts).Close(); err != nil {
		t.Fatal(err)
	}
	block := blockPath(opts.Dir, 1)
	was, err := os.Stat(block)
	if err != nil {
		t.Fatal(err)
	}
	flipPacked(1, 800_000)(t, opts.Dir)
	look := func(changed time.Time) []ledger.Problem {
		t.Helper()
		if err := os.Chtimes(block, changed, changed); err != nil {
			t.Fatal(err)
		}
		l := ledgertest.OpenDamaged(t, opts)
		problems := l.Damage()
		if err := l.CloseUnverified(); err != nil {
			t.Fatal(err)
		}
		return problems
	}
	if problems := look(was.ModTime()); len(problems) > 0 {
		t.Errorf("a block that was looked at was looked at again: %v", problems)
	}
	if problems := look(was.ModTime().Add(time.Second)); len(problems) == 0 {
		t.Error("another file under the block's name was not looked at")
	}
	if err := os.Remove(filepath.Join(opts.Dir, "stream.clean")); err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	if problems := look(was.ModTime()); len(problems) == 0 {
		t.Error("after an unclean stop the server would have met the damaged block")
	}
}

// A stream of an earlier program is read as it is, and what is written from now on is packed.
func TestOldStreamIsPackedFromNowOn(t *testing.T) {
	opts := wholeLedger(t) // its blocks are not packed
	l := ledgertest.Open(t, opts)
	if window, err := l.Window(); err != nil || window != 100*time.Millisecond {
		t.Errorf("a start reads what was written in the last %v, %v", window, err)
	}
	prev := fill(t, l, "north/or-3", wholeSize, 200, longNote)
	awaitPacked(t, opts.Dir, 3)
	for n, want := range map[int]bool{1: false, 2: false, 3: true} {
		if packed, err := ledger.IsPackedFile(blockPath(opts.Dir, n)); err != nil || packed != want {
			t.Errorf("block %d is packed: %t, %v", n, packed, err)
		}
	}
	mustCheck(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	// A third block was packed since the index was written; whoever only reads sees all of it, too.
	opts.Reading = true
	l = ledgertest.Open(t, opts)
	if l.Size() != prev {
		t.Errorf("%d records are read from the files, want %d", l.Size(), prev)
	}
	report, err := l.Verify(context.Background(), ledger.VerifyOptions{})
	if err != nil || len(report.Problems) > 0 {
		t.Errorf("verified from the files: %v, %v", report.Problems, err)
	}
}
