package sitetest

import (
	"archive/tar"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// Unpack unpacks a data folder (.tar.gz) into a folder of the test's own.
func Unpack(tb testing.TB, path string) string {
	tb.Helper()
	f, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		tb.Fatal(err)
	}
	dir, files := tb.TempDir(), 0
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			tb.Fatal(err)
		}
		if !filepath.IsLocal(h.Name) {
			tb.Fatalf("%s: %q leads out of the folder", path, h.Name)
		}
		name := filepath.Join(dir, h.Name)
		if h.Typeflag == tar.TypeDir {
			if err := os.MkdirAll(name, 0o700); err != nil {
				tb.Fatal(err)
			}
			continue
		}
		raw, err := io.ReadAll(r)
		if err == nil {
			err = os.WriteFile(name, raw, 0o600)
		}
		if err != nil {
			tb.Fatal(err)
		}
		files++
	}
	if files < 10 {
		tb.Fatalf("%s holds only %d files", path, files)
	}
	return dir
}
