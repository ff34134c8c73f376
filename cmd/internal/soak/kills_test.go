//go:build !race

package soak

import (
	"bufio"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestKilled ends processes at work in every way, each time going on with the same
// folder: what had a receipt keeps its place, nothing is lost, nothing is there twice.
func TestKilled(t *testing.T) {
	tb := &table{t: t}
	for _, e := range ends {
		tb.run("record, "+e.name, 1, func(s *soak) { killRecord(s, e) })
	}
	base := whole(t, filled(t, week(t, 700)))
	for _, c := range []string{"rebuild", "evidence", "repair", "key replace"} {
		for _, e := range ends {
			tb.run(c+", "+e.name, 1, func(s *soak) { killAtWork(s, base, c, e) })
		}
	}
	tb.print()
}

// killRecord ends "record" after some receipts, and records the same file again.
func killRecord(s *soak, e end) {
	lines := week(s.T, 300)
	dir, file := newFolder(s), filepath.Join(s.TempDir(), "lines.jsonl")
	s.must(os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o600))
	c := listbound("record", "--data", dir, file)
	out, err := c.StdoutPipe()
	s.must(err)
	s.must(c.Start())
	had := make(map[string]int64)
	sc := bufio.NewScanner(out)
	// The moment is a number of receipts, so that a slow machine is ended at work too.
	for n := s.rnd.IntN(len(lines) - 50); len(had) < n && sc.Scan(); {
		s.keep(had, sc.Bytes())
	}
	wait := s.later(c, e, 3*time.Millisecond)
	for sc.Scan() {
		if json.Valid(sc.Bytes()) { // a last line that was cut short is nobody's receipt
			s.keep(had, sc.Bytes())
		}
	}
	if wait() {
		s.hit++
	}
	if e.goesOn && len(had) != len(lines) {
		s.lose("it was stopped and continued, and gave %d receipts for %d lines", len(had), len(lines))
	}
	again := s.ask("record", "--data", dir, file)
	seqs := make(map[int64]bool)
	for line := range strings.Lines(again) {
		r := s.keep(had, []byte(line))
		if seqs[r.Seq] {
			s.lose("two lines stand at record %d", r.Seq)
		}
		seqs[r.Seq] = true
	}
	if len(seqs) != len(lines) {
		s.lose("%d receipts for %d lines", len(seqs), len(lines))
	}
	s.verify(dir)
}

// killAtWork ends a command at work on a copy of a folder, and asks as before.
func killAtWork(s *soak, base *folder, command string, e end) {
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, base.dir, dir)
	bundle := filepath.Join(s.TempDir(), "e.zip")
	args := append(strings.Fields(command), "--data", dir)
	switch command {
	case "evidence":
		args = append(args, "--set", "LAP-001", "--out", bundle)
	case "key replace":
		args = append(args, "--operator", "B-1182", "--reason", "as often as the rules ask")
	case "repair":
		s.flip(filepath.Join(dir, "log", "tile", "entries"))
	}
	c := listbound(args...)
	s.must(c.Start())
	if s.later(c, e, 250*time.Millisecond)() {
		s.hit++
	}
	if command == "repair" {
		s.ask(args...)
	}
	if command == "evidence" {
		if _, err := os.Stat(bundle); err == nil {
			if out, err := exec.Command("unzip", "-tq", bundle).CombinedOutput(); err != nil {
				s.lose("a bundle lies there half: %s", out)
			}
		}
	}
	now := whole(s.T, dir) // as the next program that opens it has it
	if !reflect.DeepEqual(now.broken, base.broken) {
		s.lose("after %s and %s other sets are broken", command, e.name)
	}
	if command == "key replace" { // one key or the other is in force
		s.keep(make(map[string]int64), []byte(s.ask("record", "--data", dir, s.file(scanAt(1)))))
		s.verify(dir)
	}
}

// flip turns a bit in one of the files under a folder.
func (s *soak) flip(dir string) {
	s.Helper()
	var files []string
	s.must(filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, path)
		}
		return err
	}))
	path := files[s.rnd.IntN(len(files))]
	raw, err := os.ReadFile(path)
	s.must(err)
	raw[s.rnd.IntN(len(raw))] ^= 1 << s.rnd.IntN(8)
	s.must(os.WriteFile(path, raw, 0o600))
}
