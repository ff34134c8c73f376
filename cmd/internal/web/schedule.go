package web

import (
	"io"
	"net/http"
	"net/url"

	"listbound/cmd/internal/site"
	"listbound/projections/schedule"
)

// importSchedule takes in a schedule as it stands in the body. The body is nowhere but in memory, and no part of it in an
// answer: patients stand in it.
func (srv *Server) importSchedule(r *http.Request) (any, error) {
	raw, err := io.ReadAll(io.LimitReader(r.Body, schedule.MaxBytes+1))
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	return srv.site.ImportSchedule(r.Context(), raw,
		site.ScheduleAsked{Operator: q.Get("operator"), Days: q.Get("days"), Check: q.Get("check") == "1"})
}

// FormatScheduleAsked writes how a schedule is taken in as importSchedule reads it.
func FormatScheduleAsked(asked site.ScheduleAsked) url.Values {
	v := url.Values{}
	for name, value := range map[string]string{"operator": asked.Operator, "days": asked.Days} {
		if value != "" {
			v.Set(name, value)
		}
	}
	if asked.Check {
		v.Set("check", "1")
	}
	return v
}
