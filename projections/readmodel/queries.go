package readmodel

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// Source returns the model as a source of facts, for a World of one's own:
// histories, and what was known at a moment.
func (m *Model) Source(ctx context.Context) facts.Source { return m.source(ctx) }

// Worst returns the verdicts that are broken or doubtful, worst first; the
// stations' own are among them.
func (m *Model) Worst(ctx context.Context) ([]projections.Verdict, error) {
	vs, err := m.verdictRows(ctx, `SELECT verdict FROM trips WHERE status IN ('broken', 'doubtful')
		UNION ALL SELECT verdict FROM stations WHERE verdict IS NOT NULL`)
	if err != nil {
		return nil, err
	}
	bad := vs[:0]
	for _, v := range vs {
		if v.Status == projections.Broken || v.Status == projections.Doubtful {
			bad = append(bad, v)
		}
	}
	projections.Sort(bad)
	return bad, nil
}

// NearMisses returns, the latest first, the trips in which something wrong was
// seen and put right before use, each with these findings alone.
func (m *Model) NearMisses(ctx context.Context, limit int) ([]projections.Verdict, error) {
	vs, err := m.verdictRows(ctx, `SELECT t.verdict FROM trips t WHERE EXISTS (SELECT 1 FROM findings f WHERE f.set_id = t.set_id
		AND f.trip = t.trip AND f.severity = 'noted' AND json_extract(f.detail, '$.righted') IS NOT NULL)
		ORDER BY t.since DESC, t.set_id, t.trip LIMIT ?`, limit)
	for i := range vs {
		vs[i] = projections.NearMisses(vs[i])
	}
	return vs, err
}

// Verdict returns the verdict of one trip, nil where there is none.
func (m *Model) Verdict(ctx context.Context, k projections.TripKey) (*projections.Verdict, error) {
	rows, err := m.query(ctx, `SELECT verdict FROM trips WHERE set_id = ? AND trip = ?`, k.Set, idBytes(k.Trip))
	vs, err := scanVerdicts(rows, err)
	if err != nil || len(vs) == 0 {
		return nil, err
	}
	return &vs[0], nil
}

// Changes counts the transactions that changed what is kept. While it is the same, so is what is kept.
func (m *Model) Changes() int64 { return m.changes.Load() }

// Untroubled returns those of some trips in whose verdicts nothing is found, for a history: it need not judge them again.
func (m *Model) Untroubled(ctx context.Context, keys []projections.TripKey) (map[projections.TripKey]projections.Verdict, error) {
	out := make(map[projections.TripKey]projections.Verdict, len(keys))
	for _, k := range keys {
		v, err := m.Verdict(ctx, k)
		if err != nil {
			return nil, err
		}
		if v != nil && len(v.Findings) == 0 {
			v.Findings = nil // as judgement says it
			out[k] = *v
		}
	}
	return out, nil
}

// Verdicts returns the verdicts of all trips, in no order.
func (m *Model) Verdicts(ctx context.Context) ([]projections.Verdict, error) {
	return m.verdictRows(ctx, `SELECT verdict FROM trips`)
}

func (m *Model) verdictRows(ctx context.Context, q string, args ...any) ([]projections.Verdict, error) {
	rows, err := m.read.QueryContext(ctx, q, args...)
	return scanVerdicts(rows, err)
}

