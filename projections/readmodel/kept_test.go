package readmodel_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/fnv"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

// beside opens a model's file as another program would.
func beside(t *testing.T, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func change(t *testing.T, db *sql.DB, q string, args ...any) {
	t.Helper()
	if _, err := db.ExecContext(t.Context(), q, args...); err != nil {
		t.Fatal(err)
	}
}

// column returns what a query for one column finds, as text.
func column(t *testing.T, db *sql.DB, q string, args ...any) (out []string) {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), q, args...)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// again closes a model and opens its file once more.
func (h *hospital) again(m *readmodel.Model, path string) *readmodel.Model {
	h.t.Helper()
	if err := m.Close(); err != nil {
		h.t.Fatal(err)
	}
	m = got[*readmodel.Model](h.t)(readmodel.Open(h.t.Context(),
		readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book, Moment: h.now}))
	h.t.Cleanup(func() { m.Close() })
	return m
}

// TestOneRecord: a model that knows a single record has all that a larger one has.
func TestOneRecord(t *testing.T) {
	ctx := t.Context()
	h := bareHospital(t, 1)
	name, trip := h.book.signer.Name(), tripOf("LAP-014", 0)
	h.record(name, clock(0, 6, 0), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	if changed := got[bool](t)(m.Advance(ctx, clock(0, 7, 0))); changed || !m.Moment().Equal(clock(0, 7, 0)) {
		t.Errorf("an empty model changed: %t, and is at %s", changed, m.Moment())
	}
	if due := got[time.Time](t)(m.Due(ctx)); !due.IsZero() {
		t.Errorf("an empty model is due at %s", due)
	}
	h.apply(m, 1)
	h.now = got[time.Time](t)(m.Due(ctx))
	if !h.now.After(clock(0, 7, 0)) || !got[bool](t)(m.Advance(ctx, h.now)) {
		t.Errorf("due at %s, and nothing changes then", h.now)
	}
	sameVerdicts(t, "in time", h, m)

	db := beside(t, path)
	had := column(t, db, `SELECT name FROM sqlite_master WHERE type = 'index' ORDER BY name`)
	change(t, db, `DROP INDEX events_trip`) // as if the program had been killed before it made this one
	m = h.again(m, path)
	sameStrings(t, "indexes", column(t, db, `SELECT name FROM sqlite_master WHERE type = 'index' ORDER BY name`), had)
	h.record(name, clock(0, 8, 0), "LAP-014", trip, &events.SetSterilized{Load: "S2-04", Sterilizer: "S2", Run: 4,
		Cycle: "c", Result: "passed", Released: true})
	h.apply(m, 2)
	sameVerdicts(t, "opened again", h, m)
}

// TestStationsAreKept: what a record says of another station is kept with the record, before that one has
// recorded anything itself.
func TestStationsAreKept(t *testing.T) {
	h := newHospital(t, 1)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	for seq := range int64(len(h.facts)) {
		h.apply(m, seq+1)
		m = h.again(m, path)
	}
	sameVerdicts(t, "enrolled", h, m)
	const spare = "south/spare"
	h.record(h.book.signer.Name(), clock(0, 6, 0), spare, "", &events.StationRetired{Station: spare, Reason: "sold"})
	h.apply(m, int64(len(h.facts)))
	m = h.again(m, path)
	if st := m.Station(spare); st == nil || st.Retired != int64(len(h.facts)) {
		t.Errorf("retired, and kept as %+v", st)
	}
	h.record(spare, clock(0, 7, 0), "LAP-014", tripOf("LAP-014", 0), &events.SetChecked{Place: "A"})
	// Only the ledger enrols: this counts for nothing, and makes no station known.
	const none = "south/none"
	h.record("north/or-3", clock(0, 8, 0), none, "", &events.StationEnrolled{Station: none, Key: h.key(none).vkey})
	h.apply(m, int64(len(h.facts)))
	sameVerdicts(t, "retired", h, m)
	for _, f := range h.facts[len(h.facts)-2:] {
		if r := got[events.Remark](t)(m.RemarksOf(t.Context(), f.Seq)); r == 0 || r != f.Remarks {
			t.Errorf("record %d has the remarks %v, want %v", f.Seq, r, f.Remarks)
		}
	}
}

// TestPolicyTouchesStations: a policy that comes late says at once which of its site's stations are silent, and
// retiring one ends the wait for it.
func TestPolicyTouchesStations(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	for i, name := range []string{"north/or-3", "north/storage", "south/or-1"} {
		h.record(name, clock(0, 8, i), "LAP", "", &events.ListIssued{List: "LAP", Version: int64(i + 1), Title: "x",
			Lines: []events.Line{{Line: 1, Item: "i", Description: "d", Quantity: 1}}})
	}
	h.now = clock(1, 3, 0)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	if due := got[time.Time](t)(m.Due(ctx)); !due.IsZero() {
		t.Errorf("without a policy a station is due at %s", due)
	}
	impatient(h)
	h.apply(m, int64(len(h.facts)))
	sameVerdicts(t, "before they are silent", h, m)
	if due, want := got[time.Time](t)(m.Due(ctx)), clock(1, 4, 0); !due.Equal(want) {
		t.Errorf("due at %s, want %s", due, want)
	}
	h.record(h.book.signer.Name(), clock(0, 9, 0), "north/or-3", "",
		&events.StationRetired{Station: "north/or-3", Reason: "sold"})
	h.apply(m, int64(len(h.facts)))
	sameVerdicts(t, "one retired", h, m)
	if due, want := got[time.Time](t)(m.Due(ctx)), clock(1, 4, 1); !due.Equal(want) {
		t.Errorf("once or-3 is retired, due at %s, want %s", due, want)
	}
	h.now = clock(2, 0, 0)
	m = h.again(m, path)
	h.record("north/packing-1", clock(1, 23, 0), "LAP", "", &events.ListIssued{List: "LAP", Version: 9, Title: "x",
		Lines: []events.Line{{Line: 1, Item: "i", Description: "d", Quantity: 1}}})
	h.apply(m, int64(len(h.facts)))
	impatient(h)
	h.apply(m, int64(len(h.facts)))
	sameVerdicts(t, "silent", h, m)
	var silent []string
	for _, v := range got[[]projections.Verdict](t)(m.StationVerdicts(ctx)) {
		if v.Findings[0].Code == projections.StationSilent {
			silent = append(silent, v.Station)
		}
	}
	sameStrings(t, "silent", silent, []string{"north/storage"})
}

// TestTripAndStationDue: a trip and a station that are due at the same moment are both judged anew.
func TestTripAndStationDue(t *testing.T) {
	h := newHospital(t, 1)
	impatient(h)
	h.record("north/packing-1", clock(0, 8, 0), "LAP-014", tripOf("LAP-014", 0),
		&events.SetPacked{List: "LAP", Version: 1})
	m := h.filled()
	if due, want := got[time.Time](t)(m.Due(t.Context())), clock(0, 11, 0); !due.Equal(want) {
		t.Errorf("due at %s, want %s: the trip's run comes before the station's silence", due, want)
	}
	h.now = clock(1, 4, 0)
	if !got[bool](t)(m.Advance(t.Context(), h.now)) {
		t.Error("nothing changed")
	}
	sameVerdicts(t, "due", h, m)
	if vs := got[[]projections.Verdict](t)(m.Worst(t.Context())); len(vs) != 2 {
		t.Errorf("worst: %+v", vs)
	}
}

// TestDueAgain: what could not be kept when it was due is due until it is kept.
func TestDueAgain(t *testing.T) {
	h := newHospital(t, 1)
	impatient(h)
	h.record("north/packing-1", clock(0, 8, 0), "LAP-014", tripOf("LAP-014", 0),
		&events.SetPacked{List: "LAP", Version: 1})
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	h.now = clock(1, 4, 0)
	db := beside(t, path)
	change(t, db, `ALTER TABLE board RENAME TO away`)
	if changed, err := m.Advance(t.Context(), h.now); changed || err == nil {
		t.Errorf("kept without a board: %t, %v", changed, err)
	}
	change(t, db, `ALTER TABLE away RENAME TO board`)
	if !got[bool](t)(m.Advance(t.Context(), h.now)) {
		t.Error("nothing changed once there was a board")
	}
	sameVerdicts(t, "due again", h, m)
}

// TestBulkEnds: time passes in a bulk without a judgement, and a batch that fails in it is the end of the model:
// there is no journal to go back by.
func TestBulkEnds(t *testing.T) {
	ctx := t.Context()
	h := week(t, 1, impatient)
	n := int64(len(h.facts))
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	t.Cleanup(func() { m.Close() })
	if err := m.BeginBulk(ctx); err != nil {
		t.Fatal(err)
	}
	h.apply(m, n/2)
	h.now = clock(12, 12, 0)
	if got[bool](t)(m.Advance(ctx, h.now)) {
		t.Error("time changed a verdict before there was one")
	}
	h.apply(m, n)
	if err := m.EndBulk(ctx); err != nil {
		t.Fatal(err)
	}
	sameVerdicts(t, "time passed", h, m)

	for _, last := range []bool{false, true} {
		m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
		t.Cleanup(func() { m.Close() })
		if err := m.BeginBulk(ctx); err != nil {
			t.Fatal(err)
		}
		h.apply(m, n/2)
		dead, cancel := context.WithCancel(ctx)
		cancel()
		err := m.Apply(dead, h.book.batch(t, n/2+1, n/2+1))
		if last {
			err = m.EndBulk(dead)
		}
		if err == nil {
			t.Error("worked although the context had ended")
		}
		if err := m.Apply(ctx, h.book.batch(t, n/2+1, n/2+1)); !errors.Is(err, readmodel.ErrStopped) {
			t.Errorf("taken after a bulk that failed: %v", err)
		}
	}
}

// TestStopped: a model that cannot go back to what is kept takes nothing more, and begins anew when it is opened.
func TestStopped(t *testing.T) {
	ctx := t.Context()
	h := week(t, 1, impatient)
	n := int64(len(h.facts))
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, n-2)
	db := beside(t, path)
	change(t, db, `DROP TABLE meta`)
	if err := m.Apply(ctx, h.book.batch(t, n-1, n)); err == nil || errors.Is(err, readmodel.ErrStopped) {
		t.Errorf("a batch that the file does not take: %v", err)
	}
	if err := m.Apply(ctx, h.book.batch(t, n-1, n)); !errors.Is(err, readmodel.ErrStopped) {
		t.Errorf("after it: %v", err)
	}
	if changed := got[bool](t)(m.Advance(ctx, clock(12, 12, 0))); changed {
		t.Error("a model that has stopped judges on")
	}
	if err := m.BeginBulk(ctx); err == nil {
		t.Error("a model that has stopped is filled in bulk")
	}
	m = h.again(m, path)
	h.apply(m, n)
	sameVerdicts(t, "begun anew", h, m)
}

