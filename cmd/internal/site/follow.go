package site

import (
	"context"
	"errors"
	"fmt"
	"io"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections/readmodel"
)

// Follower keeps something that is derived from the ledger's records, and knows
// how far it has come. The read model is the first one; a receipt waits for it,
// since it judges. Others may stand beside it (Options.Followers): they are
// brought up to date after each intake, and one that fails keeps nobody from
// recording: it is logged, and goes on from its position the next time.
type Follower interface {
	// Name is for people and logs.
	Name() string
	// Position is the sequence of the last record applied, 0 before the first.
	Position() int64
	// Apply takes the next records, which follow the position without a gap. All
	// of them count, or none.
	Apply(ctx context.Context, b *readmodel.Batch) error
	// Reset forgets everything: position 0.
	Reset(ctx context.Context) error
}

// applier is what feed needs of a follower.
type applier interface {
	Position() int64
	Apply(ctx context.Context, b *readmodel.Batch) error
}

// batchLen is how many records a follower takes at once while it catches up:
// few enough to be interrupted, many enough to be quick.
const batchLen = 4000

// catchUp applies what the ledger holds beyond the read model's position, then
// beyond the other followers'.
func (s *Site) catchUp(ctx context.Context, progress Progress) error {
	m := s.current()
	if m == nil {
		return refusal.ErrClosed
	}
	err := s.comeHome(ctx)
	if m = s.current(); err == nil {
		err = s.advance(ctx, m)
	}
	if err == nil {
		err = feed(ctx, s.ledger, m, s.addenda.disclosed, progress, batchLen)
	}
	lagged := s.lag.Load()
	if err == nil && lagged != nil {
		err = m.Settle(ctx) // before anybody says that judgement follows again
	}
	switch {
	case err == nil:
		if lagged != nil && s.lag.CompareAndSwap(lagged, nil) { // else it could not be written just now what was applied meanwhile
			s.listen.tell()
		}
	case ctx.Err() == nil:
		s.lag.Store(&lag{err, max(m.Position(), 0)})
	}
	if err != nil {
		return err
	}
	s.followUp(ctx)
	return nil
}

// foresee judges what is on its way to the disk, and returns it for applyStored; nil where that will do it all.
func (s *Site) foresee(ctx context.Context, coming []ledger.Appended) *readmodel.Batch {
	m := s.current()
	if !s.follows(m, coming) {
		return nil
	}
	b, err := s.parsed(coming)
	if err != nil || m.Foresee(ctx, b) != nil {
		return nil // applyStored meets the same and says so
	}
	return b
}

// follows reports whether records are those behind the last one that a read model knows.
func (s *Site) follows(m *readmodel.Model, records []ledger.Appended) bool {
	return m != nil && s.elsewhere == "" && s.lag.Load() == nil && m.Position()+1 == records[0].Seq
}

func (s *Site) parsed(records []ledger.Appended) (*readmodel.Batch, error) {
	raws := make([]readmodel.Raw, len(records))
	for i, a := range records {
		raws[i] = readmodel.Raw{Seq: a.Seq, Record: a.Record}
	}
	return readmodel.Parse(s.ledger.Origin(), s.addenda.disclosed, raws)
}

// applyStored applies what was just stored, without reading it again where nothing lies before it. Foreseen is what foresee returned.
func (s *Site) applyStored(ctx context.Context, stored []ledger.Appended, foreseen *readmodel.Batch) (err error) {
	m := s.current()
	if !s.follows(m, stored) {
		return s.catchUp(ctx, nil)
	}
	b := foreseen
	if b == nil {
		b, err = s.parsed(stored)
	}
	if err == nil {
		err = m.Apply(ctx, b)
	}
	if err != nil {
		s.lag.Store(&lag{err, max(m.Position(), 0)})
		return err
	}
	s.followUp(ctx)
	return nil
}

// lag is why judgement is behind the ledger, and the last record that it knows.
type lag struct {
	why error
	at  int64
}

// Behind returns how many records are kept but not judged yet, since judging them
// failed: no verdict knows of them. It is 0 while judgement follows the ledger. What
// is behind is tried again before the next record, and by KeepTime.
func (s *Site) Behind() int64 {
	s.settle()
	return s.lagging()
}

// settle has what was judged written. Where it can't be, that is what Behind tells from then on.
func (s *Site) settle() {
	if !s.modelMu.TryRLock() {
		return // another model takes its place, which has all; and who asks may be within a question
	}
	defer s.modelMu.RUnlock()
	if s.model != nil {
		_ = s.model.Settle(context.Background())
	}
}

// lagging is Behind as far as is known.
func (s *Site) lagging() int64 {
	lag := s.lag.Load()
	if lag == nil {
		return 0
	}
	return s.ledger.Size() - lag.at
}

// followUp brings the other followers up to date.
func (s *Site) followUp(ctx context.Context) {
	for _, f := range s.opts.Followers {
		if err := feed(ctx, s.ledger, f, s.addenda.disclosed, nil, batchLen); err != nil && ctx.Err() == nil {
			s.opts.Logger.Error("a follower of the ledger lags behind", "follower", f.Name(), "position", f.Position(), "error", err)
		}
	}
}

// restart has the other followers begin again.
func (s *Site) restart(ctx context.Context) error {
	for _, f := range s.opts.Followers {
		if err := f.Reset(ctx); err != nil {
			return fmt.Errorf("beginning %s again: %w", f.Name(), err)
		}
	}
	s.followUp(ctx)
	return nil
}

// tables returns a read model for what its tables are asked while lines are taken in, once these have all that was applied.
func tables(ctx context.Context, m *readmodel.Model) (*readmodel.Model, error) {
	return m, m.Settle(ctx)
}

// feed applies what a ledger holds beyond a follower's position.
func feed(ctx context.Context, l *ledger.Ledger, m applier, disclosed events.Disclosed, progress Progress, size int) error {
	return feedTo(ctx, l, m, disclosed, l.Size(), progress, size)
}

// feedTo is feed up to a record. It reads on one goroutine and applies on another.
func feedTo(
	ctx context.Context, l *ledger.Ledger, m applier, disclosed events.Disclosed, total int64, progress Progress, size int,
) error {
	from := m.Position() + 1
	if from < 1 {
		return readmodel.ErrStopped
	}
	if from > total {
		return nil
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	batches := make(chan *readmodel.Batch, 2)
	failed := make(chan error, 1)
	go func() {
		defer close(batches)
		failed <- parseAll(ctx, l, disclosed, from, total, size, batches)
	}()
	var err error
	for b := range batches {
		if err != nil {
			continue // let the reader end
		}
		if err = m.Apply(ctx, b); err != nil {
			cancel()
		} else if progress != nil {
			progress(m.Position(), total)
		}
	}
	if readErr := <-failed; err == nil {
		err = readErr
	}
	return err
}

func parseAll(
	ctx context.Context, l *ledger.Ledger, disclosed events.Disclosed, from, total int64, size int, out chan<- *readmodel.Batch,
) error {
	var raws []readmodel.Raw
	flush := func() error {
		if len(raws) == 0 {
			return nil
		}
		b, err := readmodel.Parse(l.Origin(), disclosed, raws)
		if err != nil {
			return err
		}
		raws = make([]readmodel.Raw, 0, size)
		select {
		case out <- b:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	err := l.ScanHashed(ctx, from, func(seq int64, record []byte) error {
		if seq > total {
			return io.EOF
		}
		raws = append(raws, readmodel.Raw{Seq: seq, Record: record})
		if len(raws) == size {
			return flush()
		}
		return nil
	})
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	return flush()
}
