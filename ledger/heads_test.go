package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

func about(e ledger.Entry, keys ...string) ledger.Entry {
	e.About = keys
	return e
}

// links writes what the arrival lines of records say they are about.
func links(t *testing.T, out []ledger.Appended) string {
	t.Helper()
	var all []string
	for _, a := range out {
		ls, err := proof.Links(ledgertest.Origin, a.Record)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range ls {
			all = append(all, fmt.Sprintf("%d:%s %d %d", a.Seq, l.Key, l.Prev, l.Count))
		}
	}
	return strings.Join(all, ", ")
}

// TestPrepare: what the first record needs to be known of is read before it comes.
func TestPrepare(t *testing.T) {
	opts := ledgertest.Options(t)
	var said bytes.Buffer
	opts.Logger = slog.New(slog.NewTextHandler(&said, nil))
	l := ledgertest.Open(t, opts)
	mustAppend(t, l, about(entry(t, "north/or-1", "a", 0), "set A"))
	last := fill(t, l, "north/or-3", 0, 1000, 10)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	said.Reset() // there was no copy then
	l = ledgertest.Open(t, opts)
	if err := l.Prepare(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(opts.Dir, "newest.heads")); err != nil {
		t.Fatal(err)
	}
	out := mustAppend(t, l, about(entry(t, "north/or-1", "b", 1), "set A"))
	if got, want := links(t, out), fmt.Sprint(last+1, ":set A 1 2"); got != want {
		t.Errorf("links %s, want %s", got, want)
	}
	if strings.Contains(said.String(), "reading all records") {
		t.Errorf("they were read when the record came: %s", &said)
	}
}

