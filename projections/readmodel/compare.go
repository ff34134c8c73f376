package readmodel

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/maphash"
	"strings"
	"time"
)

// Difference is a row that a read model has otherwise than it must be.
type Difference struct {
	Table string   // "": of the file itself, such as an index that lacks a row
	Row   string   // what names the row
	How   string   // missing, added or changed
	In    []string // with changed: the columns
	Seq   int64    // of an event's row: its record
}

func (d Difference) String() string {
	if d.Table == "" {
		return "its file is damaged: " + d.How
	}
	s := fmt.Sprintf("table %s: the row of %s is %s", d.Table, d.Row, d.How)
	if len(d.In) > 0 {
		s += " in " + strings.Join(d.In, ", ")
	}
	return s
}

// compared are the tables that must be the same however their records came, each with the columns that name a row, by
// which it is read in order. How the questions that a verdict rests on are packed depends on how they came; see checkRests.
var compared = []comparedTable{
	eventsCompared,
	{"remarked", []string{"seq", "n"}, []string{"until", "remarks"}},
	{"marks", []string{"what", "mark", "seq"}, nil},
	{"schedule", []string{"seq"}, []string{"start"}},
	{"spans", []string{"what", "mark", "span"}, nil},
	{"trips", []string{"set_id", "trip"}, []string{"case_ref", "status", "opened", "since", "verdict"}},
	{"board", []string{"set_id", "trip"}, []string{"worst", "since", "list", "placement", "station", "seen", "causes", "handled"}},
	{"openings", []string{"set_id", "trip"}, []string{"at", "station", "list", "placement", "read"}},
	{"findings", []string{"set_id", "trip", "n"}, []string{"code", "severity", "way", "detail", "says", "next"}},
	{"stations", []string{"name"}, []string{"key", "enrolled", "retired", "last", "count", "hash", "observed",
		"signed", "keys", "until", "verdict"}},
	{"runs", []string{"station", "first"}, []string{"run"}},
	{"sqlite_master", []string{"type", "name"}, []string{"sql"}},
}

type comparedTable struct {
	table   string
	key     []string
	columns []string
}

var eventsCompared = comparedTable{"events", []string{"seq"}, []string{"id", "kind", "station", "subject", "trip", "observed",
	"recorded", "remarks", "case_ref", "load", "sterilizer", "positive", "list", "sheet_trip", "tray", "corrects", "operator", "named",
	"entry", "washer_load", "ran", "begun"}}

// Snapshot is what a model holds at one moment. It must be closed.
type Snapshot struct {
	conn *sql.Conn
	tx   *sql.Tx
	pos  int64
	at   time.Time

	beside bool // the file of another model may be attached to the connection
}

// Snapshot returns what the model holds now, whatever it takes meanwhile.
func (m *Model) Snapshot(ctx context.Context) (*Snapshot, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := m.settle(ctx); err != nil {
		m.giveUp(ctx)
		return nil, fmt.Errorf("read model: %w", err)
	}
	conn, err := m.read.Conn(ctx)
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	s := &Snapshot{conn: conn, at: m.moment}
	// Not under this context: one that ends takes the transaction back by itself, while something is asked of it.
	if s.tx, err = conn.BeginTx(context.WithoutCancel(ctx), &sql.TxOptions{ReadOnly: true}); err != nil {
		return nil, errors.Join(fmt.Errorf("read model: %w", err), conn.Close())
	}
	// The transaction begins with its first question.
	if err := s.tx.QueryRowContext(ctx, `SELECT value FROM meta WHERE key='position'`).Scan(&s.pos); err != nil {
		return nil, errors.Join(fmt.Errorf("read model: %w", err), s.Close())
	}
	return s, nil
}

// Close lets the snapshot go.
func (s *Snapshot) Close() error {
	err := s.tx.Rollback()
	if s.beside {
		if _, attached := s.conn.ExecContext(context.Background(), `DETACH beside`); attached != nil {
			// Nobody is to get the connection as it is: it is closed, and lets go of the file, if that was attached at all.
			_ = s.conn.Raw(func(any) error { return driver.ErrBadConn })
			return err
		}
	}
	return errors.Join(err, s.conn.Close())
}

// Position is the last record that the snapshot knows, Moment as of when it is judged.
func (s *Snapshot) Position() int64   { return s.pos }
func (s *Snapshot) Moment() time.Time { return s.at }

