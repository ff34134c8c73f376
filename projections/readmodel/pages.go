package readmodel

import (
	"context"
	"time"

	"listbound/projections"
)

// OpenCases returns the cases for which a station has opened sets since a
// moment, or counted where no opening is recorded, and that nobody has closed, the latest first. One whose closing was corrected
// is among them: whether it is closed, judgement says.
func (m *Model) OpenCases(ctx context.Context, station string, since time.Time) ([]string, error) {
	return m.texts(ctx, `SELECT case_ref FROM events AS o
		WHERE observed >= ?2 AND station = ?1 AND case_ref IS NOT NULL AND (kind = 'set.opened' OR kind = 'set.counted'
			AND NOT EXISTS (SELECT 1 FROM events AS s WHERE s.case_ref = o.case_ref AND s.kind = 'set.opened'))
		AND NOT EXISTS (SELECT 1 FROM events AS c WHERE c.case_ref = o.case_ref AND c.kind = 'case.closed'
			AND NOT EXISTS (SELECT 1 FROM events AS v WHERE v.corrects = c.id))
		GROUP BY case_ref ORDER BY max(observed) DESC`, station, since.UnixNano())
}

// CasesSince returns the cases for which sets were opened or counted since a moment, at any station, closed or not, the
// newest first.
func (m *Model) CasesSince(ctx context.Context, since time.Time) ([]string, error) {
	return m.texts(ctx, `SELECT case_ref FROM events
		WHERE observed >= ?1 AND kind IN ('set.opened', 'set.counted') AND case_ref IS NOT NULL
		GROUP BY case_ref ORDER BY max(observed) DESC, case_ref`, since.UnixNano())
}

// ClaimsSince returns the records by which access was claimed in an emergency since a moment, the newest first.
func (m *Model) ClaimsSince(ctx context.Context, since time.Time) ([]int64, error) {
	return m.seqs(ctx, `SELECT seq FROM events WHERE observed >= ?1 AND kind = 'access.claimed' ORDER BY observed DESC, seq DESC`,
		since.UnixNano())
}

// Unopened returns the trips that were packed with a list and not opened, and
// are the last of their set.
func (m *Model) Unopened(ctx context.Context, list string) ([]projections.TripKey, error) {
	return m.keys(ctx, `SELECT DISTINCT e.subject, e.trip FROM events AS e JOIN trips AS t ON t.set_id = e.subject AND t.trip = e.trip
		WHERE e.list = ? AND e.kind = 'set.packed' AND e.trip IS NOT NULL AND t.opened = 0
		AND NOT EXISTS (SELECT 1 FROM events AS n WHERE n.subject = e.subject AND n.kind = 'set.packed' AND n.observed > e.observed)
		ORDER BY 1, 2`, list)
}

// TurnsNow returns the trip that each set is on: its last packing. A set whose last
// packing was corrected is left out, since it may have been another set's.
func (m *Model) TurnsNow(ctx context.Context, at time.Time) ([]projections.TripKey, error) {
	// From set to set along the index: as many steps as sets, however many packings.
	return m.keys(ctx, `WITH RECURSIVE sets (name) AS (
			SELECT min(subject) FROM events WHERE kind = 'set.packed'
			UNION ALL
			SELECT (SELECT min(subject) FROM events WHERE kind = 'set.packed' AND subject > sets.name) FROM sets
			WHERE sets.name IS NOT NULL)
		SELECT e.subject, e.trip FROM sets JOIN events AS e ON e.seq = (SELECT seq FROM events
			WHERE kind = 'set.packed' AND subject = sets.name AND observed <= ? ORDER BY observed DESC LIMIT 1)
		WHERE e.trip IS NOT NULL AND NOT EXISTS (SELECT 1 FROM events AS c WHERE c.corrects = e.id)
		ORDER BY 1`, at.UnixNano())
}
