//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// smallDisk is a disk that can be filled and freed.
type smallDisk interface {
	fill() error
	free() error
}

// memoryDisk is a small file system of its own.
type memoryDisk struct{ dir string }

func (d memoryDisk) fill() error {
	f, err := os.OpenFile(filepath.Join(d.dir, "other"), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	for size := 1 << 20; size > 0; {
		if _, err = f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	if !errors.Is(err, syscall.ENOSPC) {
		return errors.Join(fmt.Errorf("filling the disk: %w", err), f.Close())
	}
	return f.Close()
}

// leave makes so much room.
func (d memoryDisk) leave(bytes int64) error {
	path := filepath.Join(d.dir, "other")
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	return os.Truncate(path, info.Size()-bytes)
}

func (d memoryDisk) free() error { return os.Remove(filepath.Join(d.dir, "other")) }

// limitedDisk makes every file full that is longer than some of the ledger's are now.
type limitedDisk struct{ usual syscall.Rlimit }

func (d *limitedDisk) fill() error {
	signal.Ignore(syscall.SIGXFSZ)
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 200_000, Max: d.usual.Max})
}

func (d *limitedDisk) free() error { return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &d.usual) }

func init() { childWork["small-disk"], childWork["small-files"] = fillAndFree, fillAndFree }

// onSmallDisk is run in a process of its own.
func onSmallDisk(mode, dir string) (disk smallDisk, err error) {
	if mode == "small-disk" {
		return memoryDisk{dir}, syscall.Mount("none", dir, "tmpfs", 0, "size=12m")
	}
	d := &limitedDisk{}
	return d, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &d.usual)
}

// fillAndFree fills a ledger's disk and frees it again, while the ledger is open and while it is opened.
func fillAndFree(dir, mode string) error {
	disk, err := onSmallDisk(mode, dir)
	if err != nil {
		return err
	}
	s := &session{dir: filepath.Join(dir, "ledger"), disk: disk}
	if err := s.open(); err != nil {
		return err
	}
	for range 400 {
		if err := s.append(5); err != nil {
			return err
		}
	}
	for round := range 3 {
		// One by one, or several in one call.
		if err := s.untilFull(1 + 4*round); err != nil {
			return fmt.Errorf("round %d: %w", round, err)
		}
		if err := s.freed(); err != nil {
			return fmt.Errorf("round %d: %w", round, err)
		}
	}
	return s.openedFull()
}

type session struct {
	dir  string
	disk smallDisk
	l    *ledger.Ledger
	want [][]byte // what was acknowledged
	prev int64

	tried []ledger.Entry // by the last call
	part  bool           // of which a part may be stored
}

func (s *session) open() (err error) {
	signer, verifier := childKey(ledgertest.Origin)
	s.l, err = ledger.Open(context.Background(), ledger.Options{
		Dir: s.dir, Origin: ledgertest.Origin, Signer: signer, Verifier: verifier, Clock: time.Now, Command: "child",
		CheckpointEvery: 3 * time.Millisecond,
	})
	return err
}

func (s *session) append(n int) error {
	key, _ := childKey("north/or-3")
	var entries []ledger.Entry
	for i := range n {
		msg, err := proof.SignNote(fmt.Sprintf("%d %d %s\n", len(s.want), i, strings.Repeat("x", 900)), key)
		if err != nil {
			return err
		}
		entries = append(entries, ledger.Entry{Station: "north/or-3", Kind: "set.opened", Note: msg, ExpectPrev: s.prev})
	}
	s.tried, s.part = entries, false
	out, err := s.l.Append(context.Background(), entries...)
	if err != nil {
		return err
	}
	for _, a := range out {
		s.want, s.prev = append(s.want, a.Record), a.Seq
	}
	return nil
}

const noRoom = "not recorded: there is no room on the disk; recording goes on by itself once there is"

func (s *session) untilFull(n int) error {
	if err := s.disk.fill(); err != nil {
		return err
	}
	var err error
	for range 20_000 {
		if err = s.append(n); err != nil {
			break
		}
	}
	tried, part := s.tried, n > 1 && errors.Is(err, ledger.ErrUnknownOutcome) && errors.Is(err, ledger.ErrNoRoom)
	if err == nil || err.Error() != noRoom && !part || !errors.Is(err, ledger.ErrStopped) {
		return fmt.Errorf("on a full disk: %v", err)
	}
	err = s.append(n)
	s.tried, s.part = tried, part
	if err == nil || err.Error() != noRoom {
		return fmt.Errorf("again on a full disk: %v", err)
	}
	return s.asked()
}

// asked asks a ledger that has no room for all it holds.
func (s *session) asked() error {
	if err := s.l.Writable(); err == nil || err.Error() != noRoom {
		return fmt.Errorf("a ledger without room is writable: %v", err)
	}
	if err := s.holds(s.l); err != nil {
		return err
	}
	report, err := s.l.Verify(context.Background(), ledger.VerifyOptions{})
	if err != nil || len(report.Problems) > 0 || report.Size == 0 {
		return fmt.Errorf("verify on a full disk: %+v, %v", report, err)
	}
	return nil
}

// holds compares what a ledger holds with what was acknowledged.
func (s *session) holds(l *ledger.Ledger) error {
	if l.Size() < int64(len(s.want)) {
		return fmt.Errorf("%d records, %d were acknowledged", l.Size(), len(s.want))
	}
	n := 0
	return errors.Join(l.Scan(context.Background(), 1, func(seq int64, record []byte) error {
		if n++; seq <= int64(len(s.want)) && !bytes.Equal(record, s.want[seq-1]) {
			return fmt.Errorf("record %d is another one", seq)
		}
		return nil
	}), atLeast(n, len(s.want)))
}

