package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"listbound/projections/rates"
	"listbound/projections/rowtext"
)

// Rates writes how often lists were wrong or missing, for one way of grouping, or all
// where by is empty.
func Rates(w io.Writer, r *rates.Report, by rates.By) error {
	p := &printer{w: w}
	if r.All.Openings == 0 {
		p.f("No set was opened in this time.\n")
		return p.err
	}
	p.wrapped("", fmt.Sprintf("From %s to %s UTC %d sets were opened, %.1f a day. Of %d (%.0f %%) it was seen whose "+
		"count sheet they had. Incidents of a wrong or missing list that reached an opening: %d; found before one: %d. "+
		"An exchange between two sets is one incident, and so is a ring.",
		At(r.From), At(r.To), r.All.Openings, r.PerDay, r.All.Read, 100*r.All.ReadShare(), r.All.Incidents, r.Caught))
	for i := range r.Tables {
		if t := &r.Tables[i]; by == "" || t.By == by {
			ratesTable(p, t, by != "" || t.By == rates.ByPlacement)
		}
	}
	watch(p, &r.Watch)
	p.f("\n")
	p.wrapped("", "Rates are incidents in 1,000 openings, with the exact 95 % interval of what was read: openings whose sheet "+
		"nobody read count for what they can prove, which is less. What wasn't seen may have happened.")
	p.wrapped("", Caution)
	return p.err
}

// ratesTable writes one table; behind: with the sets that had the incidents, which are in
// each table the same.
func ratesTable(p *printer, t *rates.Table, behind bool) {
	p.f("\n")
	tw := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	_, err := fmt.Fprintf(tw, "%s\topenings\tread\tincidents\tper 1,000 openings\n", t.By)
	for i := range t.Groups {
		g := &t.Groups[i]
		if err == nil {
			_, err = fmt.Fprintf(tw, "%s\t%d\t%.0f %%\t%d\t%s\n", groupName(g.Name), g.Openings, 100*g.ReadShare(), g.Incidents,
				rateText(g))
		}
	}
	if err == nil {
		err = tw.Flush()
	}
	if p.err == nil {
		p.err = err
	}
	for i := range t.Groups {
		if g := &t.Groups[i]; behind && len(g.Trips) > 0 {
			var of []string
			for _, k := range g.Trips {
				of = append(of, k.Set+" "+k.Trip)
			}
			p.wrapped("  ", "Sets and trips, "+groupName(g.Name)+": "+strings.Join(of, ", "))
		}
	}
	for _, d := range t.Differences {
		p.wrapped("  ", difference(&d))
	}
}

func groupName(name string) string {
	if name == "" {
		return "not recorded"
	}
	return name
}

// rateText is a rate with its bounds; where nothing was seen, what can be ruled out.
func rateText(g *rates.Group) string {
	x := g.PerThousand
	if x.Rate == nil {
		if g.Weighed == 0 {
			return "nothing was read"
		}
		return "none seen; up to " + figures(x.Exact.High)
	}
	return fmt.Sprintf("%s (%s to %s)", figures(*x.Rate), figures(x.Exact.Low), figures(x.Exact.High))
}

