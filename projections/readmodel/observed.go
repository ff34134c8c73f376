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
)

// observed knows what stations have observed since it began, so that of nearly all that people scan it can be said without
// asking the tables that it is not recorded yet: it is later than all that they had then, and was not applied since. What the
// ledger observes itself is left out: it says when it is recorded, and a file of last month's scans enrols stations today.
type observed struct {
	own   string // the ledger's name
	mu    sync.Mutex
	until int64 // what the tables have and marks doesn't was observed to then
	last  int64 // the latest in marks
	marks map[uint64]struct{}
}

// observedAtMost bounds how many are kept, of some 20 bytes each. Then what is known of them is when the last one was.
const observedAtMost = 1 << 17

var observedSeed = maphash.MakeSeed()

func observationMark(station string, at int64) uint64 {
	return maphash.Comparable(observedSeed, struct {
		station string
		at      int64
	}{station, at})
}

// begin starts anew, with tables in which nothing is later than a moment.
func (o *observed) begin(until int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.until, o.last, o.marks = until, math.MinInt64, make(map[uint64]struct{})
}

// add takes what has been applied.
func (o *observed) add(b *Batch) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i := range b.records {
		e := b.records[i].parsed.Event
		if e == nil || e.Station == o.own {
			continue
		}
		if len(o.marks) >= observedAtMost {
			o.until = max(o.until, o.last)
			clear(o.marks)
		}
		at := e.Time.UnixNano()
		o.last = max(o.last, at)
		o.marks[observationMark(e.Station, at)] = struct{}{}
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

// beginObserved starts with what the tables have.
func (m *Model) beginObserved(ctx context.Context) error {
	m.observed.own = m.opts.Ledger.Name()
	until := int64(math.MinInt64)
	err := m.read.QueryRowContext(ctx, `SELECT observed FROM events WHERE station <> ? ORDER BY observed DESC LIMIT 1`,
		m.observed.own).Scan(&until)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("read model: %w", err)
	}
	m.observed.begin(until)
	return nil
}
