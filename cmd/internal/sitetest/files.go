package sitetest

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// EachFile reads each file of a data folder, also of one that is in use: a file that goes meanwhile is written anew under its
// own name, and is looked at there.
func EachFile(t testing.TB, dir string, look func(rel string, raw []byte)) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) || err == nil && !d.Type().IsRegular() {
			return nil
		}
		if err != nil {
			return err
		}
		raw, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		look(rel, raw)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
