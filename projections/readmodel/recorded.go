package readmodel

import (
	"context"
	"strings"
	"time"

	"listbound/events"
)

// Recorded is one record of the ledger as the tables have it: what it says is not among it.
type Recorded struct {
	Seq                    int64
	Kind                   events.Kind // "" of one that this program doesn't know
	Station, Subject, Trip string
	Observed, Arrived      time.Time
	Operator               string
	Named                  []events.NamedBadge
}

// RecordedAfter returns the records after one, at most so many.
func (m *Model) RecordedAfter(ctx context.Context, seq int64, limit int) ([]Recorded, error) {
	type row struct {
		Recorded
		trip              []byte
		observed, arrived int64
		operator, named   *string
	}
	rows, err := m.read.QueryContext(ctx, `SELECT seq, kind, station, subject, trip, observed, recorded, operator, named FROM events
		WHERE seq > ? ORDER BY seq LIMIT ?`, seq, limit)
	found, err := scanAll(rows, err, func(r *row) []any {
		return []any{&r.Seq, &r.Kind, &r.Station, &r.Subject, &r.trip, &r.observed, &r.arrived, &r.operator, &r.named}
	})
	out := make([]Recorded, len(found))
	for i, r := range found {
		out[i] = r.Recorded
		out[i].Observed, out[i].Arrived = fromNano(r.observed), fromNano(r.arrived)
		out[i].Trip = idString(r.trip)
		if r.operator != nil {
			out[i].Operator = *r.operator
		}
		if r.named != nil {
			for line := range strings.Lines(*r.named) { // the first is empty: see namedLines
				if as, badge, ok := strings.Cut(strings.TrimSuffix(line, "\n"), " "); ok {
					out[i].Named = append(out[i].Named, events.NamedBadge{As: as, Badge: badge})
				}
			}
		}
	}
	return out, err
}
