//go:build !race

package readmodel_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// twoModels returns a week, the model that followed it with its file, and one made afresh of the same records.
func twoModels(t *testing.T) (h *hospital, path string, m, fresh *readmodel.Model) {
	t.Helper()
	h, path = week(t, 2), filepath.Join(t.TempDir(), "r.db")
	m = h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	return h, path, m, h.filled()
}

// TestDifferences: what somebody changes in the file is named by table, row and column, whatever it is; where nothing was
// changed, nothing is.
func TestDifferences(t *testing.T) {
	h, path, m, fresh := twoModels(t)
	if found, n := differences(t, m, fresh, 10); n != 0 {
		t.Fatalf("untouched: %v", found)
	}
	db := beside(t, path)
	trip := tripOf("LAP-014", 0)
	hexed := strings.ReplaceAll(trip, "-", "")
	for _, x := range []struct{ name, broke, want string }{
		{"an event", `UPDATE events SET operator = operator || 'x', station = 'a' WHERE seq = 9`,
			"table events: the row of record 9 is changed in station"},
		{"a row that is gone", `DELETE FROM trips WHERE hex(trip) = upper('` + hexed + `')`,
			`table trips: the row of "LAP-014" ` + trip + ` is missing`},
		{"one that was put there",
			`INSERT INTO stations (name, key, enrolled, retired, last, count, hash, observed, signed, keys, until, verdict)
			SELECT 'zzz', key, enrolled, retired, last, count, hash, observed, signed, keys, until, verdict FROM stations LIMIT 1`,
			`table stations: the row of "zzz" is added`},
		{"before all others", `INSERT INTO marks (what, mark, seq) SELECT what, x'00', seq FROM marks ORDER BY what LIMIT 1`, `is added`},
		{"a finding", `UPDATE findings SET severity = severity || 'x' WHERE set_id = 'LAP-022'`,
			`is changed in severity`},
		{"a view", `CREATE VIEW zzz AS SELECT 1`, `table sqlite_master: the row of "view" "zzz" is added`},
		{"what a verdict rests on", `DELETE FROM rests_on WHERE ask = (SELECT min(ask) FROM rests_on)`,
			"table rests_on: the row of some trip is another one than its verdict rests on"},
		{"and what can't be read", `INSERT INTO rests_on (ask, until, since, owners) VALUES (1, 1, 1, x'ff')`, "table rests_on: "},
		{"nor of the trip's own", `UPDATE trips SET rests = x'ff' WHERE hex(trip) = upper('` + hexed + `')`, "table rests_on: "},
	} {
		change(t, db, x.broke)
		found, _ := differences(t, m, fresh, 1000)
		if !slices.ContainsFunc(found, func(d readmodel.Difference) bool { return strings.Contains(d.String(), x.want) }) {
			t.Errorf("%s: %v, want %s", x.name, found, x.want)
		}
	}
	found, n := differences(t, m, fresh, 2)
	if len(found) != 2 || n < 7 {
		t.Errorf("at most two of all: %d of %d", len(found), n)
	}
	for _, d := range found {
		if (d.Table == "events") != (d.Seq == 9) {
			t.Errorf("the record of %v is %d", d, d.Seq)
		}
	}
	dead, cancel := context.WithCancel(t.Context())
	s := got[*readmodel.Snapshot](t)(m.Snapshot(t.Context()))
	defer s.Close()
	cancel()
	if _, _, err := s.Differences(dead, fresh, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("given up: %v", err)
	}
	h.record("north/ledger", clock(10, 6, 0), "LAP-014", trip, &events.SetChecked{Place: "A1"})
	h.apply(fresh, int64(len(h.facts)))
	if _, _, err := s.Differences(t.Context(), fresh, 2); err == nil || !strings.Contains(err.Error(), "can't be compared") {
		t.Errorf("of other records: %v", err)
	}
}

