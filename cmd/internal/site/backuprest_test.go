//go:build !race

package site_test

import (
	"os"
	"path/filepath"
	"testing"

	"listbound/cmd/internal/site"
)

// What is neither records nor made anew is in a backup: keys, settings, drafts, words, witnesses.
func TestBackupHasTheRest(t *testing.T) {
	dir, _ := witnessed(t)
	for name, text := range map[string]string{"drafts/north_or-3": "{}", "words/fr.json": "{}", "settings.json": "{}", "left.tmp": "x",
		"drafts/paper/X.json": "{}"} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	to := filepath.Join(t.TempDir(), "backup")
	b, err := site.Backup(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)}, to, nil)
	if err != nil || b.Keys < 2 {
		t.Fatalf("%+v, %v", b, err)
	}
	for name, want := range map[string]bool{
		"keys/north_ledger.key": true, "drafts/north_or-3": true, "words/fr.json": true, "settings.json": true, "witnesses.txt": true,
		"drafts/paper": false, "left.tmp": false, "readmodel.db": false, "stream": false, "owner.lock": false,
	} {
		info, err := os.Stat(filepath.Join(to, filepath.FromSlash(name)))
		if (err == nil) != want {
			t.Errorf("%s: %v", name, err)
		}
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s may be read by others: %v", name, info.Mode())
		}
	}
}
