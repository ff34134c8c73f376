package readmodel

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// What is applied is judged at once, in memory. Where Options.Delay says so, its rows and verdicts are written a little later, of
// several batches at once: a set that is scanned at three stations meanwhile has its verdict written once, and a receipt does not
// wait for the tables. Who asks the tables has what is unwritten written first (Settle), so that nobody sees less than what was
// applied. Judgement itself asks them as they are: facts that are not in them yet are in its working memory, and whose verdicts
// rest on what is kept here. A program that is killed has lost nothing: the position is written with the rows, and what comes
// behind it is applied anew.

// mostUnwritten is how many records may wait before whoever applies more writes them himself, and manyUnwritten for how many nobody
// waits any longer. They are held in memory, so a long one counts as one for each usualRecord of its bytes.
const (
	mostUnwritten = 16_000
	manyUnwritten = 8000
	usualRecord   = 2 << 10
)

// behind is what was applied and is not written yet.
type behind struct {
	writing sync.Mutex // held by who writes

	mu        sync.Mutex
	next, now *unwritten // what nobody writes yet, and what is being written
	failed    *failure   // why that could not be written, until the model has gone back to what is

	many, most int // manyUnwritten and mostUnwritten, less in tests
}

// failure is why something could not be written, and the last record that is.
type failure struct {
	why error
	at  int64
}

// unwritten are batches that were applied.
type unwritten struct {
	batches  []applied
	n        int                              // records in them, a long one as several
	verdicts map[projections.TripKey]*judged  // the newest of each trip
	resting  map[int64][]restingTrip          // who rests on a question, by its number
	trips    map[string][]projections.TripKey // by the trip's id
	stations map[string]*stationRow           // as the audit had them last
	told     map[string]projections.Verdict   // of stations
	pos      int64
	moment   time.Time
	hurried  bool // nobody waits for the delay any more
}

type applied struct {
	batch *Batch
	added []facts.Fact
}

// stationRow is a station as it is written.
type stationRow struct {
	events.Station
	runs map[int64]events.Run // those that changed, by their first record
	gone map[int64]struct{}   // first records of runs that are gone
}

// stationRowOf takes a copy of a station, whose audit goes on.
func stationRowOf(s *events.Station) *stationRow {
	row := &stationRow{Station: *s}
	row.Keys = slices.Clone(s.Keys)
	changed, gone := s.Moved()
	for _, r := range changed {
		row.change(*r)
	}
	for _, first := range gone {
		row.lose(first)
	}
	return row
}

func (row *stationRow) change(r events.Run) {
	if row.runs == nil {
		row.runs = make(map[int64]events.Run)
	}
	row.runs[r.First] = r
}

func (row *stationRow) lose(first int64) {
	if row.gone == nil {
		row.gone = make(map[int64]struct{})
	}
	row.gone[first] = struct{}{}
}

// after is the row with what waits of an earlier one. Those that are gone are taken out before those that changed are put in.
func (row *stationRow) after(was *stationRow) *stationRow {
	if was == nil {
		return row
	}
	for first, r := range was.runs {
		_, gone := row.gone[first]
		if _, changed := row.runs[first]; !gone && !changed {
			row.change(r)
		}
	}
	for first := range was.gone {
		row.lose(first)
	}
	return row
}

// foreseen is a batch that the audit has taken, and judgement where its rows may be written later. Nobody sees any of it before it is
// applied.
type foreseen struct {
	batch          *Batch
	added, changed []facts.Fact               // see audited
	before         map[string]*events.Station // stations that it is about, as they were

	judged   bool
	verdicts []*judged
	stations map[string]*stationRow
	told     []projections.Verdict // of stations
}

// Foresee judges a batch that is about to be applied, so that Apply of the same, which must be the next thing that is applied, has
// little to do: its records may still be on their way to the disk. Where they don't get there, Unexpect forgets it. With an error
// nothing is foreseen, and it can be applied all the same.
func (m *Model) Foresee(ctx context.Context, b *Batch) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if b.Len() == 0 || m.bulk || m.foreseen != nil {
		return errors.New("read model: not now")
	}
	if err := m.isNext(b); err != nil {
		return err
	}
	before := make(map[string]*events.Station)
	for _, r := range b.Records {
		for _, name := range stationsOf(r.Event) {
			if _, ok := before[name]; !ok {
				before[name] = m.station(name)
			}
		}
	}
	f, err := m.foresee(ctx, b)
	if err != nil {
		m.forget(ctx)
		return fmt.Errorf("read model: %w", err)
	}
	f.before, m.foreseen = before, f
	return nil
}

