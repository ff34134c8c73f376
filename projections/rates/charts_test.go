package rates_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/rates"
)

// signals returns the numbers, from one, of the points that break a rule.
func signals(c rates.Chart, r rates.Rule) (at []int) {
	for i, p := range c.Points {
		if slices.ContainsFunc(p.Signals, func(s rates.Signal) bool { return s.Rule == r }) {
			at = append(at, i+1)
		}
	}
	return at
}

func same(t *testing.T, what string, got, want []int) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: points %v, want %v", what, got, want)
	}
}

// wafers are NIST/SEMATECH e-Handbook 6.3.3.2 (30 samples of 50), as Montgomery's table 7.4.
func wafers() (out []rates.Count) {
	for _, n := range []int64{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9,
		12, 7, 13, 9, 6} {
		out = append(out, count(n, 50))
	}
	return out
}

func TestSharesOfNIST(t *testing.T) {
	c := rates.P(wafers())
	near(t, "centre", c.Center, 0.2313333, 1e-7)
	near(t, "high", c.Points[0].High, 0.4102391, 1e-7) // printed 0.4103, rounded up
	near(t, "low", c.Points[0].Low, 0.0524275, 1e-7)
	same(t, "p chart", signals(c, rates.Beyond), []int{15, 23})

	kept := slices.Delete(slices.Delete(wafers(), 22, 23), 14, 15)
	c = rates.P(kept)
	near(t, "centre without 15 and 23", c.Center, 0.2150, 1e-9)
	near(t, "high without 15 and 23", c.Points[0].High, 0.3892972, 1e-7)
	near(t, "low without 15 and 23", c.Points[0].Low, 0.0407028, 1e-7)

	// Of two points by hand: z is -1.400280 and 1.400280.
	near(t, "spread of two", rates.PPrime([]rates.Count{count(10, 100), count(20, 100)}).Spread, 2*1.400280/1.128, 1e-6)

	// Laney's sigma of z is the mean moving range over 1.128. A public page takes the
	// standard deviation of z, 1.716144, and gets 0.538361.
	c = rates.PPrime(wafers())
	near(t, "spread", c.Spread, 1.66086672, 1e-8)
	near(t, "high", c.Points[0].High, 0.528472, 1e-6)
	near(t, "low", c.Points[0].Low, 0, 0)
	same(t, "p' chart", signals(c, rates.Beyond), nil)
	if c.TooRare {
		t.Error("11.6 expected at each point are called too rare")
	}
}

// TestLimitsStep: each point has the limits of what was looked at for it.
func TestLimitsStep(t *testing.T) {
	c := rates.P([]rates.Count{count(12, 100), count(40, 400), count(8, 100)})
	near(t, "four times as many, half as wide", c.Points[1].High-c.Center, (c.Points[0].High-c.Center)/2, 1e-12)
	if !rates.P([]rates.Count{count(12, 100), count(0, 4)}).TooRare {
		t.Error("fewer than one expected at a point are not called too rare")
	}
	for _, bad := range [][]rates.Count{nil, {count(1, 0)}, {count(0, 0)}} {
		if c := rates.PPrime(bad); !math.IsNaN(c.Center) {
			t.Errorf("%v: %v", bad, c)
		}
	}
}

// TestRun: nine in a row on one side of the centre, and a point on it begins anew.
func TestRun(t *testing.T) {
	var groups []rates.Count
	for i := range 19 {
		seen := int64(12)
		if i >= 10 {
			seen = 8
		}
		groups = append(groups, count(seen, 100))
	}
	groups = append(groups, count(16, 100))
	c := rates.P(groups)
	same(t, "runs", signals(c, rates.Run), []int{9, 10, 19})
	if s := c.Points[18].Signals[0]; s.High || c.Points[9].Signals[0].High != true {
		t.Errorf("to the wrong side: %v", s)
	}
	on := rates.P([]rates.Count{count(5, 50), count(6, 50), count(4, 50)})
	same(t, "runs on the centre", signals(on, rates.Run), nil)
	all := make([]rates.Count, 20)
	for i := range all {
		all[i] = count(5, 50)
	}
	same(t, "all on the centre", signals(rates.P(all), rates.Run), nil)
	times := make([]float64, 18)
	for i := range times {
		times[i] = []float64{1, 3}[i/9]
	}
	same(t, "times", signals(rates.T(times), rates.Run), []int{9, 18})
	same(t, "times, Nelson", signals(rates.TNelson(times), rates.Run), []int{9, 18})
}

// infections are the gaps of Benneyan's example; dates as SAS/QC 14.1 prints them
// (RAREEVENTS, getting started).
func infections() []int64 {
	return []int64{0, 0, 2, 1, 13, 2, 0, 1, 1, 1, 1, 0, 1, 1, 16, 0, 1, 1, 2, 10, 1, 1, 2, 2, 0, 2, 3, 0}
}

