package site_test

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"strings"
	"testing"

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

// TestVerifyInterrupted: whoever ends a verification ends the second read model with it, and nothing of that is left.
func TestVerifyInterrupted(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t), "\n"))
	for _, when := range []string{"before", "within"} {
		ctx, end := context.WithCancel(t.Context())
		if when == "before" {
			end()
		}
		v, err := s.Verify(ctx, func(int64, int64) { end() })
		if ended := v == nil && errors.Is(err, context.Canceled); !ended && (when == "before" || err != nil) { // within, it may be done
			t.Errorf("%s: %+v, %v", when, v, err)
		}
		end()
		if left, err := filepath.Glob(filepath.Join(dir, "checking-*")); err != nil || len(left) > 0 {
			t.Errorf("%s: %v is left: %v", when, left, err)
		}
	}
	mustVerify(t, s, "")
}
