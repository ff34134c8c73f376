// Package rates turns what was counted into numbers that hold: how often something
// happened with exact bounds, whether two rates differ, how long until that can be
// told, and charts of rare events. It is pure arithmetic: no clock, no file, no
// table. What is counted, and what it may be compared with, is the caller's.
//
// # What is counted
//
// Incidents, never sets. A sheet exchanged between two sets is one incident that
// shows on two sets, and a ring of five one that shows on five. Intervals hold for
// things that happen independently; counted by sets, the upper bound that promises
// 95 % holds in 77.5 % of all cases (TestCountingSetsPromisesTooMuch).
//
// # Units
//
// Rates are shares of openings, from 0 to 1; pages multiply by 1,000. A confidence
// of 0.95 leaves 0.025 on either side. None seen is never a rate of zero: Low is 0
// then, and High is what can be ruled out.
//
// # Errors
//
// Counts that cannot be (more seen than looked at, fewer than none) give NaN, which
// no JSON takes, so that a mistake is not shown as a number.
package rates

import "math"

// Confidence is that of all intervals shown.
const Confidence = 0.95

// Count is how many incidents there were in how many openings.
type Count struct {
	Seen int64 `json:"incidents"`
	Of   int64 `json:"openings"`
}

// Rate is the share of openings, or NaN where nothing was opened.
func (c Count) Rate() float64 { return float64(c.Seen) / float64(c.Of) }

// can reports whether there can be such a count.
func (c Count) can() bool { return c.Seen >= 0 && c.Of >= c.Seen }

// Interval is what a rate lies between, both ends included.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Has reports whether a rate lies in it.
func (i Interval) Has(rate float64) bool { return i.Low <= rate && rate <= i.High }

func nowhere() Interval { return Interval{math.NaN(), math.NaN()} }

// ClopperPearson returns the exact interval of a share (Clopper and Pearson 1934):
// it holds at least as often as it says, whatever the rate. Of no opening nothing
// is known: from 0 to 1.
func ClopperPearson(c Count, confidence float64) Interval {
	if !c.can() {
		return nowhere()
	}
	x, n, tail := float64(c.Seen), float64(c.Of), (1-confidence)/2
	i := Interval{0, 1}
	if c.Seen > 0 {
		i.Low = Beta{x, n - x + 1}.Quantile(tail)
	}
	if c.Seen < c.Of {
		i.High = Beta{x + 1, n - x}.above(tail)
	}
	return i
}

// Garwood returns the exact interval of how many incidents are to be expected where
// so many were seen (Garwood 1936). Divided by openings or days it is a rate.
func Garwood(seen int64, confidence float64) Interval {
	if seen < 0 {
		return nowhere()
	}
	x, tail := float64(seen), (1-confidence)/2
	i := Interval{High: gammaQuantile(x+1, tail, true)}
	if seen > 0 {
		i.Low = gammaQuantile(x, tail, false)
	}
	return i
}

// MidP returns the interval that counts what was seen by half (Lancaster 1961). It is
// narrower than ClopperPearson and holds as often as it says on average, not always:
// it stands beside the exact one and decides nothing.
func MidP(c Count, confidence float64) Interval {
	if !c.can() {
		return nowhere()
	}
	tail := (1 - confidence) / 2
	more := func(p float64) float64 { // more were seen, and half of as many
		return (binomialAtLeast(c.Seen, c.Of, p) + binomialAtLeast(c.Seen+1, c.Of, p)) / 2
	}
	i := Interval{0, 1}
	if c.Seen > 0 {
		i.Low = bisect(0, 1, func(p float64) bool { return more(p) < tail })
	}
	if c.Seen < c.Of {
		i.High = bisect(0, 1, func(p float64) bool { return 1-more(p) > tail })
	}
	return i
}

// UpperBound returns the rate that so few would be seen of at most as often as 1 -
// confidence: a bound on one side, which a claim such as "fewer than one in a
// thousand" is held to. 0 in 300 gives 0.0099 (the rule of three says 0.01).
func UpperBound(c Count, confidence float64) float64 {
	if !c.can() {
		return math.NaN()
	}
	if c.Seen == c.Of {
		return 1
	}
	return Beta{float64(c.Seen) + 1, float64(c.Of - c.Seen)}.above(1 - confidence)
}
