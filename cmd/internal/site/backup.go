package site

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
)

// A backup holds what can't be made again: the records with their tree (log/),
// the keys, and whatever else lies in the folder but what is left out here. The
// stream and the read model are made anew from the records.

// leftOut are the names, or their beginnings, of what a backup does without.
var leftOut = []string{
	"log", "stream", "stream.clean", "owner.json", "owner.lock", modelName, "before-recovery-", "damaged-stream-", "repair.tmp",
	checkPrefix, checkFile, "practice", "newest.checkpoint", backupMark, restoreMark, "room.tmp",
	"cluster.json", "quorum.journal", addendaIndexName,
}

// leftOutDrafts are the drafts that a backup does without: what was read of filled-in count sheets, with pictures of what people
// wrote there. It goes as soon as it is recorded, and a backup would keep it; the paper can be read again.
var leftOutDrafts = []string{"drafts/paper", "drafts/paper-hand"}

// backupMark is the file by which a backup's folder is known, restoreMark the one in a folder whose restoring has not ended.
const (
	backupMark  = "listbound-backup.txt"
	restoreMark = "restore-unfinished"
)

const backupText = `This is a backup of a listbound ledger. To use it, on any machine:

    listbound restore THIS-FOLDER --data NEW-FOLDER

The folder keys holds the private keys of the ledger and of stations. Whoever has
them can sign as they do. Keep this backup as you would keep the keys themselves.
Without them the ledger can be read and checked, and nothing more be recorded in it.
`

func isLeftOut(name string) bool {
	for _, n := range leftOut {
		if name == n || strings.HasPrefix(name, n) && (strings.HasSuffix(n, "-") || n == modelName) {
			return true
		}
	}
	return strings.HasSuffix(name, ".tmp")
}

// BackedUp is what a backup holds.
type BackedUp struct {
	Records int64
	Root    string
	Keys    int // private keys
}

// signPatience is how long a backup waits for whoever has the folder to sign what is new.
const signPatience = 30 * time.Second

// Backup copies a folder, in use or not, to another one, which may hold an earlier backup of it, and reads every record
// of the copy back.
func Backup(ctx context.Context, o Options, to string, progress Progress) (out BackedUp, err error) {
	s := &Site{opts: o}
	s.opts.Existing = true
	key, err := s.readKey(false)
	if err != nil {
		return out, err
	}
	if err := mayHold(o.Dir, to); err != nil {
		return out, err
	}
	if err := signAll(ctx, s.opts, key); err != nil {
		return out, err
	}
	if err := os.MkdirAll(to, 0o700); err != nil {
		return out, err
	}
	if err := os.WriteFile(filepath.Join(to, backupMark), []byte(backupText), 0o600); err != nil {
		return out, err
	}
	had, err := keysOfBackup(to, key)
	if err != nil {
		return out, err
	}
	c, err := ledger.Backup(ctx, o.Dir, to, append(key.verifiers(), had...), progress)
	if err != nil {
		return out, err
	}
	out.Records, out.Root = c.Size, fmt.Sprintf("%x", c.Root[:])
	if out.Keys, err = copyRest(to, o.Dir, true); err != nil || key.next != nil {
		return out, err
	}
	there := &Site{opts: Options{Dir: to}}
	if err := os.Remove(ledger.NextKey(there.keyPath(key.signer.Name()))); !errors.Is(err, os.ErrNotExist) {
		return out, err
	}
	return out, nil
}

// keysOfBackup returns the key that an earlier backup was made under, if the ledger's was replaced since. The new one is
// put beside it, so that the backup can be restored wherever this one is cut off.
func keysOfBackup(to string, key *ownKey) ([]note.Verifier, error) {
	there := &Site{opts: Options{Dir: to, Existing: true}}
	had, err := there.readKey(false)
	if errors.Is(err, errNoLedger) {
		return nil, nil
	}
	if err != nil || had.text == key.text {
		return nil, err
	}
	if had.signer.Name() != key.signer.Name() {
		return nil, fmt.Errorf("%s holds a backup of the ledger %s", to, had.signer.Name())
	}
	return []note.Verifier{had.verifier}, copyWhole(ledger.NextKey(had.path), key.path)
}

// mayHold refuses a folder for a backup that holds anything else, or is part of the ledger's own.
func mayHold(dir, to string) error {
	if rel, err := filepath.Rel(dir, to); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return fmt.Errorf("%s lies in the folder that is to be copied; a backup belongs on another disk", to)
	}
	entries, err := os.ReadDir(to)
	if errors.Is(err, os.ErrNotExist) || err == nil && len(entries) == 0 {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(to, backupMark)); err != nil {
		return fmt.Errorf("%s holds something else than a backup; name a new folder, or one of an earlier backup", to)
	}
	return nil
}

// signAll sees to it that the checkpoint covers all that was acknowledged: it opens the folder, or waits for whoever has it.
func signAll(ctx context.Context, o Options, key *ownKey) error {
	l, err := openLedgerOf(ctx, o, key)
	var owned *ledger.OwnedError
	switch {
	case errors.As(err, &owned):
		ctx, cancel := context.WithTimeout(ctx, signPatience)
		defer cancel()
		return ledger.AwaitSigned(ctx, o.Dir, key.verifiers()...)
	case err != nil:
		return err
	}
	if problems := l.Damage(); len(problems) > 0 {
		return errors.Join(fmt.Errorf("the ledger is not what was signed (%s); repair it first, so that no good backup is replaced "+
			"by a bad one", problems[0]), l.Close())
	}
	return l.Close()
}

