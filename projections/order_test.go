package projections

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

// TestRank: a set used again without being reprocessed stands above all; what can still be prevented or put right stands above what is
// over, however bad that was; in each, broken above doubtful; in each, what
// nobody has opened above what is in use; then the more findings.
func TestRank(t *testing.T) {
	v := func(s Status, opened, over bool, findings ...Severity) *Verdict {
		v := &Verdict{Status: s, Opened: opened, Over: over}
		for _, f := range findings {
			v.Findings = append(v.Findings, Finding{Severity: f})
		}
		return v
	}
	const b, d, n = SeverityBroken, SeverityDoubtful, SeverityNoted
	reused := v(Broken, true, true, b)
	reused.Findings[0].Code = NotReprocessed
	order := []*Verdict{
		reused,
		v(Broken, false, false, b, b),
		v(Broken, false, false, b, d),
		v(Broken, false, false, b, n),
		v(Broken, true, false, b),
		v(Doubtful, false, false, d, d),
		v(Doubtful, false, false, d),
		v(Doubtful, true, false, d),
		v(Broken, false, true, b),
		v(Broken, true, true, b, b, b),
		v(Doubtful, true, true, d),
	}
	var ranks []int64
	for _, x := range order {
		ranks = append(ranks, Rank(x))
	}
	for i := 1; i < len(ranks); i++ {
		if ranks[i] <= ranks[i-1] {
			t.Errorf("%+v does not stand below %+v", order[i], order[i-1])
		}
	}
	many := v(Doubtful, true, true)
	for range 5000 {
		many.Findings = append(many.Findings, Finding{Severity: b})
	}
	if r := Rank(many); r <= ranks[len(ranks)-2] || !slices.IsSorted(ranks) {
		t.Error("many findings lift a trip out of its group")
	}
}

// TestSort: verdicts of one rank stand with the latest first, then by set and trip.
func TestSort(t *testing.T) {
	at := func(n int) time.Time { return time.Date(2026, 3, n, 7, 0, 0, 0, time.UTC) }
	want := []Verdict{
		{Set: "B", Trip: "1", Status: Broken, Since: at(3)},
		{Set: "A", Trip: "1", Status: Broken, Since: at(2)},
		{Set: "A", Trip: "2", Status: Broken, Since: at(2)},
		{Set: "C", Trip: "1", Status: Broken, Opened: true, Since: at(9)},
		{Set: "D", Trip: "1", Status: Broken, Over: true, Since: at(9)},
		{Station: "north/a", Status: Open},
		{Station: "north/b", Status: Open},
		{Set: "E", Trip: "1", Status: Whole, Since: at(9)},
	}
	for range 20 {
		got := slices.Clone(want)
		rand.New(rand.NewPCG(1, uint64(len(got)))).Shuffle(len(got), func(i, j int) { got[i], got[j] = got[j], got[i] })
		Sort(got)
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%+v", got)
		}
	}
}
