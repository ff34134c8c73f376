package rates_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/rates"
)

// TestFisher: R 4.2.2 fisher.test, run. The first two are its documentation's examples
// (Fisher's tea tasting; Fisher 1962, convictions of twins). R looks for the ends of a
// range to 1.2e-4 only (uniroot's tolerance), of the ratio or of its inverse.
func TestFisher(t *testing.T) {
	const uniroot = 1.23e-4
	inf := math.Inf(1)
	tea := rates.Fisher(count(3, 4), count(1, 4), 0.95)
	near(t, "tea, two sides", tea.P, 0.485714, 5e-7)
	near(t, "tea, ratio", tea.Ratio, 6.408309, uniroot)
	near(t, "tea, more", rates.FisherMore(count(3, 4), count(1, 4)), 0.242857143, 1e-9)
	// One side at 95 % is two sides at 90 %.
	tea = rates.Fisher(count(3, 4), count(1, 4), 0.90)
	near(t, "tea, range from", tea.Range.Low, 0.3135693, uniroot)

	twins := rates.Fisher(count(2, 12), count(15, 18), 0.90)
	near(t, "twins, two sides", twins.P, 0.000536724, 1e-9)
	near(t, "twins, ratio", twins.Ratio, 0.0469366, uniroot)
	near(t, "twins, less", rates.FisherMore(count(15, 18), count(2, 12)), 0.000465181, 1e-9)
	twins = rates.Fisher(count(2, 12), count(15, 18), 0.95)
	near(t, "twins, range from", twins.Range.Low, 0.00332577, uniroot)
	near(t, "twins, range to", twins.Range.High, 0.36318227, uniroot)

	near(t, "6 and 0 of 2000", rates.Fisher(count(6, 2000), count(0, 2000), 0.95).P, 0.0311329, 1e-7)
	near(t, "5 and 0 of 2000", rates.Fisher(count(5, 2000), count(0, 2000), 0.95).P, 0.0623438, 1e-7)

	none := rates.Fisher(count(0, 9), count(0, 5), 0.95)
	near(t, "none in either", none.P, 1, 1e-12)
	if !math.IsNaN(none.Ratio) || none.Range != (rates.Interval{Low: 0, High: inf}) {
		t.Errorf("none in either: %v", none)
	}
	c := rates.Fisher(count(6, 2000), count(0, 2000), 0.95)
	if c.Ratio != inf || c.Range.High != inf || !(c.Range.Low > 1) {
		t.Errorf("6 and 0 of 2000: %v", c)
	}
	if c := rates.Fisher(count(0, 2000), count(6, 2000), 0.95); c.Ratio != 0 || c.Range.Low != 0 {
		t.Errorf("0 and 6 of 2000: %v", c)
	}
	for _, c := range []rates.Compared{
		rates.Fisher(count(3, 2), count(0, 5), 0.95), rates.Fisher(count(0, 5), count(-1, 5), 0.95),
		{P: rates.FisherMore(count(3, 2), count(0, 5))},
		rates.RateRatio(1, -1, 5, 5, 0.95), rates.RateRatio(1, 1, 0, 5, 0.95), rates.RateRatio(1, 1, 5, 0, 0.95),
	} {
		if !math.IsNaN(c.P) {
			t.Errorf("of what cannot be: %v", c)
		}
	}
}

// TestRateRatio: R 4.2.2 poisson.test(c(11, 21), c(800, 3011)), run.
func TestRateRatio(t *testing.T) {
	c := rates.RateRatio(11, 21, 800, 3011, 0.95)
	near(t, "p", c.P, 0.0796686, 1e-7)
	near(t, "ratio", c.Ratio, 1.971488, 1e-6)
	near(t, "from", c.Range.Low, 0.858426, 1e-6)
	near(t, "to", c.Range.High, 4.277266, 1e-6)
}

// TestFisherAgainstSecondSource: tables summed with gonum's binomial coefficients.
func TestFisherAgainstSecondSource(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 2))
	for range 200 {
		na, nb := 1+r.Int64N(4000), 1+r.Int64N(4000)
		a, b := count(r.Int64N(min(na, 12)+1), na), count(r.Int64N(min(nb, 12)+1), nb)
		seen := a.Seen + b.Seen
		way := func(x int64) float64 {
			return math.Exp(combin.LogGeneralizedBinomial(float64(na), float64(x)) +
				combin.LogGeneralizedBinomial(float64(nb), float64(seen-x)) -
				combin.LogGeneralizedBinomial(float64(na+nb), float64(seen)))
		}
		both, more := 0.0, 0.0
		for x := max(0, seen-nb); x <= min(seen, na); x++ {
			if way(x) <= way(a.Seen)*(1+1e-7) {
				both += way(x)
			}
			if x >= a.Seen {
				more += way(x)
			}
		}
		near(t, "two sides", rates.Fisher(a, b, 0.95).P, both, 1e-8)
		near(t, "more", rates.FisherMore(a, b), more, 1e-8)
		d := distuv.Binomial{N: float64(seen), P: float64(na) / float64(na+nb)}
		both = 0
		for k := range seen + 1 {
			if d.Prob(float64(k)) <= d.Prob(float64(a.Seen))*(1+1e-7) {
				both += d.Prob(float64(k))
			}
		}
		near(t, "rates", rates.RateRatio(a.Seen, b.Seen, float64(na), float64(nb), 0.95).P, both, 1e-9)
	}
}

// TestFisherOfTheClean: of those with none the ratio is the other way round, and as exact where most have one.
func TestFisherOfTheClean(t *testing.T) {
	c, clean := rates.Fisher(count(9, 10), count(8, 12), 0.95), rates.Fisher(count(1, 10), count(4, 12), 0.95)
	near(t, "p", c.P, clean.P, 1e-12)
	near(t, "ratio", c.Ratio*clean.Ratio, 1, 1e-9)
	near(t, "low", c.Range.Low*clean.Range.High, 1, 1e-9)
	near(t, "high", c.Range.High*clean.Range.Low, 1, 1e-9)
}
