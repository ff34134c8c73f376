//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/minio/highwayhash"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// manyStations returns options for a ledger of two packed blocks and one that isn't, cleanly stopped, in which several stations have
// recorded: some in all blocks, some in the last one only.
func manyStations(t *testing.T) (opts ledger.Options, last map[string]int64) {
	t.Helper()
	opts = packedLedger(t)
	l := ledgertest.Open(t, opts)
	last = map[string]int64{"north/or-3": packedSize}
	for i := range 60 {
		station := fmt.Sprintf("north/or-%d", i%7)
		e := entry(t, station, fmt.Sprint("more ", i), last[station])
		e.Kind = []string{"set.opened", "set.closed"}[i/7%2]
		last[station] = mustAppend(t, l, e)[0].Seq
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return opts, last
}

func indexPath(dir string) string { return filepath.Join(msgsDir(dir), "index.db") }

func mustRead(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// sortedIndex is an index with its subjects in order, and without the checksum over all.
func sortedIndex(t *testing.T, data []byte) (sorted []byte, subjects int) {
	t.Helper()
	at := 2
	number := func() uint64 {
		n, length := binary.Uvarint(data[at:])
		if length <= 0 {
			t.Fatalf("no number at %d", at)
		}
		at += length
		return n
	}
	for range 6 {
		number() // or a moment, which is as long
	}
	var all [][]byte
	begins := at
	subjects = int(number())
	head := data[:at]
	for range subjects {
		from := at
		at += int(number())
		for range 3 {
			number()
		}
		all = append(all, data[from:at])
	}
	if subjects == 0 || begins == at {
		t.Fatal("the index names no subject")
	}
	slices.SortFunc(all, bytes.Compare)
	return slices.Concat(head, bytes.Join(all, nil), data[at:len(data)-8]), subjects
}

// The index that is made here is the one that the server writes of the same blocks. Before layoutVersion is raised, this test must
// be green under the other version.
func TestIndex(t *testing.T) {
	opts, _ := manyStations(t)
	written, n := sortedIndex(t, mustRead(t, indexPath(opts.Dir)))
	index, err := ledger.IndexOf(opts.Dir)
	if err != nil {
		t.Fatal(err)
	}
	made, m := sortedIndex(t, index)
	if !bytes.Equal(made, written) {
		t.Errorf("made of %d subjects: %x\nthe server's, of %d: %x", m, made, n, written)
	}
	if n != 14 {
		t.Errorf("%d subjects, want 14", n)
	}
}

// killedLater leaves the folder of a ledger that was stopped, recorded in again and killed, with the index of the stop.
func killedLater(t *testing.T, opts ledger.Options, last map[string]int64) {
	t.Helper()
	old := mustRead(t, indexPath(opts.Dir))
	l := ledgertest.Open(t, opts)
	for _, station := range []string{"north/or-3", "north/or-5", "north/or-90"} {
		last[station] = fill(t, l, station, last[station], 5, 300)
	}
	l.Kill()
	if err := os.WriteFile(indexPath(opts.Dir), old, 0o600); err != nil {
		t.Fatal(err)
	}
}

// opened opens a ledger and returns what it warned of.
func opened(t *testing.T, opts ledger.Options) (*ledgertest.Ledger, string) {
	t.Helper()
	var log bytes.Buffer
	opts.Logger = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelWarn}))
	l := ledgertest.Open(t, opts)
	return l, log.String()
}

const rebuilds = "Recovering stream state from index errored"

