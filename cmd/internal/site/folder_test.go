package site_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"listbound/cmd/internal/site"
)

const ledgerKey = "keys/north_ledger.key"

// inFolder opens a folder, has something done, and closes it.
func inFolder(t *testing.T, o site.Options, do func(s *site.Site)) {
	t.Helper()
	s, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	do(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func put(t *testing.T, dir, name string, data []byte) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, data)
}

func get(t *testing.T, dir, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func mustBeIntact(t *testing.T, when string, s *site.Site) {
	t.Helper()
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK {
		t.Errorf("%s: %v %+v", when, err, v)
	}
}

func caseEvidence(t *testing.T, s *site.Site, q site.Query) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := s.Evidence(t.Context(), q, &out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
