package site

import (
	"context"
	"fmt"
	"iter"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
)

// Arrived is a line, as Record takes it, with when it arrived.
type Arrived struct {
	Line []byte
	At   time.Time
}

// Play records what arrived one after the other at moments that are past, as a week that is played again: each record says its own
// moment, and what is asked of it is asked as of then. But many lines go in at once, since nobody waits for the receipt of one
// to hand in the next. setClock sets the clock that the folder was opened with; it stands at the last line's moment afterwards.
// The lines' moments may not run back. Lines are counted from 1 on; an error of theirs ends it.
func (s *Site) Play(ctx context.Context, lines iter.Seq2[Arrived, error], setClock func(time.Time), emit func(Receipt) error) error {
	batch := make([]line, 0, s.opts.Batch)
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		r := &request{ctx: ctx, lines: batch, play: setClock}
		if err := s.hand(r); err != nil {
			return err
		}
		err := answer(batch, emit)
		batch = make([]line, 0, s.opts.Batch) // what was handed on is somebody else's
		return err
	}
	n := 0
	for a, err := range lines {
		if err != nil {
			return err
		}
		n++
		o, err := events.ParseObservation(a.Line)
		if err != nil {
			return fmt.Errorf("line %d: %w", n, refusal.Because(err))
		}
		l := line{n: n, at: a.At, obs: o}
		l.identify(s.addenda.idKey())
		if batch = append(batch, l); len(batch) < s.opts.Batch {
			continue
		}
		if err := flush(); err != nil {
			return err
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("interrupted after line %d; what has a receipt is recorded", n)
		}
	}
	return flush()
}
