package rates

import (
	"math"
	"testing"
)

// holds compares what is reckoned with what it is, relative to it.
func holds(t *testing.T, what string, got, want, by float64) {
	t.Helper()
	if !(math.Abs(got-want) <= by*math.Abs(want)) {
		t.Errorf("%s: %.17g, is %.17g", what, got, want)
	}
}

// TestGammaInClosedForm: of a whole shape a the gamma distribution's upper side is a sum of a Poisson's terms (NIST DLMF 8.4.10;
// this number and those below from memory), of a half it is the error function (DLMF 8.4.1).
func TestGammaInClosedForm(t *testing.T) {
	for _, x := range []float64{0, 1e-9, 0.1, 0.5, 1, 1.5, 2, 3, 5, 8, 12, 30} {
		for a := 1.0; a <= 12; a++ {
			above, term := 0.0, math.Exp(-x)
			for k := 1.0; k <= a; k++ {
				above += term
				term *= x / k
			}
			low, high := gammaSides(a, x)
			holds(t, "above", high, above, 1e-12)
			if 1-above > 0.01 {
				holds(t, "below", low, 1-above, 1e-12)
			}
		}
		low, high := gammaSides(0.5, x)
		holds(t, "half, below", low, math.Erf(math.Sqrt(x)), 1e-13)
		holds(t, "half, above", high, math.Erfc(math.Sqrt(x)), 1e-12)
	}
}

// TestBetaInClosedForm: of whole shapes both sides of a beta distribution are sums of a binomial's terms (NIST DLMF 8.17.5); of
// halves it is the arcsine's (DLMF 8.17.1 integrated).
func TestBetaInClosedForm(t *testing.T) {
	for _, x := range []float64{0, 1e-9, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 1} {
		for a := range 8 {
			for b := range 8 {
				below, above := 0.0, 0.0
				n := a + b + 1
				for k := range n + 1 {
					term := math.Pow(x, float64(k)) * math.Pow(1-x, float64(n-k))
					for i := range k { // n over k
						term *= float64(n-i) / float64(i+1)
					}
					if k > a {
						below += term
					} else {
						above += term
					}
				}
				d := Beta{float64(a + 1), float64(b + 1)}
				holds(t, "below", d.Below(x), below, 1e-12)
				holds(t, "above", d.Above(x), above, 1e-12)
				holds(t, "at least", binomialAtLeast(int64(a+1), int64(n), x), below, 1e-12)
			}
		}
		holds(t, "halves", Beta{0.5, 0.5}.Below(x), 2/math.Pi*math.Asin(math.Sqrt(x)), 1e-13)
	}
	for n := range int64(4) {
		if binomialAtLeast(0, n, 0.3) != 1 || binomialAtLeast(n+1, n, 0.3) != 0 {
			t.Errorf("none or more, and more than all, of %d", n)
		}
	}
}

// TestDensitiesInClosedForm: the terms of a binomial and of a Poisson, whatever way they are reckoned in.
func TestDensitiesInClosedForm(t *testing.T) {
	choose := 1.0
	for k := range 41 { // of 40
		holds(t, "binomial", math.Exp(logBinomial(float64(k), float64(40-k), 0.3, 0.7)),
			choose*math.Pow(0.3, float64(k))*math.Pow(0.7, float64(40-k)), 1e-13)
		choose *= float64(40-k) / float64(k+1)
	}
	for _, x := range []float64{0.5, 7, 14, 15, 16, 20, 60} {
		p := math.Exp(-x)
		for k := range 60 {
			holds(t, "Poisson", math.Exp(logPoisson(float64(k), x)), p, 1e-13)
			p *= x / float64(k+1)
		}
	}
	// Both formulas of what Stirling's leaves, where they meet; and the first terms of the series (DLMF 5.11.1).
	holds(t, "stirling", stirling(math.Nextafter(15, 0)), stirling(15), 2e-12)
	holds(t, "stirling of many", stirling(1000), 1.0/12000-1.0/360e9+1.0/1260e15, 1e-15)
	for _, x := range []float64{0.1, 1, 3, 1000} {
		for _, by := range []float64{0.5, 0.81, 0.82, 0.9, 0.999, 1.001, 1.1, 1.22, 1.23, 2} {
			holds(t, "deviance", deviance(x, x*by), x*(by-1-math.Log(by)), 1e-9)
		}
		if d := deviance(x, x); d != 0 {
			t.Errorf("deviance of %g from itself: %g", x, d)
		}
	}
}