func openLedgerOf(ctx context.Context, o Options, key *ownKey) (*ledger.Ledger, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return openLedger(ctx, o, key.options(o))
}

// copyRest copies all but what is left out, and returns how many private keys are among it. What is there already is
// replaced or stays.
func copyRest(to, from string, replace bool) (keys int, err error) {
	err = filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil || rel == "." {
			return err
		}
		top, _, _ := strings.Cut(rel, string(filepath.Separator))
		if isLeftOut(top) || slices.Contains(leftOutDrafts, filepath.ToSlash(rel)) || strings.HasSuffix(rel, ".tmp") {
			if d.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		switch {
		case d.IsDir():
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		case !d.Type().IsRegular():
			return nil
		case top == "keys" && strings.HasSuffix(rel, keySuffix):
			keys++
		}
		if _, err := os.Lstat(filepath.Join(to, rel)); err == nil && !replace {
			return nil
		}
		err = copyWhole(filepath.Join(to, rel), path)
		if errors.Is(err, os.ErrNotExist) && top == "drafts" {
			return nil // a draft that was recorded meanwhile
		}
		return err
	})
	return keys, err
}

// copyWhole copies a file so that either the old one or the new one is there.
func copyWhole(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to+".tmp", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		return errors.Join(err, os.Remove(to+".tmp"))
	}
	return os.Rename(to+".tmp", to)
}

// Restore makes a data folder of a backup. A folder that has records is refused: what it remembers of itself may be more
// than the backup holds. Where only keys and memory are left of a folder, they stay, and the ledger is held against them.
// A restore that was cut off is done again from the start.
func Restore(ctx context.Context, o Options, from string, progress Progress) (out BackedUp, err error) {
	if _, err := os.Stat(filepath.Join(from, backupMark)); err != nil {
		return out, fmt.Errorf("%s is no backup of a listbound ledger: it has no file %s", from, backupMark)
	}
	there := &Site{opts: Options{Dir: from, Existing: true}}
	key, err := there.readKey(false)
	if err != nil {
		return out, err
	}
	c, err := ledger.BackedUp(from, key.verifiers()...)
	if err != nil {
		return out, fmt.Errorf("the backup has no checkpoint that its key has signed: %w", err)
	}
	if err := prepareRestore(o.Dir); err != nil {
		return out, err
	}
	// The records are read back here as well, against the signed root.
	if _, err := ledger.Backup(ctx, from, o.Dir, key.verifiers(), progress); err != nil {
		return out, err
	}
	if out.Keys, err = copyRest(o.Dir, from, false); err != nil {
		return out, err
	}
	// What the folder remembers of itself stays, and may be more than the backup holds. A new one remembers the backup.
	memory := filepath.Join(o.Dir, "newest.checkpoint")
	if _, err := os.Stat(memory); errors.Is(err, os.ErrNotExist) {
		if err := copyWhole(memory, filepath.Join(from, "log", "checkpoint")); err != nil {
			return out, err
		}
	}
	s := &Site{opts: o}
	s.opts.Existing = true
	own, err := s.readKey(false)
	if err != nil {
		return out, err
	}
	if own.text != key.text {
		return out, fmt.Errorf("%s has the key of another ledger, or one that replaced the backup's since (%s); restore into a folder "+
			"of its own", o.Dir, own.text)
	}
	report, err := ledger.Repair(ctx, own.options(o), ledger.RepairOptions{
		Route: routeOf(own.signer.Name()), Replaces: replacedBy(own.signer.Name()), Progress: progress,
	})
	if err != nil {
		return out, err
	}
	// No stream was there to be kept.
	if err := os.Remove(report.Aside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return out, err
	}
	out.Records, out.Root = c.Size, fmt.Sprintf("%x", c.Root[:])
	return out, os.Remove(filepath.Join(o.Dir, restoreMark))
}

// prepareRestore marks a folder as one that is being restored, unless it has records.
func prepareRestore(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	mark := filepath.Join(dir, restoreMark)
	_, err := os.Stat(mark)
	unfinished := err == nil
	for _, name := range []string{"stream", "log"} {
		path := filepath.Join(dir, name)
		switch _, err := os.Stat(path); {
		case errors.Is(err, os.ErrNotExist):
		case err != nil:
			return err
		case !unfinished:
			return fmt.Errorf("%s has a ledger already; restore into a new folder, and compare the two with listbound verify --earlier",
				dir)
		default:
			if err := os.RemoveAll(path); err != nil {
				return err
			}
		}
	}
	return os.WriteFile(mark, []byte("a restore has not ended; run it again\n"), 0o600)
}

// restored refuses a folder whose restoring has not ended.
func restored(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, restoreMark)); err == nil {
		return fmt.Errorf("restoring %s was cut off; run listbound restore again", dir)
	}
	return nil
}
