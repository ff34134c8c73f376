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
	"hash/fnv"
	"io"
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

// rest is one row of rests_on, less whose it is.
type rest struct{ ask, until, since int64 }

// restsOf returns the questions that are kept of a trip, in the order of asks: the
// same ones give the same bytes. What it asks of itself is not kept: the fact
// names the trip, and the trips table who has it.
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
	return out
}

// restsRow is a row of rests_on: one question that several trips asked. Its time
// goes from the earliest of theirs to the latest.
type restsRow struct {
	rest
	owners []byte // packed
}

// ownedRest is one trip's question.
type ownedRest struct {
	rest
	owner []byte // see ownerOf
}

// ownerOf puts a set and its trip into one value: the set, a zero byte, which no
// set's name has, and the trip's 16 bytes, none where it is not of a trip.
func ownerOf(set string, trip []byte) []byte {
	out := make([]byte, 0, len(set)+1+len(trip))
	return append(append(append(out, set...), 0), trip...)
}

// packOwners puts what some trips asked of one dimension and key into one row.
// Behind each owner stands by how much its time is shorter than the row's.
func packOwners(owned []ownedRest, row *restsRow) {
	row.rest = owned[0].rest
	for _, o := range owned[1:] {
		row.until, row.since = max(row.until, o.until), min(row.since, o.since)
	}
	row.owners = row.owners[:0]
	for _, o := range owned {
		row.owners = binary.AppendUvarint(row.owners, uint64(len(o.owner)))
		row.owners = append(row.owners, o.owner...)
		row.owners = binary.AppendUvarint(row.owners, uint64(row.until)-uint64(o.until))
		row.owners = binary.AppendUvarint(row.owners, uint64(o.since)-uint64(row.since))
	}
}

// owned takes apart what packOwners put together.
func (row *restsRow) owned() ([]ownedRest, error) {
	var out []ownedRest
	for raw := row.owners; len(raw) > 0; {
		n, size := binary.Uvarint(raw)
		if size <= 0 || n > uint64(len(raw)-size) {
			return nil, errRests
		}
		o := ownedRest{rest: row.rest, owner: raw[size : size+int(n)]}
		raw = raw[size+int(n):]
		var by [2]uint64
		for i := range by {
			if by[i], size = binary.Uvarint(raw); size <= 0 {
				return nil, errRests
			}
			raw = raw[size:]
		}
		o.until, o.since = int64(uint64(o.until)-by[0]), int64(uint64(o.since)+by[1])
		out = append(out, o)
	}
	return out, nil
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
	if a.ask != b.ask { // as a rule; a rebuild compares some millions
		return cmp.Compare(a.ask, b.ask)
	}
	return cmp.Or(cmp.Compare(a.until, b.until), cmp.Compare(a.since, b.since))
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

var errRests = errors.New("what the read model's verdicts rest on is damaged: run 'listbound rebuild'")

// restsWriter keeps what verdicts rest on. Where it is fresh nothing is kept yet, and all rows are written together at the end.
type restsWriter verdictWriter

// ownersSize bounds what a row of a rebuild holds: some twenty trips. A longer one
// would lie on a page of its own.
const ownersSize = 700

const insertRests = `INSERT OR REPLACE INTO rests_on (ask, until, since, owners) VALUES `

// write replaces what is kept of a trip, and returns what its row in trips is to
// hold, which must not have been replaced yet. Mostly nothing has changed. Last is what was written of the trip before, nil
// where that isn't known.
func (v restsWriter) write(set string, trip []byte, rests []rest, last *written) ([]byte, error) {
	packed := packRests(rests)
	if v.fresh {
		return packed, nil
	}
	was, err := v.kept(set, trip, last)
	if err != nil {
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
			if err := v.takeOut(ownedRest{r, owner}); err != nil {
				return nil, err
			}
		}
	}
	for _, r := range rests {
		if !slices.Contains(old, r) {
			if err := v.insert([]ownedRest{{r, owner}}); err != nil {
				return nil, err
			}
		}
	}
	return packed, nil
}

// kept is what the trip's row holds.
func (v restsWriter) kept(set string, trip []byte, last *written) (was []byte, err error) {
	if last != nil {
		return last.rests, nil
	}
	was, _, err = v.stored(set, trip)
	return was, err
}

func (v restsWriter) stored(set string, trip []byte) (was []byte, found bool, err error) {
	err = v.w.query(`SELECT rests FROM trips WHERE set_id = ? AND trip = ?`, []any{set, trip}, func(row []driver.Value) (err error) {
		was, err = blob(row[0])
		found = true
		return err
	})
	return was, found, err
}

