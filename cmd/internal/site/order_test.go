//go:build !race

package site_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	_ "modernc.org/sqlite" // reads the tables as anybody with a SQLite client may

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// TestRebuildEqualsRunning: the read model that grew line by line and the one
// made afresh have the same rows; so has one that was deleted.
func TestRebuildEqualsRunning(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "readmodel.db")
	at := fixed(noon.AddDate(0, 0, 7)) // what is overdue depends on the moment
	s := open(t, dir, site.Options{Name: "north", Clock: at, EnrolOnSight: true, Batch: 31})
	for _, r := range record(t, s, strings.Join(weekLines(t), "\n")) {
		if r.Error != "" {
			t.Fatalf("the week's line was refused: %s", r.Error)
		}
	}
	running := dump(t, settled(t, s, dir))
	n, err := s.Rebuild(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if n != s.Size() {
		t.Errorf("rebuilt from %d records of %d", n, s.Size())
	}
	if rebuilt := dump(t, path); rebuilt != running {
		t.Errorf("rebuild differs from running: %s", diffLines(running, rebuilt))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	open(t, dir, site.Options{Clock: at})
	if again := dump(t, path); again != running {
		t.Errorf("a deleted read model comes back different: %s", diffLines(running, again))
	}
}

// TestArrivalOrder: the same observations in another order of arrival give the
// same findings, though not the same sequence numbers. Late lines re-judge.
func TestArrivalOrder(t *testing.T) {
	lines := weekLines(t)
	// Stations number their own records, so the lines that are signed already keep their order; so do lists
	// before what uses them: those lines come first, the rest backwards by blocks.
	var first, rest []string
	for _, l := range lines {
		if strings.Contains(l, `"signed"`) || strings.Contains(l, `"list.issued"`) ||
			strings.Contains(l, `"station.enrolled"`) || strings.Contains(l, `"set.packed"`) ||
			strings.Contains(l, `"policy.adopted"`) {
			first = append(first, l)
		} else {
			rest = append(rest, l)
		}
	}
	seals := func(l string) bool { return strings.Contains(l, `"list.sealed"`) }
	var later []string
	for _, l := range rest {
		if seals(l) {
			first = append(first, l)
		} else {
			later = append(later, l)
		}
	}
	shuffled := append([]string(nil), first...)
	for i := len(later); i > 0; i -= min(i, 50) {
		shuffled = append(shuffled, later[i-min(i, 50):i]...)
	}
	if len(shuffled) != len(lines) {
		t.Fatalf("%d lines became %d", len(lines), len(shuffled))
	}
	findings := func(lines []string) map[string]string {
		s := open(t, t.TempDir(), site.Options{Name: "north", Clock: fixed(noon.AddDate(0, 0, 7)), EnrolOnSight: true})
		for _, r := range record(t, s, strings.Join(lines, "\n")) {
			// A correction or retirement may now come before what it is about: then it is refused.
			if r.Error != "" && !strings.Contains(r.Error, "can't be corrected") &&
				!strings.Contains(r.Error, "is not enrolled here") {
				t.Fatalf("line %d: %s", r.Line, r.Error)
			}
		}
		vs, err := s.Broken(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		out := make(map[string]string)
		for _, v := range vs {
			if v.Station != "" {
				continue
			}
			var codes []string
			for _, f := range v.Findings {
				// How a station's own records follow each other is about arrival.
				if f.Code != projections.ClockDoubtful && f.Code != projections.StationGap {
					codes = append(codes, string(f.Code))
				}
			}
			if len(codes) > 0 {
				out[v.Set+" "+v.Trip] = strings.Join(codes, " ")
			}
		}
		return out
	}
	want, got := findings(lines), findings(shuffled)
	if len(want) < 20 {
		t.Fatalf("only %d trips have findings", len(want))
	}
	differ := 0
	for k, w := range want {
		if got[k] != w {
			differ++
			t.Logf("%s: %s; in another order %s", k, w, got[k])
		}
	}
	// The refused corrections concern single trips.
	if differ > 3 {
		t.Errorf("%d of %d verdicts differ", differ, len(want))
	}
}
