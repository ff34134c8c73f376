//go:build !race

package site_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

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
