package run_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/run"
)

var began = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

const sea = 101.325

// leg is a straight piece of a run: to a temperature, or at a pressure of no steam.
type leg struct {
	seconds  float64
	to       float64 // °C
	pressure float64 // kPa; 0: saturated steam
}

// plain is a run to a temperature, held there for so long, and dried for as long as is said.
func plain(at, minutes, drying float64) []leg {
	return []leg{{300, at, 0}, {60 * minutes, at, 0}, {60, 100, 0}, {60 * drying, 90, 8}, {60, 80, sea}}
}

// log makes readings of one sensor at every step, as exact as numbers are.
func log(step float64, legs ...leg) *run.Log {
	l := &run.Log{Sensors: []string{"T1"}, Pressure: "P", Barometer: sea}
	start, from := 0.0, 60.0
	add := func(at, c, p float64) {
		if p == 0 {
			p = run.PressureOf(c)
		}
		l.Samples = append(l.Samples, run.Sample{At: began.Add(time.Duration(at * float64(time.Second))),
			Points: []float64{c}, Pressure: p})
	}
	add(0, from, 0)
	for _, g := range legs {
		for at := step; at <= g.seconds+1e-9; at += step {
			add(start+at, from+(g.to-from)*at/g.seconds, g.pressure)
		}
		start, from = start+g.seconds, g.to
	}
	return l
}

