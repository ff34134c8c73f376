package ledger

import (
	"context"
	"errors"
	"fmt"

	"listbound/ledger/proof"
)

// maxSingles is up to how many messages go into the stream one by one where the server syncs each of them: an atomic
// batch has a fixed cost of several syncs.
const maxSingles = 4

// round is what becomes durable together.
type round struct {
	calls        []*call
	msgs         []outgoing     // of all calls, in order
	links        [][]proof.Link // of each message
	eachAnswered bool           // rather slowly, and told what is wrong with which
}

func (l *Ledger) newRound(calls []*call) *round {
	r, now := &round{calls: calls}, l.opts.Clock().Round(0).UTC()
	l.mu.Lock()
	last := l.lastAt
	if now.Before(last) {
		// A clock set back must not make the history run backwards.
		now = last
	}
	next, seq := l.heads.after(l.size), l.size
	l.mu.Unlock()
	for _, c := range calls {
		c.out = make([]Appended, len(c.entries))
		for i, e := range c.entries {
			at := now
			if !e.At.IsZero() && e.At.Before(now) {
				at = e.At.Round(0).UTC()
			}
			if at.Before(last) {
				at = last
			}
			last = at
			links := next.add(e.About)
			record := proof.AddArrival(l.opts.Origin, e.Note, at, e.Remark, links...)
			seq++
			c.out[i] = Appended{Seq: seq, At: at, Record: record}
			m := outgoing{subject: subjectOf(e.Station, e.Kind), station: e.Station, expect: -1, record: record, at: at}
			if c.isFirst(i) {
				m.expect = e.ExpectPrev
			}
			r.msgs = append(r.msgs, m)
			r.links = append(r.links, links)
		}
		c.number()
	}
	return r
}

