package ledger_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// shownLog is the log of a ledger as a copy sees it.
type shownLog struct {
	l      *ledgertest.Ledger
	note   []byte // an older checkpoint; nil: that of now
	change func(name string, data []byte) []byte
	asked  []string
}

func (s *shownLog) Checkpoint(ctx context.Context) ([]byte, error) {
	if s.note != nil {
		return s.note, nil
	}
	return s.l.Checkpoint(ctx)
}

func (s *shownLog) Tile(_ context.Context, name string) ([]byte, error) {
	s.asked = append(s.asked, name)
	data, err := s.l.Tile(name)
	if err == nil && s.change != nil {
		data = s.change(name, slices.Clone(data))
	}
	return data, err
}

// copyOptions are those of a copy of the test's ledger, in a new folder.
func copyOptions(t *testing.T) ledger.Options {
	t.Helper()
	o := ledgertest.Options(t)
	o.Copy = ledger.NewCopy(o.Verifier)
	o.Signer, o.Verifier = nil, nil
	return o
}

func openCopy(t *testing.T, o ledger.Options) *ledgertest.Ledger {
	t.Helper()
	o.Copy = ledger.NewCopy(mustVerifier(t))
	return ledgertest.Open(t, o)
}

func mustVerifier(t *testing.T) note.Verifier {
	t.Helper()
	_, v := ledgertest.Key(t, ledgertest.Origin)
	return v
}

// sameRecords holds a copy against its ledger, record by record.
func sameRecords(t *testing.T, c, l *ledgertest.Ledger) {
	t.Helper()
	if c.Size() != l.Size() || c.Signed().Root != l.Signed().Root {
		t.Fatalf("the copy has %v, the ledger %v", c.Signed(), l.Signed())
	}
	next := int64(1)
	err := c.ScanHashed(context.Background(), 1, func(seq int64, record []byte) error {
		want, err := l.Read(seq)
		if err == nil && (seq != next || !bytes.Equal(record, want)) {
			err = fmt.Errorf("record %d of the copy is another one", seq)
		}
		next++
		return err
	})
	if err != nil || next != l.Size()+1 {
		t.Fatalf("%d records of %d: %v", next-1, l.Size(), err)
	}
}

// A copy takes in what its ledger records, whatever the size, and goes on after a start. It records nothing itself.
func TestCopyTakesIn(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	l := ledgertest.New(t)
	log := &shownLog{l: l}
	o := copyOptions(t)
	c := openCopy(t, o)
	prev := int64(0)
	for _, n := range []int{1, 254, 1, 1, 255, 3, 700, 1} {
		prev = fill(t, l, "north/or-3", prev, n, 0)
		if grew, err := c.Take(ctx, log); err != nil || !grew {
			t.Fatalf("behind record %d: %t, %v", prev, grew, err)
		}
		sameRecords(t, c, l)
		if err := c.Wait(ctx, prev); err != nil {
			t.Fatal(err)
		}
		if grew, err := c.Take(ctx, log); err != nil || grew {
			t.Fatalf("taken twice: %t, %v", grew, err)
		}
		if n == 255 {
			if err := c.Close(); err != nil {
				t.Fatal(err)
			}
			c = openCopy(t, o)
			sameRecords(t, c, l)
		}
	}
	mustCheck(t, c)
	if _, err := c.Append(ctx, entry(t, "north/or-3", "x", prev)); !errors.Is(err, ledger.ErrStopped) {
		t.Errorf("a copy recorded: %v", err)
	}
	if slices.ContainsFunc(log.asked, func(name string) bool { return !strings.HasPrefix(name, "tile/entries/") }) {
		t.Errorf("the root says that they are the tree's records, and tiles were asked for: %q", log.asked)
	}
	other := ledgertest.Options(t)
	other.Dir = c.Dir()
	if _, err := ledger.Open(ctx, other); err == nil {
		t.Error("a copy that is open was opened by another")
	}
	if _, err := ledger.Open(ctx, ledger.Options{Dir: l.Dir(), Origin: ledgertest.Origin, Clock: o.Clock, Copy: o.Copy}); err == nil {
		t.Error("a ledger's own folder was taken for a copy")
	}
}

