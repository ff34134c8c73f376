package ledger

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// On Windows a mode says nothing of who may read a key, and no folder can be synced; elsewhere both count.
func TestSystems(t *testing.T) {
	refused := errors.New("access is denied")
	fsync := func(*os.File) error { return refused }
	for goos, strict := range map[string]bool{"linux": true, "darwin": true, "freebsd": true, "windows": false} {
		s := systemOf(goos)
		if err := s.ownersAlone("k", 0o666); (err != nil) != strict {
			t.Errorf("%s: a key of mode 0666: %v", goos, err)
		}
		if err := s.ownersAlone("k", 0o600); err != nil {
			t.Errorf("%s: a key of mode 0600: %v", goos, err)
		}
		if err := s.syncFolder(t.TempDir(), fsync); (err != nil) != strict {
			t.Errorf("%s: a folder that can't be synced: %v", goos, err)
		}
		if err := syncTreeOn(s, filepath.Join(t.TempDir(), "none"), fsync); strict && err == nil {
			t.Errorf("%s: a tree that can't be synced is synced", goos)
		} else if !strict && err != nil {
			t.Errorf("%s: %v", goos, err)
		}
	}
	if thisSystem() != systemOf(runtime.GOOS) {
		t.Error("this system is taken for another one")
	}
}
