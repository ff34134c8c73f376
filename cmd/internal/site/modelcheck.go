package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"listbound/cmd/internal/refusal"
	"listbound/ledger"
	"listbound/projections/readmodel"
)

// mostDifferences is how many rows are named; the rest is counted.
const mostDifferences = 20

// modelCheck is a check of the read model that may be under way.
type modelCheck struct {
	done     chan struct{}
	drop     func() // ends it
	problems []ledger.Problem
	err      error
}

// beginModelCheck begins it, so that it can go on while the records are looked at: each of the two leaves processors idle that the
// other one needs. It must be dropped in the end.
func (s *Site) beginModelCheck(ctx context.Context, fill filler) *modelCheck {
	ctx, cancel := context.WithCancel(ctx)
	c := &modelCheck{done: make(chan struct{})}
	c.drop = func() {
		cancel()
		<-c.done
	}
	go func() {
		defer close(c.done)
		c.problems, c.err = s.checkModel(ctx, fill)
	}()
	return c
}

// end returns what it found.
func (c *modelCheck) end() ([]ledger.Problem, error) {
	<-c.done
	return c.problems, c.err
}

// wasBarred reports whether it ended since texts were taken out, which may be over by now.
func (c *modelCheck) wasBarred() bool {
	_, err := c.end()
	return errors.Is(err, errRedacting)
}

// checkModel holds the read model against the ledger: one is made afresh beside it, of the same records and as of the
// same moment, and the two are compared row by row. It says what differs, which only a hand in the file can have done,
// or a disk that lost it.
func (s *Site) checkModel(ctx context.Context, fill filler) (problems []ledger.Problem, err error) {
	ctx, ended, err := s.compares.begin(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = ended(err) }()
	dir, err := s.roomForModel()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	file := s.beginFileCheck(ctx)
	defer func() { file.drop() }()
	fresh, err := fill(ctx, s.ledger, s.modelOptions(filepath.Join(dir, modelName)))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, fresh.Close()) }()
	held, err := s.snapshot(ctx, fresh)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, held.Close()) }()
	found, n, err := held.Differences(ctx, fresh, mostDifferences)
	if err != nil && ctx.Err() == nil && !refusal.IsNoRoom(err) {
		err = fmt.Errorf("%s can't be held against the records: %w; nothing that was recorded is lost, and listbound rebuild makes "+
			"it anew", modelName, err)
	}
	if err != nil {
		return nil, err
	}
	damage, err := file.end()
	for file.of != s.current() { // it was made anew meanwhile
		file = s.beginFileCheck(ctx)
		damage, err = file.end()
	}
	if err != nil {
		return nil, err
	}
	n += len(damage)
	for _, d := range append(found, damage...) {
		problems = append(problems, ledger.Problem{Seq: d.Seq, What: fmt.Sprintf("%s: %s", modelName, d)})
	}
	if n > 0 {
		problems = append(problems, ledger.Problem{What: fmt.Sprintf("%s differs in %d rows from what the records come to; what it "+
			"says can't be trusted until it is made anew: listbound rebuild", modelName, n)})
	}
	return problems, nil
}

// fileCheck is a check of the read model's file by SQLite, which needs nothing of the second model: so it fills a processor while that
// is made.
type fileCheck struct {
	of     *readmodel.Model
	done   chan struct{}
	drop   func() // ends it
	damage []readmodel.Difference
	err    error
}

// beginFileCheck begins it. It must be dropped in the end.
func (s *Site) beginFileCheck(ctx context.Context) *fileCheck {
	ctx, cancel := context.WithCancel(ctx)
	c := &fileCheck{of: s.current(), done: make(chan struct{})}
	c.drop = func() {
		cancel()
		<-c.done
	}
	go func() {
		defer close(c.done)
		if c.err = refusal.ErrClosed; c.of != nil {
			c.damage, c.err = c.of.CheckFile(ctx)
		}
	}()
	return c
}

// end returns what it found.
func (c *fileCheck) end() ([]readmodel.Difference, error) {
	<-c.done
	return c.damage, c.err
}

// filler makes a read model of a ledger in an empty file.
type filler func(ctx context.Context, l *ledger.Ledger, o readmodel.Options) (*readmodel.Model, error)

// atOnce is a filler that makes haste.
func atOnce(ctx context.Context, l *ledger.Ledger, o readmodel.Options) (*readmodel.Model, error) {
	return Fill(ctx, l, o, nil)
}

// roomForModel makes a folder for a second read model where there is room: one on the folder's own disk is the most
// likely to fit.
func (s *Site) roomForModel() (string, error) {
	var failed []error
	for _, parent := range []string{s.opts.Dir, os.TempDir(), memoryDir} {
		dir, err := os.MkdirTemp(parent, checkPrefix)
		if err == nil {
			const probe = 1 << 20
			if err = os.WriteFile(filepath.Join(dir, "probe"), make([]byte, probe), 0o600); err == nil {
				return dir, os.Remove(filepath.Join(dir, "probe"))
			}
			err = errors.Join(err, os.RemoveAll(dir))
		}
		failed = append(failed, err)
	}
	return "", fmt.Errorf("there is no room for a second read model to hold this one against: %w", errors.Join(failed...))
}

// checkPrefix begins the name of a folder in which a read model is made to compare with.
const checkPrefix = "checking-"

// snapshot brings both models to the same record and moment, and keeps what the folder's own holds then. Recording
// waits for no more than that.
func (s *Site) snapshot(ctx context.Context, fresh *readmodel.Model) (*readmodel.Snapshot, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	if err := s.catchUp(ctx, nil); err != nil {
		return nil, err
	}
	held := s.current()
	if held == nil {
		return nil, refusal.ErrClosed
	}
	if err := feed(ctx, s.ledger, fresh, s.addenda.disclosed, nil, batchLen); err != nil {
		return nil, err
	}
	if _, err := fresh.Advance(ctx, held.Moment()); err != nil {
		return nil, err
	}
	return held.Snapshot(ctx)
}
