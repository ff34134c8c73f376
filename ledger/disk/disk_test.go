package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"syscall"
	"testing"
)

// strict are systems, and whether a mode says who may read a file and folders are synced there.
var strict = map[string]bool{"linux": true, "darwin": true, "freebsd": true, "windows": false}

// On Windows a mode says nothing of who may read a key, and no folder can be synced or locked; elsewhere all of it counts.
func TestSystems(t *testing.T) {
	refused := errors.New("access is denied")
	fsync := func(*os.File) error { return refused }
	for goos, strict := range strict {
		s := Of(goos)
		if err := s.OwnersAlone("k", 0o666); (err != nil) != strict {
			t.Errorf("%s: a key of mode 0666: %v", goos, err)
		}
		if err := s.OwnersAlone("k", 0o600); err != nil {
			t.Errorf("%s: a key of mode 0600: %v", goos, err)
		}
		if err := s.SyncFolder(t.TempDir(), fsync); errors.Is(err, refused) != strict {
			t.Errorf("%s: a folder that can't be synced: %v", goos, err)
		}
		if err := s.SyncFolder(filepath.Join(t.TempDir(), "none"), fsync); (err != nil) != strict {
			t.Errorf("%s: a folder that isn't there: %v", goos, err)
		}
		if s.LocksFolders() != strict {
			t.Errorf("%s: locks folders: %t", goos, !strict)
		}
	}
	if fmt.Sprint(This()) != fmt.Sprint(Of(runtime.GOOS)) {
		t.Error("this system is taken for another one")
	}
}

// readable is a file that others may read, as Windows says of every one.
type readable struct{ changed fs.FileMode }

func (r *readable) Stat() (fs.FileInfo, error) { return os.Stat(os.DevNull) }
func (r *readable) Chmod(m fs.FileMode) error  { r.changed = m; return nil }

func TestMakeOwners(t *testing.T) {
	for goos, strict := range strict {
		f := new(readable)
		if err := Of(goos).MakeOwners(f); err != nil || (f.changed == 0o600) != strict || !strict && f.changed != 0 {
			t.Errorf("%s: changed to %04o, %v", goos, f.changed, err)
		}
	}
}

// TestWrite: a file is written whole and durably; one that can't be synced leaves what was there. On Windows the folder's
// refusal to be synced is none.
func TestWrite(t *testing.T) {
	refused := errors.New("access is denied")
	files := func(f *os.File) error { // as Windows: files are synced, folders aren't
		if info, err := f.Stat(); err != nil || info.IsDir() {
			return errors.Join(refused, err)
		}
		return f.Sync()
	}
	none := func(*os.File) error { return refused }
	for goos, strict := range strict {
		s, dir := Of(goos), t.TempDir()
		for _, text := range []string{"one", "another"} {
			if err := s.write(dir, "f", []byte(text), files); errors.Is(err, refused) != strict || err != nil && !strict {
				t.Errorf("%s: %v", goos, err)
			}
			if raw, err := os.ReadFile(filepath.Join(dir, "f")); err != nil || string(raw) != text {
				t.Errorf("%s: %q, %v", goos, raw, err)
			}
		}
		if err := s.write(dir, "f", []byte("half"), none); !errors.Is(err, refused) {
			t.Errorf("%s: a file that can't be synced: %v", goos, err)
		}
		if raw, err := os.ReadFile(filepath.Join(dir, "f")); err != nil || string(raw) != "another" {
			t.Errorf("%s: %q, %v", goos, raw, err)
		}
	}
	dir := t.TempDir()
	if err := Write(dir, "f", []byte("x")); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(filepath.Join(dir, "f")); err != nil || This().modes && info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info, err)
	}
	if err := Write(filepath.Join(dir, "none"), "f", nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("into no folder: %v", err)
	}
}

// TestNoRoom: each system's own errors for a full disk, and no others.
func TestNoRoom(t *testing.T) {
	const handleDiskFull, diskFull, quotaExceeded, accessDenied syscall.Errno = 39, 112, 1295, 5
	windows, linux := Of("windows"), Of("linux")
	for _, c := range []struct {
		err            syscall.Errno
		onWin, onLinux bool
	}{
		{handleDiskFull, true, false}, {diskFull, true, false}, {quotaExceeded, true, false}, {accessDenied, false, false},
		{syscall.ENOSPC, false, true}, {syscall.EDQUOT, false, true}, {syscall.EFBIG, false, true}, {syscall.EROFS, false, false},
	} {
		err := fmt.Errorf("appending: %w", &fs.PathError{Op: "write", Path: "1.blk", Err: c.err})
		if windows.IsNoRoom(err) != c.onWin || linux.IsNoRoom(err) != c.onLinux {
			t.Errorf("error %d: on Windows %t, on Linux %t", c.err, windows.IsNoRoom(err), linux.IsNoRoom(err))
		}
		if text := err.Error(); windows.SaysNoRoom(text) != c.onWin || linux.SaysNoRoom(text) != c.onLinux {
			t.Errorf("error %d as text: on Windows %t, on Linux %t", c.err, windows.SaysNoRoom(text), linux.SaysNoRoom(text))
		}
	}
	if windows.IsNoRoom(nil) || linux.IsNoRoom(nil) {
		t.Error("nothing went wrong, and there is no room")
	}
}

// TestGlob: a folder's own name is no pattern.
func TestGlob(t *testing.T) {
	root := t.TempDir()
	for _, dir := range []string{"a?b", "axb", "[ab]", "a", "*"} {
		if err := os.Mkdir(filepath.Join(root, dir), 0o700); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"2.key", "1.key", "1.txt"} {
			if err := os.WriteFile(filepath.Join(root, dir, name), nil, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, dir := range []string{"a?b", "[ab]", "*"} {
		got, err := Glob(filepath.Join(root, dir), "*.key")
		want := []string{filepath.Join(root, dir, "1.key"), filepath.Join(root, dir, "2.key")}
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("in %s: %v, %v; want %v", dir, got, err, want)
		}
	}
	if got, err := Glob(filepath.Join(root, "none"), "*"); err != nil || len(got) > 0 {
		t.Errorf("in a folder that isn't there: %v, %v", got, err)
	}
}
