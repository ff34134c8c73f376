package rates

import (
	"cmp"
	"slices"
	"time"

	"listbound/projections"
)

// Options say what a report counts by.
type Options struct {
	Zone          *time.Location // of shifts and months; nil: UTC
	Since, Until  time.Time      // of the openings, as they were asked for; zero: no bound
	Usual, Raised float64        // rates that the sequential tests tell apart; zero: DefaultUsual, DefaultRaised
}

// in reports whether a moment is in the time that was asked for.
func (o *Options) in(at time.Time) bool {
	return (o.Since.IsZero() || !at.Before(o.Since)) && (o.Until.IsZero() || at.Before(o.Until))
}

// The rates that a site is watched for if it says no others: one incident in a thousand
// openings, and three.
const (
	DefaultUsual  = 0.001
	DefaultRaised = 0.003
)

// By is what openings are grouped by.
type By string

// The ways to group. Hours and months are local.
const (
	ByPlacement By = "placement"
	ByList      By = "list"
	ByStation   By = "station"
	ByShift     By = "shift"
	ByMonth     By = "month"
)

// Ways lists them, in the order of pages.
func Ways() []By { return []By{ByPlacement, ByList, ByStation, ByShift, ByMonth} }

// Shifts are the hours in which shifts are counted.
func Shifts() []string { return []string{"06-14", "14-22", "22-06"} }

func shiftOf(at time.Time) string {
	switch h := at.Hour(); {
	case h >= 6 && h < 14:
		return Shifts()[0]
	case h >= 14 && h < 22:
		return Shifts()[1]
	}
	return Shifts()[2]
}

// Group returns the group of an opening; empty where nothing is recorded that says it.
func (by By) Group(o *Opening, zone *time.Location) string {
	switch by {
	case ByPlacement:
		return o.Placement
	case ByList:
		return o.List
	case ByStation:
		return o.Station
	case ByShift:
		return shiftOf(o.At.In(zone))
	case ByMonth:
		return o.At.In(zone).Format("2006-01")
	}
	return ""
}

// Report is how often lists were wrong or missing at the openings of a time.
type Report struct {
	From     time.Time `json:"from,omitzero"` // first and last opening
	To       time.Time `json:"to,omitzero"`
	PerDay   float64   `json:"openingsPerDay"`
	Codes    []string  `json:"codes"`  // the findings counted
	Caught   int64     `json:"caught"` // incidents found before any of their sets was opened with it
	All      Group     `json:"all"`
	Tables   []Table   `json:"tables"`
	Watch    Watch     `json:"watch"`
	Charts   Charts    `json:"charts"`
	Openings []Counted `json:"openings,omitempty"` // every one, where it was asked for, with its incident
}

// Counted is an opening and the number of the incident that it had, from one; zero: none.
type Counted struct {
	Opening
	Incident int64 `json:"incident,omitzero"`
}

// Table is the openings by one thing.
type Table struct {
	By          By           `json:"by"`
	Groups      []Group      `json:"groups"`
	Differences []Difference `json:"differences,omitempty"` // none by month: see the charts
}

// Group is the openings that have one thing in common.
type Group struct {
	Name     string `json:"name"` // empty: not recorded
	Openings int64  `json:"openings"`
	Read     int64  `json:"read"` // of which somebody saw whose sheet it was
	// Incidents are those with a set of this group; one that shows in several groups
	// is counted in each, so that groups can add up to more than all.
	Incidents int64 `json:"incidents"`
	// Weighed is what the openings are worth as evidence: as many of which every one was
	// read. A mix-up shows on two sets, and is seen if either is read.
	Weighed     int64                 `json:"weighed"`
	PerThousand Rates                 `json:"perThousand"`
	Trips       []projections.TripKey `json:"trips"` // of the incidents, opened in this group
	series      Series                // of what was read, in order
}

// Rates is a rate in thousandths with its bounds. Where nothing was seen there is no
// Rate, and the bounds say what can be ruled out.
type Rates struct {
	Rate    *float64 `json:"rate,omitempty"`
	Exact   Interval `json:"exact"`   // Clopper and Pearson
	Poisson Interval `json:"poisson"` // Garwood
	MidP    Interval `json:"midP"`
}