// TestLinks: a record names the one before it about the same, in a call, between calls, and over restarts, whether the
// copy of what is newest is there, gone, torn, changed, or of more records than there are.
func TestLinks(t *testing.T) {
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	first := mustAppend(t, l,
		about(entry(t, "north/or-1", "a", 0), "case K-1", "set A"), entry(t, "north/or-1", "b", 0),
		about(entry(t, "north/or-2", "c", 0), "set A", "set B"))
	if got, want := links(t, first), "1:case K-1 0 1, 1:set A 0 1, 3:set A 1 2, 3:set B 0 1"; got != want {
		t.Fatalf("links %s, want %s", got, want)
	}
	last := fill(t, l, "north/or-3", 0, 1000, 10)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(opts.Dir, "newest.heads")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("a stop after %d records keeps no copy: %v", last, err)
	}
	prev, count := int64(3), 2
	for _, c := range []struct {
		what string
		copy []byte
	}{
		{"whole", whole}, {"gone", nil}, {"torn", whole[:len(whole)/2]},
		{"changed", []byte(strings.Replace(string(whole), "set A 3 2", "set A 1 1", 1))},
		{"of more", []byte(strings.Replace(string(whole), "\n1003 1 ", "\n9999 1 ", 1))},
	} {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		if c.copy != nil {
			if err := os.WriteFile(path, c.copy, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		l := ledgertest.Open(t, opts)
		out := mustAppend(t, l, about(entry(t, "north/or-3", c.what, last), "set A"))
		want := fmt.Sprintf("%d:set A %d %d", out[0].Seq, prev, count+1)
		if got := links(t, out); got != want {
			t.Errorf("copy %s: links %s, want %s", c.what, got, want)
		}
		last, prev, count = out[0].Seq, out[0].Seq, count+1
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestLinksAfterFailure: a record that was not stored is not linked to.
func TestLinksAfterFailure(t *testing.T) {
	opts := ledgertest.Options(t)
	fail := false
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if fail && step == "publish" {
			fail = false
			return errors.New("as the test wants it")
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	mustAppend(t, l, about(entry(t, "north/or-1", "a", 0), "set A"))
	fail = true
	if _, err := l.Append(t.Context(), about(entry(t, "north/or-1", "b", 1), "set A")); err == nil {
		t.Fatal("the append did not fail")
	}
	out := mustAppend(t, l, about(entry(t, "north/or-1", "c", 1), "set A"))
	if got, want := links(t, out), "2:set A 1 2"; got != want {
		t.Errorf("links %s, want %s", got, want)
	}
}

func TestHeads(t *testing.T) {
	l := ledgertest.New(t)
	if hs, err := l.Heads(); err != nil || hs.Len() != 0 || hs.Upto != 0 || hs.First != 0 {
		t.Fatalf("%v, %v of an empty ledger", hs, err)
	}
	mustAppend(t, l, entry(t, "north/or-2", "z", 0))
	mustAppend(t, l, about(entry(t, "north/or-1", "a", 0), "set A"), about(entry(t, "north/or-1", "b", 0), "case K", "set A"),
		entry(t, "north/or-1", "c", 0))
	hs, err := l.Heads()
	if err != nil {
		t.Fatal(err)
	}
	want := []proof.Head{{Key: "case K", Last: 3, Count: 1}, {Key: "set A", Last: 3, Count: 2}}
	if hs.Upto != 4 || hs.First != 2 || !slices.Equal(hs.All(), want) {
		t.Errorf("heads %v up to %d from %d, want %v", hs.All(), hs.Upto, hs.First, want)
	}
	if hs, err = l.HeadsAt(2); err != nil || hs.Upto != 2 || len(hs.All()) != 1 ||
		hs.All()[0] != (proof.Head{Key: "set A", Last: 2, Count: 1}) {
		t.Errorf("heads at record 2: %v, %v", hs.All(), err)
	}
}

// TestHeadsInOrder: heads that are asked for again and again, with new keys before, between and behind those of before, are those that
// the records give by themselves. Of many keys the copy is not written anew each time.
func TestHeadsInOrder(t *testing.T) {
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	const most = 20 // that one record is about
	last := int64(0)
	more := func(records int, key func(i int) string) {
		t.Helper()
		entries := make([]ledger.Entry, records)
		for i := range entries {
			keys := make([]string, most)
			for j := range keys {
				keys[j] = key(i*most + j)
			}
			slices.Sort(keys)
			entries[i] = about(entry(t, "north/or-1", fmt.Sprintf("%d-%d", last, i), last), slices.Compact(keys)...)
		}
		out := mustAppend(t, l, entries...)
		last = out[len(out)-1].Seq
	}
	kept := func() (upto int64) {
		t.Helper()
		if _, err := l.Checkpoint(t.Context()); err != nil {
			t.Fatal(err)
		}
		hs, err := l.Heads()
		if err != nil {
			t.Fatal(err)
		}
		want, err := l.HeadsAt(last)
		if err != nil {
			t.Fatal(err)
		}
		if hs.Upto != last || !slices.Equal(hs.All(), want.All()) || hs.Root() != want.Root() {
			t.Fatalf("after %d records the heads differ from those of the records", last)
		}
		raw, err := os.ReadFile(filepath.Join(opts.Dir, "newest.heads"))
		if err == nil {
			_, err = fmt.Sscanf(strings.Split(string(raw), "\n")[1], "%d", &upto)
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		return upto
	}
	for round := range 3 {
		more(200, func(i int) string { return fmt.Sprintf("set %04d-%d", i*7%4000, 2-round) })
		if got := kept(); got != 0 {
			t.Errorf("a copy is of %d records already", got)
		}
	}
	more(400, func(i int) string { return fmt.Sprintf("case %04d", i) })
	if got := kept(); got != 0 {
		t.Errorf("of 20,000 keys a copy is of %d records already", got)
	}
	for range 2 {
		more(1000, func(int) string { return "set" })
	}
	if got := kept(); got != last {
		t.Errorf("the copy is of %d records, want %d", got, last)
	}
	was := last
	more(1000, func(int) string { return "set" })
	if got := kept(); got != was {
		t.Errorf("the copy is of %d records already, want %d", got, was)
	}
}

// TestAboutRefused: what can't be a key, or stands twice, is refused before anything is stored.
func TestAboutRefused(t *testing.T) {
	l := ledgertest.New(t)
	for _, keys := range [][]string{{""}, {"set A\n"}, {"set A", "set A"}, {"set B", "set A"}, {strings.Repeat("x", 201)},
		make([]string, 21)} {
		if _, err := l.Append(t.Context(), about(entry(t, "north/or-1", "a", 0), keys...)); err == nil {
			t.Errorf("%q was taken", keys)
		}
	}
	if l.Size() != 0 {
		t.Errorf("%d records are stored", l.Size())
	}
}
