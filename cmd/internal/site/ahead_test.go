//go:build !race

package site_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	_ "modernc.org/sqlite" // reads the tables as anybody with a SQLite client may

	"listbound/cmd/internal/site"
	"listbound/ledger"
)

// TestReadModelAheadOfTheLedger puts the ledger back from a copy but not the
// read model, whose verdicts are then of records that are gone.
func TestReadModelAheadOfTheLedger(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	lines := weekLines(t)
	record(t, s, strings.Join(lines[:100], "\n"))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	path, ledgerFiles := filepath.Join(dir, "readmodel.db"), []string{"stream", "log"}
	want := dump(t, path)
	old, missing := t.TempDir(), t.TempDir()
	for _, f := range ledgerFiles {
		if err := os.CopyFS(filepath.Join(old, f), os.DirFS(filepath.Join(dir, f))); err != nil {
			t.Fatal(err)
		}
	}
	s = open(t, dir, site.Options{EnrolOnSight: true})
	record(t, s, strings.Join(lines[100:200], "\n"))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, f := range ledgerFiles {
		if err := errors.Join(os.Rename(filepath.Join(dir, f), filepath.Join(missing, f)),
			os.Rename(filepath.Join(old, f), filepath.Join(dir, f))); err != nil {
			t.Fatal(err)
		}
	}
	// The folder's own memory may be of before the copy as well.
	for _, name := range []string{"newest.checkpoint", "stream.clean"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon), EnrolOnSight: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := dump(t, path); got != want {
		t.Errorf("the read model is not the ledger's: %s", diffLines(want, got))
	}
	const says = "there are 106 records here, and this folder has judged 210: records 107 to 210 are missing. Nothing is " +
		"recorded until one of two things is done"
	if err := recordError(t, s, lines[200]); err == nil || !errors.Is(err, ledger.ErrStopped) || !strings.Contains(err.Error(), says) {
		t.Errorf("numbers are given out twice: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	for _, f := range ledgerFiles {
		if err := errors.Join(os.RemoveAll(filepath.Join(dir, f)),
			os.Rename(filepath.Join(missing, f), filepath.Join(dir, f))); err != nil {
			t.Fatal(err)
		}
	}
	s = open(t, dir, site.Options{EnrolOnSight: true}) // the missing part is back
	record(t, s, lines[200])
}
