package site_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/ledger"
)

// TestLongRound: a round of more records than one append takes is stored by several. Where the second one fails, the lines of the
// first have their receipts, with their verdicts, and no other line has one; recorded again, each is there once.
func TestLongRound(t *testing.T) {
	const lines = ledger.MaxBatch + 300
	var file strings.Builder
	for i := range lines {
		fmt.Fprintf(&file, `{"station":"north/storage-%d","kind":"set.checked","time":%q,"set":"LAP-%03d","data":{"place":"A4"}}`+"\n",
			i%3, noon.Add(time.Duration(i)*time.Second).Format(time.RFC3339), i)
	}
	whole := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Alone: true})
	for i, r := range record(t, whole, file.String()) {
		if r.Seq == 0 || r.Error != "" {
			t.Fatalf("line %d: %+v", i+1, r)
		}
	}

	dir := t.TempDir()
	var opened atomic.Pointer[site.Site]
	var lost atomic.Bool
	clock := func() time.Time {
		if s := opened.Load(); s != nil && s.Size() > 0 && !lost.Swap(true) { // somebody else takes the folder before the second append
			path := filepath.Join(dir, "owner.json")
			if err := os.WriteFile(path+".new", []byte(`{"pid":1}`), 0o600); err != nil {
				t.Error(err)
			}
			if err := os.Rename(path+".new", path); err != nil {
				t.Error(err)
			}
		}
		return noon.Add(time.Hour)
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Alone: true, Clock: clock})
	if err != nil {
		t.Fatal(err)
	}
	opened.Store(s)
	var first []site.Receipt
	err = s.Record(t.Context(), strings.NewReader(file.String()), func(r site.Receipt) error {
		first = append(first, r)
		return nil
	})
	if err == nil || !lost.Load() {
		t.Fatalf("the second append did not fail: %v", err)
	}
	if len(first) != ledger.MaxBatch-3 { // three enrolments
		t.Errorf("%d lines have receipts, want %d", len(first), ledger.MaxBatch-3)
	}
	for i, r := range first {
		if r.Seq == 0 || r.Error != "" || r.Behind {
			t.Fatalf("receipt %d: %+v", i+1, r)
		}
	}
	_ = s.Close() // the folder is somebody else's

	again := open(t, dir, site.Options{EnrolOnSight: true, Alone: true, Clock: func() time.Time { return noon.Add(time.Hour) }})
	all := record(t, again, file.String())
	if len(all) != lines || again.Size() != lines+3 {
		t.Errorf("%d receipts and %d records, want %d and %d", len(all), again.Size(), lines, lines+3)
	}
	seqs := make(map[int64]bool)
	for i, r := range all {
		if i < len(first) && (!r.Known || r.Seq != first[i].Seq) || r.Seq == 0 || seqs[r.Seq] {
			t.Fatalf("line %d again: %+v", i+1, r)
		}
		seqs[r.Seq] = true
	}
}

// TestMapDue: the newest about each set and case are put on record as often in rounds of thousands of records as in those of one.
func TestMapDue(t *testing.T) {
	for _, round := range []int64{1, 5, 500, 3900, 4000, 4096, 4161} {
		mapped, last := int64(0), int64(0)
		for size := round; size < 100_000; size += round {
			if site.MapDue(size-last, int(round)) {
				mapped, last = mapped+1, size
			}
		}
		if mapped < 21 || mapped > 26 {
			t.Errorf("%d mappings of 100,000 records in rounds of %d", mapped, round)
		}
	}
}
