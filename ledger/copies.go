package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A ledger that recovers or repairs itself keeps what it changes. These copies are bounded: of each sort so many, and so
// many bytes, the newest first. One that may hold a record which the ledger lacks is never removed: while records were
// cut off the ledger is read-only, and nothing is removed from such a folder.
const (
	keptCopies = 5
	keptBytes  = 128 << 20
)

// Kept is a file or folder that lies beside the ledger and is no part of it.
type Kept struct {
	Name  string    `json:"name"`
	Bytes int64     `json:"bytes"`
	At    time.Time `json:"at"`   // when it was changed last
	What  string    `json:"what"` // what it is, and when it may be deleted
}

// keptSorts are the sorts of what lies beside a ledger, by how their names begin.
var keptSorts = []struct {
	prefix string
	what   string
}{
	{beforePrefix, "the end of the stream before a start after an unclean stop, which changed it; " +
		"may be deleted once verify says intact"},
	{asidePrefix, "a damaged stream that a repair replaced; may be deleted once verify says intact and nobody wants to " +
		"know what had happened"},
	{repairDir, "left by a repair that was cut off; the next one removes it, and it may be deleted while none runs"},
}

// KeptCopies lists what a folder's ledger has kept beside itself.
func KeptCopies(dir string) ([]Kept, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var kept []Kept
	for _, e := range entries {
		for _, s := range keptSorts {
			if !strings.HasPrefix(e.Name(), s.prefix) {
				continue
			}
			k, err := keptAt(filepath.Join(dir, e.Name()), s.what)
			if err != nil {
				return nil, err
			}
			kept = append(kept, k)
		}
	}
	return kept, nil
}

// keptAt describes a file or folder.
func keptAt(path, what string) (Kept, error) {
	k := Kept{Name: filepath.Base(path), What: what}
	err := filepath.WalkDir(path, func(_ string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		if info.ModTime().After(k.At) {
			k.At = info.ModTime().UTC()
		}
		if d.Type().IsRegular() {
			k.Bytes += info.Size()
		}
		return nil
	})
	if errors.Is(err, fs.ErrNotExist) {
		err = nil // removed meanwhile
	}
	return k, err
}

// numbered returns the numbers of the folders named prefix and a number, ascending.
func numbered(dir, prefix string) ([]int, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var numbers []int
	for _, e := range entries {
		if text, ok := strings.CutPrefix(e.Name(), prefix); ok {
			if n, err := strconv.Atoi(text); err == nil && n > 0 {
				numbers = append(numbers, n)
			}
		}
	}
	slices.Sort(numbers)
	return numbers, nil
}

// nextNumbered returns the path of the folder that follows those there are.
func nextNumbered(dir, prefix string) (string, error) {
	numbers, err := numbered(dir, prefix)
	if err != nil {
		return "", err
	}
	n := 1
	if len(numbers) > 0 {
		n = numbers[len(numbers)-1] + 1
	}
	return filepath.Join(dir, prefix+strconv.Itoa(n)), nil
}

// boundCopies removes the oldest folders named prefix and a number beyond what is kept. The newest one always stays.
func boundCopies(dir, prefix string, copies int, bytes int64) error {
	numbers, err := numbered(dir, prefix)
	if err != nil {
		return err
	}
	kept := 0
	for _, n := range slices.Backward(numbers) {
		path := filepath.Join(dir, prefix+strconv.Itoa(n))
		k, err := keptAt(path, "")
		if err != nil {
			return err
		}
		kept++
		if bytes -= k.Bytes; kept == 1 || kept <= copies && bytes >= 0 {
			continue
		}
		if err := os.RemoveAll(path); err != nil {
			return fmt.Errorf("removing an old safety copy: %w", err)
		}
	}
	return nil
}
