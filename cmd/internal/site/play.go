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
	for p := range ahead(arrivedParts(lines, s.opts.Batch, s.addenda.idKey())) {
		if p.err != nil {
			return p.err
		}
		if err := s.hand(&request{ctx: ctx, lines: p.lines, play: setClock}); err != nil {
			return err
		}
		if err := answer(p.lines, emit); err != nil || p.last {
			return err
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("interrupted after line %d; what has a receipt is recorded", p.lines[len(p.lines)-1].n)
		}
	}
	return nil
}

// arrivedParts reads lines, so many for a part, or fewer long ones. Of those before an error that make no whole part nothing is recorded.
func arrivedParts(lines iter.Seq2[Arrived, error], most int, key []byte) iter.Seq[part] {
	return func(yield func(part) bool) {
		batch, n, bytes := make([]line, 0, most), 0, 0
		for a, err := range lines {
			l := line{n: n + 1, at: a.At}
			if err == nil {
				if l.obs, err = events.ParseObservation(a.Line); err != nil {
					err = fmt.Errorf("line %d: %w", l.n, refusal.Because(err))
				}
			}
			if err != nil {
				yield(part{err: err})
				return
			}
			n++
			l.identify(key)
			batch, bytes = append(batch, l), bytes+len(a.Line)
			if len(batch) < most && bytes < bytesAlone {
				continue
			}
			if !yield(part{lines: batch}) {
				return
			}
			batch, bytes = make([]line, 0, most), 0 // what was handed on is somebody else's
		}
		yield(part{lines: batch, last: true})
	}
}
