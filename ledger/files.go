package ledger

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// faults lets a test stand between the ledger and a durable step. An error from before makes the step fail, one from
// after makes it fail although it was done.
type faults struct {
	before, after func(step string) error
}

func (f *faults) around(step string, do func() error) error {
	if f != nil && f.before != nil {
		if err := f.before(step); err != nil {
			return err
		}
	}
	if err := do(); err != nil {
		return err
	}
	if f != nil && f.after != nil {
		return f.after(step)
	}
	return nil
}

// logFiles is the folder log/: checkpoint, tiles and entry bundles.
type logFiles struct {
	root   string // …/log
	faults *faults
}

func (l logFiles) path(name string) string { return filepath.Join(l.root, filepath.FromSlash(name)) }

func (l logFiles) readCheckpoint() ([]byte, error) { return os.ReadFile(l.path("checkpoint")) }

func (l logFiles) readTile(level int, index int64, width int) ([]tlog.Hash, error) {
	name := proof.TilePath(level, index, width)
	data, err := os.ReadFile(l.path(name))
	if err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", name, cause(err))
	}
	hashes, err := proof.DecodeTile(data, width)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return hashes, nil
}

// readEntries returns the records of bundle index in a ledger of size records. With an error may come those of a full one that
// could be had all the same, nil for each other.
func (l logFiles) readEntries(index, size int64) ([][]byte, error) {
	width := bundleWidth(index, size)
	if width == proof.TileWidth {
		return l.readFull(index)
	}
	return l.readPlain(proof.EntriesPath(index, width), width)
}

// An older checkpoint that was put back alone finds no partial tile of its own any more. Where a larger one is there, that
// one begins with the same hashes and records: whether they are those, the checkpoint's root tells.

// tileWithin is readTile that also takes the beginning of a larger tile.
func (l logFiles) tileWithin(level int, index int64, width int) ([]tlog.Hash, error) {
	hashes, err := l.readTile(level, index, width)
	if !errors.Is(err, os.ErrNotExist) {
		return hashes, err
	}
	larger := l.larger(proof.TilePath(level, index, proof.TileWidth), width)
	if larger == 0 {
		return nil, err
	}
	if hashes, err = l.readTile(level, index, larger); err != nil {
		return nil, err
	}
	return hashes[:width], nil
}

// entriesWithin is readEntries that also takes the beginning of a larger bundle.
func (l logFiles) entriesWithin(index, size int64) ([][]byte, error) {
	records, err := l.readEntries(index, size)
	if !errors.Is(err, os.ErrNotExist) {
		return records, err
	}
	width := bundleWidth(index, size)
	larger := l.larger(proof.EntriesPath(index, proof.TileWidth), width)
	if larger == 0 {
		return nil, err
	}
	if records, err = l.readEntries(index, index*proof.TileWidth+int64(larger)); err != nil {
		return nil, err
	}
	return records[:width], nil
}

// larger returns the width of the file that takes the place of one of so many hashes or records, 0 for none. full is the
// name of the full one.
func (l logFiles) larger(full string, width int) int {
	if there, _ := l.hasFull(full); there {
		return proof.TileWidth
	}
	partials, err := os.ReadDir(l.path(proof.PartialDir(full)))
	if err != nil {
		return 0
	}
	for _, e := range partials {
		if n, err := strconv.Atoi(e.Name()); err == nil && n > width && n < proof.TileWidth {
			return n
		}
	}
	return 0
}

// cause drops the machine's path from a file error. The caller's message names the file by its place in the ledger.
func cause(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// bundleWidth returns how many records bundle (or level 0 tile) index has in a ledger of size records.
func bundleWidth(index, size int64) int {
	return int(min(proof.TileWidth, size-index*proof.TileWidth))
}

type outFile struct {
	name string
	data []byte
}

// writeDurably writes the files and returns when they and their folders are on disk. A file that exists already is
// replaced whole, so that it is never seen torn: a checkpoint may cover it, if writing that one failed after it was on
// disk.
func (l logFiles) writeDurably(files []outFile) error {
	dirs := map[string]bool{}
	open := make([]*os.File, 0, len(files))
	defer func() {
		for _, f := range open {
			f.Close() //nolint:errcheck // closed and checked below; this is for the way out after an error
		}
	}()
	// Crash here: stray .tmp files, some torn. They are written again.
	err := l.faults.around("write files", func() (err error) {
		open, err = l.writeTemporary(files, open, dirs)
		return err
	})
	if err != nil {
		return err
	}
	if err := l.faults.around("sync files", func() error { return syncAll(open) }); err != nil {
		return err
	}
	open = open[:0]
	// Crash here: whole files, some under their names and some not yet, or with names that may be lost. The old
	// checkpoint still stands; what it needs was only ever replaced by the same bytes.
	err = l.faults.around("rename files", func() error {
		for _, file := range files {
			if err := os.Rename(l.path(file.name)+".tmp", l.path(file.name)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return l.faults.around("sync folders", func() error {
		for _, dir := range slices.Sorted(maps.Keys(dirs)) {
			if err := disk.SyncFolder(dir); err != nil {
				return err
			}
		}
		return nil
	})
}

// writeTemporary writes each file under a temporary name. It adds the open files to open and the folders to sync to
// dirs.
func (l logFiles) writeTemporary(files []outFile, open []*os.File, dirs map[string]bool) ([]*os.File, error) {
	for _, file := range files {
		path := l.path(file.name)
		if err := l.makeDir(filepath.Dir(path), dirs); err != nil {
			return open, err
		}
		f, err := os.OpenFile(path+".tmp", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			return open, err
		}
		open = append(open, f)
		if _, err := f.Write(file.data); err != nil {
			return open, err
		}
	}
	return open, nil
}

// syncAtOnce is how many files are synced in parallel. The file system then puts them into one commit, and the stream,
// which waits for the same disk, waits less.
const syncAtOnce = 16

// syncAll syncs and closes files.
func syncAll(files []*os.File) error {
	errs := make([]error, len(files))
	turn := make(chan struct{}, syncAtOnce)
	var wg sync.WaitGroup
	for i, f := range files {
		turn <- struct{}{}
		wg.Go(func() {
			defer func() { <-turn }()
			if errs[i] = f.Sync(); errs[i] == nil {
				errs[i] = f.Close()
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// makeDir makes dir and adds to dirs every folder whose entries may have changed.
func (l logFiles) makeDir(dir string, dirs map[string]bool) error {
	if dirs[dir] {
		return nil
	}
	dirs[dir] = true
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	for d := dir; d != l.root && d != filepath.Dir(d); {
		d = filepath.Dir(d)
		dirs[d] = true
	}
	return nil
}

// replaceCheckpoint swaps the checkpoint for a new one in one step.
func (l logFiles) replaceCheckpoint(note []byte) error {
	return replaceFile(l.faults, "checkpoint", l.path("checkpoint"), note)
}

// replaceFile writes path so that a crash leaves either the old contents or the new.
func replaceFile(f *faults, step, path string, data []byte) error {
	tmp := path + ".tmp"
	// Crash here: the old file stands, a stray .tmp beside it.
	err := f.around("write "+step, func() error {
		file, err := os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			return err
		}
		if _, err := file.Write(data); err != nil {
			return errors.Join(err, file.Close())
		}
		if err := file.Sync(); err != nil {
			return errors.Join(err, file.Close())
		}
		return file.Close()
	})
	if err != nil {
		return err
	}
	// Crash here: either file, both are whole.
	return f.around("rename "+step, func() error {
		if err := os.Rename(tmp, path); err != nil {
			return err
		}
		return disk.SyncFolder(filepath.Dir(path))
	})
}
