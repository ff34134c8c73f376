package site_test

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

// BenchmarkWeek records the built-in week in an empty folder, by the clock that it had: each moment's lines when they arrive, and
// played, where nobody waits for a receipt to hand in the next line.
func BenchmarkWeek(b *testing.B) {
	w, err := scenario.Load()
	if err != nil {
		b.Fatal(err)
	}
	for _, play := range []bool{false, true} {
		b.Run(map[bool]string{false: "arriving", true: "played"}[play], func(b *testing.B) {
			used, lines := cpu(b), 0
			for b.Loop() {
				n, err := recordWeek(b, w, play)
				if err != nil {
					b.Fatal(err)
				}
				lines += n
			}
			b.ReportMetric(float64(lines)/b.Elapsed().Seconds(), "lines/s")
			b.ReportMetric(float64((cpu(b)-used).Microseconds())/float64(lines), "cpu-us/line")
		})
	}
}

func recordWeek(b *testing.B, w *scenario.Scenario, play bool) (n int, err error) {
	var now atomic.Int64
	s, err := site.Open(b.Context(), site.Options{Dir: b.TempDir(), Name: w.Site, EnrolOnSight: true, Clock: func() time.Time {
		return time.Unix(0, now.Load()).UTC()
	}})
	if err != nil {
		return 0, err
	}
	defer s.Close()
	taken := func(r site.Receipt) error {
		if n++; r.Error != "" {
			return fmt.Errorf("line %d: %s", r.Line, r.Error)
		}
		return nil
	}
	setClock := func(at time.Time) { now.Store(at.UnixNano()) }
	if play {
		err = s.Play(b.Context(), sitetest.Arriving(w), setClock, taken)
		return n, err
	}
	var batch bytes.Buffer
	for l, err := range w.Lines() {
		if err != nil {
			return n, err
		}
		if l.RecordAt.UnixNano() != now.Load() {
			if err := s.Record(b.Context(), &batch, taken); err != nil {
				return n, err
			}
			setClock(l.RecordAt)
		}
		batch.Write(l.Raw)
		batch.WriteByte('\n')
	}
	return n, s.Record(b.Context(), &batch, taken)
}

// cpu is what this process has used of its processors, user and system.
func cpu(tb testing.TB) time.Duration {
	tb.Helper()
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// turnOf are the nine observations of one turn of a set with a list of 20 lines, as a station's page records them.
func turnOf(n int, at time.Time) []string {
	var counts []string
	for i := range 20 {
		counts = append(counts, fmt.Sprintf(`{"line":%d,"counted":4}`, i+1))
	}
	count := func(stage string) string {
		return fmt.Sprintf(`"data":{"case":"K-%d","stage":%q,"sheet":"screen","counter":"B-1","witness":"B-2","counts":[%s]}`,
			n, stage, strings.Join(counts, ","))
	}
	set := fmt.Sprintf("LAP-%03d", n%100)
	steps := []struct{ station, kind, rest string }{
		{"packing-1", "set.packed", `"data":{"list":"LAP","version":1,"weightGrams":8400,"newSet":true}`},
		{"packing-1", "list.sealed", `"data":{"placement":"outside"}`},
		{"sterilizer-1", "set.sterilized",
			fmt.Sprintf(`"data":{"load":"S1-%d","sterilizer":"S1","run":%d,"cycle":"c134","result":"passed","released":true}`, n/20, n/20+1)},
		{"storage", "set.checked", fmt.Sprintf(`"data":{"place":"A4","tag":%q}`, set)},
		{"or-1", "set.opened", fmt.Sprintf(`"data":{"case":"K-%d","tag":%q,"indicator":"pass"}`, n, set)},
		{"or-1", "set.counted", count("first")},
		{"or-1", "set.counted", count("closing")},
		{"or-1", "set.counted", count("final")},
		{"or-1", "case.closed", fmt.Sprintf(`"data":{"case":"K-%d","outcome":"reconciled","actions":[]}`, n)},
	}
	var out []string
	for i, st := range steps {
		about := fmt.Sprintf(`"set":%q,`, set)
		if st.kind == "case.closed" {
			about = ""
		}
		out = append(out, fmt.Sprintf(`{"station":"north/%s","kind":%q,"time":%q,%s"operator":"B-1",%s}`, st.station, st.kind,
			at.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), about, st.rest))
	}
	return out
}

// BenchmarkClients has many clients record turns of sets at once, one observation at a time each.
func BenchmarkClients(b *testing.B) {
	for _, clients := range []int{1, 8, 32, 128} {
		b.Run(fmt.Sprint(clients), func(b *testing.B) {
			s := sitetest.Open(b, site.Options{Dir: b.TempDir(), Name: "north", Clock: time.Now, EnrolOnSight: true})
			at := time.Now().Add(-100 * time.Hour)
			recordOne(b, s, oneLineList(at.Add(-time.Hour)))
			var next, done atomic.Int64
			var all sync.WaitGroup
			used, begun := cpu(b), time.Now()
			for range clients {
				all.Go(func() {
					for {
						n := int(next.Add(1)) - 1
						if n >= b.N {
							return
						}
						for _, line := range turnOf(n, at.Add(time.Duration(n)*12*time.Minute/100)) {
							recordOne(b, s, line)
							done.Add(1)
						}
					}
				})
			}
			all.Wait()
			b.ReportMetric(float64(done.Load())/time.Since(begun).Seconds(), "observations/s")
			b.ReportMetric(float64((cpu(b)-used).Microseconds())/float64(done.Load()), "cpu-us/observation")
		})
	}
}

// BenchmarkTurns records turns of sets one observation at a time, each judged before its receipt.
func BenchmarkTurns(b *testing.B) {
	s := sitetest.Open(b, site.Options{Dir: b.TempDir(), Name: "north", Clock: time.Now, EnrolOnSight: true})
	at := time.Now().Add(-100 * time.Hour)
	recordOne(b, s, oneLineList(at.Add(-time.Hour)))
	n, used := 0, cpu(b)
	for b.Loop() {
		for _, line := range turnOf(n, at.Add(time.Duration(n)*12*time.Minute/100)) {
			recordOne(b, s, line)
		}
		n++
	}
	b.ReportMetric(float64(9*n)/b.Elapsed().Seconds(), "observations/s")
	b.ReportMetric(float64((cpu(b)-used).Microseconds())/float64(9*n), "cpu-us/observation")
}

func oneLineList(at time.Time) string {
	var lines []string
	for i := range 20 {
		lines = append(lines, fmt.Sprintf(`{"line":%d,"item":"FCP-%03d","description":"Forceps, curved, 12.5 cm","quantity":4}`, i+1, i))
	}
	return fmt.Sprintf(`{"station":"north/packing-1","kind":"list.issued","time":%q,`+
		`"data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[%s]}}`, at.Format(time.RFC3339), strings.Join(lines, ","))
}

func recordOne(b *testing.B, s *site.Site, line string) {
	b.Helper()
	if err := s.Record(b.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("%s: %s", line, r.Error)
		}
		return nil
	}); err != nil {
		b.Fatal(err)
	}
}
