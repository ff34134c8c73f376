package site

import (
	"context"
	"hash/maphash"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
	"listbound/projections/judge"
)

// TellKnown says in verdicts of what is known now, or was at a moment that is given, when each finding was first known
// here and which sets were used all the same.
func (v *View) TellKnown(ctx context.Context, asOf time.Time, vs []projections.Verdict) error {
	if !asOf.IsZero() {
		return judge.TellKnown(v.known(ctx, asOf), asOf, vs)
	}
	var asked []projections.Verdict
	var places []int
	var marks []uint64
	for i := range vs {
		mark, ok := v.site.firsts.fill(&vs[i])
		if !ok {
			asked, places, marks = append(asked, vs[i]), append(places, i), append(marks, mark)
		}
	}
	if err := judge.TellKnown(v.Source(ctx), v.Moment(), asked); err != nil {
		return err
	}
	for n, i := range places {
		vs[i] = asked[n]
		v.site.firsts.keep(marks[n], &vs[i])
	}
	return nil
}

// firsts remembers when the findings of verdicts were first known: as long as a verdict stays what it is, that does too.
type firsts struct {
	mu   sync.Mutex
	seed maphash.Seed
	all  map[uint64]firstKnown
}

type firstKnown struct {
	known []time.Time
	by    []int64
	used  *projections.UsedInDoubt
}

// firstsAtMost bounds what is remembered: more than a board shows.
const firstsAtMost = 50000

// fill fills in what is remembered of a verdict. Its mark is what it is remembered by.
func (f *firsts) fill(v *projections.Verdict) (mark uint64, ok bool) {
	raw, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return 0, false
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.all == nil {
		f.seed, f.all = maphash.MakeSeed(), make(map[uint64]firstKnown)
	}
	mark = maphash.Bytes(f.seed, raw)
	x, ok := f.all[mark]
	if !ok || len(x.known) != len(v.Findings) {
		return mark, false
	}
	for i := range v.Findings {
		v.Findings[i].Known, v.Findings[i].KnownBy = x.known[i], x.by[i]
	}
	v.UsedInDoubt = x.used
	return mark, true
}

func (f *firsts) keep(mark uint64, v *projections.Verdict) {
	x := firstKnown{used: v.UsedInDoubt}
	for i := range v.Findings {
		x.known, x.by = append(x.known, v.Findings[i].Known), append(x.by, v.Findings[i].KnownBy)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.all) >= firstsAtMost {
		clear(f.all)
	}
	if mark != 0 {
		f.all[mark] = x
	}
}
