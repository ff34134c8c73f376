package readmodel

import (
	"bytes"
	"context"
	"database/sql"
	"slices"

	"listbound/projections"
	"listbound/projections/facts"
)

// restingTrip is a trip whose verdict asked one question, of facts between two moments.
type restingTrip struct {
	until, since int64
	key          projections.TripKey
}

func (r *restingTrip) meets(a facts.Ask) bool { return r.until >= a.From && r.since <= a.To }

// resting are the trips that rest on what was asked about lately: each step of a set asks about the same few questions, and only the
// first one asks the tables. It is kept up to date with each verdict, written or not.
type resting struct {
	asks map[int64]*restingOn
	of   map[projections.TripKey][]int64         // the questions in asks under which a trip stands
	own  map[string]map[projections.TripKey]bool // the trips of an id
	most int                                     // mostAsks, less in tests
	many int                                     // mostResting, less in tests
}

// restingOn are those that rest on one question, but for what ended before a moment.
type restingOn struct {
	from  int64
	trips []restingTrip
}

// How many questions are kept until it begins anew, and how many rows and trips of one are worth keeping: on a policy each verdict
// rests, also where few did when it was adopted, and each of them would be looked for among all the others.
const (
	mostAsks     = 20_000
	mostRowsKept = 32
	mostResting  = 1000
)

func (r *resting) begin() {
	r.asks, r.of = make(map[int64]*restingOn), make(map[projections.TripKey][]int64)
	r.own = make(map[string]map[projections.TripKey]bool)
}

// keep keeps who rests on a question.
func (r *resting) keep(ask int64, on *restingOn) {
	if len(r.asks) >= r.most {
		r.begin()
	}
	r.asks[ask] = on
	for i := range on.trips {
		r.standsUnder(on.trips[i].key, ask)
	}
}

func (r *resting) standsUnder(k projections.TripKey, ask int64) {
	if of := r.of[k]; !slices.Contains(of, ask) {
		r.of[k] = append(of, ask)
	}
}

// judged puts what a trip's new verdict asked for in the place of what the last one did.
func (r *resting) judged(j *judged) {
	k := projections.TripKey{Set: j.Set, Trip: j.Trip}
	for _, ask := range r.of[k] {
		if on := r.asks[ask]; on != nil {
			on.trips = slices.DeleteFunc(on.trips, func(x restingTrip) bool { return x.key == k })
		}
	}
	delete(r.of, k)
	for _, x := range j.rests {
		on := r.asks[x.ask]
		switch {
		case on == nil:
		case len(on.trips) >= r.many:
			delete(r.asks, x.ask)
		default:
			on.trips = append(on.trips, restingTrip{x.until, x.since, k})
			r.standsUnder(k, x.ask)
		}
	}
	if own := r.own[k.Trip]; own != nil {
		own[k] = true
	}
}

// addResting adds the trips whose verdicts asked for what a fact is filed under.
func (m *Model) addResting(ctx context.Context, a facts.Ask, into map[projections.TripKey]struct{}) error {
	ask := askNumber(a.Dim, a.Key)
	on := m.resting.asks[ask]
	if on == nil || a.From < on.from {
		var err error
		if on, err = m.restingOn(ctx, ask, a); err != nil {
			return err
		}
	}
	for i := range on.trips {
		if x := &on.trips[i]; x.meets(a) {
			into[x.key] = struct{}{}
		}
	}
	if a.Dim == facts.DimTrip || a.Dim == facts.DimSheet {
		return m.addOwn(ctx, a.Key, into)
	}
	return nil
}

// restingOn asks who rests on a question, and keeps it where that is not too much.
func (m *Model) restingOn(ctx context.Context, ask int64, a facts.Ask) (*restingOn, error) {
	on := &restingOn{from: a.From, trips: m.behind.resting(ask)}
	rows, err := m.query(ctx, `SELECT until, since, owners FROM rests_on WHERE ask = ?1 AND until >= ?2 LIMIT ?3`,
		ask, a.From, mostRowsKept+1)
	found, many, err := m.unchanged(rows, err)
	if err != nil {
		return nil, err
	}
	if many <= mostRowsKept {
		on.trips = append(on.trips, found...)
		m.resting.keep(ask, on)
		return on, nil
	}
	rows, err = m.query(ctx, `SELECT until, since, owners FROM rests_on WHERE ask = ?1 AND until >= ?2 AND since <= ?3`, ask, a.From, a.To)
	found, _, err = m.unchanged(rows, err)
	on.trips = append(on.trips, found...)
	return on, err
}

// unchanged returns what rows of rests_on say of trips that have no newer verdict than the tables, and how many rows there were.
func (m *Model) unchanged(rows *sql.Rows, err error) (trips []restingTrip, n int, _ error) {
	found, err := scanAll(rows, err, func(r *restsRow) []any { return []any{&r.until, &r.since, &r.owners} })
	for _, row := range found {
		owned, err := row.owned()
		if err != nil {
			return nil, 0, err
		}
		for _, o := range owned {
			set, trip, _ := bytes.Cut(o.owner, []byte{0})
			k := projections.TripKey{Set: string(set), Trip: idString(trip)}
			if !m.behind.has(k) {
				trips = append(trips, restingTrip{o.until, o.since, k})
			}
		}
	}
	return trips, len(found), err
}

// addOwn adds the trips of an id.
func (m *Model) addOwn(ctx context.Context, trip string, into map[projections.TripKey]struct{}) error {
	own := m.resting.own[trip]
	if own == nil {
		own = m.behind.own(trip)
		found, err := m.keys(ctx, `SELECT set_id, trip FROM trips WHERE trip = ?1`, idBytes(trip))
		if err != nil {
			return err
		}
		for _, k := range found {
			own[k] = true
		}
		if len(m.resting.own) >= m.resting.most {
			m.resting.begin()
		}
		m.resting.own[trip] = own
	}
	for k := range own {
		into[k] = struct{}{}
	}
	return nil
}

// overdueTrips are those whose verdicts hold only until a moment that has passed.
func (m *Model) overdueTrips(ctx context.Context, into map[projections.TripKey]struct{}) error {
	a := facts.Passing(m.moment)
	rows, err := m.query(ctx, `SELECT until, since, owners FROM rests_on WHERE ask = ?1 AND until <= ?2`, askNumber(a.Dim, a.Key), a.To)
	found, _, err := m.unchanged(rows, err)
	for i := range found {
		if found[i].meets(a) {
			into[found[i].key] = struct{}{}
		}
	}
	return err
}
