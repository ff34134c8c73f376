package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/projections/readmodel"
)

// pastsKept is how many moments are kept at hand: one that is looked around in, one that it is compared with, and one of
// somebody else.
const pastsKept = 3

// pasts are read models as they would have been at earlier moments: of the records that had arrived by then, judged as of
// then. One is made when somebody asks, as a rebuild makes it, and thrown away when others are asked for. So every question
// about a moment is answered by what answers it about now, and nothing that came later can shine through.
type pasts struct {
	mu     sync.Mutex
	kept   []*past // the last one asked for first
	closed bool
	making sync.Mutex // one is made at a time: each takes as much memory as a rebuild
	cancel context.CancelFunc
}

// past is one of them.
type past struct {
	at     time.Time
	mu     sync.RWMutex // held by whoever asks; its end waits for them
	model  *readmodel.Model
	dir    string
	firsts firsts
}

// AskAt asks as Ask does, of what was known at a moment; zero is now.
func (s *Site) AskAt(ctx context.Context, at time.Time, question func(*View) error) error {
	if at.IsZero() {
		return s.Ask(question)
	}
	if at.After(s.opts.Clock()) {
		return refusal.New("%s is still to come: nothing was known then", at.Format(time.RFC3339))
	}
	for {
		x, err := s.pastAt(ctx, at)
		if err != nil {
			return err
		}
		if answered, err := x.ask(s, question); answered {
			return err
		}
	}
}

// AnswerAt asks for one thing, as known at a moment.
func AnswerAt[T any](ctx context.Context, s *Site, at time.Time, question func(*View) (T, error)) (out T, err error) {
	err = s.AskAt(ctx, at, func(v *View) error {
		out, err = question(v)
		return err
	})
	return out, err
}

// ask is false where the model has been thrown away meanwhile.
func (x *past) ask(s *Site, question func(*View) error) (answered bool, err error) {
	x.mu.RLock()
	defer x.mu.RUnlock()
	if x.model == nil {
		return false, nil
	}
	return true, s.Ask(func(*View) error { // the folder is in hand as long as a question is answered
		return question(&View{Model: x.model, site: s, at: x.at, firsts: &x.firsts})
	})
}

// end throws it away when nobody asks it any more.
func (x *past) end() error {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.model == nil {
		return nil
	}
	err := errors.Join(x.model.Close(), os.RemoveAll(x.dir))
	x.model = nil
	return err
}

// find returns the one of a moment, nil where there is none, and counts it as the last one asked for.
func (p *pasts) find(at time.Time) (*past, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil, refusal.ErrClosed
	}
	i := slices.IndexFunc(p.kept, func(x *past) bool { return x.at.Equal(at) })
	if i < 0 {
		return nil, nil
	}
	x := p.kept[i]
	p.kept = slices.Insert(slices.Delete(p.kept, i, i+1), 0, x)
	return x, nil
}

// keep puts one in, and throws away those that are too many.
func (p *pasts) keep(x *past) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return errors.Join(refusal.ErrClosed, x.end())
	}
	p.kept = slices.Insert(p.kept, 0, x)
	var errs []error
	for ; len(p.kept) > pastsKept; p.kept = p.kept[:pastsKept] {
		errs = append(errs, p.kept[len(p.kept)-1].end())
	}
	return errors.Join(errs...)
}

// drop throws all of them away.
func (p *pasts) drop() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	var errs []error
	for _, x := range p.kept {
		errs = append(errs, x.end())
	}
	p.kept = nil
	return errors.Join(errs...)
}

// close throws all of them away, and lets none be made any more.
func (p *pasts) close() error {
	p.mu.Lock()
	p.closed = true
	if p.cancel != nil {
		p.cancel()
	}
	p.mu.Unlock()
	p.making.Lock() // the one that was being made is given up
	defer p.making.Unlock()
	return p.drop()
}

// begin makes way for one that is to be made; nothing is made after close.
func (p *pasts) begin(ctx context.Context) (context.Context, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil, refusal.ErrClosed
	}
	ctx, p.cancel = context.WithCancel(ctx)
	return ctx, nil
}

// pastAt returns the read model as it would have been at a moment, and makes it where it isn't at hand.
func (s *Site) pastAt(ctx context.Context, at time.Time) (*past, error) {
	if x, err := s.pasts.find(at); x != nil || err != nil {
		return x, err
	}
	s.pasts.making.Lock()
	defer s.pasts.making.Unlock()
	if x, err := s.pasts.find(at); x != nil || err != nil { // others waited for the same
		return x, err
	}
	ctx, err := s.pasts.begin(ctx)
	if err != nil {
		return nil, err
	}
	defer s.pasts.cancel()
	x, err := s.makePast(ctx, at)
	if err != nil {
		return nil, fmt.Errorf("judging what was known at %s: %w", at.Format(time.RFC3339), err)
	}
	return x, nil
}

// makePast fills a read model with the records that had arrived by a moment. It waits while texts are taken out: they would
// stand in it.
func (s *Site) makePast(ctx context.Context, at time.Time) (x *past, err error) {
	ctx, ended, err := s.compares.begin(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = ended(err) }()
	upto, err := s.lastBy(at)
	if err != nil {
		return nil, err
	}
	dir, err := s.roomForModel()
	if err != nil {
		return nil, err
	}
	o := s.modelOptions(filepath.Join(dir, modelName))
	if o.Moment = at; !s.asOf.IsZero() && s.asOf.Before(at) {
		o.Moment = s.asOf
	}
	x = &past{at: at, dir: dir}
	if x.model, err = fill(ctx, s.ledger, o, upto, nil); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return x, s.pasts.keep(x)
}
