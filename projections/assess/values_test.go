package assess_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"listbound/projections/assess"
	"listbound/projections/rates"
)

func counted(seen, of int64) *assess.Value {
	return &assess.Value{Start: fmt.Sprint("count", seen, of), Count: &rates.Count{Seen: seen, Of: of}}
}

// TestDependence: THERP's equations (NUREG/CR-1278, chapter 10) at 0.003, and what they
// mean for two people who read one wrong list.
func TestDependence(t *testing.T) {
	for d, want := range map[assess.Dependence]float64{
		assess.DependenceZero: 0.003, assess.DependenceLow: 0.05285, assess.DependenceModerate: 0.1454285714,
		assess.DependenceHigh: 0.5015, assess.DependenceComplete: 1,
	} {
		near(t, string(d), d.Given(0.003), want, 1e-9)
	}
	if !math.IsNaN(assess.Dependence("some").Given(0.003)) {
		t.Error("a dependence that there isn't")
	}
	last := 0.0
	for _, d := range assess.Dependences() { // the weakest first
		if g := d.Given(0.003); g <= last {
			t.Errorf("%s: %g after %g", d, g, last)
		} else {
			last = g
		}
	}
}

// TestStarts: the start values, each with its source. Read in a worked example of THERP
// (nusbaumer.tripod.com/resources/THERP_documentation.txt), and Zhu 2019.
func TestStarts(t *testing.T) {
	type row struct {
		source, where  string
		median, factor float64
	}
	want := map[string]row{
		"step-written":  {"therp", "table 20-7, item 3", 3e-3, 3},
		"step-unused":   {"therp", "table 20-7, item 5", 5e-2, 5},
		"look-alike":    {"therp", "table 20-13, item 1", 1e-3, 3},
		"check-other":   {"therp", "table 20-22, item 2", 0.2, 5},
		"check-routine": {"therp", "table 20-22, items 2 and 10", 0.1, 5},
	}
	sources := make(map[string]bool)
	for _, s := range assess.Sources() {
		sources[s.ID] = true
	}
	for _, s := range assess.Starts() {
		if !sources[s.Source] || s.Where == "" {
			t.Errorf("%s has no source", s.Start)
		}
		if s.Start == "wrong-tag" {
			if *s.Count != (rates.Count{Seen: 8, Of: 33839}) || s.Source != "zhu-2019" {
				t.Errorf("%+v", s)
			}
			continue
		}
		if got := (row{s.Source, s.Where, s.Median, s.ErrorFactor}); got != want[s.Start] {
			t.Errorf("%s: %+v", s.Start, got)
		}
		delete(want, s.Start)
	}
	if len(want) > 0 {
		t.Errorf("missing: %v", want)
	}
	for _, h := range assess.Hazards() {
		for _, s := range h.Sources {
			if !sources[s] {
				t.Errorf("%s has source %q", h.ID, s)
			}
		}
	}
}

// TestErrorFactors: the same worked example has 0.3 (EF 5) times 0.05 (EF 5) as 1.5e-2
// with an error factor of 9.74. A value is log-normal as gonum has it, and ends at one.
func TestErrorFactors(t *testing.T) {
	tree := assess.Tree{Top: "omitted", Gates: []assess.Gate{{ID: "omitted", Op: assess.And, Of: []string{"not-used", "step"}}},
		Events: []assess.Event{
			{ID: "not-used", Value: &assess.Value{Start: "a", Median: 0.3, ErrorFactor: 5}},
			{ID: "step", Value: &assess.Value{Start: "b", Median: 0.05, ErrorFactor: 5}},
		}}
	r := reckon(t, tree, 100000)
	near(t, "nominal", r.Top.Exact, 1.5e-2, 1e-12)
	// 0.3 (EF 5) ends at one in 11 of 100 draws, which the worked example lets pass; below the median nothing ends.
	near(t, "error factor", r.Sampled.Median/r.Sampled.Low, 9.74, 0.25)

	v := assess.Value{Start: "x", Median: 3e-3, ErrorFactor: 3}
	d := distuv.LogNormal{Mu: math.Log(3e-3), Sigma: math.Log(3) / distuv.UnitNormal.Quantile(0.95)}
	for _, q := range []float64{0.01, 0.05, 0.3, 0.5, 0.95, 0.999} {
		near(t, "quantile", v.Quantile(q), d.Quantile(q), 1e-12)
	}
	near(t, "95 %", v.Quantile(0.95), 9e-3, 1e-12)
	near(t, "5 %", v.Quantile(0.05), 1e-3, 1e-12)
	if high := (&assess.Value{Start: "x", Median: 0.5, ErrorFactor: 5}).Quantile(0.95); high != 1 {
		t.Errorf("a probability of %g", high)
	}
	near(t, "Jeffreys, none in 3000", counted(0, 3000).Quantile(0.95), 0.0006400, 1e-7)
	near(t, "nominal is the median", counted(6, 2000).Nominal(), distuv.Beta{Alpha: 6.5, Beta: 1994.5}.Quantile(0.5), 1e-9)
}

// TestDraws: what is drawn from either kind is distributed as it says (the largest
// distance of Kolmogorov and Smirnov), and the same for the same seed.
func TestDraws(t *testing.T) {
	const n = 20000
	for _, v := range []*assess.Value{
		{Start: "x", Median: 3e-3, ErrorFactor: 3}, counted(0, 2000), counted(6, 2000), counted(8, 33839), counted(3, 3),
	} {
		draw := func(seed uint64) []float64 { return assess.DrawsOf(v, seed, n) }
		x := draw(3)
		if !slices.Equal(x, draw(3)) || slices.Equal(x, draw(4)) {
			t.Error("draws are not by the seed")
		}
		slices.Sort(x)
		for _, q := range []float64{0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99} {
			at, _ := slices.BinarySearch(x, v.Quantile(q))
			near(t, v.Start, float64(at)/n, q, 1.7/math.Sqrt(n)) // once in 200
		}
	}
}

// TestTogether: events of one start value are wrong together, which makes a product less
// sure than events of their own would be; and a tornado moves them together.
func TestTogether(t *testing.T) {
	of := func(a, b string) *assess.Result {
		return reckon(t, assess.Tree{Top: "both", Gates: []assess.Gate{{ID: "both", Op: assess.And, Of: []string{"x", "y"}}},
			Events: []assess.Event{
				{ID: "x", Value: &assess.Value{Start: a, Median: 1e-3, ErrorFactor: 3}},
				{ID: "y", Value: &assess.Value{Start: b, Median: 1e-3, ErrorFactor: 3}},
			}}, 50000)
	}
	one, two := of("a", "a"), of("a", "b")
	near(t, "together", one.Sampled.High/1e-6, 9, 0.4)
	near(t, "apart", two.Sampled.High/1e-6, math.Pow(3, math.Sqrt2), 0.3)
	if len(one.Tornado) != 1 || len(two.Tornado) != 2 || len(one.Tornado[0].Events) != 2 {
		t.Fatalf("%+v, %+v", one.Tornado, two.Tornado)
	}
	near(t, "tornado, together", one.Tornado[0].High, 9e-6, 1e-12)
	near(t, "tornado, apart", two.Tornado[0].High, 3e-6, 1e-12)
	near(t, "the same guess on both sides", one.Above(one), 0.5, 1e-12)
	if a := of("a", "c").Above(two); math.Abs(a-0.5) > 0.02 {
		t.Errorf("equal trees: %g", a)
	}
}
