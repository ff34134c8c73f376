package board

import (
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/rates"
)

// ratesBody is the page of how often lists were wrong or missing.
type ratesBody struct {
	From, Until string // as asked for
	Report      *rates.Report
	Summary     []string
	Sections    []ratesSection
	Watch       []string
	Signals     *table // nil where there is none
	Charts      []ratesChart
	Only        string // the group whose incidents alone are shown
	All         string // address of all of them
	Incidents   *table
	Openings    *table // to be taken away only: it is as long as the time
}

// ratesSection is what is counted by one thing.
type ratesSection struct {
	Title       string
	Picture     template.HTML
	Groups      *table
	Differences *table
}

// ratesChart is a control chart, with all its points beside it.
type ratesChart struct {
	Title, About string
	Picture      template.HTML
	Points       *table
}

func (p *pages) ratesPage(r *http.Request, words *shell.Words) (*answer, error) {
	b := &ratesBody{From: r.FormValue("from"), Until: r.FormValue("to")}
	q := site.RatesQuery{Openings: true, AsOf: asOf(r)}
	var err error
	if q.Since, err = moment(words, b.From, words.T("board.column-from")); err != nil {
		return nil, err
	}
	if q.Until, err = moment(words, b.Until, words.T("board.column-until")); err != nil {
		return nil, err
	}
	if b.Report, err = p.site.Rates(r.Context(), q); err != nil {
		return nil, err
	}
	a := &answer{template: "rates", title: words.T("board.rates"), body: b, wide: true}
	if b.Report.All.Openings == 0 {
		return a, nil
	}
	v := ratesView{words: words, r: b.Report, asked: r.URL.Query()}
	b.Summary = v.summary()
	for i := range b.Report.Tables {
		s := v.section(&b.Report.Tables[i])
		b.Sections = append(b.Sections, s)
		a.tables = append(a.tables, s.Groups)
		if s.Differences != nil {
			a.tables = append(a.tables, s.Differences)
		}
	}
	b.Watch, b.Charts = v.watch(), v.charts()
	if at := b.Report.Watch.At; len(at) > 0 {
		b.Signals = v.openings("rates-signals", "board.rates-signals", at)
		a.tables = append(a.tables, b.Signals)
	}
	for _, c := range b.Charts {
		a.tables = append(a.tables, c.Points)
	}
	only := v.only()
	of := slices.DeleteFunc(slices.Clone(b.Report.Openings), func(o rates.Counted) bool {
		return only != nil && !only(&o.Opening)
	})
	shown := slices.DeleteFunc(slices.Clone(of), func(o rates.Counted) bool { return o.Incident == 0 })
	b.Incidents = v.openings("rates-incidents", "board.rates-incidents", shown)
	const every = "rates-openings"
	if r.FormValue("table") == every { // the page doesn't show its rows, and a year has 100,000
		shown = of
	}
	b.Openings = v.openings(every, "board.rates-openings", shown)
	a.tables = append(a.tables, b.Incidents, b.Openings)
	if only != nil {
		b.Only, b.All = v.name(v.asked.Get("group"), rates.By(v.asked.Get("by"))), v.link("", "")
	}
	return a, nil
}

// ratesView puts a report into the words of a page.
type ratesView struct {
	words *shell.Words
	r     *rates.Report
	asked url.Values
}

func (v *ratesView) figures(x float64, digits int) string {
	return v.words.Language().Figures(x, digits)
}

// value is a number as the language writes it, and in files with a point.
func (v *ratesView) value(x float64, digits int) cell {
	return cell{Text: v.figures(x, digits), Value: x}
}

func (v *ratesView) percent(g *rates.Group) cell {
	return cell{Text: v.figures(100*g.ReadShare(), 3) + " %", Value: g.ReadShare()}
}

