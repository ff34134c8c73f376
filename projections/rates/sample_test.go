package rates_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/rates"
)

// TestCleanOpenings: 1 - 0.05^(1/n) < rate, recalculated; Zhu's rate is 8 in 33,839.
func TestCleanOpenings(t *testing.T) {
	for _, tt := range []struct {
		rate       float64
		allowed    int64
		confidence float64
		want       int64
	}{
		{0.01, 0, 0.95, 299}, {0.001, 0, 0.95, 2995}, {0.000236, 0, 0.95, 12693}, {0.0001, 0, 0.95, 29956},
		{0.01, 0, 0.99, 459}, {0.001, 0, 0.99, 4603}, {0.000236, 0, 0.99, 19512}, {0.0001, 0, 0.99, 46050},
		{0.001, 1, 0.95, 4742}, {0.001, 2, 0.95, 6294}, {0.001, 3, 0.95, 7752},
		{0, 0, 0.95, rates.NeverTold}, {0.5, -1, 0.95, rates.NeverTold}, {0.9999, 0, 0.95, 1},
	} {
		if n := rates.CleanFor(tt.rate, tt.allowed, tt.confidence); n != tt.want {
			t.Errorf("below %g with %d seen at %g: %d openings, want %d", tt.rate, tt.allowed, tt.confidence, n, tt.want)
		}
	}
	for rate, days := range map[float64]int64{0.001: 11, 0.000236: 46, 0.0001: 108} { // at 279 a day, begun ones count
		if d := rates.Days(rates.CleanFor(rate, 0, 0.95), 279); d != days {
			t.Errorf("below %g: %d days, want %d", rate, d, days)
		}
	}
	if d := rates.Days(100, 0); d != rates.NeverTold {
		t.Errorf("nothing opened: %d days", d)
	}
	if d := rates.Days(rates.NeverTold, 279); d != rates.NeverTold {
		t.Errorf("never told: %d days", d)
	}
}

// TestPower: R 4.2.2 fisher.test over all tables, run.
func TestPower(t *testing.T) {
	p := rates.Plan{A: 0.003, B: 0.0005, Weight: 1, Level: 0.05, Power: 0.8}
	near(t, "2000 each", p.Sees(2000), 0.315, 5e-4)
	near(t, "5000 each", p.Sees(5000), 0.842, 5e-4)
	n := p.Openings()
	if less := n - n/40; p.Sees(n) < 0.8 || p.Sees(less) >= 0.8 {
		t.Errorf("%d openings: %v, %d: %v", n, p.Sees(n), less, p.Sees(less))
	}
	back := rates.Plan{A: p.B, B: p.A, Weight: 1, Level: 0.05}
	near(t, "the same, the other way round", back.Sees(2000), p.Sees(2000), 1e-12)
	// A second way of counting: every table by itself, with gonum's probabilities.
	uneven := rates.Plan{A: 0.02, B: 0.004, Weight: 2, Level: 0.05}
	total := 0.0
	for a := range int64(40) {
		for b := range int64(40) {
			if rates.Fisher(count(a, 300), count(b, 600), 0.95).P <= 0.05 {
				total += distuv.Binomial{N: 300, P: 0.02}.Prob(float64(a)) * distuv.Binomial{N: 600, P: 0.004}.Prob(float64(b))
			}
		}
	}
	near(t, "300 and 600", uneven.Sees(300), total, 1e-9)
	for _, p := range []rates.Plan{
		{A: 0.001, B: 0.001, Weight: 1, Level: 0.05, Power: 0.8},
		{A: 0.001, B: 0.00100000001, Weight: 1, Level: 0.05, Power: 0.8},
		{A: -0.1, B: 0.5, Weight: 1, Level: 0.05, Power: 0.8}, {A: 1.1, B: 0.5, Weight: 1, Level: 0.05, Power: 0.8},
		{A: 0.5, B: -0.1, Weight: 1, Level: 0.05, Power: 0.8}, {A: 0.5, B: 1.1, Weight: 1, Level: 0.05, Power: 0.8},
		{A: 0.1, B: 0.2, Weight: -1, Level: 0.05, Power: 0.8}, {A: 0.5, B: math.NaN(), Weight: 1}, {A: 0.1, B: 0.2},
	} {
		if n := p.Openings(); n != rates.NeverTold {
			t.Errorf("%v: told after %d", p, n)
		}
	}
	// Where Fisher's test is too dear to ask, the approximation goes on from it.
	for _, w := range []float64{1, 30} {
		far := rates.Plan{A: 0.05, B: 0.03, Weight: w, Level: 0.05, Power: 0.8}
		n := far.Openings()
		if seen := far.Sees(n); float64(n)*(0.05+w*0.03) < 90 || seen < 0.75 || seen > 0.85 {
			t.Errorf("1 to %v: %d openings, in which it is seen %v", w, n, seen)
		}
	}
	if n := (rates.Plan{A: 0.001, B: 0.00101, Weight: 1, Level: 0.05, Power: 0.8}).Openings(); n < 1e8 || n == rates.NeverTold {
		t.Errorf("a hundredth more: %d openings", n)
	}
	// 4 of 4 and 0 of 4: p = 2/70
	for _, a := range []float64{0, 1} {
		if n := (rates.Plan{A: a, B: 1 - a, Weight: 1, Level: 0.05, Power: 0.8}).Openings(); n != 4 {
			t.Errorf("always and never: told after %d", n)
		}
	}
	// By Fleiss, Levin and Paik 2003, 4.2, reckoned by hand: 387.3, 387.3, 289.5.
	for _, x := range []struct {
		rates.Plan
		want int64
	}{
		{rates.Plan{A: 0.5, B: 0.4, Weight: 1}, 388}, {rates.Plan{A: 0.4, B: 0.5, Weight: 1}, 388},
		{rates.Plan{A: 0.5, B: 0.4, Weight: 2}, 290},
	} {
		x.Level, x.Power = 0.05, 0.8
		if n := x.Openings(); n != x.want {
			t.Errorf("%v: told after %d, want %d", x.Plan, n, x.want)
		}
	}
}
