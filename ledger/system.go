package ledger

import (
	"fmt"
	"io/fs"
	"os"
	"runtime"
)

// system is what differs between operating systems in how files are kept. Its branches are tested on any of them.
type system struct {
	modes   bool // the mode of a file says who may read it
	folders bool // a folder is opened and synced like a file, and its names are on disk only then
}

// thisSystem is where this program runs.
func thisSystem() system { return systemOf(runtime.GOOS) }

// systemOf knows systems by the name that Go has for them. Windows reports every file as readable by all, since access
// lists say who may read it; and it refuses to sync a folder: NTFS keeps names in its own journal.
func systemOf(goos string) system {
	return system{modes: goos != "windows", folders: goos != "windows"}
}

// ownersAlone returns an error if others than its owner may read a key.
func (s system) ownersAlone(path string, mode fs.FileMode) error {
	if s.modes && mode.Perm()&0o077 != 0 {
		return fmt.Errorf("the key file %s can be read by others (mode %04o); make it yours alone: chmod 600 %s", path, mode.Perm(), path)
	}
	return nil
}

// syncFolder makes the names in a folder durable, where that is done by syncing it.
func (s system) syncFolder(dir string, fsync func(*os.File) error) error {
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
