package site

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"listbound/ledger/disk"
)

// A station whose key lay here and that now keeps one of its own leaves no key behind: whoever has the folder could sign, as
// that station, what it is said to have observed before. That its earlier records were signed at the server stays known, in a
// file beside the keys, so that no bundle calls them the station's own work.

// formerSuffix is that of a station's file with a line for each key that lay here: the key, and the record that replaced it.
const formerSuffix = ".former"

func (s *Site) formerPath(station string) string {
	return strings.TrimSuffix(s.keyPath(station), keySuffix) + formerSuffix
}

// leaveKey removes the key that lies here of a station which a record enrolled with another one.
func (s *Site) leaveKey(station, enrolled string, seq int64) error {
	s.intake.Lock()
	defer s.intake.Unlock()
	old := s.keyHere(station)
	if old == "" || old == enrolled {
		return nil
	}
	path := s.formerPath(station)
	had, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the former key of %s: %w", station, err)
	}
	line := fmt.Sprintf("%s %d\n", old, seq)
	if err := disk.Write(filepath.Dir(path), filepath.Base(path), append(had, line...)); err != nil {
		return fmt.Errorf("the former key of %s: %w", station, err)
	}
	delete(s.signers, station)
	s.keysHere.Delete(station)
	if err := os.Remove(s.keyPath(station)); err != nil {
		return fmt.Errorf("the former key of %s: %w", station, err)
	}
	return disk.SyncFolder(filepath.Dir(path))
}

// signedHere reports whether a record of a station from a number on may have been signed by a key that lay here.
func (s *Site) signedHere(station string, from int64) (bool, error) {
	raw, err := os.ReadFile(s.formerPath(station))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("the former key of %s: %w", station, err)
	}
	for line := range strings.Lines(string(raw)) {
		_, until, _ := strings.Cut(strings.TrimSpace(line), " ")
		n, err := strconv.ParseInt(until, 10, 64)
		if err != nil || from < n { // what can't be read vouches for nothing
			return true, nil
		}
	}
	return false, nil
}
