package site

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger/proof"
)

// How often a server takes out what is due, and how long it leaves alone what failed.
const (
	retainEvery = 24 * time.Hour
	retainAgain = time.Hour
)

// KeepRetention takes out each day what is due, and ends redactions that something kept from their end, until the context
// ends. Legal holds are passed over by it.
func (s *Site) KeepRetention(ctx context.Context) {
	var next time.Time
	for {
		if now := s.opts.Clock(); !now.Before(next) {
			next = now.Add(retainEvery)
			if err := s.Retain(ctx); err != nil && ctx.Err() == nil {
				next = now.Add(retainAgain)
				s.opts.Logger.Error("what is due to be taken out was not taken out", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-s.opts.After(min(retainAgain, max(next.Sub(s.opts.Clock()), leastWait))):
		}
	}
}

// Retain takes out what is due now, where a retention was adopted, and ends a redaction that did not come to its end.
func (s *Site) Retain(ctx context.Context) error {
	if s.ledger.FilesOnly() {
		return nil
	}
	if err := s.endUnfinished(ctx); err != nil {
		return err
	}
	_, kept, err := s.Holds(ctx)
	if err != nil || kept == 0 {
		return err
	}
	out, err := s.Redact(ctx, Redaction{Due: true, Reason: fmt.Sprintf("kept for %d days", int64(kept/(24*time.Hour)))})
	if err != nil {
		return err
	}
	if out.Texts > 0 {
		s.opts.Logger.Info("what was due was taken out", "texts", out.Texts, "records", len(out.Records), "held", len(out.Held),
			"plain", len(out.Plain), "left", out.Left)
	}
	if out.Unfinished {
		return errors.New("the folder is not rid of what was taken out")
	}
	return nil
}

func (s *Site) endUnfinished(ctx context.Context) error {
	s.redacting.Lock()
	defer s.redacting.Unlock()
	if there, err := s.hasUnfinished(); err != nil || !there {
		return err
	}
	if err := s.dropAlone(ctx); err != nil {
		return err
	}
	_, err := s.endRedacting(ctx)
	return err
}

// dropAlone is dropRecorded while nobody takes texts in.
func (s *Site) dropAlone(ctx context.Context) error {
	marks, err := s.marksRecorded(ctx)
	if err != nil {
		return err
	}
	had, err := s.readFor(ctx, marks)
	if err != nil {
		return err
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	_, err = s.dropRecorded(ctx, had)
	return err
}

// due returns the records whose texts are due. A case's reference stays while its records do: what is due here are texts.
func (s *Site) due(ctx context.Context) ([]int64, error) {
	_, kept, err := s.Holds(ctx)
	if err != nil {
		return nil, err
	}
	if kept == 0 {
		return nil, refusal.Keyed("redact-none-due", "no retention is adopted: texts are kept without an end")
	}
	var seqs []int64
	before := s.opts.Clock().Add(-kept)
	err = s.ledger.Scan(ctx, 1, func(seq int64, record []byte) error {
		n, _, _, err := proof.SplitArrival(s.Name(), record)
		if err != nil {
			return err
		}
		text, err := events.Text(n)
		if err != nil || len(events.Marks(text)) == 0 {
			return nil //nolint:nilerr // what is no event has no texts
		}
		e, err := events.ParseNote(n)
		if err == nil && e.Time.Before(before) && !e.Kind().SaysOfTexts() {
			seqs = append(seqs, seq)
		}
		return nil
	})
	return seqs, err
}

// errRedacting ends a comparison of read models while texts are taken out: the second one would have them, in a file of
// its own, and differ from the one that is made anew.
var errRedacting = refusal.WithCode(http.StatusConflict, "texts are being taken out; ask again when that is done")

// compares are the comparisons of read models under way.
type compares struct {
	mu     sync.Mutex
	barred int
	next   int
	all    map[int]context.CancelCauseFunc
	idle   sync.WaitGroup
}

// begin begins one, unless texts are being taken out. ended says what became of it.
func (c *compares) begin(ctx context.Context) (_ context.Context, ended func(error) error, _ error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.barred > 0 {
		return nil, nil, errRedacting
	}
	ctx, cancel := context.WithCancelCause(ctx)
	if c.all == nil {
		c.all = make(map[int]context.CancelCauseFunc)
	}
	id := c.next
	c.next++
	c.all[id] = cancel
	c.idle.Add(1)
	return ctx, func(err error) error {
		defer c.idle.Done()
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.all, id)
		barred := errors.Is(context.Cause(ctx), errRedacting)
		cancel(nil)
		if barred {
			return errRedacting // whatever it came to meanwhile
		}
		return err
	}, nil
}

// bar ends those under way, and lets none begin until the end that it returns.
func (c *compares) bar() (end func()) {
	c.mu.Lock()
	c.barred++
	for _, cancel := range c.all {
		cancel(errRedacting)
	}
	c.mu.Unlock()
	c.idle.Wait()
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.barred--
	}
}
