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
	return Answer(s, func(v *View) (*rates.Report, error) {
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
	if !(0 < usual && usual < raised && raised < 1) {
		return refusal.New("the raised rate, %g, must be above the usual one, %g, and both between 0 and 1 incident an opening",
			raised, usual)
	}
	if !q.Since.IsZero() && !q.Until.IsZero() && !q.Since.Before(q.Until) {
		return refusal.New("the time ends before it begins")
	}
	return nil
}
