package assess

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"

	"listbound/projections/rates"
)

// Value is what is believed of a probability: log-normal, as handbooks of human
// reliability give it, or what a count leaves (Jeffreys posterior).
type Value struct {
	// Start is what it is drawn by: two events with one start value are wrong together,
	// since whoever is wrong about the one is wrong about the other (Apostolakis and
	// Kaplan 1981). Drawn one by one they would make the sum look surer than it is.
	Start  string `json:"start"`
	Source string `json:"source"` // of Sources; SourceLedger, SourceSite

	Median      float64 `json:"median,omitzero"`      // of a log-normal
	ErrorFactor float64 `json:"errorFactor,omitzero"` // 95 % lie below the median times it, 5 % below the median by it

	Count *rates.Count `json:"count,omitempty"` // of a Jeffreys posterior
}

// z95 is the 95 % quantile of the normal distribution: an error factor is so many
// standard deviations of the logarithm.
var z95 = math.Sqrt2 * math.Erfinv(0.9)

func (v *Value) check() error {
	if c := v.Count; c != nil {
		if c.Seen < 0 || c.Of < c.Seen || c.Of == 0 {
			return fmt.Errorf("%s: %d of %d", v.Start, c.Seen, c.Of)
		}
		return nil
	}
	if !(v.Median > 0 && v.Median <= 1 && v.ErrorFactor >= 1 && v.ErrorFactor <= 1000) {
		return fmt.Errorf("%s: a median of %g with an error factor of %g", v.Start, v.Median, v.ErrorFactor)
	}
	return nil
}

// Nominal is the value that trees are reckoned with: the median of either kind.
func (v *Value) Nominal() float64 { return v.Quantile(0.5) }

// Quantile is the probability that the true one lies below with probability q.
func (v *Value) Quantile(q float64) float64 {
	if v.Count != nil {
		return rates.Jeffreys().After(*v.Count).Quantile(q)
	}
	return v.lognormal(math.Sqrt2 * math.Erfinv(2*q-1))
}

// lognormal is the value so many standard deviations from the median. A probability
// ends at one.
func (v *Value) lognormal(z float64) float64 {
	return min(1, v.Median*math.Exp(z*math.Log(v.ErrorFactor)/z95))
}

// draws returns n values drawn at random. The same start value gives the same draws
// wherever it stands, in the trees of all placements.
func (v *Value) draws(seed uint64, n int) []float64 {
	h := fnv.New64a()
	h.Write([]byte(v.Start)) // never fails
	r := rand.New(rand.NewPCG(seed, h.Sum64()))
	out := make([]float64, n)
	for i := range out {
		if v.Count == nil {
			out[i] = v.lognormal(r.NormFloat64())
			continue
		}
		d := rates.Jeffreys().After(*v.Count)
		x, y := gamma(r, d.A), gamma(r, d.B)
		out[i] = x / (x + y)
	}
	return out
}

// gamma draws from a gamma distribution of that shape (Marsaglia and Tsang 2000).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(1-r.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		w := 1 + c*x
		if w <= 0 {
			continue
		}
		w *= w * w
		if math.Log(1-r.Float64()) < x*x/2+d-d*w+d*math.Log(w) {
			return d * w
		}
	}
}

// Dependence is how much a second person's failing hangs on the first one's.
type Dependence string

// The levels of THERP, NUREG/CR-1278, chapter 10.
const (
	DependenceZero     Dependence = "zero"
	DependenceLow      Dependence = "low"
	DependenceModerate Dependence = "moderate"
	DependenceHigh     Dependence = "high"
	DependenceComplete Dependence = "complete"
)

// Dependences lists them, the weakest first.
func Dependences() []Dependence {
	return []Dependence{DependenceZero, DependenceLow, DependenceModerate, DependenceHigh, DependenceComplete}
}

// Given is how often the second fails where the first has, n being how often the second
// fails alone. Two who read one wrong list and each miss it in 3 of 1,000 cases are not
// 9 in a million together, but up to 1.5 in 1,000.
func (d Dependence) Given(n float64) float64 {
	switch d {
	case DependenceZero:
		return n
	case DependenceLow:
		return (1 + 19*n) / 20
	case DependenceModerate:
		return (1 + 6*n) / 7
	case DependenceHigh:
		return (1 + n) / 2
	case DependenceComplete:
		return 1
	}
	return math.NaN()
}