// TestEachColumnOfEvents: whatever one column of an event's row holds otherwise, the row and the column are named, and so is a row too
// many or too few.
func TestEachColumnOfEvents(t *testing.T) {
	_, path, m, fresh := twoModels(t)
	db := beside(t, path)
	db.SetMaxOpenConns(1) // which has the temporary table
	change(t, db, `CREATE TEMP TABLE kept AS SELECT * FROM events`)
	columns := column(t, db, `SELECT name FROM pragma_table_info('events') WHERE name <> 'seq'`)
	if len(columns) < 20 {
		t.Fatalf("columns: %v", columns)
	}
	type broken struct{ name, by, want string }
	breaks := []broken{
		{"another kind of value", `UPDATE events SET id = CAST(id AS TEXT) WHERE seq = 9`, "the row of record 9 is changed in id"},
		{"a row too many", `INSERT INTO events SELECT 4711, id, kind, station, subject, trip, observed, recorded, remarks, case_ref, load,
			sterilizer, positive, list, sheet_trip, tray, corrects, operator, named, entry, washer_load, ran, begun
			FROM events WHERE seq = 9`, "the row of record 4711 is added"},
		{"a row too few", `DELETE FROM events WHERE seq = 9`, "the row of record 9 is missing"},
		{"one under another number", `UPDATE events SET seq = 4711 WHERE seq = 9`, "the row of record 4711 is added"},
	}
	for _, c := range columns {
		breaks = append(breaks, broken{c, fmt.Sprintf(`UPDATE events SET %[1]s = CASE typeof(%[1]s) WHEN 'integer' THEN %[1]s + 1
			WHEN 'null' THEN 'x' ELSE %[1]s || 'x' END WHERE seq = 9`, c), "the row of record 9 is changed in " + c})
	}
	for _, x := range breaks {
		change(t, db, x.by)
		found, _ := differences(t, m, fresh, 10)
		if !slices.ContainsFunc(found, func(d readmodel.Difference) bool { return strings.HasSuffix(d.String(), x.want) }) {
			t.Errorf("%s: %v, want %s", x.name, found, x.want)
		}
		change(t, db, `DELETE FROM events`)
		change(t, db, `INSERT INTO events SELECT * FROM kept`)
	}
	if found, n := differences(t, m, fresh, 10); n != 0 {
		t.Errorf("put right: %v", found)
	}
}

// TestRestsAreHeldAgainstTheirTrips: of what a verdict rests on each part counts: the question, from when and until when it is
// asked, and whose it is. What is put right again is no difference.
func TestRestsAreHeldAgainstTheirTrips(t *testing.T) {
	_, path, m, fresh := twoModels(t)
	db := beside(t, path)
	type row struct {
		ask, until, since int64
		owners            []byte
	}
	var whole row
	if err := db.QueryRowContext(t.Context(), `SELECT ask, until, since, owners FROM rests_on LIMIT 1`).
		Scan(&whole.ask, &whole.until, &whole.since, &whole.owners); err != nil {
		t.Fatal(err)
	}
	replace := func(old, by row) {
		change(t, db, fmt.Sprintf(`DELETE FROM rests_on WHERE ask = %d AND until = %d AND since = %d AND owners = x'%x'`,
			old.ask, old.until, old.since, old.owners))
		change(t, db, fmt.Sprintf(`INSERT INTO rests_on VALUES (%d, %d, %d, x'%x')`, by.ask, by.until, by.since, by.owners))
	}
	for name, alter := range map[string]func(r *row){
		"question": func(r *row) { r.ask++ },
		"end":      func(r *row) { r.until++ },
		"begin":    func(r *row) { r.since++ },
		"owner":    func(r *row) { r.owners[1] = 'Z' }, // behind its length stands its set's name
	} {
		other := whole
		other.owners = slices.Clone(whole.owners)
		alter(&other)
		replace(whole, other)
		if found, n := differences(t, m, fresh, 10); n != 1 || found[0].Table != "rests_on" {
			t.Errorf("another %s: %v", name, found)
		}
		replace(other, whole)
		if found, n := differences(t, m, fresh, 10); n != 0 {
			t.Errorf("put right: %v", found)
		}
	}
}

