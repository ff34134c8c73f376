package readmodel

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/rates"
)

// openingOf says of a set that was opened when, where and how its sheet was looked at;
// nil where nobody has opened it.
func openingOf(c *facts.Trip) *rates.Opening {
	at := trayOpened(c)
	if at == nil {
		return nil
	}
	o := &rates.Opening{TripKey: c.Key, At: at.At(), Station: at.Event.Station, Read: sheetSeen(c, at)}
	if p := facts.PackOf(c.LastPack()); p != nil {
		o.List = p.List
	}
	if n := len(c.Sealed); n > 0 {
		o.Placement = string(facts.SealOf(c.Sealed[n-1]).Placement)
	}
	return o
}

// trayOpened returns the first opening of a set's own tray. One at which the tag of
// another set was read is counted once, with that set.
func trayOpened(c *facts.Trip) *facts.Item {
	var first *facts.Item
	take := func(it *facts.Item) {
		if first == nil || it.Less(first) {
			first = it
		}
	}
	for i := range c.Readings {
		if r := &c.Readings[i]; r.Opening && r.Own() {
			take(r.It)
		}
	}
	for _, it := range c.OnTray() {
		if it.Kind == events.KindSetOpened {
			take(it)
		}
	}
	return first
}

// sheetSeen reports whether at an opening, or after it, it was seen whose sheet the set
// had, or that it had none. Of a set without paper it is the tag that says which list is
// the right one.
func sheetSeen(c *facts.Trip, opening *facts.Item) bool {
	for i := range c.Readings {
		r := &c.Readings[i]
		if r.It.Less(opening) {
			continue
		}
		if c.Screened() && r.Proved() || !c.Screened() && r.Class.Conclusive() {
			return true
		}
	}
	if c.Screened() {
		return false
	}
	// Its tray may have been opened under another set's name, and the sheet beside it read there.
	under := func(it *facts.Item) bool {
		return !it.Less(opening) && (it.Code != nil || facts.SheetOf(it).Found == events.FoundNone)
	}
	return slices.ContainsFunc(c.OnTray(), under) || slices.ContainsFunc(c.Counted, func(it *facts.Item) bool { return it.Code != nil })
}

func (v verdictWriter) opening(j *judged, was *written) error {
	o := j.open
	if was != nil && (o == nil && was.opening == nil || o != nil && was.opening != nil && *o == *was.opening) {
		return nil
	}
	if o == nil {
		if v.fresh {
			return nil
		}
		return v.w.exec(deleteOpening, j.Set, idBytes(j.Trip))
	}
	return v.w.exec(`INSERT OR REPLACE INTO openings (set_id, trip, at, station, list, placement, read) VALUES (?,?,?,?,?,?,?)`,
		j.Set, idBytes(j.Trip), unixNano(o.At), o.Station, o.List, o.Placement, truth(o.Read))
}

// Openings returns the sets that were opened from one moment up to another (zero: no
// bound), first opened first.
func (m *Model) Openings(ctx context.Context, since, until time.Time) ([]rates.Opening, error) {
	low, high := bounds(since, until)
	rows, err := m.read.QueryContext(ctx, `SELECT set_id, trip, at, station, list, placement, read FROM openings
		WHERE at >= ? AND at < ? ORDER BY at, set_id, trip`, low, high)
	type row struct {
		rates.Opening
		trip []byte
		at   int64
	}
	found, err := scanAll(rows, err, func(r *row) []any {
		return []any{&r.Set, &r.trip, &r.at, &r.Station, &r.List, &r.Placement, &r.Read}
	})
	out := make([]rates.Opening, len(found))
	for i, r := range found {
		out[i] = r.Opening
		out[i].Trip, out[i].At = idString(r.trip), fromNano(r.at)
	}
	return out, err
}

// OpenedAt returns how many sets were opened at each station from one moment up to another.
func (m *Model) OpenedAt(ctx context.Context, since, until time.Time) (map[string]int, error) {
	low, high := bounds(since, until)
	rows, err := m.query(ctx, `SELECT station, count(*) FROM openings WHERE at >= ?1 AND at < ?2 GROUP BY station`, low, high)
	found, err := scanAll(rows, err, func(t *Tally) []any { return []any{&t.Value, &t.N} })
	out := make(map[string]int, len(found))
	for _, t := range found {
		out[t.Value] = t.N
	}
	return out, err
}

// Operators returns who recorded each of some records; those without a badge are left out.
func (m *Model) Operators(ctx context.Context, seqs []int64) (map[int64]string, error) {
	out := make(map[int64]string, len(seqs))
	for _, seq := range seqs {
		rows, err := m.query(ctx, `SELECT coalesce(operator, '') FROM events WHERE seq = ?1`, seq)
		found, err := scanAll(rows, err, func(s *string) []any { return []any{s} })
		if err != nil {
			return nil, err
		}
		if len(found) > 0 && found[0] != "" {
			out[seq] = found[0]
		}
	}
	return out, nil
}

// bounds are what at lies between, both included but the last.
func bounds(since, until time.Time) (low, high int64) {
	low, high = math.MinInt64, math.MaxInt64
	if !since.IsZero() {
		low = nanos(since)
	}
	if !until.IsZero() {
		high = nanos(until)
	}
	return low, high
}

// nanos is a moment that somebody asks about, as records have theirs. Before 1678 and after 2261 there are no nanoseconds of it in 64
// bits, and UnixNano wraps around: "until 9999-12-31", which programs write for no end, would be long before the first record.
func nanos(at time.Time) int64 {
	switch {
	case at.Before(time.Unix(0, math.MinInt64)):
		return math.MinInt64
	case at.After(time.Unix(0, math.MaxInt64)):
		return math.MaxInt64
	}
	return at.UnixNano()
}

// FoundBy returns the verdicts with a finding of one of some codes, noted ones too.
func (m *Model) FoundBy(ctx context.Context, codes []projections.Code) ([]projections.Verdict, error) {
	if len(codes) == 0 {
		return nil, nil
	}
	args := make([]any, len(codes))
	for i, c := range codes {
		args[i] = string(c)
	}
	return m.verdictRows(ctx, fmt.Sprintf(`SELECT t.verdict FROM (SELECT DISTINCT set_id, trip FROM findings WHERE code IN (?%s)) f
		CROSS JOIN trips t ON t.set_id = f.set_id AND t.trip = f.trip ORDER BY t.set_id, t.trip`,
		strings.Repeat(",?", len(codes)-1)), args...)
}