// units returns the parts of the round that go into the stream whole or not at all where the server syncs each message: its
// calls, or the whole round, because an atomic batch is then the only way to share a sync.
func (e *embedded) units(r *round) [][]outgoing {
	if len(r.calls) == 0 || len(r.msgs) > maxSingles {
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

// send stores a round and answers its calls.
func (l *Ledger) send(r *round) {
	last := l.Size()
	if cause := l.publish(r, last); cause != nil {
		// What became of the round must be known before anything else is appended.
		l.inDoubt = &doubtfulRound{round: r, last: last, cause: cause}
		if err := l.resolve(); err != nil {
			r.failAll(fmt.Errorf("%w: %w; and the stream does not say: %w", ErrUnknownOutcome, cause, err))
		}
		return
	}
	l.stored(r, len(r.msgs))
	if len(r.msgs) >= MaxBatch { // whoever hands in so much judges it meanwhile, and has the other processors idle
		select {
		case l.build.much <- struct{}{}:
		default:
		}
	}
	r.finish(len(r.msgs), nil)
}

// publish returns when the round is in the stream and on disk.
func (l *Ledger) publish(r *round, last int64) error {
	err := l.opts.faults.around("publish", func() error { return l.home.publish(r, last) })
	if err != nil {
		return err
	}
	if err := l.sync(r.msgs); err != nil {
		return err
	}
	return l.owner.held()
}

// sync makes durable what was just stored.
func (l *Ledger) sync(msgs []outgoing) error {
	err := l.opts.faults.around("sync stream", func() error { return l.home.durable(msgs) })
	if err != nil {
		return &syncError{err}
	}
	return nil
}

// syncError reports that records are in the stream and perhaps not on disk.
type syncError struct{ err error }

func (e *syncError) Error() string { return e.err.Error() }
func (e *syncError) Unwrap() error { return e.err }

// stored takes the first n messages of a round, which are durable, into the ledger's own state.
func (l *Ledger) stored(r *round, n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, m := range r.msgs[:n] {
		l.size++
		l.stations[m.station] = l.size
		l.heads.take(l.size, r.links[i])
		l.tail = append(l.tail, m.record)
		l.tailSize += int64(len(m.record))
		l.lastAt = m.at
	}
	if l.epoch == 0 && n > 0 {
		l.epoch = l.size - int64(n) + 1
	}
	l.broadcast()
}

// broadcast wakes all who wait for new records. l.mu is held.
func (l *Ledger) broadcast() {
	close(l.grown)
	l.grown = make(chan struct{})
}

// finish answers the round's calls: those in its first n messages with their records, and the others with the error that
// otherwise returns. Of one of them so many may be stored.
func (r *round) finish(n int, otherwise func(c *call, stored int) error) {
	for _, c := range r.calls {
		stored := max(n, 0)
		if n -= len(c.entries); n < 0 {
			c.out = nil
			c.finish(otherwise(c, stored))
			continue
		}
		c.finish(nil)
	}
}

// failAll answers all calls with one error. It does nothing if they were answered before.
func (r *round) failAll(err error) {
	if r.isDone() {
		return
	}
	for _, c := range r.calls {
		c.out = nil
		c.finish(err)
	}
}

// isDone reports whether the round's calls have been answered. They are answered together.
func (r *round) isDone() bool { return r.calls[0].isDone() }

// callEnd returns how many messages there are up to the end of the call that the first n are the beginning of: n if they
// are whole calls.
func (r *round) callEnd(n int) int {
	end := 0
	for _, c := range r.calls {
		if end >= n {
			break
		}
		end += len(c.entries)
	}
	return end
}

// doubtfulRound is a round whose outcome is not known yet.
type doubtfulRound struct {
	round  *round
	last   int64 // sequence of the last record before it
	cause  error // what publish returned
	synced int   // so many of its messages are known to be on disk
	ended  bool  // a call that was stored in part was sent to its end once
}

// streamBroke reports whether the stream could not be written: the disk is full or broken, or somebody else writes it.
// What it holds in memory may not be on disk then.
func (d *doubtfulRound) streamBroke() bool {
	var write *writeError
	var unsynced *syncError
	var refused *refusedError
	var lost *lostError
	return errors.As(d.cause, &lost) || errors.As(d.cause, &write) || errors.As(d.cause, &unsynced) ||
		errors.As(d.cause, &refused) && !refused.wrongSequence()
}

// resolve finds out what became of the round in doubt and answers its calls. It returns an error if it still cannot
// tell; then the round stays in doubt, and nothing is appended.
func (l *Ledger) resolve() error {
	d := l.inDoubt
	if l.opts.Cluster == nil && l.noRoom(d.cause) {
		l.endWithoutRoom(d)
		return nil
	}
	end, err := l.home.settle(d.round, d.last)
	if l.endFenced(d, err) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := l.owner.held(); err != nil {
		d.cause = errors.Join(d.cause, err)
	}
	if d.streamBroke() {
		l.endBroken(d, end)
		return nil
	}
	n, same, err := l.readBack(d, end)
	if err != nil {
		return err
	}
	whole := d.round.callEnd(n)
	if !same || int64(n) != end-d.last || n < whole && !l.storesSingly() {
		l.inDoubt = nil
		d.round.failAll(l.foundForeign(d.last+1, end))
		return nil
	}
	// What answer there was, these records are in the stream.
	if err := l.syncFirst(d, n); err != nil {
		return nil //nolint:nilerr // the calls were told
	}
	if n < whole && !d.ended && !d.round.isDone() {
		d.ended = true
		if err := l.sendRest(d, n, whole); err != nil {
			d.cause = fmt.Errorf("%w; and then %w", d.cause, err)
			return l.resolve()
		}
		n = whole
	}
	l.inDoubt = nil
	l.forgetStations(d.round)
	l.stored(d.round, n)
	if !d.round.isDone() {
		d.round.finish(n, func(c *call, stored int) error {
			if stored > 0 {
				return fmt.Errorf("%w: only the first %d of %d records were stored: %w", ErrUnknownOutcome, stored, len(c.entries), d.cause)
			}
			if err := l.checkExpectations(c); err != nil {
				return err
			}
			return fmt.Errorf("not recorded: %w", d.cause)
		})
	}
	return nil
}

// endBroken ends a round after which the stream, whose last record is end, may not be on disk. Nothing is built upon that; the
// next start reads the files afresh.
func (l *Ledger) endBroken(d *doubtfulRound, end int64) {
	l.stopAppending(d.cause)
	l.inDoubt = nil
	if end == d.last {
		d.round.failAll(stoppedf("not recorded: %w", d.cause))
	} else {
		d.round.failAll(fmt.Errorf("%w: %w", ErrUnknownOutcome, d.cause))
	}
}

// storesSingly reports whether the first records of a call may be in the stream without the others.
func (l *Ledger) storesSingly() bool {
	e, ok := l.home.(*embedded)
	return ok && !e.syncAlways
}

// syncFirst makes the first n messages of a round in doubt durable. If it can't, nothing is appended any more, and the
// round's calls are told.
func (l *Ledger) syncFirst(d *doubtfulRound, n int) error {
	if n <= d.synced {
		return nil
	}
	if err := l.sync(d.round.msgs[d.synced:n]); err != nil {
		l.stopAppending(err)
		l.inDoubt = nil
		d.round.failAll(fmt.Errorf("%w: %w", ErrUnknownOutcome, err))
		return err
	}
	d.synced = n
	return nil
}

// sendRest sends the messages of a round from n to end, of a call whose first ones are stored, and makes them durable.
// Nobody else has written since: the stream ends with those.
func (l *Ledger) sendRest(d *doubtfulRound, n, end int) error {
	rest := &round{msgs: d.round.msgs[n:end], eachAnswered: true}
	if err := l.publish(rest, d.last+int64(n)); err != nil {
		return err
	}
	d.synced = end
	return nil
}

// endFenced ends a round whose number another writer's record has: it will never be stored.
func (l *Ledger) endFenced(d *doubtfulRound, err error) bool {
	var fenced *fencedError
	if !errors.As(err, &fenced) {
		return false
	}
	l.stopAppending(err)
	l.inDoubt = nil
	d.round.failAll(stoppedf("not recorded: %w", err))
	return true
}

// readBack reads what the stream holds behind the round's predecessor, up to sequence end. It returns the number of
// records and reports whether they are the first ones of the round.
func (l *Ledger) readBack(d *doubtfulRound, end int64) (n int, same bool, err error) {
	same = true
	if end <= d.last {
		return 0, true, nil
	}
	err = l.home.read(context.Background(), d.last+1, end, func(seq int64, _ string, record []byte) error {
		if want := d.last + 1 + int64(n); seq != want {
			return fmt.Errorf("record %d cannot be read back", want)
		}
		same = same && n < len(d.round.msgs) && string(record) == string(d.round.msgs[n].record)
		n++
		return nil
	})
	return n, same, err
}

// foundForeign makes the ledger read-only, because somebody else has written records from to end, and returns the error
// that says so.
func (l *Ledger) foundForeign(from, end int64) error {
	l.mu.Lock()
	what := "the stream holds a record here that this program did not write"
	l.damage = append(l.damage, Problem{Seq: from, What: what})
	damage := l.damage
	l.mu.Unlock()
	l.log.Error("the stream was written by somebody else", "from", from, "to", end)
	return &DamagedError{Dir: l.opts.Dir, Problems: damage}
}

// forgetStations drops what is believed about the round's stations, so that it is looked up again.
func (l *Ledger) forgetStations(r *round) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, m := range r.msgs {
		delete(l.stations, m.station)
	}
}

// stopAppending refuses all appends until the next start.
func (l *Ledger) stopAppending(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.failed == nil {
		l.failed = err
		l.log.Error("the ledger takes no more records until it is started again", "err", err)
		var fenced *fencedError
		if errors.As(err, &fenced) && l.opts.Cluster.Fenced != nil {
			l.opts.Cluster.Fenced(err)
		}
	}
}
