package web

import (
	"net/url"
	"strconv"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
)

// ratesQuery reads a question for rates from a form: since and until (RFC 3339),
// usual and raised (incidents an opening), openings (1: each of them, too).
func (srv *Server) ratesQuery(v url.Values) (q site.RatesQuery, err error) {
	for _, x := range []struct {
		name string
		to   *time.Time
	}{{"since", &q.Since}, {"until", &q.Until}} {
		t := v.Get(x.name)
		if t == "" {
			continue
		}
		if *x.to, err = time.Parse(time.RFC3339Nano, t); err != nil {
			return q, refusal.New("%s %q is not an RFC 3339 time (for example 2026-03-04T07:12:00Z)", x.name, t)
		}
	}
	for _, x := range []struct {
		name string
		to   *float64
	}{{"usual", &q.Usual}, {"raised", &q.Raised}} {
		t := v.Get(x.name)
		if t == "" {
			continue
		}
		if *x.to, err = strconv.ParseFloat(t, 64); err != nil {
			return q, refusal.New("%s %q is not a rate (for example 0.001)", x.name, t)
		}
	}
	q.Openings = v.Get("openings") == "1"
	q.AsOf, err = srv.site.ReadMoment(v.Get("as-of"))
	return q, err
}

// FormatRatesQuery writes a question as ParseRatesQuery reads it.
func FormatRatesQuery(q site.RatesQuery) url.Values {
	v := url.Values{}
	for name, t := range map[string]time.Time{"since": q.Since, "until": q.Until} {
		if !t.IsZero() {
			v.Set(name, t.Format(time.RFC3339Nano))
		}
	}
	for name, f := range map[string]float64{"usual": q.Usual, "raised": q.Raised} {
		if f != 0 {
			v.Set(name, strconv.FormatFloat(f, 'g', -1, 64))
		}
	}
	if q.Openings {
		v.Set("openings", "1")
	}
	return FormatAsOf(v, q.AsOf)
}
