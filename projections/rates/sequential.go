package rates

import "math"

// Series is one group's openings in order: how many were clean before each incident,
// and since the last.
type Series struct {
	Clean []int64 // before each incident
	Since int64   // after the last
}

// Count returns incidents and openings.
func (s Series) Count() Count {
	c := Count{Seen: int64(len(s.Clean)), Of: int64(len(s.Clean)) + s.Since}
	for _, n := range s.Clean {
		c.Of += n
	}
	return c
}

// Decision is what a sequential test has come to.
type Decision string

// The decisions. Undecided is one: it goes on.
const (
	Undecided Decision = "undecided"
	TheLower  Decision = "lower"
	TheHigher Decision = "higher"
)

// SPRT is Wald's sequential probability ratio test (1945) of a rate against a higher
// one. It may be looked at after every opening, as often as one likes.
type SPRT struct {
	Lower, Higher float64 // the rates
	Alpha, Beta   float64 // how often the higher, the lower is decided wrongly: at most Alpha/(1-Beta), Beta/(1-Alpha)
}

// Bounds are the logarithms of the likelihood ratio at which it decides.
func (s SPRT) Bounds() (lower, higher float64) {
	return math.Log(s.Beta / (1 - s.Alpha)), math.Log((1 - s.Beta) / s.Alpha)
}

// Run returns the decision, after how many openings it fell, and the logarithm of the
// likelihood ratio then.
func (s SPRT) Run(in Series) (Decision, int64, float64) {
	down, up := weights(s.Lower, s.Higher)
	lower, higher := s.Bounds()
	log, after := 0.0, int64(0)
	clean := func(n int64) bool { // reports whether it is decided
		if need := int64(math.Ceil((lower - log) / down)); need <= n {
			n = need
		}
		log, after = log+float64(n)*down, after+n
		return log <= lower
	}
	for _, n := range in.Clean {
		if clean(n) {
			return TheLower, after, log
		}
		log, after = log+up, after+1
		if log >= higher {
			return TheHigher, after, log
		}
	}
	if clean(in.Since) {
		return TheLower, after, log
	}
	return Undecided, after, log
}

// weights are by how much a clean opening and one with an incident change the logarithm
// of the likelihood ratio.
func weights(lower, higher float64) (clean, incident float64) {
	return math.Log1p(-higher) - math.Log1p(-lower), math.Log(higher / lower)
}

// Cusum is a Bernoulli CUSUM (Reynolds and Stoumbos 1999): it watches for the moment
// at which a rate goes up. It counts in steps of 1/M, so that its run lengths are
// exact: an incident is worth M - 1 steps up, a clean opening one down, never below 0.
type Cusum struct {
	Usual, Raised float64
	M             int64 // steps in one
	Limit         int64 // steps at which it signals
}

// NewCusum returns one that signals at h.
func NewCusum(usual, raised, h float64) Cusum {
	c := Cusum{Usual: usual, Raised: raised}
	clean, incident := weights(usual, raised)
	c.M = max(2, int64(math.Round((incident-clean)/-clean))) // with 1 nothing would ever count
	c.Limit = int64(math.Round(h * float64(c.M)))
	return c
}

// mostSteps bounds the limit of CusumFor, and thereby the memory that its run lengths take.
const mostSteps = 1 << 20

// CusumFor returns the one that raises a false alarm, on average, no sooner than after
// so many openings; sooner only where that would take a limit of a million steps, as
// with rates below one in 100,000.
func CusumFor(usual, raised float64, falseAlarm float64) Cusum {
	c := NewCusum(usual, raised, 0)
	c.Limit = leastOf(func(limit int64) bool {
		c.Limit = limit
		return limit >= mostSteps || c.RunLength(usual) >= falseAlarm
	})
	return c
}

// RunLength is after how many openings it signals on average, beginning at 0, where
// the rate, between 0 and 1, is this one: the mean of its Markov chain, exactly. Digits
// are lost where Limit times the rate, the incidents on the way up, is above about 20.
func (c Cusum) RunLength(rate float64) float64 {
	if c.Limit <= 0 {
		return 1
	}
	// E(j) = 1 + (1-p) E(j-1) + p E(j+M-1), with E of the limit and beyond 0, and at 0
	// a clean opening stays there. From the top down each E(j-1) follows from those
	// above it; E of the top is the one unknown, so each is held as a + b E(top).
	top := c.Limit - 1
	a, b := make([]float64, c.Limit), make([]float64, c.Limit)
	b[top] = 1
	up := func(j int64) (float64, float64) {
		if j += c.M - 1; j <= top {
			return a[j], b[j]
		}
		return 0, 0
	}
	for j := top; j > 0; j-- {
		x, y := up(j)
		a[j-1] = (a[j] - 1 - rate*x) / (1 - rate)
		b[j-1] = (b[j] - rate*y) / (1 - rate)
	}
	x, y := up(0)
	// rate E(0) = 1 + rate E(M-1)
	at := (1 + rate*(x-a[0])) / (rate * (b[0] - y))
	return a[0] + b[0]*at
}

// Run returns after which openings it signalled; after each it begins anew. Now is
// where it stands, in steps.
func (c Cusum) Run(in Series) (signals []int64, now int64) {
	after := int64(0)
	for _, n := range in.Clean {
		after += n + 1
		if now = max(0, now-n) + c.M - 1; now >= c.Limit {
			signals, now = append(signals, after), 0
		}
	}
	return signals, max(0, now-in.Since)
}
