package board

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// look is everything a history page says of one question at one moment.
type look struct {
	projections.History
	Traces   []projections.Trace   // of the verdicts, in their order
	Exchange *projections.Exchange // where sheets are known to be with other sets
	Tolerant time.Duration         // by how much two clocks may differ unremarked
	Trips    []projections.TripKey // all of a set's, where the page shows only some
	Pairs    []pair

	account *account // of a case
	turns   []turnOf // of a set, the last first
}

// pair is a trip and the one its sheet was exchanged with.
type pair struct {
	Finding    projections.Finding
	Of         projections.TripKey
	Mine, Hers projections.Trace
}

// tripsOnPage is how many turns of one set a page shows at once.
const tripsOnPage = 5

// asked reads what a page is asked for.
func asked(r *http.Request) (site.Query, error) {
	v := r.URL.Query()
	q := site.Query{Set: v.Get("set"), Trip: v.Get("trip"), Case: v.Get("case"), Load: v.Get("load")}
	given := 0
	for _, s := range []string{q.Trip, q.Case, q.Load} {
		if s != "" {
			given++
		}
	}
	if given > 1 || given == 0 && q.Set == "" {
		return q, refuse(http.StatusBadRequest, "ask for one of: a set, a trip, a case, a load")
	}
	q.AsOf = asOf(r)
	return q, nil
}

// look asks one question. Page counts a set's turns back from the latest, from 0.
func (p *pages) look(ctx context.Context, q site.Query, page int) (*look, error) {
	var l *look
	err := p.site.Ask(func(m *site.View) error {
		w := m.WorldAt(ctx, q.AsOf)
		var err error
		if l, err = lookAt(ctx, m, w, q, page); err != nil {
			return err
		}
		if len(l.Events) == 0 {
			return refusal.Say(fmt.Errorf("%w of %s", site.ErrNotFound, describe(q)), "nothing-of", cmp.Or(q.Trip, q.Case, q.Load, q.Set))
		}
		l.AsOf, l.Size = q.AsOf, m.Position()
		if err := m.TellKnown(ctx, q.AsOf, l.Verdicts); err != nil {
			return err
		}
		if q.AsOf.IsZero() {
			if err := m.TellIncidents(ctx, l.Verdicts); err != nil {
				return err
			}
		}
		if q.Case != "" {
			if l.account, err = accountOf(w, q.Case, l.Verdicts); err != nil {
				return err
			}
		}
		return l.open(w)
	})
	return l, err
}

func describe(q site.Query) string {
	s := "set " + q.Set
	switch {
	case q.Trip != "":
		s = "trip " + q.Trip
	case q.Case != "":
		s = "case " + q.Case
	case q.Load != "":
		s = "load " + q.Load
	}
	if !q.AsOf.IsZero() {
		s += " as known at " + q.AsOf.Format("2006-01-02 15:04:05") + " UTC"
	}
	return s
}

func lookAt(ctx context.Context, m *site.View, w *judge.World, q site.Query, page int) (*look, error) {
	l := new(look)
	of := projections.HistoryOf{Set: q.Set, Trip: q.Trip, Case: q.Case, Load: q.Load, AsOf: q.AsOf}
	switch {
	case q.Trip != "":
		set, ok, err := m.SetOfTrip(ctx, q.Trip)
		if err == nil && !ok {
			set, ok, err = m.JudgedTrip(ctx, q.Trip)
		}
		if err != nil {
			return nil, err
		}
		if !ok {
			return nil, refusal.Say(fmt.Errorf("%w of trip %s", site.ErrNotFound, q.Trip), "nothing-of", q.Trip)
		}
		if of.Set != "" && of.Set != set {
			return nil, refuse(http.StatusBadRequest, "trip %s is one of set %s, not of set %s", q.Trip, set, q.Set)
		}
		of.Set = set
	case q.Case == "" && q.Load == "":
		return l, l.ofSet(ctx, m, w, of, page)
	}
	if q.Load != "" && q.AsOf.IsZero() {
		keys, err := m.TripsOfLoad(ctx, q.Load)
		if err != nil {
			return nil, err
		}
		if of.Kept, err = m.Untroubled(ctx, keys); err != nil {
			return nil, err
		}
	}
	h, err := w.History(of)
	l.History = h
	return l, err
}

// ofSet shows some of a set's turns: a set has one every few days for years.
func (l *look) ofSet(ctx context.Context, m *site.View, w *judge.World, of projections.HistoryOf, page int) error {
	keys, err := m.TripsOfSet(ctx, of.Set)
	if err != nil {
		return err
	}
	if !of.AsOf.IsZero() {
		// As known then, a later turn had not begun.
		keys = w.TripsOf(of.Set, keys)
		if err := w.Failed(); err != nil {
			return err
		}
	}
	slices.Reverse(keys) // a trip's id begins with its time
	l.Trips = keys
	l.Set, l.AsOf = of.Set, of.AsOf
	from := min(page*tripsOnPage, len(keys))
	if l.turns, err = turnsOf(w, keys[from:min(from+turnsInTable, len(keys))]); err != nil {
		return err
	}
	in := make(map[int64]bool)
	for _, k := range keys[from:min(from+tripsOnPage, len(keys))] {
		h, err := w.History(projections.HistoryOf{Set: k.Set, Trip: k.Trip, AsOf: of.AsOf,
			Trips: []projections.TripKey{k}})
		if err != nil {
			return err
		}
		for _, v := range h.Verdicts {
			if v.Trip == k.Trip && !v.Since.IsZero() {
				l.Verdicts = append(l.Verdicts, v)
			}
		}
		for _, e := range h.Events {
			if !in[e.Seq] {
				in[e.Seq] = true
				l.Events = append(l.Events, e)
			}
		}
	}
	slices.SortStableFunc(l.Events, func(a, b projections.HistoryEvent) int { return a.Observed.Compare(b.Observed) })
	return nil
}

// open lays the chains open that the pictures need.
func (l *look) open(w *judge.World) error {
	l.Tolerant = time.Duration(events.DefaultPolicy().ClockToleranceSeconds) * time.Second
	for i := range l.Verdicts {
		v := &l.Verdicts[i]
		k := projections.TripKey{Set: v.Set, Trip: v.Trip}
		t, err := w.Trace(k)
		if err != nil {
			return err
		}
		l.Traces = append(l.Traces, t)
		if err := l.exchanged(w, k, t, v); err != nil {
			return err
		}
	}
	return nil
}

func (l *look) exchanged(w *judge.World, k projections.TripKey, t projections.Trace, v *projections.Verdict) error {
	for _, f := range v.Findings {
		if f.Code != projections.SheetSwapped && f.Code != projections.SheetInDoubt || f.Other == nil ||
			f.Other.Trip == "" {
			continue
		}
		if l.Exchange == nil {
			x, err := w.Exchange(k)
			if err != nil {
				return err
			}
			if len(x.Carries) > 0 {
				l.Exchange = &x
			}
		}
		if slices.ContainsFunc(l.Pairs, func(p pair) bool {
			return p.Of == *f.Other && p.Hers.Key == k || p.Of == k && p.Hers.Key == *f.Other
		}) {
			continue
		}
		other, err := w.Trace(*f.Other)
		if err != nil {
			return err
		}
		l.Pairs = append(l.Pairs, pair{Finding: f, Of: k, Mine: t, Hers: other})
	}
	return nil
}

// kindName is an event's kind without its envelope's decoration.
func kindName(kind string) string {
	return strings.TrimSuffix(strings.TrimPrefix(kind, "listbound."), ".v1")
}
