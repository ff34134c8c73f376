package run_test

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/run"
)

// readings makes a log of words such as 3*134/135@304.2+2: three readings of two points at 304.2 kPa, each two seconds
// after the one before; a second where that isn't said, and - for what was not read. The barometer is at 80 kPa, of which
// the shares that bound a vacuum and the atmosphere are exact.
func readings(t *testing.T, text string) *run.Log {
	t.Helper()
	number := func(s string) float64 {
		if s == "-" {
			return math.NaN()
		}
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	l, at := &run.Log{Barometer: 80}, began
	for _, word := range strings.Fields(text) {
		times, one, ok := strings.Cut(word, "*")
		if !ok {
			times, one = "1", word
		}
		one, step, stepped := strings.Cut(one, "+")
		points, pressure, measured := strings.Cut(one, "@")
		s := run.Sample{Pressure: math.NaN()}
		if measured {
			s.Pressure, l.Pressure = number(pressure), "P"
		}
		for _, p := range strings.Split(points, "/") {
			s.Points = append(s.Points, number(p))
		}
		for range int(number(times)) {
			if d := time.Second; len(l.Samples) > 0 {
				if stepped {
					d = time.Duration(math.Round(1000*number(step))) * time.Millisecond
				}
				at = at.Add(d)
			}
			s.At = at
			l.Samples = append(l.Samples, s)
		}
	}
	for i := range l.Samples[0].Points {
		l.Sensors = append(l.Sensors, fmt.Sprint("T", i+1))
	}
	return l
}

// climb is n readings, so many seconds apart, of a point that stays and others that move.
func climb(n int, step, stays float64, moves func(i int) string) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%g/%s+%g ", stays, moves(i), step)
	}
	return b.String()
}

// from is a straight way over n readings, which shows something new at every so many.
func from(a, b float64, n, every int) func(int) string {
	return func(i int) string { return fmt.Sprintf("%.6f", a+(b-a)*float64(i/every*every)/float64(n-1)) }
}

func phasesOf(r run.Report) string {
	var out []string
	for _, p := range r.Phases {
		out = append(out, fmt.Sprintf("%s %g-%g", p.Phase, p.From.Sub(r.Started).Seconds(), p.To.Sub(r.Started).Seconds()))
	}
	return strings.Join(out, ", ")
}