// After a kill the server need not read all blocks: it goes by the index that was made of what is known of them. It then knows the
// last record of each station as it does by itself.
func TestKilledStartMakesTheIndex(t *testing.T) {
	opts, last := manyStations(t)
	killedLater(t, opts, last)
	l, warned := opened(t, opts)
	if warned != "" {
		t.Errorf("the start warned: %s", warned)
	}
	for station, want := range last {
		got, _, err := l.Last(context.Background(), station)
		if err != nil || got != want {
			t.Errorf("the last record of %s is %d, want %d: %v", station, got, want, err)
		}
		last[station] = fill(t, l, station, got, 3, 300)
	}
	mustCheck(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	written, _ := sortedIndex(t, mustRead(t, indexPath(opts.Dir)))
	index, err := ledger.IndexOf(opts.Dir)
	if err != nil {
		t.Fatal(err)
	}
	if made, _ := sortedIndex(t, index); !bytes.Equal(made, written) {
		t.Error("the server goes on from the index otherwise than from its own")
	}
}

// Where anything at the end of the stream is out of order, the server recovers it as it does by itself.
func TestKilledStartLeavesATornEndToTheServer(t *testing.T) {
	opts, last := manyStations(t)
	killedLater(t, opts, last)
	n := blocks(t, opts.Dir)
	change(t, blockPath(opts.Dir, n[len(n)-1]), func(data []byte) []byte { return append(data, 1, 2, 3) })
	l, warned := opened(t, opts)
	if !strings.Contains(warned, rebuilds) {
		t.Errorf("the server did not recover the stream: %s", warned)
	}
	if d := l.Damage(); len(d) > 0 {
		t.Error(d)
	}
	fill(t, l, "north/or-3", last["north/or-3"], 3, 300)
}

// What was written down of the blocks is good only while it is as it was written, and the blocks are.
func TestLookedAgain(t *testing.T) {
	looked := func(dir string) string { return filepath.Join(dir, "stream", "looked") }
	for _, tt := range []struct {
		name string
		do   func(t *testing.T, dir string)
		same bool // it is as before afterwards
	}{
		{"a count changed", func(t *testing.T, dir string) {
			change(t, looked(dir), func(data []byte) []byte {
				at := bytes.Index(data, []byte("subject "))
				at += bytes.IndexByte(data[at:], '\n') - 1
				data[at] ^= 1
				return data
			})
		}, true},
		{"torn", func(t *testing.T, dir string) {
			change(t, looked(dir), func(data []byte) []byte { return data[:len(data)-30] })
		}, true},
		{"of an earlier program", func(t *testing.T, dir string) {
			if err := os.WriteFile(looked(dir), []byte("1 2612968 1795994499816149202 9058.\n"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, true},
		{"of more blocks than there are", func(t *testing.T, dir string) {
			n := blocks(t, dir)
			for _, n := range n[1:] {
				if err := os.Remove(blockPath(dir, n)); err != nil {
					t.Fatal(err)
				}
			}
		}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			opts, last := manyStations(t)
			killedLater(t, opts, last)
			before := mustRead(t, looked(opts.Dir))
			tt.do(t, opts.Dir)
			if !tt.same {
				l := ledgertest.OpenDamaged(t, opts)
				if len(l.Damage()) == 0 {
					t.Error("nobody noticed that blocks are gone")
				}
				return
			}
			l, warned := opened(t, opts)
			if warned != "" {
				t.Errorf("the start warned: %s", warned)
			}
			if after := mustRead(t, looked(opts.Dir)); !bytes.Equal(after, before) {
				t.Errorf("looked at again: %s\nbefore: %s", after, before)
			}
			if got, _, err := l.Last(context.Background(), "north/or-90"); err != nil || got != last["north/or-90"] {
				t.Errorf("the last record is %d, want %d: %v", got, last["north/or-90"], err)
			}
		})
	}
}

// A block that a crash left as it was, before it was packed, has no checksum over all: each start holds it against what was found.
func TestUnpackedBlockIsLookedAtEachStart(t *testing.T) {
	for _, clean := range []bool{false, true} {
		opts := wholeLedger(t)
		if err := ledgertest.Open(t, opts).Close(); err != nil { // it knows the times of the copy's files then
			t.Fatal(err)
		}
		was, err := os.Stat(blockPath(opts.Dir, 1))
		if err != nil {
			t.Fatal(err)
		}
		renumber(17, 20)(t, opts.Dir)
		if err := os.Chtimes(blockPath(opts.Dir, 1), was.ModTime(), was.ModTime()); err != nil {
			t.Fatal(err)
		}
		if !clean {
			unclean(t, opts.Dir)
		}
		if l := ledgertest.OpenDamaged(t, opts); len(l.Damage()) == 0 {
			t.Errorf("clean stop %t: a number that changed since was not noticed", clean)
		}
	}
}

// Blocks are looked at while others are written, so that a start after a kill need not.
func TestFullBlocksAreLookedAt(t *testing.T) {
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 300, longNote)
	if n := blocks(t, opts.Dir); len(n) != 3 {
		t.Fatalf("the stream has the blocks %v, want 3", n)
	}
	awaitPacked(t, opts.Dir, 1)
	// The server may have packed it after the third block began: the fourth has it looked at again.
	fill(t, l, "north/or-3", 300, 140, longNote)
	for until := time.Now().Add(time.Minute); ; {
		data, err := os.ReadFile(filepath.Join(opts.Dir, "stream", "looked"))
		if err == nil && bytes.Contains(data, []byte("\nblock 1 true ")) {
			break
		}
		if time.Now().After(until) {
			t.Fatalf("nobody looked at block 1: %s, %v", data, err)
		}
	}
	l.Kill()
	l, warned := opened(t, opts)
	if warned != "" || l.Size() != 440 {
		t.Errorf("%d records, want 440; the start warned: %s", l.Size(), warned)
	}
}

// TestKnownBlocksOutOfOrder: whoever changes a block and what was written down of it with it keeps nobody from finding that.
func TestKnownBlocksOutOfOrder(t *testing.T) {
	sumOf := func(data []byte) string {
		sum := highwayhash.Sum128(data, make([]byte, highwayhash.Size))
		return fmt.Sprintf("%x", sum[:])
	}
	for name, do := range map[string]func(data []byte){
		"no length": func(data []byte) { clear(data[:4]) },
		"a number":  func(data []byte) { data[4] ^= 64 },
		"a sum":     func(data []byte) { data[binary.LittleEndian.Uint32(data)&^(1<<31)-1] ^= 64 },
	} {
		t.Run(name, func(t *testing.T) {
			opts := wholeLedger(t)
			if err := ledgertest.Open(t, opts).Close(); err != nil {
				t.Fatal(err)
			}
			path := blockPath(opts.Dir, 1)
			was := mustRead(t, path)
			is := bytes.Clone(was)
			at := 0
			for range 10 { // records
				at += int(binary.LittleEndian.Uint32(is[at:]) &^ (1 << 31))
			}
			do(is[at:])
			if err := os.WriteFile(path, is, 0o600); err != nil {
				t.Fatal(err)
			}
			change(t, filepath.Join(opts.Dir, "stream", "looked"), func(data []byte) []byte {
				data = bytes.Replace(data, []byte(sumOf(was)), []byte(sumOf(is)), 1)
				data = data[:bytes.LastIndex(data, []byte("end "))]
				return fmt.Appendf(data, "end %s\n", sumOf(data))
			})
			l := ledgertest.OpenDamaged(t, opts)
			rep, err := l.Verify(t.Context(), ledger.VerifyOptions{})
			if err != nil || len(rep.Problems) == 0 || rep.Problems[0].Seq != 11 {
				t.Errorf("verified: %v, %v", rep.Problems, err)
			}
		})
	}
}

// TestKnownBlocksAreRead: the records of blocks that were looked at are read from their files, and are what the server gives.
func TestKnownBlocksAreRead(t *testing.T) {
	opts, _ := manyStations(t)
	l := ledgertest.Open(t, opts)
	size := l.Size()
	next, err := l.ReadKnown(t.Context(), 1, size, func(int64, string, []byte) error { return nil })
	if err != nil || next < 200 || next > size {
		t.Fatalf("of %d records the files of known blocks have those before %d: %v", size, next, err)
	}
	same := func(from, last int64) {
		t.Helper()
		var got, want []string
		into := func(s *[]string) func(int64, string, []byte) error {
			return func(seq int64, subject string, record []byte) error {
				*s = append(*s, fmt.Sprint(seq, " ", subject, " ", string(record)))
				return nil
			}
		}
		err := l.ReadStream(t.Context(), from, last, into(&got))
		if err = errors.Join(err, l.ReadServer(t.Context(), from, last, into(&want))); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want) {
			t.Errorf("of %d to %d %d records are read that are not the %d of the server", from, last, len(got), len(want))
		}
	}
	for _, x := range [][2]int64{{1, size}, {2, 2}, {next - 1, next}, {next, size}, {100, next - 1}, {next - 3, next - 2}} {
		same(x[0], x[1])
	}
	enough := errors.New("enough")
	if at, err := l.ReadKnown(t.Context(), 5, size, func(seq int64, _ string, _ []byte) error {
		if seq == 7 {
			return enough
		}
		return nil
	}); !errors.Is(err, enough) || at != 7 {
		t.Errorf("stopped at %d: %v", at, err)
	}
}

// TestKnownBlockDamaged: of a block that isn't as it was found, and of those behind it, the server is asked. What it has of the damaged
// one depends on what it still holds in memory; all else is read, and nothing otherwise than it was.
func TestKnownBlockDamaged(t *testing.T) {
	for _, block := range []int{1, 2} {
		opts, _ := manyStations(t)
		l := ledgertest.Open(t, opts)
		was := make(map[int64]string)
		if err := l.ReadStream(t.Context(), 1, l.Size(), func(seq int64, subject string, record []byte) error {
			was[seq] = subject + " " + string(record)
			return nil
		}); err != nil || int64(len(was)) != l.Size() {
			t.Fatalf("%d of %d records are read: %v", len(was), l.Size(), err)
		}
		known := func() int64 {
			t.Helper()
			next, err := l.ReadKnown(t.Context(), 1, l.Size(), func(int64, string, []byte) error { return nil })
			if err != nil {
				t.Fatal(err)
			}
			return next
		}
		end := known()
		flipPacked(2, 3000)(t, opts.Dir)
		begins := [...]int64{1: 1, 2: known(), 3: end}
		flipPacked(2, 3000)(t, opts.Dir)
		flipPacked(block, 3000)(t, opts.Dir)
		if at := known(); at != begins[block] || at >= end {
			t.Errorf("block %d is damaged, and the files are read up to record %d of %d", block, at, end)
		}
		if err := l.ReadStream(t.Context(), 1, l.Size(), func(seq int64, subject string, record []byte) error {
			if was[seq] != subject+" "+string(record) {
				t.Errorf("block %d is damaged, and record %d is read twice or is another", block, seq)
			}
			delete(was, seq)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		for seq := range was {
			if seq < begins[block] || seq >= begins[block+1] {
				t.Errorf("block %d is damaged, and record %d is not read", block, seq)
			}
		}
		flipPacked(block, 3000)(t, opts.Dir)
	}
}
