package site

import (
	"context"
	"slices"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/ready"
)

// ScheduleQuery asks for a day by the site's clocks, as 2026-03-04; "" for today. AsOf asks for it as it was known at a moment,
// which is today then; zero: now.
type ScheduleQuery struct {
	Day  string
	AsOf time.Time
}

// Day is a day's schedule, and whether what its cases want is there.
type Day struct {
	Day   string       `json:"day"`
	Zone  string       `json:"zone"`
	Now   time.Time    `json:"now"` // as of when it is said
	Cases []ready.Case `json:"cases"`
}

// Schedule implements Service.
func (s *Site) Schedule(ctx context.Context, q ScheduleQuery) (*Day, error) {
	now := s.Clock()
	if !q.AsOf.IsZero() {
		now = q.AsOf
	}
	zone := s.Zone()
	begin := now.In(zone)
	if q.Day != "" {
		var err error
		if begin, err = time.ParseInLocation(time.DateOnly, q.Day, zone); err != nil {
			return nil, refusal.New("day: %q is no day such as 2026-03-04", q.Day)
		}
	}
	y, m, d := begin.Date()
	begin = time.Date(y, m, d, 0, 0, 0, 0, zone)
	out := &Day{Day: begin.Format(time.DateOnly), Zone: zone.String(), Now: now.UTC()}
	return AnswerAt(ctx, s, q.AsOf, func(v *View) (*Day, error) {
		var err error
		out.Cases, err = v.CasesBetween(ctx, now, begin, begin.AddDate(0, 0, 1))
		return out, err
	})
}

// wantedAhead is how far ahead the board looks for cases that want a set: a day and the next, by the clock.
const wantedAhead = 36 * time.Hour

// Wanted says which cases that begin soon want which sets.
func (v *View) Wanted(ctx context.Context, now time.Time) (map[string]ready.Wish, error) {
	cases, err := v.CasesBetween(ctx, now, now.Add(-12*time.Hour), now.Add(wantedAhead))
	return ready.WantedBy(cases), err
}

// CasesBetween says how the cases stand that begin from a moment on and before another. Which set of a list is whose is told
// among them alone.
func (v *View) CasesBetween(ctx context.Context, now, from, until time.Time) ([]ready.Case, error) {
	refs, err := v.CasesPlanned(ctx, from, until)
	if err != nil {
		return nil, err
	}
	l := looker{v: v, ctx: ctx, w: v.World(ctx), now: now, sets: make(map[string]ready.Set), lists: make(map[string]bool)}
	plans := make([]ready.Plan, 0, len(refs))
	for _, ref := range refs {
		p, err := l.plan(ref)
		if err != nil {
			return nil, err
		}
		if p != nil && !p.Start.Before(from) && p.Start.Before(until) {
			plans = append(plans, *p)
		}
	}
	for i := range plans {
		if err := l.wanted(&plans[i]); err != nil {
			return nil, err
		}
	}
	sets := make([]ready.Set, 0, len(l.sets))
	for _, s := range l.sets {
		sets = append(sets, s)
	}
	return ready.Judge(now, plans, sets), l.w.Failed()
}

// looker looks at cases and at the sets that they want.
type looker struct {
	v     *View
	ctx   context.Context
	w     *judge.World
	now   time.Time
	sets  map[string]ready.Set
	lists map[string]bool // looked through
}

// plan is what stands of a case, nil for one of which all was taken back.
func (l *looker) plan(ref string) (*ready.Plan, error) {
	planned := l.w.Planned(ref)
	if err := l.w.Failed(); err != nil || len(planned) == 0 {
		return nil, err
	}
	it := planned[len(planned)-1]
	d := facts.PlanOf(it)
	p := &ready.Plan{Case: ref, State: d.State, Room: d.Room, Start: d.StartsAt(), Said: facts.SaidAt(it), Seq: it.Seq, Sets: d.Sets,
		Lists: d.Lists, Unknown: d.Unknown}
	for _, k := range l.w.CaseTrips(ref) {
		s, err := l.set(k)
		if err != nil {
			return nil, err
		}
		s.State, s.For = ready.Opened, ref
		p.Opened = append(p.Opened, s)
	}
	for _, x := range l.w.CaseFacts(ref) {
		if c, ok := x.Data.(*events.CaseClosed); ok && !x.Void && c.Case == ref {
			p.Closed = true
		}
	}
	return p, l.w.Failed()
}

// wanted looks at what a case wants.
func (l *looker) wanted(p *ready.Plan) error {
	for _, name := range p.Sets {
		trip, err := l.w.TripAt(name, l.now)
		if err != nil {
			return err
		}
		if trip != "" {
			if err := l.keep(projections.TripKey{Set: name, Trip: trip}); err != nil {
				return err
			}
		}
	}
	for _, x := range p.Lists {
		if l.lists[x.List] {
			continue
		}
		l.lists[x.List] = true
		keys, err := l.v.Unopened(l.ctx, x.List)
		if err != nil {
			return err
		}
		for _, k := range keys {
			if err := l.keep(k); err != nil {
				return err
			}
		}
	}
	return nil
}

func (l *looker) keep(k projections.TripKey) error {
	if _, ok := l.sets[k.Set]; ok {
		return nil
	}
	s, err := l.set(k)
	if err == nil {
		l.sets[k.Set] = s
	}
	return err
}

// set is how a set stands in a turn.
func (l *looker) set(k projections.TripKey) (ready.Set, error) {
	s := ready.Set{TripKey: k, State: ready.InWork}
	v, err := l.v.Verdict(l.ctx, k)
	if err != nil || v == nil {
		return s, err
	}
	c := l.w.Trip(k)
	p, _, err := l.w.PolicyAt(SiteOf(l.v.site.Name()), l.now)
	if err != nil {
		return s, err
	}
	if pack := facts.PackOf(c.LastPack()); pack != nil {
		s.List = pack.List
	}
	if c.List != nil {
		s.Title = c.List.Title
	}
	s.Where, s.Since = v.Where, v.Since
	for _, f := range v.Findings {
		if f.Severity != projections.SeverityNoted {
			s.Code = f.Code
			break
		}
	}
	sealed := len(c.Sealed) > 0 || !slices.Contains(p.Links, events.KindListSealed)
	released := !slices.Contains(p.Links, events.KindSetSterilized)
	if n := len(c.Sterilized); n > 0 {
		run := facts.RunOf(c.Sterilized[n-1])
		if released = run.Result == "passed" && run.Released; released {
			s.Ready = c.Sterilized[n-1].At()
		}
	}
	switch {
	case v.Opened:
		s.State, s.For = ready.Out, c.CaseRef
	case v.Status == projections.Broken:
		s.State = ready.Broken
	case v.Status == projections.Doubtful:
		s.State = ready.Doubtful
	case sealed && released:
		s.State = ready.Whole
	}
	return s, l.w.Failed()
}
