package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"listbound/ledger/proof"
)

const (
	// maxBatchBytes keeps a batch well under what the server buffers for one connection.
	maxBatchBytes = 8 << 20
	// maxTail is how much may wait for the tree builder before appends wait for it too.
	maxTail = 64 << 20
	// singly is up to how many one-record calls go into the stream one by one where the server syncs each of them: an atomic batch has a
	// fixed cost of several fsyncs.
	singly = 4
)

// call is one Append on its way.
type call struct {
	entries []Entry
	firsts  map[string]int // by station, made when needed
	state   atomic.Int32
	done    chan struct{}
	out     []Appended
	err     error
}

const (
	callWaiting = iota
	callTaken
	callCancelled
)

// first reports whether entry i is the first of its station in the call, the one whose expectation counts.
func (c *call) first(i int) bool {
	if i == 0 {
		return true
	}
	if c.firsts == nil {
		c.firsts = map[string]int{}
		for j, e := range slices.Backward(c.entries) {
			c.firsts[e.Station] = j
		}
	}
	return c.firsts[c.entries[i].Station] == i
}

func (c *call) finish(err error) {
	c.err = err
	close(c.done)
}

// queue holds the calls nobody has taken yet.
type queue struct {
	mu     sync.Mutex
	calls  []*call
	closed bool
	wake   chan struct{} // signalled when there is something to take
	quorum int           // while the committer gathers: no signal before so many calls are there
}

func (q *queue) init() { q.wake = make(chan struct{}, 1) }

func (q *queue) add(c *call) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return fmt.Errorf("not recorded: %w", ErrClosed)
	}
	q.calls = append(q.calls, c)
	if len(q.calls) >= q.quorum {
		q.signal()
	}
	return nil
}

func (q *queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// await returns when n calls are queued, the queue is closed, or enough has passed. Until then add stays silent, so that the
// committer wakes once and not for every call.
func (q *queue) await(n int, enough <-chan time.Time) {
	q.mu.Lock()
	q.quorum = n
	q.mu.Unlock()
	defer func() {
		q.mu.Lock()
		defer q.mu.Unlock()
		q.quorum = 0
	}()
	for !q.ready(n) {
		select {
		case <-q.wake:
		case <-enough:
			return
		}
	}
}

func (q *queue) ready(n int) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.closed || len(q.calls) >= n
}

func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	q.signal()
}

func (q *queue) len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.calls)
}

// take returns the calls for the next round, in order, and whether the queue is closed. One station is in a round once: what its next call
// must expect is not known before the round is over. Calls that do not fit stay.
func (q *queue) take() (calls []*call, closed bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	messages, size := 0, 0
	busy := map[string]bool{}
	var rest []*call
	for i, c := range q.calls {
		if c.state.Load() == callCancelled {
			continue
		}
		n := len(c.entries)
		bytes := 0
		fits := messages+n <= maxBatch
		for _, e := range c.entries {
			fits = fits && !busy[e.Station]
			bytes += len(e.Note)
		}
		fits = fits && (size == 0 || size+bytes <= maxBatchBytes)
		for _, e := range c.entries {
			busy[e.Station] = true
		}
		if !fits {
			rest = append(rest, c)
			continue
		}
		if !c.state.CompareAndSwap(callWaiting, callTaken) {
			continue
		}
		calls = append(calls, c)
		messages += n
		size += bytes
		if messages == maxBatch {
			rest = append(rest, q.calls[i+1:]...)
			break
		}
	}
	q.calls = rest
	if len(rest) > 0 {
		q.signal()
	}
	return calls, q.closed
}

