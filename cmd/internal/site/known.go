package site

import (
	"context"
	"errors"
	"hash/maphash"
	"runtime"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// TellKnown says in verdicts of what is known now, or was at a moment that is given, when each finding was first known
// here and which sets were used all the same.
func (v *View) TellKnown(ctx context.Context, asOf time.Time, vs []projections.Verdict) error {
	if !asOf.IsZero() {
		return judge.TellKnown(v.known(ctx, asOf), asOf, vs)
	}
	return v.tellFirsts(ctx, vs, func(i int) uint64 { return v.firsts.mark(&vs[i]) })
}

// TellKnownOfRows does the same with rows of the board of now.
func (v *View) TellKnownOfRows(ctx context.Context, rows []readmodel.BoardRow) error {
	vs := make([]projections.Verdict, len(rows))
	for i := range rows {
		vs[i] = rows[i].Verdict
	}
	if err := v.tellFirsts(ctx, vs, func(i int) uint64 { return rows[i].Sum }); err != nil {
		return err
	}
	for i := range rows {
		rows[i].Verdict = vs[i]
	}
	return nil
}

// tellFirsts tells what is remembered under the mark of a verdict, and has told and remembers the rest.
func (v *View) tellFirsts(ctx context.Context, vs []projections.Verdict, markOf func(i int) uint64) error {
	var asked []projections.Verdict
	var places []int
	var marks []uint64
	for i := range vs {
		if mark := markOf(i); !v.firsts.fill(mark, &vs[i]) {
			asked, places, marks = append(asked, vs[i]), append(places, i), append(marks, mark)
		}
	}
	if err := v.tellAtOnce(ctx, asked); err != nil {
		return err
	}
	for n, i := range places {
		vs[i] = asked[n]
		v.firsts.keep(marks[n], &vs[i])
	}
	return nil
}

// tellAtOnce has many verdicts told on all processors.
func (v *View) tellAtOnce(ctx context.Context, vs []projections.Verdict) error {
	const least = 200 // for each, since facts that several verdicts rest on are read by each
	parts := min(runtime.GOMAXPROCS(0), len(vs)/least)
	if parts < 2 {
		return judge.TellKnown(v.Source(ctx), v.Moment(), vs)
	}
	size := (len(vs) + parts - 1) / parts
	errs := make([]error, parts)
	var wg sync.WaitGroup
	for n := range parts {
		part := vs[min(n*size, len(vs)):min((n+1)*size, len(vs))]
		wg.Go(func() { errs[n] = judge.TellKnown(v.Source(ctx), v.Moment(), part) })
	}
	wg.Wait()
	return errors.Join(errs...)
}

// firsts remembers when the findings of verdicts were first known: as long as a verdict stays what it is, that does too.
type firsts struct {
	mu  sync.Mutex
	all map[uint64]firstKnown
}

type firstKnown struct {
	known []time.Time
	by    []int64
	used  *projections.UsedInDoubt
}

// firstsAtMost bounds what is remembered: more than a board shows.
const firstsAtMost = 50000

var firstsSeed = maphash.MakeSeed()

// mark is what a verdict is remembered by; 0: by nothing.
func (f *firsts) mark(v *projections.Verdict) uint64 {
	raw, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return 0
	}
	return maphash.Bytes(firstsSeed, raw)
}

// fill fills in what is remembered of a verdict, if anything is.
func (f *firsts) fill(mark uint64, v *projections.Verdict) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	x, ok := f.all[mark]
	if !ok || len(x.known) != len(v.Findings) {
		return false
	}
	for i := range v.Findings {
		v.Findings[i].Known, v.Findings[i].KnownBy = x.known[i], x.by[i]
	}
	v.UsedInDoubt = x.used
	return true
}

func (f *firsts) keep(mark uint64, v *projections.Verdict) {
	x := firstKnown{used: v.UsedInDoubt}
	for i := range v.Findings {
		x.known, x.by = append(x.known, v.Findings[i].Known), append(x.by, v.Findings[i].KnownBy)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.all == nil || len(f.all) >= firstsAtMost {
		f.all = make(map[uint64]firstKnown)
	}
	if mark != 0 {
		f.all[mark] = x
	}
}
