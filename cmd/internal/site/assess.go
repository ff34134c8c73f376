package site

import (
	"context"

	"listbound/cmd/internal/refusal"
	"listbound/projections/assess"
	"listbound/projections/rates"
)

// Assess implements Service.
func (s *Site) Assess(ctx context.Context, q AssessQuery) (*assess.Assessment, error) {
	if err := q.Choices.Check(); err != nil {
		return nil, refusal.Because(err)
	}
	times := RatesQuery{Since: q.Since, Until: q.Until}
	if err := times.check(); err != nil {
		return nil, err
	}
	return Answer(s, func(v *View) (*assess.Assessment, error) {
		openings, err := v.Openings(ctx, q.Since, q.Until)
		if err != nil {
			return nil, err
		}
		found, err := v.FoundBy(ctx, rates.Codes()) // of all times: see Rates
		if err != nil {
			return nil, err
		}
		l := assess.NewLedger(openings, found, q.Choices.Placements, rates.Options{Zone: s.Zone(), Since: q.Since, Until: q.Until})
		return assess.New(q.Choices, l, q.Seed)
	})
}
