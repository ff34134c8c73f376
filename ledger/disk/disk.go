// Package disk knows what differs between operating systems in how files are kept: who may read one, what makes its name
// durable, how a full disk is told. A system is an argument, so that all of it is tested on any machine.
package disk

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
)

// System is what differs between operating systems.
type System struct {
	modes   bool // the mode of a file says who may read it
	folders bool // a folder is opened, locked and synced like a file, and its names are on disk only then
	noRoom  []syscall.Errno
}

// This is where the program runs.
func This() System { return Of(runtime.GOOS) }

// Of knows systems by the name that Go has for them. Windows reports every file as readable by all, since access lists say
// who may read it; it refuses to sync a folder (NTFS keeps names in its own journal) and to lock one; and it has its own
// errors for a full disk, ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL and ERROR_DISK_QUOTA_EXCEEDED
// (learn.microsoft.com/windows/win32/debug/system-error-codes, from memory), of which Go's ENOSPC is none.
func Of(goos string) System {
	if goos == "windows" {
		const handleDiskFull, diskFull, diskQuotaExceeded syscall.Errno = 39, 112, 1295
		return System{noRoom: []syscall.Errno{handleDiskFull, diskFull, diskQuotaExceeded}}
	}
	return System{modes: true, folders: true, noRoom: []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}}
}

// OwnersAlone returns an error if others than its owner may read a key.
func (s System) OwnersAlone(path string, mode fs.FileMode) error {
	if s.modes && mode.Perm()&0o077 != 0 {
		return fmt.Errorf("the key file %s can be read by others (mode %04o); make it yours alone: chmod 600 %s", path, mode.Perm(), path)
	}
	return nil
}

// MakeOwners makes a file its owner's alone, where its mode says who may read it.
func (s System) MakeOwners(f interface {
	Stat() (fs.FileInfo, error)
	Chmod(fs.FileMode) error
}) error {
	info, err := f.Stat()
	if err != nil || !s.modes || info.Mode().Perm()&0o077 == 0 {
		return err
	}
	return f.Chmod(0o600)
}

// LocksFolders reports whether a folder can be locked.
func (s System) LocksFolders() bool { return s.folders }

// SyncFolder makes the names in a folder durable, where that is done by syncing it.
func (s System) SyncFolder(dir string, fsync func(*os.File) error) error {
	if !s.folders {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	if err := fsync(d); err != nil {
		d.Close() //nolint:errcheck // the first error counts
		return err
	}
	return d.Close()
}

// SyncFolder makes the names in a folder durable on this system.
func SyncFolder(dir string) error { return This().SyncFolder(dir, (*os.File).Sync) }

// Write writes a file whole, for its owner alone, and returns when it is on disk. Either the one before is there, or this one.
func Write(dir, name string, data []byte) error {
	return This().write(dir, name, data, (*os.File).Sync)
}

func (s System) write(dir, name string, data []byte, fsync func(*os.File) error) error {
	path := filepath.Join(dir, name)
	f, err := os.OpenFile(path+".tmp", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = fsync(f)
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(path+".tmp", path); err != nil {
		return err
	}
	// Before this the rename itself could be undone by a power cut.
	return s.SyncFolder(dir, fsync)
}

// IsNoRoom reports whether an error says that there is no room for what was to be written: the disk is full, or what one
// user or one file may take of it is used up.
func (s System) IsNoRoom(err error) bool {
	return slices.ContainsFunc(s.noRoom, func(e syscall.Errno) bool { return errors.Is(err, e) })
}

// SaysNoRoom is IsNoRoom for an error that came as text.
func (s System) SaysNoRoom(text string) bool {
	return slices.ContainsFunc(s.noRoom, func(e syscall.Errno) bool { return strings.Contains(text, e.Error()) })
}

// Glob returns the files of one folder whose names match a pattern, sorted; none where there is no such folder. Unlike
// filepath.Glob it takes the folder's own name as it is, with whatever brackets and question marks a person gave it.
func Glob(dir, pattern string) ([]string, error) {
	names, err := fs.Glob(os.DirFS(cmp.Or(dir, ".")), pattern)
	for i, name := range names {
		names[i] = filepath.Join(dir, name)
	}
	return names, err
}