// Append stores notes of stations, all or none, and returns them as records with their sequences. When it returns without an
// error they are on disk. Entries of several stations may be mixed; those of one station come in
// the order they are numbered, and all name the record before the first of them. Where power fails before Append returns, the next start
// may find the first of them without the others; a caller that starts over asks Last, as after any end without an answer.
//
// A *ConflictError says that the station has another previous record; a *DamagedError that the ledger is read-only. An error that
// wraps [ErrUnknownOutcome] leaves open whether the entries were stored; any other error means they were not.
func (l *Ledger) Append(ctx context.Context, entries ...Entry) ([]Appended, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	if len(entries) > maxBatch {
		return nil, fmt.Errorf("not recorded: %d entries in one call, at most %d are stored as one", len(entries), maxBatch)
	}
	first := make(map[string]int64, 1) // one station, as a rule: no allocation
	for i, e := range entries {
		if err := e.check(l.opts.Origin); err != nil {
			return nil, err
		}
		prev, seen := first[e.Station]
		switch {
		case !seen:
			first[e.Station] = e.ExpectPrev
		case prev != e.ExpectPrev:
			return nil, fmt.Errorf("not recorded: entry %d of station %s expects record %d before it, its first entry %d; all entries of a station in one call name the record before the first",
				i+1, e.Station, e.ExpectPrev, prev)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("not recorded: %w", err)
	}
	if damage := l.Damage(); len(damage) > 0 {
		return nil, &DamagedError{Dir: l.opts.Dir, Problems: damage}
	}
	c := &call{entries: entries, done: make(chan struct{})}
	if err := l.queue.add(c); err != nil {
		return nil, err
	}
	select {
	case <-c.done:
	case <-ctx.Done():
		if c.state.CompareAndSwap(callWaiting, callCancelled) {
			return nil, fmt.Errorf("not recorded: %w", ctx.Err())
		}
		select {
		case <-c.done:
		default:
			return nil, fmt.Errorf("%w: %w", ErrUnknownOutcome, ctx.Err())
		}
	}
	return c.out, c.err
}

// commitLoop is the only writer.
func (l *Ledger) commitLoop() {
	defer l.wg.Done()
	var (
		crowd  int           // number of calls in or queued behind the previous round
		took   time.Duration // by the previous round
		ended  time.Time     // the previous round
		gather = time.NewTimer(0)
	)
	for range l.queue.wake {
		// Let the writers of the previous round come back before the next one starts, for a fraction of the time a round
		// takes: syncing all of them costs hardly more than syncing half of them. A lone writer is not kept waiting.
		if patience := took/4 - time.Since(ended); crowd > 1 && patience > 0 {
			gather.Reset(patience)
			l.queue.await(crowd, gather.C)
		}
		calls, closed := l.queue.take()
		if closed {
			l.refuse(calls)
			return
		}
		if len(calls) == 0 {
			continue
		}
		begin := time.Now()
		l.commit(calls)
		ended = time.Now()
		took = ended.Sub(begin)
		crowd = len(calls) + l.queue.len()
	}
}

// refuse answers calls, and all that wait behind them, after the queue was closed.
func (l *Ledger) refuse(calls []*call) {
	for len(calls) > 0 || l.queue.len() > 0 {
		for _, c := range calls {
			c.finish(fmt.Errorf("not recorded: %w", ErrClosed))
		}
		calls, _ = l.queue.take()
	}
}

func (l *Ledger) commit(calls []*call) {
	if len(calls) == 0 {
		return
	}
	if err := l.ready(); err != nil {
		for _, c := range calls {
			c.finish(err)
		}
		return
	}
	var good []*call
	for _, c := range calls {
		if err := l.expected(c); err != nil {
			c.finish(err)
			continue
		}
		good = append(good, c)
	}
	if len(good) > 0 {
		l.send(l.newRound(good))
	}
}

// ready reports whether anything may be appended now.
func (l *Ledger) ready() error {
	l.mu.Lock()
	damage, failed, waiting := l.damage, l.failed, l.tailSize
	l.mu.Unlock()
	if len(damage) > 0 {
		return &DamagedError{Dir: l.opts.Dir, Problems: damage}
	}
	if failed != nil {
		return stopped("not recorded: an earlier record failed: %w; see to the disk and start again", failed)
	}
	if l.suspect != nil {
		if err := l.settle(); err != nil {
			return stopped("not recorded: an earlier record's outcome is still unknown: %w", err)
		}
		return l.ready()
	}
	if waiting > maxTail {
		if err := l.integrate(); err != nil {
			return stopped("not recorded: %d bytes wait for a checkpoint that cannot be made: %w", waiting, err)
		}
	}
	return nil
}

// expected checks a call against what the stations really have.
func (l *Ledger) expected(c *call) error {
	for i, e := range c.entries {
		if !c.first(i) {
			continue
		}
		last, err := l.lastOf(e.Station)
		if err != nil {
			return fmt.Errorf("not recorded: cannot read the last record of station %s: %w", e.Station, err)
		}
		if last != e.ExpectPrev {
			return &ConflictError{Station: e.Station, Expected: e.ExpectPrev, Last: last}
		}
	}
	return nil
}

// lastOf returns the sequence of a station's last record. This process is the only writer, so what it once looked up stays true
// as long as it keeps it up to date.
func (l *Ledger) lastOf(station string) (int64, error) {
	l.mu.Lock()
	last, ok := l.stations[station]
	l.mu.Unlock()
	if ok {
		return last, nil
	}
	seq, err := l.emb.lastOf(filterOf(station))
	if err != nil {
		return 0, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if last, ok := l.stations[station]; ok {
		return last, nil
	}
	l.stations[station] = seq
	return seq, nil
}

// Last returns a station's newest record and its sequence, or 0 and nil if it has none.
func (l *Ledger) Last(ctx context.Context, station string) (int64, []byte, error) {
	if err := ctx.Err(); err != nil {
		return 0, nil, err
	}
	if l.stopped() {
		return 0, nil, ErrClosed
	}
	seq, err := l.lastOf(station)
	if err != nil || seq == 0 {
		return 0, nil, err
	}
	record, err := l.Read(seq)
	return seq, record, err
}

// round is what becomes durable together.
type round struct {
	calls    []*call
	msgs     []outgoing // of all calls, in order
	stations []string   // of msgs
	at       time.Time
}

func (l *Ledger) newRound(calls []*call) *round {
	r := &round{calls: calls, at: l.opts.Clock().Round(0).UTC()}
	l.mu.Lock()
	if r.at.Before(l.lastAt) {
		// A clock set back must not make the history run backwards.
		r.at = l.lastAt
	}
	l.mu.Unlock()
	for _, c := range calls {
		c.out = make([]Appended, len(c.entries))
		for i, e := range c.entries {
			record := proof.AddArrival(l.opts.Origin, e.Note, r.at, e.Remark)
			c.out[i] = Appended{At: r.at, Record: record}
			m := outgoing{subject: subjectOf(e.Station, e.Kind), expect: -1, record: record}
			if c.first(i) {
				m.filter, m.expect = filterOf(e.Station), e.ExpectPrev
			}
			r.msgs = append(r.msgs, m)
			r.stations = append(r.stations, e.Station)
		}
	}
	return r
}

// units are the parts of the round that go into the stream whole or not at all: its calls. Where the server syncs each message all of
// them are one, because an atomic batch is then the only way to share a sync.
func (l *Ledger) units(r *round) [][]outgoing {
	if l.emb.syncAlways && len(r.msgs) > singly {
		return [][]outgoing{r.msgs}
	}
	units := make([][]outgoing, 0, len(r.calls))
	rest := r.msgs
	for _, c := range r.calls {
		units = append(units, rest[:len(c.entries)])
		rest = rest[len(c.entries):]
	}
	return units
}

func (l *Ledger) send(r *round) {
	last := l.Size()
	if err := l.publish(r, last); err != nil {
		l.recover(r, last, err)
		return
	}
	l.stored(r, len(r.msgs))
	r.finish(last, len(r.msgs), nil)
}

// publish returns when the round is in the stream and on disk.
func (l *Ledger) publish(r *round, last int64) error {
	err := l.opts.faults.around("publish", func() error { return l.emb.publish(l.units(r), last) })
	if err != nil {
		return err
	}
	return l.sync(r.msgs)
}

// sync makes durable what was just stored.
func (l *Ledger) sync(msgs []outgoing) error {
	bytes := int64(0)
	for _, m := range msgs {
		bytes += int64(len(m.record))
	}
	err := l.opts.faults.around("sync stream", func() error {
		if l.emb.syncAlways {
			return nil // the server did
		}
		return l.blocks.sync(len(msgs), bytes)
	})
	if err != nil {
		return &syncError{err}
	}
	return nil
}

// syncError says that records are in the stream, and perhaps not on disk.
type syncError struct{ err error }

func (e *syncError) Error() string { return e.err.Error() }
func (e *syncError) Unwrap() error { return e.err }

// stored takes the first n messages of a round, which are durable, into the ledger's own state.
func (l *Ledger) stored(r *round, n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, m := range r.msgs[:n] {
		l.size++
		l.stations[r.stations[i]] = l.size
		l.tail = append(l.tail, m.record)
		l.tailSize += int64(len(m.record))
	}
	l.lastAt = r.at
	l.broadcast()
}

// broadcast wakes all who wait for new records. l.mu is held.
func (l *Ledger) broadcast() {
	close(l.grown)
	l.grown = make(chan struct{})
}

// finish answers the round's calls: those in its first n messages with their sequences, which begin behind last, and the others with the
// error that otherwise gives.
func (r *round) finish(last int64, n int, otherwise func(*call) error) {
	for _, c := range r.calls {
		if n -= len(c.entries); n < 0 {
			c.out = nil
			c.finish(otherwise(c))
			continue
		}
		for i := range c.out {
			last++
			c.out[i].Seq = last
		}
		c.finish(nil)
	}
}

func (r *round) fail(err error) {
	for _, c := range r.calls {
		c.out = nil
		c.finish(err)
	}
}

// recover finds out what became of a round after an error, before anything else is appended.
func (l *Ledger) recover(r *round, last int64, cause error) {
	l.suspect = &suspect{round: r, last: last, cause: cause}
	if err := l.settle(); err != nil {
		r.fail(fmt.Errorf("%w: %w; and the stream does not say: %w", ErrUnknownOutcome, cause, err))
	}
}

// suspect is a round whose outcome is not known yet.
type suspect struct {
	round *round
	last  int64
	cause error
}

// settle reads back what became of the suspect round. It returns an error if it still cannot tell.
func (l *Ledger) settle() error {
	s := l.suspect
	state, err := l.emb.fence()
	if err != nil {
		return err
	}
	end := int64(state.LastSeq)
	answer := func(err error) {
		l.suspect = nil
		if !l.answered(s.round) {
			s.round.fail(err)
		}
	}
	var refused *refusedError
	var broken *writeError
	var unsynced *syncError
	if errors.As(s.cause, &broken) || errors.As(s.cause, &unsynced) || errors.As(s.cause, &refused) && !refused.wrongSequence() {
		// The stream could not be written: the disk is full or broken. What it holds in memory may not be on disk, so nothing is built
		// upon it; the next start reads the files afresh.
		l.fail(s.cause)
		if end == s.last {
			answer(stopped("not recorded: %w", s.cause))
		} else {
			answer(fmt.Errorf("%w: %w", ErrUnknownOutcome, s.cause))
		}
		return nil
	}
	n, same := 0, true
	if end > s.last {
		err = l.emb.read(context.Background(), s.last+1, end, func(seq int64, _ string, record []byte) error {
			if seq != s.last+1+int64(n) {
				return fmt.Errorf("record %d cannot be read back", s.last+1+int64(n))
			}
			same = same && n < len(s.round.msgs) && string(record) == string(s.round.msgs[n].record)
			n++
			return nil
		})
		if err != nil {
			return err
		}
	}
	if !same || int64(n) != end-s.last || !s.round.endsCall(n) {
		l.mu.Lock()
		l.damage = append(l.damage, Problem{Seq: s.last + 1, What: "the stream holds a record here that this program did not write"})
		damage := l.damage
		l.mu.Unlock()
		l.log.Error("the stream was written by somebody else", "from", s.last+1, "to", end)
		answer(&DamagedError{Dir: l.opts.Dir, Problems: damage})
		return nil
	}
	if n > 0 {
		// The answer was lost, these records were not.
		if err := l.sync(s.round.msgs[:n]); err != nil {
			l.fail(err)
			answer(fmt.Errorf("%w: %w", ErrUnknownOutcome, err))
			return nil
		}
	}
	l.suspect = nil
	l.forget(s.round)
	l.stored(s.round, n)
	if !l.answered(s.round) {
		s.round.finish(s.last, n, func(c *call) error {
			if err := l.expected(c); err != nil {
				return err
			}
			return fmt.Errorf("not recorded: %w", s.cause)
		})
	}
	return nil
}

// endsCall reports whether the first n messages are whole calls.
func (r *round) endsCall(n int) bool {
	for _, c := range r.calls {
		if n <= 0 {
			break
		}
		n -= len(c.entries)
	}
	return n == 0
}

func (l *Ledger) answered(r *round) bool {
	select {
	case <-r.calls[0].done:
		return true
	default:
		return false
	}
}

// forget drops what is believed about the round's stations, so that it is looked up again.
func (l *Ledger) forget(r *round) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range r.stations {
		delete(l.stations, s)
	}
}

// fail stops all appending until the next start.
func (l *Ledger) fail(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.failed == nil {
		l.failed = err
		l.log.Error("the ledger takes no more records until it is started again", "err", err)
	}
}