// A record that was changed on the way is refused by its number, and nothing of it is kept; then the right one is taken.
func TestCopyRefusesAChangedRecord(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	l := ledgertest.New(t)
	prev := fill(t, l, "north/or-3", 0, 300, 0)
	o := copyOptions(t)
	c := openCopy(t, o)
	log := &shownLog{l: l}
	if _, err := c.Take(ctx, log); err != nil {
		t.Fatal(err)
	}
	fill(t, l, "north/or-3", prev, 300, 0)
	log.change = func(name string, data []byte) []byte {
		if strings.HasPrefix(name, "tile/entries/001") {
			data[bytes.Index(data, []byte("after 400, 4:"))]++
		}
		return data
	}
	for range 2 {
		_, err := c.Take(ctx, log)
		if err == nil || !strings.Contains(err.Error(), "record 405 in the log's entry bundle does not have the hash in its tree") {
			t.Fatalf("a changed record: %v", err)
		}
		if c.Size() != 300 || c.Signed().Size != 300 {
			t.Fatalf("%d records after one was refused", c.Size())
		}
		mustCheck(t, c)
	}
	// Tiles that were changed with it lead nowhere.
	right := log.change
	log.change = func(name string, data []byte) []byte {
		if strings.HasPrefix(name, "tile/0/001") {
			data[40]++
		}
		return right(name, data)
	}
	if _, err := c.Take(ctx, log); err == nil || !strings.Contains(err.Error(), "do not lead to the root that it has signed") {
		t.Fatalf("changed tiles: %v", err)
	}
	log.change = nil
	if _, err := c.Take(ctx, log); err != nil {
		t.Fatal(err)
	}
	sameRecords(t, c, l)
}

// A log that shows another history, or goes back, is refused, whether it is longer, as long or shorter.
func TestCopyRefusesAnotherHistory(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	l, other := ledgertest.New(t), ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 100, 0)
	earlier, err := l.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	prev := fill(t, l, "north/or-3", 100, 400, 0)
	o := copyOptions(t)
	c := openCopy(t, o)
	if _, err := c.Take(ctx, &shownLog{l: l}); err != nil {
		t.Fatal(err)
	}
	var back *ledger.WentBackError
	if _, err := c.Take(ctx, &shownLog{l: l, note: earlier}); !errors.As(err, &back) || back.Shown != 100 || back.Taken != 500 {
		t.Errorf("a log that goes back: %v", err)
	}
	was := int64(0)
	for _, n := range []int{450, 50, 300} { // shorter, as long, longer
		was = fill(t, other, "north/or-4", was, n, 0)
		var two *ledger.TwoHistoriesError
		if _, err := c.Take(ctx, &shownLog{l: other}); !errors.As(err, &two) {
			t.Fatalf("another history of %d records: %v", was, err)
		}
		for _, msg := range [][]byte{two.Taken, two.Shown} {
			if _, err := proof.OpenCheckpoint(msg, ledgertest.Origin, mustVerifier(t)); err != nil {
				t.Errorf("what was kept of it is no proof: %v", err)
			}
		}
		if c.Size() != 500 {
			t.Fatalf("%d records", c.Size())
		}
	}
	// Nor by a copy that was lost, and remembers what it had.
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(o.Dir, "log")); err != nil {
		t.Fatal(err)
	}
	c = openCopy(t, o)
	if _, err := c.Take(ctx, &shownLog{l: l, note: earlier}); !errors.As(err, &back) || c.Size() != 0 {
		t.Errorf("a log that goes back, by a copy that was lost: %v", err)
	}
	var two *ledger.TwoHistoriesError
	if _, err := c.Take(ctx, &shownLog{l: other}); !errors.As(err, &two) || c.Size() != 0 {
		t.Errorf("another history, by a copy that was lost: %v", err)
	}
	fill(t, l, "north/or-3", prev, 9, 0)
	if _, err := c.Take(ctx, &shownLog{l: l}); err != nil {
		t.Fatal(err)
	}
	sameRecords(t, c, l)
	// Another ledger's log is none of this one's.
	signer, verifier := ledgertest.Key(t, "ledger.example/south")
	south := ledgertest.New(t, func(o *ledger.Options) { o.Origin, o.Signer, o.Verifier = "ledger.example/south", signer, verifier })
	if _, err := c.Take(ctx, &shownLog{l: south}); err == nil || !strings.Contains(err.Error(), "is not signed by the ledger") {
		t.Errorf("another ledger's log: %v", err)
	}
}

