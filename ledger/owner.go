package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
)

// Owner describes the process that has a folder open.
type Owner struct {
	PID     int       `json:"pid"`
	Command string    `json:"command"`
	Since   time.Time `json:"since"`
	URL     string    `json:"url,omitempty"`
}

// ownership is a held lock. The lock decides; owner.json only informs people, so a stale one does no harm.
type ownership struct {
	dir   string
	lock  *flock.Flock
	owner Owner
}

func takeOwnership(dir string, owner Owner) (*ownership, error) {
	lock := flock.New(filepath.Join(dir, "owner.lock"), flock.SetPermissions(0o600))
	ok, err := lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("cannot lock the folder %s: %w", dir, err)
	}
	if !ok {
		e := &OwnedError{Dir: dir}
		// The owner may not have written its name yet; the error then goes without it.
		if data, err := os.ReadFile(filepath.Join(dir, "owner.json")); err == nil {
			if json.Unmarshal(data, &e.Owner) != nil {
				e.Owner = Owner{}
			}
		}
		return nil, e
	}
	o := &ownership{dir: dir, lock: lock, owner: owner}
	if err := o.write(); err != nil {
		err = fmt.Errorf("cannot write in the folder %s, which a ledger needs also for questions: %w; "+
			"make a copy where writing is allowed", dir, cause(err))
		return nil, errors.Join(err, lock.Close())
	}
	return o, nil
}

func (o *ownership) write() error {
	data, err := json.MarshalIndent(o.owner, "", "  ")
	if err != nil {
		return err
	}
	path := filepath.Join(o.dir, "owner.json")
	if err := os.WriteFile(path+".tmp", append(data, '\n'), 0o600); err != nil {
		return err
	}
	return os.Rename(path+".tmp", path)
}

func (o *ownership) release() error {
	err := os.Remove(filepath.Join(o.dir, "owner.json"))
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, o.lock.Close())
}
