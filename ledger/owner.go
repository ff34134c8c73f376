package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/google/uuid"

	"listbound/ledger/disk"
)

// Owner describes the process that has a folder open.
type Owner struct {
	PID     int       `json:"pid"`
	Command string    `json:"command"`
	Since   time.Time `json:"since"`
	URL     string    `json:"url,omitempty"`
	Token   string    `json:"token,omitempty"` // of this start
}

// ownership is this process's sole right to write in a folder. Locks decide it: one on the file owner.lock, and one on
// the folder itself where the system has such, since a file can be deleted under its holder, and the next process would
// lock another one. Neither is believed for good: a lock may not reach other machines on a shared disk, so that before
// and after each write it is looked whether the folder still says that it is this process's; see held.
//
// owner.json tells people whose the folder is. One that a killed process left does no harm.
type ownership struct {
	dir          string
	lock, folder *flock.Flock // folder is nil where folders can't be locked

	counts *flock.Flock // the one of both that lets nobody in
	mine   os.FileInfo  // of its file, which stays the same as long as it is open
	lost   string       // what has happened where another is in its place

	mu    sync.Mutex // owner.json
	owner Owner
	wrote os.FileInfo // owner.json as written last
}

func takeOwnership(dir string, owner Owner) (*ownership, error) {
	o := &ownership{dir: dir, owner: owner, lock: flock.New(filepath.Join(dir, "owner.lock"), flock.SetPermissions(0o600))}
	o.owner.Token = uuid.NewString()
	ok, err := o.lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("cannot lock the folder %s: %w", dir, err)
	}
	if ok {
		ok = o.lockFolder()
	}
	if !ok {
		e := &OwnedError{Dir: dir}
		// The owner may not have written its name yet; the error then goes without it.
		if e.Owner, err = readOwner(dir); err != nil {
			e.Owner = Owner{}
		}
		return nil, errors.Join(e, o.lock.Close())
	}
	o.counts, o.lost = o.lock, "the folder's owner.lock was removed or replaced while it was in use"
	if o.folder != nil { // then a removed owner.lock lets nobody in
		o.counts, o.lost = o.folder, "the folder was renamed or replaced while it was in use"
	}
	if o.mine, err = o.counts.Stat(); err != nil {
		return nil, errors.Join(fmt.Errorf("the lock of the folder %s can't be looked at: %w", dir, cause(err)), o.unlock())
	}
	err = o.write()
	if IsNoRoom(err) {
		// It only informs, and held writes it once there is room. One that a killed process left would say until then that
		// somebody else has the folder.
		if err = os.Remove(o.path()); errors.Is(err, os.ErrNotExist) {
			err = nil
		}
	}
	if err != nil {
		err = fmt.Errorf("cannot write in the folder %s, which a ledger needs for records: %w; "+
			"make a copy where writing is allowed", dir, cause(err))
		return nil, errors.Join(err, o.unlock())
	}
	return o, nil
}

// lockFolder reports whether no other process has the folder itself locked. Where folders can't be locked there is
// nothing to ask.
func (o *ownership) lockFolder() bool {
	if !disk.This().LocksFolders() {
		return true
	}
	folder := flock.New(o.dir, flock.SetFlag(os.O_RDONLY))
	ok, err := folder.TryLock()
	if err != nil {
		return true
	}
	if ok {
		o.folder = folder
	}
	return ok
}

// lookForOwner returns an *OwnedError if another process has the folder. What can't be looked at says nothing.
func lookForOwner(dir string) error {
	for _, path := range []string{filepath.Join(dir, "owner.lock"), dir} {
		lock := flock.New(path, flock.SetFlag(os.O_RDONLY))
		ok, err := lock.TryRLock()
		if closed := lock.Close(); err == nil && closed == nil && !ok {
			e := &OwnedError{Dir: dir}
			if e.Owner, err = readOwner(dir); err != nil {
				e.Owner = Owner{}
			}
			return e
		}
	}
	return nil
}

func readOwner(dir string) (owner Owner, err error) {
	data, err := os.ReadFile(filepath.Join(dir, "owner.json"))
	if err != nil {
		return owner, err
	}
	return owner, json.Unmarshal(data, &owner)
}

func (o *ownership) path() string { return filepath.Join(o.dir, "owner.json") }

// setURL publishes where this process serves the folder.
func (o *ownership) setURL(url string) error {
	if o == nil {
		return nil
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.owner.URL = url
	if err := o.write(); !IsNoRoom(err) {
		return err
	}
	return nil
}

// write writes owner.json. o.mu is held once others know o.
func (o *ownership) write() error {
	data, err := json.MarshalIndent(o.owner, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(o.path()+".tmp", append(data, '\n'), 0o600); err != nil {
		_ = os.Remove(o.path() + ".tmp") // of a full disk, half a file would stay
		return err
	}
	if err := os.Rename(o.path()+".tmp", o.path()); err != nil {
		return err
	}
	o.wrote, err = os.Stat(o.path())
	return err
}

// lostError reports that the folder is not this process's alone any more. Whoever has it now goes on.
type lostError struct{ what string }

func (e *lostError) Error() string {
	return e.what + "; this program records nothing more: see which one is to have the folder, stop the other, and start it again"
}

// held returns a *lostError once the folder is not this process's any more: its lock was taken away, or another process
// has put its name there. It costs two looks at the folder, and reads nothing while nothing has changed.
func (o *ownership) held() error {
	if o == nil { // reading only
		return nil
	}
	if there, err := os.Stat(o.counts.Path()); err != nil || !os.SameFile(o.mine, there) {
		return &lostError{o.lost}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if now, err := os.Stat(o.path()); err == nil && o.wrote != nil && os.SameFile(now, o.wrote) &&
		now.ModTime().Equal(o.wrote.ModTime()) {
		return nil
	}
	other, err := readOwner(o.dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		// It only informs, and has to stand there to be compared with.
		if err := o.write(); !IsNoRoom(err) {
			return err
		}
	case err == nil && other.Token != o.owner.Token:
		return &lostError{fmt.Sprintf("another program has taken the folder: %s, process %d", other.Command, other.PID)}
	}
	return nil
}

func (o *ownership) release() error {
	if o == nil {
		return nil
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	var err error
	if now, readErr := readOwner(o.dir); readErr == nil && now.Token == o.owner.Token {
		err = os.Remove(o.path())
	}
	return errors.Join(err, o.unlock())
}

func (o *ownership) unlock() error {
	err := o.lock.Close()
	if o.folder != nil {
		err = errors.Join(err, o.folder.Close())
	}
	return err
}