// TestDamagedIndexIsTold: the board is read by an index, and what stands in that alone is held against its table.
func TestDamagedIndexIsTold(t *testing.T) {
	_, path, m, fresh := twoModels(t)
	db := beside(t, path)
	db.SetMaxOpenConns(1)
	// The entries stay as they are, and the index is another one by its words.
	for _, statement := range []string{"PRAGMA writable_schema = ON", "PRAGMA schema_version = 4711",
		"UPDATE sqlite_master SET sql = 'CREATE INDEX board_worst ON board (worst DESC, since, set_id, trip)' WHERE name = 'board_worst'"} {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	found, _ := differences(t, m, fresh, 10)
	if !slices.ContainsFunc(found, func(d readmodel.Difference) bool {
		return strings.Contains(d.String(), "its file is damaged: ") && strings.Contains(d.String(), "board_worst")
	}) {
		t.Errorf("told: %v", found)
	}
}

// TestCausesThatCannotBeRead: a board that can't be grouped is an error, and no set is left out of it.
func TestCausesThatCannotBeRead(t *testing.T) {
	h := week(t, 2)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	if ins, err := m.Incidents(t.Context()); err != nil || len(ins) == 0 {
		t.Fatalf("%d incidents, %v", len(ins), err)
	}
	if !m.IncidentsAreKept() {
		t.Error("each page would have them reckoned anew")
	}
	db := beside(t, path)
	for _, causes := range []string{"", "sheet-swapped\tmark\t1\t0\n", "sheet-swapped\tmark\tx\t0\tlink\n",
		"sheet-swapped\tmark\t1\tx\tlink\n", "sheet-swapped\n"} {
		change(t, db, "UPDATE board SET causes = '"+causes+"' WHERE set_id = (SELECT min(set_id) FROM board)")
		m.ForgetIncidents()
		if ins, err := m.Incidents(t.Context()); err == nil {
			t.Errorf("%q: %d incidents", causes, len(ins))
		}
	}
}

// TestSearchThatCannotRead: a search that could not look everywhere is an error, and not that nothing is there.
func TestSearchThatCannotRead(t *testing.T) {
	h := week(t, 2)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	for _, broken := range []bool{false, true} {
		if broken {
			change(t, beside(t, path), "ALTER TABLE findings RENAME TO gone")
		}
		if hits, err := m.Find(t.Context(), "no such lock", false); (err != nil) != broken {
			t.Errorf("broken %t: %v, %v", broken, hits, err)
		}
	}
}

// TestHeadOfAKey: from which number a station's key goes on, by records that came in any order; a key that signed nothing
// begins.
func TestHeadOfAKey(t *testing.T) {
	h := week(t, 2)
	m := h.filled()
	for name, st := range h.stations {
		if st.vkey == "" || st.n == 0 {
			continue
		}
		v := got[note.Verifier](t)(note.NewVerifier(st.vkey))
		number, hash, err := m.Head(t.Context(), name, v.KeyHash())
		if err != nil || number < 1 || number > st.n || hash == "" || number == st.n && hash != st.hash {
			t.Errorf("%s goes on from %d %q, %v; it signed %d", name, number, hash, err, st.n)
		}
	}
	if number, hash, err := m.Head(t.Context(), "north/or-3", 1); number != 0 || hash != "" || err != nil {
		t.Errorf("another key goes on from %d %q, %v", number, hash, err)
	}
}

// TestUntroubled: those trips in whose verdicts nothing is found, and no others.
func TestUntroubled(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(0, 5, 0), "MIN", 1, 6)
	for n, set := range []string{"MIN-1", "MIN-2"} { // of the second a list is named that nobody issued
		h.record("north/packing-1", clock(0, 6, n), set, tripOf(set, 0), &events.SetPacked{List: "MIN", Version: int64(1 + n)})
	}
	h.now = clock(0, 6, 5)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	var keys []projections.TripKey
	want := make(map[projections.TripKey]bool)
	for _, v := range h.verdicts() {
		k := projections.TripKey{Set: v.Set, Trip: v.Trip}
		if keys = append(keys, k); len(v.Findings) == 0 {
			want[k] = true
		}
	}
	keys = append(keys, projections.TripKey{Set: "LAP-014", Trip: id(clock(0, 0, 0), "nobody's")})
	kept, err := m.Untroubled(t.Context(), keys)
	if err != nil || len(kept) != len(want) || len(want) != 1 || len(keys) != 3 {
		t.Fatalf("%d of %d in %d, %v", len(kept), len(want), len(keys), err)
	}
	for k, v := range kept {
		if !want[k] || v.Set != k.Set || v.Trip != k.Trip {
			t.Errorf("%v: %+v", k, v)
		}
	}
}

