package rates_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
	"listbound/projections/rates"
)

// opened makes openings of one placement, one an hour, all read, of which some carried a
// wrong sheet: each an incident of its own.
type opened struct {
	at        time.Time
	openings  []rates.Opening
	incidents []rates.Incident
}

func (o *opened) add(placement string, n, wrong int) {
	for i := range n {
		o.at = o.at.Add(time.Hour)
		k := key(fmt.Sprintf("LAP-%d", i), fmt.Sprintf("%s-%d-%d", placement, i, len(o.openings)))
		o.openings = append(o.openings, rates.Opening{TripKey: k, At: o.at, Station: "north/or-1", List: "LAP",
			Placement: placement, Read: true})
		if wrong > 0 && i%(n/wrong) == n/wrong-1 {
			ks := []projections.TripKey{k}
			o.incidents = append(o.incidents, rates.Incident{Trips: ks, Reached: ks})
		}
	}
}

func (o *opened) report() *rates.Report {
	return rates.NewReport(o.openings, o.incidents, rates.Options{})
}

func table(r *rates.Report, by rates.By) *rates.Table {
	for i := range r.Tables {
		if r.Tables[i].By == by {
			return &r.Tables[i]
		}
	}
	return nil
}

// TestEnoughForThreefold: where a threefold rate would have been told by now, no more openings are asked for.
func TestEnoughForThreefold(t *testing.T) {
	o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
	o.add("inside-bag", 3000, 30)
	o.add("outside", 3000, 33)
	d := table(o.report(), rates.ByPlacement).Differences[0]
	if d.Told != rates.CantTell || d.For != rates.Threefold || d.More != 0 || d.Days != 0 {
		t.Errorf("%+v", d)
	}
}

// TestTwoPlacements: 6 and 0 incidents in 2,000 openings differ, 5 and 0 can't be told
// apart yet, though the outside looks worse.
func TestTwoPlacements(t *testing.T) {
	ask := func(wrong int) rates.Difference {
		o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
		o.add("inside-bag", 2000, 0)
		o.add("outside", 2000, wrong)
		r := o.report()
		p := table(r, rates.ByPlacement)
		if len(p.Groups) != 2 || len(p.Differences) != 1 {
			t.Fatalf("%+v", p)
		}
		if d := table(r, rates.ByShift).Differences; len(d) != 3 || d[0].Level != 0.05/3 || d[0].Told != rates.CantTell {
			t.Errorf("three shifts: %+v", d)
		}
		in, out := p.Groups[0], p.Groups[1]
		if in.Incidents != 0 || in.PerThousand.Rate != nil || in.Weighed != 2000 || out.Incidents != int64(wrong) ||
			len(out.Trips) != wrong {
			t.Errorf("%+v, %+v", in, out)
		}
		near(t, "none seen", in.PerThousand.Exact.High, 1000*rates.ClopperPearson(count(0, 2000), 0.95).High, 1e-9)
		if wrong > 0 {
			near(t, "seen", *out.PerThousand.Rate, float64(wrong)/2, 1e-12)
		}
		return p.Differences[0]
	}
	six, five := ask(6), ask(5)
	near(t, "6 and 0", six.P, 0.0311329, 1e-7)
	near(t, "5 and 0", five.P, 0.0623438, 1e-7)
	if six.Told != rates.Differs || six.More != 0 || six.Days != 0 {
		t.Errorf("6 and 0: %+v", six)
	}
	if five.Told != rates.CantTell || five.For != rates.AsSeen || five.More < 1000 || five.More > 10000 {
		t.Errorf("5 and 0: %+v", five)
	}
	// 4,000 openings in 4,000 hours: 24 a day.
	near(t, "days", float64(five.Days), float64(five.More)/24, 1.1)
	// The one that is named first is inside: that it is the worse one is unlikely in both.
	near(t, "6 and 0, inside the worse one", six.Worse, 0.0031812, 1e-6)
	if five.Worse < six.Worse || five.Prior != "jeffreys" || five.Level != 0.05 {
		t.Errorf("5 and 0: %+v", five)
	}
	none := ask(0)
	if none.Told != rates.CantTell || none.For != rates.Threefold || none.More < 10_000 || none.P != 1 {
		t.Errorf("0 and 0: %+v", none)
	}
}