// Differences holds a snapshot against a model that was made afresh of the same records, as of the same moment. It
// returns at most so many differences, and how many there are.
func (s *Snapshot) Differences(ctx context.Context, fresh *Model, most int) (found []Difference, n int, err error) {
	if s.pos != fresh.Position() || !s.at.Equal(fresh.Moment()) {
		return nil, 0, fmt.Errorf("read model: two models of %d records as of %s and of %d as of %s can't be compared",
			s.pos, s.at, fresh.Position(), fresh.Moment())
	}
	add := func(d Difference) {
		if n++; len(found) < most {
			found = append(found, d)
		}
	}
	same, err := s.sameEvents(ctx, fresh)
	if err != nil {
		return nil, 0, fmt.Errorf("read model: %w", err)
	}
	for i, t := range compared {
		if t.table == "events" && same {
			continue
		}
		if err := s.compare(ctx, fresh, i, add); err != nil {
			return nil, 0, fmt.Errorf("read model: table %s: %w", t.table, err)
		}
	}
	whole, err := s.checkRests(ctx)
	if err != nil {
		return nil, 0, err
	}
	if !whole {
		add(Difference{Table: "rests_on", Row: "some trip", How: "another one than its verdict rests on"})
	}
	return found, n, nil
}

// sameEvents reports whether both have the same events, row by row and column by column. SQLite compares them by itself in a sixth of
// the time that it takes to fetch them from both; it can't say what differs. The row's number is its key.
func (s *Snapshot) sameEvents(ctx context.Context, fresh *Model) (bool, error) {
	s.beside = true // even where this fails: a context that ends meanwhile leaves it done
	if _, err := s.tx.ExecContext(ctx, `ATTACH ? AS beside`, fileURI(fresh.opts.Path)+"?mode=ro"); err != nil {
		return false, err
	}
	alike := "b.seq = a.seq"
	for _, column := range eventsCompared.columns {
		alike += " AND b." + column + " IS a." + column
	}
	var both, here, there int64
	err := s.tx.QueryRowContext(ctx, `SELECT
		(SELECT count(*) FROM main.events a NOT INDEXED CROSS JOIN beside.events b NOT INDEXED ON `+alike+`),
		(SELECT count(*) FROM main.events NOT INDEXED), (SELECT count(*) FROM beside.events NOT INDEXED)`).Scan(&both, &here, &there)
	return both == here && both == there, err
}

// CheckFile returns what SQLite finds wrong with the model's own file. Tables are compared without their indexes, and the board is
// read by one: an entry that is wrong there hides a set that is in the table.
func (m *Model) CheckFile(ctx context.Context) (damage []Difference, err error) {
	const told = 3 // the rest says no more
	rows, err := m.read.QueryContext(ctx, fmt.Sprintf("PRAGMA integrity_check(%d)", told))
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var how string
		if err := rows.Scan(&how); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		if how != "ok" {
			damage = append(damage, Difference{How: how})
		}
	}
	return damage, rows.Err()
}

// tableRows are the rows of one table in order.
type tableRows struct {
	rows *sql.Rows
	row  []any // nil at the end
}

func (r *tableRows) next(columns int) error {
	r.row = nil
	if !r.rows.Next() {
		return r.rows.Err()
	}
	row, into := make([]any, columns), make([]any, columns)
	for i := range row {
		into[i] = &row[i]
	}
	if err := r.rows.Scan(into...); err != nil {
		return err
	}
	r.row = row
	return nil
}

