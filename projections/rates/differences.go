package rates

import (
	"cmp"
	"math"
	"slices"
)

// Told is what can be said of a difference.
type Told string

// What can be said. That two can't be told apart doesn't say that they are alike.
const (
	Differs     Told = "differs"
	CantTell    Told = "cant-tell"
	NotCompared Told = "not-compared" // too little of one was read
)

// Difference is one group held against another, or against all others together.
type Difference struct {
	A     string  `json:"a"`
	B     string  `json:"b,omitempty"`
	Rest  bool    `json:"rest,omitzero"` // B is all others together
	Told  Told    `json:"told"`
	Level float64 `json:"level"`          // of p, below which it differs: 0.05 shared among the comparisons of a table
	P     float64 `json:"p"`              // Fisher's exact test
	Worse float64 `json:"worse"`          // probability that A's rate is the higher one
	Prior string  `json:"prior"`          // by this prior
	More  int64   `json:"more,omitzero"`  // openings of both until it can be told
	Days  int64   `json:"days,omitzero"`  // at this site's volume
	For   For     `json:"for,omitempty"`  // what would be told then, or, without more, would mostly have been by now
	Apart bool    `json:"apart,omitzero"` // read so differently that the counts were corrected for it
}

// For is the difference for which openings are reckoned.
type For string

// The differences. Power is 0.8 for both.
const (
	AsSeen    For = "as-seen"   // as great as it looks
	Threefold For = "threefold" // a threefold rate, where that can be told sooner than what shows
)

// Level is that of all comparisons of one table together.
const Level = 0.05

const (
	power      = 0.8
	pairsUpTo  = 4   // groups of which each is held against each
	readAtMost = 0.1 // by how much reading shares may differ before it is said
	readLeast  = 0.5 // share below which nothing is compared
	threefold  = 3
)

// differences holds groups against each other; of says in which each opening is.
func (r *Report) differences(groups []Group, of []string) []Difference {
	var out []Difference
	if len(groups) < 2 {
		return nil
	}
	if len(groups) <= pairsUpTo {
		pairs := len(groups) * (len(groups) - 1) / 2
		for i := range groups {
			for j := i + 1; j < len(groups); j++ {
				out = append(out, r.Compare(&groups[i], &groups[j], Level/float64(pairs)))
			}
		}
		return out
	}
	for i := range groups {
		rest := r.group("", func(k int) bool { return of[k] != groups[i].Name })
		d := r.Compare(&groups[i], &rest, Level/float64(len(groups)))
		d.Rest = true
		out = append(out, d)
	}
	// What differs, and what most looks like it, first.
	slices.SortStableFunc(out, func(a, b Difference) int { return cmp.Compare(a.P, b.P) })
	return out
}

// Compare holds two groups of a report's openings against each other, with a level that
// is shared among all that are compared.
func (r *Report) Compare(a, b *Group, level float64) Difference {
	d := Difference{A: a.Name, B: b.Name, Level: level, Told: CantTell}
	d.Apart = math.Abs(a.ReadShare()-b.ReadShare()) > readAtMost
	x, y := a.Evidence(), b.Evidence()
	prior := Jeffreys()
	d.Prior, d.Worse = prior.Name, Worse(prior.After(x), prior.After(y))
	d.P = FisherP(x, y)
	switch {
	case min(a.ReadShare(), b.ReadShare()) < readLeast:
		d.Told = NotCompared
		return d
	case d.P <= level:
		d.Told = Differs
		return d
	}
	var plan Plan
	d.For, plan = planFor(prior, x, y, level)
	n := plan.Openings()
	if n == NeverTold {
		d.For = ""
		return d
	}
	// Weighed openings are fewer than openings where not all is read.
	worth := float64(x.Of+y.Of) / float64(a.Openings+b.Openings)
	left := float64(n+plan.second(n)) - float64(x.Of+y.Of)
	if left <= 0 { // it would have been told by now
		return d
	}
	d.More = max(1, int64(math.Ceil(left/worth)))
	d.Days = Days(d.More, r.PerDay*float64(a.Openings+b.Openings)/float64(r.All.Openings))
	return d
}

// planFor returns the difference that openings are reckoned for: as great as it looks,
// or threefold where that shows sooner.
func planFor(prior Prior, x, y Count, level float64) (For, Plan) {
	seen := Plan{A: prior.After(x).Mean(), B: prior.After(y).Mean(), Weight: float64(y.Of) / float64(x.Of), Level: level, Power: power}
	both := prior.After(Count{x.Seen + y.Seen, x.Of + y.Of}).Mean()
	more := seen
	more.A, more.B = both, min(threefold*both, 1)
	if seen.approximately() <= more.approximately() {
		return AsSeen, seen
	}
	return Threefold, more
}
