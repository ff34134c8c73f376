//go:build !race

package readmodel_test

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"listbound/projections/readmodel"
)

// TestTableThatIsGone: a table that somebody took out of the file isn't taken for the one of the model that it is held against.
func TestTableThatIsGone(t *testing.T) {
	_, path, m, fresh := twoModels(t)
	db := beside(t, path)
	tables := column(t, db, `SELECT name FROM main.sqlite_master WHERE type = 'table' AND name IN ('events', 'remarked', 'marks', 'schedule',
		'spans', 'trips', 'findings', 'openings', 'board', 'stations', 'rests_on')`)
	if len(tables) < 9 {
		t.Fatalf("tables: %v", tables)
	}
	for _, table := range tables {
		change(t, db, fmt.Sprintf(`ALTER TABLE %s RENAME TO gone`, table))
		s := got[*readmodel.Snapshot](t)(m.Snapshot(t.Context()))
		if found, _, err := s.Differences(t.Context(), fresh, 2); err == nil && len(found) == 0 {
			t.Errorf("without the table %s nothing differs", table)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		change(t, db, fmt.Sprintf(`ALTER TABLE gone RENAME TO %s`, table))
	}
	if found, _ := differences(t, m, fresh, 2); len(found) > 0 {
		t.Errorf("put right: %v", found)
	}
}

// TestNothingStaysAttached: whenever a comparison is given up, no question is asked of a connection that has the other file.
func TestNothingStaysAttached(t *testing.T) {
	_, _, m, fresh := twoModels(t)
	for n := range 400 {
		s := got[*readmodel.Snapshot](t)(m.Snapshot(t.Context()))
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(n)*time.Microsecond)
		_, _, _ = s.Differences(ctx, fresh, 2) // whichever error it is
		cancel()
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if names := m.Attached(t.Context()); len(names) > 0 {
			t.Fatalf("given up after %d µs: %v stays attached", n, names)
		}
	}
}

// TestWithoutATable: a file of which somebody took a table starts empty, and is not an error at each start from then on.
func TestWithoutATable(t *testing.T) {
	h := week(t, 2)
	path := filepath.Join(t.TempDir(), "r.db")
	tables := []string{""} // until the first file is there
	for i := 0; i < len(tables); i++ {
		m := h.again(open(t, h.book, path), path)
		h.apply(m, 20)
		if err := m.Close(); err != nil {
			t.Fatal(err)
		}
		db := beside(t, path)
		if i == 0 {
			tables = column(t, db, `SELECT name FROM sqlite_master WHERE type = 'table'`)
		}
		change(t, db, fmt.Sprintf(`ALTER TABLE %s RENAME TO gone`, tables[i]))
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		m = open(t, h.book, path)
		if n := m.Position(); n != 0 {
			t.Errorf("without the table %s it begins at %d", tables[i], n)
		}
		if err := m.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(tables) < 13 {
		t.Errorf("tables: %v", tables)
	}
}
