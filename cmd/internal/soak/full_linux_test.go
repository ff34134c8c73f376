//go:build !race

package soak

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// TestServerDiskFull fills the disk of a server at work and frees it again: what had a receipt is there, what was refused is
// not, everything can be asked meanwhile, and recording goes on by itself. It needs a mount namespace, which not every
// machine lets a user have; the ledger's own tests fill files there.
func TestServerDiskFull(t *testing.T) {
	tb := &table{t: t}
	tb.run("serve, disk full and freed", 1, diskFull)
	tb.print()
}

func diskFull(s *soak) {
	dir := s.TempDir()
	v := s.serveSmall(dir)
	if v == nil {
		s.Log("this machine lets no test have a disk of its own: nothing was tried")
		s.tried = max(s.tried, 1)
		return
	}
	// The server's disk, seen from here.
	inside := filepath.Join(fmt.Sprintf("/proc/%d/root", v.cmd.Process.Pid), dir)
	s.enrol(v, "north/s-0")
	had, n := make(map[string]int64), 0
	record := func() bool {
		rs, err := post(v.url, scan(0, n))
		if err != nil || len(rs) != 1 {
			return false
		}
		had[rs[0].ID] = rs[0].Seq
		n++
		return true
	}
	for range 1 + s.rnd.IntN(3) {
		for range s.rnd.IntN(20) {
			if !record() {
				s.lose("nothing is recorded on a disk with room")
			}
		}
		s.fill(filepath.Join(inside, "other"))
		const most = 20_000
		for range most {
			if !record() {
				break
			}
		}
		s.hit++
		s.refusing(v)
		s.whileFull(inside, had)
		s.must(os.Remove(filepath.Join(inside, "other")))
		goesOn := false
		for range most {
			if goesOn = record(); goesOn {
				break
			}
		}
		if !goesOn {
			s.lose("recording doesn't go on by itself")
		}
	}
	if body := s.get(v, "/api/verify"); !strings.Contains(body, `"ok":true`) {
		s.lose("verify: %s", body)
	}
	s.must(v.cmd.Process.Signal(syscall.SIGTERM))
	v.wait()
}

// serveSmall serves a folder on a small disk of its own, nil where that can't be had.
func (s *soak) serveSmall(dir string) *server {
	s.Helper()
	v := &server{cmd: listbound("serve", "--data", filepath.Join(dir, "d"), "--site", "north", "--address", "127.0.0.1:0")}
	v.cmd.Env = append(v.cmd.Env, smallDisk+"="+dir)
	v.cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	return s.started(v)
}

// fill leaves no room on a disk.
func (s *soak) fill(path string) {
	s.Helper()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	s.must(err)
	for size := 1 << 20; size > 0; {
		if _, err = f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	if !errors.Is(err, syscall.ENOSPC) {
		s.Fatalf("filling the disk: %v", err)
	}
	s.must(f.Close())
}

func (s *soak) get(v *server, path string) string {
	s.Helper()
	resp, err := http.Get(v.url + path)
	s.must(err)
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	s.must(err)
	return string(raw)
}

// refusing holds what a server with a full disk says.
func (s *soak) refusing(v *server) {
	s.Helper()
	resp, err := http.Get(v.url + "/readyz")
	s.must(err)
	s.must(resp.Body.Close())
	if resp.StatusCode == http.StatusOK {
		s.lose("ready while nothing can be recorded")
	}
	var all []any
	if body := s.get(v, "/api/broken"); json.Unmarshal([]byte(body), &all) != nil {
		s.lose("with a full disk it can't be asked: %s", body)
	}
}

// whileFull takes the folder as it lies on the full disk, as if everything ended now, to a disk with room.
func (s *soak) whileFull(inside string, had map[string]int64) {
	s.Helper()
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, filepath.Join(inside, "d"), dir)
	v := s.serve(dir)
	var lines []string
	for n := range len(had) {
		lines = append(lines, scan(0, n))
	}
	rs, err := post(v.url, lines...)
	s.must(err)
	for _, r := range rs {
		if was, ok := had[r.ID]; !ok || was != r.Seq || !r.Known {
			s.lose("event %s was acknowledged as record %d and is now %+v", r.ID, was, r)
		}
	}
	if len(rs) != len(had) {
		s.lose("%d of %d acknowledged records are there", len(rs), len(had))
	}
	s.must(v.cmd.Process.Signal(syscall.SIGTERM))
	v.wait()
	s.verify(dir)
}