// figures writes a number with three figures and without a power of ten, as pages do: 1000, not 1e+03.
func figures(v float64) string {
	const digits = 3
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil {
		rounded = v
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// difference says what can be said of two groups.
func difference(d *rates.Difference) string {
	pair := groupName(d.A) + " and " + groupName(d.B)
	if d.Rest {
		pair = groupName(d.A) + " and all others"
	}
	apart := ""
	if d.Apart {
		apart = " They are read differently often, which is allowed for."
	}
	switch d.Told {
	case rates.NotCompared:
		return pair + ": not compared, since of fewer than half of one it was seen whose sheet they had."
	case rates.Differs:
		return fmt.Sprintf("%s: they differ (p = %.2g, below %.2g); %s is the worse one with a probability of %.3f.%s",
			pair, d.P, d.Level, groupName(d.A), d.Worse, apart)
	}
	says := fmt.Sprintf("%s: can't tell yet (p = %.2g, not below %.2g; %s is the worse one with a probability of %.3f).",
		pair, d.P, d.Level, groupName(d.A), d.Worse)
	switch {
	case d.More == 0 && d.For == rates.Threefold:
		says += " There were enough openings to tell a threefold rate four times in five, and none was told."
	case d.More == 0 && d.For == rates.AsSeen:
		says += " Were it as it looks, these openings would have told it four times in five."
	case d.More == 0:
		says += " So small a difference can't be told by any number of openings that a site will see."
	case d.For == rates.Threefold:
		says += fmt.Sprintf(" A threefold rate could be told in about %s.", until(d))
	default:
		says += fmt.Sprintf(" If it is as it looks, it can be told in about %s.", until(d))
	}
	return says + apart
}

func until(d *rates.Difference) string {
	return fmt.Sprintf("%d more openings, %d days", d.More, d.Days)
}

func watch(p *printer, w *rates.Watch) {
	p.f("\n")
	said := map[rates.Decision]string{
		rates.Undecided: "has not decided yet", rates.TheLower: "decided for the lower one", rates.TheHigher: "decided for the higher one",
	}
	p.wrapped("", fmt.Sprintf("Watched for %s against %s in 1,000: Wald's test %s, after %d openings.",
		figures(1000*w.Usual), figures(1000*w.Raised), said[w.Decision], w.After))
	p.wrapped("", fmt.Sprintf("Bernoulli CUSUM: %d signals. It raises a false alarm once in %.0f openings and sees the raised rate "+
		"after %.0f, on average.", len(w.Signals), w.FalseAlarm, w.SeenIn))
	for i, o := range w.At {
		p.wrapped("  ", fmt.Sprintf("Signal after %d openings: %s %s, %s UTC.", w.Signals[i], o.Set, o.Trip, At(o.At)))
	}
}

// RatesCSV writes the groups as RFC 4180: one row for each group, rates in 1,000
// openings. A rate of none is empty.
func RatesCSV(w io.Writer, r *rates.Report, by rates.By) error {
	rows := [][]string{{"by", "group", "openings", "read", "incidents", "weighed", "rate", "low", "high", "poisson_low",
		"poisson_high", "midp_low", "midp_high"}}
	for i := range r.Tables {
		t := &r.Tables[i]
		for k := range t.Groups {
			if by == "" || t.By == by {
				rows = append(rows, groupRow(t.By, &t.Groups[k]))
			}
		}
	}
	return writeCSV(w, rows)
}

func groupRow(by rates.By, g *rates.Group) []string {
	f := func(v float64) string { return strconv.FormatFloat(v, 'g', 8, 64) }
	rate := ""
	if g.PerThousand.Rate != nil {
		rate = f(*g.PerThousand.Rate)
	}
	x := g.PerThousand
	return []string{string(by), rowtext.Inert(g.Name), fmt.Sprint(g.Openings), fmt.Sprint(g.Read), fmt.Sprint(g.Incidents),
		fmt.Sprint(g.Weighed), rate, f(x.Exact.Low), f(x.Exact.High), f(x.Poisson.Low), f(x.Poisson.High), f(x.MidP.Low),
		f(x.MidP.High)}
}

// OpeningsCSV writes every opening, from which all figures can be counted again:
// incident is the number of its incident, empty for none.
func OpeningsCSV(w io.Writer, r *rates.Report) error {
	rows := [][]string{{"set", "trip", "opened", "station", "list", "placement", "read", "incident"}}
	for _, o := range r.Openings {
		incident := ""
		if o.Incident > 0 {
			incident = fmt.Sprint(o.Incident)
		}
		rows = append(rows, []string{rowtext.Inert(o.Set), o.Trip, o.At.UTC().Format(time.RFC3339),
			rowtext.Inert(o.Station), rowtext.Inert(o.List),
			o.Placement, strconv.FormatBool(o.Read), incident})
	}
	return writeCSV(w, rows)
}

func writeCSV(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	return c.WriteAll(rows)
}
