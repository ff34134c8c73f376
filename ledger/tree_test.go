package ledger

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"listbound/ledger/disk"
)

// TestSyncTree: what can't be synced is said, but where names need no syncing a folder is left out.
func TestSyncTree(t *testing.T) {
	refused := errors.New("access is denied")
	dir := filepath.Join(t.TempDir(), "tree")
	if err := os.MkdirAll(filepath.Join(dir, "sub"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "sub", "1.blk"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for goos, folders := range map[string]int{"linux": 3, "windows": 0} {
		s := disk.Of(goos)
		var of []bool
		err := syncTreeOn(s, dir, func(f *os.File) error {
			info, err := f.Stat()
			of = append(of, err == nil && info.IsDir())
			return err
		})
		synced := 0
		for _, is := range of {
			if is {
				synced++
			}
		}
		if err != nil || synced != folders || len(of) != folders+1 {
			t.Errorf("%s: %d folders and %d files, %v", goos, synced, len(of)-synced, err)
		}
		if err := syncTreeOn(s, dir, func(*os.File) error { return refused }); !errors.Is(err, refused) {
			t.Errorf("%s: a tree that can't be synced is synced: %v", goos, err)
		}
		gone := filepath.Join(t.TempDir(), "none", "tree")
		if err := syncTreeOn(s, gone, (*os.File).Sync); (err != nil) != (folders > 0) {
			t.Errorf("%s: a tree in a folder that isn't there: %v", goos, err)
		}
	}
}