func scanVerdicts(rows *sql.Rows, err error) ([]projections.Verdict, error) {
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	var out []projections.Verdict
	for rows.Next() {
		var raw sql.RawBytes
		if err := rows.Scan(&raw); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		var v projections.Verdict
		if err := json.Unmarshal(raw, &v); err != nil {
			return nil, fmt.Errorf("read model: verdict: %w", err)
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// Status counts the trips by status. Nearly all are whole, so those are what
// is left when the others have been counted.
func (m *Model) Status(ctx context.Context) (map[projections.Status]int, error) {
	var all, open, doubtful, broken int
	err := m.read.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM trips), (SELECT count(*) FROM trips WHERE status = 'open'),
		(SELECT count(*) FROM trips WHERE status = 'doubtful'), (SELECT count(*) FROM trips WHERE status = 'broken')`,
	).Scan(&all, &open, &doubtful, &broken)
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	return map[projections.Status]int{projections.Open: open, projections.Doubtful: doubtful,
		projections.Broken: broken, projections.Whole: all - open - doubtful - broken}, nil
}

// AllTrips returns every trip, in the order in which they began: ids begin with the time of packing.
func (m *Model) AllTrips(ctx context.Context) ([]projections.TripKey, error) {
	return m.keys(ctx, `SELECT set_id, trip FROM trips ORDER BY trip, set_id`)
}

// TripsOfSet returns a set's trips, first packed first.
func (m *Model) TripsOfSet(ctx context.Context, set string) ([]projections.TripKey, error) {
	return m.keys(ctx, `SELECT set_id, trip FROM trips WHERE set_id = ? ORDER BY trip`, set)
}

// SetNames returns all sets of which anything is recorded, by name. It steps from one
// name to the next, so that it costs as much as there are sets, not turns.
func (m *Model) SetNames(ctx context.Context) ([]string, error) {
	rows, err := m.query(ctx, `WITH RECURSIVE names(name) AS (
			SELECT min(set_id) FROM trips
			UNION ALL SELECT (SELECT min(set_id) FROM trips WHERE set_id > name) FROM names WHERE name IS NOT NULL)
		SELECT name FROM names WHERE name IS NOT NULL`)
	found, err := scanAll(rows, err, func(s *string) []any { return []any{s} })
	return found, err
}

// SterilizerNames returns all sterilizers of which anything is recorded, by name, in as many steps.
func (m *Model) SterilizerNames(ctx context.Context) ([]string, error) {
	rows, err := m.query(ctx, `WITH RECURSIVE names(name) AS (
			SELECT min(sterilizer) FROM events WHERE sterilizer IS NOT NULL
			UNION ALL SELECT (SELECT min(sterilizer) FROM events WHERE sterilizer > name AND sterilizer IS NOT NULL)
				FROM names WHERE name IS NOT NULL)
		SELECT name FROM names WHERE name IS NOT NULL`)
	found, err := scanAll(rows, err, func(s *string) []any { return []any{s} })
	return found, err
}

// SetOfTrip returns whose a trip is; ok is false where nobody knows it.
func (m *Model) SetOfTrip(ctx context.Context, trip string) (set string, ok bool, err error) {
	ks, err := m.keys(ctx, `SELECT DISTINCT subject, trip FROM events WHERE trip = ? AND kind = 'set.packed'`, idBytes(trip))
	if err != nil || len(ks) == 0 {
		return "", false, err
	}
	return ks[0].Set, true, nil
}

// TripsOfLoad returns the trips that were in a load.
func (m *Model) TripsOfLoad(ctx context.Context, load string) ([]projections.TripKey, error) {
	return m.keys(ctx,
		`SELECT DISTINCT e.subject, `+tripOf+` FROM events e WHERE e.load = ? AND e.kind = 'set.sterilized' ORDER BY 1, 2`, load)
}

func (m *Model) keys(ctx context.Context, q string, args ...any) ([]projections.TripKey, error) {
	type row struct {
		set  string
		trip []byte
	}
	rows, err := m.query(ctx, q, args...)
	found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.set, &r.trip} })
	var out []projections.TripKey
	for _, r := range found {
		out = append(out, projections.TripKey{Set: r.set, Trip: idString(r.trip)})
	}
	return out, err
}

// FindEvent returns the sequence of an event id, 0 where there is none. Of
// several it is the first.
func (m *Model) FindEvent(ctx context.Context, id string) (int64, error) {
	seqs, err := m.FindEvents(ctx, id)
	if err != nil || len(seqs) == 0 {
		return 0, err
	}
	return seqs[0], nil
}

// FindEvents returns the sequences of an event id, in order. An id belongs to
// nobody: a station that signs for itself can give one that is another's.
func (m *Model) FindEvents(ctx context.Context, id string) ([]int64, error) {
	args, ok := eventArgs(id)
	if !ok {
		return nil, nil
	}
	return m.seqs(ctx, `SELECT seq FROM events WHERE `+factRows[facts.DimEvent]+` ORDER BY seq`, args...)
}

// SaidOfTexts returns the records that say what becomes of texts beside the ledger, in order.
func (m *Model) SaidOfTexts(ctx context.Context) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE kind IN ('texts.redacted', 'hold.placed', 'hold.lifted', 'retention.adopted')
		ORDER BY seq`)
}

// Assessed returns the records that sign an assessment of where count sheets travel, in order.
func (m *Model) Assessed(ctx context.Context) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE kind = 'placements.assessed' ORDER BY seq`)
}

// ObservedAt returns the records of what was observed within a millisecond, in order.
func (m *Model) ObservedAt(ctx context.Context, at time.Time) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE observed >= ? AND observed < ? ORDER BY seq`,
		at.UnixNano(), at.Add(time.Millisecond).UnixNano())
}