// ReadShare is the share of the openings of which it was seen whose sheet it was.
func (g *Group) ReadShare() float64 { return Count{g.Read, g.Openings}.Rate() }

// Evidence is the count that intervals and comparisons are made of.
func (g *Group) Evidence() Count { return Count{g.Incidents, g.Weighed} }

// Watch is what the tests that run along say of all openings.
type Watch struct {
	Usual      float64   `json:"usual"`
	Raised     float64   `json:"raised"`
	Decision   Decision  `json:"decision"` // of Wald's test, once; see SPRT
	After      int64     `json:"after"`    // openings that it took, or has
	FalseAlarm float64   `json:"falseAlarm"`
	SeenIn     float64   `json:"seenIn"`            // openings until a raised rate is seen, on average
	Signals    []int64   `json:"signals,omitempty"` // openings after which the CUSUM signalled
	At         []Counted `json:"at,omitempty"`      // these openings
}

// Charts are the control charts of all openings.
type Charts struct {
	Months []string    `json:"months"`
	Shares *Chart      `json:"shares,omitempty"` // p' by month
	Gaps   *Chart      `json:"gaps,omitempty"`   // g: openings read between incidents
	Days   *Chart      `json:"days,omitempty"`   // t: days between incidents
	Times  []time.Time `json:"times,omitempty"`  // of the incidents, the later one of each gap
}

// NewReport counts openings, in order of time, and the incidents among them.
func NewReport(openings []Opening, incidents []Incident, o Options) *Report {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	o.Usual, o.Raised = cmp.Or(o.Usual, DefaultUsual), cmp.Or(o.Raised, DefaultRaised)
	r := &Report{Codes: codeNames()}
	met := r.number(openings, incidents, &o)
	if n := len(openings); n > 0 {
		r.From, r.To = openings[0].At, openings[n-1].At
		days := max(1, r.To.Sub(r.From).Hours()/24)
		r.PerDay = float64(n) / days
	}
	r.All = r.group("", func(int) bool { return true })
	for _, by := range Ways() {
		r.Tables = append(r.Tables, r.table(by, o.Zone))
	}
	r.watch(o)
	r.charts(o.Zone, met)
	return r
}

func codeNames() (out []string) {
	for _, c := range Codes() {
		out = append(out, string(c))
	}
	return out
}

// Groups counts openings by one thing, without all else that a report says.
func Groups(openings []Opening, incidents []Incident, by By, o Options) []Group {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	r := new(Report)
	r.number(openings, incidents, &o)
	groups, _ := r.groups(by, o.Zone)
	return groups
}

// WithIncidents gives each opening the number of its incident.
func WithIncidents(openings []Opening, incidents []Incident) []Counted {
	r := new(Report)
	r.number(openings, incidents, new(Options))
	return r.Openings
}

// number gives each opening its incident, and the incidents their numbers by when they
// were met first. It returns when that was.
func (r *Report) number(openings []Opening, incidents []Incident, o *Options) []time.Time {
	of := make(map[projections.TripKey]*Incident)
	for i := range incidents {
		in := &incidents[i]
		if len(in.Reached) == 0 && o.in(in.Last) {
			r.Caught++
		}
		for _, k := range in.Reached {
			of[k] = in
		}
	}
	numbers := make(map[*Incident]int64)
	var met []time.Time
	for _, x := range openings {
		c := Counted{Opening: x}
		if in := of[x.TripKey]; in != nil {
			if numbers[in] == 0 {
				met = append(met, x.At)
				numbers[in] = int64(len(met))
			}
			c.Incident = numbers[in]
		}
		r.Openings = append(r.Openings, c)
	}
	return met
}

func (r *Report) table(by By, zone *time.Location) Table {
	t := Table{By: by}
	var of []string
	t.Groups, of = r.groups(by, zone)
	if by != ByMonth {
		t.Differences = r.differences(t.Groups, of)
	}
	return t
}

// groups returns the groups, and of which each opening is.
func (r *Report) groups(by By, zone *time.Location) (out []Group, of []string) {
	of = make([]string, len(r.Openings))
	for i := range of {
		of[i] = by.Group(&r.Openings[i].Opening, zone)
	}
	for _, name := range slices.Compact(slices.Sorted(slices.Values(of))) {
		out = append(out, r.group(name, func(i int) bool { return of[i] == name }))
	}
	return out, of
}