func faultsOf(r run.Report) string {
	var out []string
	for _, f := range r.Figures.Faults {
		s := fmt.Sprintf("%s %d+%d", f.What, f.AtMillis, f.LastsMillis)
		if f.Sensor != "" {
			s += " " + f.Sensor
		}
		if f.MilliC != 0 {
			s += fmt.Sprintf(" %d", f.MilliC)
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

// band is from 134 to 137 °C for three seconds, so that a case fits on a line.
var band = &events.RunCycle{Name: "band", Source: "invented", LowMilliC: 134_000, HighMilliC: 137_000, HoldSeconds: 3}

// TestPhaseBounds: where each phase begins and ends, to the reading. All values are invented.
func TestPhaseBounds(t *testing.T) {
	for _, x := range []struct{ log, want string }{
		{"134 134", "rise 0-0, hold 0-1, exhaust 1-1"},
		{"100 133", "rise 0-1"},
		{"100 100 134 100 100", "rise 0-2, hold 2-2, exhaust 2-4"},
		{"100 137 137 100", "rise 0-1, hold 1-2, exhaust 2-3"},
		{"100 138 138 100", "rise 0-1, exhaust 2-3"},
		{"100 134 134 100 134 134 100", "rise 0-1, hold 1-2, exhaust 5-6"}, // of equally long ones the first
		{"134/100 134/134 134/134", "rise 0-0, equilibration 0-1, hold 1-2, exhaust 2-2"},
		{"100/100 134/100 134/134", "rise 0-1, equilibration 1-2, hold 2-2, exhaust 2-2"},
		{"100@50 134@305 90@63 90@63 90@70", "rise 0-1, hold 1-1, exhaust 1-2, drying 2-3"},
		{"100@50 134@305 90@64 90@88 90@90", "rise 0-1, hold 1-1, exhaust 1-2, drying 2-4"}, // 0.8 and 1.1 of 80 kPa
		{"100@50 134@305 90@88 90@87 90@88", "rise 0-1, hold 1-1, exhaust 1-3, drying 3-4"},
		{"100@50 134@305 90@88 90@88", "rise 0-1, hold 1-1, exhaust 1-3"},
	} {
		if got := phasesOf(judge(t, readings(t, x.log), band)); got != x.want {
			t.Errorf("%s: %s; want %s", x.log, got, x.want)
		}
	}
}

// TestCoarseClock: a log of two readings is one; of the times half may be those of the reading before, not more.
func TestCoarseClock(t *testing.T) {
	for log, want := range map[string]error{"134": run.ErrTooShort, "134 134": nil, "134 134+0 134 134+0": run.ErrNoClock,
		"134 134+0 134 134+0 134": nil} {
		if r, err := run.Judge(readings(t, log), band); !errors.Is(err, want) || err == nil && !r.Started.Equal(began) {
			t.Errorf("%s: from %s, %v; want %v", log, r.Started, err, want)
		}
	}
}

// TestFaultBounds: the last case that is named and the first that is not, of each bound in faults.go. All values are
// invented. Of the usual step: the middle one of eleven.
func TestFaultBounds(t *testing.T) {
	dry := strings.Repeat("120@40 ", 20) + strings.Repeat("120@95 ", 20) // no steam of 105 C at these
	fall := func(n int) (s string) {
		for i := range n {
			s += fmt.Sprintf("130@%d ", 270-2*i)
		}
		return s
	}
	for _, x := range []struct{ what, log, want, broken string }{
		{"one time twice", "5*134 134+0 5*134", "", ""},
		{"back", "5*134 134+-2 5*134", "back 2000+2000", "5"},
		{"back before the start", "5*134 134+-60 5*134", "back 0+60000", "5"},
		{"two and a half steps", "5*134+2 134+5 5*134+2", "", ""},
		{"more", "5*134+2 134+5.001 5*134+2", "gap 8000+5001", "5"},
		{"from the first reading", "134 134+3 5*134", "gap 0+3000", "1"},
		{"the sixth of eleven steps is short", "6*134 134+4 134 5*134+4", "gap 5000+4000", "6"},
		{"the other way round", "134 5*134+4 134 134+4 5*134", "gap 21000+4000", "7"},
		{"half an hour and two steps", "5*134 134+1802 5*134", "jump 4000+1802000", "5"},
		{"and three", "5*134 134+1803 5*134", "gap 4000+1803000", "5"},
		{"twenty minutes", "5*134 134+1200 5*134", "gap 4000+1200000", "5"},
		{"unread from the start", "2*- 3*134", "unread 0+1000 T1", ""},
		{"no pressure read", "134@305 134@- 134@305", "unread 1000+0 P", ""},
		{"over from the start", "2*137.1 - 137 134", "over 0+1000 137100, unread 2000+0 T1", ""},
		{"a dip with the time of the start, and one before nothing is read", "134 133+0 134 134 132 - 134",
			"dip 0+0 133000, dip 3000+0 132000, unread 4000+0 T1", ""},
		{"ten rows of the same, from the start", climb(10, 4, 120, from(106, 112, 10, 1)), "stuck 0+36000 T1", ""},
		{"nine rows", climb(9, 4.5, 120, from(106, 112, 9, 1)), "", ""},
		{"thirty seconds", climb(11, 3, 120, from(106, 112, 11, 1)), "stuck 0+30000 T1", ""},
		{"less", climb(11, 2.99, 120, from(106, 112, 11, 1)), "", ""},
		{"another first", "119/106 " + climb(11, 3, 120, from(106, 112, 11, 1)), "stuck 3000+30000 T1", ""},
		{"five kelvin", climb(11, 3, 120, from(106, 111, 11, 1)), "", ""},
		{"at 105 C", climb(11, 3, 105, from(99, 104.9, 11, 1)), "stuck 0+30000 T1", ""},
		{"below", climb(11, 3, 104.9, from(98, 104.8, 11, 1)), "", ""},
		{"no steam by the pressure", dry, "", ""},
		{"never in the band, by the pressure", fall(40), "stuck 0+39000 T1", ""},
		{"after the band", "134@305 " + fall(40), "", ""},
		{"flat: a minute", climb(31, 2, 135, from(135, 136, 31, 2)), "flat 0+60000 T1", ""},
		{"less than a minute", climb(60, 1, 135, from(135, 136, 60, 2)), "", ""},
		{"flat: thirty rows, every third new", climb(30, 2.1, 135, from(135, 136, 30, 3)), "flat 0+60900 T1", ""},
		{"every fourth new", climb(30, 2.1, 135, from(135, 136, 30, 4)), "", ""},
		{"29 rows", climb(29, 2.2, 135, from(135, 136, 29, 1)), "", ""},
		{"flat, but never in the band", climb(31, 2, 133, from(132, 133, 31, 1)), "", ""},
		{"flat from before the band on", climb(31, 2, 135, from(133, 135, 31, 1)), "", ""},
		{"stuck by one is more than flat by another",
			climb(31, 2, 134, func(i int) string { return from(134, 140, 31, 1)(i) + "/" + from(134, 136, 31, 1)(i) }),
			"stuck 0+60000 T1, over 32000+28000 140000", ""},
	} {
		l := readings(t, x.log)
		r := judge(t, l, band)
		var broken []string
		for i := range l.Samples {
			if r.Broken(i) {
				broken = append(broken, strconv.Itoa(i))
			}
		}
		if got, at := faultsOf(r), strings.Join(broken, " "); got != x.want || at != x.broken {
			t.Errorf("%s: %q, broken at %q; want %q, %q", x.what, got, at, x.want, x.broken)
		}
	}
	l := readings(t, strings.Repeat("134 - ", events.MaxRunFaults+1))
	if f := judge(t, l, band).Figures; len(f.Faults) != events.MaxRunFaults || f.More != 1 {
		t.Errorf("of one fault too many: %d and %d more", len(f.Faults), f.More)
	}
}

// TestFigureBounds: over which readings each figure is taken. All values are invented; steam of 300 kPa has 133.525 C by
// IAPWS R7-97.
func TestFigureBounds(t *testing.T) {
	for _, x := range []struct {
		log  string
		want events.RunFigures
	}{
		{"135 134 136", events.RunFigures{StepMillis: 1000, HoldMillis: 2000, MinMilliC: 134_000, MaxMilliC: 136_000}},
		{"100 134 134+2 100", events.RunFigures{StepMillis: 2000, HoldMillis: 2000, MinMilliC: 134_000, MaxMilliC: 134_000}},
		{"100/100 134/134 134/134+2 134/136+3 100/100", events.RunFigures{Points: 2, StepMillis: 3000, HoldMillis: 5000,
			MinMilliC: 134_000, MaxMilliC: 136_000, ApartMilliK: 2000}},
		// Never in the band: the first reading at which the coldest point was hottest.
		{"120/121 120/125", events.RunFigures{Points: 2, MinMilliC: 120_000, MaxMilliC: 121_000}},
		{"- 100 120 110", events.RunFigures{MinMilliC: 120_000, MaxMilliC: 120_000}},
		{"100 - 90", events.RunFigures{MinMilliC: 100_000, MaxMilliC: 100_000}},
		{"- -", events.RunFigures{}},
		{"100@90 134@300 134@300 90@60 90@60+2", events.RunFigures{StepMillis: 1000, HoldMillis: 1000, DryingMillis: 2000,
			MinMilliC: 134_000, MaxMilliC: 134_000, MinPascal: 300_000, MaxPascal: 300_000, SteamLowMilliK: 475, SteamHighMilliK: 475}},
	} {
		got := judge(t, readings(t, x.log), band).Figures
		x.want.Points = max(1, x.want.Points)
		x.want.F0Seconds, x.want.Faults = got.F0Seconds, got.Faults // TestF0OfARun, TestFaultBounds
		if a, b := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", x.want); a != b {
			t.Errorf("%s:\n%s, want\n%s", x.log, a, b)
		}
	}
	if got := judge(t, readings(t, "121 121+60 60+0.001"), band).Figures.F0Seconds; got != 60 {
		t.Errorf("a minute at 121 C is %d s at 121 C", got)
	}
}

// TestLackBounds: what is just as the cycle asks lacks nothing, and by a thousandth more it does; both are told with it.
func TestLackBounds(t *testing.T) {
	cycle := events.RunCycle{LowMilliC: 134_000, HighMilliC: 137_000, HoldSeconds: 180, DryingSeconds: 60,
		EquilibrationSeconds: 15, SteamMilliK: 2000, ApartMilliK: 1500} // invented, but for EN 285's 15 s and 2 K (from memory)
	good := events.RunFigures{Points: 2, HoldMillis: 180_000, DryingMillis: 60_000, EquilibrationMillis: 15_000, MinMilliC: 134_000,
		MaxMilliC: 137_000, MinPascal: 1, MaxPascal: 304_199, SteamLowMilliK: -2000, SteamHighMilliK: 2000, ApartMilliK: 1500}
	if got := run.Lacks(&cycle, &good); len(got) > 0 {
		t.Errorf("at its bounds: %q", got)
	}
	for _, x := range []struct {
		lack      run.Lack
		spoil     func(f *events.RunFigures)
		is, bound int64
		grave     bool
	}{
		{run.NeverReached, func(f *events.RunFigures) { f.HoldMillis, f.MinMilliC = 0, 133_999 }, 133_999, 134_000, true},
		{run.HoldShort, func(f *events.RunFigures) { f.HoldMillis-- }, 179_999, 180_000, true},
		{run.HoldShort, func(f *events.RunFigures) { f.HoldMillis = 0 }, 0, 180_000, true}, // one reading in the band
		{run.AirLeft, func(f *events.RunFigures) { f.SteamLowMilliK-- }, 2001, 2000, true},
		{run.TooDry, func(f *events.RunFigures) { f.SteamHighMilliK++ }, 2001, 2000, true},
		{run.SensorStuck, func(f *events.RunFigures) { f.Faults = []events.RunFault{{What: events.RunStuck}} }, 0, 0, true},
		{run.OverBand, func(f *events.RunFigures) { f.MaxMilliC++ }, 137_001, 137_000, false},
		{run.Apart, func(f *events.RunFigures) { f.ApartMilliK++ }, 1501, 1500, true},
		{run.EquilibrationLong, func(f *events.RunFigures) { f.EquilibrationMillis++ }, 15_001, 15_000, false},
		{run.DryingShort, func(f *events.RunFigures) { f.DryingMillis-- }, 59_999, 60_000, false},
		{run.SpreadUnknown, func(f *events.RunFigures) { f.Points = 1 }, 0, 0, false},
	} {
		f := good
		x.spoil(&f)
		lacks(t, "a thousandth more", run.Report{Lacks: run.Lacks(&cycle, &f), Figures: f}, x.lack)
		if is, bound := x.lack.Of(&cycle, &f); is != x.is || bound != x.bound || x.lack.Grave() != x.grave {
			t.Errorf("%s: %d of %d, grave %t", x.lack, is, bound, x.lack.Grave())
		}
	}
	// The least that a cycle can ask is asked, and what it leaves out isn't.
	measured := events.RunFigures{Points: 1, HoldMillis: 1, MinMilliC: 134_000, MaxMilliC: 137_000, MinPascal: 1, MaxPascal: 1,
		SteamLowMilliK: -9, SteamHighMilliK: 9, ApartMilliK: 9, EquilibrationMillis: 1001}
	unmeasured := events.RunFigures{Points: 1, HoldMillis: 1, MinMilliC: 134_000}
	for _, x := range []struct {
		cycle            events.RunCycle
		measured, unless []run.Lack
	}{
		{events.RunCycle{}, nil, nil},
		{events.RunCycle{HighMilliC: 1}, []run.Lack{run.OverBand}, nil},
		{events.RunCycle{SteamMilliK: 1}, []run.Lack{run.AirLeft, run.TooDry}, []run.Lack{run.SteamUnknown}},
		{events.RunCycle{ApartMilliK: 1}, []run.Lack{run.Apart, run.SpreadUnknown}, []run.Lack{run.SpreadUnknown}},
		{events.RunCycle{EquilibrationSeconds: 1}, []run.Lack{run.EquilibrationLong}, []run.Lack{run.SpreadUnknown}},
		{events.RunCycle{DryingSeconds: 1}, []run.Lack{run.DryingShort}, []run.Lack{run.DryingUnknown}},
	} {
		x.cycle.LowMilliC = 134_000
		lacks(t, "measured", run.Report{Lacks: run.Lacks(&x.cycle, &measured)}, x.measured...)
		lacks(t, "not measured", run.Report{Lacks: run.Lacks(&x.cycle, &unmeasured)}, x.unless...)
	}
}

// TestAirOf: 1 % of air is 0.346 K at 313.201 kPa, the steam of 135 C (both computed with another program).
func TestAirOf(t *testing.T) {
	for low, want := range map[int64]float64{-346: 0.01, 0: 0, 1: 0} {
		f := events.RunFigures{MinPascal: 300_000, MaxPascal: 313_201, SteamLowMilliK: low, SteamHighMilliK: 2}
		near(t, "share of air", run.AirOf(&f), want, 0.00003)
	}
	near(t, "no pressure", run.AirOf(&events.RunFigures{SteamLowMilliK: -346}), 0, 0)
}

// TestEndsOfTheLine: the formulation holds at both of its ends (IAPWS R7-97: 273.15 K, and the critical point).
func TestEndsOfTheLine(t *testing.T) {
	near(t, "kPa at 273.15 K", run.PressureOf(0), 0.611212677, 1e-9)
	near(t, "kPa at 647.096 K", run.PressureOf(647.096-zero), 22064, 0.5)
	near(t, "C at the lower end", run.SteamAt(0.611212677), 0, 1e-6)
	near(t, "C at the upper end", run.SteamAt(22064), 647.096-zero, 0.01)
}
