package ledgertest_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// filled returns the options of a folder with three signed records.
func filled(t *testing.T) ledger.Options {
	t.Helper()
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	for prev := range int64(3) {
		note := ledgertest.Note(t, "north/or-3", "x")
		_, err := l.Append(context.Background(),
			ledger.Entry{Station: "north/or-3", Kind: "set.opened", Note: note, ExpectPrev: prev})
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return opts
}

func flipSecondRecord(t *testing.T, opts ledger.Options) {
	t.Helper()
	path := filepath.Join(opts.Dir, "log", proof.EntriesPath(0, 3))
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestCloseVerifies(t *testing.T) {
	t.Run("damaged before it was opened", func(t *testing.T) {
		opts := filled(t)
		flipSecondRecord(t, opts)
		if err := ledgertest.OpenDamaged(t, opts).Close(); err != nil {
			t.Errorf("a test that says it damaged its ledger: %v", err)
		}
		err := ledgertest.Open(t, opts).Close()
		if err == nil || !strings.Contains(err.Error(), "record 2: the record in the entry bundle does not have the "+
			"hash in the tree") {
			t.Errorf("a test that does not: %v", err)
		}
	})
	t.Run("damaged while it was open", func(t *testing.T) {
		opts := filled(t)
		l := ledgertest.Open(t, opts)
		flipSecondRecord(t, opts)
		if err := l.Close(); err == nil || !strings.Contains(err.Error(), "record 2") {
			t.Errorf("Close: %v", err)
		}
	})
	t.Run("whole", func(t *testing.T) {
		opts := filled(t)
		err := ledgertest.OpenDamaged(t, opts).Close()
		if err == nil || !strings.Contains(err.Error(), "finds nothing wrong") {
			t.Errorf("a test that says it damaged its ledger: %v", err)
		}
		l := ledgertest.Open(t, opts)
		if err := l.CloseUnverified(); err != nil {
			t.Error(err)
		}
		if err := l.Close(); err != nil {
			t.Errorf("closed twice: %v", err)
		}
		// As a killed process would leave it: there is nothing to ask any more.
		l = ledgertest.Open(t, opts)
		if err := l.Ledger.Close(); err != nil {
			t.Error(err)
		}
		if err := l.Close(); err != nil {
			t.Errorf("closed behind its back: %v", err)
		}
	})
}
