package rates_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/rates"
)

// TestBelief: Lee and Liu 2008 as the documentation of R's phase1b prints it, and
// values recalculated with R 4.2.2.
func TestBelief(t *testing.T) {
	lee := rates.Prior{Beta: rates.Beta{A: 0.6, B: 0.4}}
	near(t, "16 of 23", lee.After(count(16, 23)).Above(0.60), 0.835980805, 1e-9)
	zhu := rates.Published()
	near(t, "rate of the published prior", zhu.Mean(), 8.0/33839, 1e-7)
	for c, want := range map[rates.Count][2]float64{
		count(0, 3000): {5.910e-5, 0.998579}, count(2, 3000): {5.591e-4, 0.880221}, count(6, 3000): {1.559e-3, 0.185337},
	} {
		near(t, "mean", zhu.After(c).Mean(), want[0], 5e-7)
		near(t, "below one in a thousand", zhu.After(c).Below(0.001), want[1], 1e-6)
	}
	near(t, "none in 3000", rates.Jeffreys().After(count(0, 3000)).Quantile(0.95), 0.0006400, 1e-7)
	flat := rates.Uniform()
	near(t, "6 and 0 of 2000", rates.Worse(flat.After(count(6, 2000)), flat.After(count(0, 2000))), 0.992228, 1e-6)
	if b := zhu.After(count(2, 1)); !math.IsNaN(b.Mean()) {
		t.Errorf("2 of 1: %v", b)
	}
}

// TestWorse: the same integral by gonum's quadrature and gonum's distributions, both
// ways round, and one half where nothing tells two apart.
func TestWorse(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 3))
	for range 40 {
		na, nb := 10+r.Int64N(20000), 10+r.Int64N(20000)
		a, b := flatOr(r).After(count(r.Int64N(10), na)), flatOr(r).After(count(r.Int64N(10), nb))
		ours := rates.Worse(a, b)
		near(t, "and the other way", ours+rates.Worse(b, a), 1, 1e-9)
		near(t, "the same", rates.Worse(a, a), 0.5, 1e-9)
		x, y := distuv.Beta{Alpha: a.A, Beta: a.B}, distuv.Beta{Alpha: b.A, Beta: b.B}
		// By quantiles of the first; its ends are smoothed by u = sin² θ.
		theirs := quad.Fixed(func(th float64) float64 {
			u := math.Sin(th) * math.Sin(th)
			return y.CDF(x.Quantile(u)) * 2 * math.Sin(th) * math.Cos(th)
		}, 0, math.Pi/2, 400, nil, 0)
		near(t, "by quadrature", ours, theirs, 1e-6)
	}
}

func flatOr(r *rand.Rand) rates.Prior {
	return []rates.Prior{rates.Uniform(), rates.Jeffreys(), rates.Published()}[r.IntN(3)]
}
