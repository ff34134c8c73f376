package readmodel

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// ForgetIncidents has them reckoned anew although nothing that the model wrote has changed.
func (m *Model) ForgetIncidents() {
	m.reckoned.Store(nil)
	m.kept.mu.Lock()
	defer m.kept.mu.Unlock()
	m.kept.read = false
}

// Anew returns the incidents as reckoned of the board's table as it is.
func (m *Model) Anew(ctx context.Context) ([]projections.Incident, error) {
	rows, err := m.read.QueryContext(ctx, `SELECT `+partColumns+` FROM board b ORDER BY worst, since DESC, set_id, trip`)
	kept, err := scanParts(rows, err)
	var parts []projections.IncidentPart
	for i := range kept {
		parts = append(parts, kept[i].IncidentPart)
	}
	return projections.Incidents(parts, projections.Calendar{Zone: m.opts.Zone, Now: m.Moment()}), err
}

// Boards counts how often the board's table was read whole, and how many turns of it were read alone.
func (m *Model) Boards() (whole, alone int) { return m.kept.whole, m.kept.alone }

// Touch notes in a transaction of its own that so many turns were written, and calls between before it is over.
func (m *Model) Touch(n int, between func()) {
	keys := make(map[projections.TripKey]struct{})
	for i := range n {
		keys[projections.TripKey{Set: fmt.Sprint(i)}] = struct{}{}
	}
	m.touched.begin(keys, false)
	between()
	m.touched.end()
}

// IncidentsAreKept reports whether they need not be reckoned anew for who asks next.
func (m *Model) IncidentsAreKept() bool { return m.reckoned.Load() != nil }

// Rests returns what rests_on holds, taken apart, what the trips' own rows say
// that it holds, and how many trips its fullest row has.
func (m *Model) Rests(ctx context.Context) (table, own []string, most int, err error) {
	line := func(owner []byte, r rest) string {
		return fmt.Sprintf("%q asks %d from %d to %d", owner, r.ask, r.since, r.until)
	}
	rows, err := m.read.QueryContext(ctx, `SELECT ask, until, since, owners FROM rests_on`)
	found, err := scanAll(rows, err, func(r *restsRow) []any { return []any{&r.ask, &r.until, &r.since, &r.owners} })
	if err != nil {
		return nil, nil, 0, err
	}
	for _, row := range found {
		owned, err := row.owned()
		if err != nil {
			return nil, nil, 0, err
		}
		most = max(most, len(owned))
		for _, o := range owned {
			table = append(table, line(o.owner, o.rest))
		}
	}
	type kept struct {
		set         string
		trip, rests []byte
	}
	rows, err = m.read.QueryContext(ctx, `SELECT set_id, trip, rests FROM trips`)
	trips, err := scanAll(rows, err, func(k *kept) []any { return []any{&k.set, &k.trip, &k.rests} })
	if err != nil {
		return nil, nil, 0, err
	}
	for _, k := range trips {
		rests, err := unpackRests(k.rests)
		if err != nil {
			return nil, nil, 0, err
		}
		for _, r := range rests {
			own = append(own, line(ownerOf(k.set, k.trip), r))
		}
	}
	return table, own, most, nil
}

// SetMaxWorld has the working memory emptied when it holds more facts than this.
func (m *Model) SetMaxWorld(n int) { m.maxWorld = n }

// SetBulkWorld has turns judged early in bulk where more facts are held than this, and once they have been still for so many
// records. As many questions are kept as facts are held.
func (m *Model) SetBulkWorld(n int, still int64) { m.bulkWorld, m.stillFor, m.mostRests = n, still, n }

// LetGoBoldly has turns judged as soon as they are packed, and all their facts let go, whoever may ask for them. It is for
// a bulk that has begun.
func (m *Model) LetGoBoldly() {
	m.early = new(early)
	gone := m.world.Lets()
	gone.Afterwards, gone.Bold = 0, true
}

// Early is how many facts were let go, how many records came late for what had been judged and how many turns lacked something.
func (m *Model) Early() (gone, late, lack int) {
	if m.early == nil {
		return 0, 0, 0
	}
	return m.world.Lets().Len(), len(m.early.late), len(m.early.lack)
}

// Held is how many facts the working memory holds.
func (m *Model) Held() int { return m.world.Len() }

// Interrupted asks for n rows, has its context end behind the first and returns how many came.
func (m *Model) Interrupted(ctx context.Context, n int) (got int, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	rows, err := m.query(ctx, `WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?) SELECT i FROM n`, n)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		got++
		cancel()
	}
	return got, rows.Err()
}

// CancelledWithin has the context of a transaction end in its middle, and returns what came of it.
func (m *Model) CancelledWithin(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	return m.transact(ctx, func(*writer) error {
		cancel()
		return nil
	})
}

