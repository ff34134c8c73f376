package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections/facts"
)

// ErrNothingLost refuses to declare a loss where there is none.
var ErrNothingLost = refusal.New("nothing is lost here: the ledger has all that this folder and its witnesses have seen of it")

// waysOut says what to do with a ledger that is behind what was seen of it.
func (s *Site) waysOut() string {
	return fmt.Sprintf("Nothing is recorded until one of two things is done: put stream/ and log/ of the newest copy in their "+
		"place in %s, or, if there is none, say so for good: listbound declare-loss", s.opts.Dir)
}

// seenFile keeps how many records a read model had judged that was ahead of the ledger. It is made anew then, and would
// know no more of it at the next start.
const seenFile = "seen.records"

// behind stops a ledger of which the read model has seen more: the numbers of its next records were given out before.
func (s *Site) behind(seen int64) error {
	path, size := filepath.Join(s.opts.Dir, seenFile), s.ledger.Size()
	kept, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: %w", seenFile, err)
	}
	if n, err := strconv.ParseInt(strings.TrimSpace(string(kept)), 10, 64); err == nil {
		seen = max(seen, n)
	}
	if seen <= size {
		if kept == nil {
			return nil
		}
		if err := os.Remove(path); !s.ledger.FilesOnly() { // the missing part was put back
			return err
		}
		return nil
	}
	if err := os.WriteFile(path, fmt.Appendln(nil, seen), 0o600); err != nil && !s.ledger.FilesOnly() {
		return err
	}
	if s.had = max(s.had, seen); s.opts.acceptLoss {
		return nil
	}
	if len(s.ledger.Damage()) == 0 { // which says what is wrong, and may hide records that a repair brings back
		s.stop(ledger.Problem{Seq: size + 1, What: fmt.Sprintf("there are %d records here, and this folder has judged %d: %s",
			size, seen, ledger.MissingText(size+1, seen))})
	}
	return nil
}

// remember holds the ledger against what others have seen of it.
func (s *Site) remember(ctx context.Context) error {
	problems, err := s.witnesses.contradictions(s.ledger)
	if err != nil {
		return err
	}
	stamped, _, err := s.timestamps.compare(s.Name(), s.ledger, s.timestamps.newest())
	if err != nil {
		return err
	}
	if problems = append(problems, stamped...); len(problems) == 0 {
		return nil
	}
	declared, err := s.losses(ctx)
	if err != nil {
		return err
	}
	for _, p := range problems {
		if s.had = max(s.had, p.seen.Size); s.opts.acceptLoss || p.declaredIn(declared) {
			continue
		}
		s.stop(p.Problem)
	}
	return nil
}

// losses returns what was declared lost of this ledger.
func (s *Site) losses(ctx context.Context) (out []*events.RecordsLost, err error) {
	items, err := s.lossItems(ctx)
	for _, it := range items {
		if d, ok := it.Event.Data.(*events.RecordsLost); ok {
			out = append(out, d)
		}
	}
	return out, err
}

func (s *Site) lossItems(ctx context.Context) (out []*facts.Item, err error) {
	name, _, _ := strings.Cut(s.Name(), "/")
	err = s.Ask(func(v *View) error {
		w := v.World(ctx)
		out = w.Losses(name)
		return w.Failed()
	})
	return out, err
}

// Loss is what was declared lost.
type Loss struct {
	Seq  int64 // the record that declares it
	Size int64 // records before that one
	Had  int64 // records there had been
}

// DeclareLoss opens a folder that is behind what it and its witnesses have seen of the ledger, and records that for
// good: every later history shows it. Where nothing is missing it returns ErrNothingLost.
func DeclareLoss(ctx context.Context, o Options, operator, reason string) (loss Loss, err error) {
	o.Existing, o.acceptLoss = true, true
	s, err := Open(ctx, o)
	if err != nil {
		return loss, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.writable(); err != nil {
		return loss, err // damaged, which repair sees to first
	}
	d := &events.RecordsLost{Size: s.Size(), Had: s.had, Reason: reason}
	if l := s.ledger.Loss(); l != nil {
		if d.Had <= l.Had {
			d.Had, d.Root = l.Had, fmt.Sprintf("%x", l.Root[:])
		}
	} else if d.Had == 0 {
		return loss, ErrNothingLost
	}
	receipts, err := s.Observe(ctx, &events.Observation{
		Station: s.Name(), Kind: events.KindRecordsLost, Time: o.Clock().UTC(), Operator: operator, Data: d,
	})
	if err != nil {
		return loss, err
	}
	if e := receipts[0].Error; e != "" {
		return loss, refusal.New("%s", e)
	}
	if err := s.ledger.LossDeclared(ctx); err != nil {
		return loss, err
	}
	if err := os.Remove(filepath.Join(s.opts.Dir, seenFile)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return loss, err
	}
	return Loss{Seq: receipts[0].Seq, Size: d.Size, Had: d.Had}, nil
}

// contradicting is a problem that a checkpoint shows.
type contradicting struct {
	ledger.Problem
	seen proof.Checkpoint
}

// declaredIn reports whether a loss was declared that explains the contradiction: of what the witness has seen, part was
// lost by then.
func (c *contradicting) declaredIn(ls []*events.RecordsLost) bool {
	for _, d := range ls {
		if d.Had >= c.seen.Size && (d.Size < c.seen.Size || d.Size >= d.Had) {
			return true
		}
	}
	return false
}
