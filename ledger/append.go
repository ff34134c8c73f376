package ledger

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"
)

// maxTail is how many bytes may wait for the tree builder before appends wait for it too.
const maxTail = 64 << 20

// Append stores a batch of signed notes and answers for each. The work on a batch is done in steps that can be seen
// apart, and Append is one of them: the caller checks what it was given, numbers and signs it, appends the notes here,
// and judges what it gets back. Append signs nothing and judges nothing; it checks form and expectations, and stores.
//
// A caller may rely on this:
//
//   - When Append returns without an error all entries are stored. One call takes up to [Ledger.AtOnce] of them, and of
//     long ones no more bytes than [MaxBatch] of the longest have.
//   - out[i] is the record of entries[i]. The sequences of a call are consecutive and ascending, and all of it arrived
//     at one moment.
//   - When Append returns without an error the records are on disk, count in [Ledger.Size], are returned by
//     [Ledger.Read] and [Ledger.Last], and have been announced to [Ledger.Follow] and [Ledger.Wait]. They are under a
//     signed checkpoint a little later; [Ledger.Checkpoint] and [Ledger.Prove] do not wait for that.
//   - Append may be called from many goroutines. Calls that wait at the same time share one sync of the disk, so many
//     callers are faster than one, and each gets its own answer: a call that is refused costs its neighbours nothing.
//   - Records of one station come in the order in which its entries are given, and those of two calls in the order in
//     which the calls name their previous record. Calls of different stations that are under way at once come in any
//     order, but never mixed with each other.
//   - Append does not keep the notes. They must not change before it returns, nor later if it returned because its
//     context ended.
//
// Entries of several stations may be mixed. All entries of a station name the same previous record in ExpectPrev, the
// one before the first of them.
//
// A *ConflictError reports that a station has another previous record, a *DamagedError that the ledger is read-only,
// and an error that wraps [ErrStopped] that the ledger takes nothing more. An error that wraps [ErrUnknownOutcome]
// leaves open how many of the entries were stored: all, none, or the first of them, without a gap. Ask Last. Any other
// error means that none was. If the context ends while the batch is queued, it is not stored; if it ends later, the
// outcome is unknown.
//
// A crash or a power failure before Append returns may leave the first records of a batch, too. A caller that starts over
// asks Last for that, as after any end without an answer, and goes on behind what is there. So entries stand in an order in
// which each beginning of them makes sense: a station's enrolment before its records. In a cluster a batch is stored whole
// or not at all.
func (l *Ledger) Append(ctx context.Context, entries ...Entry) ([]Appended, error) {
	return l.AppendAhead(ctx, nil, entries...)
}

// AppendAhead is Append for a caller who has something to do with the records that need not wait for the disk: ahead is called with
// them as soon as their sequences and times are fixed, while they are written, and AppendAhead returns after both. Nothing counts that
// ahead is told until it returns without an error: otherwise there may never be such records. Where an append is refused before that,
// ahead isn't called.
func (l *Ledger) AppendAhead(ctx context.Context, ahead func(coming []Appended), entries ...Entry) ([]Appended, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	if err := l.checkBatch(entries); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("not recorded: %w", err)
	}
	if damage := l.Damage(); len(damage) > 0 {
		return nil, &DamagedError{Dir: l.opts.Dir, Problems: damage}
	}
	if l.opts.Reading || l.opts.Copy != nil {
		return nil, l.stopReason()
	}
	c := &call{entries: entries, done: make(chan struct{})}
	if ahead != nil {
		c.numbered = make(chan struct{})
	}
	if err := l.queue.add(c); err != nil {
		return nil, err
	}
	if ahead != nil {
		select {
		case <-c.numbered:
			ahead(c.coming)
		case <-c.done:
		case <-ctx.Done():
		}
	}
	select {
	case <-c.done:
	case <-ctx.Done():
		if c.state.CompareAndSwap(callWaiting, callCancelled) {
			return nil, fmt.Errorf("not recorded: %w", ctx.Err())
		}
		if !c.isDone() {
			return nil, fmt.Errorf("%w: %w", ErrUnknownOutcome, ctx.Err())
		}
	}
	return c.out, c.err
}

// AtOnce returns how many entries one call of Append takes here: [MaxBatch], and several times as many where the stream is in this
// process and no round need be an atomic batch.
func (l *Ledger) AtOnce() int { return l.queue.most }

