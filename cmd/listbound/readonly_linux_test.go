//go:build !race

package main

import (
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// somebody runs listbound as a user whom the rights of files bind: this one, or where that is root another.
type somebody struct {
	exe  string
	dir  string // may be looked into by everybody
	user *syscall.Credential
}

func newSomebody(t *testing.T) *somebody {
	t.Helper()
	dir, err := os.MkdirTemp("", "listbound-rights-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.IsDir() {
				err = os.Chmod(path, 0o700)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	s := &somebody{exe: filepath.Join(dir, "listbound"), dir: dir}
	if os.Getuid() == 0 {
		const nobody = 65534 // without a right to anything
		s.user = &syscall.Credential{Uid: nobody, Gid: nobody}
	}
	for _, err := range []error{os.Chmod(dir, 0o755), copyExecutable(s.exe), os.Mkdir(s.path("tmp"), 0o755), s.give(s.path("tmp"))} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func copyExecutable(to string) error {
	from, err := os.Open(os.Args[0])
	if err != nil {
		return err
	}
	defer from.Close()
	f, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		return err
	}
	if _, err := io.Copy(f, from); err != nil {
		return err
	}
	return f.Close()
}

func (s *somebody) path(name string) string { return filepath.Join(s.dir, name) }

func (s *somebody) give(path string) error {
	if s.user == nil {
		return nil
	}
	return os.Chown(path, int(s.user.Uid), int(s.user.Gid))
}

func (s *somebody) run(args ...string) (string, error) {
	c := exec.Command(s.exe, args...)
	c.Env = append(os.Environ(), asListbound+"=1", "TMPDIR="+s.path("tmp"))
	c.Dir = s.dir
	c.SysProcAttr = &syscall.SysProcAttr{Credential: s.user}
	out, err := c.CombinedOutput()
	return string(out), err
}

// protect makes everything in a folder the user's own, and read-only.
func (s *somebody) protect(t *testing.T, dir string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if err := s.give(path); err != nil {
			return err
		}
		if d.IsDir() {
			return os.Chmod(path, 0o500)
		}
		return os.Chmod(path, 0o400)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// state is the bytes of all files in a folder.
func state(t *testing.T, dir string) string {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		fmt.Fprintln(h, path)
		if d.IsDir() {
			return nil
		}
		data, err := os.ReadFile(path)
		h.Write(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strconv.Quote(string(h.Sum(nil)))
}

// A folder in which nothing may be written answers every question, is not changed by it, and says plainly that it
// takes no records.
func TestReadOnlyFolder(t *testing.T) {
	s := newSomebody(t)
	lines, err := weekLines()
	if err != nil {
		t.Fatal(err)
	}
	week := s.path("week.jsonl")
	if err := os.WriteFile(week, []byte(strings.Join(lines[:600], "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	dir := s.path("d")
	if out, err := run("record", "--data", dir, week).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	ask := [][]string{{"broken"}, {"broken", "--near-misses"}, {"verify"}, {"lists"}, {"stations"}, {"policy"},
		{"history", "--set", "LAP-014"}}
	var want []string
	for _, q := range ask {
		out, err := run(append(q, "--data", dir)...).CombinedOutput()
		if err != nil {
			t.Fatalf("%q: %v %s", q, err, out)
		}
		want = append(want, string(out))
	}
	s.protect(t, dir)
	before := state(t, dir)
	for i, q := range ask {
		out, err := s.run(append(q, "--data", dir)...)
		if err != nil || out != want[i] {
			t.Errorf("%q of a read-only folder: %v, %.400s\nwant %.400s", q, err, out, want[i])
		}
	}
	if out, err := s.run("evidence", "--data", dir, "--set", "LAP-014", "--out", filepath.Join(s.path("tmp"), "e.zip")); err != nil {
		t.Errorf("evidence: %v %s", err, out)
	}
	for _, refused := range [][]string{{"record", week}, {"rebuild"}, {"stations", "retire", "north/or-3",
		"--reason", "x"}, {"serve"}, {"repair"}} {
		out, err := s.run(append(refused, "--data", dir)...)
		if err == nil || !strings.Contains(out, "nothing can be written in it") && !strings.Contains(out, "cannot write in the folder") {
			t.Errorf("%q in a read-only folder: %v %s", refused, err, out)
		}
	}
	if after := state(t, dir); after != before {
		t.Error("asking changed the folder")
	}
	if left, err := filepath.Glob(filepath.Join(s.path("tmp"), "listbound-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %q, %v", left, err)
	}
	if err := os.Chmod(dir, 0); err != nil {
		t.Fatal(err)
	}
	out, err := s.run("broken", "--data", dir)
	if err == nil || !strings.Contains(out, "you may not look into "+dir) {
		t.Errorf("of a folder that may not be looked into: %v %s", err, out)
	}
}
