package ledger_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/minio/highwayhash"
	"golang.org/x/mod/sumdb/tlog"

	"crypto/sha256"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// entry is one note of a station.
func entry(tb testing.TB, station, line string, prev int64) ledger.Entry {
	tb.Helper()
	return ledger.Entry{Station: station, Kind: "set.opened", Note: ledgertest.Note(tb, station, line),
		ExpectPrev: prev}
}

// mustAppend appends and returns what was stored.
func mustAppend(tb testing.TB, l *ledgertest.Ledger, entries ...ledger.Entry) []ledger.Appended {
	tb.Helper()
	out, err := l.Append(context.Background(), entries...)
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// fill appends n records of one station after record prev and returns the sequence of the last.
func fill(tb testing.TB, l *ledgertest.Ledger, station string, prev int64, n int, size int) int64 {
	tb.Helper()
	for n > 0 {
		var batch []ledger.Entry
		for range min(n, 100) {
			batch = append(batch, entry(tb, station,
				fmt.Sprintf("%s after %d, %d: %s", station, prev, len(batch), strings.Repeat("x", size)), prev))
		}
		out := mustAppend(tb, l, batch...)
		prev = out[len(out)-1].Seq
		n -= len(batch)
	}
	return prev
}

// mustCheck verifies a ledger in the middle of a test. At the end ledgertest does.
func mustCheck(tb testing.TB, l *ledgertest.Ledger) {
	tb.Helper()
	if err := ledgertest.Verify(context.Background(), l.Ledger); err != nil {
		tb.Fatal(err)
	}
}

// copyTree copies a folder.
func copyTree(tb testing.TB, to, from string) {
	tb.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		tb.Fatal(err)
	}
}

// copyRunning copies the folder of a ledger that runs, from one of its own goroutines: it fails no test, and leaves out what is
// gone by the time it is read, such as what the ledger writes beside a file that it then replaces.
func copyRunning(to, from string) error {
	files := os.DirFS(from)
	return fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			return os.MkdirAll(filepath.Join(to, name), 0o700)
		}
		var data []byte
		if err == nil {
			data, err = fs.ReadFile(files, name)
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, name), data, 0o600)
	})
}

func msgsDir(dir string) string { return filepath.Join(ledger.StreamDir(dir), "msgs") }

// blocks lists the numbers of the stream's blocks.
func blocks(tb testing.TB, dir string) []int {
	tb.Helper()
	names, err := filepath.Glob(filepath.Join(msgsDir(dir), "*.blk"))
	if err != nil {
		tb.Fatal(err)
	}
	var ns []int
	for _, name := range names {
		n, err := strconv.Atoi(strings.TrimSuffix(filepath.Base(name), ".blk"))
		if err != nil {
			tb.Fatal(err)
		}
		ns = append(ns, n)
	}
	slices.Sort(ns)
	return ns
}

func blockPath(dir string, n int) string {
	return filepath.Join(msgsDir(dir), fmt.Sprintf("%d.blk", n))
}

// stored is one record's place in a block.
type stored struct {
	seq         int64
	start, end  int
	payload     int // where the note begins
	headerBytes int
}

// parseBlock reads the layout of a block as the pinned server version writes it.
func parseBlock(tb testing.TB, data []byte) []stored {
	tb.Helper()
	le := binary.LittleEndian
	var out []stored
	for at := 0; at < len(data); {
		length := le.Uint32(data[at:])
		n := int(length &^ (1 << 31))
		s := stored{seq: int64(le.Uint64(data[at+4:])), start: at, end: at + n}
		s.payload = at + 22 + int(le.Uint16(data[at+20:]))
		if length&(1<<31) != 0 {
			s.headerBytes = int(le.Uint32(data[s.payload:]))
			s.payload += 4 + s.headerBytes
		}
		out = append(out, s)
		at += n
	}
	if len(out) == 0 {
		tb.Fatal("the block holds no records")
	}
	return out
}

// forge recomputes a record's checksum, as someone who knows what he does would. The key is no secret.
func forge(tb testing.TB, data []byte, s stored, block int) {
	tb.Helper()
	le := binary.LittleEndian
	key := sha256.Sum256(fmt.Appendf(nil, "CUSTODY-%d", block))
	h, err := highwayhash.NewDigest64(key[:])
	if err != nil {
		tb.Fatal(err)
	}
	subject := int(le.Uint16(data[s.start+20:]))
	h.Write(data[s.start+4 : s.start+20])
	h.Write(data[s.start+22 : s.start+22+subject])
	if s.headerBytes > 0 {
		h.Write(data[s.payload-s.headerBytes : s.payload])
	}
	h.Write(data[s.payload : s.end-8])
	copy(data[s.end-8:s.end], h.Sum(nil))
}

// change rewrites a file.
func change(tb testing.TB, path string, f func(data []byte) []byte) {
	tb.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	changed := f(bytes.Clone(data))
	if bytes.Equal(changed, data) {
		tb.Fatalf("%s was not changed", path)
	}
	if err := os.WriteFile(path, changed, 0o600); err != nil {
		tb.Fatal(err)
	}
}

// checkConsistent fails if two checkpoints of one ledger contradict each other.
func checkConsistent(tb testing.TB, l *ledgertest.Ledger, notes [][]byte) {
	tb.Helper()
	var last proof.Checkpoint
	for i, note := range notes {
		c, err := proof.OpenCheckpoint(note, l.Origin(), l.Verifier())
		if err != nil {
			tb.Fatal(err)
		}
		if i > 0 {
			if c.Size < last.Size {
				tb.Fatalf("checkpoint of %d records came after one of %d", c.Size, last.Size)
			}
			path, err := l.Consistency(last.Size, c.Size)
			if err != nil {
				tb.Fatal(err)
			}
			if err := proof.CheckConsistency(path, last.Size, last.Root, c.Size, c.Root); err != nil {
				tb.Fatal(err)
			}
		}
		last = c
	}
}

// rootOf computes a root the plain way.
func rootOf(tb testing.TB, records [][]byte) tlog.Hash {
	tb.Helper()
	tree := &proof.Tree{}
	for _, r := range records {
		tree.Append(proof.LeafHash(r), nil)
	}
	return tree.Root()
}

// route reads the station off the signature, which is what a reader of real records does with their text.
func route(record []byte) (station, kind string, err error) {
	_, sigs, ok := bytes.Cut(record, []byte("\n\n— "))
	name, _, _ := strings.Cut(string(sigs), " ")
	if !ok || name == "" {
		return "", "", errors.New("no station's signature")
	}
	return name, "set.opened", nil
}

// eachLook looks at records one by one.
func eachLook(look func(ledger.Record) ledger.Look) func([]ledger.Record) []ledger.Look {
	return func(records []ledger.Record) (looks []ledger.Look) {
		for _, r := range records {
			looks = append(looks, look(r))
		}
		return looks
	}
}
