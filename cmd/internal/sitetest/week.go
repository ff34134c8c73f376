package sitetest

import (
	"errors"
	"iter"
	"os"
	"path/filepath"
	"testing"

	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
)

// Arriving are the lines of a week, each with when it arrives.
func Arriving(w *scenario.Scenario) iter.Seq2[site.Arrived, error] {
	return func(yield func(site.Arrived, error) bool) {
		for l, err := range w.Lines() {
			if !yield(site.Arrived{Line: l.Raw, At: l.RecordAt}, err) {
				return
			}
		}
	}
}

// CopyKeys gives a folder the keys of another one.
func CopyKeys(tb testing.TB, from, to string) {
	tb.Helper()
	keys := filepath.Join(to, "keys")
	err := errors.Join(os.CopyFS(keys, os.DirFS(filepath.Join(from, "keys"))), os.Chmod(keys, 0o700))
	names, globErr := filepath.Glob(filepath.Join(keys, "*"))
	for _, name := range names { // CopyFS makes what others may read
		err = errors.Join(err, os.Chmod(name, 0o600))
	}
	if err = errors.Join(err, globErr); err != nil || len(names) == 0 {
		tb.Fatalf("the keys of %s: %d, %v", from, len(names), err)
	}
}
