package ledger_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// The damaged ledgers are all made from one: 300 records in three blocks of the stream, two entry bundles, cleanly stopped.
const (
	wholeSize = 300
	wholeNote = 5_000
	longNote  = 59_000 // of which some 140 fill a block
)

var whole = sync.OnceValues(func() (string, error) {
	return os.MkdirTemp("", "whole-ledger-")
})

// wholeLedger returns options for a fresh copy of it.
func wholeLedger(t *testing.T) ledger.Options {
	t.Helper()
	dir, err := whole()
	if err != nil {
		t.Fatal(err)
	}
	opts := ledgertest.Options(t)
	wholeOnce.Do(func() {
		opts := opts
		opts.Dir = dir
		opts.SetPlain() // as earlier programs left it; packed_test.go has the others
		l := ledgertest.Open(t, opts)
		fill(t, l, "north/or-3", 0, wholeSize, wholeNote)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		divide(t, dir)
		if err := ledgertest.Open(t, opts).Close(); err != nil {
			t.Fatal(err)
		}
		if n := blocks(t, dir); len(n) != 3 {
			t.Fatalf("the stream has the blocks %v, want 3", n)
		}
	})
	copyTree(t, opts.Dir, dir)
	return opts
}

var wholeOnce sync.Once

// divide makes three blocks of a stream's first one, as if it had been full twice: the server begins the next one at 8 MB only,
// and to read and copy three of these took nearly all of the time of what is damaged in them. A checksum depends on the number
// of its block. The index is gone, as after an unclean stop.
func divide(t *testing.T, dir string) {
	t.Helper()
	data, err := os.ReadFile(blockPath(dir, 1))
	if err != nil {
		t.Fatal(err)
	}
	records, from := parseBlock(t, data), 0
	for n := 1; n <= 3; n++ {
		to := len(records) * n / 3
		for _, s := range records[from:to] {
			forge(t, data, s, n)
		}
		if err := os.WriteFile(blockPath(dir, n), data[records[from].start:records[to-1].end], 0o600); err != nil {
			t.Fatal(err)
		}
		from = to
	}
	unclean(t, dir)
}

// packedAt is where a folder lies that many tests of packed blocks copy (packed_test.go).
var packedAt = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "packed-ledger-") })

func TestMain(m *testing.M) {
	if code, child := runChild(); child {
		os.Exit(code)
	}
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		// Each check opens real ledgers on a real disk many times. TestNeverEquivocatesOften runs three times as many.
		if err := f.Value.Set("3"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(2)
		}
	}
	code := m.Run()
	for _, dir := range []func() (string, error){whole, packedAt} {
		if dir, err := dir(); err == nil {
			os.RemoveAll(dir)
		}
	}
	os.Exit(code)
}

// damage is one thing that can happen to a ledger at rest.
type damage struct {
	name   string
	do     func(t *testing.T, dir string)
	seq    int64  // a problem names this record
	what   string // and says this
	found  found  // when it must be found
	repair bool   // one of the kinds that repair is tried on
}

// found is when damage must be found. Only the end of the stream is read at a start; Verify reads everything.
type found int

const (
	atStart found = iota
	onVerify
	// either: at the start, the server itself loads what it stored in the last two minutes, looking for message IDs.
	either
)

// flip changes one byte of a record's note in the stream.
func flip(seq int64, forged bool) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		inBlock(t, dir, seq, func(block int, data []byte, s stored) []byte {
			data[s.payload+100] ^= 1
			if forged {
				forge(t, data, s, block)
			}
			return data
		})
	}
}

// inBlock lets f rewrite the block that holds a record.
func inBlock(t *testing.T, dir string, seq int64, f func(block int, data []byte, s stored) []byte) {
	t.Helper()
	for _, n := range blocks(t, dir) {
		data, err := os.ReadFile(blockPath(dir, n))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range parseBlock(t, data) {
			if s.seq == seq {
				change(t, blockPath(dir, n), func(data []byte) []byte { return f(n, data, s) })
				return
			}
		}
	}
	t.Fatalf("no block holds record %d", seq)
}

// unclean makes it look as if the last stop had not been clean: no marker, and no index, which is written at a clean
// stop and on a timer.
func unclean(t *testing.T, dir string) {
	t.Helper()
	for _, name := range []string{filepath.Join(dir, "stream.clean"), filepath.Join(msgsDir(dir), "index.db")} {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
}

// renumber flips a bit of a record's number in the stream.
func renumber(seq int64, bit int) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		inBlock(t, dir, seq, func(_ int, data []byte, s stored) []byte {
			const number = 4 // behind the length
			data[s.start+number+bit/8] ^= 1 << (bit % 8)
			return data
		})
	}
}

func both(fs ...func(*testing.T, string)) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		for _, f := range fs {
			f(t, dir)
		}
	}
}

