package readmodel

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
)

// A board that is looked at asks for all of its rows after each change, and a step of a set changes one row of thousands. So what
// the table has is kept as it was read last, and of that only the turns are read again that were written since.

// touched are the turns that were written and may have, or have had, a row on the board.
type touched struct {
	mu      sync.Mutex
	keys    map[projections.TripKey]int64 // the number of the last transaction that wrote it
	all     int64                         // the number of the last that wrote more than is kept here
	n, done int64                         // transactions that wrote any: begun, and over
}

// mostTouched bounds what is kept: to read all is hardly more than to read so many turns.
const mostTouched = 2000

// begin is told before a transaction is committed, so that nobody who reads what it wrote hasn't heard of it.
func (t *touched) begin(keys map[projections.TripKey]struct{}, all bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(keys) == 0 && !all {
		return
	}
	t.n++
	if t.keys == nil {
		t.keys = make(map[projections.TripKey]int64)
	}
	for k := range keys {
		t.keys[k] = t.n
	}
	if all || len(t.keys) > mostTouched {
		t.all = t.n
		clear(t.keys)
	}
}

// end is told once it is, or is taken back.
func (t *touched) end() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.done = t.n
}

// since returns the turns written by transactions after the one of a number; all where that is not known of each. Whoever reads
// them now sees at least what was written up to the second number.
func (t *touched) since(mark int64) (keys []projections.TripKey, all bool, done, n int64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.all > mark {
		return nil, true, t.done, t.n
	}
	for k, by := range t.keys {
		if by > mark {
			keys = append(keys, k)
		} else {
			delete(t.keys, k) // there is one who asks, and it has that
		}
	}
	return keys, false, t.done, t.n
}

// isAt reports whether no transaction was begun since so many were.
func (t *touched) isAt(n int64) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.n == n
}

// keptBoard is the board's table as it was read last.
type keptBoard struct {
	mu    sync.Mutex
	read  bool
	mark  int64 // all that transactions up to this one wrote is in it
	parts []keptPart
	moved int64 // counts how often another part was read
	rows  map[projections.TripKey]*BoardRow

	whole, alone int // how often it was read whole, and how many turns alone
}

// mostRows bounds the rows that are kept: what several boards show at once, each with its own filter.
const mostRows = 1000

// keptPart is a row as it takes part in the reckoning of incidents.
type keptPart struct {
	projections.IncidentPart
	worst int64
}

// compareParts is the order of the board: as an ORDER BY of worst, since DESC, set_id, trip.
func compareParts(a, b keptPart) int {
	return cmp.Or(cmp.Compare(a.worst, b.worst), b.Since.Compare(a.Since), strings.Compare(a.Set, b.Set), strings.Compare(a.Trip, b.Trip))
}

const partColumns = `b.set_id, b.trip, b.worst, b.since, b.causes, b.handled`

// refresh reads what was written since it was read last. The caller holds m.kept.mu.
func (m *Model) refresh(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	const tries = 5
	kept := &m.kept
	for try := 1; ; try++ {
		keys, all, done, n := m.touched.since(kept.mark)
		if !kept.read || all || try == tries {
			// One statement sees one state of the table.
			parts, err := scanParts(m.read.QueryContext(ctx, `SELECT `+partColumns+` FROM board b`))
			if err != nil {
				return err
			}
			slices.SortFunc(parts, compareParts)
			kept.read, kept.mark, kept.parts, kept.rows = true, done, parts, nil
			kept.moved++
			kept.whole++
			return nil
		}
		if len(keys) == 0 {
			kept.mark = max(kept.mark, done)
			return nil
		}
		parts, err := m.keptPartsOf(ctx, keys)
		if err != nil {
			return err
		}
		if !m.touched.isAt(n) {
			continue // one turn as it is would stand beside another as it was
		}
		kept.put(keys, parts)
		kept.alone += len(keys)
		kept.mark = done
		return nil
	}
}