// TestLastMapped: the newest mapping of a site's records, of that site.
func TestLastMapped(t *testing.T) {
	h := newHospital(t, 1)
	m := h.filled()
	last := func(site string) int64 { return got[int64](t)(m.LastMapped(t.Context(), site)) }
	if seq := last("north"); seq != 0 {
		t.Errorf("of none: %d", seq)
	}
	for n := range 2 {
		h.record("north/ledger", clock(1, 6, n), "north", "", &events.RecordsMapped{Upto: int64(n + 1), From: 1, Size: 1,
			Root: strings.Repeat("0", 64)})
		h.apply(m, int64(len(h.facts)))
	}
	if seq := last("north"); seq != int64(len(h.facts)) {
		t.Errorf("the newest is %d of %d", seq, len(h.facts))
	}
	if seq := last("south"); seq != 0 {
		t.Errorf("of another site: %d", seq)
	}
}

// TestLastPacked: when a badge packed last, by what it observed; and no time of one that never did.
func TestLastPacked(t *testing.T) {
	h := week(t, 2)
	m := h.filled()
	last := make(map[string]time.Time)
	for _, f := range h.facts {
		if f.Event != nil && f.Event.Kind() == events.KindSetPacked && f.Event.Time.After(last[f.Event.Operator]) {
			last[f.Event.Operator] = f.Event.Time
		}
	}
	if len(last) == 0 {
		t.Fatal("nobody packed")
	}
	last["B-never"] = time.Time{}
	for badge, want := range last {
		if badge == "" {
			continue
		}
		if at, err := m.LastPacked(t.Context(), badge); err != nil || !at.Equal(want) {
			t.Errorf("%s packed last at %s, %v; want %s", badge, at, err, want)
		}
	}
}

// TestCasesAt: the cases of a room, the last first, each with when its first set was opened there.
func TestCasesAt(t *testing.T) {
	h := week(t, 2)
	m := h.filled()
	opened := make(map[string]map[string]time.Time) // by station and case, the first
	for _, f := range h.facts {
		if f.Event == nil || f.Event.Kind() != events.KindSetOpened {
			continue
		}
		of, ref := opened[f.Event.Station], events.CaseOf(f.Event.Data)
		if of == nil {
			of = make(map[string]time.Time)
			opened[f.Event.Station] = of
		}
		if at := of[ref]; at.IsZero() || f.Event.Time.Before(at) {
			of[ref] = f.Event.Time
		}
	}
	found := 0
	for station, of := range opened {
		all, err := m.CasesAt(t.Context(), station, 1000)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range all {
			if at := of[c.Case]; !c.At.Equal(at) || c.Sets < 1 || i > 0 && c.At.After(all[i-1].At) {
				t.Errorf("%s: %+v, opened first at %s", station, c, at)
			}
		}
		last, err := m.CasesAt(t.Context(), station, 2)
		if err != nil || !slices.Equal(last, all[:min(2, len(all))]) {
			t.Errorf("%s: the last two are %+v, %v", station, last, err)
		}
		found += len(all)
	}
	if found == 0 {
		t.Error("no room had a case")
	}
}
