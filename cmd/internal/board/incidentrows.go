package board

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/readmodel"
	"listbound/projections/ready"
)

// incidents returns those that a board shows, in its order, and counts them: with a turn that the filter means, and closed or
// not.
func (b *boardBody) incidents(
	ctx context.Context, m *site.View, f readmodel.BoardFilter, q url.Values,
) ([]projections.Incident, error) {
	ins, err := m.Incidents(ctx)
	if err != nil {
		return nil, err
	}
	var meant map[projections.TripKey]bool // nil: every turn
	if len(keep(q, "code", "list", "placement", "station", "site", "age", "unseen", "wanted")) > 0 {
		if meant, err = m.BoardKeys(ctx, f); err != nil {
			return nil, err
		}
	}
	ins = slices.DeleteFunc(ins, func(in projections.Incident) bool { return (in.State == projections.IncidentClosed) != b.Closed })
	b.Acts, b.standing = 0, slices.Clone(ins) // it may be asked again
	turns := make(map[projections.TripKey]bool)
	ins = slices.DeleteFunc(ins, func(in projections.Incident) bool {
		if !means(&in, meant, f.Code) {
			return true
		}
		for _, x := range in.Members {
			turns[x.TripKey] = true
		}
		if in.CanAct {
			b.Acts++
		}
		return false
	})
	b.Total, b.Turns = len(ins), len(turns)
	if b.Total > 0 {
		const hundred = 100
		b.Share = b.Acts * hundred / b.Total
	}
	projections.Soonest(ins, ready.Starts(b.wishes))
	if b.Wanted { // whatever else there is to say of them
		slices.SortStableFunc(ins, func(x, y projections.Incident) int { return projections.CompareDue(x.Wanted, y.Wanted) })
	}
	return ins, nil
}

// means reports whether an incident has a turn that is meant, and a finding of a code where one is asked for: a turn may be
// in another incident by that.
func means(in *projections.Incident, meant map[projections.TripKey]bool, code string) bool {
	if code != "" && !slices.Contains(in.Codes, projections.Code(code)) {
		return false
	}
	return meant == nil || slices.ContainsFunc(in.Members, func(x projections.IncidentMember) bool { return meant[x.TripKey] })
}

// incidentCursor is a place in the board's order: the next page begins after it, whatever came in before it meanwhile.
type incidentCursor struct {
	Key, Set, Trip   string
	Rank, Since, Due int64
	Wanted           int64
}

func placeOf(in *projections.Incident) incidentCursor {
	c := incidentCursor{Key: in.Key, Set: in.Members[0].Set, Trip: in.Members[0].Trip, Rank: in.Rank, Since: in.Since.UnixNano()}
	for _, t := range []struct {
		at time.Time
		to *int64
	}{{in.DueBy, &c.Due}, {in.Wanted, &c.Wanted}} {
		if !t.at.IsZero() {
			*t.to = t.at.UnixNano()
		}
	}
	return c
}

// incident is one that stands where the cursor is.
func (c incidentCursor) incident() *projections.Incident {
	in := &projections.Incident{Key: c.Key, Rank: c.Rank, Since: time.Unix(0, c.Since),
		Members: []projections.IncidentMember{{TripKey: projections.TripKey{Set: c.Set, Trip: c.Trip}}}}
	if c.Due != 0 {
		in.DueBy = time.Unix(0, c.Due)
	}
	if c.Wanted != 0 {
		in.Wanted = time.Unix(0, c.Wanted)
	}
	return in
}

// pageOf returns so many incidents after a place.
func pageOf(ins []projections.Incident, after *incidentCursor, limit int) []projections.Incident {
	if after != nil {
		last := after.incident()
		n := slices.IndexFunc(ins, func(in projections.Incident) bool { return projections.CompareIncidents(&in, last) > 0 })
		if n < 0 {
			return nil
		}
		ins = ins[n:]
	}
	return ins[:min(limit, len(ins))]
}

// manyRows is from how many rows on all of the board are read at once rather than each by itself.
const manyRows = 500

// nowhere is the place of a row that was not read.
const nowhere = -1

