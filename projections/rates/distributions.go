package rates

import "math"

// Beta is a beta distribution: what is believed of a rate.
type Beta struct {
	A, B float64
}

// Mean is its mean.
func (d Beta) Mean() float64 { return d.A / (d.A + d.B) }

// Below is the probability of a rate up to x.
func (d Beta) Below(x float64) float64 {
	below, _ := d.sides(x)
	return below
}

// Above is the probability of a rate above x; a small one is more exact than 1 - Below.
func (d Beta) Above(x float64) float64 {
	_, above := d.sides(x)
	return above
}

// Quantile is the rate up to which the probability is q.
func (d Beta) Quantile(q float64) float64 {
	return bisect(0, 1, func(x float64) bool { return d.Below(x) < q })
}

// above is the rate beyond which the probability is q.
func (d Beta) above(q float64) float64 {
	return bisect(0, 1, func(x float64) bool { return d.Above(x) > q })
}

// sides returns what lies on either side of x: the incomplete beta function, from
// the side on which its continued fraction converges quickly.
func (d Beta) sides(x float64) (below, above float64) {
	x = min(max(x, 0), 1)
	if x > (d.A+1)/(d.A+d.B+2) {
		above = betaTail(d.B, d.A, 1-x, x)
		return 1 - above, above
	}
	below = betaTail(d.A, d.B, x, 1-x)
	return below, 1 - below
}

// betaTail is the incomplete beta function at x; y is 1 - x.
func betaTail(a, b, x, y float64) float64 {
	front := math.Exp(logBinomial(a, b, x, y)) * b / (a + b) // x^a y^b / (a B(a, b))
	return front / fraction(1, func(m float64) (float64, float64) {
		k := math.Floor(m / 2)
		if m == 2*k {
			return k * (b - k) * x / ((a + m - 1) * (a + m)), 1
		}
		return -(a + k) * (a + b + k) * x / ((a + m - 1) * (a + m)), 1
	})
}

// gammaSides returns what lies on either side of x in a gamma distribution of shape a.
func gammaSides(a, x float64) (below, above float64) {
	front := math.Exp(logPoisson(a, x)) // x^a e^-x / Γ(a+1)
	if x < a+1 {
		sum := 0.0
		for term, k := 1.0, a+1; term > sum*1e-17; k++ {
			sum += term
			term *= x / k
		}
		return front * sum, 1 - front*sum
	}
	above = front * a / fraction(x+1-a, func(m float64) (float64, float64) { return -m * (m - a), x + 2*m + 1 - a })
	return 1 - above, above
}

// gammaQuantile is where q lies below, or above, in a gamma distribution of shape a.
func gammaQuantile(a, q float64, above bool) float64 {
	far := 2*a + 50
	if above {
		return bisect(0, far, func(x float64) bool { _, p := gammaSides(a, x); return p > q })
	}
	return bisect(0, far, func(x float64) bool { p, _ := gammaSides(a, x); return p < q })
}

// binomialAtLeast is the probability of x or more in n.
func binomialAtLeast(x, n int64, p float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x > n:
		return 0
	}
	return Beta{float64(x), float64(n - x + 1)}.Below(p)
}

// fraction is b0 + a1/(b1 + a2/(b2 + ...)), by Lentz's method; b0 is not 0.
func fraction(b0 float64, term func(m float64) (a, b float64)) float64 {
	const (
		tiny = 1e-300
		most = 1 << 20 // it takes about the root of what was counted
	)
	f := b0
	c, d := f, 0.0
	for m := 1.0; m < most; m++ {
		a, b := term(m)
		if d = b + a*d; d == 0 {
			d = tiny
		}
		if c = b + a/c; c == 0 {
			c = tiny
		}
		d = 1 / d
		f *= c * d
		if math.Abs(c*d-1) < 1e-16 {
			break
		}
	}
	return f
}

// logBinomial is the logarithm of x^a y^b Γ(a+b+1)/(Γ(a+1)Γ(b+1)), y being 1 - x: for
// whole numbers the probability of a in a+b. Loader's saddle point form (2000), since
// the difference of two logarithms of Γ has no digits left where n is large.
func logBinomial(a, b, x, y float64) float64 {
	n := a + b
	switch {
	case n == 0:
		return 0
	case a == 0:
		return b * math.Log1p(-x)
	case b == 0:
		return a * math.Log(x)
	}
	return stirling(n) - stirling(a) - stirling(b) - deviance(a, n*x) - deviance(b, n*y) -
		(math.Log(2*math.Pi*a)+math.Log1p(-a/n))/2
}

// logPoisson is the logarithm of x^a e^-x / Γ(a+1).
func logPoisson(a, x float64) float64 {
	if a == 0 {
		return -x
	}
	return -stirling(a) - deviance(a, x) - math.Log(2*math.Pi*a)/2
}

// stirling is by how much Stirling's formula is short of the logarithm of Γ(n+1).
func stirling(n float64) float64 {
	if n < 15 {
		g, _ := math.Lgamma(n + 1)
		return g - (n+0.5)*math.Log(n) + n - math.Log(2*math.Pi)/2
	}
	s := n * n
	return (1.0/12 - (1.0/360-(1.0/1260-(1.0/1680-1.0/1188/s)/s)/s)/s) / n
}

// deviance is x log(x/m) + m - x, without loss where x is near m.
func deviance(x, m float64) float64 {
	if math.Abs(x-m) >= 0.1*(x+m) {
		return x*math.Log(x/m) + m - x
	}
	v := (x - m) / (x + m)
	sum, term := (x-m)*v, 2*x*v
	for k := 3.0; ; k += 2 {
		term *= v * v
		next := sum + term/k
		if next == sum {
			return sum
		}
		sum = next
	}
}

// bisect returns where low turns from true to false, to the last digit.
func bisect(from, to float64, low func(float64) bool) float64 {
	for {
		mid := from + (to-from)/2
		if !(from < mid && mid < to) { // nor where one of them is no number
			return to
		}
		if low(mid) {
			from = mid
		} else {
			to = mid
		}
	}
}