// mixed are ten openings at two stations in two placements; one ring of three sets over
// both, of which one was put right, a pair in one, and one that nobody has opened.
func mixed() ([]rates.Opening, []rates.Incident) {
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 30, 0, 0, time.UTC) }
	var os []rates.Opening
	for i, x := range []struct {
		at        time.Time
		placement string
		read      bool
	}{
		{at(1, 5), "outside", true}, {at(1, 6), "outside", true}, {at(1, 12), "inside-bag", true}, {at(1, 13), "outside", false},
		{at(2, 21), "outside", true}, {at(3, 7), "inside-bag", false}, {at(3, 8), "inside-bag", true}, {at(31, 21), "outside", true},
		{at(31, 22), "outside", true}, {at(31, 23), "", true},
	} {
		os = append(os, rates.Opening{TripKey: key(fmt.Sprint("S", i), fmt.Sprint("t", i)), At: x.at, Placement: x.placement,
			Station: fmt.Sprint("north/or-", i%2), List: "LAP", Read: x.read})
	}
	k := func(n int) projections.TripKey { return os[n].TripKey }
	return os, []rates.Incident{
		{Trips: []projections.TripKey{k(1), k(2), k(4)}, Reached: []projections.TripKey{k(1), k(2)}},
		{Trips: []projections.TripKey{k(7), k(8)}, Reached: []projections.TripKey{k(7), k(8)}},
		{Trips: []projections.TripKey{key("X", "x")}, Last: at(3, 1)},
		{Trips: []projections.TripKey{key("Y", "y")}, Reached: []projections.TripKey{key("Y", "y")}},
	}
}

// TestCounting: incidents and not sets, each once in every group that it shows in.
func TestCounting(t *testing.T) {
	os, ins := mixed()
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	r := rates.NewReport(os, ins, rates.Options{Zone: berlin})
	if r.All.Openings != 10 || r.All.Read != 8 || r.All.Incidents != 2 || len(r.All.Trips) != 4 || r.Caught != 1 {
		t.Errorf("%+v", r.All)
	}
	late := rates.NewReport(os[5:], ins, rates.Options{Since: os[5].At})
	if late.Caught != 0 || late.All.Incidents != 1 {
		t.Errorf("since %s: %+v", os[5].At, late.All)
	}
	if until := rates.NewReport(os, ins, rates.Options{Until: os[0].At}); until.Caught != 0 {
		t.Errorf("until %s: %d caught", os[0].At, until.Caught)
	}
	// 10 (1 - 0.2²)
	if r.All.Weighed != 9 {
		t.Errorf("weighed %d", r.All.Weighed)
	}
	near(t, "a day", r.PerDay, 10/(30+18.0/24), 1e-9)
	for by, want := range map[rates.By]string{
		rates.ByPlacement: "=1/1/0 inside-bag=3/2/1 outside=6/5/2 ", rates.ByList: "LAP=10/8/2 ",
		rates.ByStation: "north/or-0=5/5/2 north/or-1=5/3/2 ",
		rates.ByShift:   "06-14=5/4/1 14-22=1/0/0 22-06=4/4/1 ", // Berlin's: an hour, and in summer two, more than UTC
		rates.ByMonth:   "2026-03=8/6/2 2026-04=2/2/1 ",
	} {
		got := ""
		for _, g := range table(r, by).Groups {
			got += fmt.Sprintf("%s=%d/%d/%d ", g.Name, g.Openings, g.Read, g.Incidents)
		}
		if got != want {
			t.Errorf("by %s: %s, want %s", by, got, want)
		}
	}
	if d := table(r, rates.ByMonth).Differences; d != nil {
		t.Errorf("months are compared: %v", d)
	}
	numbers := ""
	for _, o := range r.Openings {
		numbers += fmt.Sprint(o.Incident)
	}
	if numbers != "0110000220" {
		t.Errorf("incidents of the openings: %s", numbers)
	}
	// Watched is what was read, and of an incident the first set: six openings.
	if r.Watch.Decision != rates.Undecided || r.Watch.After != 6 {
		t.Errorf("%+v", r.Watch)
	}
}

