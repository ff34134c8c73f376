//go:build !race

package site_test

import (
	"bytes"
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
	"listbound/projections/readmodel"
)

// TestNoCopyOverALedger: whoever names the folder in which the ledger is written, as the default of --data is, is refused, and
// the folder can be served as before.
func TestNoCopyOverALedger(t *testing.T) {
	s, dir := written(t)
	follow := site.Options{Dir: dir, Clock: fixed(noon), Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: logOf{s}}}
	for _, says := range []string{"is in use", "is the folder of a ledger that is written there"} {
		if f, err := site.Open(t.Context(), follow); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("should be refused with %q: %v, %v", says, f, err)
		}
		if _, is, err := site.Follows(dir); is || err != nil {
			t.Errorf("the ledger's folder is a follower's now (%v)", err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	record(t, open(t, dir, site.Options{Name: "north", EnrolOnSight: true}), "")
}

// TestFollowWithAnotherKey: a folder that has taken nothing in keeps no key, since the one given may have been another ledger's.
func TestFollowWithAnotherKey(t *testing.T) {
	s, _ := written(t)
	other, _ := written(t)
	dir := filepath.Join(t.TempDir(), "copy")
	follow := func(key string) (*site.Site, error) {
		return site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon),
			Follow: &site.Following{Of: "http://there", Key: key, Log: logOf{s}}})
	}
	if f, err := follow(other.Key()); err == nil || !strings.Contains(err.Error(), "not signed by the ledger") {
		t.Fatalf("under another ledger's key: %v, %v", f, err)
	}
	if raw, err := os.ReadFile(filepath.Join(dir, "follows.json")); err == nil {
		t.Errorf("it keeps\n%s", raw)
	}
	f, err := follow(s.Key())
	if err != nil {
		t.Fatalf("under its own key then: %v", err)
	}
	if f.Size() != s.Size() {
		t.Errorf("it has %d records of %d", f.Size(), s.Size())
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := follow(other.Key()); err == nil || !strings.Contains(err.Error(), "not under the one given") {
		t.Errorf("a copy was opened under another ledger's key: %v", err)
	}
}

