package readmodel

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/maphash"
	"math"
	"sync"
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// observed knows what stations have observed since it began, so that of nearly all that people scan it can be said without
// asking the tables that it is not recorded yet: it is later than all that they had then, and was not applied since. What the
// ledger observes itself is left out: it says when it is recorded, and a file of last month's scans enrols stations today.
type observed struct {
	own   string // the ledger's name
	mu    sync.Mutex
	until int64 // what the tables have and marks doesn't was observed to then
	last  int64 // the latest in marks
	// The same of ids, and of those of trips, with those whose sheets were read, of which the ledger's own are in marks too.
	idsUntil, idsLast     int64
	tripsUntil, tripsLast int64
	marks                 map[uint64]struct{}
}

// observedAtMost bounds how many are kept, of some 20 bytes each. Then what is known of them is when the last one was.
const observedAtMost = 1 << 18

var observedSeed = maphash.MakeSeed()

func observationMark(station string, at int64) uint64 {
	return maphash.Comparable(observedSeed, struct {
		station string
		at      int64
	}{station, at})
}

func idMark(id []byte) uint64 { return maphash.Bytes(observedSeed, id) }

// begin starts anew, with tables in which nothing of stations is later than one moment, nothing at all than another, and no trip's id
// than a third.
func (o *observed) begin(until, idsUntil, tripsUntil int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.until, o.last, o.marks = until, math.MinInt64, make(map[uint64]struct{})
	o.idsUntil, o.idsLast = idsUntil, math.MinInt64
	o.tripsUntil, o.tripsLast = tripsUntil, math.MinInt64
}

// add takes what is about to be applied, and returns the ids, of events and of trips, that no record has had, nor read the sheet of. If
// it isn't applied in the end, the tables are asked without need.
func (o *observed) add(b *Batch) (fresh []facts.DimKey) {
	o.mu.Lock()
	defer o.mu.Unlock()
	codes := make(codeTrips)
	for i := range b.records {
		e := b.records[i].parsed.Event
		if e == nil {
			continue
		}
		if len(o.marks) >= observedAtMost {
			o.until, o.idsUntil = max(o.until, o.last), max(o.idsUntil, o.idsLast)
			o.tripsUntil = max(o.tripsUntil, o.tripsLast)
			clear(o.marks)
		}
		if e.Trip != "" && o.addTrip(e.Trip) {
			fresh = append(fresh, facts.DimKey{Dim: facts.DimTrip, Key: e.Trip}, facts.DimKey{Dim: facts.DimSheet, Key: e.Trip})
		}
		if read := codes.read(e); read != nil {
			o.addTrip(idString(read))
		}
		at := e.Time.UnixNano()
		id := idMark(idBytes(e.ID))
		if _, is := o.marks[id]; !is && timeOfID(e.ID) > o.idsUntil {
			fresh = append(fresh, facts.DimKey{Dim: facts.DimEvent, Key: e.ID})
		}
		o.idsLast = max(o.idsLast, at)
		o.marks[id] = struct{}{}
		if e.Station == o.own {
			continue
		}
		o.last = max(o.last, at)
		o.marks[observationMark(e.Station, at)] = struct{}{}
	}
	return fresh
}

// addTrip takes the id of a trip, and reports whether none of the records before has named it.
func (o *observed) addTrip(trip string) bool {
	mark, of := idMark(idBytes(trip)), timeOfID(trip)
	_, is := o.marks[mark]
	fresh := !is && of > o.tripsUntil
	o.tripsLast = max(o.tripsLast, of)
	o.marks[mark] = struct{}{}
	return fresh
}

// addIDs takes ids that the tables have.
func (o *observed) addIDs(ids [][]byte) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, id := range ids {
		o.marks[idMark(id)] = struct{}{}
		o.idsLast = max(o.idsLast, timeOfID(idString(id)))
	}
}

// MayHave reports whether anything may be recorded that a station observed at a moment. It says no only where nothing is.
func (m *Model) MayHave(station string, at time.Time) bool {
	o := &m.observed
	o.mu.Lock()
	defer o.mu.Unlock()
	if station == o.own || at.UnixNano() <= o.until {
		return true
	}
	_, is := o.marks[observationMark(station, at.UnixNano())]
	return is
}

// mayHaveID reports whether an event with an id may be in the tables, which was observed at a moment or later. It says no only where
// none is.
func (m *Model) mayHaveID(id []byte, from int64) bool {
	o := &m.observed
	o.mu.Lock()
	defer o.mu.Unlock()
	if from <= o.idsUntil {
		return true
	}
	_, is := o.marks[idMark(id)]
	return is
}

// MayHaveTrip reports whether anything may be recorded that names a trip. It says no only where nothing is.
func (m *Model) MayHaveTrip(trip string) bool {
	o := &m.observed
	o.mu.Lock()
	defer o.mu.Unlock()
	if timeOfID(trip) <= o.tripsUntil {
		return true
	}
	_, is := o.marks[idMark(idBytes(trip))]
	return is
}

// timeOfID is the moment in an id; of what has none, one that is before all others. There is room in an id for moments that
// nanoseconds have no number for, and whoever packs a set may name its trip.
func timeOfID(id string) int64 {
	at, err := events.IDTime(id)
	switch {
	case err != nil:
		return math.MinInt64
	case at.After(never):
		return math.MaxInt64
	}
	return at.UnixNano()
}

// beginObserved starts with what the tables have.
func (m *Model) beginObserved(ctx context.Context) error {
	m.observed.own = m.opts.Ledger.Name()
	until := int64(math.MinInt64)
	err := m.read.QueryRowContext(ctx, `SELECT observed FROM events WHERE station <> ? ORDER BY observed DESC LIMIT 1`,
		m.observed.own).Scan(&until)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("read model: %w", err)
	}
	// The ledger's own are of when they were recorded: those since then would stand for all that stations observed meanwhile.
	rows, err := m.read.QueryContext(ctx, `SELECT id FROM events WHERE station = ? AND observed > ?`, m.observed.own, until)
	own, err := scanAll(rows, err, func(id *[]byte) []any { return []any{id} })
	if err != nil {
		return err
	}
	latest := int64(math.MinInt64)
	for _, text := range []string{`SELECT max(trip) FROM events WHERE trip IS NOT NULL`,
		`SELECT max(sheet_trip) FROM events WHERE sheet_trip IS NOT NULL`} {
		var trip []byte // an id begins with its moment
		if err := m.read.QueryRowContext(ctx, text).Scan(&trip); err != nil {
			return fmt.Errorf("read model: %w", err)
		}
		latest = max(latest, timeOfID(idString(trip)))
	}
	m.observed.begin(until, until, latest)
	m.observed.addIDs(own)
	return nil
}
