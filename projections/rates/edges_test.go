package rates_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"listbound/projections/rates"
)

// TestSmallSite: three incidents of a site that opens three sets a day, of which nothing
// was read in March.
func TestSmallSite(t *testing.T) {
	o := &opened{at: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	for month := range 4 {
		o.at = time.Date(2026, time.January+time.Month(month), 1, 0, 0, 0, 0, time.UTC)
		o.add("outside", 90, []int{1, 1, 0, 1}[month])
	}
	for i := 180; i < 270; i++ {
		o.openings[i].Read = false
	}
	r := o.report()
	if !r.From.Equal(o.openings[0].At) || !r.To.Equal(o.at) {
		t.Errorf("from %s to %s", r.From, r.To)
	}
	// Ten incidents at one in a thousand, not one false alarm in a year of 4 a day.
	if w := r.Watch; w.Usual != 0.001 || w.Raised != 0.003 || w.FalseAlarm < 10000 || w.FalseAlarm > 10100 ||
		365*r.PerDay > 5000 {
		t.Errorf("%+v, %g a day", w, r.PerDay)
	}
	if c := r.Charts; !slices.Equal(c.Months, []string{"2026-01", "2026-02", "2026-04"}) || len(c.Shares.Points) != 3 ||
		len(c.Gaps.Points) != 2 || c.Gaps.Points[1].Value != 89 || !c.Times[1].Equal(o.at) || !c.Shares.TooRare {
		t.Errorf("%+v", c)
	}
	of := rates.Garwood(3, 0.95)
	near(t, "Poisson, low", r.All.PerThousand.Poisson.Low, 1000*of.Low/float64(r.All.Weighed), 1e-9)
	near(t, "Poisson, high", r.All.PerThousand.Poisson.High, 1000*of.High/float64(r.All.Weighed), 1e-9)
	near(t, "mid-p", r.All.PerThousand.MidP.High, 1000*rates.MidP(r.All.Evidence(), 0.95).High, 1e-9)
	own := rates.NewReport(o.openings, o.incidents, rates.Options{Usual: 0.01, Raised: 0.05}).Watch
	if own.Usual != 0.01 || own.Raised != 0.05 || own.FalseAlarm < 365*r.PerDay || own.FalseAlarm > 5000 {
		t.Errorf("%+v", own)
	}
}

// TestGroupsCompared: up to four are held each against each.
func TestGroupsCompared(t *testing.T) {
	for groups, want := range []int{0, 0, 1, 3, 6, 5} {
		o := &opened{at: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
		for i := range groups {
			o.add(fmt.Sprint("place-", i), 2, 0)
		}
		for i := range o.openings {
			o.openings[i].Read = false // how long until it can be told takes long to reckon
		}
		d := table(o.report(), rates.ByPlacement).Differences
		if len(d) != want || want > 0 && (d[0].Rest != (groups > 4) || d[0].Level != 0.05/float64(want)) {
			t.Errorf("%d groups: %+v", groups, d)
		}
	}
}

// TestEdges: what lies on a bound.
func TestEdges(t *testing.T) {
	for at, want := range map[float64]bool{0.1: true, 0.2: true, 0.15: true, 0.0999: false, 0.2001: false} {
		if got := (rates.Interval{Low: 0.1, High: 0.2}).Has(at); got != want {
			t.Errorf("%g: %v", at, got)
		}
	}
	if rates.P([]rates.Count{count(5, 50), count(5, 50)}).TooRare ||
		!rates.P([]rates.Count{count(5, 51), count(5, 51), count(5, 55)}).TooRare {
		t.Error("five expected are enough, and fewer are not")
	}
	for _, x := range [][]rates.Count{{count(3, 50)}, {count(0, 50), count(0, 60)}, {count(50, 50), count(60, 60)}} {
		if s := rates.PPrime(x).Spread; s != 1 {
			t.Errorf("%v: %g", x, s)
		}
	}
	if c := rates.TNelson([]float64{1}); !math.IsNaN(c.Center) {
		t.Errorf("a moving range of one: %+v", c)
	}
	tenth := new(rates.Report).Compare(&rates.Group{Openings: 10, Read: 1}, &rates.Group{Openings: 10}, 0.05)
	if tenth.Apart || tenth.Told != rates.NotCompared {
		t.Errorf("%+v", tenth)
	}
	if n := rates.CleanFor(1e-13, 0, 0.95); n != rates.NeverTold {
		t.Errorf("fewer than one in ten million million after %d openings", n)
	}
	if c := rates.CusumFor(0.001, 0.003, 1); c.Limit != 1 {
		t.Errorf("%+v", c)
	}
}

// TestFirstOfAnIncident: the second set of an incident is no opening of its own to what
// runs along, and a signal's number is told as the opening that it was at.
func TestFirstOfAnIncident(t *testing.T) {
	o := &opened{at: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	o.add("outside", 100, 1)
	first := &o.incidents[0]
	first.Reached = append(slices.Clone(first.Reached), o.openings[50].TripKey)
	o.add("outside", 100, 10)
	w := o.report().Watch
	if len(w.Signals) == 0 || w.Signals[0] <= 100 || w.At[0].TripKey != o.openings[w.Signals[0]].TripKey {
		t.Errorf("%+v", w)
	}
}

// TestGroups are those of a report's tables.
func TestGroups(t *testing.T) {
	os, ins := mixed()
	r := rates.NewReport(os, ins, rates.Options{})
	for _, by := range rates.Ways() {
		if got := rates.Groups(os, ins, by, rates.Options{}); !reflect.DeepEqual(got, table(r, by).Groups) {
			t.Errorf("%s: %+v", by, got)
		}
	}
	if got := rates.WithIncidents(os, ins); !reflect.DeepEqual(got, r.Openings) {
		t.Errorf("openings %+v", got)
	}
}

// TestOneSeen: of one incident there is a rate, of none only what can be ruled out.
func TestOneSeen(t *testing.T) {
	for _, wrong := range []int{0, 1} {
		o := &opened{at: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
		o.add("outside", 200, wrong)
		if r := o.report().All.PerThousand.Rate; (r != nil) != (wrong == 1) || r != nil && *r != 5 {
			t.Errorf("%d seen: %v", wrong, r)
		}
	}
}

// TestChartedFromOne: two months with one incident have a chart of their shares, two without any, or one month alone, none.
func TestChartedFromOne(t *testing.T) {
	for _, x := range []struct{ months, wrong, points int }{{2, 1, 2}, {2, 0, 0}, {1, 1, 0}} {
		o := &opened{}
		for month := range x.months {
			o.at = time.Date(2026, time.January+time.Month(month), 1, 0, 0, 0, 0, time.UTC)
			o.add("outside", 30, x.wrong*(1-month))
		}
		c := o.report().Charts.Shares
		if (c != nil) != (x.points > 0) || c != nil && len(c.Points) != x.points {
			t.Errorf("%d months, %d incidents: %+v", x.months, x.wrong, c)
		}
	}
}

// TestSignalsAtTheLimit: one that comes to its limit signals, and begins anew; below it it doesn't.
func TestSignalsAtTheLimit(t *testing.T) {
	c := rates.Cusum{M: 10, Limit: 18} // nine steps up for an incident
	for _, x := range []struct {
		clean   []int64
		since   int64
		signals []int64
		now     int64
	}{
		{[]int64{0, 0}, 0, []int64{2}, 0}, {[]int64{0, 1}, 3, nil, 14}, {[]int64{5, 0, 0, 0}, 0, []int64{7, 9}, 0},
		{[]int64{0, 0}, 5, []int64{2}, 0},
	} {
		if signals, now := c.Run(rates.Series{Clean: x.clean, Since: x.since}); !slices.Equal(signals, x.signals) || now != x.now {
			t.Errorf("%+v: after %v, now %d", x, signals, now)
		}
	}
}
