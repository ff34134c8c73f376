package site_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// manyTrips writes a ledger of ordinary trips, ten records each, straight into
// the ledger: 20-line lists, all whole. It returns its folder.
//
// LISTBOUND_BENCH_DIR names a folder in which such ledgers are kept between
// runs; making a million records takes two minutes.
func manyTrips(b *testing.B, records int) string {
	b.Helper()
	root := os.Getenv("LISTBOUND_BENCH_DIR")
	if root == "" {
		root = b.TempDir()
	}
	dir := filepath.Join(root, fmt.Sprintf("trips-%d", records))
	done := filepath.Join(dir, "made")
	if _, err := os.Stat(done); err == nil {
		return dir
	}
	if err := os.RemoveAll(dir); err != nil {
		b.Fatal(err)
	}
	if err := fillTrips(b.Context(), dir, records); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(done, nil, 0o600); err != nil {
		b.Fatal(err)
	}
	return dir
}

// traffic makes records in order of time: per step of the week, one event of
// every set, as a hospital's days are.
type traffic struct {
	signers map[string]note.Signer
	chains  map[string]*position
	clock   time.Time
	list    *events.ListIssued
	digest  events.Digest
	entries []entry
}

type position struct {
	last  int64
	count int64
	hash  string
}

type entry struct {
	station string
	kind    events.Kind
	note    []byte
}

func fillTrips(ctx context.Context, dir string, records int) error {
	name := events.LedgerName("north")
	signer, verifier, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), name)
	if err != nil {
		return err
	}
	tr := &traffic{signers: map[string]note.Signer{name: signer}, chains: make(map[string]*position),
		clock: time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC)}
	l, err := ledger.Open(ctx,
		ledger.Options{Dir: dir, Origin: name, Signer: signer, Verifier: verifier, Clock: func() time.Time {
			return tr.clock
		}})
	if err != nil {
		return err
	}
	if err := tr.fill(ctx, l, dir, records); err != nil {
		return err
	}
	return errors.Join(ledgertest.Verify(ctx, l), l.Close())
}

func (t *traffic) fill(ctx context.Context, l *ledger.Ledger, dir string, records int) error {
	if err := t.start(dir); err != nil {
		return err
	}
	size := int64(len(t.entries))
	const together = 100 // sets under way at once
	for day := 0; size < int64(records); day++ {
		if err := t.day(day, together); err != nil {
			return err
		}
		size += int64(len(t.entries))
		if err := t.flush(ctx, l); err != nil {
			return err
		}
	}
	return nil
}

func (t *traffic) start(dir string) error {
	list := &events.ListIssued{List: "LAP", Version: 1, Title: "Laparotomy"}
	for i := range int64(20) {
		list.Lines = append(list.Lines, events.Line{Line: i + 1, Item: fmt.Sprintf("FCP-%03d", i),
			Description: "Forceps, curved, 12.5 cm", Quantity: 4})
	}
	var err error
	if t.digest, err = list.Digest(); err != nil {
		return err
	}
	t.list = list
	for _, st := range []string{"north/packing-1", "north/sterilizer-1", "north/storage", "north/or-1", "north/or-2"} {
		path := filepath.Join(dir, "keys", "north_"+st[len("north/"):]+".key")
		s, _, _, err := ledger.LoadOrCreateKey(path, st)
		if err != nil {
			return err
		}
		t.signers[st] = s
		key, err := ledger.VerifierKey(path)
		if err != nil {
			return err
		}
		if err := t.add("north/ledger", st, "", &events.StationEnrolled{Station: st, Key: key}); err != nil {
			return err
		}
	}
	return t.add("north/packing-1", "LAP", "", list)
}