// group counts the openings that are in it.
func (r *Report) group(name string, in func(i int) bool) Group {
	g := Group{Name: name, Trips: []projections.TripKey{}}
	met := make(map[int64]bool)
	for i := range r.Openings {
		if !in(i) {
			continue
		}
		o := &r.Openings[i]
		g.Openings++
		if o.Read {
			g.Read++
		}
		switch {
		case o.Incident > 0:
			g.Trips = append(g.Trips, o.TripKey)
			if met[o.Incident] {
				continue
			}
			met[o.Incident] = true
			g.series.Clean = append(g.series.Clean, g.series.Since)
			g.series.Since = 0
		case o.Read:
			g.series.Since++
		}
	}
	g.Incidents = int64(len(met))
	g.Weighed = weighed(g.Openings, g.Read, g.Incidents)
	g.PerThousand = perThousand(g.Evidence())
	return g
}

// weighed is how many openings, all read, would have shown as many of the incidents of
// two sets each: of a share r a reading sees 1 - (1-r)². What was found in some other
// way is in it, too.
func weighed(openings, read, incidents int64) int64 {
	if openings == 0 {
		return 0
	}
	unread := openings - read
	return max(incidents, (openings*openings-unread*unread)/openings)
}

func perThousand(c Count) Rates {
	const thousand = 1000
	by := func(i Interval, f float64) Interval { return Interval{i.Low * f, i.High * f} }
	r := Rates{
		Exact: by(ClopperPearson(c, Confidence), thousand),
		MidP:  by(MidP(c, Confidence), thousand),
	}
	r.Poisson = by(Garwood(c.Seen, Confidence), thousand/float64(max(c.Of, 1)))
	if c.Seen > 0 {
		rate := c.Rate() * thousand
		r.Rate = &rate
	}
	return r
}

// leastIncidents is how many incidents at the usual rate go without a false alarm: with
// fewer each one would be an alarm at a small site.
const leastIncidents = 10

// watch runs the sequential tests over all that was read.
func (r *Report) watch(o Options) {
	s := SPRT{Lower: o.Usual, Higher: o.Raised, Alpha: 0.05, Beta: 0.10}
	w := Watch{Usual: o.Usual, Raised: o.Raised}
	w.Decision, w.After, _ = s.Run(r.All.series)
	// One false alarm in a year of this site.
	c := CusumFor(o.Usual, o.Raised, max(365*r.PerDay, leastIncidents/o.Usual))
	w.FalseAlarm, w.SeenIn = c.RunLength(o.Usual), c.RunLength(o.Raised)
	w.Signals, _ = c.Run(r.All.series)
	w.At = r.at(w.Signals)
	r.Watch = w
}

// at returns the openings that have these numbers among those of All's series.
func (r *Report) at(numbers []int64) (out []Counted) {
	n, met := int64(0), make(map[int64]bool)
	for _, x := range r.Openings {
		if x.Incident > 0 && met[x.Incident] || x.Incident == 0 && !x.Read {
			continue
		}
		met[x.Incident] = x.Incident > 0
		if n++; slices.Contains(numbers, n) {
			out = append(out, x)
		}
	}
	return out
}

// charts draws what there is enough of for a chart.
func (r *Report) charts(zone *time.Location, met []time.Time) {
	for _, t := range r.Tables {
		if t.By != ByMonth || len(t.Groups) < 2 || r.All.Incidents == 0 {
			continue
		}
		var counts []Count
		for i := range t.Groups {
			if g := &t.Groups[i]; g.Weighed > 0 {
				r.Charts.Months = append(r.Charts.Months, g.Name)
				counts = append(counts, g.Evidence())
			}
		}
		c := PPrime(counts)
		r.Charts.Shares = &c
	}
	if len(met) < 3 { // two gaps
		return
	}
	gaps := r.All.series.Clean[1:] // before the first nobody counted
	days := make([]float64, len(met)-1)
	for i := range days {
		days[i] = met[i+1].Sub(met[i]).Hours() / 24
		r.Charts.Times = append(r.Charts.Times, met[i+1].In(zone))
	}
	g, t := G(gaps, ByProbability), T(days)
	r.Charts.Gaps, r.Charts.Days = &g, &t
}
