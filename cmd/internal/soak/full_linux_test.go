//go:build !race

package soak

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestServerDiskFull fills the disk of a server at work and frees it again: what had a receipt is there, what was refused is
// not, everything can be asked meanwhile, and recording goes on by itself. It needs a mount namespace, which not every
// machine lets a user have; the ledger's own tests fill files there.
func TestServerDiskFull(t *testing.T) {
	tb := &table{t: t}
	tb.run("serve, disk full and freed", 1, diskFull)
	base := filled(t, week(t, 300))
	tb.run("key replace, disk full and freed", 2, func(s *soak) { fullAtReplacement(s, base, false) })
	tb.run("key replace cut off, disk full and freed", 1, func(s *soak) { fullAtReplacement(s, base, true) })
	tb.run("rebuild, disk full", 1, func(s *soak) { rebuiltOnFull(s, base) })
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
	return s.started(&server{cmd: onDiskOfItsOwn(dir, "serve", "--data", filepath.Join(dir, "d"), "--site", "north",
		"--address", "127.0.0.1:0")})
}

// onDiskOfItsOwn is a process that has a small disk at a folder.
func onDiskOfItsOwn(dir string, args ...string) *exec.Cmd {
	c := listbound(args...)
	c.Env = append(c.Env, smallDisk+"="+dir)
	c.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	return c
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

// disk is a small one, with programs on it.
type disk struct {
	*soak
	dir    string // as the programs see it
	inside string // as it is seen from here
	ask    *json.Encoder
	told   *json.Decoder
}

// ownDisk returns a small disk, nil where that can't be had.
func (s *soak) ownDisk() *disk {
	s.Helper()
	k := &disk{soak: s, dir: s.TempDir()}
	c := onDiskOfItsOwn(k.dir)
	c.Env = append(c.Env, onThatDisk+"=1")
	out, err := c.StdoutPipe()
	s.must(err)
	in, err := c.StdinPipe()
	s.must(err)
	if c.Start() != nil {
		return nil
	}
	s.after(func() {
		s.must(in.Close())
		_ = c.Wait() // it may have had no disk
	})
	k.inside = filepath.Join(fmt.Sprintf("/proc/%d/root", c.Process.Pid), k.dir)
	k.ask, k.told = json.NewEncoder(in), json.NewDecoder(out)
	if k.told.Decode(new(onDisk)) != nil {
		return nil
	}
	return k
}

// start starts the program there. What it returns waits until it has ended.
func (k *disk) start(args ...string) (p *os.Process, wait func() onDisk) {
	k.Helper()
	k.must(k.ask.Encode(args))
	var begun onDisk
	k.must(k.told.Decode(&begun))
	p, err := os.FindProcess(begun.PID)
	k.must(err)
	return p, func() (end onDisk) {
		k.must(k.told.Decode(&end))
		return end
	}
}

// run runs the program there, which must succeed.
func (k *disk) run(args ...string) string {
	k.Helper()
	_, wait := k.start(args...)
	end := wait()
	if end.Failed != "" {
		k.lose("%s: %s\n%s%s", strings.Join(args, " "), end.Failed, end.Out, end.Said)
	}
	return end.Out
}

// rebuiltOnFull: a folder's read model that is not there can't be made on a full disk, and a rebuild says so: that all can be asked of
// one made elsewhere is something else.
func rebuiltOnFull(s *soak, base string) {
	k := s.ownDisk()
	if k == nil {
		s.Log("this machine lets no test have a disk of its own: nothing was tried")
		return
	}
	dir := filepath.Join(k.dir, "d")
	copyFolder(s.T, base, filepath.Join(k.inside, "d"))
	s.must(os.Remove(filepath.Join(k.inside, "d", "readmodel.db")))
	s.fill(filepath.Join(k.inside, "other"))
	s.hit++
	k.run("broken", "--data", dir)
	_, wait := k.start("rebuild", "--data", dir)
	if end := wait(); end.Failed == "" {
		s.lose("a read model was made anew where there is no room: %s%s", end.Out, end.Said)
	}
}

// fullAtReplacement fills the disk before the ledger's key is replaced, while it is, or after that was cut off, leaving any
// amount of room. Whatever it left: one key or the other is in force, nothing is lost, and once there is room all goes on.
func fullAtReplacement(s *soak, base string, cutOff bool) {
	k := s.ownDisk()
	if k == nil {
		s.Log("this machine lets no test have a disk of its own: nothing was tried")
		return
	}
	dir, other := filepath.Join(k.dir, "d"), filepath.Join(k.inside, "other")
	copyFolder(s.T, base, filepath.Join(k.inside, "d"))
	before := k.run("broken", "--data", dir, "--json")
	replace := []string{"key", "replace", "--data", dir, "--operator", "B-1182", "--reason", "as often as the rules ask"}
	var end onDisk
	if cutOff || s.rnd.IntN(2) == 0 {
		p, wait := k.start(replace...)
		stopped := make(chan bool, 1)
		time.AfterFunc(time.Duration(s.rnd.IntN(150))*time.Millisecond, func() { stopped <- p.Signal(syscall.SIGSTOP) == nil })
		if <-stopped {
			s.fillBut(other, s.room())
			if cutOff {
				s.mustSignal(p.Kill())
			} else {
				s.mustSignal(p.Signal(syscall.SIGCONT))
			}
		}
		if end = wait(); !fileThere(other) { // it was done before
			s.fillBut(other, s.room())
		}
	} else {
		s.fillBut(other, s.room())
		_, wait := k.start(replace...)
		end = wait()
	}
	s.hit++
	if end.Failed != "" {
		s.noticed++
		if !cutOff && end.Said == "" {
			s.lose("nothing is said of a full disk: %s", end.Failed)
		}
	}
	if after := k.run("broken", "--data", dir, "--json"); after != before {
		s.lose("on the full disk other sets are broken")
	}
	// As it lies there, on a disk with room.
	elsewhere := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, filepath.Join(k.inside, "d"), elsewhere)
	s.goesOnReplaced(elsewhere, before, s.ask)
	// And where it lies, once there is room.
	s.must(os.Remove(other))
	s.goesOnReplaced(dir, before, k.run)
	k.run(replace...)
	s.goesOnReplaced(dir, before, k.run)
	left, err := filepath.Glob(filepath.Join(k.inside, "d", "keys", "*"))
	s.must(err)
	for _, path := range left {
		if strings.HasSuffix(path, ".next") || strings.HasPrefix(filepath.Base(path), ".key-") {
			s.lose("a private key is left behind: %s", path)
		}
	}
}