func (t *traffic) add(station, subject, trip string, d events.Data) error {
	c := t.chains[station]
	if c == nil {
		c = &position{}
		t.chains[station] = c
	}
	t.clock = t.clock.Add(time.Second)
	e := &events.Event{Station: station, Subject: subject, Time: t.clock, Trip: trip, Operator: "B-1",
		StationSeq: c.count + 1, StationPrev: c.hash, Data: d}
	e.ID = events.DerivedID(t.clock,
		events.Digest{byte(c.count), byte(c.count >> 8), byte(c.count >> 16), byte(len(station))})
	n, err := events.Sign(e, t.signers[station])
	if err != nil {
		return err
	}
	c.count, c.hash = c.count+1, events.NoteHash(n)
	t.entries = append(t.entries, entry{station, d.Kind(), n})
	return nil
}

// day packs, sterilizes, stores, opens, counts and closes some sets.
func (t *traffic) day(day, sets int) error {
	trips, codes := make([]string, sets), make([]string, sets)
	step := func(f func(i int, set string) error) error {
		for i := range sets {
			if err := f(i, fmt.Sprintf("LAP-%03d", i)); err != nil {
				return err
			}
		}
		t.clock = t.clock.Add(10 * time.Minute)
		return nil
	}
	load := fmt.Sprintf("S1-%d", day)
	caseOf := func(i int) string { return fmt.Sprintf("K-%d-%d", day, i/4) }
	room := func(i int) string { return fmt.Sprintf("north/or-%d", 1+i/4%2) }
	count := func(stage events.Stage) func(int, string) error {
		return func(i int, set string) error {
			d := &events.SetCounted{Case: caseOf(i), Stage: stage, Sheet: codes[i], Counter: "B-1", Witness: "B-2"}
			for _, l := range t.list.Lines {
				d.Counts = append(d.Counts, events.Count{Line: l.Line, Counted: l.Quantity})
			}
			return t.add(room(i), set, trips[i], d)
		}
	}
	for _, f := range []func(int, string) error{
		func(i int, set string) error {
			trips[i] = events.DerivedID(t.clock, events.Digest{byte(i), byte(day), byte(day >> 8)})
			return t.add("north/packing-1", set, trips[i],
				&events.SetPacked{List: "LAP", Version: 1, WeightGrams: 8400})
		},
		func(i int, set string) error {
			binding, err := events.Binding(t.digest, set, trips[i])
			if err != nil {
				return err
			}
			code, err := events.NewSheetCode(trips[i], binding)
			if err != nil {
				return err
			}
			codes[i] = code.String()
			return t.add("north/packing-1", set, trips[i], &events.ListSealed{Placement: events.Outside, List: "LAP",
				Version: 1, ListDigest: t.digest.String(), Binding: binding.String(), Code: codes[i]})
		},
		func(i int, set string) error {
			return t.add("north/sterilizer-1", set, trips[i], &events.SetSterilized{Load: load, Sterilizer: "S1",
				Run: int64(day + 1), Cycle: "dynamic-air-132", Result: "passed", Released: true})
		},
		func(i int, set string) error {
			return t.add("north/storage", set, trips[i],
				&events.SetChecked{Place: "A4", Tag: set, Sheet: &events.Reading{Found: "outside", Code: codes[i]}})
		},
		func(i int, set string) error {
			return t.add("north/storage", set, trips[i], &events.SetChecked{Place: "case cart", Tag: set})
		},
		func(i int, set string) error {
			return t.add(room(i), set, trips[i], &events.SetOpened{Case: caseOf(i), Tag: set, OuterLabel: set,
				Sheet: &events.Reading{Found: "outside", Code: codes[i]}, Indicator: "pass"})
		},
		count(events.StageFirst), count(events.StageClosing), count(events.StageFinal),
		func(i int, set string) error {
			if i%4 != 0 {
				return t.add(room(i), set, trips[i], &events.SetChecked{Place: "return"})
			}
			return t.add(room(i), caseOf(i), "",
				&events.CaseClosed{Case: caseOf(i), Outcome: "reconciled", Actions: []string{}})
		},
	} {
		if err := step(f); err != nil {
			return err
		}
	}
	t.clock = t.clock.Add(6 * time.Hour)
	return t.add("north/sterilizer-1", load, "",
		&events.IndicatorRead{Load: load, Sterilizer: "S1", Result: "negative"})
}