func find(t *testing.T, name string) *events.RunCycle {
	t.Helper()
	c, err := run.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

func judge(t *testing.T, l *run.Log, c *events.RunCycle) run.Report {
	t.Helper()
	r, err := run.Judge(l, c)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Check(); err != nil {
		t.Errorf("%s: %v", c.Name, err)
	}
	return r
}

func lacks(t *testing.T, what string, r run.Report, want ...run.Lack) {
	t.Helper()
	if !slices.Equal(r.Lacks, want) {
		t.Errorf("%s: lacks %q, want %q; %+v", what, r.Lacks, want, r.Figures)
	}
}

func faults(t *testing.T, what string, r run.Report, want ...events.RunTrouble) {
	t.Helper()
	var got []events.RunTrouble
	for _, f := range r.Figures.Faults {
		got = append(got, f.What)
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s: faults %q, want %q; %+v", what, got, want, r.Figures.Faults)
	}
}

// TestPublishedTimes: each published cycle is held by its own time, and not by a minute less (CDC 2008, table 7; Central
// Sterilising Club, table 10.2; ST79 from memory).
func TestPublishedTimes(t *testing.T) {
	for name, want := range map[string]struct{ at, hold, drying float64 }{
		"cdc-gravity-121-wrapped": {121, 30, 15}, "cdc-gravity-121-textile": {121, 30, 15}, "cdc-gravity-121-utensils": {121, 30, 15},
		"cdc-gravity-132-wrapped": {132, 15, 15}, "cdc-gravity-132-textile": {132, 25, 15}, "cdc-gravity-132-utensils": {132, 15, 15},
		"cdc-dynamic-132-wrapped": {132, 4, 20}, "cdc-dynamic-132-textile": {132, 4, 5}, "cdc-dynamic-132-utensils": {132, 4, 20},
		"st79-gravity-135-wrapped": {135, 10, 30}, "st79-dynamic-135-wrapped": {135, 3, 16},
		"csc-134": {134, 3, 0}, "csc-126": {126, 10, 0}, "csc-121": {121, 15, 0}, "csc-115": {115, 30, 0}, "bowie-dick-134": {134, 3.5, 0},
	} {
		c := find(t, name)
		lacks(t, name, judge(t, log(1, plain(want.at, want.hold, want.drying+0.05)...), c))
		lacks(t, name+" held a minute less", judge(t, log(1, plain(want.at, want.hold-1, want.drying+0.05)...), c), run.HoldShort)
		lacks(t, name+" half a kelvin cooler", judge(t, log(1, plain(want.at-0.5, want.hold, want.drying+0.05)...), c), run.NeverReached)
		if want.drying > 0 {
			lacks(t, name+" dried a minute less", judge(t, log(1, plain(want.at, want.hold, want.drying-1)...), c), run.DryingShort)
		}
		if c.HighMilliC > 0 {
			r := judge(t, log(1, plain(want.at+3.1, want.hold, want.drying)...), c)
			lacks(t, name+" above its band", r, run.HoldShort, run.OverBand)
		}
	}
}

// TestNotApplicable: what a table has no time for is an error, not a time of 0 (CDC 2008, table 7).
func TestNotApplicable(t *testing.T) {
	for _, name := range []string{"cdc-dynamic-121-wrapped", "cdc-dynamic-121-textile", "cdc-dynamic-121-utensils"} {
		_, err := run.Find(name)
		if _, ok := errors.AsType[run.ErrNoSuchCycle](err); !ok || !strings.Contains(err.Error(), "table 7") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := run.Find("cdc-dynamic-122"); err == nil || strings.Contains(err.Error(), "not applicable") {
		t.Errorf("an unknown cycle: %v", err)
	}
	all, err := run.Cycles()
	if err != nil || len(all) < 20 {
		t.Fatal(len(all), err)
	}
	for _, c := range all {
		if c.Source == "" || c.About == "" || !c.None && c.Check() != nil {
			t.Errorf("%+v: %v", c, c.Check())
		}
	}
}

// TestOneDip: of 3 min at measured 134.5 to 136.5 C one reading of 134.4 is too many (van Doornmalen 2020), and the same
// at the beginning of a longer time only breaks it.
func TestOneDip(t *testing.T) {
	c := find(t, "en285-134-small")
	l := log(1, plain(135, 3.05, 0)...)
	lacks(t, "without a dip", judge(t, l, c), run.SpreadUnknown)
	l.Samples[400].Points[0] = 134.4
	r := judge(t, l, c)
	lacks(t, "with a dip", r, run.HoldShort, run.SpreadUnknown)
	faults(t, "with a dip", r, events.RunDip)
	if f := r.Figures.Faults[0]; f.AtMillis != 400_000 || f.MilliC != 134_400 || r.Figures.MinMilliC != 134_400 {
		t.Errorf("%+v", r.Figures)
	}
	l = log(1, plain(135, 4, 0)...)
	l.Samples[310].Points[0] = 134.4
	r = judge(t, l, c)
	lacks(t, "with a dip, then held for long enough", r, run.SpreadUnknown)
	faults(t, "with a dip, then held for long enough", r, events.RunDip)
	l.Samples[500].Points[0] = 136.6
	faults(t, "and a reading above", judge(t, l, c), events.RunDip, events.RunOver)
}

// TestFahrenheit: 273.2 F is 134 C, and not below it by the last bit.
func TestFahrenheit(t *testing.T) {
	for f := 250.0; f < 280; f += 0.1 {
		f = math.Round(10*f) / 10
		c := events.RunCycle{Name: "x", Source: "y", LowMilliC: int64(math.Round((f - 32) / 1.8 * 1000)), HoldSeconds: 60}
		lacks(t, "in Fahrenheit", judge(t, log(1, plain((f-32)/1.8, 1, 0)...), &c))
	}
}

// TestSteamByPressure: a sound run by its temperature in a chamber that holds air.
func TestSteamByPressure(t *testing.T) {
	c := *find(t, "csc-134")
	c.SteamMilliK = 300
	l := log(1, plain(135, 3, 0)...)
	r := judge(t, l, &c)
	lacks(t, "steam", r)
	near(t, "pressure held", float64(r.Figures.MaxPascal), 313201, 1)
	for i := range l.Samples {
		l.Samples[i].Pressure /= 0.99 // 1 % of air
	}
	r = judge(t, l, &c)
	lacks(t, "1 % of air", r, run.AirLeft)
	near(t, "1 % of air, mK", float64(r.Figures.SteamLowMilliK), -346, 1)
	c.SteamMilliK = 400
	lacks(t, "1 % of air, a wider limit", judge(t, l, &c))
	for i := range l.Samples {
		l.Samples[i].Pressure *= 0.97
	}
	lacks(t, "steam too dry", judge(t, l, &c), run.TooDry)
	l.Pressure = ""
	for i := range l.Samples {
		l.Samples[i].Pressure = math.NaN()
	}
	c.DryingSeconds = 60
	r = judge(t, l, &c)
	lacks(t, "no pressure", r, run.SteamUnknown, run.DryingUnknown)
	if !r.Lacks[0].Unknown() || run.AirLeft.Unknown() {
		t.Error("what was not measured is told as what was")
	}
}

// TestEquilibration: from the first sign of the temperature, at a point or in the pressure, to the last point.
func TestEquilibration(t *testing.T) {
	c := find(t, "en285-134-small")
	for _, late := range []int{0, 15, 16} {
		l := log(1, plain(135, 4, 0)...)
		l.Sensors = append(l.Sensors, "T2")
		reached := slices.IndexFunc(l.Samples, func(s run.Sample) bool { return s.Points[0] >= 134.5 })
		for i := range l.Samples {
			c := l.Samples[i].Points[0]
			if i < reached+late {
				c = min(c, 134.4)
			}
			l.Samples[i].Points = append(l.Samples[i].Points, c)
		}
		r := judge(t, l, c)
		if got := r.Figures.EquilibrationMillis; got != int64(1000*late) {
			t.Errorf("second point %d s late: equilibration %d ms", late, got)
		}
		if late > 15 {
			lacks(t, "late", r, run.EquilibrationLong)
		} else {
			lacks(t, "in time", r)
		}
		l.Samples[450].Points[1] += 1.2
		l.Samples[450].Points[0] -= 0.4
		c := *c
		c.ApartMilliK = 1500
		if r := judge(t, l, &c); !slices.Contains(r.Lacks, run.Apart) || r.Figures.ApartMilliK != 1600 {
			t.Errorf("points apart: %+v", r)
		}
	}
	l := log(1, plain(135, 4, 0)...)
	for i := range l.Samples { // air: the pressure is there 20 s before the temperature
		l.Samples[i].Pressure = run.PressureOf(l.Samples[min(i+20, len(l.Samples)-1)].Points[0])
	}
	if r := judge(t, l, c); r.Figures.EquilibrationMillis != 20000 || !slices.Contains(r.Lacks, run.EquilibrationLong) {
		t.Errorf("by the pressure: %+v", r)
	}
}

// TestDrying: under a vacuum once the load was held, or where none is drawn from the atmosphere to the log's end. A vacuum
// before the steam is none of it.
func TestDrying(t *testing.T) {
	c := find(t, "cdc-gravity-121-wrapped")
	before := []leg{{60, 50, 8}, {60, 100, 0}}
	r := judge(t, log(1, append(before, plain(121, 30, 15.05)...)...), c)
	lacks(t, "vacuum", r)
	near(t, "vacuum", float64(r.Figures.DryingMillis), 15.05*60000-1000, 1)
	gravity := []leg{{300, 121, 0}, {1800, 121, 0}, {60, 100, 0}, {910, 80, sea}}
	r = judge(t, log(1, gravity...), c)
	lacks(t, "no vacuum", r)
	if last := r.Phases[len(r.Phases)-1]; last.Phase != run.Drying || !last.To.Equal(r.Ended) {
		t.Errorf("%+v", r.Phases)
	}
	l := log(1, gravity...)
	l.Samples = slices.Delete(l.Samples, 2300, 2400)
	r = judge(t, l, c)
	lacks(t, "what lies in a gap dries nothing", r, run.DryingShort)
	faults(t, "what lies in a gap dries nothing", r, events.RunGap)
}

// TestNamed: what is wrong with a log, each alone.
func TestNamed(t *testing.T) {
	c := find(t, "csc-134")
	for _, x := range []struct {
		what  string
		spoil func(l *run.Log)
		fault events.RunTrouble
		lasts int64
		lacks []run.Lack
	}{
		{"ten seconds missing while held", func(l *run.Log) { l.Samples = slices.Delete(l.Samples, 400, 409) }, events.RunGap, 10_000,
			[]run.Lack{run.HoldShort}},
		{"two seconds missing", func(l *run.Log) { l.Samples = slices.Delete(l.Samples, 400, 402) }, events.RunGap, 3_000,
			[]run.Lack{run.HoldShort}},
		{"clock put forward", func(l *run.Log) { shift(l, 400, time.Hour) }, events.RunJump, 3601_000, []run.Lack{run.HoldShort}},
		{"clock put back", func(l *run.Log) { shift(l, 400, -time.Hour) }, events.RunBack, 3599_000, []run.Lack{run.HoldShort}},
		{"no number", func(l *run.Log) { l.Samples[400].Points[0] = math.NaN() }, events.RunUnread, 0, []run.Lack{run.HoldShort}},
		{"stuck on the way up", func(l *run.Log) { hold(l, 240, 301) }, events.RunStuck, 61_000, []run.Lack{run.SensorStuck}},
		{"flat", func(l *run.Log) { hold(l, 380, 450) }, events.RunFlat, 70_000, nil},
	} {
		l := wavy()
		lacks(t, "sound", judge(t, l, c))
		faults(t, "sound", judge(t, l, c))
		x.spoil(l)
		r := judge(t, l, c)
		lacks(t, x.what, r, x.lacks...)
		faults(t, x.what, r, x.fault)
		if f := r.Figures.Faults; len(f) == 1 && f[0].LastsMillis != x.lasts {
			t.Errorf("%s: %+v", x.what, f[0])
		}
	}
}

// wavy is a sound run whose control swings by 0.2 K.
func wavy() *run.Log {
	l := log(1, plain(135, 3.05, 0)...)
	for i := range l.Samples {
		c := l.Samples[i].Points[0]
		c += 0.2 * math.Sin(float64(i)/7)
		l.Samples[i].Points[0], l.Samples[i].Pressure = c, run.PressureOf(c)
	}
	return l
}

func shift(l *run.Log, from int, by time.Duration) {
	for i := range l.Samples[from:] {
		l.Samples[from+i].At = l.Samples[from+i].At.Add(by)
	}
}

// hold keeps a sensor at its value of the end of a stretch.
func hold(l *run.Log, from, to int) {
	for i := from; i < to; i++ {
		l.Samples[i].Points[0] = l.Samples[to].Points[0]
	}
}

// TestSound: logs of sound runs have nothing named, at any step, resolution and pace of the log.
func TestSound(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	c := find(t, "csc-134")
	for range 200 {
		step := []float64{0.5, 1, 2, 5, 10}[rnd.IntN(5)]
		digits := []float64{1, 10, 100}[rnd.IntN(3)]
		l := log(step, plain(135+rnd.Float64(), 4+5*rnd.Float64(), 20)...)
		for i := range l.Samples {
			s := &l.Samples[i]
			if s.At.Sub(began) > 305*time.Second {
				s.Points[0] += 0.05 * rnd.NormFloat64()
			}
			s.Points[0] = math.Round(s.Points[0]*digits) / digits
			if s.Pressure == run.PressureOf(s.Points[0]) {
				s.Pressure += rnd.NormFloat64()
			}
		}
		slow := l.Samples[:0] // many log every fifth reading once the load is dry
		for i, s := range l.Samples {
			if s.Pressure > 20 || i%5 == 0 {
				slow = append(slow, s)
			}
		}
		l.Samples = slow
		r := judge(t, l, c)
		for _, f := range r.Figures.Faults {
			if f.What != events.RunFlat { // which sensors of one degree do show
				t.Errorf("step %g, resolution %g: %+v", step, digits, f)
			}
		}
		lacks(t, "sound", r)
	}
}

// TestHoldAgainstSearch: the longest stretch is that of a search that tries all.
func TestHoldAgainstSearch(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	c := find(t, "csc-134")
	for range 300 {
		l := &run.Log{Sensors: []string{"a", "b"}}
		at := began
		for range 3 + rnd.IntN(30) {
			p := func() float64 { return 133.5 + 4*rnd.Float64()*rnd.Float64() }
			l.Samples = append(l.Samples, run.Sample{At: at, Points: []float64{p(), p()}, Pressure: math.NaN()})
			at = at.Add(time.Duration(1+rnd.IntN(2)) * time.Second)
		}
		want := int64(0)
		for i := range l.Samples {
			for k := i; k < len(l.Samples); k++ {
				in := func(s run.Sample) bool {
					return !slices.ContainsFunc(s.Points, func(p float64) bool { return p < 134-0.0005 || p > 137+0.0005 })
				}
				all := !slices.ContainsFunc(l.Samples[i:k+1], func(s run.Sample) bool { return !in(s) })
				if all {
					want = max(want, l.Samples[k].At.Sub(l.Samples[i].At).Milliseconds())
				}
			}
		}
		if got := judge(t, l, c).Figures.HoldMillis; got != want {
			t.Fatalf("held %d ms, want %d: %+v", got, want, l.Samples)
		}
	}
}

// TestF0OfARun: the exact 80.24 min of the whole test run, by readings of a second, without what lies in a gap.
func TestF0OfARun(t *testing.T) {
	c := find(t, "csc-134")
	legs := []leg{{0.001, 100, 0}, {300, 134, 0}, {180, 134, 0}, {180, 100, 0}}
	l := log(1, legs[1:]...)
	l.Samples = l.Samples[:0]
	for i := 0.0; i <= 660; i++ {
		at := 100 + 34*min(i/300, 1) - 34*max(0, (i-480)/180)
		l.Samples = append(l.Samples, run.Sample{At: began.Add(time.Duration(i) * time.Second), Points: []float64{at},
			Pressure: math.NaN()})
	}
	r := judge(t, l, c)
	near(t, "F0 in s", float64(r.Figures.F0Seconds), 60*80.24065, 0.5)
	lacks(t, "3 min at 134 C", r)
	l.Samples = slices.Delete(l.Samples, 310, 369)
	near(t, "a minute less", float64(judge(t, l, c).Figures.F0Seconds), 60*(80.24065-run.F0.Rate(134)), 0.5)
}

// TestNoLog: of what no figure can be made.
func TestNoLog(t *testing.T) {
	c := find(t, "csc-134")
	if _, err := run.Judge(&run.Log{Sensors: []string{"T"}, Samples: log(1, leg{1, 5, 0}).Samples[:1]},
		c); !errors.Is(err, run.ErrTooShort) {
		t.Error(err)
	}
	l := log(1, plain(135, 4, 0)...)
	for i := range l.Samples {
		l.Samples[i].At = l.Samples[i].At.Truncate(time.Minute)
	}
	if _, err := run.Judge(l, c); !errors.Is(err, run.ErrNoClock) {
		t.Error(err)
	}
	for i := range l.Samples {
		l.Samples[i].At, l.Samples[i].Points[0] = began.Add(time.Duration(i)*time.Second), math.NaN()
	}
	r := judge(t, l, c)
	lacks(t, "nothing read", r, run.NeverReached)
	faults(t, "nothing read", r, events.RunUnread)
}

// TestManyFaults: a log full of them is not recorded whole; their number is.
func TestManyFaults(t *testing.T) {
	l := wavy()
	for i := 0; i < len(l.Samples); i += 2 {
		l.Samples[i].Points[0] = math.NaN()
	}
	f := judge(t, l, find(t, "csc-134")).Figures
	if len(f.Faults) != events.MaxRunFaults || f.More != int64((len(l.Samples)+1)/2)-events.MaxRunFaults {
		t.Errorf("%d and %d more", len(f.Faults), f.More)
	}
}
