package readmodel

import (
	"context"
	"time"

	"listbound/projections"
)

// NotSeenSince returns the latest turn of each set that was last seen before a moment, the one not seen for longest first.
func (m *Model) NotSeenSince(ctx context.Context, before time.Time, limit int) ([]projections.Verdict, error) {
	return m.verdictRows(ctx, `SELECT t.verdict FROM trips t WHERE t.set_id <> '' AND t.since < ?1 AND NOT EXISTS
		(SELECT 1 FROM trips n WHERE n.set_id = t.set_id AND (n.since >= ?1 OR n.trip > t.trip))
		ORDER BY t.since, t.set_id LIMIT ?2`, nanos(before), limit)
}

// CorrectionsBetween returns the records of corrections that arrived from a moment on and before another, in order.
func (m *Model) CorrectionsBetween(ctx context.Context, from, until time.Time, limit int) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE corrects IS NOT NULL AND recorded >= ? AND recorded < ? ORDER BY seq LIMIT ?`,
		nanos(from), nanos(until), limit)
}

// FirstOpened is when a set was opened first in a turn, zero where nobody has.
func (m *Model) FirstOpened(ctx context.Context, k projections.TripKey) (time.Time, error) {
	rows, err := m.query(ctx, `SELECT at FROM openings WHERE set_id = ? AND trip = ?`, k.Set, idBytes(k.Trip))
	found, err := scanAll(rows, err, func(at *int64) []any { return []any{at} })
	if err != nil || len(found) == 0 {
		return time.Time{}, err
	}
	return time.Unix(0, found[0]).UTC(), nil
}