// flush appends what has been made, some hundred records to a batch.
func (t *traffic) flush(ctx context.Context, l *ledger.Ledger) error {
	for chunk := range slices.Chunk(t.entries, 500) {
		in := make([]ledger.Entry, len(chunk))
		for i, e := range chunk {
			in[i] = ledger.Entry{Station: e.station, Kind: string(e.kind), Note: e.note,
				ExpectPrev: t.chains[e.station].last}
		}
		out, err := l.Append(ctx, in...)
		if err != nil {
			return err
		}
		for i, e := range chunk {
			t.chains[e.station].last = out[i].Seq
		}
	}
	t.entries = t.entries[:0]
	return nil
}

func openBench(b *testing.B, dir string) *site.Site {
	b.Helper()
	s, err := site.Open(b.Context(), site.Options{Dir: dir, Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	return s
}

// BenchmarkRebuild makes the read model of a million records from nothing,
// hashes checked. The rival beside it reads and hashes the same records and does
// nothing else.
func BenchmarkRebuild(b *testing.B) {
	const records = 1_000_000
	dir := manyTrips(b, records)
	l, done := openLedger(b, dir)
	defer done()
	var alone time.Duration
	b.Run("read-and-hash-only", func(b *testing.B) {
		for b.Loop() {
			start := time.Now()
			if err := l.ScanHashed(b.Context(), 1, func(int64, []byte) error { return nil }); err != nil {
				b.Fatal(err)
			}
			alone = time.Since(start)
		}
		b.ReportMetric(float64(l.Size())/alone.Seconds(), "records/s")
	})
	b.Run("rebuild", func(b *testing.B) {
		var took time.Duration
		for b.Loop() {
			path := filepath.Join(b.TempDir(), "readmodel.db")
			start := time.Now()
			m, err := site.Fill(b.Context(), l, readmodel.Options{Path: path, Ledger: l.Verifier(), Records: l}, nil)
			if err != nil {
				b.Fatal(err)
			}
			took = time.Since(start)
			if m.Position() != l.Size() {
				b.Fatalf("read %d of %d records", m.Position(), l.Size())
			}
			if err := m.Close(); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(l.Size())/took.Seconds(), "records/s")
		if alone > 0 {
			b.ReportMetric(took.Seconds()/alone.Seconds(), "x-of-reading")
		}
	})
}

func openLedger(b *testing.B, dir string) (*ledger.Ledger, func()) {
	b.Helper()
	name := events.LedgerName("north")
	signer, verifier, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), name)
	if err != nil {
		b.Fatal(err)
	}
	l, err := ledger.Open(b.Context(),
		ledger.Options{Dir: dir, Origin: name, Signer: signer, Verifier: verifier, Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	return l, func() {
		if err := l.Close(); err != nil {
			b.Error(err)
		}
	}
}

// BenchmarkVerify checks fifty thousand records as the command verify does, all but the read model beside it: each record in both
// its copies, its place in the tree, form, numbering and signature. The rival only checks as many signatures.
func BenchmarkVerify(b *testing.B) {
	const records = 50_000
	s := openBench(b, manyTrips(b, records))
	b.Run("verify", func(b *testing.B) {
		used, size := cpu(b), int64(0)
		for b.Loop() {
			v, err := s.VerifyRecords(b.Context())
			if err != nil || len(v.Problems) > 0 {
				b.Fatalf("%v, %v", v, err)
			}
			size = v.Size
		}
		n := float64(size) * float64(b.N)
		b.ReportMetric(n/b.Elapsed().Seconds(), "records/s")
		b.ReportMetric(float64((cpu(b)-used).Microseconds())/n, "cpu-us/record")
	})
	b.Run("signature", func(b *testing.B) {
		private := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
		message := make([]byte, 650)
		sig := ed25519.Sign(private, message)
		for b.Loop() {
			if !ed25519.Verify(private.Public().(ed25519.PublicKey), message, sig) {
				b.Fatal("refused")
			}
		}
		b.ReportMetric(1e6/float64(b.Elapsed().Microseconds())*float64(b.N), "records/s")
	})
}

// BenchmarkHistory asks for the history of single trips, out of a million
// records and, as the rival, out of fifty thousand.
func BenchmarkHistory(b *testing.B) {
	var small time.Duration
	for _, records := range []int{50_000, 1_000_000} {
		b.Run(fmt.Sprint(records), func(b *testing.B) {
			s := openBench(b, manyTrips(b, records))
			trips := someTrips(b, s)
			var took []time.Duration
			i := 0
			for b.Loop() {
				start := time.Now()
				h, err := s.History(b.Context(), site.Query{Trip: trips[i%len(trips)]})
				if err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(start))
				if len(h.Verdicts) != 1 || h.Verdicts[0].Status != projections.Whole {
					b.Fatalf("verdicts %+v", h.Verdicts)
				}
				i++
			}
			slices.Sort(took)
			p99 := took[len(took)*99/100]
			b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-us")
			b.ReportMetric(float64(p99.Microseconds()), "p99-us")
			if small == 0 {
				small = p99
			} else {
				b.ReportMetric(float64(p99)/float64(small), "x-of-50k")
			}
		})
	}
}

// BenchmarkLoadHistory asks for the histories of whole loads, of a hundred sets each.
func BenchmarkLoadHistory(b *testing.B) {
	for _, records := range []int{50_000, 1_000_000} {
		b.Run(fmt.Sprint(records), func(b *testing.B) {
			s := openBench(b, manyTrips(b, records))
			days := records / 1000
			var took []time.Duration
			for i := 0; b.Loop(); i++ {
				start := time.Now()
				h, err := s.History(b.Context(), site.Query{Load: fmt.Sprintf("S1-%d", i*7919%(days-10))})
				if err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(start))
				if len(h.Verdicts) != 100 || len(h.Events) < 101 {
					b.Fatalf("%d verdicts, %d events", len(h.Verdicts), len(h.Events))
				}
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-us")
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-us")
		})
	}
}

// someTrips picks trips all over the ledger.
func someTrips(b *testing.B, s *site.Site) []string {
	b.Helper()
	rnd := rand.New(rand.NewPCG(1, 2))
	seen := make(map[string]bool)
	var out []string
	for len(out) < 500 {
		e, err := s.EventAt(1 + rnd.Int64N(s.Size()))
		if err != nil {
			b.Fatal(err)
		}
		if e.Trip != "" && !seen[e.Trip] {
			seen[e.Trip] = true
			out = append(out, e.Trip)
		}
	}
	return out
}

// BenchmarkRecord records scans of a page one by one, each judged before its receipt.
func BenchmarkRecord(b *testing.B) {
	s := sitetest.Open(b, site.Options{Dir: b.TempDir(), Name: "north", Clock: time.Now, EnrolOnSight: true})
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	var once sync.Once
	for b.Loop() {
		once.Do(func() {
			if err := s.Record(b.Context(), bytes.NewReader([]byte(oneList)),
				func(site.Receipt) error { return nil }); err != nil {
				b.Fatal(err)
			}
		})
		at = at.Add(2 * time.Minute)
		line := fmt.Sprintf(`{"station":"north/storage","kind":"set.checked","time":%q,"set":"LAP-014",`+
			`"data":{"place":"A4"}}`, at.Format(time.RFC3339))
		if err := s.Record(b.Context(), bytes.NewReader([]byte(line)), func(r site.Receipt) error {
			if r.Error != "" {
				b.Fatal(r.Error)
			}
			return nil
		}); err != nil {
			b.Fatal(err)
		}
	}
}
