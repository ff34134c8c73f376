package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"listbound/projections/readmodel"
)

// asOfName is the file that fixes as of when a folder is judged: an RFC 3339
// time. The invented week has one, so that its verdicts stay what they are; a
// hospital's folder has none, and is judged as of now.
const asOfName = "as-of"

// fixMoment reads as of when the folder is judged, and writes it where the
// options say so.
func (s *Site) fixMoment() error {
	path := filepath.Join(s.opts.Dir, asOfName)
	if !s.opts.AsOf.IsZero() {
		s.asOf = s.opts.AsOf
		return os.WriteFile(path, []byte(s.asOf.UTC().Format(time.RFC3339Nano)+"\n"), 0o600)
	}
	raw, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("as of when the folder is judged: %w", err)
	}
	if s.asOf, err = time.Parse(time.RFC3339, strings.TrimSpace(string(raw))); err != nil {
		return fmt.Errorf("%s holds no RFC 3339 time such as 2026-03-06T18:00:00Z: %w", path, err)
	}
	s.opts.Logger.Warn("what is late is judged as of a fixed moment, not as of now; remove the file as-of to change that",
		"as of", s.asOf, "file", path)
	return nil
}

// moment is as of when is judged: now, unless the folder says otherwise.
func (s *Site) moment() time.Time {
	if !s.asOf.IsZero() {
		return s.asOf
	}
	return s.opts.Clock()
}

// advance lets the read model's time go on to now.
func (s *Site) advance(ctx context.Context, m *readmodel.Model) error {
	changed, err := m.Advance(ctx, s.moment())
	if changed {
		s.listen.tell()
	}
	return err
}

// Advance judges anew what has become overdue by now.
func (s *Site) Advance(ctx context.Context) error {
	s.intake.Lock()
	defer s.intake.Unlock()
	return s.catchUp(ctx, nil)
}

// The bounds of how long KeepTime waits: no busy waiting for a clock that stands
// still, and a clock that is set is noticed.
const (
	leastWait = 100 * time.Millisecond
	mostWait  = time.Minute
	// againWait is how long a failed judgement is left alone.
	againWait = 5 * time.Second
	// firstWait is for how long after a start whoever opens a page has the machine to himself.
	firstWait = 300 * time.Millisecond
)

// KeepTime judges anew whatever becomes overdue, when it does, until the context
// ends. What is recorded meanwhile is judged as it comes, and here where that failed. Before all that it reads what the first
// scan would wait for otherwise, and begins with it when the first page is there: of millions of records that takes some tenths of a
// second and a processor.
func (s *Site) KeepTime(ctx context.Context) {
	select {
	case <-ctx.Done():
		return
	case <-s.opts.After(firstWait):
	}
	if s.writable() == nil {
		if err := s.ledger.Prepare(); err != nil {
			s.opts.Logger.Warn("the first record waits until it is known which is the newest about each set and case", "error", err)
		}
	}
	for {
		wait := mostWait
		due, err := Answer(s, func(v *View) (time.Time, error) { return v.Due(ctx) })
		if err == nil && !due.IsZero() {
			wait = min(max(due.Sub(s.moment()), leastWait), mostWait)
		}
		if s.lagging() > 0 {
			wait = min(wait, againWait)
		}
		select {
		case <-ctx.Done():
			return
		case <-s.opts.After(wait):
		}
		if err := s.Advance(ctx); err != nil && ctx.Err() == nil {
			s.opts.Logger.Error("what has become overdue is not judged yet", "error", err)
		}
	}
}
