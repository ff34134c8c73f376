package readmodel

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strconv"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
)

// Moment returns as of when the verdicts are: all of them, whenever each was made.
func (m *Model) Moment() time.Time {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.moment
}

// Advance lets time go on to a moment, and judges anew what was judged to hold
// only until then. It reports whether there was any. Time never goes back: a
// clock that does changes nothing until the model is opened again.
func (m *Model) Advance(ctx context.Context, to time.Time) (bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if to.After(m.moment) {
		m.moment = to
		m.world.SetMoment(to)
	}
	if m.bulk || m.pos <= 0 || !m.due.IsZero() && m.moment.Before(m.due) {
		return false, nil
	}
	if err := m.settle(ctx); err != nil {
		m.giveUp(ctx)
		return false, fmt.Errorf("read model: %w", err)
	}
	due, err := m.passed(ctx)
	if err == nil && len(due.trips)+len(due.stations) == 0 {
		m.due, err = m.nextDue(ctx)
	}
	if err != nil || len(due.trips)+len(due.stations) == 0 {
		return false, err
	}
	m.due = time.Time{}
	if err := m.judgeDue(ctx, due); err != nil {
		m.forget(ctx)
		return false, fmt.Errorf("read model: %w", err)
	}
	return true, nil
}

// Due returns the next moment at which a verdict changes though nothing is
// recorded, zero where none does.
func (m *Model) Due(ctx context.Context) (time.Time, error) {
	var trip, station sql.NullInt64
	err := m.read.QueryRowContext(ctx, `SELECT (SELECT min(until) FROM rests_on WHERE ask = ?1),
		(SELECT min(until) FROM stations WHERE until <> 0)`, askNumber(facts.DimTime, "")).Scan(&trip, &station)
	if err != nil {
		return time.Time{}, fmt.Errorf("read model: %w", err)
	}
	var due time.Time
	for _, n := range []sql.NullInt64{trip, station} {
		if t := fromNano(n.Int64); n.Valid && (due.IsZero() || t.Before(due)) {
			due = t
		}
	}
	return due, nil
}

// never is later than any moment of a record.
var never = time.Unix(0, math.MaxInt64)

// nextDue returns when a verdict changes next though nothing is recorded.
func (m *Model) nextDue(ctx context.Context) (time.Time, error) {
	due, err := m.Due(ctx)
	if err == nil && due.IsZero() {
		due = never
	}
	return due, err
}

// noteDue keeps the earliest moment for which verdicts wait. One that no longer does is found out when it is over.
func (m *Model) noteDue(at time.Time) {
	if !m.due.IsZero() && !at.IsZero() {
		m.due = facts.Earliest(m.due, at)
	}
}

// noteTripDue is noteDue of a trip's verdict.
func (m *Model) noteTripDue(j *judged) {
	moment := askNumber(facts.DimTime, "")
	for _, r := range j.rests {
		if r.ask == moment {
			m.noteDue(time.Unix(0, r.until))
		}
	}
}

// overdue is what was judged to hold until a moment that has passed.
type overdue struct {
	trips    map[projections.TripKey]struct{}
	stations map[string]struct{}
}

func (m *Model) passed(ctx context.Context) (overdue, error) {
	due := overdue{make(map[projections.TripKey]struct{}), make(map[string]struct{})}
	if err := m.overdueTrips(ctx, due.trips); err != nil {
		return due, err
	}
	names, err := m.texts(ctx, `SELECT name FROM stations WHERE until <> 0 AND until <= ?1`, facts.Nanos(m.moment))
	for _, name := range names {
		due.stations[name] = struct{}{}
	}
	return due, err
}

func (m *Model) judgeDue(ctx context.Context, due overdue) error {
	var trips []judged
	stations, err := m.verdicts(due.trips, due.stations, func(j judged) { trips = append(trips, j) })
	if err != nil {
		return err
	}
	return m.transact(ctx, func(w *writer) error {
		if err := (verdictWriter{w: w}).write(trips); err != nil {
			return err
		}
		for _, v := range stations {
			if err := w.writeStationVerdict(v); err != nil {
				return err
			}
		}
		return w.writeMoment(m.moment)
	})
}

func (w *writer) writeMoment(t time.Time) error {
	return w.exec(`UPDATE meta SET value = ?1 WHERE key = 'moment'`, strconv.FormatInt(momentNumber(t), 10))
}

// momentNumber is 0 where no moment is given: nothing has passed then.
func momentNumber(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return facts.Nanos(t)
}