func flipFile(name string, at int) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, filepath.Join(dir, name), func(data []byte) []byte { data[at] ^= 1; return data })
	}
}

// fullBundle is the first entry bundle, which is packed.
const fullBundle = "log/tile/entries/000.zst"

// inBundle changes the records of the first entry bundle before they are packed.
func inBundle(f func(records [][]byte)) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, filepath.Join(dir, fullBundle), func(data []byte) []byte {
			records, err := ledger.UnpackBundle(0, data)
			if err != nil {
				t.Fatal(err)
			}
			f(records)
			if data, err = ledger.PackBundle(records); err != nil {
				t.Fatal(err)
			}
			return data
		})
	}
}

// forgeInBundle flips a bit of one of its records.
func forgeInBundle(seq int) func(*testing.T, string) {
	return inBundle(func(records [][]byte) { records[seq-1][100] ^= 1 })
}

// plainBundles leaves the full bundles of a ledger as they were written before they were packed.
func plainBundles(t *testing.T, dir string) {
	t.Helper()
	packed, err := filepath.Glob(filepath.Join(dir, "log/tile/entries/*.zst"))
	if err != nil || len(packed) == 0 {
		t.Fatalf("%d packed bundles: %v", len(packed), err)
	}
	for _, path := range packed {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		records, err := ledger.UnpackBundle(0, data)
		if err != nil {
			t.Fatal(err)
		}
		var plain []byte
		for _, record := range records {
			if plain, err = proof.AppendEntry(plain, record); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(os.Remove(path), os.WriteFile(strings.TrimSuffix(path, ".zst"), plain, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
}

func flipFromEnd(name string, at int) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		change(t, filepath.Join(dir, name), func(data []byte) []byte { data[len(data)-at] ^= 1; return data })
	}
}

func remove(name string) func(*testing.T, string) {
	return func(t *testing.T, dir string) {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
}

var damages = []damage{
	{"payload flipped in an old block", flip(10, false), 10, "the stream lacks", onVerify, true},
	{"payload flipped in the last block", flip(290, false), 290, "the stream lacks", atStart, false},
	{"length field flipped in an old block", func(t *testing.T, dir string) {
		inBlock(t, dir, 50, func(_ int, data []byte, s stored) []byte { data[s.start+1] ^= 0x10; return data })
	}, 50, "the stream lacks", either, false},
	{"payload flipped in an old block, unclean stop", both(flip(10, false), unclean),
		10, "the stream lacks", atStart, false},
	{"payload flipped in the last block, unclean stop", both(flip(290, false), unclean),
		290, "the stream ends at record 289, but the checkpoint covers 300", atStart, true},
	{"rewritten in an old block with a right checksum", flip(10, true),
		10, "the record in the stream does not have the hash in the tree", onVerify, false},
	{"rewritten in the last block with a right checksum", flip(290, true),
		290, "the record in the stream does not have the hash in the tree", atStart, false},
	{"rewritten last record with a right checksum", flip(300, true),
		300, "the record in the stream does not have the hash in the tree", atStart, false},
	{"rewritten with a right checksum, unclean stop", both(flip(290, true), unclean),
		290, "the record in the stream does not have the hash in the tree", atStart, false},
	{"record cut out of an old block", func(t *testing.T, dir string) {
		inBlock(t, dir, 20, func(_ int, data []byte, s stored) []byte {
			return append(data[:s.start], data[s.end:]...)
		})
	}, 20, "the stream lacks", onVerify, false},
	{"record cut out, unclean stop", both(func(t *testing.T, dir string) {
		inBlock(t, dir, 20, func(_ int, data []byte, s stored) []byte {
			return append(data[:s.start], data[s.end:]...)
		})
	}, unclean), 20, "the stream lacks", atStart, true},
	{"middle block removed", func(t *testing.T, dir string) {
		if err := os.Remove(blockPath(dir, 2)); err != nil {
			t.Fatal(err)
		}
	}, 0, "the stream lacks records", atStart, true},
	{"last block removed", func(t *testing.T, dir string) {
		if err := os.Remove(blockPath(dir, 3)); err != nil {
			t.Fatal(err)
		}
	}, 0, "", atStart, false},
	{"last block cut at a record boundary", func(t *testing.T, dir string) {
		inBlock(t, dir, 299, func(_ int, data []byte, s stored) []byte { return data[:s.start] })
	}, 299, "", atStart, false},
	{"last record torn, unclean stop", both(func(t *testing.T, dir string) {
		inBlock(t, dir, 300, func(_ int, data []byte, s stored) []byte { return data[:s.end-50] })
	}, unclean), 300, "the stream ends at record 299", atStart, false},
	{"zeros for the end, unclean stop", both(func(t *testing.T, dir string) {
		inBlock(t, dir, 300, func(_ int, data []byte, s stored) []byte { clear(data[s.start:]); return data })
	}, unclean), 300, "the stream ends at record 299", atStart, false},
	{"stream removed", remove("stream"), 1, "the stream is gone", atStart, true},
	{"all blocks removed", func(t *testing.T, dir string) {
		for _, n := range blocks(t, dir) {
			if err := os.Remove(blockPath(dir, n)); err != nil {
				t.Fatal(err)
			}
		}
	}, 0, "", atStart, false},
	{"checkpoint removed", remove("log/checkpoint"), 0, "log/checkpoint is missing", atStart, false},
	{"checkpoint changed", flipFile("log/checkpoint", 25), 0, "log/checkpoint:", atStart, false},
	{"first tile changed", flipFile("log/tile/0/000", 9*32), 10, "does not have the hash in the tree", onVerify, false},
	{"first tile removed", remove("log/tile/0/000"), 1, "cannot read tile/0/000", onVerify, true},
	{"last tile changed", flipFile("log/tile/0/001.p/44", 5), 257, "the tiles lead to the root", atStart, false},
	{"last tile removed", remove("log/tile/0/001.p/44"), 257, "the tree cannot be read", atStart, false},
	{"upper tile changed", flipFile("log/tile/1/000.p/1", 5), 257, "the tiles lead to the root", atStart, false},
	{"first bundle changed", flipFile(fullBundle, 500), 1, "records 1 to 16 in it are damaged", onVerify, false},
	{"table of the first bundle changed", flipFromEnd(fullBundle, 20), 1, "its table of frames is damaged", onVerify, false},
	{"a record of the first bundle changed", forgeInBundle(20),
		20, "the record in the entry bundle does not have the hash in the tree", onVerify, false},
	{"first bundle changed, not packed", both(plainBundles, flipFile("log/tile/entries/000", 500)),
		1, "the record in the entry bundle does not have the hash in the tree", onVerify, false},
	{"number of a record changed", renumber(17, 40), 17, "in block 1 of the stream record 17 is numbered 1099511627793", atStart, true},
	{"number of the first record changed", renumber(1, 20), 1, "is numbered 1048577", atStart, false},
	{"number of the last record changed", renumber(wholeSize, 61), wholeSize, "is numbered", atStart, false},
	{"first bundle removed", remove(fullBundle), 1, "cannot read tile/entries/000", onVerify, false},
	{"last bundle changed", flipFile("log/tile/entries/001.p/44", 500),
		257, "the record in the entry bundle does not have the hash in the tree", atStart, false},
	{"last bundle removed", remove("log/tile/entries/001.p/44"),
		257, "cannot read tile/entries/001.p/44", atStart, false},
}

// killedWithTail is a ledger of 40 records, of which 20 are signed, after a kill.
func killedWithTail(t *testing.T) ledger.Options {
	t.Helper()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 20, 0)
	if _, err := l.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	fill(t, l, "north/or-3", 20, 20, 0)
	l.Kill()
	if err := os.Remove(filepath.Join(msgsDir(opts.Dir), "index.db")); err != nil {
		t.Fatal(err)
	}
	return opts
}

// flipSmall flips a byte in a short record.
func flipSmall(t *testing.T, dir string, seq int64) {
	t.Helper()
	inBlock(t, dir, seq, func(_ int, data []byte, s stored) []byte { data[s.payload+3] ^= 1; return data })
}

// Verify asks what records mean, and can be stopped.
func TestVerifyOptions(t *testing.T) {
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 300, 0)
	var progress, order []int64
	report, err := l.Verify(context.Background(), ledger.VerifyOptions{
		Look: eachLook(func(r ledger.Record) ledger.Look {
			return ledger.Look{Check: func() []string {
				if order = append(order, r.Seq); r.Seq == 7 {
					return []string{"odd", "prime"}
				}
				return nil
			}}
		}),
		Progress: func(done, total int64) { progress = append(progress, done, total) },
	})
	if err != nil {
		t.Fatal(err)
	}
	want := []ledger.Problem{{Seq: 7, What: "odd"}, {Seq: 7, What: "prime"}}
	if len(report.Problems) != 2 || report.Problems[0] != want[0] || report.Problems[1] != want[1] {
		t.Errorf("problems: %v", report.Problems)
	}
	if len(progress) != 2 || progress[0] != 300 || progress[1] != 300 {
		t.Errorf("progress: %v", progress)
	}
	if len(order) != 300 || !slices.IsSorted(order) {
		t.Errorf("records were checked in the order %v", order)
	}
	c, err := proof.OpenCheckpoint([]byte(report.Checkpoint), l.Origin(), l.Verifier())
	if err != nil || c.Size != report.Size || report.Size != 300 {
		t.Errorf("checkpoint of %d records, report of %d: %v", c.Size, report.Size, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	_, err = l.Verify(ctx, ledger.VerifyOptions{Look: eachLook(func(ledger.Record) ledger.Look {
		cancel()
		return ledger.Look{}
	})})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("stopped verification gave %v", err)
	}
}