func atLeast(n, want int) error {
	if n < want {
		return fmt.Errorf("%d records are read of %d", n, want)
	}
	return nil
}

func (s *session) freed() error {
	if err := s.disk.free(); err != nil {
		return err
	}
	if err := s.l.Writable(); err != nil {
		return fmt.Errorf("with room again: %w", err)
	}
	if problems := s.l.Damage(); len(problems) > 0 {
		return fmt.Errorf("with room again: %v", problems)
	}
	if err := s.takePart(); err != nil {
		return err
	}
	if s.l.Size() != int64(len(s.want)) {
		return fmt.Errorf("%d records, %d were acknowledged and %q was said of the next", s.l.Size(), len(s.want), noRoom)
	}
	if err := s.append(3); err != nil {
		return fmt.Errorf("with room again: %w", err)
	}
	if err := ledgertest.Verify(context.Background(), s.l); err != nil {
		return err
	}
	return s.holds(s.l)
}

// takePart takes what was stored of a call that was told that this is not known: its first records, and not all of them.
func (s *session) takePart() error {
	for i := 0; s.part && s.l.Size() > int64(len(s.want)); i++ {
		record, err := s.l.Read(int64(len(s.want)) + 1)
		if err != nil || i == len(s.tried)-1 || !bytes.HasPrefix(record, s.tried[i].Note) {
			return fmt.Errorf("record %d is not record %d of the call that met a full disk: %w", len(s.want)+1, i, err)
		}
		s.want = append(s.want, record)
		s.prev = int64(len(s.want))
	}
	return nil
}

// openedWithLittleRoom opens the ledger where the copy of the stream's end does not fit: it can be asked all the same.
func (s *session) openedWithLittleRoom() error {
	if err := s.open(); err != nil {
		return fmt.Errorf("opened with little room: %w", err)
	}
	if !s.l.FilesOnly() {
		return errors.New("opened with little room it took records: there was enough")
	}
	if err := s.holds(s.l); err != nil {
		return err
	}
	return s.l.Close()
}

// openedFull opens the ledger while there is no room, after a stop that could not sign.
func (s *session) openedFull() error {
	if err := s.untilFull(1); err != nil {
		return err
	}
	_ = s.l.Close() // there is no room for its last checkpoint
	for try := range 3 {
		if d, ok := s.disk.(memoryDisk); ok && try == 2 { // room for a try, and not for the copy of the stream's end
			if err := d.leave(1200 << 10); err != nil {
				return err
			}
			if err := s.openedWithLittleRoom(); err != nil {
				return err
			}
			if err := s.disk.fill(); err != nil {
				return err
			}
		}
		if err := s.open(); err != nil {
			return fmt.Errorf("opened on a full disk: %w", err)
		}
		if err := s.asked(); err != nil {
			return fmt.Errorf("opened on a full disk: %w", err)
		}
		if err := s.append(1); err == nil || err.Error() != noRoom {
			return fmt.Errorf("opened on a full disk it records: %w", err)
		}
		if err := s.l.Close(); err != nil {
			return fmt.Errorf("closed on a full disk: %w", err)
		}
	}
	if err := s.open(); err != nil {
		return err
	}
	if err := s.freed(); err != nil {
		return err
	}
	if err := s.l.Close(); err != nil {
		return err
	}
	left, err := filepath.Glob(filepath.Join(s.dir, "*.tmp"))
	if err != nil || len(left) > 0 {
		return fmt.Errorf("left behind: %q, %v", left, err)
	}
	if err := s.open(); err != nil {
		return err
	}
	return errors.Join(s.holds(s.l), s.l.Close())
}

// A full disk refuses records with one sentence and loses none, all can still be asked, and recording goes on by
// itself once there is room. On a small disk of its own where this machine lets a test have one, and everywhere with
// files that may not grow.
func TestDiskFullAndFreed(t *testing.T) {
	own := &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	for mode, attr := range map[string]*syscall.SysProcAttr{"small-disk": own, "small-files": nil} {
		t.Run(mode, func(t *testing.T) {
			t.Parallel()
			exe, err := os.Executable()
			if err != nil {
				t.Fatal(err)
			}
			var out bytes.Buffer
			cmd := exec.Command(exe)
			cmd.Env = append(os.Environ(), childDir+"="+t.TempDir(), childMode+"="+mode)
			cmd.SysProcAttr, cmd.Stdout, cmd.Stderr = attr, &out, &out
			err = cmd.Run()
			if attr != nil && err != nil && (errors.Is(err, syscall.EPERM) || strings.Contains(out.String(), syscall.EPERM.Error())) {
				t.Logf("no disk of its own here (%v %s): the other part tests what it can", err, out.String())
				return
			}
			if err != nil {
				t.Errorf("%v\n%s", err, out.String())
			}
		})
	}
}

// TestFullDiskWithAnOwnerThatIsGone: where there is no room to say whose the folder is, what a killed process left there doesn't say
// that it has it.
func TestFullDiskWithAnOwnerThatIsGone(t *testing.T) {
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	mustAppend(t, l, entry(t, "north/or-3", "a", 0))
	path := filepath.Join(opts.Dir, "owner.json")
	left, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	// What is written to /dev/full meets a full disk.
	if err := errors.Join(os.WriteFile(path, left, 0o600), os.Symlink("/dev/full", path+".tmp")); err != nil {
		t.Fatal(err)
	}
	l = ledgertest.Open(t, opts)
	mustAppend(t, l, entry(t, "north/or-3", "b", 1))
	now, err := os.ReadFile(path)
	if err != nil || bytes.Equal(now, left) {
		t.Errorf("the folder's owner is said to be the one that is gone: %s, %v", now, err)
	}
}
