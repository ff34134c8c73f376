package judge

import (
	"cmp"
	"slices"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
)

// growing is what was known of a trip from one moment to the next. Its world takes in each fact as it came, and is asked
// again only when one can bear on the verdict or time changes it: most of what is fetched for a trip, its load's and its
// bench's other sets above all, never does.
type growing struct {
	of      *seeing
	key     projections.TripKey
	timed   bool
	w       *World // nil before the first moment, and where one is to be made anew
	at      time.Time
	asks    []facts.Ask // what the verdict as of then rests on
	bearing *facts.Bearing
	waiting []facts.Fact // that were seen and come later, in order once sorted
	sorted  bool
	remarks []time.Time // at which remarks on what was seen changed
}

// grow begins before the first record.
func (s *seeing) grow(k projections.TripKey, now time.Time) *growing {
	s.growing = &growing{of: s, key: k, timed: !now.IsZero(), bearing: facts.NewBearing(k)}
	return s.growing
}

// saw takes in what was fetched and returns what of it is new.
func (g *growing) saw(fs []facts.Fact) []facts.Fact {
	fresh := g.bearing.Saw(fs)
	for i := range fresh {
		f := &fresh[i]
		for _, was := range f.Was {
			g.remarks = append(g.remarks, was.Until)
		}
		if f.Recorded.After(g.at) {
			g.waiting, g.sorted = append(g.waiting, *f), false
		}
	}
	return fresh
}

// Facts implements facts.Source with what was known at the moment.
func (g *growing) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	return facts.AsKnownAt(g.of, g.at).Facts(dim, key)
}

// Around implements facts.Source in the same way.
func (g *growing) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	return facts.AsKnownAt(g.of, g.at).Around(set, at, n)
}

// judge returns the verdict as of a moment, the first or what next returned.
func (g *growing) judge(at time.Time) (v projections.Verdict, err error) {
	g.at = at
	if g.w == nil {
		g.w = NewWorld(g)
	}
	if g.timed {
		g.w.SetMoment(at)
		g.w.Gen++ // what was derived may rest on what had not passed
	}
	v, g.asks, err = g.w.JudgeAsking(g.key)
	return v, err
}

// next goes to the next moment at which the verdict can be another, until then where time alone changes it, and takes in
// what had come by then. It returns zero where there is none.
func (g *growing) next(until time.Time) time.Time {
	if !g.sorted {
		slices.SortFunc(g.waiting, func(a, b facts.Fact) int {
			return cmp.Or(a.Recorded.Compare(b.Recorded), cmp.Compare(a.Seq, b.Seq))
		})
		g.sorted = true
	}
	if !until.After(g.at) {
		until = time.Time{}
	}
	for {
		next, remarked := g.soonest(until)
		if next.IsZero() {
			return next
		}
		g.at = next
		bears := remarked || next.Equal(until)
		if remarked {
			g.w = nil
		}
		for len(g.waiting) > 0 && g.waiting[0].Recorded.Equal(next) {
			f := g.waiting[0]
			g.waiting = g.waiting[1:]
			bears = bears || g.bearing.On(&f, g.asks)
			if g.w != nil {
				f.Remarks, f.Was = f.RemarksAt(next), nil
				g.w.Add(f)
			}
		}
		if bears {
			return next
		}
	}
}

// soonest returns the next moment at which anything that was seen came, or at which its remarks changed, or until then.
func (g *growing) soonest(until time.Time) (next time.Time, remarked bool) {
	next = until
	if len(g.waiting) > 0 && (next.IsZero() || g.waiting[0].Recorded.Before(next)) {
		next = g.waiting[0].Recorded
	}
	for _, t := range g.remarks {
		if t.After(g.at) && (next.IsZero() || !t.After(next)) {
			next, remarked = t, true
		}
	}
	return next, remarked
}
