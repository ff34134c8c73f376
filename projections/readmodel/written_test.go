package readmodel_test

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"
)

// TestWrittenInSteps: the tables are the same whether verdicts are written at each step, of which only what has changed, or all
// at the end; and what a transaction took back is written again by the next one.
func TestWrittenInSteps(t *testing.T) {
	h := week(t, 1)
	half := int64(len(h.facts) / 2)
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	t.Cleanup(func() { m.Close() })
	h.apply(m, half)
	if m.Written() == 0 {
		t.Fatal("nothing is kept of what was written")
	}
	if stations, places := m.Known(); stations == 0 || places == 0 {
		t.Fatalf("%d verdicts of stations and %d places are kept", stations, places)
	}
	if err := m.CancelledWithin(t.Context()); err == nil || m.Written() != 0 {
		t.Errorf("%d trips are kept of a transaction that ended with %v", m.Written(), err)
	}
	if stations, places := m.Known(); stations != 0 || places != 0 {
		t.Errorf("%d verdicts of stations and %d places are kept of a transaction that was taken back", stations, places)
	}
	for n := half; n < int64(len(h.facts)); {
		n = min(n+7, int64(len(h.facts)))
		h.apply(m, n)
	}
	if found, n := differences(t, m, h.filled(), 10); n != 0 {
		t.Errorf("%d rows are others than those of a rebuild: %v", n, found)
	}
}

// TestRowsAreMissing: a file whose last rows somebody took out gives the next record no number of another.
func TestRowsAreMissing(t *testing.T) {
	h := week(t, 1)
	path := filepath.Join(t.TempDir(), "r.db")
	m := open(t, h.book, path)
	h.apply(m, 70)
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(t.Context(), `DELETE FROM events WHERE seq > 68`); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	m = open(t, h.book, path)
	t.Cleanup(func() { m.Close() })
	for _, to := range []int64{71, 106} { // by one statement, and by several
		err := m.Apply(t.Context(), h.book.batch(t, 71, to))
		if err == nil || !strings.Contains(err.Error(), "rows of the table are missing") {
			t.Errorf("records 71 to %d behind row 68: %v", to, err)
		}
		if at := m.Position(); at != 70 {
			t.Fatalf("position %d, want 70", at)
		}
	}
}
