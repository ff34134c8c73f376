package site_test

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// TestFilesLetOthersIn: a file whose lines take long is recorded in smaller parts, so that a station that scans waits for
// few of them; one that goes quickly is recorded in as large parts as ever.
func TestFilesLetOthersIn(t *testing.T) {
	var step atomic.Int64 // how far the clock goes each time it is asked
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	var asked atomic.Int64
	var another func()
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time {
		if do := another; do != nil {
			another = nil
			do()
		}
		return now.Add(time.Duration(asked.Add(step.Load())))
	}})
	n := 0
	const all = 100
	record := func(count int64) (first int64) {
		var lines strings.Builder
		for range count {
			n++
			fmt.Fprintf(&lines, `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T05:%02d:%02dZ","set":"LAP-001",`+
				`"data":{"place":"Z%d"}}`+"\n", n/60%60, n%60, n)
		}
		before, after := s.Size(), int64(0)
		err := s.Record(t.Context(), strings.NewReader(lines.String()), func(r site.Receipt) error {
			if r.Error != "" {
				t.Errorf("refused: %+v", r)
			}
			if first == 0 {
				first = s.Size() - before
			}
			after = r.Seq
			return nil
		})
		if err != nil || after < before+count {
			t.Fatalf("the last of %d lines is record %d behind %d: %v", count, after, before, err)
		}
		return first
	}
	parts := func() int64 { return record(all) }
	parts() // enrols the station
	if first := parts(); first != 100 {
		t.Errorf("of a file that takes no time %d lines are recorded at once, want all", first)
	}
	step.Store(int64(time.Second))
	parts()
	if first := parts(); first > 5 {
		t.Errorf("of a file that takes long %d lines are recorded at once", first)
	}
	step.Store(0)
	for range 3 {
		parts()
	}
	if first := parts(); first != 100 {
		t.Errorf("when it takes no time again, %d lines are recorded at once, want all", first)
	}

	// Each time takes more than what a station may have to wait, and less than what is borne while nobody does.
	step.Store(int64(5 * time.Millisecond)) // which is how much later it is whenever the clock is asked, some three times a part
	parts()
	if first := parts(); first != 100 {
		t.Errorf("of a file that keeps nobody waiting %d lines are recorded at once, want all", first)
	}
	scanned := make(chan error, 1)
	another = func() {
		go func() {
			_, err := s.Observe(t.Context(), checked(t, "LAP-014"))
			scanned <- err
		}()
		for s.Waiting() == 0 {
		}
	}
	parts()
	if err := <-scanned; err != nil {
		t.Fatal(err)
	}
	if first := parts(); first >= all {
		t.Errorf("where somebody had to wait %d lines are recorded at once", first)
	}
	step.Store(int64(9 * time.Millisecond))
	begun, worked := time.Now(), asked.Load()
	record(20)
	step.Store(int64(time.Millisecond))
	// The site's clock goes on only while lines are taken; the rest behind each part is three times as long.
	if took, worked := time.Since(begun), time.Duration(asked.Load()-worked); took < 2*worked {
		t.Errorf("where somebody had to wait a file that is worked for %s takes %s: it doesn't rest", worked, took)
	}
	now = now.Add(2 * time.Minute)
	for range 3 {
		parts()
	}
	if first := parts(); first != 100 {
		t.Errorf("two minutes later %d lines are recorded at once, want all", first)
	}
}
