//go:build !race

package packing_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/projections"
)

const (
	manySets  = 2000
	manyTrips = 50 // of each set
	perTrip   = 10 // records
)

// crowd makes a folder with a million records, straight into the ledger.
// LISTBOUND_BENCH_DIR names a folder in which it is kept between runs.
func crowd(b *testing.B) string {
	b.Helper()
	root := os.Getenv("LISTBOUND_BENCH_DIR")
	if root == "" {
		root = b.TempDir()
	}
	dir := filepath.Join(root, fmt.Sprintf("scan-%d", manySets*manyTrips*perTrip))
	mark := filepath.Join(dir, "made")
	if _, err := os.Stat(mark); err == nil {
		return dir
	}
	if err := os.RemoveAll(dir); err != nil {
		b.Fatal(err)
	}
	c := &crowded{dir: dir, at: time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC), stations: make(map[string]*writer)}
	if err := c.make(b.Context()); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(mark, nil, 0o600); err != nil {
		b.Fatal(err)
	}
	return dir
}

// crowded writes records round by round: every set is packed, sealed,
// sterilized and seen in seven places.
type crowded struct {
	dir      string
	at       time.Time
	ledger   *ledger.Ledger
	stations map[string]*writer
	waiting  []made
}

type writer struct {
	signer      note.Signer
	count, last int64
	hash        string
}

type made struct {
	by   *writer
	name string
	in   ledger.Entry
}

func (c *crowded) make(ctx context.Context) error {
	name := events.LedgerName("north")
	signer, verifier, _, err := ledger.LoadOrCreateKey(c.key(name), name)
	if err != nil {
		return err
	}
	c.stations[name] = &writer{signer: signer}
	c.ledger, err = ledger.Open(ctx, ledger.Options{Dir: c.dir, Origin: name, Signer: signer, Verifier: verifier,
		Clock: func() time.Time { return c.at }})
	if err != nil {
		return err
	}
	for _, st := range []string{"north/packing-1", "north/sterilizer-1", "north/storage", "north/or-3"} {
		s, _, _, err := ledger.LoadOrCreateKey(c.key(st), st)
		if err != nil {
			return err
		}
		key, err := ledger.VerifierKey(c.key(st))
		if err != nil {
			return err
		}
		c.stations[st] = &writer{signer: s}
		if err := c.add(name, st, "", &events.StationEnrolled{Station: st, Key: key}); err != nil {
			return err
		}
	}
	list := workplacetest.List60()
	digest, err := list.Digest()
	if err == nil {
		err = c.add("north/packing-1", list.List, "", list)
	}
	if err != nil {
		return err
	}
	for round := range manyTrips {
		if err := c.round(round, digest); err != nil {
			return err
		}
		if err := c.flush(ctx); err != nil {
			return err
		}
	}
	return errors.Join(ledgertest.Verify(ctx, c.ledger), c.ledger.Close())
}

func (c *crowded) key(station string) string {
	return filepath.Join(c.dir, "keys", strings.Replace(station, "/", "_", 1)+".key")
}