func fileThere(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// goesOnReplaced records with a folder whose key may be a new one.
func (s *soak) goesOnReplaced(dir, before string, run func(...string) string) {
	s.Helper()
	if after := run("broken", "--data", dir, "--json"); after != before {
		s.lose("after the key was replaced on a full disk other sets are broken")
	}
	// Of a set that no other record is about, and later each time, so that nothing is judged otherwise by it.
	line := strings.Replace(scanAt(s.dirs), "LAP-001", "NEW-001", 1)
	s.keep(make(map[string]int64), []byte(run("record", "--data", dir, s.file(line))))
	if out := run("verify", "--data", dir); !strings.Contains(out, "intact:") {
		s.lose("verify: %s", out)
	}
}

// room is how much is left on a disk that is nearly full: as often some bytes as a megabyte.
func (s *soak) room() int64 { return s.rnd.Int64N(1 << s.rnd.IntN(22)) }

// fillBut leaves so much room on a disk.
func (s *soak) fillBut(path string, room int64) {
	s.Helper()
	s.fill(path)
	info, err := os.Stat(path)
	s.must(err)
	s.must(os.Truncate(path, max(0, info.Size()-room)))
}

// mustSignal fails where a program can't be signalled, but not where it had ended before:
// that it was stopped is known only as far as the signal was sent.
func (s *soak) mustSignal(err error) {
	s.Helper()
	if !errors.Is(err, os.ErrProcessDone) {
		s.must(err)
	}
}
