package site

import (
	"context"
	"slices"
	"time"

	"listbound/projections"
	"listbound/projections/ready"
)

// Incidents implements Service.
func (s *Site) Incidents(ctx context.Context, closed bool, at time.Time) ([]projections.Incident, error) {
	return AnswerAt(ctx, s, at, func(v *View) ([]projections.Incident, error) {
		ins, err := v.Incidents(ctx)
		if err != nil {
			return nil, err
		}
		now := at
		if now.IsZero() {
			now = s.Clock()
		}
		wishes, err := v.Wanted(ctx, now)
		if err != nil {
			return nil, err
		}
		ins = slices.DeleteFunc(ins, func(in projections.Incident) bool { return (in.State == projections.IncidentClosed) != closed })
		projections.Soonest(ins, ready.Starts(wishes))
		return ins, nil
	})
}

// TellIncidents says in verdicts of what is known now to which incident each finding belongs. What belongs to none, since it
// weighs nothing, is left as it is.
func (v *View) TellIncidents(ctx context.Context, vs []projections.Verdict) error {
	var ofStations []projections.IncidentPart
	at := make(map[projections.TripKey]*projections.Verdict)
	for i := range vs {
		switch {
		case vs[i].Station != "":
			ofStations = append(ofStations, projections.PartOf(&vs[i]))
		case len(projections.CausesOf(&vs[i])) > 0:
			at[projections.TripKey{Set: vs[i].Set, Trip: vs[i].Trip}] = &vs[i]
		}
	}
	for _, in := range projections.Incidents(ofStations, projections.Calendar{}) {
		for i := range vs {
			tellIncident(&in, &vs[i])
		}
	}
	if len(at) == 0 {
		return nil
	}
	ins, err := v.Incidents(ctx)
	for i := range ins {
		for _, x := range ins[i].Members {
			if told := at[x.TripKey]; told != nil {
				tellIncident(&ins[i], told)
			}
		}
	}
	return err
}

func tellIncident(in *projections.Incident, v *projections.Verdict) {
	for _, x := range in.Members {
		if x.Station != v.Station || x.Set != v.Set || x.Trip != v.Trip {
			continue
		}
		for _, n := range x.Findings {
			if n < len(v.Findings) {
				v.Findings[n].Incident = in.Key
			}
		}
	}
}
