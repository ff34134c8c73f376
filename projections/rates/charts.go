package rates

import (
	"math"
	"slices"
)

// Rule is why a point of a chart signals.
type Rule string

// The rules. More of them would find more, and cry wolf more often: Nelson's other six
// are left out for that.
const (
	Beyond Rule = "beyond" // outside the limits
	Run    Rule = "run"    // the ninth in a row on one side of the centre
	Zeros  Rule = "zeros"  // the third in a row with no clean opening between
)

// Source says who described the rule.
func (r Rule) Source() string {
	switch r {
	case Beyond:
		return "Nelson 1984, test 1"
	case Run:
		return "Nelson 1984, test 2"
	case Zeros:
		return "Benneyan 2001"
	}
	return ""
}

// Signal is a rule that a point breaks, and to which side.
type Signal struct {
	Rule Rule `json:"rule"`
	High bool `json:"high"` // above: of a share that is worse, of a gap it is better
}

// Point is one of a chart. Limits belong to the point, since they step with how much
// was looked at.
type Point struct {
	Value   float64  `json:"value"`
	Low     float64  `json:"low"`
	High    float64  `json:"high"`
	Signals []Signal `json:"signals,omitempty"`
}

// Chart is a control chart.
type Chart struct {
	Center float64 `json:"center"`
	Points []Point `json:"points"`
	// Spread is by how much the points spread more than chance would have it (Laney's
	// sigma of z); 1 where it isn't asked.
	Spread float64 `json:"spread,omitzero"`
	// TooRare says that so few incidents are expected at a point that its limits mean
	// little: a chart of the gaps between them tells more.
	TooRare bool `json:"tooRare,omitzero"`
}

const (
	threeSigma = 3
	runOf      = 9
	zerosOf    = 3
	outside    = 0.00135 // the share beyond three sigma on one side of a normal distribution
	fewest     = 5       // incidents expected at a point, below which its limits mean little
)

// P is the chart of shares (NIST/SEMATECH e-Handbook 6.3.3.2): limits by chance alone.
func P(groups []Count) Chart { return shares(groups, false) }

// PPrime is Laney's (2002): limits as wide as the shares differ from month to month,
// since with many openings chance alone is little and all would signal.
func PPrime(groups []Count) Chart { return shares(groups, true) }

func shares(groups []Count, laney bool) Chart {
	var all Count
	for _, g := range groups {
		if !g.can() || g.Of == 0 {
			return Chart{Center: math.NaN()}
		}
		all.Seen, all.Of = all.Seen+g.Seen, all.Of+g.Of
	}
	c := Chart{Center: all.Rate(), Spread: 1}
	sigma := func(g Count) float64 { return math.Sqrt(c.Center * (1 - c.Center) / float64(g.Of)) }
	if laney && len(groups) > 1 && all.Seen > 0 && all.Seen < all.Of {
		z := make([]float64, len(groups))
		for i, g := range groups {
			z[i] = (g.Rate() - c.Center) / sigma(g)
		}
		c.Spread = movingRange(z) / 1.128
	}
	for _, g := range groups {
		w := threeSigma * sigma(g) * c.Spread
		c.Points = append(c.Points, Point{Value: g.Rate(), Low: max(0, c.Center-w), High: min(1, c.Center+w)})
		c.TooRare = c.TooRare || c.Center*float64(g.Of) < fewest
	}
	c.signal(true)
	return c
}

// movingRange is the mean difference of neighbours.
func movingRange(v []float64) float64 {
	total := 0.0
	for i := 1; i < len(v); i++ {
		total += math.Abs(v[i] - v[i-1])
	}
	return total / float64(len(v)-1)
}