// compare walks through the rows of one table in both models.
func (s *Snapshot) compare(ctx context.Context, fresh *Model, i int, add func(Difference)) (err error) {
	t := compared[i]
	columns := append(append([]string(nil), t.key...), t.columns...)
	where := ""
	if t.table == "sqlite_master" { // indexes are made when they are needed, and change no answer
		where = " WHERE type IN ('trigger', 'view')"
	}
	// A table that is gone is not to be looked for in the file beside.
	q := fmt.Sprintf("SELECT %s FROM main.%s%s ORDER BY %s", strings.Join(columns, ", "), t.table, where, strings.Join(t.key, ", "))
	var there, want tableRows
	if there.rows, err = s.tx.QueryContext(ctx, q); err != nil {
		return err
	}
	defer there.rows.Close()
	if want.rows, err = fresh.read.QueryContext(ctx, q); err != nil {
		return err
	}
	defer want.rows.Close()
	if err := errors.Join(there.next(len(columns)), want.next(len(columns))); err != nil {
		return err
	}
	for there.row != nil || want.row != nil {
		if err := ctx.Err(); err != nil {
			return err
		}
		order := compareKeys(there.row, want.row, len(t.key))
		switch {
		case order < 0:
			add(difference(t.table, there.row, len(t.key), "added", nil))
		case order > 0:
			add(difference(t.table, want.row, len(t.key), "missing", nil))
		default:
			var in []string
			for c := len(t.key); c < len(columns); c++ {
				if !sameValue(there.row[c], want.row[c]) {
					in = append(in, columns[c])
				}
			}
			if len(in) > 0 {
				add(difference(t.table, want.row, len(t.key), "changed", in))
			}
		}
		if order <= 0 {
			err = there.next(len(columns))
		}
		if order >= 0 && err == nil {
			err = want.next(len(columns))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// compareKeys compares rows in SQLite's order; the end of a table comes after every row.
func compareKeys(a, b []any, n int) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return 1
	case b == nil:
		return -1
	}
	for i := range n {
		if order := compareValues(a[i], b[i]); order != 0 {
			return order
		}
	}
	return 0
}

// compareValues is SQLite's order of values: nothing, numbers, texts, bytes.
func compareValues(a, b any) int {
	class := func(v any) int {
		switch v.(type) {
		case nil:
			return 0
		case int64, float64:
			return 1
		case string:
			return 2
		}
		return 3
	}
	if ca, cb := class(a), class(b); ca != cb {
		return ca - cb
	}
	switch x := a.(type) {
	case int64:
		if y, ok := b.(int64); ok {
			return cmp.Compare(x, y)
		}
	case string:
		return strings.Compare(x, b.(string))
	case []byte:
		if y, ok := b.([]byte); ok {
			return bytes.Compare(x, y)
		}
	}
	// No column holds anything else, unless somebody has put it there.
	return strings.Compare(fmt.Sprint(a), fmt.Sprint(b))
}

func sameValue(a, b any) bool { return compareValues(a, b) == 0 }

func difference(table string, row []any, keys int, how string, in []string) Difference {
	d := Difference{Table: table, How: how, In: in}
	var names []string
	for _, v := range row[:keys] {
		switch x := v.(type) {
		case []byte:
			names = append(names, idString(x))
		case string:
			names = append(names, fmt.Sprintf("%q", x))
		default:
			names = append(names, fmt.Sprint(x))
		}
	}
	d.Row = strings.Join(names, " ")
	if seq, ok := row[0].(int64); ok && table == "events" {
		d.Seq, d.Row = seq, fmt.Sprintf("record %d", seq)
	}
	return d
}

// checkRests reports whether rests_on holds what the trips' own rows say that it holds.
func (s *Snapshot) checkRests(ctx context.Context) (bool, error) {
	var table, own uint64 // sums of hashes: the order does not matter
	seed, one := maphash.MakeSeed(), []byte(nil)
	sum := func(into *uint64, owner []byte, r rest) {
		one = binary.AppendUvarint(one[:0], uint64(len(owner)))
		one = append(one, owner...)
		for _, n := range []int64{r.ask, r.since, r.until} {
			one = binary.AppendVarint(one, n)
		}
		*into += maphash.Bytes(seed, one)
	}
	rows, err := s.tx.QueryContext(ctx, `SELECT ask, until, since, owners FROM main.rests_on`)
	if err != nil {
		return false, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var r restsRow
		if err := rows.Scan(&r.ask, &r.until, &r.since, &r.owners); err != nil {
			return false, fmt.Errorf("read model: %w", err)
		}
		owned, err := r.owned()
		if err != nil {
			return false, nil //nolint:nilerr // what can't be read is not what was written
		}
		for _, o := range owned {
			sum(&table, o.owner, o.rest)
		}
	}
	if err := rows.Err(); err != nil {
		return false, fmt.Errorf("read model: %w", err)
	}
	trips, err := s.tx.QueryContext(ctx, `SELECT set_id, trip, rests FROM main.trips`)
	if err != nil {
		return false, fmt.Errorf("read model: %w", err)
	}
	defer trips.Close()
	for trips.Next() {
		var set string
		var trip, packed []byte
		if err := trips.Scan(&set, &trip, &packed); err != nil {
			return false, fmt.Errorf("read model: %w", err)
		}
		rests, err := unpackRests(packed)
		if err != nil {
			return false, nil //nolint:nilerr // see above
		}
		for _, r := range rests {
			sum(&own, ownerOf(set, trip), r)
		}
	}
	if err := trips.Err(); err != nil {
		return false, fmt.Errorf("read model: %w", err)
	}
	return table == own, nil
}