// foresee brings audit and working memory to behind a batch, and judges it where its rows may be written later.
func (m *Model) foresee(ctx context.Context, b *Batch) (*foreseen, error) {
	if !m.bulk {
		for _, k := range m.observed.add(b) { // before anybody can find it
			m.world.Absent(k.Dim, k.Key)
		}
	}
	added, changed, err := m.audited(ctx, b)
	if err != nil {
		return nil, err
	}
	m.note(added)
	f := &foreseen{batch: b, added: added, changed: changed, judged: m.opts.Delay > 0 && !m.bulk && len(changed) == 0}
	if !f.judged {
		return f, nil
	}
	f.told, err = m.judge(ctx, added, nil, func(j judged) { f.verdicts = append(f.verdicts, &j) })
	f.stations = m.stationRows(added)
	return f, errors.Join(err, ctx.Err())
}

// applyLater takes what was judged, and leaves it to be written later.
func (m *Model) applyLater(f *foreseen) error {
	m.behind.mu.Lock()
	defer m.behind.mu.Unlock()
	if f := m.behind.failed; f != nil {
		return f.why
	}
	u := m.behind.next
	if u == nil {
		u = &unwritten{
			verdicts: make(map[projections.TripKey]*judged), resting: make(map[int64][]restingTrip),
			trips: make(map[string][]projections.TripKey), stations: make(map[string]*stationRow),
			told: make(map[string]projections.Verdict),
		}
		m.behind.next = u
		time.AfterFunc(m.opts.Delay, func() { m.settleIfNext(u) })
	}
	u.batches, u.n = append(u.batches, applied{f.batch, f.added}), u.n+f.batch.weight()
	for _, j := range f.verdicts {
		u.verdict(j)
	}
	for name, row := range f.stations {
		u.stations[name] = row.after(u.stations[name])
	}
	for _, v := range f.told {
		u.told[v.Station] = v
	}
	u.pos, u.moment = f.batch.first+int64(f.batch.Len())-1, m.moment
	return nil
}

// weight is how many records a batch counts as.
func (b *Batch) weight() (n int) {
	for i := range b.records {
		n += 1 + len(b.records[i].parsed.Note)/usualRecord
	}
	return n
}

// bound has much that is unwritten written. The caller holds m.mu.
func (m *Model) bound(ctx context.Context) error {
	b := &m.behind
	b.mu.Lock()
	n, hurry, u := 0, false, b.next
	if u != nil {
		n, hurry = u.n, u.n >= b.many && !u.hurried
		u.hurried = u.hurried || hurry
	}
	b.mu.Unlock()
	switch {
	case n >= b.most:
		return m.settle(ctx)
	case hurry:
		go m.settleIfNext(u)
	}
	return nil
}

// verdict keeps a trip's newest verdict.
func (u *unwritten) verdict(j *judged) {
	k := projections.TripKey{Set: j.Set, Trip: j.Trip}
	var old []rest
	if was := u.verdicts[k]; was != nil {
		old = was.rests
	} else {
		u.trips[k.Trip] = append(u.trips[k.Trip], k)
	}
	u.verdicts[k] = j
	for _, r := range old {
		if !slices.Contains(j.rests, r) { // what it no longer asks for would have it judged without need
			gone := restingTrip{r.until, r.since, k}
			u.resting[r.ask] = slices.DeleteFunc(u.resting[r.ask], func(x restingTrip) bool { return x == gone })
		}
	}
	for _, r := range j.rests {
		if !slices.Contains(old, r) {
			u.resting[r.ask] = append(u.resting[r.ask], restingTrip{r.until, r.since, k})
		}
	}
}

func (u *unwritten) has(k projections.TripKey) bool { return u != nil && u.verdicts[k] != nil }

// resting returns the trips whose unwritten verdicts asked a question. It is asked before the tables are: what is written meanwhile is
// found in one of both.
func (b *behind) resting(ask int64) (trips []restingTrip) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.next != nil {
		trips = append(trips, b.next.resting[ask]...)
	}
	if b.now != nil {
		for _, r := range b.now.resting[ask] {
			if !b.next.has(r.key) {
				trips = append(trips, r)
			}
		}
	}
	return trips
}

// own returns the trips of an id that have unwritten verdicts.
func (b *behind) own(trip string) map[projections.TripKey]bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := make(map[projections.TripKey]bool)
	for _, u := range []*unwritten{b.next, b.now} {
		if u != nil {
			for _, k := range u.trips[trip] {
				out[k] = true
			}
		}
	}
	return out
}

