package workplace

import (
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/ledger/disk"
)

// store keeps what people have entered and not yet recorded: one JSON file for
// each thing, replaced whole. After a power cut a file is either the old or the
// new one.
type store struct{ dir string }

// path turns names, which people choose, into a file's path.
func (s store) path(names ...string) string {
	safe := make([]string, len(names))
	for i, n := range names {
		// PathEscape leaves dots alone, and a name may be two dots.
		safe[i] = inFolders(strings.ReplaceAll(url.PathEscape(n), ".", "%2E"))
	}
	return filepath.Join(s.dir, filepath.Join(safe...)) + ".json"
}

// longestName is how many bytes of a name a file's name has: file systems take 255, and a
// letter that is not ASCII becomes six.
const longestName = 200

// inFolders puts a name that is too long for a file's into a folder of its beginning. That
// ends with what no escaped name ends with, so it is no other name's.
func inFolders(name string) string {
	var out string
	for len(name) > longestName {
		out = filepath.Join(out, name[:longestName]+folderEnd)
		name = name[longestName:]
	}
	return filepath.Join(out, name)
}

const folderEnd = "%"

// save is durable when it returns.
func (s store) save(v any, names ...string) (err error) {
	raw, err := json.Marshal(v, jsontext.WithIndent(" "), json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	path := s.path(names...)
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	f, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	// A crash before the rename leaves a temporary file, which is never read.
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("draft: %w", err), os.Remove(f.Name()))
		}
	}()
	_, err = f.Write(raw)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	// Before this the rename itself could be undone by a power cut.
	return disk.SyncFolder(dir)
}

// errUnreadable marks a draft that can't be read: torn, or of a version that
// wrote it otherwise.
var errUnreadable = errors.New("the draft can't be read")

// load reads into v; found is false where there is no file.
func (s store) load(v any, names ...string) (found bool, err error) {
	raw, err := os.ReadFile(s.path(names...))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("draft: %w", err)
	}
	if err := json.Unmarshal(raw, v); err != nil {
		return false, fmt.Errorf("%w: %s: %w", errUnreadable, s.path(names...), err)
	}
	return true, nil
}

// remove forgets what has been recorded.
func (s store) remove(names ...string) error {
	path := s.path(names...)
	err := os.Remove(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	return disk.SyncFolder(filepath.Dir(path))
}

// list returns the names kept under a folder's names.
func (s store) list(names ...string) ([]string, error) {
	return listFolder(strings.TrimSuffix(s.path(names...), ".json"), "")
}

// listFolder lists a folder, in which names begin as given.
func listFolder(dir, begin string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("drafts: %w", err)
	}
	var out []string
	for _, e := range entries {
		if long, ok := strings.CutSuffix(e.Name(), folderEnd); ok && e.IsDir() {
			more, err := listFolder(filepath.Join(dir, e.Name()), begin+long)
			if err != nil {
				return nil, err
			}
			out = append(out, more...)
		}
		base, ok := strings.CutSuffix(e.Name(), ".json")
		if !ok || e.IsDir() {
			continue
		}
		name, err := url.PathUnescape(begin + base)
		if err != nil {
			continue // not one of ours
		}
		out = append(out, name)
	}
	return out, nil
}
