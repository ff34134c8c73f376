package readmodel

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"listbound/projections"
	"listbound/projections/facts"
)

// rowsOf returns the questions that are kept of a trip. What it asks of itself
// is not: the fact names the trip, and the trips table who has it.
func rowsOf(k projections.TripKey, asks []facts.Ask) []facts.Ask {
	timed := false
	return slices.DeleteFunc(asks, func(a facts.Ask) bool {
		if a.Dim == facts.DimTime { // in order: the first one is the earliest
			later := timed
			timed = true
			return later
		}
		return (a.Dim == facts.DimTrip || a.Dim == facts.DimSheet) && a.Key == k.Trip
	})
}

// resting adds the trips whose kept verdicts asked for what a fact is filed under.
func (m *Model) resting(ctx context.Context, a facts.Ask, into map[projections.TripKey]bool) error {
	keys, err := m.keys(ctx, `SELECT set_id, trip FROM rests_on WHERE dim = ?1 AND key = ?2 AND until >= ?3 AND since <= ?4`,
		string(a.Dim), a.Key, a.From, a.To)
	if err != nil {
		return err
	}
	if a.Dim == facts.DimTrip || a.Dim == facts.DimSheet {
		own, err := m.keys(ctx, `SELECT set_id, trip FROM trips WHERE trip = ?1`, idBytes(a.Key))
		if err != nil {
			return err
		}
		keys = append(keys, own...)
	}
	for _, k := range keys {
		into[k] = true
	}
	return nil
}

// restsWriter keeps what verdicts rest on.
type restsWriter struct {
	fresh          bool // nothing is kept yet
	list, put, del *sql.Stmt
	many           *sql.Stmt // restsAtOnce rows
	waiting        []any     // rows that are not written yet, only where fresh
}

const (
	restsColumns = 6
	restsAtOnce  = 64
)

func insertRests(n int) string {
	return `INSERT OR REPLACE INTO rests_on (set_id, trip, dim, key, since, until) VALUES (?,?,?,?,?,?)` +
		strings.Repeat(`,(?,?,?,?,?,?)`, n-1)
}

func newRestsWriter(ctx context.Context, tx *sql.Tx, fresh bool) (*restsWriter, error) {
	w := &restsWriter{fresh: fresh}
	for _, s := range []struct {
		to   **sql.Stmt
		text string
	}{
		{&w.list, `SELECT dim, key, since, until FROM rests_on WHERE set_id = ? AND trip = ?`},
		{&w.put, insertRests(1)},
		{&w.many, insertRests(restsAtOnce)},
		{&w.del, `DELETE FROM rests_on WHERE set_id = ? AND trip = ? AND dim = ? AND key = ? AND since = ?`},
	} {
		var err error
		if *s.to, err = tx.PrepareContext(ctx, s.text); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// write replaces what is kept of a trip. Mostly nothing has changed, so it
// looks before it writes.
func (w *restsWriter) write(ctx context.Context, set string, trip []byte, asks []facts.Ask) error {
	if w.fresh {
		for _, a := range asks {
			w.waiting = append(w.waiting, set, trip, string(a.Dim), a.Key, a.From, a.To)
		}
		return w.flush(ctx, false)
	}
	old, err := w.kept(ctx, set, trip)
	if err != nil {
		return err
	}
	for _, a := range old {
		if !slices.Contains(asks, a) {
			if _, err := w.del.ExecContext(ctx, set, trip, string(a.Dim), a.Key, a.From); err != nil {
				return err
			}
		}
	}
	for _, a := range asks {
		if !slices.Contains(old, a) {
			if _, err := w.put.ExecContext(ctx, set, trip, string(a.Dim), a.Key, a.From, a.To); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *restsWriter) kept(ctx context.Context, set string, trip []byte) ([]facts.Ask, error) {
	rows, err := w.list.QueryContext(ctx, set, trip)
	return scanAll(rows, err, func(a *facts.Ask) []any { return []any{&a.Dim, &a.Key, &a.From, &a.To} })
}

// flush writes what waits, as far as it fills whole groups; all of it at the end.
func (w *restsWriter) flush(ctx context.Context, end bool) error {
	const group = restsAtOnce * restsColumns
	left := w.waiting
	for len(left) >= group {
		if _, err := w.many.ExecContext(ctx, left[:group]...); err != nil {
			return err
		}
		left = left[group:]
	}
	for end && len(left) > 0 {
		if _, err := w.put.ExecContext(ctx, left[:restsColumns]...); err != nil {
			return err
		}
		left = left[restsColumns:]
	}
	w.waiting = append(w.waiting[:0], left...)
	return nil
}

// scanAll reads every row of a query's answer. into returns where the columns
// of a row go.
func scanAll[T any](rows *sql.Rows, err error, into func(*T) []any) ([]T, error) {
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		var t T
		if err := rows.Scan(into(&t)...); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		out = append(out, t)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	return out, nil
}
