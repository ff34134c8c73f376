//go:build !race

package commands

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections/assess"
	"listbound/projections/simulate"
)

// year records weeks of a simulated hospital straight into a ledger, signed by its stations, at the moments at which
// they arrived. Intake is left out: 0.9 million records at once would take it an hour of CPU.
type year struct {
	dir      string
	at       time.Time // the ledger's clock
	ledger   *ledger.Ledger
	stations map[string]*signing
	waiting  []ledger.Entry
	of       []*signing
	records  int64
	opened   int64
}

// signing is a station that signs.
type signing struct {
	signer      note.Signer
	count, last int64
	hash        string
}

func (y *year) key(station string) string {
	return filepath.Join(y.dir, "keys", strings.Replace(station, "/", "_", 1)+".key")
}

// record takes all that was observed, in the order in which it arrived.
func (y *year) record(ctx context.Context, c *simulate.Config, weeks int) error {
	name := events.LedgerName(c.Site)
	signer, verifier, _, err := ledger.LoadOrCreateKey(y.key(name), name)
	if err != nil {
		return err
	}
	y.stations = map[string]*signing{name: {signer: signer}}
	y.at = c.Start.Add(-25 * time.Hour)
	y.ledger, err = ledger.Open(ctx, ledger.Options{Dir: y.dir, Origin: name, Signer: signer, Verifier: verifier,
		Clock: func() time.Time { return y.at }})
	if err != nil {
		return err
	}
	err = y.all(ctx, name, c.Setup())
	for n := 0; n < weeks && err == nil; n++ {
		err = y.all(ctx, name, c.Week(n).Records)
	}
	return errors.Join(err, y.ledger.Close())
}

// all takes records, a quarter of an hour at once.
func (y *year) all(ctx context.Context, name string, records []simulate.Record) error {
	for i := range records {
		r := &records[i]
		if r.Recorded.Sub(y.at) > 15*time.Minute || len(y.waiting) >= 400 {
			if err := y.flush(ctx); err != nil {
				return err
			}
		}
		if r.Recorded.After(y.at) {
			y.at = r.Recorded
		}
		if y.stations[r.Station] == nil {
			s, _, _, err := ledger.LoadOrCreateKey(y.key(r.Station), r.Station)
			if err != nil {
				return err
			}
			public, err := ledger.VerifierKey(y.key(r.Station))
			if err != nil {
				return err
			}
			y.stations[r.Station] = &signing{signer: s}
			d := &events.StationEnrolled{Station: r.Station, Key: public}
			id := events.DerivedID(y.at, events.Digest{byte(len(y.stations)), 1})
			if err := y.sign(name, &events.Event{ID: id, Station: name, Subject: r.Station, Time: y.at, Data: d}); err != nil {
				return err
			}
		}
		e := *r.Event
		if e.Data.Kind() == events.KindSetOpened {
			y.opened++
		}
		if err := y.sign(r.Station, &e); err != nil {
			return err
		}
	}
	return y.flush(ctx)
}

func (y *year) sign(station string, e *events.Event) error {
	w := y.stations[station]
	e.StationSeq, e.StationPrev = w.count+1, w.hash
	n, err := events.Sign(e, w.signer)
	if err != nil {
		return err
	}
	w.count, w.hash = w.count+1, events.NoteHash(n)
	y.waiting, y.of = append(y.waiting, ledger.Entry{Station: station, Kind: string(e.Data.Kind()), Note: n}), append(y.of, w)
	return nil
}

func (y *year) flush(ctx context.Context) error {
	for i := range y.waiting {
		y.waiting[i].ExpectPrev = y.of[i].last
	}
	out, err := y.ledger.Append(ctx, y.waiting...)
	if err != nil {
		return err
	}
	for i := range out {
		y.of[i].last = out[i].Seq
	}
	y.records += int64(len(out))
	y.waiting, y.of = y.waiting[:0], y.of[:0]
	return nil
}

// step does a part and tells what it took.
func step(t *testing.T, what string, do func() error) {
	t.Helper()
	cpu := func() time.Duration {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			t.Fatal(err)
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	runtime.GC()
	began, used := time.Now(), cpu()
	if err := do(); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	t.Logf("%s: %.1f s, %.1f s of CPU, at most %d MB so far", what, time.Since(began).Seconds(), (cpu() - used).Seconds(), u.Maxrss/1024)
}

// size is how many megabytes a folder takes.
func size(t *testing.T, dir string) int64 {
	t.Helper()
	var all int64
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			all += info.Size()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all >> 20
}

// TestYear: weeks of a simulated hospital are recorded, judged, counted, and their decision pack is printed. make test
// does it with one week of a small one; LISTBOUND_YEAR=52 with that many of one with the published rates, 977 sets in
// half a week (20 rooms), and tells what each part takes: 52 are some 900,000 records and 3 GB, in TMPDIR, or
// in the new folder LISTBOUND_YEAR_DIR, which stays and can be served.
func TestYear(t *testing.T) {
	weeks, c := 1, simulate.Drill()
	if n, err := strconv.Atoi(os.Getenv("LISTBOUND_YEAR")); err == nil {
		weeks, c = n, simulate.Published()
	}
	c.Start = time.Date(2025, 3, 3, 0, 0, 0, 0, time.UTC)
	dir, kept := os.LookupEnv("LISTBOUND_YEAR_DIR")
	if !kept {
		dir = t.TempDir()
	}
	y := &year{dir: dir}
	step(t, "recorded", func() error { return y.record(t.Context(), &c, weeks) })
	t.Logf("%d records, %d openings, %d MB", y.records, y.opened, size(t, dir))
	var s *site.Site
	step(t, "judged", func() (err error) {
		s, err = site.Open(t.Context(), site.Options{Dir: dir, Existing: true, Clock: func() time.Time { return y.at.Add(time.Hour) }})
		return err
	})
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	if s.Behind() != 0 || s.Size() != y.records {
		t.Fatalf("%d of %d records judged", s.Size()-s.Behind(), y.records)
	}
	step(t, "rates", func() error {
		r, err := s.Rates(t.Context(), site.RatesQuery{})
		if err == nil && (r.All.Openings == 0 || r.All.Openings > y.opened || r.All.Incidents == 0) {
			t.Errorf("%d openings of %d, %d incidents", r.All.Openings, y.opened, r.All.Incidents)
		}
		if err == nil {
			t.Logf("%d openings, %d incidents, %d near misses", r.All.Openings, r.All.Incidents, r.Caught)
		}
		return err
	})
	step(t, "printed", func() error {
		x, err := s.Assess(t.Context(), site.AssessQuery{Seed: 1,
			Choices: assess.Choices{Placements: assess.Placements(), Dependence: assess.DependenceHigh}})
		if err != nil {
			return err
		}
		raw, err := report.AssessmentPDF(x, s.Words().Catalogue().In("en"), report.Signature{Site: "north"}, y.at)
		if !strings.HasPrefix(string(raw), "%PDF") {
			t.Errorf("no print: %.20q", raw)
		}
		t.Logf("%d KB of PDF", len(raw)>>10)
		if kept && err == nil {
			err = os.WriteFile(filepath.Join(dir, "..", filepath.Base(dir)+".pdf"), raw, 0o600)
		}
		return err
	})
	t.Logf("%d MB with all that is judged", size(t, dir))
	step(t, "every broken or doubtful chain told, with when it was first known", func() error {
		vs, err := s.Broken(t.Context())
		t.Logf("%d chains", len(vs))
		return err
	})
}
