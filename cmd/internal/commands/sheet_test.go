//go:build !race

package commands

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// TestVerifySheet: the line at a sheet's foot agrees with the ledger it was printed from as long as that only grows, and
// not with one that was written anew with the same keys; whole, typed in part, and mistyped.
func TestVerifySheet(t *testing.T) {
	clock := func() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }
	const list = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,` +
		`"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}` + "\n"
	packed := func(set string) string {
		return `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"` + set +
			`","data":{"list":"LAP","version":1}}` + "\n"
	}
	record := func(dir string, lines ...string) (line string) {
		s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "north", Clock: clock, EnrolOnSight: true})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		for _, l := range lines {
			if err := s.Record(t.Context(), strings.NewReader(l), func(r site.Receipt) error {
				if r.Error != "" {
					t.Error(r.Error)
				}
				return nil
			}); err != nil {
				t.Fatal(err)
			}
		}
		w, err := s.CheckLine(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return w.Printed()
	}
	honest, anew := filepath.Join(t.TempDir(), "d"), filepath.Join(t.TempDir(), "d")
	lines := []string{record(honest, list, packed("LAP-001")), record(honest, packed("LAP-002")), record(honest, packed("LAP-003"))}
	keys := filepath.Join("keys", "north_ledger.key")
	key, err := os.ReadFile(filepath.Join(honest, keys))
	if err == nil {
		err = os.MkdirAll(filepath.Join(anew, "keys"), 0o700)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(anew, keys), key, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	record(anew, list, packed("LAP-009"), packed("LAP-002"), packed("LAP-003"))
	for _, line := range lines { // of 3, 4 (a power of two) and 5 records
		for _, c := range []struct {
			dir, line string
			code      int
			says      string
		}{
			{honest, line, ExitOK, "the same history"}, {honest, line[:29], ExitOK, "80 bits"},
			{anew, line, ExitProblem, "ANOTHER HISTORY"}, {anew, line[:29], ExitProblem, "ANOTHER HISTORY"},
			{honest, "2" + line[1:], ExitProblem, "begins with 1"}, {honest, line[:20], ExitProblem, "36 characters"},
			{honest, "", ExitProblem, "36 characters"},
		} {
			code, out, errs := run(t, "verify", "--data", c.dir, "--sheet", c.line)
			if code != c.code || !strings.Contains(out+errs, c.says) {
				t.Errorf("%s of %s: exit %d, %s%s; want %d, %q", c.line, c.dir, code, out, errs, c.code, c.says)
			}
		}
	}
	more, err := site.Open(t.Context(), site.Options{Dir: filepath.Join(t.TempDir(), "d"), Name: "north", Clock: clock})
	if err != nil {
		t.Fatal(err)
	}
	if err := more.Close(); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := run(t, "verify", "--data", more.Dir(), "--sheet", lines[0]); code == ExitOK ||
		!strings.Contains(errs, "never had") {
		t.Errorf("an empty ledger: %d %s %s", code, out, errs)
	}
	if code, out, errs := run(t, "verify", "--data", honest, "--earlier", ""); code == ExitOK || strings.Contains(out, "intact") {
		t.Errorf("no checkpoint of before: %d %s %s", code, out, errs)
	}
}