// checkBatch checks what can be known of a batch without looking at the stream.
func (l *Ledger) checkBatch(entries []Entry) error {
	if most := l.AtOnce(); len(entries) > most {
		return fmt.Errorf("not recorded: %d entries in one call, at most %d are stored as one", len(entries), most)
	}
	if len(entries) > MaxBatch {
		bytes := 0
		for _, e := range entries {
			bytes += len(e.Note)
		}
		if bytes > mostBytes {
			return fmt.Errorf("not recorded: %d bytes in one call, at most %d are stored as one", bytes, mostBytes)
		}
	}
	expected := make(map[string]int64, 1) // one station, as a rule: no allocation
	for i, e := range entries {
		if err := e.check(l.opts.Origin); err != nil {
			return err
		}
		prev, ok := expected[e.Station]
		if !ok {
			expected[e.Station] = e.ExpectPrev
			continue
		}
		if prev != e.ExpectPrev {
			return fmt.Errorf("not recorded: entry %d of station %s expects record %d before it, its first entry %d; "+
				"all entries of a station in one call name the record before the first",
				i+1, e.Station, e.ExpectPrev, prev)
		}
	}
	return nil
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

// lastOf returns the sequence of a station's last record, 0 if it has none. This process is the only writer, so what it
// has looked up once stays true as long as it keeps it up to date.
func (l *Ledger) lastOf(station string) (int64, error) {
	l.mu.Lock()
	last, ok := l.stations[station]
	l.mu.Unlock()
	if ok {
		return last, nil
	}
	home := l.stream()
	if home == nil {
		return 0, cmp.Or(l.stopReason(), ErrClosed)
	}
	seq, err := home.lastOf(filterOf(station))
	if err != nil {
		return 0, err
	}
	if c, ok := home.(*clustered); ok && seq > l.Size() {
		l.lookForWriter(c)
		return 0, cmp.Or(l.stopReason(), fmt.Errorf("record %d of station %s is being stored", seq, station))
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if last, ok := l.stations[station]; ok {
		return last, nil
	}
	l.stations[station] = seq
	return seq, nil
}

// commitLoop is the only writer.
func (l *Ledger) commitLoop() {
	defer l.wg.Done()
	var (
		returning int           // number of calls in or queued behind the previous round
		took      time.Duration // by the previous round
		ended     time.Time     // of the previous round
		patience  = time.NewTimer(0)
	)
	for range l.queue.wake {
		// Let the writers of the previous round come back before the next one starts, for a quarter of the time that a
		// round takes: syncing all of them costs hardly more than syncing half of them. A lone writer is not kept
		// waiting.
		if left := took/4 - time.Since(ended); returning > 1 && left > 0 {
			patience.Reset(left)
			l.queue.await(returning, patience.C)
		}
		calls, closed := l.queue.take()
		if closed {
			l.refuseAll(calls)
			return
		}
		if len(calls) == 0 {
			continue
		}
		began := time.Now()
		l.commit(calls)
		ended = time.Now()
		took = ended.Sub(began)
		returning = len(calls) + l.queue.len()
	}
}

// refuseAll answers calls, and all that are queued behind them, after the queue was closed.
func (l *Ledger) refuseAll(calls []*call) {
	for len(calls) > 0 || l.queue.len() > 0 {
		for _, c := range calls {
			c.finish(fmt.Errorf("not recorded: %w", ErrClosed))
		}
		calls, _ = l.queue.take()
	}
}

// commit answers calls: those with a wrong expectation at once, the others after they are in the stream.
func (l *Ledger) commit(calls []*call) {
	l.committing.Lock()
	defer l.committing.Unlock()
	l.heal()
	if err := l.ready(); err != nil {
		for _, c := range calls {
			c.finish(err)
		}
		return
	}
	var good []*call
	for _, c := range calls {
		if err := l.checkExpectations(c); err != nil {
			c.finish(err)
			continue
		}
		good = append(good, c)
	}
	if len(good) > 0 {
		if err := l.loadHeads(); err != nil {
			for _, c := range good {
				c.finish(stoppedf("not recorded: cannot read what was recorded before: %w", err))
			}
			return
		}
		l.send(l.newRound(good))
	}
}

// Recording returns nil unless it is known already that nothing can be appended: see [Ledger.Writable], which looks.
func (l *Ledger) Recording() error {
	if l.stopped() {
		return ErrClosed
	}
	if l.committing.TryLock() { // else the committer sees to it
		l.heal()
		l.committing.Unlock()
	}
	return l.checkOwner()
}

// Writable returns nil if the ledger takes records, and otherwise what Append would return: a *DamagedError, or an
// error that wraps [ErrStopped] or [ErrClosed]. It looks whether there is room on the disk.
func (l *Ledger) Writable() error {
	if err := l.Recording(); err != nil {
		return err
	}
	if err := l.room(); err != nil {
		return stoppedf("not recorded: %w", err)
	}
	return nil
}

// checkOwner returns an error if nothing will be appended before the next start. It looks whether the folder is still
// this process's: of two that write the same files only one may go on, and nothing it acknowledged may be lost. The one
// that has taken the folder reads what is there before it writes, so what is looked at before and after each write
// need not be looked at in between.
func (l *Ledger) checkOwner() error {
	if err := l.stopReason(); err != nil {
		return err
	}
	if err := l.owner.held(); err != nil {
		l.stopAppending(err)
		return l.stopReason()
	}
	return nil
}

// stopReason returns an error if nothing will be appended before the next start.
func (l *Ledger) stopReason() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.damage) > 0 {
		return &DamagedError{Dir: l.opts.Dir, Problems: l.damage}
	}
	var lost *lostError
	var full *noRoomError
	var fenced *fencedError
	switch {
	case errors.As(l.failed, &fenced) || errors.As(l.failed, &lost) || errors.As(l.failed, &full) ||
		l.failed != nil && (l.opts.Reading || l.opts.Copy != nil):
		return stoppedf("not recorded: %w", l.failed)
	case l.failed != nil:
		return stoppedf("not recorded: an earlier record failed: %w; see to the disk and start again", l.failed)
	}
	return nil
}

// ready returns an error if nothing may be appended now.
func (l *Ledger) ready() error {
	if err := l.checkOwner(); err != nil {
		return err
	}
	if l.inDoubt != nil {
		if err := l.resolve(); err != nil {
			return stoppedf("not recorded: an earlier record's outcome is still unknown: %w", err)
		}
		return l.ready()
	}
	l.mu.Lock()
	waiting := l.tailSize
	l.mu.Unlock()
	if waiting > maxTail {
		if err := l.integrate(); err != nil {
			return stoppedf("not recorded: %d bytes wait for a checkpoint that cannot be made: %w", waiting, err)
		}
	}
	return nil
}

// checkExpectations compares what a call expects with the last records of its stations.
func (l *Ledger) checkExpectations(c *call) error {
	for i, e := range c.entries {
		if !c.isFirst(i) {
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
