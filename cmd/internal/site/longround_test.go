package site_test

import (
	"errors"
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
	const lines = 4 * ledger.MaxBatch // and three enrolments, which one append doesn't take with them
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
	if len(first) != lines-3 {
		t.Errorf("%d lines have receipts, want %d", len(first), lines-3)
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

// TestForeseenIsForgotten: whenever somebody else takes the folder while a line is recorded, nobody sees anything of one that has no
// receipt, also of one that was judged on its way to the disk.
func TestForeseenIsForgotten(t *testing.T) {
	unknown := 0
	for nth := int64(1); ; nth++ { // each time the clock is asked while the line is recorded
		dir, path := t.TempDir(), ""
		var left atomic.Int64
		clock := func() time.Time {
			if left.Add(-1) == 0 {
				writeFile(t, path+".new", []byte(`{"pid":1}`))
				if err := os.Rename(path+".new", path); err != nil {
					t.Error(err)
				}
			}
			return noon.Add(time.Hour)
		}
		s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: clock})
		if err != nil {
			t.Fatal(err)
		}
		record(t, s, oneList)
		if _, err := s.Observe(t.Context(), packed("A")); err != nil {
			t.Fatal(err)
		}
		path = filepath.Join(dir, "owner.json")
		before := s.Size()
		left.Store(nth)
		_, err = s.Observe(t.Context(), packed("B"))
		if left.Load() > 0 { // it was not asked so often
			if err := errors.Join(err, s.Close()); err != nil {
				t.Error(err)
			}
			break
		}
		if err == nil {
			t.Errorf("recorded, and the folder was somebody else's at the clock's %d. time", nth)
		}
		if errors.Is(err, ledger.ErrUnknownOutcome) {
			unknown++
		}
		if at, err := site.Answer(s, func(v *site.View) (int64, error) { return v.Position(), nil }); at != before || err != nil {
			t.Errorf("%d. time: %d records are known, %d have receipts: %v", nth, at, before, err)
		}
		for _, k := range s.World().Trips() {
			if k.Set == "B" {
				t.Errorf("%d. time: the packing of %s is known, which has no receipt", nth, k.Set)
			}
		}
		_ = s.Close() // the folder is somebody else's
	}
	if unknown == 0 {
		t.Error("no line was on its way to the disk")
	}
}
