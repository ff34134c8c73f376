package rates

import (
	"math"
	"sort"
)

// NeverTold is what Openings answers where a difference would take more openings than
// anybody will see.
const NeverTold = math.MaxInt64

// CleanFor returns how many openings with no more than so many incidents it takes to
// claim a rate below one: 299 clean ones for 1 % at a confidence of 0.95.
func CleanFor(rate float64, allowed int64, confidence float64) int64 {
	if !(rate > 0 && rate < 1) || allowed < 0 {
		return NeverTold
	}
	return leastOf(func(n int64) bool { return UpperBound(Count{allowed, n}, confidence) < rate })
}

// leastOf returns the least number from one on that is enough, where every larger one
// is too; NeverTold where none up to 2^40 is.
func leastOf(enough func(int64) bool) int64 {
	high := int64(1)
	for !enough(high) {
		if high <<= 1; high > 1<<40 {
			return NeverTold
		}
	}
	low := high / 2 // not enough (or before the first)
	for high-low > 1 {
		if mid := low + (high-low)/2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// Days returns how many days so many openings take, at so many a day.
func Days(openings int64, perDay float64) int64 {
	if openings == NeverTold || !(perDay > 0) {
		return NeverTold
	}
	return int64(math.Ceil(float64(openings) / perDay))
}

// A Plan says which of two rates are to be told apart.
type Plan struct {
	A, B   float64 // the rates
	Weight float64 // openings of the second for each one of the first
	Level  float64 // p below which they count as different; 0.05
	Power  float64 // how often the difference shall be seen; 0.8
}

// Sees returns how often Fisher's test tells the rates apart after n openings of the
// first.
func (p Plan) Sees(n int64) float64 {
	m := p.second(n)
	a, b := spread(n, p.A), spread(m, p.B)
	seen := 0.0
	for s := a.from + b.from; s <= a.to()+b.to(); s++ {
		from, to := kept(n, m, s, p.Level)
		for x := max(a.from, s-b.to()); x <= min(a.to(), s-b.from); x++ {
			if x < from || x > to {
				seen += a.p[x-a.from] * b.p[s-x-b.from]
			}
		}
	}
	return seen
}

func (p Plan) second(n int64) int64 { return max(1, int64(math.Round(float64(n)*p.Weight))) }

// mostIncidents bounds up to how many Openings asks Fisher's test itself. With more the
// normal approximation agrees to a few in a hundred.
const mostIncidents = 200

// Openings returns how many openings of the first it takes until the plan's
// difference is seen as often as it says, to two in a hundred. The power goes up in
// small steps back and forth; one opening more can take it below again for a while.
func (p Plan) Openings() int64 {
	const few, grid, reach = 50, 1.02, 100
	if p.A == p.B || !(p.A >= 0 && p.A <= 1 && p.B >= 0 && p.B <= 1 && p.Weight > 0) {
		return NeverTold
	}
	sees := func(n int64) bool { return p.Sees(n) >= p.Power }
	about := p.approximately()
	switch {
	case about == NeverTold || float64(about)*(p.A+p.B*p.Weight) > mostIncidents:
		return about
	case about < few:
		return leastOf(sees)
	}
	at := func(k int) int64 { return int64(float64(about) * math.Pow(grid, float64(k-reach/2))) }
	return at(sort.Search(reach, func(k int) bool { return sees(at(k)) }))
}

// approximately is Openings by the normal approximation (Fleiss, Levin and Paik 2003, 4.2).
func (p Plan) approximately() int64 {
	z := func(q float64) float64 { return math.Sqrt2 * math.Erfinv(2*q-1) }
	both := (p.A + p.Weight*p.B) / (1 + p.Weight)
	apart := z(1-p.Level/2)*math.Sqrt(both*(1-both)*(1+1/p.Weight)) +
		z(p.Power)*math.Sqrt(p.A*(1-p.A)+p.B*(1-p.B)/p.Weight)
	n := math.Pow(apart/(p.A-p.B), 2)
	if !(n < 1<<40) { // alike, too
		return NeverTold
	}
	return int64(math.Ceil(n))
}

// spread is a binomial distribution where it is more than nothing.
func spread(n int64, rate float64) hypergeometric {
	const nothing = -32 // e^-32: below 1e-13
	mode := min(int64(float64(n+1)*rate), n)
	at := func(x int64) float64 { return logChoose(n, x, rate) }
	from, to := mode, mode
	for from > 0 && at(from-1) > nothing {
		from--
	}
	for to < n && at(to+1) > nothing {
		to++
	}
	h := hypergeometric{from: from}
	for x := from; x <= to; x++ {
		h.p = append(h.p, math.Exp(at(x)))
	}
	return h
}
