package sitetest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/ledger/proof"
)

const observation = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T07:00:00Z","set":"LAP-014","data":{"place":"A4"}}`

// A folder that was damaged behind its back is noticed, whether the test has closed it or not.
func TestDamageIsNoticed(t *testing.T) {
	for _, closed := range []bool{false, true} {
		o := site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true,
			Clock: func() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }}
		s, err := site.Open(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Record(t.Context(), strings.NewReader(observation), func(site.Receipt) error { return nil }); err != nil {
			t.Fatal(err)
		}
		if err := Verify(t.Context(), s); err != nil { // signs, so that the size is known
			t.Fatal(err)
		}
		path := filepath.Join(o.Dir, "log", filepath.FromSlash(proof.EntriesPath(0, int(s.Size()))))
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if closed {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
		data[100] ^= 1
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		err = verifyAndClose(t.Context(), s, o)
		if err == nil || !strings.Contains(err.Error(), "record 1: the record in the entry bundle does not have the hash in the tree") {
			t.Errorf("closed %t: %v", closed, err)
		}
	}
}

func TestWholeFolderPasses(t *testing.T) {
	for _, closed := range []bool{false, true} {
		o := site.Options{Dir: t.TempDir(), Name: "north", Clock: time.Now}
		s, err := site.Open(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if closed {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if err := verifyAndClose(t.Context(), s, o); err != nil {
			t.Errorf("closed %t: %v", closed, err)
		}
	}
}