// MayHaveID reports whether an event with an id may be in the tables, as far as is known without asking them.
func (m *Model) MayHaveID(id string) bool {
	args, ok := eventArgs(id)
	return ok && m.mayHaveID(args[0].([]byte), args[1].(int64))
}

// FillObserved fills what is known of observations up to its bound.
func (m *Model) FillObserved() {
	for n := uint64(0); len(m.observed.marks) < observedAtMost; n++ {
		m.observed.marks[n] = struct{}{}
	}
}

// Written is of how many trips it is known what the tables have of them.
func (m *Model) Written() int { return len(m.writer.written) }

// Known is how much besides is known of what the tables have: verdicts of stations, and places that are filed.
func (m *Model) Known() (stations, places int) { return len(m.writer.stations), len(m.writer.places) }

// Unwritten is how many records wait to be written, a long one as several.
func (m *Model) Unwritten() int {
	m.behind.mu.Lock()
	defer m.behind.mu.Unlock()
	if m.behind.next == nil {
		return 0
	}
	return m.behind.next.n
}

// Writing reports whether anything is being written that was applied before.
func (m *Model) Writing() bool {
	m.behind.mu.Lock()
	defer m.behind.mu.Unlock()
	return m.behind.now != nil
}

// Settled reports whether nothing waits to be written, nor was lost since.
func (m *Model) Settled() bool { return m.behind.isEmpty() }

// SetUnwritten has many records written at once by somebody else, and most of them by whoever applies more.
func (m *Model) SetUnwritten(many, most int) { m.behind.many, m.behind.most = many, most }

// UnwrittenRuns are what waits to be written of a station's runs: the last record of each that changed, by its first, and the first of
// those that are gone.
type UnwrittenRuns struct {
	Changed map[int64]int64
	Gone    []int64
}

func (x UnwrittenRuns) row() *stationRow {
	row := new(stationRow)
	for first, last := range x.Changed {
		row.change(events.Run{First: first, Last: last})
	}
	for _, first := range x.Gone {
		row.lose(first)
	}
	return row
}

// Then returns what waits once more has changed.
func (x UnwrittenRuns) Then(y UnwrittenRuns) (out UnwrittenRuns) {
	row := y.row().after(x.row())
	for first, r := range row.runs {
		if out.Changed == nil {
			out.Changed = make(map[int64]int64)
		}
		out.Changed[first] = r.Last
	}
	out.Gone = slices.Sorted(maps.Keys(row.gone))
	return out
}

// Resting returns the trips whose verdicts rest on what is observed of a set at a moment.
func (m *Model) Resting(ctx context.Context, set string, at time.Time) (trips []string, err error) {
	found := make(map[projections.TripKey]struct{})
	err = m.addResting(ctx, facts.Ask{Dim: facts.DimSet, Key: set, From: at.UnixNano(), To: at.UnixNano()}, found)
	for k := range found {
		trips = append(trips, k.Trip)
	}
	return trips, err
}

// SetMostAsks has who rests on what forgotten when more questions than this are kept.
func (m *Model) SetMostAsks(n int) { m.resting.most = n }

// SetMostResting has it forgotten who rests on a question when more trips do.
func (m *Model) SetMostResting(n int) { m.resting.many = n }

// MostResting is how many trips are kept of a question at most.
func (m *Model) MostResting() (most int) {
	for _, on := range m.resting.asks {
		most = max(most, len(on.trips))
	}
	return most
}

// AsksKept is of how many questions it is known who rests on them.
func (m *Model) AsksKept() int { return len(m.resting.asks) }

// MayHold is how many facts the working memory may hold before it is emptied.
func (m *Model) MayHold() int { return m.mayHold() }

// InterruptWriting has a statement that never ends interrupted on the connection that writes.
func (m *Model) InterruptWriting(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, time.Millisecond)
	defer cancel()
	_, err := m.write.ExecContext(ctx, `WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT count(*) FROM n`)
	return err
}

// SetFull has the file grow no more, as on a full disk, or grow again.
func (m *Model) SetFull(ctx context.Context, full bool) error {
	pages := int64(1) // or as many as there are
	if !full {
		pages = 1 << 30
	}
	_, err := m.write.ExecContext(ctx, fmt.Sprintf("PRAGMA max_page_count = %d", pages))
	return err
}

// Attached returns the names of other files that the connections which nobody uses now have attached.
func (m *Model) Attached(ctx context.Context) (names []string) {
	var conns []*sql.Conn
	for range readers {
		c, err := m.read.Conn(ctx)
		if err != nil {
			return []string{err.Error()}
		}
		conns = append(conns, c)
		var name string
		if c.QueryRowContext(ctx, `SELECT name FROM pragma_database_list WHERE name NOT IN ('main', 'temp')`).Scan(&name) == nil {
			names = append(names, name)
		}
	}
	for _, c := range conns {
		if err := c.Close(); err != nil {
			names = append(names, err.Error())
		}
	}
	return names
}
