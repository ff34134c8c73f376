package site

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/ledger"
)

// request is what one caller hands in to be recorded. Those that wait at the same time go into the ledger in one round:
// its append, its sync of the disk and the transaction of judgement cost hardly more for many lines than for one. Each
// has its own answer, and a request that is refused costs the others nothing.
type request struct {
	ctx   context.Context
	lines []line
	all   bool               // all of its lines or none
	play  func(at time.Time) // sets the clock as each line arrives, in a week that is played; nil: it goes by itself
	taken bool               // a round has seen to it: the lines have their receipts, or err says why not
	err   error
	done  int           // with an error, how many of its first lines have their receipts
	over  chan struct{} // closed when a round has seen to it; nil where nobody waits for that
}

// requests are those that no round has taken, in the order in which they came.
type requests struct {
	mu   sync.Mutex
	list []*request
}

func (q *requests) add(r *request) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.list = append(q.list, r)
}

// next takes the first ones, of so many lines together or less, but at least one.
func (q *requests) next(lines int) []*request {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := 0
	for n < len(q.list) && (n == 0 || len(q.list[n].lines) <= lines) {
		lines -= len(q.list[n].lines)
		n++
	}
	out := q.list[:n:n]
	q.list = q.list[n:]
	return out
}

// take brings lines into the ledger, with those that others hand in meanwhile. Where all is asked for, one refused line
// refuses all. What is no refusal stops everything of the request before anything of it is stored, but for an outcome that
// isn't known: then its first lines may be in the ledger, which the next round reads before anything else.
func (s *Site) take(ctx context.Context, batch []line, all bool) error {
	return s.hand(&request{ctx: ctx, lines: batch, all: all})
}

// hand has a request taken.
func (s *Site) hand(r *request) error {
	r.over = make(chan struct{})
	s.requests.add(r)
	if !s.intake.LockUnless(r.over) { // whoever had the intake before has seen to it
		return r.err
	}
	defer s.intake.Unlock()
	for !r.taken {
		s.round(s.requests.next(s.opts.Batch))
	}
	return r.err
}

// round brings the lines of some requests into the ledger, in steps that can be told apart: each line
// is identified, what it refers to is resolved, and it is signed (intake); all
// are appended as one; the verdicts follow; and each line gets its receipt. The caller holds s.intake.
func (s *Site) round(rs []*request) {
	for _, r := range rs {
		r.taken, r.err = true, r.ctx.Err()
	}
	// A caller who has gone ends nothing that others wait for.
	ctx := context.WithoutCancel(rs[0].ctx)
	in, err := s.prepare(ctx, rs)
	if err == nil {
		err = s.store(ctx, in, rs)
	}
	s.addenda.takeBackFlush() // where it came to no append
	for _, r := range rs {
		if r.err == nil {
			r.err = err
		}
		if r.over != nil {
			close(r.over)
		}
	}
}

// prepare makes the entries of all requests that are not refused.
func (s *Site) prepare(ctx context.Context, rs []*request) (*intake, error) {
	for here := false; ; {
		in, err := s.begin(ctx)
		if err != nil {
			return nil, err
		}
		open := slices.DeleteFunc(slices.Clone(rs), func(r *request) bool { return r.err != nil })
		if !here {
			in.beside = signBeside(linesOf(open))
		}
		whole := in.enterAll(rs)
		if whole && in.beside != nil {
			s.addenda.beginFlush() // while the signatures are made
		}
		signed := in.signedBeside()
		in.beside.end()
		switch {
		case s.knowsAll() != nil:
			// What was known of the ledger when this began isn't any more, so neither is who may refer to what: all of it is
			// begun again.
			takeBack(open)
		case !signed:
			// No record may hold one of the lines. It is refused where it stands then, and who was refused because of it is not.
			takeBack(open)
			here = true
		case whole:
			return in, nil
		}
		// Or a request was refused after something of it had been entered, which its other lines and those of others may refer
		// to: the round is begun again without it. That is rare, and one way back is enough.
		in.model.Unexpect(ctx)
		s.addenda.takeBackFlush()
	}
}

// takeBack forgets why requests were refused.
func takeBack(rs []*request) {
	for _, r := range rs {
		r.err = nil
	}
}

func linesOf(rs []*request) (n int) {
	for _, r := range rs {
		n += len(r.lines)
	}
	return n
}

// knowsAll returns nil while the read model knows all that is recorded, as it did when the intake was begun. Where what was judged
// could not be written, it goes back to what is, whatever goes on meanwhile: a station's next record would have the number of one
// that is there, which the ledger refuses, and a trip that was just packed would be none. The caller holds s.intake.
func (s *Site) knowsAll() error {
	if s.current().Position() == s.ledger.Size() {
		return nil
	}
	s.badges, s.gone = nil, nil // they may have been asked of what it had gone back to
	return s.whyBehind()
}

// whyBehind says why less is known than is recorded.
func (s *Site) whyBehind() error {
	if lag := s.lag.Load(); lag != nil {
		return lag.why
	}
	return errGoneBack
}

var errGoneBack = errors.New("the read model has gone back to what is written of it; try again")

// enterAll enters the lines of all requests that aren't refused yet. It reports whether each was entered whole or not at all.
func (in *intake) enterAll(rs []*request) bool {
	for _, r := range rs {
		if r.err != nil {
			continue
		}
		before := len(in.entries)
		in.own = nil
		for i := range r.lines {
			l := &r.lines[i]
			l.again()
			if in.at = l.at; r.play != nil {
				r.play(l.at)
			}
			in.prepare(context.WithoutCancel(r.ctx), l)
			if l.err == nil || refusal.Is(l.err) && !r.all {
				continue
			}
			if r.err = l.err; len(in.entries) > before {
				return false
			}
			break
		}
		if r.err == nil && in.own.asked() > 0 {
			r.err = &UnsignedError{in.own.unsigned}
			// Nothing is recorded of it, so nobody else may refer to it.
			return false
		}
	}
	return true
}

// again forgets what an earlier attempt made of a line.
func (l *line) again() {
	*l = line{n: l.n, at: l.at, obs: l.obs, unread: l.unread, id: l.id, unidentified: l.unidentified}
}

// store appends what was prepared and answers the requests.
func (s *Site) store(ctx context.Context, in *intake, rs []*request) error {
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		in.model.Unexpect(ctx)
	}
	if err != nil && len(stored) == 0 {
		return err
	}
	behind := s.lagging() > 0
	for _, r := range rs {
		if r.err == nil {
			r.complete(stored, behind, err != nil)
		}
	}
	return err
}

// complete gives lines their receipts: where the round was cut off, those before the first that is not stored.
func (r *request) complete(stored []ledger.Appended, behind, cutOff bool) {
	for i := range r.lines {
		l := &r.lines[i]
		if cutOff && l.entries > len(stored) {
			return
		}
		l.complete(stored, behind)
		r.done = i + 1
	}
}