func (v restsWriter) insert(owned []ownedRest) error {
	var row restsRow
	packOwners(owned, &row)
	return v.w.exec(insertRests+`(?,?,?,?)`, row.ask, row.until, row.since, row.owners)
}

// takeOut takes one trip's question out of the row it is in, and leaves the
// others' there.
func (v restsWriter) takeOut(o ownedRest) error {
	row, owned, err := v.rowWith(o)
	if err != nil || owned == nil {
		return err
	}
	err = v.w.exec(`DELETE FROM rests_on WHERE ask = ? AND until = ? AND since = ? AND owners = ?`,
		row.ask, row.until, row.since, row.owners)
	if err != nil {
		return err
	}
	owned = slices.DeleteFunc(owned, o.equal)
	if len(owned) == 0 {
		return nil
	}
	return v.insert(owned)
}

func (o ownedRest) equal(p ownedRest) bool { return o.rest == p.rest && bytes.Equal(o.owner, p.owner) }

// rowWith finds the row that holds a trip's question. In a rebuild they were put
// together in order of time, so it is among the first whose time does not end
// before the question's.
func (v restsWriter) rowWith(o ownedRest) (found restsRow, owned []ownedRest, err error) {
	err = v.w.query(`SELECT until, since, owners FROM rests_on WHERE ask = ? AND until >= ? AND since <= ? ORDER BY until`,
		[]any{o.ask, o.until, o.since}, func(values []driver.Value) error {
			row, err := restsRowOf(o.ask, values)
			if err != nil {
				return err
			}
			all, err := row.owned()
			if err == nil && slices.ContainsFunc(all, o.equal) {
				found, owned, err = row, all, io.EOF // enough
			}
			return err
		})
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return found, owned, err
}

func restsRowOf(ask int64, values []driver.Value) (row restsRow, err error) {
	row.ask = ask
	if row.until, err = number(values[0]); err != nil {
		return row, err
	}
	if row.since, err = number(values[1]); err != nil {
		return row, err
	}
	row.owners, err = blob(values[2])
	return row, err
}

// allRests are the questions of a rebuild. In the order of the table its rows
// are appended, and not inserted between others.
type allRests struct {
	owned  []placedRest
	owners [][]byte // in their order
}

type placedRest struct {
	rest
	owner int32 // place in owners
}

// tripRests is what one trip asked for.
type tripRests struct {
	owner []byte
	rests []rest
}

func restsOfTrips(vs []judged) []tripRests {
	out := make([]tripRests, 0, len(vs))
	for i := range vs {
		if v := &vs[i]; !v.none {
			out = append(out, tripRests{ownerOf(v.Set, idBytes(v.Trip)), v.rests})
		}
	}
	return out
}

func restsOfAll(parts [][]tripRests) *allRests {
	trips, n := 0, 0
	for _, part := range parts {
		trips += len(part)
		for _, t := range part {
			n += len(t.rests)
		}
	}
	all := &allRests{owned: make([]placedRest, 0, n), owners: make([][]byte, 0, trips)}
	for _, part := range parts {
		for _, t := range part {
			for _, r := range t.rests {
				all.owned = append(all.owned, placedRest{r, int32(len(all.owners))})
			}
			all.owners = append(all.owners, t.owner)
		}
	}
	slices.SortFunc(all.owned, func(a, b placedRest) int {
		if c := compareRests(a.rest, b.rest); c != 0 {
			return c
		}
		return cmp.Compare(a.owner, b.owner)
	})
	return all
}

// rows puts the questions together to rows. The moments that are waited for
// stay alone: Due and Advance look for the earliest.
func (all *allRests) rows(yield func(*restsRow) bool) {
	var row restsRow
	var owned []ownedRest
	size, moment := 0, askNumber(facts.DimTime, "")
	for i, r := range all.owned {
		owner := all.owners[r.owner]
		owned, size = append(owned, ownedRest{r.rest, owner}), size+len(owner)+4
		if i+1 < len(all.owned) && all.owned[i+1].ask == r.ask && size < ownersSize && r.ask != moment {
			continue
		}
		packOwners(owned, &row)
		if !yield(&row) {
			return
		}
		owned, size = owned[:0], 0
	}
}

func (w *writer) writeRests(ctx context.Context, all *allRests) error {
	return w.insertAll(ctx, insertRests, 4, func(yield func([]any) bool) {
		var args []any
		for row := range all.rows {
			args = append(args[:0], row.ask, row.until, row.since, slices.Clone(row.owners))
			if !yield(args) {
				return
			}
		}
	})
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