// Station returns what the audit knows of a station, nil for one that has
// neither been enrolled nor recorded.
func (m *Model) Station(name string) *events.Station {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.foreseen != nil {
		if st, ok := m.foreseen.before[name]; ok {
			return st
		}
	}
	return m.station(name)
}

func (m *Model) station(name string) *events.Station {
	st := m.audit.Station(name)
	if st == nil {
		return nil
	}
	copied := *st
	copied.Keys, copied.Runs = slices.Clone(st.Keys), nil
	return &copied
}

// LastMapped returns the sequence of a site's newest records.mapped, 0 for none.
func (m *Model) LastMapped(ctx context.Context, site string) (int64, error) {
	seqs, err := m.seqs(ctx,
		`SELECT max(seq) FROM events WHERE subject = ? AND trip IS NULL AND kind = 'records.mapped' HAVING max(seq) IS NOT NULL`, site)
	if err != nil || len(seqs) == 0 {
		return 0, err
	}
	return seqs[0], nil
}

// KeysReplaced returns the sequences of the records by which the key of a site's ledger was replaced, in order.
func (m *Model) KeysReplaced(ctx context.Context, site string) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE subject = ? AND trip IS NULL AND kind = 'key.replaced' ORDER BY seq`, site)
}

// Enrolments returns the sequences of the records that enrolled or retired a station.
func (m *Model) Enrolments(ctx context.Context, station string) ([]int64, error) {
	return m.seqs(ctx,
		`SELECT seq FROM events WHERE subject = ? AND trip IS NULL AND kind IN ('station.enrolled', 'station.retired')
		ORDER BY seq`, station)
}

// Lists returns the ids of all lists, in order.
func (m *Model) Lists(ctx context.Context) ([]string, error) {
	return m.texts(ctx,
		`SELECT DISTINCT list FROM events WHERE kind IN ('list.issued', 'event.corrected') AND list IS NOT NULL ORDER BY list`)
}

// ListsChanged returns the newest record that can have changed what lists there are, 0 for none: while it is the same, so are
// they.
func (m *Model) ListsChanged(ctx context.Context) (int64, error) {
	rows, err := m.query(ctx, `SELECT coalesce(max(seq), 0) FROM events INDEXED BY events_issued
		WHERE kind IN ('list.issued', 'event.corrected')`)
	seqs, err := scanAll(rows, err, func(seq *int64) []any { return []any{seq} })
	return slices.Max(append(seqs, 0)), err
}

// texts returns what a query for one column of texts finds.
func (m *Model) texts(ctx context.Context, q string, args ...any) ([]string, error) {
	rows, err := m.query(ctx, q, args...)
	return scanAll(rows, err, func(s *string) []any { return []any{s} })
}

// Stations returns what the audit knows of each station, by name, less the runs.
func (m *Model) Stations(ctx context.Context) ([]events.Station, error) {
	rows, err := m.query(ctx,
		`SELECT name, key, enrolled, retired, last, count, hash, observed, signed, keys FROM stations ORDER BY name`)
	type row struct {
		events.Station
		at   int64
		keys []byte
	}
	found, err := scanAll(rows, err, func(r *row) []any {
		return []any{&r.Name, &r.Key, &r.Enrolled, &r.Retired, &r.Last, &r.Count, &r.Hash, &r.at, &r.Signed, &r.keys}
	})
	if err != nil {
		return nil, err
	}
	var out []events.Station
	for _, r := range found {
		r.Time = fromNano(r.at)
		if err := json.Unmarshal(r.keys, &r.Keys); err != nil {
			return nil, fmt.Errorf("read model: keys of station %s: %w", r.Name, err)
		}
		out = append(out, r.Station)
	}
	return out, nil
}

// runs returns the stretches of each station's numbering that are there.
func (m *Model) runs(ctx context.Context) (map[string][]*events.Run, error) {
	rows, err := m.query(ctx, `SELECT station, run FROM runs ORDER BY station, first`)
	type row struct {
		station string
		run     []byte
	}
	found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.station, &r.run} })
	if err != nil {
		return nil, err
	}
	out := make(map[string][]*events.Run)
	for _, r := range found {
		run := new(events.Run)
		if err := json.Unmarshal(r.run, run); err != nil {
			return nil, fmt.Errorf("read model: records of station %s: %w", r.station, err)
		}
		out[r.station] = append(out[r.station], run)
	}
	return out, nil
}

// Head returns number and hash of the last record that a key of a station signed, from which that key goes on; 0 and ""
// where it has signed none.
func (m *Model) Head(ctx context.Context, station string, key uint32) (number int64, hash string, err error) {
	rows, err := m.read.QueryContext(ctx, `SELECT run FROM runs WHERE station = ?`, station)
	found, err := scanAll(rows, err, func(raw *[]byte) []any { return []any{raw} })
	if err != nil {
		return 0, "", err
	}
	st := events.Station{Name: station}
	for _, raw := range found {
		run := new(events.Run)
		if err := json.Unmarshal(raw, run); err != nil {
			return 0, "", fmt.Errorf("read model: records of station %s: %w", station, err)
		}
		st.Runs = append(st.Runs, run)
	}
	number, hash = st.HeadOf(key)
	return number, hash, nil
}

// EverHeld reports whether the site has ever held to a register. Before, nobody needs to ask.
func (m *Model) EverHeld() bool { return m.registers.Load() }

// EntryNames returns the codes that were ever entered in a register.
func (m *Model) EntryNames(ctx context.Context, register string) ([]string, error) {
	rows, err := m.query(ctx, `SELECT DISTINCT substr(entry, length(?1) + 2) FROM events
		WHERE entry >= ?1 || '/' AND entry < ?1 || '0' AND kind <> 'access.claimed' ORDER BY entry`, register)
	return scanAll(rows, err, func(s *string) []any { return []any{s} })
}

// TaggedSets returns the sets in whose entries a code was ever named as a tag.
func (m *Model) TaggedSets(ctx context.Context, code string) ([]string, error) {
	rows, err := m.query(ctx, `SELECT DISTINCT substr(e.entry, 6) FROM marks m JOIN events e ON e.seq = m.seq
		WHERE m.mark = ? AND m.what = 'tag'`, code) // after "sets/"
	return scanAll(rows, err, func(s *string) []any { return []any{s} })
}

// WasBadge reports whether a code ever stood for who recorded something.
func (m *Model) WasBadge(ctx context.Context, code string) (was bool, err error) {
	err = m.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM spans WHERE what = 'badge' AND mark = ?)`, code).Scan(&was)
	return was, err
}

// RegisterFacts returns all that was ever said of the entries of a register, with access claimed by badges under that of
// people, in the order of the ledger.
func (m *Model) RegisterFacts(ctx context.Context, register string) ([]facts.Fact, error) {
	return m.source(ctx).query(`SELECT seq, remarks FROM events WHERE entry >= ?1 || '/' AND entry < ?1 || '0' ORDER BY seq`, register)
}
