package site_test

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/ledger"
	"listbound/projections/readmodel"
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

// TestVerifyWhileTextsAreTakenOut: a redaction ends the second read model of a verification, which would have the texts. Where it is
// over before the records are verified, that is no reason to have verified them for nothing.
func TestVerifyWhileTextsAreTakenOut(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon)})
	if _, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...); err != nil {
		t.Fatal(err)
	}
	begun, times := make(chan struct{}), 0
	v, err := s.VerifyWith(t.Context(), func(seq int64) {
		if seq > 1 {
			return
		}
		<-begun
		if out, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil || out.Unfinished {
			t.Errorf("taken out: %+v, %v", out, err)
		}
		nowhere(t, dir, saidCase, saidReason, saidAction)
	}, func(ctx context.Context, l *ledger.Ledger, o readmodel.Options) (*readmodel.Model, error) {
		if times++; times == 1 {
			close(begun)
			<-ctx.Done()
			return nil, ctx.Err()
		}
		return site.AtOnce(ctx, l, o)
	})
	if err != nil || !v.OK || times != 2 {
		t.Errorf("after %d times: %+v, %v", times, v, err)
	}
}

// TestVerifyWhileMadeAnew: of a read model that is replaced while it is looked through, nothing is told.
func TestVerifyWhileMadeAnew(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:450], "\n")+"\n")
	db, err := sql.Open("sqlite", filepath.Join(dir, "readmodel.db"))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	for _, statement := range []string{"PRAGMA writable_schema = ON", "PRAGMA schema_version = 4711", // the index isn't what it is said to be
		"UPDATE sqlite_master SET sql = 'CREATE INDEX board_worst ON board (worst DESC, since, set_id, trip)' WHERE name = 'board_worst'"} {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	mustVerify(t, s, "readmodel.db: its file is damaged")
	fill := func(ctx context.Context, l *ledger.Ledger, o readmodel.Options) (*readmodel.Model, error) {
		m, err := site.AtOnce(ctx, l, o)
		if err == nil {
			_, err = s.Rebuild(ctx, nil)
		}
		return m, err
	}
	if v, err := s.VerifyWith(t.Context(), func(int64) {}, fill); err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}

// TestRebuildGivenUp: a rebuild that somebody gives up, or that fails, while the new read model is put in its place leaves the site with
// one, and it goes on to judge.
func TestRebuildGivenUp(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon)})
	lines := closing(noon.Add(-2 * time.Hour))
	if _, err := s.Observe(t.Context(), lines[:1]...); err != nil {
		t.Fatal(err)
	}
	ctx, giveUp := context.WithCancel(t.Context())
	path, err := s.FillAnew(ctx)
	if err != nil {
		t.Fatal(err)
	}
	giveUp()
	if err := s.PutInPlace(ctx, path); err != nil {
		t.Errorf("given up: %v", err)
	}
	mustVerify(t, s, "")
	if err := s.PutInPlace(t.Context(), filepath.Join(dir, "nowhere")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is none: %v", err)
	}
	if n := s.Behind(); n != s.Size() {
		t.Errorf("it says that %d of %d records are not judged", n, s.Size())
	}
	if out, err := s.Observe(t.Context(), lines[1:]...); err != nil || len(out) != 1 {
		t.Errorf("recorded: %v, %v", out, err)
	}
	if n := s.Behind(); n != 0 {
		t.Errorf("%d records are not judged", n)
	}
	mustVerify(t, s, "")
	left, err := filepath.Glob(filepath.Join(dir, "*.new*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %q, %v", left, err)
	}
}