// TestNothingCounted: of nothing nothing is said, and it can be written.
func TestNothingCounted(t *testing.T) {
	r := rates.NewReport(nil, nil, rates.Options{})
	if r.All.PerThousand.Exact != (rates.Interval{Low: 0, High: 1000}) || r.Watch.Decision != rates.Undecided {
		t.Errorf("%+v", r)
	}
	for _, x := range r.Tables {
		if len(x.Groups) > 0 || len(x.Differences) > 0 {
			t.Errorf("%+v", x)
		}
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
}

// TestReadDifferently: what was not read proves nothing.
func TestReadDifferently(t *testing.T) {
	ask := func(share float64) (rates.Group, rates.Difference) {
		o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
		o.add("inside-bag", 2000, 0)
		for i := range o.openings {
			o.openings[i].Read = float64(i) < share*2000
		}
		o.add("outside", 2000, 6)
		p := table(o.report(), rates.ByPlacement)
		return p.Groups[0], p.Differences[0]
	}
	if g, d := ask(0.95); d.Apart || d.Told != rates.Differs || g.Weighed != 1995 {
		t.Errorf("19 of 20 read: %+v, %+v", g, d)
	}
	// 2,000 (1 - 0.4²) = 1,680: as if so many had been opened.
	if g, d := ask(0.60); !d.Apart || g.Weighed != 1680 || d.Told != rates.Differs && d.P < 0.05 {
		t.Errorf("3 of 5 read: %+v, %+v", g, d)
	} else {
		near(t, "3 of 5 read", d.P, rates.FisherP(count(0, 1680), count(6, 2000)), 1e-12)
	}
	g, d := ask(0.49)
	if d.Told != rates.NotCompared || d.More != 0 {
		t.Errorf("fewer than half read: %+v", d)
	}
	if g, _ := ask(0); g.Weighed != 0 || g.PerThousand.Exact.High != 1000 {
		t.Errorf("none read: %+v", g)
	}
	label := &opened{}
	label.add("screen", 3, 1)
	for i := range label.openings {
		label.openings[i].Read = false // a wrong label shows though no sheet was read
	}
	if all := label.report().All; all.Weighed != 1 || all.Incidents != 1 {
		t.Errorf("one found, none read: %+v", all)
	}
	if !(g.PerThousand.Exact.High > 1000*rates.ClopperPearson(count(0, 2000), 0.95).High) {
		t.Errorf("fewer than half read: %+v", g)
	}
}

// TestManyGroups: more than four are held against all others, and the level is shared.
func TestManyGroups(t *testing.T) {
	o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
	for n, wrong := range []int{0, 0, 8, 0, 0, 1} {
		o.add(fmt.Sprint("place-", n), 500, wrong)
	}
	d := table(o.report(), rates.ByPlacement).Differences
	if len(d) != 6 || d[0].A != "place-2" || !d[0].Rest || d[0].Told != rates.Differs || d[0].Level != 0.05/6 {
		t.Errorf("%+v", d)
	}
	near(t, "against the rest", d[0].P, rates.FisherP(count(8, 500), count(1, 2500)), 1e-12)
	for _, x := range d[1:] {
		if x.Told != rates.CantTell {
			t.Errorf("%+v", x)
		}
	}
}

// TestWatched: a rate that goes up is signalled, with the opening, and charted.
func TestWatched(t *testing.T) {
	o := &opened{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
	o.add("outside", 4000, 2)
	o.add("outside", 2000, 20)
	r := o.report()
	if len(r.Watch.Signals) == 0 || r.Watch.Signals[0] <= 4000 || len(r.Watch.At) != len(r.Watch.Signals) {
		t.Fatalf("%+v", r.Watch)
	}
	at := r.Watch.At[0]
	if at.TripKey != o.openings[r.Watch.Signals[0]-1].TripKey || at.Incident == 0 {
		t.Errorf("signalled at %v, which is not opening %d", at, r.Watch.Signals[0])
	}
	if year := 365 * r.PerDay; r.Watch.FalseAlarm < year || r.Watch.SeenIn > r.Watch.FalseAlarm/3 {
		t.Errorf("%+v", r.Watch)
	}
	if len(r.Charts.Gaps.Points) != 21 || len(r.Charts.Days.Points) != 21 || len(r.Charts.Times) != 21 {
		t.Errorf("%d gaps, %d times", len(r.Charts.Gaps.Points), len(r.Charts.Times))
	}
	near(t, "the first gap", r.Charts.Gaps.Points[0].Value, 1999, 0)
	near(t, "in days", r.Charts.Days.Points[0].Value, 2000.0/24, 1e-9)
	if n := len(r.Charts.Shares.Points); n != len(r.Charts.Months) || n < 8 {
		t.Errorf("%d months", n)
	}
	few := &opened{at: o.at}
	few.add("outside", 300, 2)
	if c := few.report().Charts; c.Gaps != nil || c.Shares != nil {
		t.Errorf("a chart of two incidents in one month: %+v", c)
	}
}
