package projections

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"
)

// CompareFindings orders the findings of a verdict: the heaviest first, then by
// code, time and detail. The numbers of the records that show them come last: they
// are the ledger's, and depend on the order of arrival.
func CompareFindings(a, b Finding) int {
	c := cmp.Or(
		weight(b.Severity)-weight(a.Severity),
		codeOrder(a.Code)-codeOrder(b.Code),
		a.From.Compare(b.From), a.To.Compare(b.To),
	)
	if c != 0 {
		return c
	}
	return cmp.Or(
		compareDetails(a, b, withoutNumbers),
		compareDetails(a, b, nil),
		slices.Compare(a.Events, b.Events),
	)
}

// Same reports whether two findings tell of the same: of one weight, in one
// way, with the same detail. What shows them may differ.
func (f Finding) Same(g Finding) bool {
	return f.Code == g.Code && f.Severity == g.Severity && compareDetails(f, g, nil) == 0
}

// compareDetails orders findings that agree in all else, by what as makes of their
// details where it is not nil.
func compareDetails(a, b Finding, as func([]byte) []byte) int {
	if c := strings.Compare(a.Way, b.Way); c != 0 {
		return c
	}
	x, errX := json.Marshal(a.Detail)
	y, errY := json.Marshal(b.Detail)
	if errX != nil || errY != nil {
		return 0
	}
	if as != nil {
		x, y = as(x), as(y)
	}
	return slices.Compare(x, y)
}

var recordNumber = regexp.MustCompile(`"seq":\d+,`)

// withoutNumbers takes the numbers of records out of a detail.
func withoutNumbers(detail []byte) []byte { return recordNumber.ReplaceAll(detail, nil) }

func weight(s Severity) int {
	switch s {
	case SeverityBroken:
		return 2
	case SeverityDoubtful:
		return 1
	}
	return 0
}

func codeOrder(c Code) int { return slices.Index(codes, c) }

// StatusOf returns the status that findings give a chain, or another where
// none of them weighs anything.
func StatusOf(fs []Finding, otherwise Status) Status {
	worst := 0
	for i := range fs {
		worst = max(worst, weight(fs[i].Severity))
	}
	switch worst {
	case 2:
		return Broken
	case 1:
		return Doubtful
	}
	return otherwise
}

// CompareKeys orders trips by set, then by trip.
func CompareKeys(a, b TripKey) int {
	return cmp.Or(strings.Compare(a.Set, b.Set), strings.Compare(a.Trip, b.Trip))
}

// Rank is a verdict's place in the one order that board, commands and exports
// have, lowest first: a set that came back from its case with fewer pieces than it
// was counted with, which nothing explains, then one used again without being
// reprocessed, then what is broken or doubtful and can still be prevented or put
// right, then what is so but over, then open, then whole. In each: broken
// before doubtful; what nobody has opened before what was opened; then the
// more and the heavier findings. Verdicts of one rank are ordered by the latest
// observation first, then by set and trip.
func Rank(v *Verdict) int64 {
	group := int64(2)
	switch {
	case CameShort(v):
		group = 0
	case Reused(v):
		group = 1
	case v.Status != Broken && v.Status != Doubtful:
		group = 4
	case v.Over:
		group = groupOver
	}
	opened := int64(0)
	if v.Opened {
		opened = 1
	}
	r := group<<3 | int64(slices.Index(worstFirst, v.Status))<<1 | opened
	for _, s := range []Severity{SeverityBroken, SeverityDoubtful, SeverityNoted} {
		const most = 1<<rankCount - 1
		r = r<<rankCount | (most - min(howMany(v.Findings, s), most))
	}
	return r
}

// How a rank is put together: a group, state and use, and how many findings of each severity.
const (
	groupOver  = 3 // of what is broken or doubtful, and over
	rankCount  = 10
	rankCounts = 3 * rankCount
	rankGroup  = rankCounts + 3
)

// Reused reports whether a set is known to have been used again without having
// been reprocessed.
func Reused(v *Verdict) bool { return v.brokenBy(NotReprocessed) }

// CameShort reports whether a set had fewer pieces at its assembly after a case than it
// was counted with there, and nothing explains it.
func CameShort(v *Verdict) bool { return v.brokenBy(CameBackShort) }

func (v *Verdict) brokenBy(c Code) bool {
	return slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Code == c && f.Severity == SeverityBroken })
}

// Sort puts first what most needs somebody; see Rank.
func Sort(vs []Verdict) {
	slices.SortFunc(vs, func(a, b Verdict) int {
		return cmp.Or(
			cmp.Compare(Rank(&a), Rank(&b)),
			b.Since.Compare(a.Since),
			CompareKeys(TripKey{a.Set, a.Trip}, TripKey{b.Set, b.Trip}),
			strings.Compare(a.Station, b.Station),
		)
	})
}

func howMany(fs []Finding, s Severity) int64 {
	n := int64(0)
	for i := range fs {
		if fs[i].Severity == s {
			n++
		}
	}
	return n
}

// worstFirst are the states of a chain in the order of Rank.
var worstFirst = []Status{Broken, Doubtful, Open, Whole}