// has reports whether a trip has a newer verdict than the tables: what the one there asked for says nothing any more.
func (b *behind) has(k projections.TripKey) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.next.has(k) || b.now.has(k)
}

// isEmpty reports whether all that was applied is written.
func (b *behind) isEmpty() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.next == nil && b.now == nil && b.failed == nil
}

// WrittenTo is the sequence of the last record that the tables have: what they are asked after this rests on it and on all before.
func (m *Model) WrittenTo() int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.behind.mu.Lock()
	defer m.behind.mu.Unlock()
	if f := m.behind.failed; f != nil {
		return f.at
	}
	for _, u := range []*unwritten{m.behind.now, m.behind.next} {
		if u != nil {
			return u.before()
		}
	}
	return m.pos
}

// before is the sequence of the last record before these.
func (u *unwritten) before() int64 { return u.batches[0].batch.first - 1 }

// Settle returns when all that was applied before is written. Who asks a model that writes later calls it first. Where it can't be
// written, the model goes back to what is, and the error says why; Options.Failed is told besides, as nobody may be asking.
func (m *Model) Settle(ctx context.Context) error {
	if m.behind.isEmpty() {
		return nil
	}
	err := m.settle(ctx)
	if err == nil {
		return nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.giveUp(ctx)
	return fmt.Errorf("read model: %w", err)
}

// giveUp goes back to what is written, after a failure. The caller holds m.mu.
func (m *Model) giveUp(ctx context.Context) {
	if m.behind.failure() != nil { // else somebody else has
		m.forget(ctx)
	}
}

// letGo lets go of all that is unwritten. Whoever asks meanwhile finds it neither here nor in the tables, so that it could not be
// written is told first. The caller holds m.mu.
func (m *Model) letGo() {
	if f := m.behind.failure(); f != nil && m.opts.Failed != nil {
		m.opts.Failed(f.why, f.at)
	}
	m.behind.forget()
}

// settleIfNext writes what nobody has begun to write. Nobody is there to be told: see Options.Failed.
func (m *Model) settleIfNext(u *unwritten) {
	m.behind.mu.Lock()
	is := m.behind.next == u
	m.behind.mu.Unlock()
	if is {
		_ = m.Settle(context.Background())
	}
}

// settle writes what is unwritten. It leaves it to the caller to go back where that fails.
func (m *Model) settle(ctx context.Context) error {
	b := &m.behind
	b.writing.Lock()
	defer b.writing.Unlock()
	u, err := b.begin()
	if err != nil || u == nil {
		return err
	}
	err = m.transact(context.WithoutCancel(ctx), func(w *writer) error { return m.writeApplied(w, u) })
	if err != nil {
		err = fmt.Errorf("%w: %w", errUnwritten, err)
		b.end(&failure{err, u.before()})
		return err
	}
	b.end(nil)
	return nil
}

// errUnwritten says to whoever runs the server what is wrong and what to do.
var errUnwritten = errors.New("what was judged could not be written; nothing that was recorded is lost, and it is tried again. " +
	"See that the disk has room and that no other program has the read model's file open")

// begin takes what is to be written.
func (b *behind) begin() (*unwritten, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.failed != nil {
		return nil, b.failed.why
	}
	b.now, b.next = b.next, nil
	return b.now, nil
}

// end lets go of what was written.
func (b *behind) end(f *failure) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.now = nil
	if f != nil {
		b.failed = f
	}
}

// failure is why something could not be written, nil where all could.
func (b *behind) failure() *failure {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.failed
}

// forget lets go of all of it, failures too.
func (b *behind) forget() {
	b.writing.Lock() // what is being written is written before the tables are read
	defer b.writing.Unlock()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.next, b.failed = nil, nil
}

func (m *Model) writeApplied(w *writer, u *unwritten) error {
	for _, a := range u.batches {
		if err := m.insertRows(w.ctx, w, a.batch, a.added); err != nil {
			return err
		}
		if err := w.writeRemarks(a.added, nil); err != nil {
			return err
		}
	}
	for _, j := range u.verdicts {
		if err := (verdictWriter{w: w}).one(j); err != nil {
			return err
		}
	}
	if err := w.writeStations(u.stations, slices.Collect(maps.Values(u.told))); err != nil {
		return err
	}
	return w.writePosition(u.pos, u.moment)
}