// TestFollowerLacksFiles: the files that records name lie where the ledger is written: a follower's check of its copy finds nothing
// wrong with that.
func TestFollowerLacksFiles(t *testing.T) {
	s, _ := written(t)
	k, err := s.KeepRunLog(t.Context(), []byte("Time,T\n0,20\n"))
	if err == nil {
		_, err = s.Observe(t.Context(), logged("L-1", k.Log, 190, noon.Add(-time.Hour)))
	}
	if err == nil {
		_, err = s.Checkpoint(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	f := open(t, filepath.Join(t.TempDir(), "copy"), site.Options{Clock: fixed(noon),
		Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: logOf{s}}})
	v, err := f.Verify(t.Context(), nil)
	if err != nil || !v.OK || v.Size != s.Size() {
		t.Errorf("%+v, %v", v, err)
	}
}

// shown is the log of a ledger that shows what a test wants.
type shown struct {
	logOf
	note   []byte                  // an older checkpoint
	fails  error                   // of checkpoints
	broken func(name string) error // of tiles; nil: none
	change bool                    // the last set in entry bundles
	age    time.Duration
}

func (l *shown) Checkpoint(ctx context.Context) ([]byte, error) {
	if l.fails != nil || l.note != nil {
		return l.note, l.fails
	}
	return l.logOf.Checkpoint(ctx)
}

func (l *shown) Tile(ctx context.Context, name string) ([]byte, error) {
	if l.broken != nil {
		if err := l.broken(name); err != nil {
			return nil, err
		}
	}
	data, err := l.logOf.Tile(ctx, name)
	if err == nil && l.change && strings.HasPrefix(name, "tile/entries/") {
		data = slices.Clone(data)
		data[bytes.LastIndex(data, []byte("LAP-"))+len("LAP-")]++
	}
	return data, err
}

// TestHeard: a ledger was heard from when its log was asked and what it showed was checked, less what that is old by its own
// account; in no other case, and why not is told once.
func TestHeard(t *testing.T) {
	s, _ := written(t)
	log := &shown{logOf: logOf{s}}
	now := noon
	var told []site.Unheard
	var f *site.Site
	var during site.Unheard // what it says while it takes in
	f = open(t, filepath.Join(t.TempDir(), "copy"), site.Options{Clock: func() time.Time { return now },
		Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: log, Age: func() time.Duration { return log.age },
			Tell: func(p *site.Position) { told = append(told, p.Unheard) }}})
	n := 0
	more := func() { // the ledger grows
		t.Helper()
		n++
		if _, err := s.Observe(t.Context(), checked(t, fmt.Sprintf("LAP-%03d", 100+n))); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Checkpoint(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	old := s.SignedNote()
	more()
	away := &site.LogError{Why: site.UnheardAway, Says: "connection refused", Err: errors.New("nobody is there")}
	late := func() { now = now.Add(5 * time.Second) }
	noHashes := func(name string) error {
		if strings.HasPrefix(name, "tile/entries/") {
			return nil
		}
		during = f.Position().Unheard
		return away
	}
	for _, c := range []struct {
		what    string
		after   time.Duration // since the step before
		show    func()
		ok      bool
		heard   time.Duration // before the attempt; -1: as before
		silent  bool
		unheard site.Unheard
	}{
		{"there is more", time.Minute, func() {}, true, 0, false, ""},
		{"the same again", time.Minute, func() {}, true, 0, false, ""},
		{"nobody is there", 10 * time.Second, func() { log.fails = away }, false, -1, false, ""},
		{"for long", 10 * time.Second, func() {}, false, -1, true, site.UnheardAway},
		{"it is back", 10 * time.Second, func() { log.fails = nil }, true, 0, false, ""},
		{"an error after the checkpoint", 20 * time.Second, func() { more(); log.broken = func(string) error { return away } },
			false, -1, true, site.UnheardAway},
		{"a file is missing", time.Second, func() { log.broken = func(string) error { return os.ErrNotExist } }, false, -1, true,
			site.UnheardAnswer},
		{"it is back", time.Second, func() { log.broken = nil }, true, 0, false, ""},
		{"an older checkpoint", time.Second, func() { log.note = old }, false, -1, false, site.UnheardBack},
		{"still", 20 * time.Second, func() {}, false, -1, true, site.UnheardBack},
		{"a changed file", time.Second, func() { log.note = nil; more(); log.change = true }, false, -1, true, site.UnheardChanged},
		{"and what would prove it can't be had", time.Second, func() { log.broken = noHashes }, false, -1, true, site.UnheardAway},
		{"it can again", time.Second, func() { log.broken = nil }, false, -1, true, site.UnheardChanged},
		{"it is back, from a cache", time.Second, func() { log.change, log.age = false, 3*time.Second }, true, 3 * time.Second, false, ""},
		{"the cache is older than what was heard", time.Second, func() { log.age = 9 * time.Second }, true, -1, false, ""},
		{"it stays there", 12 * time.Second, func() { log.age += 12 * time.Second }, true, -1, true, site.UnheardBehind},
		{"it is gone", time.Second, func() { log.age = 0 }, true, 0, false, ""},
		{"not let in", time.Second, func() { log.fails = &site.LogError{Why: site.UnheardBarred, Err: errors.New("no")} },
			false, -1, false, site.UnheardBarred},
		{"it takes long", time.Minute, func() { log.fails = nil; more(); log.broken = func(string) error { late(); return away } },
			false, -1, true, site.UnheardAway},
		{"no file of it", time.Second, func() { log.broken = nil; log.fails = os.ErrNotExist }, false, -1, true, site.UnheardAnswer},
		{"anything else", time.Second, func() { log.fails = errors.New("the disk is full") }, false, -1, true, site.UnheardHere},
		{"at last", time.Second, func() { log.fails = nil }, true, 0, false, ""},
	} {
		before := f.Position()
		now = now.Add(c.after)
		c.show()
		start := now
		err := f.TakeIn(t.Context())
		p := f.Position()
		want := start.Add(-c.heard)
		if c.heard < 0 {
			want = before.Heard
		}
		if (err == nil) != c.ok || !p.Heard.Equal(want) || p.Silent != c.silent || p.Unheard != c.unheard {
			t.Errorf("%s: %v; heard %s, should be %s; silent %v; %q, should be %q", c.what, err, p.Heard, want, p.Silent,
				p.Unheard, c.unheard)
		}
		if ready := f.Ready(t.Context()) == nil; ready == c.silent {
			t.Errorf("%s: ready: %v, silent: %v", c.what, ready, c.silent)
		}
		if c.ok && f.Size() != s.Size() {
			t.Errorf("%s: %d records of %d", c.what, f.Size(), s.Size())
		}
	}
	if during != site.UnheardTaking {
		t.Errorf("while it takes in what it is shown it says %q", during)
	}
	if !slices.Equal(told, []site.Unheard{"away", "", "away", "answer", "", "back", "changed", "away", "changed", "", "behind", "",
		"barred", "away", "answer", "here", ""}) {
		t.Errorf("what was told is %q", told)
	}
}

// TestHeardBeforeTheClockWasSetBack: a follower that starts without its ledger doesn't say that it has just heard from it, where
// its folder says that it was heard from later than now.
func TestHeardBeforeTheClockWasSetBack(t *testing.T) {
	s, _ := written(t)
	log, now := &shown{logOf: logOf{s}}, noon.Add(time.Hour)
	o := site.Options{Dir: filepath.Join(t.TempDir(), "copy"), Clock: func() time.Time { return now },
		Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: log}}
	for range 2 {
		f, err := site.Open(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		p := f.Position()
		if log.fails != nil && (!p.Silent || p.Heard.After(now)) {
			t.Errorf("at %s it was heard from at %s, silent: %v", now, p.Heard, p.Silent)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		log.fails, now = errors.New("nobody is there"), noon.Add(time.Minute)
	}
}

// clocked is told of records as the site's other followers are, and keeps as of when the site judged them.
type clocked struct {
	tally
	site func() *site.Site
	at   []time.Time
}

func (c *clocked) Apply(ctx context.Context, b *readmodel.Batch) error {
	if s := c.site(); s != nil {
		c.at = append(c.at, s.Clock())
	}
	return c.tally.Apply(ctx, b)
}

// TestTakenInBeforeTimeGoesOn: after a long silence time goes on once all is judged that came in meanwhile, so that nothing is
// called late whose record is among it.
func TestTakenInBeforeTimeGoesOn(t *testing.T) {
	s, _ := written(t)
	now := noon
	var f *site.Site
	c := &clocked{site: func() *site.Site { return f }}
	f = open(t, filepath.Join(t.TempDir(), "copy"), site.Options{Clock: func() time.Time { return now }, Followers: []site.Follower{c},
		Follow: &site.Following{Of: "http://there", Key: s.Key(), Log: logOf{s}}})
	if _, err := s.Observe(t.Context(), checked(t, "LAP-100")); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	now = now.Add(3 * time.Hour)
	if err := f.TakeIn(t.Context()); err != nil {
		t.Fatal(err)
	}
	if len(c.at) != 1 || !c.at[0].Equal(noon) {
		t.Errorf("what came was judged as of %s, and all before as of %s", c.at, noon)
	}
	if !f.Clock().Equal(now) {
		t.Errorf("it is %s by the follower, and all is judged at %s", f.Clock(), now)
	}
}
