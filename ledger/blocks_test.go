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
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// A new version of the server may keep its files otherwise. Before this number is raised: read how it writes and syncs
// a block, and see the tests of this file pass under it. Until then the server syncs every record itself.
func TestLayoutVersion(t *testing.T) {
	if server.VERSION != ledger.LayoutVersion {
		t.Errorf("the server is version %s, its files are known as of %s: the ledger is safe and slow",
			server.VERSION, ledger.LayoutVersion)
	}
}

func TestBlocksSync(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "msgs")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	var synced []string
	wantSynced := func(names ...string) {
		t.Helper()
		if !slices.Equal(synced, names) {
			t.Errorf("synced %v, want %v", synced, names)
		}
		synced = nil
	}
	write := func(number, size int) {
		t.Helper()
		f, err := os.OpenFile(filepath.Join(dir, fmt.Sprintf("%d.blk", number)),
			os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(make([]byte, size)); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	open := func() *ledger.Blocks {
		t.Helper()
		b, err := ledger.OpenBlocks(dir, func(name string) { synced = append(synced, name) })
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { b.Close() }) //nolint:errcheck // only read
		return b
	}
	b := open()
	if err := b.Sync(0, 0); err != nil {
		t.Errorf("no block yet, nothing written: %v", err)
	}
	if err := b.Sync(1, 1); err == nil {
		t.Error("no block yet, a byte was written: synced")
	}
	write(1, 100)
	if err := b.Sync(1, 100); err != nil {
		t.Errorf("the first block: %v", err)
	}
	wantSynced("1.blk", "msgs")
	if err := b.Sync(1, 1); err == nil {
		t.Error("a block that did not grow is said to hold another byte")
	}
	wantSynced("1.blk")
	write(1, 50)
	write(2, 70)
	write(3, 10)
	if err := b.Sync(3, 131); err == nil {
		t.Error("130 new bytes in three blocks are said to be 131")
	}
	wantSynced("1.blk", "2.blk", "3.blk", "msgs")
	write(3, 5)
	write(4, 5)
	if err := b.Sync(2, 10); err != nil {
		t.Errorf("the last block and a new one: %v", err)
	}
	wantSynced("3.blk", "4.blk", "msgs")
	b = open()
	if err := b.Sync(1, 1); err == nil {
		t.Error("what was there at the start is said to be new")
	}
	write(4, 1)
	if err := b.Sync(1, 1); err != nil {
		t.Errorf("after a new start: %v", err)
	}
	// Another file under the block's name: what is written there is not what is synced.
	if err := os.Rename(filepath.Join(dir, "4.blk"), filepath.Join(dir, "aside")); err != nil {
		t.Fatal(err)
	}
	write(4, 200)
	if err := b.Sync(1, 1); err == nil {
		t.Error("a byte in another file than the one that is synced is called durable")
	}
	// A block that cannot be opened is no reason to pass over it.
	if err := os.Symlink("nowhere", filepath.Join(dir, "5.blk")); err != nil {
		t.Fatal(err)
	}
	if err := b.Sync(0, 0); err == nil || !strings.Contains(err.Error(), "block 5") {
		t.Errorf("a block that cannot be opened: %v", err)
	}
}

func TestSyncTree(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"stream/a/1.blk", "stream/a/b/2.blk", "stream/meta.inf", "other/3.blk"} {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var synced []string
	if err := ledger.SyncTree(filepath.Join(dir, "stream"), func(f *os.File) error {
		name, err := filepath.Rel(dir, f.Name())
		synced = append(synced, name)
		return errors.Join(err, f.Sync())
	}); err != nil {
		t.Fatal(err)
	}
	slices.Sort(synced)
	want := []string{".", "stream", "stream/a", "stream/a/1.blk", "stream/a/b", "stream/a/b/2.blk", "stream/meta.inf"}
	if !slices.Equal(synced, want) {
		t.Errorf("synced %v, want %v", synced, want)
	}
	if err := ledger.SyncTree(filepath.Join(dir, "stream"), func(f *os.File) error {
		if filepath.Base(f.Name()) == "2.blk" {
			return errFault
		}
		return nil
	}); !errors.Is(err, errFault) {
		t.Errorf("a file that cannot be synced: %v", err)
	}
}