// TestCorrectedRows: the row of a correction has in the columns what it puts in place, of whatever kind.
func TestCorrectedRows(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	l, trip, other := h.lists[0], tripOf("LAP-014", 0), tripOf("EYE-3", 0)
	own, theirs := h.code(l, "LAP-014", trip), h.code(l, "EYE-3", other)
	hexed := strings.ToUpper(strings.ReplaceAll(other, "-", ""))
	packed := h.record("north/packing-1", clock(0, 6, 0), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	read := h.record("north/sterilizer-2", clock(0, 9, 0), "S2-04", "",
		&events.IndicatorRead{Load: "S2-04", Sterilizer: "S2", Result: "negative"})
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	for i, x := range []struct {
		of         *events.Event
		data, want string
	}{
		{packed, ``, `-|-|-|-|-|-`},
		{packed, `{"list":"EYE"}`, `-|-|-|-|EYE|-`},
		{packed, `{"case":"K-1","load":"S2-05","sterilizer":"S3"}`, `K-1|S2-05|S3|-|-|-`},
		{packed, `{"sheet":{"found":"outside","code":"` + theirs + `"}}`, `-|-|-|-|-|` + hexed},
		{packed, `{"sheet":{"found":"outside","code":"` + own + `"}}`, `-|-|-|-|-|-`},
		{packed, `{"case":"K-2","sheet":{"found":"none"}}`, `K-2|-|-|-|-|-`},
		{packed, `{"case":"K-2","sheet":"` + theirs + `"}`, `K-2|-|-|-|-|` + hexed},
		{packed, `{"case":"K-2","sheet":"screen"}`, `K-2|-|-|-|-|-`},
		{read, `{"load":"S2-04","sterilizer":"S2","result":"positive"}`, `-|S2-04|S2|1|-|-`},
		{read, `{"load":"S2-04","sterilizer":"S2","result":"negative"}`, `-|S2-04|S2|0|-|-`},
		{read, `{"load":"S2-04","sterilizer":"S2","result":"unclear"}`, `-|S2-04|S2|-|-|-`},
	} {
		c := &events.EventCorrected{Event: x.of.ID, Action: "replace", Reason: "typed wrong", Data: []byte(x.data)}
		if x.data == "" {
			c.Action, c.Data = "void", nil
		}
		e := h.record("north/packing-1", clock(1, 6, i), x.of.Subject, x.of.Trip, c)
		h.apply(m, int64(len(h.facts)))
		row := column(t, beside(t, path), `SELECT coalesce(case_ref, '-')||'|'||coalesce(load, '-')
			||'|'||coalesce(sterilizer, '-')||'|'||coalesce(positive, '-')||'|'||coalesce(list, '-')
			||'|'||iif(sheet_trip IS NULL, '-', hex(sheet_trip))
			FROM events WHERE seq = ? AND lower(hex(corrects)) = ? AND lower(hex(id)) = ?`, len(h.facts),
			strings.ReplaceAll(x.of.ID, "-", ""), strings.ReplaceAll(e.ID, "-", ""))
		sameStrings(t, "kept of "+x.data, row, []string{x.want})
	}
	sameFacts(t.Context(), t, "corrected", h, m)
}

// TestOwnQuestions: what a trip asks of itself stays out of rests_on, what it asks of another trip does not, and
// each is judged anew by what it asked for, also by a model that was opened again.
func TestOwnQuestions(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	l := h.lists[0]
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	step := func(station string, at time.Time, set string, d events.Data) {
		h.record(station, at, set, tripOf(set, 0), d)
		h.apply(m, int64(len(h.facts)))
		sameVerdicts(t, fmt.Sprint(set, " ", d.Kind()), h, m)
		m = h.again(m, path)
	}
	for i, set := range []string{"LAP-014", "EYE-3"} {
		step("north/packing-1", clock(0, 6, 10*i), set, &events.SetPacked{List: "LAP", Version: 1})
		step("north/packing-1", clock(0, 6, 10*i+1), set, &events.ListSealed{Placement: events.Outside, List: "LAP",
			Version: 1, Code: h.code(l, set, tripOf(set, 0))})
	}
	// The sheet of EYE-3 is found on LAP-014: that is said of both.
	step("north/storage", clock(0, 12, 0), "LAP-014", &events.SetChecked{Place: "A4",
		Sheet: &events.Reading{Found: "outside", Code: h.code(l, "EYE-3", tripOf("EYE-3", 0))}})
	table, _, _, err := m.Rests(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, set := range []string{"LAP-014", "EYE-3"} {
		for _, of := range []string{"LAP-014", "EYE-3"} {
			asks := fmt.Sprintf("asks %d ", number(facts.DimTrip, tripOf(of, 0)))
			found := slices.ContainsFunc(table, func(s string) bool {
				return strings.HasPrefix(s, `"`+set+`\x00`) && strings.Contains(s, asks)
			})
			if found != (set != of) {
				t.Errorf("%s asks for the facts of %s: %t", set, of, found)
			}
		}
	}
	// What becomes of the one goes on changing the verdict of the other.
	step("north/storage", clock(0, 13, 0), "EYE-3",
		&events.SetChecked{Place: "A4", Sheet: &events.Reading{Found: "none"}})
	step("north/or-3", clock(1, 7, 0), "EYE-3", &events.SetOpened{Case: "K-1", Tag: "EYE-3",
		Sheet: &events.Reading{Found: "outside", Code: h.code(l, "LAP-014", tripOf("LAP-014", 0))}})
	step("north/packing-1", clock(0, 6, 30), "LAP-014", &events.SetPacked{List: "LAP", Version: 1})
}

// number is that of a dimension and key in rests_on, as the table's description has it.
func number(dim facts.Dim, key string) int64 {
	h := fnv.New64a()
	h.Write([]byte(string(dim) + "\x00" + key))
	return int64(h.Sum64())
}
