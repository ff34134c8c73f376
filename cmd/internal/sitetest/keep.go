package sitetest

import (
	"os"
	"path/filepath"
	"testing"
)

// Files are what a data folder consisted of when nobody had it open, for tests that begin with the same records.
type Files map[string][]byte

// Keep reads a folder that is closed.
func Keep(tb testing.TB, dir string) Files {
	tb.Helper()
	out := make(Files)
	EachFile(tb, dir, func(rel string, raw []byte) { out[rel] = raw })
	return out
}

// Write writes them into a folder of the test's own.
func (f Files) Write(tb testing.TB) string {
	tb.Helper()
	dir := tb.TempDir()
	for name, raw := range f {
		path := filepath.Join(dir, name)
		err := os.MkdirAll(filepath.Dir(path), 0o700)
		if err == nil {
			err = os.WriteFile(path, raw, 0o600)
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	return dir
}