// errMoved is that records came between two questions of one page, so that what the one answered isn't in the other.
var errMoved = errors.New("records came while the board was read")

// laidOutNow lays out the incidents that are asked for, and asks anew where records came in between: a row of what was found
// before would be another finding's now.
func laidOutNow(
	ctx context.Context, m *site.View, most int, ask func() ([]projections.Incident, error),
) ([]boardRow, error) {
	const tries = 10 // each is refused once in some twenty, with 200 records a second
	for try := 1; ; try++ {
		ins, err := ask()
		if err != nil {
			return nil, err
		}
		rows, err := laidOut(ctx, m, ins, most)
		if try == tries || !errors.Is(err, errMoved) {
			return rows, err
		}
	}
}

// laidOut lays incidents out, each turn with what is found of it by that cause alone. Of a habit at most so many turns are
// (-1: all): it can be on every set that was opened in a week.
func laidOut(ctx context.Context, m *site.View, ins []projections.Incident, most int) ([]boardRow, error) {
	of := make(map[projections.TripKey]int)
	var keys []projections.TripKey
	for i := range ins {
		for _, x := range shownOf(&ins[i], most) {
			if _, ok := of[x.TripKey]; !ok {
				of[x.TripKey] = nowhere
				keys = append(keys, x.TripKey)
			}
		}
	}
	var all []readmodel.BoardRow
	var err error
	if len(keys) > manyRows {
		all, err = m.Board(ctx, readmodel.BoardFilter{}, nil, -1)
		all = slices.DeleteFunc(all, func(r readmodel.BoardRow) bool { _, ok := of[r.Place.Key]; return !ok })
	} else {
		all, err = m.BoardRowsOf(ctx, keys)
	}
	if err != nil {
		return nil, err
	}
	for i := range all {
		of[all[i].Place.Key] = i
	}
	if err := m.TellKnownOfRows(ctx, all); err != nil {
		return nil, err
	}
	out := make([]boardRow, len(ins))
	for i := range ins {
		out[i].Incident = &ins[i]
		if out[i].Habit, err = habitOf(ctx, m, &ins[i]); err != nil {
			return nil, err
		}
		for n, x := range shownOf(&ins[i], most) {
			if of[x.TripKey] == nowhere { // another set's row in its place would be read as its own
				return nil, fmt.Errorf("%w: turn %s of set %s is in incident %s, and has no row on the board",
					errMoved, x.Trip, x.Set, ins[i].Key)
			}
			r := all[of[x.TripKey]]
			if len(x.Findings) > 0 && slices.Max(x.Findings) >= len(r.Verdict.Findings) {
				return nil, fmt.Errorf("%w: turn %s of set %s has less found of it than incident %s says", errMoved,
					x.Trip, x.Set, ins[i].Key)
			}
			r.Verdict = only(&r.Verdict, x.Findings)
			if n == 0 {
				out[i].BoardRow = r
			} else {
				out[i].Others = append(out[i].Others, r)
			}
		}
	}
	return out, nil
}

// setsNamed is how many sets the head of a row names.
const setsNamed = 4

// beyond is how many more sets a row has than its head names.
func beyond(sets []projections.TripKey) int { return len(sets) - setsNamed }

// only is a verdict with some of its findings.
func only(v *projections.Verdict, places []int) projections.Verdict {
	out := *v
	out.Findings = nil
	for _, n := range places {
		out.Findings = append(out.Findings, v.Findings[n])
	}
	out.Status = projections.StatusOf(out.Findings, v.Status)
	return out
}

// tellBoard says in rows when their findings were first known here, and to which incidents they belong.
func tellBoard(ctx context.Context, m *site.View, rows []readmodel.BoardRow) error {
	if err := m.TellKnownOfRows(ctx, rows); err != nil {
		return err
	}
	vs := make([]projections.Verdict, len(rows))
	for i := range rows {
		vs[i] = rows[i].Verdict
	}
	if err := m.TellIncidents(ctx, vs); err != nil {
		return err
	}
	for i := range rows {
		rows[i].Verdict = vs[i]
	}
	return nil
}
