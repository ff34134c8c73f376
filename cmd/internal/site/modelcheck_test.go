package site_test

import (
	"database/sql"
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
