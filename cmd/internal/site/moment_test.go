package site_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// opened is one trip that is opened and counted first, and nothing after.
func opened(t *testing.T) string {
	t.Helper()
	raw, err := os.ReadFile("../../../testdata/observations/one-trip.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(raw)) {
		last := strings.Contains(line, `"final"`) || strings.Contains(line, "case.closed") || strings.Contains(line, "finding.ack")
		if !last && !strings.Contains(line, "event.corrected") {
			out = append(out, line)
		}
	}
	return strings.Join(out, "")
}

// ways are the ways of what is overdue in the verdicts that ask for somebody.
func ways(vs []projections.Verdict) string {
	var out []string
	for _, v := range vs {
		for _, f := range v.Findings {
			if f.Code == projections.Overdue {
				out = append(out, f.Way)
			}
		}
	}
	return strings.Join(out, " ")
}

// TestTimePasses: without any record, what is overdue is found when its time has
// come, by broken and history alike; a start and a rebuild at that moment find
// the same, and history as known before does not.
func TestTimePasses(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	opening := time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)
	now := opening.Add(20 * time.Minute)
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }}
	s := open(t, dir, o)
	for _, r := range record(t, s, opened(t)) {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
	}
	set := "LAP-014"
	holds := func(when, want string) {
		t.Helper()
		vs, err := s.Broken(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if got := ways(vs); got != want {
			t.Errorf("%s, broken: %q is overdue, want %q", when, got, want)
		}
		h, err := s.History(ctx, site.Query{Set: set})
		if err != nil {
			t.Fatal(err)
		}
		if got := ways(h.Verdicts); got != want {
			t.Errorf("%s, history: %q is overdue, want %q", when, got, want)
		}
	}
	holds("at the opening", "")
	changes, end := s.Changes()
	defer end()
	due, err := site.Answer(s, func(v *site.View) (time.Time, error) { return v.Due(ctx) })
	if err != nil || !due.Equal(opening.Add(12*time.Hour)) {
		t.Fatalf("due at %s (%v)", due, err)
	}
	now = due
	if err := s.Advance(ctx); err != nil {
		t.Fatal(err)
	}
	holds("twelve hours later", "count")
	select {
	case <-changes:
	default:
		t.Error("nobody was told that a verdict changed")
	}
	if _, err := s.Rebuild(ctx, nil); err != nil {
		t.Fatal(err)
	}
	holds("after a rebuild", "count")
	now = now.Add(time.Hour)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o) // closing became overdue while nothing ran
	holds("at the next start", "count closing")
	h, err := s.History(ctx, site.Query{Set: set, AsOf: opening.Add(time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	if got := ways(h.Verdicts); got != "" {
		t.Errorf("as known at the opening %q was overdue", got)
	}
}

// TestKeepTime: the server judges by itself what becomes overdue, and looks at the clock every minute until then.
func TestKeepTime(t *testing.T) {
	opening := time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)
	clock := make(chan time.Time, 1)
	clock <- opening
	waits, over := make(chan time.Duration), make(chan time.Time)
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time {
		at := <-clock
		clock <- at
		return at
	}, After: func(d time.Duration) <-chan time.Time {
		waits <- d
		return over
	}})
	record(t, s, opened(t))
	changes, end := s.Changes()
	defer end()
	keeping, stop := context.WithCancel(t.Context())
	var kept sync.WaitGroup
	kept.Go(func() { s.KeepTime(keeping) })
	if got := <-waits; got >= time.Second {
		t.Errorf("it leaves the machine to whoever opens the first page for %s", got)
	}
	over <- opening
	at, due := opening, opening.Add(12*time.Hour)
	for _, next := range []time.Time{opening.Add(time.Hour), due.Add(-20 * time.Second), due} {
		if got, want := <-waits, min(due.Sub(at), time.Minute); got != want {
			t.Errorf("at %s it waits for %s, want %s", at, got, want)
		}
		if vs, err := s.Broken(t.Context()); err != nil || ways(vs) != "" {
			t.Errorf("at %s %q is overdue (%v)", at, ways(vs), err)
		}
		<-clock
		at = next
		clock <- at
		over <- at
	}
	<-changes // a test that is not told ends by its time limit
	<-waits
	stop()
	kept.Wait()
	// The trip's later steps were recorded before they can have happened, by this clock: they count as of their recording, so
	// what is to follow them is due with what is to follow the opening.
	vs, err := s.Broken(t.Context())
	if err != nil || ways(vs) != "closing count" {
		t.Errorf("%q is overdue (%v)", ways(vs), err)
	}
}

// TestFixedMoment: a folder with the file as-of is judged as of then.
func TestFixedMoment(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	opening := time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(opening.AddDate(1, 0, 0)), AsOf: opening})
	record(t, s, opened(t))
	for range 2 {
		vs, err := s.Broken(ctx)
		if err != nil || ways(vs) != "" {
			t.Errorf("as of the opening %q is overdue (%v)", ways(vs), err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = open(t, dir, site.Options{Clock: fixed(opening.AddDate(1, 0, 0))})
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "as-of"), []byte("yesterday\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := site.Open(ctx, site.Options{Dir: dir, Clock: fixed(opening)}); err == nil {
		t.Error("a folder opens as of yesterday")
	}
	if err := os.Remove(filepath.Join(dir, "as-of")); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Clock: fixed(opening.AddDate(1, 0, 0))})
	if vs, err := s.Broken(ctx); err != nil || ways(vs) == "" {
		t.Errorf("a year later nothing is overdue (%v)", err)
	}
}
