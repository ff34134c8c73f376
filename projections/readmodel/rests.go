package readmodel

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"slices"
	"strings"

	"listbound/projections"
	"listbound/projections/facts"
)

// rest is one row of rests_on, less whose it is.
type rest struct{ ask, until, since int64 }

// restsOf returns the questions that are kept of a trip. What it asks of itself
// is not: the fact names the trip, and the trips table who has it.
func restsOf(k projections.TripKey, asks []facts.Ask) []rest {
	out := make([]rest, 0, len(asks))
	timed := false
	for _, a := range asks {
		switch a.Dim {
		case facts.DimTime: // in order: the first one is the earliest
			if timed {
				continue
			}
			timed = true
		case facts.DimTrip, facts.DimSheet:
			if a.Key == k.Trip {
				continue
			}
		}
		out = append(out, rest{askNumber(a.Dim, a.Key), a.To, a.From})
	}
	slices.SortFunc(out, compareRests)
	return slices.Compact(out)
}

// resting adds the trips whose kept verdicts asked for what a fact is filed under.
func (m *Model) resting(ctx context.Context, a facts.Ask, into map[projections.TripKey]bool) error {
	rows, err := m.read.QueryContext(ctx, `SELECT owner FROM rests_on WHERE ask = ?1 AND until >= ?2 AND since <= ?3`,
		askNumber(a.Dim, a.Key), a.From, a.To)
	keys, err := owners(rows, err)
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

// ownerOf puts a set and its trip into one value: the set, a zero byte, which no
// set's name has, and the trip's 16 bytes, none where it is not of a trip.
func ownerOf(set string, trip []byte) []byte {
	out := make([]byte, 0, len(set)+1+len(trip))
	return append(append(append(out, set...), 0), trip...)
}

// owners reads the trips that a query found.
func owners(rows *sql.Rows, err error) ([]projections.TripKey, error) {
	found, err := scanAll(rows, err, func(b *[]byte) []any { return []any{b} })
	out := make([]projections.TripKey, len(found))
	for i, b := range found {
		set, trip, _ := bytes.Cut(b, []byte{0})
		out[i] = projections.TripKey{Set: string(set), Trip: idString(trip)}
	}
	return out, err
}

// askNumber stands for a dimension and key in the table: a third of the room,
// and of the time to fill it. Where two have one number, a verdict is judged
// anew without need.
func askNumber(dim facts.Dim, key string) int64 {
	h := fnv.New64a()
	io.WriteString(h, string(dim))
	h.Write([]byte{0})
	io.WriteString(h, key)
	return int64(h.Sum64())
}

func compareRests(a, b rest) int {
	return cmp.Or(cmp.Compare(a.ask, b.ask), cmp.Compare(a.until, b.until), cmp.Compare(a.since, b.since))
}

// packRests puts a trip's rows into one value, for taking them out again.
func packRests(rs []rest) []byte {
	out := make([]byte, 0, 20*len(rs))
	for _, r := range rs {
		out = binary.BigEndian.AppendUint64(out, uint64(r.ask))
		out = binary.AppendVarint(out, r.until)
		out = binary.AppendVarint(out, r.since)
	}
	return out
}

func unpackRests(raw []byte) ([]rest, error) {
	var out []rest
	for len(raw) > 0 {
		if len(raw) < 8 {
			return nil, errRests
		}
		r := rest{ask: int64(binary.BigEndian.Uint64(raw))}
		raw = raw[8:]
		for _, to := range []*int64{&r.until, &r.since} {
			v, n := binary.Varint(raw)
			if n <= 0 {
				return nil, errRests
			}
			*to, raw = v, raw[n:]
		}
		out = append(out, r)
	}
	return out, nil
}

var errRests = errors.New("the read model's trips.rests is damaged: run 'listbound rebuild'")

// restsWriter keeps what verdicts rest on.
type restsWriter struct {
	fresh           bool // nothing is kept yet, and all rows are written together at the end
	kept, put, drop *sql.Stmt
	many            *sql.Stmt // restsAtOnce rows
}

const (
	restsColumns = 4
	restsAtOnce  = 128
)

func insertRests(n int) string {
	return `INSERT OR REPLACE INTO rests_on (ask, until, since, owner) VALUES (?,?,?,?)` + strings.Repeat(`,(?,?,?,?)`, n-1)
}

func newRestsWriter(ctx context.Context, tx *sql.Tx, fresh bool) (*restsWriter, error) {
	w := &restsWriter{fresh: fresh}
	for _, s := range []struct {
		to   **sql.Stmt
		text string
	}{
		{&w.kept, `SELECT rests FROM trips WHERE set_id = ? AND trip = ?`},
		{&w.put, insertRests(1)},
		{&w.many, insertRests(restsAtOnce)},
		{&w.drop, `DELETE FROM rests_on WHERE ask = ? AND until = ? AND since = ? AND owner = ?`},
	} {
		var err error
		if *s.to, err = tx.PrepareContext(ctx, s.text); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// write replaces what is kept of a trip, and returns what its row in trips is to
// hold, which must not have been replaced yet. Mostly nothing has changed.
func (w *restsWriter) write(ctx context.Context, set string, trip []byte, rests []rest) ([]byte, error) {
	packed := packRests(rests)
	if w.fresh {
		return packed, nil
	}
	var was []byte
	if err := w.kept.QueryRowContext(ctx, set, trip).Scan(&was); err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	if bytes.Equal(was, packed) {
		return packed, nil
	}
	old, err := unpackRests(was)
	if err != nil {
		return nil, err
	}
	owner := ownerOf(set, trip)
	for _, r := range old {
		if !slices.Contains(rests, r) {
			if _, err := w.drop.ExecContext(ctx, r.ask, r.until, r.since, owner); err != nil {
				return nil, err
			}
		}
	}
	for _, r := range rests {
		if !slices.Contains(old, r) {
			if _, err := w.put.ExecContext(ctx, r.ask, r.until, r.since, owner); err != nil {
				return nil, err
			}
		}
	}
	return packed, nil
}

// allRests are the rows of a rebuild. In the order of the table they are
// appended to it, and not inserted between others.
type allRests struct {
	rows   []ownedRest
	owners [][]byte // in their order
}

type ownedRest struct {
	rest
	owner int32 // place in owners
}

func (all *allRests) add(v *judged) {
	if v.none {
		return
	}
	for _, r := range v.rests {
		all.rows = append(all.rows, ownedRest{r, int32(len(all.owners))})
	}
	all.owners = append(all.owners, ownerOf(v.Set, idBytes(v.Trip)))
}

func (all *allRests) sort() {
	slices.SortFunc(all.rows, func(a, b ownedRest) int {
		return cmp.Or(compareRests(a.rest, b.rest), cmp.Compare(a.owner, b.owner))
	})
}

func (w *restsWriter) writeAll(ctx context.Context, all *allRests) error {
	args := make([]any, 0, restsAtOnce*restsColumns)
	for rows := range slices.Chunk(all.rows, restsAtOnce) {
		args = args[:0]
		for _, r := range rows {
			args = append(args, r.ask, r.until, r.since, all.owners[r.owner])
		}
		if len(rows) == restsAtOnce {
			if _, err := w.many.ExecContext(ctx, args...); err != nil {
				return err
			}
			continue
		}
		for ; len(args) > 0; args = args[restsColumns:] {
			if _, err := w.put.ExecContext(ctx, args[:restsColumns]...); err != nil {
				return err
			}
		}
	}
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
