package readmodel

import (
	"context"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/projections/facts"
)

// insertSchedule files what schedules say by when the case begins.
func insertSchedule(ctx context.Context, w *writer, added []facts.Fact) error {
	return w.insertAll(ctx, `INSERT INTO schedule (seq, start) VALUES `, 2, func(yield func([]any) bool) {
		for _, f := range added {
			if f.Event == nil {
				continue
			}
			if at := startIn(f.Event.Data); !at.IsZero() && !yield([]any{f.Seq, at.UnixNano()}) {
				return
			}
		}
	})
}

// startIn is when a case begins by what a record says, or by what it puts in the place of another; zero where it says none.
func startIn(d events.Data) time.Time {
	switch d := d.(type) {
	case *events.CaseScheduled:
		return d.StartsAt()
	case *events.EventCorrected:
		var r struct {
			Case  string `json:"case"`
			Start string `json:"start"`
		}
		if len(d.Data) > 0 && json.Unmarshal(d.Data, &r) == nil && r.Case != "" {
			return (&events.CaseScheduled{Start: r.Start}).StartsAt()
		}
	}
	return time.Time{}
}

// CasesPlanned returns the cases that any record of a schedule lets begin from a moment on and before another. Whether one
// still does, judgement says.
func (m *Model) CasesPlanned(ctx context.Context, from, until time.Time) ([]string, error) {
	rows, err := m.query(ctx, `SELECT DISTINCT e.case_ref FROM schedule AS s JOIN events AS e ON e.seq = s.seq
		WHERE s.start >= ? AND s.start < ? AND e.case_ref IS NOT NULL ORDER BY 1`, nanos(from), nanos(until))
	return scanAll(rows, err, func(ref *string) []any { return []any{ref} })
}
