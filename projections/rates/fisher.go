package rates

import (
	"math"
	"slices"
)

// alike is how much more likely than what was seen a table may be and still count as
// no likelier: R's allowance for rounding, without which p-values jump.
const alike = 1 + 1e-7

// Compared is what two counts say of the difference of their rates.
type Compared struct {
	P     float64  `json:"p"`     // Fisher's exact test, two sides
	Ratio float64  `json:"ratio"` // of the odds, the likeliest; +Inf where only the first has any
	Range Interval `json:"range"` // of that ratio
}

// Fisher compares two counts by Fisher's exact test, as R defines it: the ways to
// share out what was seen that are no likelier than this one.
func Fisher(a, b Count, confidence float64) Compared {
	if !a.can() || !b.can() {
		return Compared{math.NaN(), math.NaN(), nowhere()}
	}
	h := sharing(a.Of, b.Of, a.Seen+b.Seen)
	tail := (1 - confidence) / 2
	c := Compared{P: h.twoSided(a.Seen), Ratio: h.likeliest(a.Seen), Range: Interval{0, math.Inf(1)}}
	if a.Seen > h.from {
		c.Range.Low = h.ratio(func(p []float64) bool { return sum(p[a.Seen-h.from:]) < tail })
	}
	if a.Seen < h.to() {
		c.Range.High = h.ratio(func(p []float64) bool { return sum(p[:a.Seen-h.from+1]) > tail })
	}
	return c
}

// FisherP is the p-value of Fisher alone, for which no ratio is looked for.
func FisherP(a, b Count) float64 {
	if !a.can() || !b.can() {
		return math.NaN()
	}
	return sharing(a.Of, b.Of, a.Seen+b.Seen).twoSided(a.Seen)
}

// FisherMore is the one-sided p-value: how often the first would have as many or more
// if both had the same rate.
func FisherMore(a, b Count) float64 {
	if !a.can() || !b.can() {
		return math.NaN()
	}
	h := sharing(a.Of, b.Of, a.Seen+b.Seen)
	return sum(h.p[a.Seen-h.from:])
}

// hypergeometric are the ways in which what was seen can fall on two groups.
type hypergeometric struct {
	from int64     // the fewest in the first
	p    []float64 // of from, from + 1, ... if both have one rate
	log  []float64
}

func (h hypergeometric) to() int64 { return h.from + int64(len(h.p)) - 1 }

func sharing(na, nb, seen int64) hypergeometric {
	h := hypergeometric{from: max(0, seen-nb)}
	to := min(seen, na)
	share := float64(seen) / float64(max(na+nb, 1))
	h.log, h.p = make([]float64, 0, to-h.from+1), make([]float64, 0, to-h.from+1)
	l := logChoose(na, h.from, share) + logChoose(nb, seen-h.from, share) - logChoose(na+nb, seen, share)
	for x := h.from; x <= to; x++ {
		h.log, h.p = append(h.log, l), append(h.p, math.Exp(l))
		l += math.Log(float64(na-x) * float64(seen-x) / (float64(x+1) * float64(nb-seen+x+1)))
	}
	return h
}

// logChoose is the logarithm of the probability of x in n; of a hypergeometric
// distribution the share falls out.
func logChoose(n, x int64, share float64) float64 {
	return logBinomial(float64(x), float64(n-x), share, 1-share)
}

func (h hypergeometric) twoSided(x int64) float64 {
	p := 0.0
	for _, q := range h.p {
		if q <= h.p[x-h.from]*alike {
			p += q
		}
	}
	return min(p, 1)
}

// kept are the ways whose two-sided p-value is above a level: from the one to the other, since ways get less likely to both sides
// of the likeliest. What is outside is rejected; where from is above to all are. Plan asks for thousands of these, so there are no
// logarithms: each way is as likely as its neighbour times a fraction, and what is below negligible of the likeliest is left out.
func kept(na, nb, seen int64, level float64) (from, to int64) {
	const negligible = 1e-18
	least, most := max(0, seen-nb), min(seen, na)
	mode := min(max(int64(float64(seen+1)*float64(na+1)/float64(na+nb+2)), least), most)
	below, above := []float64{1}, []float64(nil) // outwards, the likeliest with those below
	total := 1.0
	for x, p := mode, 1.0; x > least; x-- {
		p *= float64(x) * float64(nb-seen+x) / (float64(na-x+1) * float64(seen-x+1))
		if p < negligible {
			break
		}
		below, total = append(below, p), total+p
	}
	for x, p := mode, 1.0; x < most; x++ {
		p *= float64(na-x) * float64(seen-x) / (float64(x+1) * float64(nb-seen+x+1))
		if p < negligible {
			break
		}
		above, total = append(above, p), total+p
	}
	last := func(p []float64) float64 {
		if len(p) == 0 {
			return math.Inf(1)
		}
		return p[len(p)-1]
	}
	gone := 0.0
	for len(below)+len(above) > 0 { // with a level of 1 or more nothing is kept
		x := min(last(below), last(above))
		p := gone // of all that are no likelier
		for _, side := range [][]float64{below, above} {
			for i := len(side) - 1; i >= 0 && side[i] <= x*alike; i-- {
				p += side[i]
			}
		}
		if p > level*total {
			break
		}
		gone += x
		if last(below) == x {
			below = below[:len(below)-1]
		} else {
			above = above[:len(above)-1]
		}
	}
	return mode - int64(len(below)) + 1, mode + int64(len(above))
}

// tilted are the probabilities where the odds of the first are those of the second by so much.
func (h hypergeometric) tilted(logRatio float64) []float64 {
	p := make([]float64, len(h.log))
	for i, l := range h.log {
		p[i] = l + float64(i)*logRatio
	}
	top, total := slices.Max(p), 0.0
	for i := range p {
		p[i] = math.Exp(p[i] - top)
		total += p[i]
	}
	for i := range p {
		p[i] /= total
	}
	return p
}

// ratio returns the ratio of the odds at which low turns false.
func (h hypergeometric) ratio(low func(p []float64) bool) float64 {
	return math.Exp(bisect(-70, 70, func(l float64) bool { return low(h.tilted(l)) }))
}

// likeliest is the ratio of which as many would be expected in the first as were seen.
func (h hypergeometric) likeliest(x int64) float64 {
	switch {
	case len(h.p) == 1:
		return math.NaN() // nothing, or all: no ratio is likelier than another
	case x == h.from:
		return 0
	case x == h.to():
		return math.Inf(1)
	}
	return h.ratio(func(p []float64) bool {
		mean := float64(h.from)
		for i, q := range p {
			mean += float64(i) * q
		}
		return mean < float64(x)
	})
}

func sum(p []float64) float64 {
	s := 0.0
	for _, x := range p {
		s += x
	}
	return s
}

// RateRatio compares two numbers of incidents in so much time each (days, openings):
// R's poisson.test of two, exact where each is a number of things that happen
// independently.
func RateRatio(a, b int64, in, other, confidence float64) Compared {
	if a < 0 || b < 0 || !(in > 0) || !(other > 0) {
		return Compared{math.NaN(), math.NaN(), nowhere()}
	}
	share := in / (in + other)
	x, n := a, a+b
	here, p := math.Exp(logChoose(n, x, share)), 0.0
	for k := range n + 1 {
		if q := math.Exp(logChoose(n, k, share)); q <= here*alike {
			p += q
		}
	}
	i := ClopperPearson(Count{x, n}, confidence)
	ratio := func(p float64) float64 { return p / (1 - p) * other / in }
	return Compared{min(p, 1), float64(a) / float64(b) * other / in, Interval{ratio(i.Low), ratio(i.High)}}
}