// A copy whose process ends at any of its durable steps goes on where it was, at the latest when it is started again.
func TestCopyIsKilled(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	l := ledgertest.New(t)
	prev := fill(t, l, "north/or-3", 0, 300, 0)
	taken := 0
	for _, again := range []bool{false, true} {
		for failing := 1; ; failing++ {
			o := copyOptions(t)
			met, armed := 0, false
			o.SetFaults(ledger.NewFaults(func(string) error {
				if !armed {
					return nil
				}
				if met++; met == failing {
					return errFault
				}
				return nil
			}, nil))
			c := openCopy(t, o)
			armed = true
			log := &shownLog{l: l}
			_, first := c.Take(ctx, log)
			if first == nil {
				prev = fill(t, l, "north/or-3", prev, 1, 0)
				_, first = c.Take(ctx, log)
			}
			if armed = false; first == nil {
				break // no step is left that could fail
			}
			taken++
			if again {
				c.Kill()
				c = openCopy(t, o)
			}
			if _, err := c.Take(ctx, log); err != nil {
				t.Fatalf("after step %d failed (%v): %v", failing, first, err)
			}
			sameRecords(t, c, l)
			if err := c.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if taken < 16 {
		t.Errorf("%d steps failed", taken)
	}
}

// A key that the ledger's own records hand it on to is believed, and no other.
func TestCopyFollowsTheKey(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	skey, vkey, err := note.GenerateKey(rand.Reader, ledgertest.Origin)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	next, err := note.NewVerifier(vkey)
	if err != nil {
		t.Fatal(err)
	}
	hands := func(record []byte) bool { return bytes.Contains(record, []byte("hands on")) }
	l := ledgertest.New(t, func(o *ledger.Options) { o.Next = &ledger.Successor{Signer: signer, Verifier: next, Takes: hands} })
	prev := fill(t, l, "north/or-3", 0, 300, 0)
	o := copyOptions(t)
	c := openCopy(t, o)
	log := &shownLog{l: l}
	if _, err := c.Take(ctx, log); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, entry(t, "north/or-4", "hands on", 0))
	fill(t, l, "north/or-3", prev, 5, 0)
	if _, err := c.Take(ctx, log); err == nil || !strings.Contains(err.Error(), "is not signed by the ledger") || c.Size() != 300 {
		t.Fatalf("a key that nobody said anything of: %v", err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	var kept []note.Verifier
	o.Copy = ledger.NewCopy(mustVerifier(t))
	o.Copy.HandedOn = func(key note.Verifier) error { kept = append(kept, key); return nil }
	o.Copy.Replaces = func(record []byte, key note.Verifier) note.Verifier {
		if hands(record) && key.KeyHash() == mustVerifier(t).KeyHash() {
			return next
		}
		return nil
	}
	c = ledgertest.Open(t, o)
	if _, err := c.Take(ctx, log); err != nil {
		t.Fatal(err)
	}
	sameRecords(t, c, l)
	if len(kept) != 1 || kept[0].KeyHash() != next.KeyHash() || c.Verifier().KeyHash() != next.KeyHash() {
		t.Errorf("kept %v", kept)
	}
	mustCheck(t, c)
}
