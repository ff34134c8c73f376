package rates

import "math"

// Prior is what is believed of a rate before anything was counted here.
type Prior struct {
	Name string // jeffreys, uniform, published
	Beta
}

// Jeffreys knows nothing, whatever scale rates are thought of in (Jeffreys 1946).
func Jeffreys() Prior { return Prior{"jeffreys", Beta{0.5, 0.5}} }

// Uniform holds every rate for equally likely, which for rare things is a strong
// belief in high rates.
func Uniform() Prior { return Prior{"uniform", Beta{1, 1}} }

// Published is the nearest that was ever measured (Zhu 2019: 8 wrong tags on 33,839
// packages), worth 1,000 openings, since it was another hospital and another thing.
func Published() Prior {
	const worth, rate = 1000, 8.0 / 33839
	return Prior{"published", Beta{worth * rate, worth * (1 - rate)}}
}

// After is what is believed after a count.
func (p Prior) After(c Count) Beta {
	if !c.can() {
		return Beta{math.NaN(), math.NaN()}
	}
	return Beta{p.A + float64(c.Seen), p.B + float64(c.Of-c.Seen)}
}

// Worse is the probability that the first rate is the higher one.
func Worse(a, b Beta) float64 {
	// Over the logarithm of the odds the density is smooth and falls off on both
	// sides, whatever a and b are, and there the trapezoid is exact to rounding.
	const points, rest = 600, 1e-16
	from, to := logit(a.Quantile(rest)), logit(a.above(rest))
	step := (to - from) / points
	total, p := 0.0, 0.0
	for i := range points + 1 {
		t := from + float64(i)*step
		x, y := 1/(1+math.Exp(-t)), 1/(1+math.Exp(t))
		w := math.Exp(logBinomial(a.A, a.B, x, y))
		total += w
		p += w * b.Below(x)
	}
	return p / total
}

func logit(x float64) float64 {
	const end = 1e-300
	x = min(max(x, end), 1-1e-16)
	return math.Log(x) - math.Log1p(-x)
}