func (c *crowded) round(round int, list events.Digest) error {
	trips := make([]string, manySets)
	for step := range perTrip {
		for i := range manySets {
			set := fmt.Sprintf("LAP-%04d", i)
			var err error
			switch step {
			case 0:
				trips[i] = events.DerivedID(c.at, events.Digest{byte(i), byte(i >> 8), byte(round)})
				err = c.add("north/packing-1", set, trips[i], &events.SetPacked{List: "LAP-MAJOR", Version: 1, WeightGrams: 8400})
			case 1:
				var binding events.Digest
				var code events.SheetCode
				if binding, err = events.Binding(list, set, trips[i]); err == nil {
					code, err = events.NewSheetCode(trips[i], binding)
				}
				if err == nil {
					err = c.add("north/packing-1", set, trips[i], &events.ListSealed{Placement: events.Outside,
						List: "LAP-MAJOR", Version: 1,
						ListDigest: list.String(), Binding: binding.String(), Code: code.String()})
				}
			case 2:
				err = c.add("north/sterilizer-1", set, trips[i], &events.SetSterilized{Load: fmt.Sprintf("S1-%d-%d",
					round, i/20), Sterilizer: "S1",
					Run: int64(i/20 + 1), Cycle: "c-132", Result: "passed", Released: true})
			default:
				err = c.add("north/storage", set, trips[i], &events.SetChecked{Place: fmt.Sprintf("shelf %d", step), Tag: set})
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *crowded) add(station, subject, trip string, d events.Data) error {
	w := c.stations[station]
	c.at = c.at.Add(20 * time.Second)
	e := &events.Event{Station: station, Subject: subject, Time: c.at, Trip: trip, Operator: "B-1",
		StationSeq: w.count + 1, StationPrev: w.hash, Data: d}
	e.ID = events.DerivedID(c.at, events.Digest{byte(w.count), byte(w.count >> 8), byte(w.count >> 16), byte(len(station))})
	n, err := events.Sign(e, w.signer)
	if err != nil {
		return err
	}
	w.count, w.hash = w.count+1, events.NoteHash(n)
	c.waiting = append(c.waiting, made{w, station, ledger.Entry{Station: station, Kind: string(d.Kind()), Note: n}})
	return nil
}

func (c *crowded) flush(ctx context.Context) error {
	for chunk := range slices.Chunk(c.waiting, 500) {
		in := make([]ledger.Entry, len(chunk))
		for i, m := range chunk {
			in[i] = m.in
			in[i].ExpectPrev = m.by.last
		}
		out, err := c.ledger.Append(ctx, in...)
		if err != nil {
			return err
		}
		for i, m := range chunk {
			m.by.last = out[i].Seq
		}
	}
	c.waiting = c.waiting[:0]
	return nil
}

// BenchmarkScanToVerdict types 500 scans into the opening page, over a ledger of
// a million records, and measures in the page from the scanner's Enter to the
// frame that shows the verdict. The server's own CPU is told beside it, which a busy machine doesn't change.
func BenchmarkScanToVerdict(b *testing.B) {
	dir := crowd(b)
	s, err := site.Open(b.Context(), site.Options{Dir: dir, Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	handler, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		b.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	b.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	var scans []string
	for i := 0; len(scans) < 500; i++ {
		set := fmt.Sprintf("LAP-%04d", i*7%manySets)
		tag, err := events.LabelText(events.ScanSet, set)
		if err != nil {
			b.Fatal(err)
		}
		st, err := site.Answer(s, func(m *site.View) (st projections.SetStanding, err error) {
			trip, err := m.TripNow(b.Context(), set, time.Now())
			if err == nil {
				st, err = m.World(b.Context()).Standing(projections.TripKey{Set: set, Trip: trip})
			}
			return st, err
		})
		if err != nil || st.Code == "" {
			b.Fatalf("%s: no code: %v", set, err)
		}
		scans = append(scans, tag, tag, st.Code)
	}
	for b.Loop() {
		p := browsertest.Start(b, browsertest.Frames).Tab(b, workplacetest.Wall)
		p.Open(srv.URL + "/at/north/or-3/opening")
		browsertest.Eval[bool](p, `(() => {
			window.times = []; let t0 = 0;
			document.addEventListener("keydown", e => { if (e.key === "Enter") t0 = performance.now() }, true);
			new MutationObserver(() => requestAnimationFrame(() => {
				if (t0) { times.push(performance.now() - t0); t0 = 0 }
			})).observe(document.getElementById("verdict"), {childList: true, subtree: true, characterData: true});
			return true })()`)
		before := cpu(b)
		for i, text := range scans {
			if i%3 == 0 {
				browsertest.Eval[bool](p, `(document.querySelector('[data-do="clear"]')?.click(), true)`)
				p.Await(`!document.querySelector('[data-do="clear"]')`)
			}
			p.Type(text + "\r")
			p.Await("times.length === " + strconv.Itoa(i+1))
		}
		b.ReportMetric(float64((cpu(b)-before).Microseconds())/1000/float64(len(scans)), "ms-CPU/scan")
		times := browsertest.Eval[[]float64](p, "times")
		slices.Sort(times)
		b.ReportMetric(times[len(times)/2], "ms/p50")
		b.ReportMetric(times[len(times)*99/100], "ms/p99")
		b.ReportMetric(times[len(times)-1], "ms/max")
		b.ReportMetric(float64(s.Size()), "records")
		b.ReportMetric(float64(len(times)), "scans")
	}
}

// cpu is what this process has used by now: server and test, without the browser.
func cpu(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
