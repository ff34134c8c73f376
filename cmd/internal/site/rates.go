package site

import (
	"context"

	"listbound/cmd/internal/refusal"
	"listbound/projections/rates"
)

// Rates implements Service.
func (s *Site) Rates(ctx context.Context, q RatesQuery) (*rates.Report, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	return AnswerAt(ctx, s, q.AsOf, func(v *View) (*rates.Report, error) {
		openings, err := v.Openings(ctx, q.Since, q.Until)
		if err != nil {
			return nil, err
		}
		// Of all times: what is found of one turn can be an incident with another, months before.
		found, err := v.FoundBy(ctx, rates.Codes())
		if err != nil {
			return nil, err
		}
		r := rates.NewReport(openings, rates.Incidents(found), rates.Options{
			Zone: s.Zone(), Since: q.Since, Until: q.Until, Usual: q.Usual, Raised: q.Raised,
		})
		if !q.Openings {
			r.Openings = nil
		}
		return r, nil
	})
}

func (q *RatesQuery) check() error {
	usual, raised := q.Usual, q.Raised
	if usual == 0 {
		usual = rates.DefaultUsual
	}
	if raised == 0 {
		raised = rates.DefaultRaised
	}
	// Nearer to each other they would take tens of thousands of incidents to be told apart.
	const least, most, apart = 0.00001, 0.1, 1.2
	if !(least <= usual && usual*apart <= raised && raised <= most) {
		return refusal.New(
			"the raised rate, %g, must be at least %g times the usual one, %g, and both between %g and %g incidents an opening",
			raised, apart, usual, least, most)
	}
	if !q.Since.IsZero() && !q.Until.IsZero() && !q.Since.Before(q.Until) {
		return refusal.New("the time ends before it begins")
	}
	return nil
}
