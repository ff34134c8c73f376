package readmodel_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// book is a ledger's records without a ledger.
type book struct {
	records  [][]byte
	signer   note.Signer
	verifier note.Verifier
	hash     string
}

func newBook(t *testing.T, dir string) *book {
	t.Helper()
	s, v, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "l.key"), events.LedgerName("north"))
	if err != nil {
		t.Fatal(err)
	}
	return &book{signer: s, verifier: v}
}

func (b *book) Read(seq int64) ([]byte, error) { return b.records[seq-1], nil }

// add appends a list, issued under the ledger's own name: a station is nothing to these tests.
func (b *book) add(t *testing.T, list string) {
	t.Helper()
	n := int64(len(b.records) + 1)
	at := noon.Add(time.Duration(n) * time.Minute)
	e := &events.Event{ID: events.DerivedID(at, events.Digest{byte(n)}), Station: b.signer.Name(), Subject: list,
		Time: at, StationSeq: n, StationPrev: b.hash,
		Data: &events.ListIssued{List: list, Version: 1, Title: "x", Lines: []events.Line{{Line: 1, Item: "i",
			Description: "d", Quantity: 1}}}}
	raw, err := events.Sign(e, b.signer)
	if err != nil {
		t.Fatal(err)
	}
	b.hash = events.NoteHash(raw)
	b.records = append(b.records, proof.AddArrival(b.signer.Name(), raw, at, 0))
}

