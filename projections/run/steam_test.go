package run_test

import (
	"math"
	"testing"

	"listbound/projections/run"
)

// near fails unless a number has the digits that its source printed.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) { // NaN is near nothing
		t.Errorf("%s: %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

const zero = 273.15

// TestTable35 has all digits of IAPWS R7-97, table 35.
func TestTable35(t *testing.T) {
	for k, mpa := range map[float64]float64{300: 0.353658941e-2, 500: 0.263889776e1, 600: 0.123443146e2} {
		near(t, "pressure in MPa", run.PressureOf(k-zero)/1000, mpa, 0.5e-9*math.Pow(10, math.Ceil(math.Log10(mpa))))
	}
}

// TestTable36 has all digits of IAPWS R7-97, table 36; three more were computed with another program.
func TestTable36(t *testing.T) {
	for kPa, k := range map[float64][2]float64{100: {372.755919, 372.755918611}, 1000: {453.035632, 453.035632391},
		10000: {584.149488, 584.149487999}} {
		near(t, "temperature in K", run.SteamAt(kPa)+zero, k[0], 0.5e-6)
		near(t, "temperature in K", run.SteamAt(kPa)+zero, k[1], 0.5e-9)
	}
}

// TestSteamOfCycles: computed from the release's ten coefficients with another program.
func TestSteamOfCycles(t *testing.T) {
	for c, kPa := range map[float64]float64{115: 169.177, 121: 205.039, 126: 239.460, 132: 286.823, 134: 304.199, 135: 313.201,
		137: 331.852, 138: 341.508} {
		near(t, "pressure in kPa", run.PressureOf(c), kPa, 0.0005)
	}
	near(t, "K per kPa at 134 C", run.SteamAt(304.699)-run.SteamAt(303.699), 0.1124, 0.00005)
}

// TestThereAndBack: the two equations are each other's inverse over all of the line, and end where it ends.
func TestThereAndBack(t *testing.T) {
	for c := 0.01; c < 373.9; c += 0.37 {
		near(t, "there and back", run.SteamAt(run.PressureOf(c)), c, 1e-7)
	}
	for _, c := range []float64{-0.01, 374, math.NaN(), math.Inf(1)} {
		if got := run.PressureOf(c); !math.IsNaN(got) {
			t.Errorf("steam of %g C has %g kPa", c, got)
		}
	}
	for _, p := range []float64{-101, 0, 0.61, 22065, math.NaN()} {
		if got := run.SteamAt(p); !math.IsNaN(got) {
			t.Errorf("steam of %g kPa has %g C", p, got)
		}
	}
}

// TestAirLeft: a chamber at the pressure of 134 C that holds air as well is colder. 1 % of air is 0.34 K.
func TestAirLeft(t *testing.T) {
	p := run.PressureOf(134)
	for share, c := range map[float64]float64{0.01: 133.66, 0.02: 133.31, 0.05: 132.25, 0.10: 130.43} {
		near(t, "temperature with air", run.SteamAt((1-share)*p), c, 0.005)
		near(t, "air by the temperature", run.Air(run.SteamAt((1-share)*p), p), share, 1e-9)
	}
	near(t, "1 % of air", 134-run.SteamAt(0.99*p), 0.34, 0.005)
	near(t, "steam too dry holds no air", run.Air(140, p), 0, 0)
}

// TestGaugeNeedsTheBarometer: 134 C is 202.9 kPa on a gauge at the sea, and 220.8 at a barometer of 83.4 kPa.
func TestGaugeNeedsTheBarometer(t *testing.T) {
	const psi = 6.894757293168 // kPa, NIST SP 811
	for _, x := range []struct{ barometer, gauge, psig float64 }{{101.325, 202.9, 29.4}, {83.4, 220.8, 32.0}} {
		near(t, "gauge", run.PressureOf(134)-x.barometer, x.gauge, 0.05)
		near(t, "gauge in psi", (run.PressureOf(134)-x.barometer)/psi, x.psig, 0.05)
	}
	// By the barometer of the sea the same gauge is a chamber 2 K hotter than it is.
	near(t, "up a mountain, by the sea's barometer", run.SteamAt(220.8+101.325), 135.96, 0.05)
}

// TestRates: minutes at the reference for a minute at a temperature, which tell by which reference a program counts.
func TestRates(t *testing.T) {
	for c, want := range map[float64][3]float64{
		110: {0.07943, 0.07762, 0.07743}, 111: {0.10000, 0.09772, 0.09747}, 115: {0.25119, 0.24547, 0.24484},
		118: {0.50119, 0.48978, 0.48853}, 121: {1.00000, 0.97724, 0.97474}, 124: {1.99526, 1.94984, 1.94486},
		126: {3.16228, 3.09030, 3.08240}, 130: {7.94328, 7.76247, 7.74264}, 132: {12.58925, 12.30269, 12.27125},
		134: {19.95262, 19.49845, 19.44862}, 135: {25.11886, 24.54709, 24.48437}, 137: {39.81072, 38.90451, 38.80511},
	} {
		for i, reference := range []float64{121, 121.1, (250.0 - 32) / 1.8} {
			near(t, "lethal rate", run.Lethality{Reference: reference, Z: 10}.Rate(c), want[i], 0.000006)
		}
	}
	near(t, "134 C, by the reference of the figures", run.F0.Rate(134), 19.953, 0.0005)
}

// TestPlateaus: 15 min at 121 and 111 C are of the FDA's definition of 1976 in a technical note; the others were computed.
func TestPlateaus(t *testing.T) {
	for _, x := range []struct{ minutes, at, f0, f0Of1211 float64 }{
		{15, 121, 15, 14.659}, {15, 111, 1.5, math.NaN()}, {15, 124, 29.93, math.NaN()}, {3, 134, 59.858, 58.495}, {4, 132, 50.357, 49.211},
	} {
		near(t, "F0", run.F0.Between(x.minutes, x.at, x.at), x.f0, 0.005)
		if !math.IsNaN(x.f0Of1211) {
			near(t, "F0 at 121.1", run.Lethality{Reference: 121.1, Z: 10}.Between(x.minutes, x.at, x.at), x.f0Of1211, 0.0005)
		}
	}
}

// ramp is the F0 of a straight rise or fall, in closed form.
func ramp(minutes, from, to float64) float64 {
	return minutes * 10 / (math.Ln10 * (to - from)) * (run.F0.Rate(to) - run.F0.Rate(from))
}

// trapezoid is that of readings at every step of a ramp.
func trapezoid(minutes, from, to, step float64) float64 {
	total, n := 0.0, math.Round(minutes*60/step)
	at := func(i float64) float64 { return from + (to-from)*i/n }
	for i := 0.0; i < n; i++ {
		total += run.F0.Between(minutes/n, at(i), at(i+1))
	}
	return total
}

// TestRamps: the closed form has the digits of another program, and the trapezoid errs by what its step says.
func TestRamps(t *testing.T) {
	for _, x := range []struct{ minutes, from, to, f0 float64 }{{5, 100, 134, 12.7380359}, {3, 134, 100, 7.6428215},
		{10, 111, 121, 3.9086503}} {
		near(t, "ramp", ramp(x.minutes, x.from, x.to), x.f0, 0.5e-7)
		near(t, "trapezoid at 0.1 s", trapezoid(x.minutes, x.from, x.to, 0.1), x.f0, 1e-4)
	}
	exact := ramp(5, 100, 134) + run.F0.Between(3, 134, 134) + ramp(3, 134, 100)
	near(t, "whole test run", exact, 80.2387269, 0.5e-7)
	for step, want := range map[float64]float64{1: 80.24065, 5: 80.28689, 10: 80.43104, 30: 81.93752} {
		got := trapezoid(5, 100, 134, step) + run.F0.Between(3, 134, 134) + trapezoid(3, 134, 100, step)
		near(t, "whole test run by its readings", got, want, 0.5e-5)
	}
	near(t, "30 s errs by", 100*(81.93752/exact-1), 2.1, 0.05)
	near(t, "5 s errs by", 100*(80.28689/exact-1), 0.06, 0.005)
}

// TestReductions: log reduction = F0/D121.
func TestReductions(t *testing.T) {
	for _, x := range []struct{ f0, d, logs float64 }{{15, 1.5, 10}, {18, 1.5, 12}, {24, 2, 12}} {
		near(t, "decimal reductions", run.Reductions(x.f0, x.d), x.logs, 1e-12)
	}
	near(t, "10^6 spores", 6-run.Reductions(15, 1.5), -4, 1e-12)
	near(t, "10^6 spores of D 2", 6-run.Reductions(24, 2), -6, 1e-12)
}
