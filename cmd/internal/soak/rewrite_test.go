//go:build !race

package soak

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"listbound/cmd/internal/site"
)

// TestRewritten: whoever holds all keys writes another history, or puts an older one
// back. The folder alone can't tell the first, nor a whole folder put back; a checkpoint that lies elsewhere,
// as a witness has it, tells both.
func TestRewritten(t *testing.T) {
	lines := week(t, 260)
	base := filled(t, lines)
	earlier := filepath.Join(t.TempDir(), "earlier.checkpoint")
	note, err := os.ReadFile(filepath.Join(base, "log", "checkpoint"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(earlier, note, 0o600); err != nil {
		t.Fatal(err)
	}
	tb := &table{t: t}
	tb.run("rewritten with all keys", 3, func(s *soak) { rewrite(s, base, earlier, lines) })
	more := filepath.Join(t.TempDir(), "more")
	copyFolder(t, base, more)
	c := listbound("record", "--data", more, "-")
	c.Stdin = strings.NewReader(strings.Join(week(t, 320)[260:], "\n") + "\n")
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if note, err = os.ReadFile(filepath.Join(more, "log", "checkpoint")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(earlier, note, 0o600); err != nil {
		t.Fatal(err)
	}
	root := whole(t, more).root
	tb.run("older parts put back", 4, func(s *soak) { putBack(s, base, more, root, earlier) })
	tb.run("a second writer", 4, func(s *soak) { secondWriter(s, base) })
	old := newHouse(t, lines, "")
	now := old.copied(t, filepath.Join(t.TempDir(), "now"))
	now.goOn(t, week(t, 320)[260:])
	tb.run("a witness's memory lost or put back", 2, func(s *soak) { forgetful(s, old, now) })
	tb.print()
}

// rewrite records everything anew with the same keys, one line changed.
func rewrite(s *soak, base, earlier string, lines []string) {
	dir := newFolder(s)
	copyFolder(s.T, filepath.Join(base, "keys"), filepath.Join(dir, "keys"))
	changed := slices.Clone(lines)
	i := s.rnd.IntN(len(changed))
	switch s.rnd.IntN(4) {
	case 0:
		changed = slices.Delete(changed, i, i+1)
	case 1:
		changed = slices.Insert(changed, i, scanAt(s.rnd.IntN(100)))
	case 2:
		j := s.rnd.IntN(len(changed))
		changed[i], changed[j] = changed[j], changed[i]
	case 3:
		k := strings.Replace(changed[i], `"operator":"B-`, `"operator":"B-9`, 1)
		if k == changed[i] {
			s.tried--
			return
		}
		changed[i] = k
	}
	if slices.Equal(changed, lines) {
		s.tried--
		return
	}
	o := options(dir)
	o.Existing, o.Name, o.EnrolOnSight = false, "north", true
	d, err := site.Open(s.Context(), o)
	s.must(err)
	s.must(d.Record(s.Context(), strings.NewReader(strings.Join(changed, "\n")+"\n"), func(site.Receipt) error { return nil }))
	s.must(d.Close())
	s.hit++
	s.verify(dir) // nothing in the folder itself can tell
	s.compare(dir, earlier)
	s.outside++
}

// compare holds a folder against a checkpoint that it is no continuation of.
func (s *soak) compare(dir, earlier string) {
	s.Helper()
	out, err := listbound("verify", "--data", dir, "--earlier", earlier).CombinedOutput()
	if err == nil {
		s.lose("it passes for the ledger that it was: %s", out)
	}
}

func scanAt(n int) string {
	return fmt.Sprintf(`{"station":"north/storage","kind":"set.checked","time":"2026-03-02T05:%02d:00Z","set":"LAP-001","data":{"place":"Z%d"}}`, n%60, n)
}

// putBack puts parts of an older folder back into a newer one.
func putBack(s *soak, old, now, root, earlier string) {
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, now, dir)
	parts := []string{"stream", "log", "newest.checkpoint", "readmodel.db", "stream.clean"}
	s.rnd.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	parts = parts[:1+s.rnd.IntN(len(parts))]
	if !slices.Contains(parts, "stream") && !slices.Contains(parts, "log") {
		parts = append(parts, "stream")
	}
	for _, p := range parts {
		s.must(os.RemoveAll(filepath.Join(dir, p)))
		if st, err := os.Stat(filepath.Join(old, p)); err == nil && st.IsDir() {
			copyFolder(s.T, filepath.Join(old, p), filepath.Join(dir, p))
		} else if err == nil {
			raw, err := os.ReadFile(filepath.Join(old, p))
			s.must(err)
			s.must(os.WriteFile(filepath.Join(dir, p), raw, 0o600))
		}
	}
	s.hit++
	out, err := listbound("verify", "--data", dir).CombinedOutput()
	switch {
	case err != nil:
		s.noticed++
	case strings.Contains(string(out), root): // what is left was enough to make it whole
		s.harmless++
	case len(parts) == 5: // all that remembers was put back: only what lies elsewhere tells
		s.compare(dir, earlier)
		s.outside++
	default:
		s.lose("%v put back: %s", parts, out)
	}
}

// secondWriter has a second program record into the folder of a server that runs: after its lock was deleted, or all that
// says whose the folder is, or the folder was renamed and a copy put in its place, or while the server is stopped.
func secondWriter(s *soak, base string) {
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, base, dir)
	v := s.serve(dir)
	had := make(map[string]int64)
	keep := func(rs []receipt, err error) int {
		if err != nil {
			return 0 // the server has stopped
		}
		for _, r := range rs {
			had[r.ID] = r.Seq
		}
		return len(rs)
	}
	if keep(post(v.url, scanAt(1), scanAt(2))) != 2 {
		s.Fatal("the server does not record")
	}
	now := dir
	way := s.tried % 4
	switch way {
	case 0:
		s.must(os.Remove(filepath.Join(dir, "owner.lock")))
	case 1:
		s.must(os.Remove(filepath.Join(dir, "owner.lock")))
		s.must(os.Remove(filepath.Join(dir, "owner.json")))
	case 2:
		now = dir + "-renamed"
		s.must(os.Rename(dir, now))
		copyFolder(s.T, now, dir)
	case 3:
		s.must(v.cmd.Process.Signal(syscall.SIGSTOP))
	}
	c := listbound("record", "--data", dir, "-")
	c.Stdin = strings.NewReader(scanAt(3) + "\n" + scanAt(4) + "\n")
	out, err := c.Output()
	if err != nil {
		s.noticed++
	}
	for line := range strings.Lines(string(out)) {
		s.keep(had, []byte(line))
	}
	if way == 3 {
		s.must(v.cmd.Process.Signal(syscall.SIGCONT))
	}
	before := len(had)
	went := keep(post(v.url, scanAt(5), scanAt(6)))
	s.must(v.cmd.Process.Signal(syscall.SIGTERM))
	v.wait()
	s.hit++
	if went == 0 && err != nil {
		s.lose("neither of the two records: %s", out)
	}
	if way == 2 {
		// The one that went on in the folder of the old name has what it acknowledged; the other may record nothing more.
		if went > 0 && before > 2 {
			s.lose("both folders go on: %d receipts of the server after the copy was recorded in", went)
		}
		if before == 2 { // the copy was refused
			dir = now
		}
	}
	again := s.ask("record", "--data", dir, s.file(scanAt(1), scanAt(2), scanAt(3), scanAt(4), scanAt(5), scanAt(6)))
	seqs := make(map[int64]bool)
	for line := range strings.Lines(again) {
		r := s.keep(had, []byte(line))
		if seqs[r.Seq] {
			s.lose("two lines stand at record %d", r.Seq)
		}
		seqs[r.Seq] = true
	}
	s.verify(dir)
}

func (s *soak) file(lines ...string) string {
	s.Helper()
	path := filepath.Join(s.TempDir(), "lines.jsonl")
	s.must(os.WriteFile(path, []byte(strings.Join(lines, "\n")+"\n"), 0o600))
	return path
}