func (m *Model) keptPartsOf(ctx context.Context, keys []projections.TripKey) ([]keptPart, error) {
	asked := make([][2]string, len(keys))
	for i, k := range keys {
		asked[i] = [2]string{k.Set, strings.ToUpper(hex.EncodeToString(idBytes(k.Trip)))}
	}
	raw, err := json.Marshal(asked)
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	return scanParts(m.query(ctx, `SELECT `+partColumns+` FROM json_each(?1) k CROSS JOIN board b
		ON b.set_id = k.value ->> 0 AND b.trip = unhex(k.value ->> 1)`, string(raw)))
}

func scanParts(rows *sql.Rows, err error) ([]keptPart, error) {
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	var parts []keptPart
	for rows.Next() {
		var p keptPart
		var trip sql.RawBytes
		var since int64
		var causes, handled string
		if err := rows.Scan(&p.Set, &trip, &p.worst, &since, &causes, &handled); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		p.Trip, p.Since = idString(trip), time.Unix(0, since).UTC()
		if p.Causes, err = causesIn(causes); err != nil {
			return nil, err
		}
		if handled != "" {
			if err := json.Unmarshal([]byte(handled), &p.Steps); err != nil {
				return nil, fmt.Errorf("read model: handled: %w", err)
			}
		}
		parts = append(parts, p)
	}
	return parts, rows.Err()
}

// put puts what was read of some turns in the place of what was kept of them.
func (kept *keptBoard) put(keys []projections.TripKey, parts []keptPart) {
	was := make(map[projections.TripKey]bool, len(keys))
	for _, k := range keys {
		was[k] = true
		delete(kept.rows, k)
	}
	slices.SortFunc(parts, compareParts)
	out := make([]keptPart, 0, len(kept.parts)+len(parts)) // another has the one before
	for i := range kept.parts {
		p := &kept.parts[i]
		if was[p.TripKey] {
			continue
		}
		for len(parts) > 0 && compareParts(parts[0], *p) < 0 {
			out, parts = append(out, parts[0]), parts[1:]
		}
		out = append(out, *p)
	}
	kept.parts = append(out, parts...)
	kept.moved++
}

// incidentParts returns what is on the board, in its order, and how often that has become another; nothing where that is as often
// as whoever asks knows of.
func (m *Model) incidentParts(ctx context.Context, known int64) ([]projections.IncidentPart, int64, error) {
	m.kept.mu.Lock()
	defer m.kept.mu.Unlock()
	if err := m.refresh(ctx); err != nil {
		return nil, 0, err
	}
	if m.kept.moved == known {
		return nil, known, nil
	}
	parts := make([]projections.IncidentPart, len(m.kept.parts))
	for i := range m.kept.parts {
		parts[i] = m.kept.parts[i].IncidentPart
	}
	return parts, m.kept.moved, nil
}

// BoardRowsOf returns the board's rows of some turns, in their order; those that are not there any more are left out.
func (m *Model) BoardRowsOf(ctx context.Context, ks []projections.TripKey) ([]BoardRow, error) {
	m.kept.mu.Lock()
	defer m.kept.mu.Unlock()
	if err := m.refresh(ctx); err != nil {
		return nil, err
	}
	kept := &m.kept
	var out []BoardRow
	for _, k := range ks {
		r, ok := kept.rows[k]
		if !ok {
			// What is written after this is among what was touched, when it is asked for again.
			rows, err := scanBoard(m.query(ctx, boardRow+`b.set_id = ? AND b.trip = ?`, k.Set, idBytes(k.Trip)))
			if err != nil {
				return nil, err
			}
			if len(rows) == 0 {
				continue
			}
			r = &rows[0]
			if kept.rows == nil || len(kept.rows) >= mostRows {
				kept.rows = make(map[projections.TripKey]*BoardRow)
			}
			kept.rows[k] = r
		}
		x := *r
		x.Findings = slices.Clone(r.Findings) // whoever asks fills in when they were known
		out = append(out, x)
	}
	return out, nil
}

// touch notes that a turn's verdict or its row on the board is written.
func (w *writer) touch(k projections.TripKey) {
	if w.touched == nil {
		w.touched = make(map[projections.TripKey]struct{})
	}
	w.touched[k] = struct{}{}
}
