//go:build !race

package soak

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
)

// TestBackups: a backup that is killed leaves the one before, or is whole; and a restored copy that goes on beside its
// original is told from it.
func TestBackups(t *testing.T) {
	lines := week(t, 600)
	base := filled(t, lines[:300])
	early := filepath.Join(t.TempDir(), "backup")
	if out, err := listbound("backup", "--data", base, early).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	more := filepath.Join(t.TempDir(), "more")
	copyFolder(t, base, more)
	d, err := site.Open(t.Context(), options(more))
	if err != nil {
		t.Fatal(err)
	}
	err = d.Record(t.Context(), strings.NewReader(strings.Join(lines[300:], "\n")+"\n"), func(site.Receipt) error { return nil })
	if err != nil || d.Close() != nil {
		t.Fatal(err)
	}
	was, now := whole(t, base), whole(t, more)
	tb := &table{t: t}
	for _, e := range ends {
		tb.run("backup, "+e.name, 1, func(s *soak) { killBackup(s, early, more, was, now, e) })
	}
	tb.run("a restored copy goes on", 2, func(s *soak) { restoredCopy(s, early, now) })
	tb.print()
}

// killBackup ends a backup into the folder of an earlier one, cuts off what it had just begun to write, and restores.
func killBackup(s *soak, early, dir string, was, now *folder, e end) {
	to := filepath.Join(s.TempDir(), "backup")
	copyFolder(s.T, early, to)
	c := listbound("backup", "--data", dir, to)
	begun := time.Now()
	s.must(c.Start())
	if s.later(c, e, 150*time.Millisecond)() {
		s.hit++
		if !e.goesOn {
			s.cutUnfinished(to, begun)
		}
	}
	if root := s.restored(to); root != was.root && root != now.root {
		s.lose("what was restored is neither of the two: root %s", root)
	}
	s.ask("backup", "--data", dir, to)
	if root := s.restored(to); root != now.root {
		s.lose("the next backup restores to the root %s, want %s", root, now.root)
	}
}

// cutUnfinished cuts files that have not got their names yet: what a power failure may leave of them.
func (s *soak) cutUnfinished(dir string, begun time.Time) {
	s.Helper()
	s.must(filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".tmp") {
			return err
		}
		info, err := d.Info()
		if err != nil || info.ModTime().Before(begun) || info.Size() == 0 {
			return err
		}
		return os.Truncate(path, s.rnd.Int64N(info.Size()))
	}))
}

// restored restores a backup to a new folder, has it verified, and returns its root.
func (s *soak) restored(from string) string {
	s.Helper()
	dir := filepath.Join(s.TempDir(), "restored")
	o := options(dir)
	if _, err := site.Restore(s.Context(), o, from, nil); err != nil {
		s.lose("restore: %v", err)
		return ""
	}
	d, err := site.Open(s.Context(), options(dir))
	s.must(err)
	defer func() { s.must(d.Close()) }()
	v, err := d.Verify(s.Context(), nil)
	s.must(err)
	if !v.OK {
		s.lose("restored: %v", v.Problems)
	}
	return v.Root
}

// restoredCopy restores an older backup and records in it, while its original has gone on.
func restoredCopy(s *soak, early string, now *folder) {
	dir := filepath.Join(s.TempDir(), "copy")
	original, err := os.ReadFile(filepath.Join(now.dir, "log", "checkpoint"))
	s.must(err)
	onRemains := s.rnd.IntN(2) == 0
	if onRemains { // keys and memory of the original are still there
		s.must(os.Mkdir(dir, 0o700))
		copyFolder(s.T, filepath.Join(now.dir, "keys"), filepath.Join(dir, "keys"))
		raw, err := os.ReadFile(filepath.Join(now.dir, "newest.checkpoint"))
		s.must(err)
		s.must(os.WriteFile(filepath.Join(dir, "newest.checkpoint"), raw, 0o600))
	}
	_, err = site.Restore(s.Context(), options(dir), early, nil)
	s.must(err)
	s.hit++
	d, err := site.Open(s.Context(), options(dir))
	s.must(err)
	defer func() { s.must(d.Close()) }()
	line := scanAt(s.rnd.IntN(60)) + "\n"
	err = d.Record(s.Context(), strings.NewReader(strings.Repeat(line, 1+s.rnd.IntN(3))), func(site.Receipt) error { return nil })
	if onRemains {
		if err == nil || !strings.Contains(err.Error(), "are missing") {
			s.lose("a folder that remembers more goes on: %v", err)
		} else {
			s.noticed++
		}
		return
	}
	s.must(err)
	s.outside++
	then, err := bundle.CheckpointOf(original)
	s.must(err)
	if p, err := d.Consistency(s.Context(), min(then.Size, d.Size())); err != nil {
		s.lose("%v", err)
	} else if c, err := bundle.CompareNow(bytes.Clone(original), p, d.Keys()); err == nil && c.Same {
		s.lose("the copy passes for its original")
	}
}