// twoCalls puts two calls into one round of a ledger that open opens, and lets meddle take the place of its publish.
// The notes are those of the round.
func twoCalls(
	t *testing.T,
	open func(testing.TB, ledger.Options) *ledgertest.Ledger,
	meddle func(l *ledgertest.Ledger, first, second ledger.Entry) error,
) (l *ledgertest.Ledger, outs [2][]ledger.Appended, errs [2]error) {
	ctx := context.Background()
	opts := ledgertest.Options(t)
	entered, release := make(chan struct{}), make(chan struct{})
	calls := [2]ledger.Entry{entry(t, "north/or-4", "first", 0), entry(t, "north/or-5", "second", 0)}
	rounds := 0
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if step != "publish" {
			return nil
		}
		switch rounds++; rounds {
		case 1:
			entered <- struct{}{}
			<-release
		case 2:
			return meddle(l, calls[0], calls[1])
		}
		return nil
	}, nil))
	l = open(t, opts)
	var wg sync.WaitGroup
	wg.Go(func() {
		if _, err := l.Append(ctx, entry(t, "north/or-3", "before", 0)); err != nil {
			t.Error(err)
		}
	})
	<-entered
	for i, e := range calls {
		wg.Go(func() { outs[i], errs[i] = l.Append(ctx, e) })
		for l.Waiting() <= i {
			// It is about to be queued.
		}
	}
	close(release)
	wg.Wait()
	return l, outs, errs
}

// A round of two calls of which the stream took only the first: that one is stored, its neighbour is told that it is
// not.
func TestFrontOfARound(t *testing.T) {
	l, outs, errs := twoCalls(t, ledgertest.Open, func(l *ledgertest.Ledger, first, _ ledger.Entry) error {
		record := proof.AddArrival(l.Origin(), first.Note, ledgertest.Start, 0)
		return errors.Join(errFault, ledger.BarePublish(l.Conn(), "custody.north.or-4.set.opened", record))
	})
	if errs[0] != nil || outs[0][0].Seq != 2 {
		t.Errorf("the call the stream took: %v, %v", outs[0], errs[0])
	}
	if !errors.Is(errs[1], errFault) || errors.Is(errs[1], ledger.ErrUnknownOutcome) ||
		!strings.HasPrefix(errs[1].Error(), "not recorded: ") {
		t.Errorf("the call behind it: %v", errs[1])
	}
	if l.Size() != 2 {
		t.Errorf("%d records, want 2", l.Size())
	}
	mustAppend(t, l, entry(t, "north/or-5", "second", 0))
}

// Somebody else's record in the place of the first: the second finds the number it expects, and is accepted all the
// same. The ledger must notice.
func TestForeignRecordInARound(t *testing.T) {
	l, outs, errs := twoCalls(t, ledgertest.OpenDamaged, func(l *ledgertest.Ledger, _, _ ledger.Entry) error {
		return ledger.BarePublish(l.Conn(), "custody.north.or-6.set.opened", []byte("x"))
	})
	for i := range errs {
		var damaged *ledger.DamagedError
		if !errors.As(errs[i], &damaged) || damaged.Problems[0].Seq != 2 {
			t.Errorf("call %d: %v, %v", i, outs[i], errs[i])
		}
	}
	if l.Size() != 1 {
		t.Errorf("%d records, want 1", l.Size())
	}
}

// Calls with one record and with several in one round, in both ways to make it durable.
func TestRoundOfMixedCalls(t *testing.T) {
	ctx := context.Background()
	for _, always := range []bool{false, true} {
		l := ledgertest.New(t, func(o *ledger.Options) { o.SyncAlways, o.CheckpointEvery = always, time.Millisecond })
		var wg sync.WaitGroup
		for w := range 12 {
			station := fmt.Sprintf("north/station-%d", w)
			var notes []ledger.Entry
			for i := range 40 {
				notes = append(notes, entry(t, station, fmt.Sprint(i), 0))
			}
			wg.Go(func() {
				prev := int64(0)
				for rest := notes; len(rest) > 0; {
					n := min(1+w%3*2, len(rest)) // 1, 3 or 5 at once
					for i := range rest[:n] {
						rest[i].ExpectPrev = prev
					}
					out, err := l.Append(ctx, rest[:n]...)
					if err != nil {
						t.Error(err)
						return
					}
					for i := range out {
						if out[i].Seq != out[0].Seq+int64(i) {
							t.Errorf("a call's records are not side by side: %d behind %d", out[i].Seq, out[0].Seq)
						}
						record, err := l.Read(out[i].Seq)
						if err != nil || !bytes.HasPrefix(record, rest[i].Note) {
							t.Errorf("record %d is another one: %v", out[i].Seq, err)
						}
					}
					prev, rest = out[n-1].Seq, rest[n:]
				}
			})
		}
		wg.Wait()
		if l.Size() != 12*40 {
			t.Errorf("%d records, want %d", l.Size(), 12*40)
		}
		mustCheck(t, l)
	}
}
