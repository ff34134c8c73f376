package projections

import (
	"cmp"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

// TestRank: a set that came back short of what was counted stands above all, then one used
// again without being reprocessed; what can still be prevented or put right stands above what is
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
	short := v(Broken, true, true, b)
	short.Findings[0].Code = CameBackShort
	found := v(Doubtful, true, true, d) // it lies in another set
	found.Findings[0].Code = CameBackShort
	order := []*Verdict{
		short,
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
		found,
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
	// One more finding counts up to 1023 of a weight; nobody tells more apart.
	with := func(n int) int64 { return Rank(v(Broken, false, false, slices.Repeat([]Severity{b}, n)...)) }
	if with(1023) >= with(1022) || with(1024) != with(1023) {
		t.Errorf("1022, 1023 and 1024 findings give ranks %d, %d and %d", with(1022), with(1023), with(1024))
	}
	if open, whole := Rank(v(Open, false, false)), Rank(v(Whole, false, false)); open <= ranks[len(ranks)-1] || whole <= open {
		t.Errorf("open has rank %d, whole %d, behind %d", open, whole, ranks[len(ranks)-1])
	}
}

// TestRankIsStored: the read model and what pages of it say where they end hold ranks, so their numbers are told: the group,
// the status and whether it was opened, then how many findings of each weight there are less than 1023, in ten bits each.
func TestRankIsStored(t *testing.T) {
	for _, test := range []struct {
		v    Verdict
		want int64
	}{
		{Verdict{Status: Whole, Opened: true}, (4*8+3*2+1)<<30 | 1023<<20 | 1023<<10 | 1023},
		{Verdict{Status: Broken, Over: true, Findings: []Finding{{Severity: SeverityBroken}, {Severity: SeverityNoted}}},
			(3*8)<<30 | 1022<<20 | 1023<<10 | 1022},
		{Verdict{Status: Doubtful, Findings: []Finding{{Severity: SeverityDoubtful}}}, (2*8+1*2)<<30 | 1023<<20 | 1022<<10 | 1023},
	} {
		if got := Rank(&test.v); got != test.want {
			t.Errorf("%+v has rank %d, want %d", test.v, got, test.want)
		}
	}
}

// unwritable is a detail that JSON has no form for.
type unwritable struct{ Of func() }

func (unwritable) Way() string { return "" }

// TestCompareFindings: of two findings the heavier one stands first, then the
// one whose code is listed first, then the one shown by the earlier record, then
// the way and what the detail says.
func TestCompareFindings(t *testing.T) {
	const b, d, n = SeverityBroken, SeverityDoubtful, SeverityNoted
	first, second, last := codes[0], codes[1], codes[len(codes)-1]
	order := []Finding{
		{Code: last, Severity: b},
		{Code: first, Severity: d, Events: []int64{1, 2}},
		{Code: first, Severity: d, Events: []int64{3}},
		{Code: second, Severity: d},
		{Code: last, Severity: d, Way: "a", Detail: &Moved{Set: "B"}},
		{Code: last, Severity: d, Way: "b", Detail: &Moved{Set: "A"}},
		{Code: last, Severity: d, Way: "b", Detail: &Moved{Set: "B"}},
		{Code: first, Severity: n},
	}
	for i, x := range order {
		for j, y := range order {
			if got := CompareFindings(x, y); cmp.Compare(got, 0) != cmp.Compare(i, j) {
				t.Errorf("%+v stands beside %+v by %d", x, y, got)
			}
			if x.Same(y) != (i == j || min(i, j) == 1 && max(i, j) == 2) { // these differ in what shows them
				t.Errorf("%+v and %+v are the same: %v", x, y, x.Same(y))
			}
		}
	}
	// The numbers of records in a detail come last: they depend on the order of arrival.
	earlier := Finding{Detail: &UsedAgain{First: Moment{Seq: 1}, FirstCase: "K-2"}}
	later := Finding{Detail: &UsedAgain{First: Moment{Seq: 2}, FirstCase: "K-1"}}
	if CompareFindings(later, earlier) >= 0 || CompareFindings(earlier, later) <= 0 {
		t.Error("what came earlier stands first, whatever the findings say")
	}
	later.Detail = &UsedAgain{First: Moment{Seq: 2}, FirstCase: "K-2"}
	if CompareFindings(earlier, later) >= 0 || CompareFindings(later, earlier) <= 0 {
		t.Error("of two that differ in numbers alone, the later stands first")
	}
	for _, pair := range [][2]Detail{{unwritable{}, unwritable{}}, {unwritable{}, &Moved{}}, {&Moved{}, unwritable{}}} {
		if c := CompareFindings(Finding{Detail: pair[0]}, Finding{Detail: pair[1]}); c != 0 {
			t.Errorf("%T stands beside %T by %d; their order can't depend on what can't be written", pair[0], pair[1], c)
		}
	}
}

// TestStatusOf: a chain is as bad as its worst finding, and what is only noted
// leaves it as it is.
func TestStatusOf(t *testing.T) {
	const b, d, n = SeverityBroken, SeverityDoubtful, SeverityNoted
	for _, x := range []struct {
		findings []Severity
		want     Status
	}{
		{nil, Open}, {[]Severity{n}, Open}, {[]Severity{d}, Doubtful}, {[]Severity{b}, Broken}, {[]Severity{n, d}, Doubtful},
		{[]Severity{d, b, n}, Broken}, {[]Severity{b, d}, Broken},
	} {
		var fs []Finding
		for _, s := range x.findings {
			fs = append(fs, Finding{Severity: s})
		}
		if got := StatusOf(fs, Open); got != x.want {
			t.Errorf("findings %q give %s, want %s", x.findings, got, x.want)
		}
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