func (b *book) batch(t *testing.T, from, to int64) *readmodel.Batch {
	t.Helper()
	var raws []readmodel.Raw
	for seq := from; seq <= to; seq++ {
		raws = append(raws, readmodel.Raw{Seq: seq, Record: b.records[seq-1]})
	}
	out, err := readmodel.Parse(b.signer.Name(), nil, raws)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func open(t *testing.T, b *book, path string) *readmodel.Model {
	t.Helper()
	m, err := readmodel.Open(t.Context(), readmodel.Options{Path: path, Ledger: b.verifier, Records: b})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestPositionAndRows(t *testing.T) {
	dir := t.TempDir()
	b, path := newBook(t, dir), filepath.Join(dir, "r.db")
	for _, l := range []string{"A", "B", "C", "D"} {
		b.add(t, l)
	}
	m := open(t, b, path)
	if err := m.Apply(t.Context(), b.batch(t, 1, 2)); err != nil {
		t.Fatal(err)
	}
	for name, bad := range map[string]*readmodel.Batch{"a gap": b.batch(t, 4, 4), "again": b.batch(t, 2, 3)} {
		if err := m.Apply(t.Context(), bad); err == nil || !strings.Contains(err.Error(), "where 3 was due") {
			t.Errorf("%s: %v", name, err)
		}
	}
	raws := []readmodel.Raw{{Seq: 1, Record: b.records[0]}, {Seq: 2, Record: b.records[1]}, {Seq: 4, Record: b.records[3]}}
	if _, err := readmodel.Parse(b.signer.Name(), nil, raws); err == nil || err.Error() != "record 4 came where 3 was due" {
		t.Errorf("records with a gap: %v", err)
	}
	// A batch that fails half way leaves position, rows and the audit where they were.
	dead, cancel := context.WithCancel(t.Context())
	cancel()
	if err := m.Apply(dead, b.batch(t, 3, 4)); err == nil {
		t.Error("a batch was applied although its context had ended")
	}
	if p := m.Position(); p != 2 {
		t.Errorf("position %d after a failed batch", p)
	}
	if err := m.Apply(t.Context(), b.batch(t, 3, 4)); err != nil {
		t.Fatal(err)
	}
	for seq := range int64(4) {
		if r, err := m.RemarksOf(t.Context(), seq+1); err != nil || r != 0 {
			t.Errorf("record %d has the remarks %v, %v: it was audited twice", seq+1, r, err)
		}
	}
	lists, err := m.Lists(t.Context())
	if err != nil || strings.Join(lists, "") != "ABCD" {
		t.Errorf("lists %v, %v", lists, err)
	}
	for range 2 { // the first one is rolled back, else the second couldn't begin
		if err := m.CancelledWithin(t.Context()); !errors.Is(err, context.Canceled) {
			t.Errorf("a transaction whose context ended: %v", err)
		}
	}
	if n, err := m.Interrupted(t.Context(), 20_000); err != nil || n != 20_000 {
		t.Errorf("of 20,000 rows %d came once nobody waited for them, %v; short answers are read to their end", n, err)
	}
	st := m.Station(b.signer.Name())
	if st == nil || st.Count != 4 || st.Last != 4 {
		t.Errorf("station %+v", st)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	m = open(t, b, path)
	if m.Position() != 4 || m.Station(b.signer.Name()).Hash != b.hash {
		t.Errorf("opened again at %d with %+v", m.Position(), m.Station(b.signer.Name()))
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestFoldersOfAnyName: folders whose names have characters that mean something else in a file's URI have a model each.
func TestFoldersOfAnyName(t *testing.T) {
	root := t.TempDir()
	for i, name := range []string{"a#1", "a#2", "a%20b", "a&b", "a", "ä b"} {
		dir := filepath.Join(root, name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		b, path := newBook(t, dir), filepath.Join(dir, "r.db")
		for range i + 1 {
			b.add(t, "A")
		}
		for _, before := range []int64{0, int64(i + 1)} { // made, and opened again
			m := open(t, b, path)
			if m.Position() != before {
				t.Errorf("%s: opened at %d, not at %d", name, m.Position(), before)
			}
			if before == 0 {
				if err := m.Apply(t.Context(), b.batch(t, 1, int64(i+1))); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			}
			if err := m.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if names, err := os.ReadDir(root); err != nil || len(names) != 6 {
		t.Errorf("beside the folders lies something else: %v, %v", names, err)
	}
}

// TestStartsEmpty: another ledger's model, and a file that is none, are thrown away.
func TestStartsEmpty(t *testing.T) {
	dir := t.TempDir()
	b, path := newBook(t, dir), filepath.Join(dir, "r.db")
	b.add(t, "A")
	m := open(t, b, path)
	if err := m.Apply(t.Context(), b.batch(t, 1, 1)); err != nil {
		t.Fatal(err)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	other := newBook(t, filepath.Join(dir, "other"))
	m = open(t, other, path)
	if p := m.Position(); p != 0 {
		t.Errorf("another ledger goes on at %d", p)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("this is no database, it is a text of some length to be sure"), 0o600); err != nil {
		t.Fatal(err)
	}
	m = open(t, b, path)
	if p := m.Position(); p != 0 {
		t.Errorf("a file that is no model goes on at %d", p)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 100; i < len(raw); i++ { // behind the header of a database
		raw[i] = 0xff
	}
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	m = open(t, b, path)
	if p := m.Position(); p != 0 {
		t.Errorf("a damaged model goes on at %d", p)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestEventsByID: an id is found by its own time.
func TestEventsByID(t *testing.T) {
	dir := t.TempDir()
	b := newBook(t, dir)
	b.add(t, "A")
	b.add(t, "B")
	m := open(t, b, filepath.Join(dir, "r.db"))
	defer m.Close()
	if err := m.Apply(t.Context(), b.batch(t, 1, 2)); err != nil {
		t.Fatal(err)
	}
	facts, err := m.Source(t.Context()).Facts(facts.DimList, "B")
	if err != nil || len(facts) != 1 || facts[0].Seq != 2 {
		t.Fatalf("facts %+v, %v", facts, err)
	}
	for id, want := range map[string]int64{facts[0].Event.ID: 2, events.DerivedID(noon, events.Digest{9}): 0, "no id": 0} {
		if seq, err := m.FindEvent(t.Context(), id); err != nil || seq != want {
			t.Errorf("%s is at %d, want %d (%v)", id, seq, want, err)
		}
	}
}

// TestCloseAfterInterrupt: a model whose writing was interrupted closes, as where somebody ends a rebuild while it makes the indexes.
func TestCloseAfterInterrupt(t *testing.T) {
	h := week(t, 1)
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	h.apply(m, int64(len(h.facts))) // with statements that stay prepared
	if err := m.InterruptWriting(t.Context()); err == nil {
		t.Fatal("not interrupted")
	}
	if err := m.Close(); err != nil {
		t.Error(err)
	}
}