// TestBisect: the least number at which it is no longer low, to the last digit, also among the smallest there are.
func TestBisect(t *testing.T) {
	for _, at := range []float64{0.3, 1e-300, math.SmallestNonzeroFloat64, 1} {
		if got := bisect(0, 1, func(x float64) bool { return x < at }); got != at {
			t.Errorf("%g: %g", at, got)
		}
	}
	if got := bisect(0, math.NaN(), func(float64) bool { return true }); !math.IsNaN(got) { // and it ends
		t.Errorf("up to no number: %g", got)
	}
}

// TestSpreadOfMonths: Laney's sigma of z by its definition, of months of unlike size.
func TestSpreadOfMonths(t *testing.T) {
	groups := []Count{{3, 100}, {12, 400}, {5, 50}, {2, 300}}
	center := 22.0 / 850
	var z [4]float64
	for i, g := range groups {
		z[i] = (float64(g.Seen)/float64(g.Of) - center) / math.Sqrt(center*(1-center)/float64(g.Of))
	}
	want := (math.Abs(z[1]-z[0]) + math.Abs(z[2]-z[1]) + math.Abs(z[3]-z[2])) / 3 / 1.128
	c := PPrime(groups)
	holds(t, "spread", c.Spread, want, 1e-13)
	for i, g := range groups {
		width := 3 * math.Sqrt(center*(1-center)/float64(g.Of)) * want
		holds(t, "high", c.Points[i].High, center+width, 1e-13)
		holds(t, "low", c.Points[i].Low, max(0, center-width), 1e-13)
	}
}

// TestZerosAreWorse: incidents without a clean opening between are no good news, from the third on.
func TestZerosAreWorse(t *testing.T) {
	signal := Signal{Rule: Zeros}
	for i, p := range G([]int64{90, 0, 0, 0, 0, 90, 0, 0, 90}, ByProbability).Points {
		has := false
		for _, s := range p.Signals {
			has = has || s == signal
		}
		if has != (i == 3 || i == 4) {
			t.Errorf("%d: %+v", i, p.Signals)
		}
	}
}

// TestSpread: what is left out of a binomial distribution is nothing, on either side, and what is in it are its terms.
func TestSpread(t *testing.T) {
	for _, rate := range []float64{0, 0.001, 0.02, 0.5, 0.98, 1} {
		for _, n := range []int64{1, 7, 300, 4000} {
			h := spread(n, rate)
			if total := sum(h.p); math.Abs(total-1) > 1e-11 || h.from < 0 || h.to() > n {
				t.Errorf("%g of %d: %g from %d to %d", rate, n, total, h.from, h.to())
			}
			for i, p := range h.p {
				if l := math.Log(p); l < -32.0001 && len(h.p) > 1 {
					t.Errorf("%g of %d: %g at %d", rate, n, l, i)
				}
			}
			if h.from > 0 && logChoose(n, h.from-1, rate) > -32 || h.to() < n && logChoose(n, h.to()+1, rate) > -32 {
				t.Errorf("%g of %d: cut at %d and %d", rate, n, h.from, h.to())
			}
		}
	}
}

// TestKeptOfFew: of all tables of few openings, at levels that lie between the p-values there are, the rejected are Fisher's.
func TestKeptOfFew(t *testing.T) {
	for na := range int64(9) {
		for nb := range int64(9) {
			for seen := range na + nb + 1 {
				h := sharing(na, nb, seen)
				for _, level := range []float64{0.0101, 0.0501, 0.2011, 0.4011, 0.7011, 0.9999} {
					from, to := kept(na, nb, seen, level)
					for x := h.from; x <= h.to(); x++ {
						if keeps := x >= from && x <= to; keeps != (h.twoSided(x) > level) {
							t.Errorf("%d of %d, %d of %d: p %v, level %v; kept from %d to %d",
								x, na, seen-x, nb, h.twoSided(x), level, from, to)
						}
					}
				}
			}
		}
	}
}

// TestNothingKept: no p-value is above a level of one.
func TestNothingKept(t *testing.T) {
	if from, to := kept(3, 4, 2, 1); from <= to {
		t.Errorf("from %d to %d", from, to)
	}
}

// TestNeverTold: where a threefold rate is one in more openings than anybody will see nothing is promised.
func TestNeverTold(t *testing.T) {
	const many = 1 << 44
	a, b := Group{Name: "a", Openings: many, Read: many, Weighed: many}, Group{Name: "b", Openings: many, Read: many, Weighed: many}
	if d := new(Report).Compare(&a, &b, Level); d.Told != CantTell || d.For != "" || d.More != 0 || d.Days != 0 {
		t.Errorf("%+v", d)
	}
}
