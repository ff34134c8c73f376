//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/ledger/ledgertest"
)

// Of many records each part is held against the tree before it is written.
func TestCopyOfMany(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 17_000, 0)
	o := copyOptions(t)
	c := openCopy(t, o)
	log := &shownLog{l: l, change: func(name string, data []byte) []byte {
		if name == "tile/entries/002" {
			data[bytes.Index(data, []byte("after 600, 4:"))]++
		}
		return data
	}}
	if _, err := c.Take(ctx, log); err == nil || !strings.Contains(err.Error(), "record 605 ") {
		t.Fatalf("a changed record among many: %v", err)
	}
	if _, err := os.Stat(filepath.Join(o.Dir, "log", "tile")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("something of a part with a changed record was written: %v", err)
	}
	log.change = nil
	if _, err := c.Take(ctx, log); err != nil {
		t.Fatal(err)
	}
	sameRecords(t, c, l)
	if !slices.ContainsFunc(log.asked, func(name string) bool { return strings.HasPrefix(name, "tile/0/") }) {
		t.Error("no tile was asked for")
	}
}