func (v *ratesView) summary() []string {
	r, w := v.r, v.words
	return []string{
		w.T("board.rates-opened", r.All.Openings, w.Time(r.From), w.Time(r.To), v.figures(r.PerDay, 3)),
		w.T("board.rates-read", v.percent(&r.All).Text),
		w.T("board.rates-reached", r.All.Incidents, r.Caught),
	}
}

// name is a group's, in words.
func (v *ratesView) name(group string, by rates.By) string {
	switch {
	case group == "":
		return v.words.T("board.rates-unrecorded")
	case by == rates.ByPlacement:
		return v.words.T("board.placement-" + group)
	}
	return group
}

// link is the address of the incidents of one group, or of all.
func (v *ratesView) link(by rates.By, group string) string {
	q := url.Values{}
	for _, keep := range []string{"from", "to", "lang"} {
		if x := v.asked.Get(keep); x != "" {
			q.Set(keep, x)
		}
	}
	if by != "" {
		q.Set("by", string(by))
		q.Set("group", group)
	}
	return "/rates?" + q.Encode() + "#cap-rates-incidents"
}

// only returns what leaves out all openings but those of the group that was asked for,
// nil where there is no such group.
func (v *ratesView) only() func(*rates.Opening) bool {
	by, name := rates.By(v.asked.Get("by")), v.asked.Get("group")
	if !slices.ContainsFunc(v.r.Tables, func(t rates.Table) bool {
		return t.By == by && slices.ContainsFunc(t.Groups, func(g rates.Group) bool { return g.Name == name })
	}) {
		return nil
	}
	return func(o *rates.Opening) bool { return by.Group(o, v.words.Zone()) == name }
}

func (v *ratesView) section(t *rates.Table) ratesSection {
	s := ratesSection{Title: v.words.T("board.rates-by-" + string(t.By))}
	s.Groups = newTable(v.words, "rates-"+string(t.By), "board.rates-groups", "rates-group", "rates-openings", "rates-read",
		"rates-incidents", "rates-rate", "rates-low", "rates-high", "rates-midp-low", "rates-midp-high")
	s.Groups.Title = s.Title
	for i := range t.Groups {
		g := &t.Groups[i]
		x := g.PerThousand
		rate := cell{Text: v.words.T("board.rates-none-seen")}
		if x.Rate != nil {
			rate = v.value(*x.Rate, 3)
		}
		behind := v.link(t.By, g.Name)
		s.Groups.add(text(v.name(g.Name, t.By)).to(behind), number(g.Openings), v.percent(g), number(g.Incidents).to(behind), rate,
			v.value(x.Exact.Low, 3), v.value(x.Exact.High, 3), v.value(x.MidP.Low, 3), v.value(x.MidP.High, 3))
	}
	if t.By != rates.ByMonth && len(t.Groups) > 1 {
		s.Picture = v.intervals(t, s.Title)
	}
	if len(t.Differences) > 0 {
		s.Differences = v.differences(t, s.Title)
	}
	return s
}

func (v *ratesView) differences(t *rates.Table, title string) *table {
	out := newTable(v.words, "rates-differences-"+string(t.By), "board.rates-groups", "rates-group", "rates-against", "rates-told",
		"rates-p", "rates-level", "rates-worse", "rates-more", "rates-days")
	out.Title = v.words.T("board.rates-differences", title)
	for _, d := range t.Differences {
		against := v.words.T("board.rates-others")
		if !d.Rest {
			against = v.name(d.B, t.By)
		}
		told := v.words.T("board.rates-told-" + string(d.Told))
		if d.Apart && d.Told != rates.NotCompared {
			told += " " + v.words.T("board.rates-apart")
		}
		more, days := cell{}, cell{}
		if d.More > 0 {
			told += " " + v.words.T("board.rates-for-"+string(d.For))
			more, days = number(d.More), number(d.Days)
		} else if d.For == rates.Threefold {
			told += " " + v.words.T("board.rates-enough")
		}
		out.add(text(v.name(d.A, t.By)), text(against), text(told), v.value(d.P, 2), v.value(d.Level, 2), v.value(d.Worse, 3),
			more, days)
	}
	return out
}

