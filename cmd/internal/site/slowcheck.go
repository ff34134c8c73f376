package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/ledger"
	"listbound/projections/readmodel"
)

// Damage behind the last records shows to nobody who doesn't read them, and two
// copies can go bad at leisure. So a server reads everything again once a day, at a
// rate at which nobody notices: ledger, both copies, signatures, read model.

// checkEvery is how old a check may be before the next begins, checkAgain how long a
// failed one is left alone.
const (
	checkEvery = 24 * time.Hour
	checkAgain = time.Hour
)

// checkFile keeps what the last check found.
const checkFile = "last-check.json"

// Check is what a reading of the whole ledger has found.
type Check struct {
	At       time.Time        `json:"at"`      // when it was done
	Records  int64            `json:"records"` // how many it read
	Problems []ledger.Problem `json:"problems"`
	Missing  []int64          `json:"missing,omitempty"` // records whose texts are not there
}

// Checked returns the last check of everything that was done in the background, nil if there was none.
func (s *Site) Checked() *Check { return s.checked.Load() }

// readChecked reads what the last check found. What can't be read counts as none: the next check replaces it.
func (s *Site) readChecked() {
	raw, err := os.ReadFile(filepath.Join(s.opts.Dir, checkFile))
	if errors.Is(err, os.ErrNotExist) {
		return
	}
	c := new(Check)
	if err == nil {
		err = json.Unmarshal(raw, c)
	}
	if err != nil {
		s.opts.Logger.Warn("what the last check found can't be read", "file", checkFile, "error", err)
		return
	}
	s.checked.Store(c)
}

// Rest is called by a slow check between two pieces of its work, with how long the last one took.
type Rest func(ctx context.Context, took time.Duration) error

// CheckSlowly reads the whole ledger and holds it against its checkpoint and the
// read model against it, resting between the pieces, and keeps what it found.
func (s *Site) CheckSlowly(ctx context.Context, rest Rest) error {
	const piece = 256
	began := time.Now()
	var failed error
	pause := func() {
		if failed == nil {
			failed = rest(ctx, time.Since(began))
		}
		began = time.Now()
	}
	v, err := s.verify(ctx, ledger.VerifyOptions{Slowly: true}, func(seq int64) {
		if seq%piece == 0 {
			pause()
		}
	}, func(ctx context.Context, l *ledger.Ledger, o readmodel.Options) (*readmodel.Model, error) {
		return fillSlowly(ctx, l, o, rest)
	})
	if err = errors.Join(failed, err); err != nil {
		return err
	}
	if v.noModel != nil {
		return v.noModel
	}
	c := &Check{At: s.opts.Clock().UTC(), Records: v.Size, Problems: v.Problems, Missing: v.TextsMissing}
	s.checked.Store(c)
	s.listen.tell()
	raw, err := json.Marshal(c)
	if err != nil {
		return err
	}
	path := filepath.Join(s.opts.Dir, checkFile)
	if err := os.WriteFile(path+".tmp", append(raw, '\n'), 0o600); err != nil {
		return fmt.Errorf("keeping what a check found: %w", err)
	}
	return os.Rename(path+".tmp", path)
}

// fillSlowly fills a read model as records are followed: little memory, and pieces to rest between.
func fillSlowly(ctx context.Context, l *ledger.Ledger, o readmodel.Options, rest Rest) (*readmodel.Model, error) {
	m, err := readmodel.Open(ctx, o)
	if err != nil {
		return nil, err
	}
	const piece = 500
	if err := feed(ctx, l, &resting{m, rest}, o.Disclosed, nil, piece); err != nil {
		return nil, errors.Join(err, m.Close())
	}
	return m, nil
}

type resting struct {
	*readmodel.Model
	rest Rest
}

func (r *resting) Apply(ctx context.Context, b *readmodel.Batch) error {
	began := time.Now()
	if err := r.Model.Apply(ctx, b); err != nil {
		return err
	}
	return r.rest(ctx, time.Since(began))
}

// rests leave a slow check a tenth of one processor, and a hundredth while anything is being recorded: it has the whole day,
// and whoever scans is waiting. That it is done in the end is bounded by no rest being longer than ten of the usual ones.
type rests struct {
	size func() int64 // of the ledger
	was  int64
}

// times is how many times as long as a piece took is rested behind it.
func (r *rests) times() time.Duration {
	const usual, busy = 9, 99
	was := r.was
	if r.was = r.size(); r.was != was {
		return busy
	}
	return usual
}

func (r *rests) rest(ctx context.Context, took time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(r.times() * took):
		return nil
	}
}

// KeepChecking checks everything once a day until the context ends, and nothing in the first minute: what waited for the start has
// the processors then.
func (s *Site) KeepChecking(ctx context.Context) {
	notBefore := s.opts.Clock().Add(mostWait)
	for {
		due := notBefore
		if c := s.Checked(); c != nil && c.At.Add(checkEvery).After(due) {
			due = c.At.Add(checkEvery)
		}
		if wait := due.Sub(s.opts.Clock()); wait > 0 {
			select {
			case <-ctx.Done():
				return
			case <-time.After(min(wait, mostWait)):
			}
			continue
		}
		err := s.CheckSlowly(ctx, (&rests{size: s.Size, was: s.Size()}).rest)
		switch c := s.Checked(); {
		case ctx.Err() != nil:
			return
		case err != nil:
			notBefore = s.opts.Clock().Add(checkAgain)
			s.opts.Logger.Error("the background check of all records was not done", "error", err)
		case len(c.Problems) > 0:
			s.opts.Logger.Error("the background check of all records found something; run listbound verify",
				"problems", len(c.Problems), "first", c.Problems[0].What)
		}
	}
}
