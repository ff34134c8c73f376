//go:build !race

package door

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestReadingIsKept: lines are only ever added, a month a file, and a month goes when it is older than six years.
func TestReadingIsKept(t *testing.T) {
	now := time.Date(2026, 3, 31, 23, 59, 0, 0, time.UTC)
	k := &reading{dir: filepath.Join(t.TempDir(), Folder), clock: func() time.Time { return now }}
	keep := func(who string) {
		t.Helper()
		if err := k.keep(Read{At: now, Who: who, What: "GET /history", Ask: "case=K-1"}); err != nil {
			t.Fatal(err)
		}
	}
	keep("a")
	first := filepath.Join(k.dir, "reads-2026-03.jsonl")
	before, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	keep("b")
	if after, err := os.ReadFile(first); err != nil || !strings.HasPrefix(string(after), string(before)) || len(after) == len(before) {
		t.Errorf("%v: %s", err, after)
	}
	// A line that a power cut left half, and another start.
	f, err := os.OpenFile(first, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(f, `{"at":"2026-03-31T23`)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	k = &reading{dir: k.dir, clock: k.clock}
	keep("c")
	now = now.Add(2 * time.Minute)
	keep("d")
	all, err := k.newest(10)
	var who string
	for _, r := range all {
		who += r.Who
	}
	if err != nil || who != "dcba" {
		t.Errorf("read %q, %v", who, err)
	}
	if all, err := k.newest(2); err != nil || len(all) != 2 {
		t.Errorf("%d, %v", len(all), err)
	}
	info, err := os.Stat(first)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	now = time.Date(2032, 3, 31, 0, 0, 0, 0, time.UTC) // the file's last day is not six years old
	keep("e")
	if _, err := os.Stat(first); err != nil {
		t.Errorf("removed too early: %v", err)
	}
	now = now.AddDate(0, 0, 1)
	keep("f")
	if _, err := os.Stat(first); !os.IsNotExist(err) {
		t.Errorf("still there: %v", err)
	}
	if _, err := os.Stat(filepath.Join(k.dir, "reads-2026-04.jsonl")); err != nil {
		t.Errorf("April went with March: %v", err)
	}
}
