package commands

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/projections/rates"
)

// ratesFlags are what rates are asked for.
type ratesFlags struct {
	since, until, by               string
	usual, raised                  float64
	asOf                           string
	asJSON, asCSV, listsEachOpened bool
}

func (f *ratesFlags) query() (q site.RatesQuery, err error) {
	for _, x := range []struct {
		name, text string
		to         *time.Time
	}{{"since", f.since, &q.Since}, {"until", f.until, &q.Until}} {
		if x.text == "" {
			continue
		}
		if *x.to, err = time.Parse(time.RFC3339Nano, x.text); err != nil {
			return q, fmt.Errorf("--%s %q is not an RFC 3339 time (for example 2026-03-04T00:00:00Z)", x.name, x.text)
		}
	}
	if f.by != "" && !slices.Contains(rates.Ways(), rates.By(f.by)) {
		return q, fmt.Errorf("--by %q: openings are grouped by %s", f.by, ways())
	}
	if q.AsOf, err = parseAsOf(f.asOf); err != nil {
		return q, err
	}
	const thousand = 1000
	q.Usual, q.Raised, q.Openings = f.usual/thousand, f.raised/thousand, f.listsEachOpened
	return q, nil
}

func ways() string {
	var out []string
	for _, w := range rates.Ways() {
		out = append(out, string(w))
	}
	return strings.Join(out, ", ")
}

func (a *app) rates() *cobra.Command {
	var f ratesFlags
	c := command("rates", "says how often lists were wrong or missing, and what that shows",
		`Counts the sets that were opened and the incidents among them, by how the count
sheet travelled, by list, station, shift and month: with exact bounds, whether two
differ, and how many openings it takes until that can be told. An exchange between
two sets is one incident. None seen is never a rate of none. Shifts and months are
in the site's zone. --csv writes the groups, with --openings every opening, from
which all can be counted again; --json everything.`,
		"listbound rates --data d --by placement --since 2026-01-01T00:00:00Z",
		func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				r, err := s.Rates(cmd.Context(), q)
				switch {
				case err != nil:
					return err
				case f.asJSON:
					return a.printJSON(r)
				case f.listsEachOpened:
					return report.OpeningsCSV(a.env.Out, r)
				case f.asCSV:
					return report.RatesCSV(a.env.Out, r, rates.By(f.by))
				}
				report.AsOf(a.env.Out, q.AsOf)
				return report.Rates(a.env.Out, r, rates.By(f.by))
			})
		})
	c.Args = cobra.NoArgs
	fl := c.Flags()
	fl.StringVar(&f.since, "since", "", "openings from this moment on (RFC 3339)")
	fl.StringVar(&f.until, "until", "", "openings before this moment (RFC 3339)")
	addAsOf(c, &f.asOf)
	fl.StringVar(&f.by, "by", "", "one of "+ways()+"; all of them if left out")
	fl.Float64Var(&f.usual, "usual", 1000*rates.DefaultUsual, "incidents in 1,000 openings that are usual")
	fl.Float64Var(&f.raised, "raised", 1000*rates.DefaultRaised, "incidents in 1,000 openings that are watched for")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
	fl.BoolVar(&f.asCSV, "csv", false, "print the groups as CSV")
	fl.BoolVar(&f.listsEachOpened, "openings", false, "print every opening as CSV, or with --json among the rest")
	c.MarkFlagsMutuallyExclusive("json", "csv")
	return c
}
