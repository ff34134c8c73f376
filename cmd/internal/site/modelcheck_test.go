package site_test

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// edit changes the read model by hand.
func edit(t *testing.T, dir, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "readmodel.db")+"?_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	result, err := db.ExecContext(t.Context(), statement)
	if err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
	if n, err := result.RowsAffected(); err != nil || n == 0 && !strings.HasPrefix(statement, "CREATE") {
		t.Fatalf("%s changed %d rows: %v", statement, n, err)
	}
}

// mustVerify verifies, and wants one problem that begins so, or none.
func mustVerify(t *testing.T, s *site.Site, want string) {
	t.Helper()
	v, err := s.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if want == "" {
		if !v.OK {
			t.Errorf("nothing was changed, and verify says %v", v.Problems)
		}
		return
	}
	found := false
	for _, p := range v.Problems {
		found = found || strings.HasPrefix(p.What, want)
	}
	if v.OK || !found || !strings.Contains(v.Problems[0].What+v.Problems[len(v.Problems)-1].What, "listbound rebuild") {
		t.Errorf("no problem begins with %q: %v", want, v.Problems)
	}
}

// The check in the background reads every record and the read model, rests between its pieces, and what it found is kept
// and told on every page.
func TestCheckSlowly(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:600], "\n")+"\n")
	if s.Checked() != nil {
		t.Error("checked before it was checked")
	}
	rests := 0
	rest := func(context.Context, time.Duration) error { rests++; return nil }
	if err := s.CheckSlowly(t.Context(), rest); err != nil {
		t.Fatal(err)
	}
	c := s.Checked()
	if c == nil || c.Records != s.Size() || len(c.Problems) > 0 || !c.At.Equal(noon) || rests < 3 {
		t.Errorf("%+v after %d rests", c, rests)
	}
	stopped := errors.New("stopped")
	if err := s.CheckSlowly(t.Context(), func(context.Context, time.Duration) error { return stopped }); !errors.Is(err, stopped) {
		t.Errorf("a check that was stopped: %v", err)
	}
	edit(t, dir, "DELETE FROM board")
	if err := s.CheckSlowly(t.Context(), rest); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)})
	if err != nil {
		t.Fatal(err)
	}
	if c := s.Checked(); c == nil || len(c.Problems) < 2 || !strings.HasPrefix(c.Problems[0].What, "readmodel.db: table board") {
		t.Errorf("kept: %+v", c)
	}
	if n := s.Notices(); len(n) != 1 || n[0].What != site.NoticedCheck || !strings.Contains(n[0].First, "table board") {
		t.Errorf("told: %+v", n)
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if err := s.CheckSlowly(t.Context(), rest); err != nil || len(s.Checked().Problems) > 0 || len(s.Notices()) > 0 {
		t.Errorf("after a rebuild: %v, %+v", err, s.Checked())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}
