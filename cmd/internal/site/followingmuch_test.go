//go:build !race

package site_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

// logNow is the log of whichever site writes the ledger now.
type logNow struct{ s *site.Site }

func (l *logNow) Checkpoint(ctx context.Context) ([]byte, error) {
	if l.s == nil {
		return nil, &site.LogError{Why: site.UnheardAway, Says: "connection refused", Err: errors.New("nobody is there")}
	}
	return logOf{l.s}.Checkpoint(ctx)
}

func (l *logNow) Tile(ctx context.Context, name string) ([]byte, error) {
	if l.s == nil {
		return nil, errors.New("nobody is there")
	}
	return logOf{l.s}.Tile(ctx, name)
}

// found is what judgement says, less what a follower can't know.
func found(t *testing.T, s *site.Site) (out []string) {
	t.Helper()
	vs, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs {
		line := fmt.Sprintf("%s %s %s:", v.Set, v.Trip, v.Status)
		for _, x := range v.Findings {
			line += fmt.Sprintf(" %s %s %s %v %v known %s", x.Code, x.Way, x.Severity, x.Events, x.Lines, x.Known)
		}
		out = append(out, line)
	}
	slices.Sort(out)
	return out
}

// sameLedger holds a follower against the site that writes: its records by their root, and all verdicts.
func sameLedger(t *testing.T, when string, f, s *site.Site) {
	t.Helper()
	if f.Size() != s.Size() || f.Behind() != 0 {
		t.Fatalf("%s: the follower has %d records of %d, %d not judged", when, f.Size(), s.Size(), f.Behind())
	}
	theirs, err := s.RootAt(t.Context(), s.Size())
	if err != nil {
		t.Fatal(err)
	}
	if ours, err := f.RootAt(t.Context(), s.Size()); err != nil || ours != theirs {
		t.Fatalf("%s: its records are others: %v", when, err)
	}
	if ours, theirs := found(t, f), found(t, s); len(theirs) == 0 || !slices.Equal(ours, theirs) {
		t.Errorf("%s: the follower finds\n%s\nthe ledger's site\n%s", when, strings.Join(ours, "\n"), strings.Join(theirs, "\n"))
	}
	if f.Key() != s.Key() {
		t.Errorf("%s: the follower goes by the key %s, the ledger by %s", when, f.Key(), s.Key())
	}
}

// TestFollowerMissesNothing: whatever becomes of the ledger while a follower is down or beside it, the follower has each of its
// records then, and finds the same: it was stopped and started, its key was replaced, it was repaired, and it grew by 10,000.
func TestFollowerMissesNothing(t *testing.T) {
	const many = 10_000
	now, lines := noon.AddDate(0, 0, 7), weekLines(t)
	clock := func() time.Time { return now }
	dir, copied := t.TempDir(), filepath.Join(t.TempDir(), "copy")
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: clock}
	log := &logNow{}
	var key string
	write := func(do func(s *site.Site)) { // by a server that is started, and goes on
		t.Helper()
		if log.s != nil {
			if err := log.s.Close(); err != nil {
				t.Fatal(err)
			}
		}
		var err error
		if log.s, err = site.Open(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		do(log.s)
		if _, err := log.s.Checkpoint(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	some := func(n int) func(*site.Site) {
		return func(s *site.Site) {
			t.Helper()
			now = now.Add(time.Minute)
			record(t, s, strings.Join(lines[:n], "\n"))
			lines = lines[n:]
		}
	}
	stop := func() {
		t.Helper()
		if err := log.s.Close(); err != nil {
			t.Fatal(err)
		}
		log.s = nil
	}
	replace := func() {
		t.Helper()
		if _, err := site.ReplaceKey(t.Context(), o, "B-1182", "once a year"); err != nil {
			t.Fatal(err)
		}
	}
	follow := func() *site.Site {
		t.Helper()
		f, err := site.Open(t.Context(), site.Options{Dir: copied, Clock: clock,
			Follow: &site.Following{Of: "http://there", Key: key, Log: log}})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	down := func(f *site.Site) {
		t.Helper()
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	write(some(300))
	key = log.s.Key()
	f := follow()
	sameLedger(t, "at first", f, log.s)
	down(f)

	write(some(200))
	stop()
	replace()
	write(some(20))
	write(func(s *site.Site) {
		t.Helper()
		var more strings.Builder
		for i := range many {
			fmt.Fprintf(&more, `{"station":"north/storage","kind":"set.checked","time":%q,"set":"LAP-%03d","operator":"B-1182",`+
				`"data":{"place":"storage A4"}}`+"\n", now.Add(time.Duration(i)*time.Millisecond).Format(time.RFC3339Nano), 200+i%40)
		}
		record(t, s, more.String())
	})
	stop()
	if err := os.RemoveAll(filepath.Join(dir, "stream")); err != nil {
		t.Fatal(err)
	}
	if _, err := site.Repair(t.Context(), o, nil); err != nil {
		t.Fatal(err)
	}
	write(some(30))
	f = follow()
	sameLedger(t, "after all of that", f, log.s)

	// The same beside it: away, back, another key, and away at a start.
	stop()
	if err := f.TakeIn(t.Context()); err == nil {
		t.Error("nobody is there, and something was heard")
	}
	write(some(100))
	if err := f.TakeIn(t.Context()); err != nil {
		t.Fatal(err)
	}
	sameLedger(t, "after a stop and a start", f, log.s)
	stop()
	replace()
	write(some(100))
	if err := f.TakeIn(t.Context()); !errors.Is(err, site.ErrHandedOn) {
		t.Fatalf("the key was replaced, and the follower goes on: %v", err)
	}
	down(f)
	f = follow()
	sameLedger(t, "under the new key", f, log.s)
	down(f)
	was := log.s
	log.s = nil
	f = follow()
	log.s = was
	some(50)(log.s)
	if _, err := log.s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := f.TakeIn(t.Context()); err != nil {
		t.Fatal(err)
	}
	sameLedger(t, "after a start without it", f, log.s)
	sitetest.Close(t, f)
	sitetest.Close(t, log.s)
}
