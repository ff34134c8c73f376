package site

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"listbound/ledger"
)

// A folder in which nothing can be written, since it is read-only or its disk is
// full, can still be asked everything: the ledger's files are only read, and
// judgement works on a copy of the read model elsewhere, or makes one afresh there.

// openLedger opens the folder's ledger, for questions only where that is all that is
// wanted and nothing may be written.
func openLedger(ctx context.Context, o Options, lo ledger.Options) (*ledger.Ledger, error) {
	l, err := ledger.Open(ctx, lo)
	if err == nil || !o.Existing || o.acceptLoss || !unwritable(err) {
		return l, err
	}
	lo.Reading = true
	return ledger.Open(ctx, lo)
}

// unwritable reports whether an error says that nothing may be written.
func unwritable(err error) bool {
	return errors.Is(err, syscall.EROFS) || errors.Is(err, fs.ErrPermission)
}

// memoryDir is a folder in memory where the system has one.
const memoryDir = "/dev/shm"

// moveOut has judgement work elsewhere, on a copy of the read model as it lies in the folder.
func (s *Site) moveOut() error {
	var failed []error
	for _, parent := range []string{os.TempDir(), memoryDir} {
		dir, err := os.MkdirTemp(parent, "listbound-asking-")
		if err != nil {
			failed = append(failed, err)
			continue
		}
		if err = s.copyModel(dir); err == nil {
			s.elsewhere = dir
			return nil
		}
		failed = append(failed, err, os.RemoveAll(dir))
	}
	return fmt.Errorf("nothing can be written in %s, and judgement found no room elsewhere; set TMPDIR to a folder that "+
		"has some: %w", s.opts.Dir, errors.Join(failed...))
}

// copyModel copies the read model with what is still in its log. One that isn't there is made afresh.
func (s *Site) copyModel(dir string) error {
	for _, suffix := range []string{"", "-wal"} {
		from, err := os.Open(s.modelPath() + suffix)
		if errors.Is(err, os.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
			continue
		}
		if err != nil {
			return err
		}
		to, err := os.OpenFile(filepath.Join(dir, modelName+suffix), os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o600)
		if err == nil {
			_, err = io.Copy(to, from)
			err = errors.Join(err, to.Close())
		}
		if err = errors.Join(err, from.Close()); err != nil {
			return err
		}
	}
	return nil
}

// comeHome puts the read model back into the folder once something can be written there.
func (s *Site) comeHome(ctx context.Context) error {
	if s.elsewhere == "" || s.ledger.Writable() != nil {
		return nil
	}
	old := s.elsewhere
	s.elsewhere = ""
	if err := s.refill(ctx, nil); err != nil {
		s.elsewhere = old
		return err
	}
	return os.RemoveAll(old)
}

// mayLook says plainly where a folder can't be looked into, which is not the same as an empty one.
func mayLook(dir string) error {
	for _, d := range []string{dir, filepath.Join(dir, "keys")} {
		if _, err := os.ReadDir(d); errors.Is(err, fs.ErrPermission) {
			return fmt.Errorf("you may not look into %s; ask as the user who runs the ledger, or have a copy made", d)
		}
	}
	return nil
}
