package site

import (
	"context"

	"listbound/events"
)

// Permit says whether whoever hands an observation in may say it; its error is the
// refusal. Of a correction, of is the event that it is about, nil where nothing is recorded under its id.
type Permit func(o *events.Observation, of *events.Event) error

type permitKey struct{}

// WithPermit returns a context in which Record and Observe ask for each observation. In any other nobody is asked: it is
// the server's own, or that of whoever has the folder.
func WithPermit(ctx context.Context, p Permit) context.Context {
	return context.WithValue(ctx, permitKey{}, p)
}

func (in *intake) permitted(ctx context.Context, o *events.Observation) error {
	p, _ := ctx.Value(permitKey{}).(Permit)
	if p == nil {
		return nil
	}
	var of *events.Event
	if d, ok := o.Data.(*events.EventCorrected); ok {
		var err error
		if of, err = in.firstOf(d.Event); err != nil {
			return err
		}
	}
	return p(o, of)
}
