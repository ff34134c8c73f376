//go:build !race

package board_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/tablefile"
)

// manyOnBoard serves a board on which are so many turns, each of them broken.
func manyOnBoard(b testing.TB, turns int) string {
	b.Helper()
	s, err := playWeekHead(b)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	var lines strings.Builder
	begin := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	for i := range turns {
		fmt.Fprintf(&lines, `{"station":"north/or-%d","kind":"set.opened","time":"%s","set":"SET-%05d","operator":"B-%d",`+
			`"data":{"case":"K-%d"}}`+"\n", 1+i%4, begin.Add(time.Duration(i)*8*time.Second).Format(time.RFC3339), i, 7000+i%40, i/5)
	}
	if err := s.Record(b.Context(), strings.NewReader(lines.String()), func(r site.Receipt) error {
		if r.Error != "" {
			b.Errorf("%+v", r)
		}
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(srv.Close)
	return srv.URL
}

func took(b testing.TB, url string) (time.Duration, []byte) {
	b.Helper()
	begin := time.Now()
	res, err := http.Get(url)
	if err != nil {
		b.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		b.Fatalf("%s: %d, %v", url, res.StatusCode, err)
	}
	return time.Since(begin), raw
}

// processor is how much time of processors this program has used: other programs don't make it longer.
func processor(b testing.TB) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkTenThousand tells how long a board of ten thousand rows takes as a page and taken away, and how many times as
// long as the libraries alone take to write the same cells.
func BenchmarkTenThousand(b *testing.B) {
	const turns = 3_000 // each in several incidents: a line for each
	url := manyOnBoard(b, turns)
	begin := processor(b)
	cold, raw := took(b, url+"/?format=csv&table=board")
	used := processor(b) - begin
	table, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(raw, []byte(tablefile.ByteOrderMark)))).ReadAll()
	if err != nil || len(table) < 10_000 {
		b.Fatalf("%d rows, %v", len(table), err)
	}
	b.Logf("%d rows, %d bytes; the first time in %s, %s of processors", len(table)-1, len(raw), cold, used)
	plainCSV := func() time.Duration {
		begin := time.Now()
		if err := csv.NewWriter(io.Discard).WriteAll(table); err != nil {
			b.Fatal(err)
		}
		return time.Since(begin)
	}
	plainXLSX := func() time.Duration {
		t := &tablefile.Table{Title: "board", Columns: table[0]}
		for _, r := range table[1:] {
			row := make([]any, len(r))
			for i := range r {
				row[i] = r[i]
			}
			t.Rows = append(t.Rows, row)
		}
		begin := time.Now()
		if _, err := tablefile.XLSX(t); err != nil {
			b.Fatal(err)
		}
		return time.Since(begin)
	}
	for _, x := range []struct {
		name, at string
		beside   func() time.Duration
	}{
		{"page", "/", plainCSV}, {"csv", "/?format=csv&table=board", plainCSV}, {"xlsx", "/?format=xlsx&table=board", plainXLSX},
	} {
		b.Run(x.name, func(b *testing.B) {
			var ours, beside, used time.Duration
			for b.Loop() {
				begin := processor(b)
				d, _ := took(b, url+x.at)
				used += processor(b) - begin
				ours, beside = ours+d, beside+x.beside()
			}
			b.ReportMetric(float64(used.Milliseconds())/float64(b.N), "cpu-ms")
			b.ReportMetric(float64(ours)/float64(beside), "x/plain")
			b.ReportMetric(float64(ours.Milliseconds())/float64(b.N), "ms")
		})
	}
}