func (v *ratesView) watch() []string {
	w := v.r.Watch
	return []string{
		v.words.T("board.rates-watched", v.figures(1000*w.Usual, 3), v.figures(1000*w.Raised, 3)),
		v.words.T("board.rates-wald-"+string(w.Decision), w.After),
		v.words.T("board.rates-cusum", len(w.Signals), v.figures(w.FalseAlarm, 3), v.figures(w.SeenIn, 3)),
	}
}

// charts are those that there is enough of.
func (v *ratesView) charts() []ratesChart {
	c := v.r.Charts
	var times []string
	for _, t := range c.Times {
		times = append(times, v.words.Time(t))
	}
	var out []ratesChart
	months := make([]string, len(c.Months))
	for i, m := range c.Months {
		months[i] = v.link(rates.ByMonth, m)
	}
	at := make([]string, len(c.Times))
	for i, t := range c.Times {
		at[i] = v.behind(t)
	}
	add := func(id string, chart *rates.Chart, labels, behind []string, more bool, unit float64) {
		if chart == nil || len(chart.Points) == 0 {
			return
		}
		x := ratesChart{Title: v.words.T("board.rates-chart-" + id), About: v.words.T("board.rates-about-" + id)}
		if chart.TooRare {
			x.About += " " + v.words.T("board.rates-too-rare")
		}
		x.Points = v.points(id, chart, labels, behind, more, unit)
		x.Points.Title = x.Title
		x.Picture = v.control(id, x.Title, chart, unit)
		out = append(out, x)
	}
	add("shares", c.Shares, c.Months, months, true, 1000)
	add("gaps", c.Gaps, times, at, false, 1)
	add("days", c.Days, times, at, false, 1)
	return out
}

// behind is the address of the chain of the incident that was met at a moment; empty where the report doesn't say which.
func (v *ratesView) behind(at time.Time) string {
	for i := range v.r.Openings {
		if o := &v.r.Openings[i]; o.Incident > 0 && o.At.Equal(at) {
			return tripLink(o.Set, o.Trip)
		}
	}
	return ""
}

// points are a chart's; more: a point above the limits means more incidents, not fewer.
func (v *ratesView) points(id string, c *rates.Chart, labels, behind []string, more bool, unit float64) *table {
	t := newTable(v.words, "rates-chart-"+id, "board.rates-groups", "no", "rates-when", "rates-value", "rates-low", "rates-high",
		"rates-signal")
	for i, p := range c.Points {
		says := ""
		for _, s := range p.Signals {
			if says != "" {
				says += " "
			}
			way := "board.rates-fewer"
			if s.High == more {
				way = "board.rates-more-often"
			}
			says += v.words.T("board.rates-rule-"+string(s.Rule), v.words.T(way), s.Rule.Source())
		}
		t.add(number(int64(i+1)), text(labels[i]).to(behind[i]), v.value(p.Value*unit, 3), v.value(p.Low*unit, 3), v.value(p.High*unit, 3),
			text(says))
	}
	return t
}

// openings lists some openings.
func (v *ratesView) openings(id, title string, of []rates.Counted) *table {
	t := newTable(v.words, id, title, "rates-incident", "set", "trip", "opened-at", "station", "list", "placement", "rates-seen")
	for i := range of {
		o := &of[i]
		incident, read := cell{}, v.words.T("board.rates-unseen")
		if o.Incident > 0 {
			incident = number(o.Incident)
		}
		if o.Read {
			read = v.words.T("board.rates-seen")
		}
		t.add(incident, text(o.Set).to(tripLink(o.Set, "")), text(o.Trip).to(tripLink(o.Set, o.Trip)), when(v.words, o.At),
			text(o.Station).to(stationLink(o.Station)), text(o.List), text(v.name(o.Placement, rates.ByPlacement)), text(read))
	}
	return t
}
