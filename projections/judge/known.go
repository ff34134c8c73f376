package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TellKnown fills in, in verdicts that were made of a source's facts as of a moment (zero where none was set), when each
// finding was first known here, and which sets were used all the same. It tells what the verdicts as known at each moment
// before tell: no more of them are made than there are records that bear on one, and none once all is found.
func TellKnown(src facts.Source, now time.Time, vs []projections.Verdict) error {
	s := &seeing{src: src, kept: make(map[facts.DimKey][]facts.Fact), arounds: make(map[string][]*facts.Stretch)}
	for i := range vs {
		v := &vs[i]
		tell := s.tell
		if v.Station != "" {
			tell = s.tellStation
		}
		if len(v.Findings) == 0 {
			continue
		}
		if err := tell(v, now); err != nil {
			return err
		}
	}
	return nil
}

// tellStation does the same with what is found of a station's own records. That it fell silent was known as its time was
// over: what it recorded since would have ended it.
func (s *seeing) tellStation(v *projections.Verdict, now time.Time) error {
	s.arrivals, s.growing = make(map[time.Time][]int64), nil
	left := len(v.Findings)
	for i := range v.Findings {
		if f := &v.Findings[i]; f.Code == projections.StationSilent {
			f.Known = f.From
			left--
		}
	}
	for at := (time.Time{}); left > 0; {
		w := NewWorld(facts.AsKnownAt(s, at))
		then, err := w.JudgeStation(events.Station{Name: v.Station})
		if err != nil {
			return err
		}
		left -= s.first(v, &then, at)
		if at = s.after(at, time.Time{}); at.IsZero() || !now.IsZero() && at.After(now) {
			break
		}
	}
	return s.err
}

// tell goes from one moment at which a verdict can have changed to the next.
func (s *seeing) tell(v *projections.Verdict, now time.Time) error {
	k := projections.TripKey{Set: v.Set, Trip: v.Trip}
	s.arrivals, s.growing = nil, nil
	if s.held > heldAtMost {
		s.held = 0
		clear(s.kept)
		clear(s.arounds)
	}
	opened, err := openedAt(s, k, now)
	if err != nil {
		return err
	}
	s.arrivals = make(map[time.Time][]int64)
	var doubt *projections.UsedInDoubt // of the verdict as of the step before
	left := len(v.Findings)
	g := s.grow(k, now)
	for at := (time.Time{}); ; {
		then, err := g.judge(at)
		if err != nil {
			return err
		}
		left -= s.first(v, &then, at)
		doubt = s.doubted(doubt, &then, at)
		if then.Until.After(now) {
			then.Until = time.Time{}
		}
		next := g.next(then.Until)
		over := next.IsZero()
		if !opened.IsZero() && doubt != nil && !then.Opened && (over || next.After(opened)) && !at.After(opened) {
			doubt.Opened, v.UsedInDoubt = opened, doubt
			opened = time.Time{}
		}
		if over || left == 0 && (opened.IsZero() || next.After(opened)) {
			return s.err
		}
		at = next
	}
}

// openedAt is when a set was opened first by what is known now, zero where nobody has opened it.
func openedAt(src facts.Source, k projections.TripKey, now time.Time) (time.Time, error) {
	w := NewWorld(src)
	w.SetMoment(now)
	var at time.Time
	if its := w.openings(w.Trip(k)); len(its) > 0 {
		at = its[0].At()
	}
	return at, w.Failed()
}

// first notes the findings that a verdict as of a moment has for the first time, and returns how many.
func (s *seeing) first(v, then *projections.Verdict, at time.Time) (n int) {
	for i := range v.Findings {
		f := &v.Findings[i]
		if !f.Known.IsZero() {
			continue
		}
		if g := slices.IndexFunc(then.Findings, func(g projections.Finding) bool { return f.KnownAs(&g) }); g >= 0 {
			f.Known, f.KnownBy = at, s.by(at, then.Findings[g].Events)
			n++
		}
	}
	return n
}

// doubted returns since when, without a break, a set that nobody has opened is known not to be in order. An opening that was
// recorded of it by mistake, and taken back, is no break.
func (s *seeing) doubted(before *projections.UsedInDoubt, then *projections.Verdict, at time.Time) *projections.UsedInDoubt {
	switch {
	case then.Status != projections.Broken && then.Status != projections.Doubtful:
		return nil
	case before != nil || then.Opened:
		return before
	}
	worst := &then.Findings[0]
	return &projections.UsedInDoubt{Since: at, By: s.by(at, worst.Events), Code: worst.Code}
}

// seeing is a source that keeps what it was asked for, and when all that came.
type seeing struct {
	src      facts.Source
	kept     map[facts.DimKey][]facts.Fact
	arounds  map[string][]*facts.Stretch
	held     int                   // facts in these
	growing  *growing              // what is told of, nil for a station
	arrivals map[time.Time][]int64 // what a verdict can have changed by, and the records that came then
	err      error
}

// heldAtMost is how many facts are kept from one verdict to the next: more than any one rests on, some 200 MB.
const heldAtMost = 200_000

// Facts implements facts.Source.
func (s *seeing) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	k := facts.DimKey{Dim: dim, Key: key}
	fs, ok := s.kept[k]
	if !ok {
		var err error
		if fs, err = s.src.Facts(dim, key); err != nil {
			return nil, err
		}
		s.kept[k] = fs
		s.held += len(fs)
	}
	s.saw(fs)
	return fs, nil
}

// stretchOf is how many times what is asked for around a moment is fetched: the next moment is mostly close by.
const stretchOf = 4

// Around implements facts.Source. It may return more than was asked for.
func (s *seeing) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	i := slices.IndexFunc(s.arounds[set], func(x *facts.Stretch) bool { return x.Has(at, n) })
	if i < 0 {
		fs, err := s.src.Around(set, at, stretchOf*n)
		if err != nil {
			return nil, err
		}
		i = len(s.arounds[set])
		s.arounds[set] = append(s.arounds[set], facts.NewStretch(fs, set, at, stretchOf*n))
		s.held += len(fs)
	}
	fs := s.arounds[set][i].Facts
	s.saw(fs)
	return fs, nil
}

func (s *seeing) saw(fs []facts.Fact) {
	if s.arrivals == nil {
		return
	}
	if s.growing != nil {
		fs = s.growing.saw(fs)
	}
	for i := range fs {
		f := &fs[i]
		if at := s.arrivals[f.Recorded]; s.growing != nil || !slices.Contains(at, f.Seq) {
			s.arrivals[f.Recorded] = append(at, f.Seq)
		}
		for _, was := range f.Was {
			if _, ok := s.arrivals[was.Until]; !ok {
				s.arrivals[was.Until] = nil
			}
		}
	}
}

// after returns the next moment at which a verdict can be another, zero where there is none: another record comes that
// it asked for, or it held only until then.
func (s *seeing) after(at, until time.Time) time.Time {
	next := until
	if !next.After(at) {
		next = time.Time{}
	}
	for t := range s.arrivals {
		if t.After(at) && (next.IsZero() || t.Before(next)) {
			next = t
		}
	}
	return next
}

// by returns the record that came at a moment, of several the last that a finding rests on; 0 where only time passed.
func (s *seeing) by(at time.Time, rests []int64) int64 {
	came := s.arrivals[at]
	if len(came) == 0 {
		return 0
	}
	for _, seq := range slices.Backward(rests) {
		if slices.Contains(came, seq) {
			return seq
		}
	}
	return slices.Max(came)
}