// signal marks the points that break a rule.
func (c *Chart) signal(runs bool) {
	var side, length int
	for i := range c.Points {
		p := &c.Points[i]
		if p.Value > p.High || p.Value < p.Low {
			p.Signals = append(p.Signals, Signal{Beyond, p.Value > p.High})
		}
		now := 0
		if p.Value > c.Center {
			now = 1
		} else if p.Value < c.Center {
			now = -1
		}
		if now != side || now == 0 {
			side, length = now, 0
		}
		if length++; runs && side != 0 && length >= runOf {
			p.Signals = append(p.Signals, Signal{Run, side > 0})
		}
	}
}

// Limits are how the limits of a chart of gaps are drawn.
type Limits string

// Probability limits leave as many outside as three sigma do of a normal distribution.
// Three sigma themselves are what textbooks print; gaps are far from normal, so they
// are crossed by chance many times as often.
const (
	ByProbability Limits = "probability"
	ByThreeSigma  Limits = "three-sigma"
)

// G is the chart of the clean openings between two incidents (Kaminsky 1992, Benneyan
// 2001). A gap above the limits is good news.
func G(gaps []int64, limits Limits) Chart {
	if len(gaps) == 0 || slices.Min(gaps) < 0 {
		return Chart{Center: math.NaN()}
	}
	total := int64(0)
	for _, g := range gaps {
		total += g
	}
	mean := float64(total) / float64(len(gaps))
	c := Chart{Center: mean}
	p := 1 / (1 + mean)
	low, high := geometric(outside, p), geometric(1-outside, p)
	if limits == ByThreeSigma {
		w := threeSigma * math.Sqrt(mean*(mean+1))
		low, high = max(0, mean-w), mean+w
	}
	zeros := 0
	for _, g := range gaps {
		c.Points = append(c.Points, Point{Value: float64(g), Low: low, High: high})
		if zeros++; g > 0 {
			zeros = 0
		}
		// Where zeros are common three in a row are no news.
		if zeros >= zerosOf && math.Pow(p, zerosOf) <= outside {
			at := &c.Points[len(c.Points)-1]
			at.Signals = append(at.Signals, Signal{Zeros, false})
		}
	}
	c.signal(false) // the mean is far above the middle: runs below it are no news
	return c
}

// geometric is the least number of clean openings before an incident that is not
// exceeded with probability q.
func geometric(q, p float64) float64 {
	if p >= 1 {
		return 0
	}
	return max(0, math.Ceil(math.Log1p(-q)/math.Log1p(-p))-1)
}

// T is the chart of the time between two incidents, in whatever unit, with the limits
// of an exponential distribution around its median. A time above them is good news.
func T(times []float64) Chart {
	mean, ok := meanOf(times)
	if !ok {
		return Chart{Center: math.NaN()}
	}
	c := Chart{Center: mean * math.Ln2}
	for _, v := range times {
		c.Points = append(c.Points, Point{Value: v, Low: -mean * math.Log1p(-outside), High: -mean * math.Log(outside)})
	}
	c.signal(true)
	return c
}

// TNelson is the same with Nelson's limits (1994): those of single values of the
// 3.6th root, which is nearly normal.
func TNelson(times []float64) Chart {
	const power = 3.6
	if _, ok := meanOf(times); !ok || len(times) < 2 {
		return Chart{Center: math.NaN()}
	}
	roots := make([]float64, len(times))
	for i, v := range times {
		roots[i] = math.Pow(v, 1/power)
	}
	mean, _ := meanOf(roots)
	w := 2.66 * movingRange(roots) // three sigma over 1.128, as it is printed
	back := func(v float64) float64 { return math.Pow(max(0, v), power) }
	c := Chart{Center: back(mean)}
	for _, v := range times {
		c.Points = append(c.Points, Point{Value: v, Low: back(mean - w), High: back(mean + w)})
	}
	c.signal(true)
	return c
}

// meanOf returns the mean; ok is false of nothing and of what is no time.
func meanOf(v []float64) (mean float64, ok bool) {
	total := 0.0
	for _, x := range v {
		if !(x >= 0) {
			return 0, false
		}
		total += x
	}
	return total / float64(len(v)), len(v) > 0
}
