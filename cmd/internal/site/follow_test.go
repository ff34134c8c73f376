package site_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/readmodel"
)

// tally is a second follower: it counts records by kind.
type tally struct {
	pos    int64
	kinds  map[events.Kind]int
	broken error
}

func (c *tally) Name() string    { return "tally" }
func (c *tally) Position() int64 { return c.pos }

func (c *tally) Reset(context.Context) error {
	c.pos, c.kinds = 0, nil
	return nil
}

func (c *tally) Apply(_ context.Context, b *readmodel.Batch) error {
	if c.broken != nil {
		return c.broken
	}
	for seq, r := range b.Records {
		if seq != c.pos+1 {
			return fmt.Errorf("record %d came after %d", seq, c.pos)
		}
		if c.kinds == nil {
			c.kinds = make(map[events.Kind]int)
		}
		c.pos = seq
		c.kinds[r.Event.Kind()]++
	}
	return nil
}

// TestASecondFollower stands beside the read model: live, over a restart, after
// a rebuild, and after it failed for a while.
func TestASecondFollower(t *testing.T) {
	dir := t.TempDir()
	var log bytes.Buffer
	c := new(tally)
	o := site.Options{Name: "north", EnrolOnSight: true, Followers: []site.Follower{c},
		Logger: slog.New(slog.NewTextHandler(&log, nil))}
	s := open(t, dir, o)
	at := func(when string, checks int) {
		t.Helper()
		if c.pos != s.Size() || c.kinds[events.KindSetChecked] != checks {
			t.Errorf("%s: at %d of %d, %v", when, c.pos, s.Size(), c.kinds)
		}
	}
	observe := func(set string) {
		t.Helper()
		if rs, err := s.Observe(t.Context(), checked(t, set)); err != nil || rs[0].Seq != s.Size() {
			t.Fatal(rs, err)
		}
	}
	observe("LAP-014")
	at("live", 1)
	c.broken = errors.New("its disk is gone")
	observe("LAP-022")
	if c.kinds[events.KindSetChecked] != 1 || !strings.Contains(log.String(), "follower=tally") ||
		!strings.Contains(log.String(), "its disk is gone") {
		t.Errorf("while it fails: %v, %s", c.kinds, log.String())
	}
	c.broken = nil
	observe("LAP-031")
	at("after it failed", 3)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	c.Reset(t.Context())
	s = open(t, dir, o)
	at("after a restart from nothing", 3)
	c.kinds[events.KindSetChecked] = 99
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	at("after a rebuild", 3)
}
