package workplace_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/events"
	"listbound/projections"
)

const (
	manySets  = 2000
	manyTrips = 50 // of each set
	perTrip   = 10 // records
)

// crowd makes a folder with a million records, once, and keeps it between runs.
func crowd(b *testing.B) string {
	b.Helper()
	dir := filepath.Join(os.TempDir(), fmt.Sprintf("listbound-scan-%d", manySets*manyTrips*perTrip))
	mark := filepath.Join(dir, "complete")
	if _, err := os.Stat(mark); err == nil {
		return dir
	}
	if err := os.RemoveAll(dir); err != nil {
		b.Fatal(err)
	}
	s, err := site.Open(b.Context(), site.Options{Dir: dir, Name: "north", Clock: time.Now, EnrolOnSight: true, Batch: 500})
	if err != nil {
		b.Fatal(err)
	}
	r, w := io.Pipe()
	go func() { w.CloseWithError(traffic(b.Context(), w)) }()
	err = s.Record(b.Context(), r, func(got site.Receipt) error {
		if got.Error != "" {
			return fmt.Errorf("line %d: %s", got.Line, got.Error)
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(mark, nil, 0o600); err != nil {
		b.Fatal(err)
	}
	return dir
}

// traffic writes observations: round by round, every set is packed, sealed,
// sterilized and seen in seven places.
func traffic(ctx context.Context, w io.Writer) error {
	out := bufio.NewWriter(w)
	at := time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC)
	line := func(station, kind, set, data string) {
		at = at.Add(20 * time.Second)
		if set != "" {
			set = `"set":"` + set + `",`
		}
		fmt.Fprintf(out, `{"station":"north/%s","kind":"%s","time":"%s",%s"operator":"B-1","data":%s}`+"\n", station, kind, at.Format(time.RFC3339), set, data)
	}
	list := `{"list":"LAP-MAJOR","version":1,"title":"Laparotomy, major","lines":[`
	for i := range lines60 {
		if i > 0 {
			list += ","
		}
		list += fmt.Sprintf(`{"line":%d,"item":"INS-%03d","description":"Forceps, curved, number %d","quantity":4}`, i+1, i+1, i+1)
	}
	line("packing-1", "list.issued", "", list+"]}")
	line("or-3", "set.checked", "LAP-0000", `{"place":"room"}`)
	for trip := range manyTrips {
		for _, step := range []func(i int, set string){
			func(i int, set string) {
				line(fmt.Sprintf("packing-%d", i%4+1), "set.packed", set, `{"list":"LAP-MAJOR","version":1,"weightKg":8.4}`)
			},
			func(i int, set string) {
				line(fmt.Sprintf("packing-%d", i%4+1), "list.sealed", set, `{"placement":"outside"}`)
			},
			func(i int, set string) {
				line("sterilizer-1", "set.sterilized", set, fmt.Sprintf(`{"load":"S1-%d-%d","sterilizer":"S1","run":%d,"cycle":"c-132","result":"passed","released":true}`, trip, i/20, i/20+1))
			},
		} {
			for i := range manySets {
				step(i, fmt.Sprintf("LAP-%04d", i))
			}
		}
		for look := range perTrip - 3 {
			for i := range manySets {
				line("storage", "set.checked", fmt.Sprintf("LAP-%04d", i), fmt.Sprintf(`{"place":"shelf %d"}`, look))
			}
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return out.Flush()
}

// BenchmarkScanToVerdict types 500 scans into the opening page, over a ledger of
// a million records, and measures in the page from the scanner's Enter to the
// frame that shows the verdict.
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
		trip, err := s.TripNow(b.Context(), set, time.Now())
		if err != nil {
			b.Fatal(err)
		}
		var st projections.SetStanding
		err = s.World(b.Context(), func(w *projections.World) (err error) {
			st, err = w.Standing(projections.TripKey{Set: set, Trip: trip})
			return err
		})
		if err != nil || st.Code == "" {
			b.Fatalf("%s: no code: %v", set, err)
		}
		scans = append(scans, tag, tag, st.Code)
	}
	for b.Loop() {
		p := browsertest.Start(b).Tab(b, wall)
		p.Open(srv.URL + "/at/north/or-3/opening")
		browsertest.Eval[bool](p, `(() => {
			window.times = []; let t0 = 0;
			document.addEventListener("keydown", e => { if (e.key === "Enter") t0 = performance.now() }, true);
			new MutationObserver(() => requestAnimationFrame(() => { if (t0) { times.push(performance.now() - t0); t0 = 0 } })).observe(document.getElementById("verdict"), {childList: true, subtree: true, characterData: true});
			return true })()`)
		for i, text := range scans {
			if i%3 == 0 {
				p.Await(`!document.querySelector('[data-do="clear"]') || (document.querySelector('[data-do="clear"]').click(), false)`)
			}
			p.Type(text + "\r")
			p.Await("times.length === " + strconv.Itoa(i+1))
		}
		times := browsertest.Eval[[]float64](p, "times")
		slices.Sort(times)
		b.ReportMetric(times[len(times)/2], "ms/p50")
		b.ReportMetric(times[len(times)*99/100], "ms/p99")
		b.ReportMetric(times[len(times)-1], "ms/max")
		b.ReportMetric(float64(s.Size()), "records")
	}
}
