package site_test

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// logOf is the log of a site's ledger, as a follower takes it in.
type logOf struct{ *site.Site }

func (l logOf) Checkpoint(context.Context) ([]byte, error) { return l.SignedNote(), nil }

func (l logOf) Tile(_ context.Context, name string) ([]byte, error) { return l.Site.Tile(name) }

// written is a folder with a ledger of some records, open.
func written(t *testing.T) (s *site.Site, dir string) {
	t.Helper()
	dir = t.TempDir()
	s = open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	if _, err := s.Observe(t.Context(), checked(t, "LAP-014")); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s, dir
}

// TestFollowerIsAskedMeanwhile: a follower takes in, hears nothing, and is asked for its position, its findings and whether it is
// ready, all at once. It is for the race detector.
func TestFollowerIsAskedMeanwhile(t *testing.T) {
	s, _ := written(t)
	var away atomic.Bool
	tick, told := make(chan time.Time), make(chan site.Unheard, 1)
	log := &atTimes{logOf{s}, &away}
	f := open(t, filepath.Join(t.TempDir(), "copy"), site.Options{Clock: func() time.Time { return noon },
		After: func(time.Duration) <-chan time.Time { return tick },
		Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: log, Age: func() time.Duration { return 0 },
			Tell: func(p *site.Position) { told <- p.Unheard }}})
	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() {
		if err := f.KeepFollowing(ctx); err != nil {
			t.Error(err)
		}
	})
	for range 2 {
		all.Go(func() {
			for ctx.Err() == nil {
				p := f.Position()
				_, err := f.Broken(ctx)
				if ready := f.Ready(ctx); ctx.Err() == nil && (err != nil || ready != nil || p.Of == "") {
					t.Error(p, err, ready)
				}
			}
		})
	}
	for i := range 10 {
		if _, err := s.Observe(t.Context(), checked(t, fmt.Sprintf("LAP-%03d", 100+i))); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Checkpoint(t.Context()); err != nil {
			t.Fatal(err)
		}
		away.Store(true)
		tick <- noon
		if why := <-told; why != site.UnheardBarred {
			t.Errorf("while it is not let in it says %q", why)
		}
		away.Store(false)
		tick <- noon
		if why := <-told; why != "" {
			t.Errorf("when it is let in again it says %q", why)
		}
		if f.Size() != s.Size() {
			t.Errorf("%d records of %d", f.Size(), s.Size())
		}
	}
	cancel()
	all.Wait()
}

// atTimes is a log that is not shown at times.
type atTimes struct {
	logOf
	away *atomic.Bool
}

func (l *atTimes) Checkpoint(ctx context.Context) ([]byte, error) {
	if l.away.Load() {
		return nil, &site.LogError{Why: site.UnheardBarred, Err: context.DeadlineExceeded}
	}
	return l.logOf.Checkpoint(ctx)
}
