package ledger_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// TestLockDeleted: a deleted owner.lock ("a stale lock", or a tool that tidies up) lets no second program in, and
// stops nobody.
func TestLockDeleted(t *testing.T) {
	t.Parallel()
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	last := fill(t, l, "north/or-3", 0, 3, 0)
	for _, name := range []string{"owner.lock", "owner.json"} {
		if err := os.Remove(filepath.Join(opts.Dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	var owned *ledger.OwnedError
	if _, err := ledger.Open(context.Background(), opts); !errors.As(err, &owned) {
		t.Errorf("opened twice: %v", err)
	}
	fill(t, l, "north/or-3", last, 3, 0)
}

// TestTwoWriters: where locks reach nobody else, as on a disk that two machines share, the program whose folder was
// taken acknowledges nothing more and signs nothing more, and the other loses nothing.
func TestTwoWriters(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name string
		when string // before which step of the first the second takes the folder; "": between two appends
	}{
		{"between two appends", ""},
		{"before its write", "publish"},
		{"after its write", "sync stream"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			opts := ledgertest.Options(t)
			opts.CheckpointEvery = time.Hour
			when := ""
			opts.SetFaults(ledger.NewFaults(func(step string) error {
				if when != "" && step == when {
					when = ""
					takeFolder(t, opts.Dir)
				}
				return nil
			}, nil))
			l, err := ledger.Open(t.Context(), opts)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := l.Append(t.Context(), entry(t, "north/or-3", "one", 0)); err != nil {
				t.Fatal(err)
			}
			before, err := l.Checkpoint(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if when = test.when; when == "" {
				takeFolder(t, opts.Dir)
			}
			_, err = l.Append(t.Context(), entry(t, "north/or-3", "two", 1))
			if err == nil || !strings.Contains(err.Error(), "another program has taken the folder: other, process 4711") {
				t.Errorf("recorded in another's folder: %v", err)
			}
			if unknown := errors.Is(err, ledger.ErrUnknownOutcome); unknown == (test.when == "") {
				t.Errorf("unknown outcome %v: %v", unknown, err)
			}
			_, err = l.Append(t.Context(), entry(t, "north/or-3", "three", 1))
			if !errors.Is(err, ledger.ErrStopped) || !errors.Is(l.Writable(), ledger.ErrStopped) {
				t.Errorf("recorded again: %v, %v", err, l.Writable())
			}
			if err := l.Close(); err != nil && !strings.Contains(err.Error(), "another program") {
				t.Error(err)
			}
			after, err := os.ReadFile(filepath.Join(opts.Dir, "log", "checkpoint"))
			if err != nil || string(after) != string(before) {
				t.Errorf("signed in another's folder: %q, %v", after, err)
			}
			if _, err := os.Stat(filepath.Join(opts.Dir, "owner.json")); err != nil {
				t.Errorf("the other's name was removed: %v", err)
			}
		})
	}
}

// takeFolder does what another program does first that opens a folder.
func takeFolder(t *testing.T, dir string) {
	t.Helper()
	path := filepath.Join(dir, "owner.json")
	text := []byte(`{"pid":4711,"command":"other","since":"2026-03-02T06:00:00Z","token":"other"}`)
	if err := os.WriteFile(path+".new", text, 0o600); err != nil {
		t.Error(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Error(err)
	}
}

// TestSignedByAnother: a checkpoint that somebody else wrote is not replaced.
func TestSignedByAnother(t *testing.T) {
	t.Parallel()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	l, err := ledger.Open(t.Context(), opts)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Append(t.Context(), entry(t, "north/or-3", "one", 0)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(opts.Dir, "log", "checkpoint")
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	other := strings.Replace(string(old), "\n0\n", "\n7\n", 1)
	if err := os.WriteFile(path, []byte(other), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := l.Checkpoint(t.Context()); err == nil || !strings.Contains(err.Error(), "log/checkpoint was written by another program") {
		t.Errorf("signed over another's checkpoint: %v", err)
	}
	if err := l.Close(); err == nil {
		t.Error("the end signed over another's checkpoint")
	}
	if now, err := os.ReadFile(path); err != nil || string(now) != other {
		t.Errorf("%q, %v", now, err)
	}
}

// TestFolderReplaced: who writes by the old name of a renamed folder would write into another one.
func TestFolderReplaced(t *testing.T) {
	t.Parallel()
	opts := ledgertest.Options(t)
	opts.Dir = filepath.Join(opts.Dir, "data")
	l, err := ledger.Open(t.Context(), opts)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Append(t.Context(), entry(t, "north/or-3", "one", 0)); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(opts.Dir, opts.Dir+"-old"); err != nil {
		t.Fatal(err)
	}
	copyTree(t, opts.Dir, opts.Dir+"-old")
	_, err = l.Append(t.Context(), entry(t, "north/or-3", "two", 1))
	if !errors.Is(err, ledger.ErrStopped) || !strings.Contains(err.Error(), "renamed or replaced") {
		t.Errorf("recorded in a folder that was renamed: %v", err)
	}
	l.Close() //nolint:errcheck // its folder is gone
	if err := os.RemoveAll(opts.Dir); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(opts.Dir+"-old", opts.Dir); err != nil {
		t.Fatal(err)
	}
	again := ledgertest.Open(t, opts)
	if again.Size() != 1 {
		t.Errorf("%d records", again.Size())
	}
}
