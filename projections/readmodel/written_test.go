package readmodel_test

import (
	"database/sql"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
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
		if err == nil || !strings.Contains(err.Error(), "rows of the table are missing or too many") {
			t.Errorf("records 71 to %d behind row 68: %v", to, err)
		}
		if at := m.Position(); at != 70 {
			t.Fatalf("position %d, want 70", at)
		}
	}
}

// TestNoRoomForRows: where the disk has no room for a batch's rows, nothing is written of what it says of earlier records either:
// SQLite then goes back by itself, and what came behind that would be written alone.
func TestNoRoomForRows(t *testing.T) {
	h := week(t, 1)
	for i := range 300 {
		at := clock(10, 7, 0).Add(time.Duration(i) * time.Second)
		h.record("north/storage", at, "EYE-3", tripOf("EYE-3", 2), &events.SetChecked{Place: "B1"})
	}
	of := slices.IndexFunc(h.facts, func(f facts.Fact) bool { return len(f.Was) > 0 })
	if of < 0 {
		t.Fatal("nothing is said of an earlier record")
	}
	by := int64(slices.IndexFunc(h.facts, func(f facts.Fact) bool { return f.Recorded.Equal(h.facts[of].Was[0].Until) }))
	all := int64(len(h.facts))
	path := filepath.Join(t.TempDir(), "r.db")
	m := open(t, h.book, path)
	t.Cleanup(func() { m.Close() })
	h.apply(m, by)
	if err := m.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	before := rowsOf(t, path)
	if err := m.SetFull(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	if err := m.Apply(t.Context(), h.book.batch(t, by+1, all)); err == nil || !strings.Contains(err.Error(), "full") {
		t.Fatalf("written where there was no room: %v", err)
	}
	sameStrings(t, "without room", rowsOf(t, path), before)
	if err := m.SetFull(t.Context(), false); err != nil {
		t.Fatal(err)
	}
	h.apply(m, all)
	sameVerdicts(t, "with room again", h, m)
}

// rowsOf returns what a file says of its records.
func rowsOf(t *testing.T, path string) []string {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	return column(t, db, `SELECT seq || ' ' || remarks FROM events UNION ALL
		SELECT seq || ' was ' || remarks FROM remarked ORDER BY 1`)
}