func TestGaps(t *testing.T) {
	c := rates.G(infections(), rates.ByThreeSigma)
	near(t, "mean", c.Center, 2.3214286, 1e-7)
	near(t, "three sigma", c.Points[0].High, 10.6517427, 1e-7)
	same(t, "three sigma", signals(c, rates.Beyond), []int{5, 15})
	c = rates.G(infections(), rates.ByProbability)
	near(t, "low", c.Points[0].Low, 0, 0)
	near(t, "high", c.Points[0].High, 18, 0)
	same(t, "probability", signals(c, rates.Beyond), nil)
	zeros := func(gaps ...int64) []int { return signals(rates.G(gaps, rates.ByProbability), rates.Zeros) }
	same(t, "zeros where every third gap is one", zeros(0, 0, 0, 0, 7, 3), nil)
	same(t, "zeros where they are rare", zeros(700, 0, 0, 0, 300, 900), []int{4})
	short := rates.G([]int64{9000, 8000, 3, 7000, 9500, 11000}, rates.ByProbability)
	same(t, "too soon", signals(short, rates.Beyond), []int{3})
	if short.Points[2].Signals[0].High {
		t.Error("a gap too short is called too long")
	}
	// u-analytics documents the same limits for means of 10 and 30.
	for mean, high := range map[int64]float64{10: 41.4643, 30: 121.4877} {
		near(t, "three sigma", rates.G([]int64{mean, mean}, rates.ByThreeSigma).Points[0].High, high, 1e-4)
	}
	for _, bad := range [][]int64{nil, {3, -1}} {
		if c := rates.G(bad, rates.ByProbability); !math.IsNaN(c.Center) {
			t.Errorf("%v: %v", bad, c)
		}
	}
	if c := rates.G([]int64{0, 0}, rates.ByProbability); c.Points[0].High != 0 {
		t.Errorf("an incident at every opening: %v", c)
	}
}

// urinary are the 54 days between infections of Santiago and Smith 2013.
func urinary() []float64 {
	return []float64{
		0.57014, 0.07431, 0.15278, 0.14583, 0.13889, 0.14931, 0.03333, 0.08681, 0.33681, 0.03819, 0.24653, 0.29514,
		0.11944, 0.05208, 0.12500, 0.25000, 0.40069, 0.02500, 0.12014, 0.11458, 0.00347, 0.12014, 0.04861, 0.02778,
		0.32639, 0.64931, 0.14931, 0.01389, 0.03819, 0.46806, 0.22222, 0.29514, 0.53472, 0.15139, 0.52569, 0.07986,
		0.27083, 0.04514, 0.13542, 0.08681, 0.40347, 0.12639, 0.18403, 0.70833, 0.15625, 0.24653, 0.04514, 0.01736,
		1.08889, 0.05208, 0.02778, 0.03472, 0.23611, 0.35972,
	}
}

func TestTimes(t *testing.T) {
	c := rates.T(urinary())
	near(t, "values", float64(len(c.Points)), 54, 0)
	near(t, "mean", stat.Mean(urinary(), nil), 0.2102624, 1e-7)
	near(t, "median", c.Center, 0.1457428, 1e-7)
	near(t, "low", c.Points[0].Low, 0.000284046, 1e-9)
	near(t, "high", c.Points[0].High, 1.389341, 1e-6)
	same(t, "exponential", signals(c, rates.Beyond), nil)
	near(t, "high in means", rates.T([]float64{1}).Points[0].High, 6.6076507, 1e-7)
	near(t, "low in means", rates.T([]float64{1}).Points[0].Low, 0.0013509, 1e-7)

	c = rates.TNelson(urinary())
	near(t, "Nelson, high", c.Points[0].High, 1.499009, 1e-6)
	near(t, "Nelson, centre", c.Center, 0.147992, 1e-6)
	// Of two times by hand: the roots are 1 and 1.1, their mean 1.05, and 2.66 moving ranges 0.266.
	c = rates.TNelson([]float64{1, math.Pow(1.1, 3.6)})
	near(t, "Nelson of two, low", c.Points[0].Low, math.Pow(1.05-0.266, 3.6), 1e-12)
	near(t, "Nelson of two, high", c.Points[0].High, math.Pow(1.05+0.266, 3.6), 1e-12)
	for _, bad := range [][]float64{nil, {1, math.NaN()}, {1, -1}} {
		if !math.IsNaN(rates.T(bad).Center) || !math.IsNaN(rates.TNelson(bad).Center) {
			t.Errorf("a chart of %v", bad)
		}
	}
}

// TestLimitsOutside: probability limits leave out what they say, by gonum's distributions.
func TestLimitsOutside(t *testing.T) {
	for _, mean := range []int64{3, 40, 5000} {
		c := rates.G([]int64{mean, mean}, rates.ByProbability)
		// gonum has no geometric distribution: a gap beyond the limit is no incident in
		// the limit's openings and one more.
		p := 1 / (1 + float64(mean))
		for _, at := range []struct{ limit, most float64 }{{c.Points[0].High, 0.00135}, {c.Points[0].Low, 1 - 0.00135}} {
			beyond := distuv.Binomial{N: at.limit + 1, P: p}.Prob(0)
			before := distuv.Binomial{N: at.limit, P: p}.Prob(0)
			if beyond > at.most+1e-12 || at.limit > 0 && before <= at.most-1e-12 {
				t.Errorf("mean %d: limit %v leaves %v out, one less %v", mean, at.limit, beyond, before)
			}
		}
	}
	e := distuv.Exponential{Rate: 1 / 2.5}
	c := rates.T([]float64{1, 4})
	near(t, "below", e.CDF(c.Points[0].Low), 0.00135, 1e-12)
	near(t, "above", e.Survival(c.Points[0].High), 0.00135, 1e-12)
	near(t, "half", e.CDF(c.Center), 0.5, 1e-12)
}

// TestRulesHaveSources: whoever is asked why can look it up.
func TestRulesHaveSources(t *testing.T) {
	for _, r := range []rates.Rule{rates.Beyond, rates.Run, rates.Zeros} {
		if r.Source() == "" {
			t.Errorf("%s has no source", r)
		}
	}
	if s := rates.Rule("other").Source(); s != "" {
		t.Errorf("an unknown rule has a source, %q", s)
	}
}
