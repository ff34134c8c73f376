package rates_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/rates"
)

// near fails unless a number has the digits that its source printed.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) { // NaN is near nothing
		t.Errorf("%s: %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

func count(seen, of int64) rates.Count { return rates.Count{Seen: seen, Of: of} }

// TestClopperPearson: values of others' programs, each with its source.
func TestClopperPearson(t *testing.T) {
	const scipy, r, nist = "SciPy 1.7 documentation, BinomTestResult.proportion_ci",
		"R 4.2.2 binom.test and SciPy 1.10.1 binomtest, run", "NIST/SEMATECH e-Handbook 7.2.4.1"
	for _, tt := range []struct {
		c          rates.Count
		confidence float64
		low, high  float64
		digits     float64
		source     string
	}{
		{count(7, 50), 0.95, 0.0581917003, 0.2673960025, 1e-10, scipy},
		{count(4, 20), 0.90, 0.0713539, 0.4010281, 1e-6, nist},
		{count(8, 33839), 0.95, 0.0001020720, 0.0004657756, 1e-10, r + "; Zhu 2019, wrong tags"},
		{count(398, 33839), 0.95, 0.0106402, 0.0129679, 1e-7, "Zhu 2019, all packing errors"},
		{count(34, 191168), 0.95, 0.0001232, 0.0002485, 1e-7, "Cima 2008"},
		{count(19, 148), 0.95, 0.0790941, 0.1932001, 1e-7, "Greenberg 2008"},
		{count(0, 300), 0.95, 0, 0.0122209747, 1e-10, r},
		{count(0, 3000), 0.95, 0, 0.0012288708, 1e-10, r},
		{count(3, 3000), 0.95, 0.0002062715, 0.0029196165, 1e-10, r},
		{count(29, 29), 0.95, 0.8805551309, 1, 1e-10, r},
		{count(81, 263), 0.95, 0.2527367, 0.3676219, 1e-7, "Newcombe 1998, table I"},
		{count(15, 148), 0.95, 0.0578440, 0.1616505, 1e-7, "Newcombe 1998, table I"},
		{count(0, 20), 0.95, 0, 0.1684335, 1e-7, "Newcombe 1998, table I"},
		{count(1, 29), 0.95, 0.0008726, 0.1776443, 1e-7, "Newcombe 1998, table I"},
		{count(2, 100), 0.95, 0.0024313, 0.0703839, 1e-7, "gonum 0.17.0 and exact fractions"},
		{count(0, 0), 0.95, 0, 1, 0, "of nothing nothing is known"},
	} {
		i := rates.ClopperPearson(tt.c, tt.confidence)
		near(t, tt.source+", low", i.Low, tt.low, tt.digits)
		near(t, tt.source+", high", i.High, tt.high, tt.digits)
	}
}

// TestPublishedRates: the rates that papers print come from their own counts.
func TestPublishedRates(t *testing.T) {
	for _, tt := range []struct {
		c                  rates.Count
		want, digits, unit float64
		source             string
	}{
		{count(68, 191168), 0.356, 0.001, 1000, "Cima 2008, events"},
		{count(34, 191168), 0.178, 0.001, 1000, "Cima 2008, retained"},
		{count(17, 22), 77.3, 0.05, 100, "Egorova 2008, sensitivity"},
		{count(17, 1062), 1.6, 0.05, 100, "Egorova 2008, predictive value"},
		{count(19, 148), 12.8, 0.05, 100, "Greenberg 2008"},
		{count(398, 33839), 11.76, 0.005, 1000, "Zhu 2019, all"},
		{count(8, 33839), 0.236, 0.0005, 1000, "Zhu 2019, wrong tag"},
		{count(347, 1500), 23.13, 0.005, 100, "NIST 6.3.3.2"},
	} {
		near(t, tt.source, tt.c.Rate()*tt.unit, tt.want, tt.digits)
	}
	sum := 0
	for _, n := range []int{175, 77, 70, 27, 15, 14, 8, 6, 6} { // Zhu 2019, kinds of error
		sum += n
	}
	near(t, "Zhu 2019, sum of kinds", float64(sum), 398, 0)
}

// TestExactInFractions: Clopper and Pearson's own condition, in whole fractions that
// share no line with any other program.
func TestExactInFractions(t *testing.T) {
	for _, c := range []rates.Count{count(2, 100), count(0, 20), count(7, 50), count(29, 30)} {
		i := rates.ClopperPearson(c, 0.95)
		if c.Seen > 0 {
			near(t, "so many or more at the low end", 1-upTo(c.Seen-1, c.Of, i.Low), 0.025, 1e-12)
		}
		near(t, "so few or fewer at the high end", upTo(c.Seen, c.Of, i.High), 0.025, 1e-12)
	}
}

// upTo is the probability of x or fewer in n, as a sum of fractions.
func upTo(x, n int64, p float64) float64 {
	yes := new(big.Rat).SetFloat64(p)
	no := new(big.Rat).Sub(big.NewRat(1, 1), yes)
	sum := new(big.Rat)
	for k := range x + 1 {
		term := new(big.Rat).SetInt(new(big.Int).Binomial(n, k))
		for j := range n {
			if j < k {
				term.Mul(term, yes)
			} else {
				term.Mul(term, no)
			}
		}
		sum.Add(sum, term)
	}
	f, _ := sum.Float64()
	return f
}

// TestGarwood: R 4.2.2 poisson.test, run.
func TestGarwood(t *testing.T) {
	for seen, want := range map[int64]rates.Interval{
		0: {0, 3.688879454}, 1: {0.025317808, 5.571643391}, 2: {0.242209279, 7.224687668}, 3: {0.618672123, 8.767273070},
		5: {1.623486390, 11.668332079}, 8: {3.453832177, 15.763189220}, 10: {4.795388696, 18.390356042},
		20: {12.216519585, 30.888377903},
	} {
		i := rates.Garwood(seen, 0.95)
		near(t, "low", i.Low, want.Low, 1e-8)
		near(t, "high", i.High, want.High, 1e-8)
	}
	// R prints 4.753125 and 6.692709 for poisson.test(137, 24.19893); a public test
	// suite claims 4.739093 and 6.665835, which R does not.
	i := rates.Garwood(137, 0.95)
	near(t, "137 in 24.19893, rate", 137/24.19893, 5.661407343, 1e-9)
	near(t, "137 in 24.19893, low", i.Low/24.19893, 4.753124805, 1e-9)
	near(t, "137 in 24.19893, high", i.High/24.19893, 6.692709334, 1e-9)
}

// TestMidP: recalculated from the definition; the first three digits of four of them
// are printed in Newcombe 1998, table I.
func TestMidP(t *testing.T) {
	for c, want := range map[rates.Count]rates.Interval{
		count(7, 50): {0.06334300, 0.25740498}, count(81, 263): {0.25440210, 0.36577347},
		count(15, 148): {0.06006360, 0.15812173}, count(0, 20): {0, 0.13910834}, count(1, 29): {0.00172477, 0.15853738},
		count(0, 0): {0, 1},
	} {
		i := rates.MidP(c, 0.95)
		near(t, "low", i.Low, want.Low, 1e-8)
		near(t, "high", i.High, want.High, 1e-8)
	}
}

// TestOneSided: the rule of three, and its exact form.
func TestOneSided(t *testing.T) {
	near(t, "0 in 1500", rates.UpperBound(count(0, 1500), 0.95), 0.0019952, 1e-7)
	near(t, "0 in 300", rates.UpperBound(count(0, 300), 0.95), 0.0099361, 1e-7)
	near(t, "0 in 300, closed form", rates.UpperBound(count(0, 300), 0.95), 1-math.Pow(0.05, 1.0/300), 1e-15)
	near(t, "all", rates.UpperBound(count(5, 5), 0.95), 1, 0)
}

// TestNoNumberOfWhatCannotBe: a mistake is not shown as a rate.
func TestNoNumberOfWhatCannotBe(t *testing.T) {
	for _, c := range []rates.Count{count(-1, 5), count(6, 5), count(0, -1)} {
		for what, i := range map[string]rates.Interval{
			"exact": rates.ClopperPearson(c, 0.95), "mid-p": rates.MidP(c, 0.95),
			"one side": {Low: rates.UpperBound(c, 0.95), High: rates.UpperBound(c, 0.95)},
		} {
			if !math.IsNaN(i.Low) || !math.IsNaN(i.High) {
				t.Errorf("%s of %v: %v", what, c, i)
			}
		}
	}
	if i := rates.Garwood(-1, 0.95); !math.IsNaN(i.High) {
		t.Errorf("-1 seen: %v", i)
	}
}

// TestAgainstSecondSource: gonum's distributions, over the counts of a hospital.
func TestAgainstSecondSource(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 1))
	for range 400 {
		n := int64(math.Exp(r.Float64()*13)) + 1
		x := min(int64(math.Exp(r.Float64()*math.Log(float64(n)+1)))-1, n)
		i := rates.ClopperPearson(count(x, n), 0.95)
		if x > 0 {
			d := distuv.Beta{Alpha: float64(x), Beta: float64(n - x + 1)}
			near(t, "share, low", d.CDF(i.Low), 0.025, 1e-9)
			near(t, "count, low", distuv.Gamma{Alpha: float64(x), Beta: 1}.CDF(rates.Garwood(x, 0.95).Low), 0.025, 1e-9)
		}
		if x < n {
			d := distuv.Beta{Alpha: float64(x) + 1, Beta: float64(n - x)}
			near(t, "share, high", 1-d.CDF(i.High), 0.025, 1e-9)
		}
		near(t, "count, high", 1-distuv.Gamma{Alpha: float64(x) + 1, Beta: 1}.CDF(rates.Garwood(x, 0.95).High), 0.025, 1e-9)
		a, b, at := r.Float64()*40+0.1, r.Float64()*5000+0.1, r.Float64()
		ours, theirs := rates.Beta{A: a, B: b}, distuv.Beta{Alpha: a, Beta: b}
		at *= 2 * a / (a + b)
		near(t, "belief", ours.Below(at), theirs.CDF(at), 1e-10)
		near(t, "belief, other side", ours.Above(at), 1-theirs.CDF(at), 1e-10)
		near(t, "belief, quantile", ours.Quantile(0.9), theirs.Quantile(0.9), 1e-9)
		near(t, "mean", ours.Mean(), theirs.Mean(), 1e-12)
	}
}
