package assess_test

import (
	"slices"
	"strings"
	"testing"

	"listbound/projections"
	"listbound/projections/assess"
)

// TestWeighed: a second look, one step that is enough by itself, and one that nobody has
// a number for: weights, tornado and sample worked out by hand.
func TestWeighed(t *testing.T) {
	tree := assess.Tree{Top: "top", Events: events(0.004, 0.1, 0.1), Gates: []assess.Gate{
		{ID: "top", Op: assess.Or, Of: []string{"both", "e0", "open"}},
		{ID: "both", Op: assess.And, Of: []string{"e1", "e2"}},
	}}
	tree.Events[2].Given, tree.Events[2].Dependence = "e1", assess.DependenceHigh
	tree.Events[0].Value.ErrorFactor = 2
	tree.Events = append(tree.Events, assess.Event{ID: "open"})
	r := reckon(t, tree, 1001)
	near(t, "top", r.Top.Exact, 1-(1-0.055)*(1-0.004), 1e-15)
	if !slices.Equal(r.Without, []string{"open"}) || !slices.EqualFunc(r.CutSets, []string{"e1 e2", "e0", "open"},
		func(c assess.CutSet, names string) bool { return strings.Join(c.Events, " ") == names }) {
		t.Errorf("%v, %+v", r.Without, r.CutSets)
	}
	for _, want := range []assess.Weight{
		{Event: "e1", Value: 0.1, Birnbaum: 0.55 * 0.996, FussellVesely: 0.055 * 0.996 / r.Top.Exact},
		{Event: "e2", Value: 0.55, Birnbaum: 0.1 * 0.996, FussellVesely: 0.055 * 0.996 / r.Top.Exact},
		{Event: "e0", Value: 0.004, Birnbaum: 1 - 0.055, FussellVesely: 0.004 * (1 - 0.055) / r.Top.Exact},
	} {
		i := slices.IndexFunc(r.Weights, func(w assess.Weight) bool { return w.Event == want.Event })
		if i < 0 || (i == 2) != (want.Event == "e0") { // the heaviest first; the other two weigh alike
			t.Fatalf("%+v", r.Weights)
		}
		got := r.Weights[i]
		near(t, want.Event+", value", got.Value, want.Value, 1e-15)
		near(t, want.Event+", Birnbaum", got.Birnbaum, want.Birnbaum, 1e-12)
		near(t, want.Event+", Fussell-Vesely", got.FussellVesely, want.FussellVesely, 1e-12)
	}
	or := func(p, q float64) float64 { return 1 - (1-p)*(1-q) }
	bars := []assess.Bar{ // the widest first; what is known exactly goes nowhere
		{Start: "e2", Events: []string{"e2"}, Dependence: true, Low: or(0.01, 0.004), High: or(0.1, 0.004)},
		{Start: "e0", Events: []string{"e0"}, Low: or(0.055, 0.002), High: or(0.055, 0.008)},
		{Start: "e1", Events: []string{"e1"}, Low: r.Top.Exact, High: r.Top.Exact},
		{Start: "e2", Events: []string{"e2"}, Low: r.Top.Exact, High: r.Top.Exact},
	}
	if len(r.Tornado) != len(bars) {
		t.Fatalf("%+v", r.Tornado)
	}
	for i, want := range bars {
		got := r.Tornado[i]
		if got.Start != want.Start || !slices.Equal(got.Events, want.Events) || got.Dependence != want.Dependence {
			t.Errorf("bar %d: %+v", i, got)
		}
		near(t, want.Start+", low", got.Low, want.Low, 1e-12)
		near(t, want.Start+", high", got.High, want.High, 1e-12)
	}
	x := assess.DrawsOf(tree.Events[0].Value, 7, 1001)
	sum := 0.0
	for i := range x {
		x[i] = or(0.055, x[i])
		sum += x[i]
	}
	slices.Sort(x)
	if s := r.Sampled; s.Draws != 1001 || s.Seed != 7 {
		t.Errorf("%+v", s)
	}
	near(t, "mean", r.Sampled.Mean, sum/1001, 1e-12)
	near(t, "5 %", r.Sampled.Low, x[50], 1e-12)
	near(t, "50 %", r.Sampled.Median, x[500], 1e-12)
	near(t, "95 %", r.Sampled.High, x[950], 1e-12)
	never := reckon(t, assess.Tree{Top: "and", Events: []assess.Event{tree.Events[1], {ID: "open"}}, Gates: []assess.Gate{
		{ID: "and", Op: assess.And, Of: []string{"e1", "open"}}}}, 10)
	if never.Top != (assess.Top{}) || len(never.Weights) != 1 || never.Weights[0].FussellVesely != 0 || never.Sampled == nil {
		t.Errorf("%+v", never)
	}
}

// TestBounds: the last of what is taken.
func TestBounds(t *testing.T) {
	c := both()
	c.Dependence, c.Residual = assess.DependenceZero, strings.Repeat("ü", 2000)
	c.Own = map[string]assess.Own{assess.ScreenDown: {1, 1000}, assess.Unreadable: {1e-300, 1}}
	c.Hazards = map[string]assess.Judged{assess.Ink: {Severity: assess.Catastrophic, Likelihood: map[string]int{assess.Outside: 4}}}
	if err := c.Check(); err != nil {
		t.Error(err)
	}
	full := events(slices.Repeat([]float64{0.5}, 64)...)
	all := assess.Gate{ID: "all", Op: assess.And}
	for _, e := range full {
		all.Of = append(all.Of, e.ID)
	}
	near(t, "64 events", reckon(t, assess.Tree{Top: "all", Gates: []assess.Gate{all}, Events: full}, 0).Top.Exact*(1<<32)*(1<<32), 1, 0)
	for _, v := range []*assess.Value{counted(0, 1), counted(1, 1)} {
		reckon(t, assess.Tree{Top: "e", Events: []assess.Event{{ID: "e", Value: v}}}, 0)
	}
}

// TestHalfJudged: the lowest cell of the table is judged; where severity or likelihood is
// open nothing is decided.
func TestHalfJudged(t *testing.T) {
	at := func(n int) map[string]int { return map[string]int{assess.Outside: n} }
	for _, x := range []struct {
		judged assess.Judged
		score  int
		says   assess.Decision
	}{
		{assess.Judged{Severity: 1, Likelihood: at(1)}, 1, assess.StopScore},
		{assess.Judged{Severity: 4, Likelihood: at(2)}, 8, assess.Proceed},
		{assess.Judged{Severity: 4}, 0, ""},
		{assess.Judged{Likelihood: at(4)}, 0, ""},
	} {
		c := both()
		c.Hazards = map[string]assess.Judged{assess.Ink: x.judged}
		a := assessment(t, newSite(), c)
		ref := assess.CellRef{Hazard: assess.Ink, Placement: assess.Outside}
		got := cell(t, a, ref.Hazard, ref.Placement)
		if got.Score != x.score || got.Decision != x.says || slices.Contains(a.Residual.Open, ref) != (x.score == 0) ||
			slices.Contains(a.Residual.Proceed, ref) != (x.says == assess.Proceed) {
			t.Errorf("%+v: %+v, %+v", x, got, a.Residual)
		}
	}
}

// TestOfPlacements: hazards and controls are told that the placements compared can have.
func TestOfPlacements(t *testing.T) {
	for placement, want := range map[string]string{
		assess.InsideBag: "wrong-list missing-list ink bag: code-read second-look! spare-list folded-inwards barrier tested-bag",
		assess.InsideBare: "wrong-list missing-list ink bare-paper: " +
			"code-read second-look! spare-list folded-inwards barrier tested-paper",
		assess.Outside: "wrong-list missing-list ink: code-read second-look! spare-list holder-fixed folded-inwards",
		assess.Screen:  "wrong-list missing-list screen-only: code-read spare-list paper-at-hand",
	} {
		a := assessment(t, newSite(), assess.Choices{Placements: []string{placement}, Controls: []string{"second-look"}})
		var hazards, controls []string
		for _, h := range a.Analysis {
			hazards = append(hazards, h.ID)
		}
		for _, k := range a.Control {
			controls = append(controls, k.ID+map[bool]string{true: "!"}[k.Taken])
		}
		if got := strings.Join(hazards, " ") + ": " + strings.Join(controls, " "); got != want {
			t.Errorf("%s: %s", placement, got)
		}
	}
}

// TestPairs: each pair has its own difference, the right way round, and says of trees
// whether something in them has no number.
func TestPairs(t *testing.T) {
	s := newSite()
	s.add(assess.InsideBag, 2000, 0, 0, "")
	s.add(assess.Outside, 2000, 0, 2, projections.SheetSwapped)
	s.add(assess.InsideBare, 2000, 0, 40, projections.SheetSwapped)
	l := s.ledger(assess.InsideBag, assess.Outside, assess.InsideBare)
	a, err := assess.New(assess.Choices{Placements: []string{assess.InsideBare, assess.Outside, assess.InsideBag},
		Dependence: assess.DependenceLow}, l, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, says := range []assess.Says{assess.AWorse, assess.AWorse, assess.CantTell} {
		p, of := a.Compared[i], l.Differences[2-i]
		if p.Says != says || p.Difference.A != p.A || p.Difference.B != p.B || of.A != p.B || of.B != p.A || p.Difference.P != of.P {
			t.Errorf("%+v, %+v", p, of)
			continue
		}
		near(t, "worse", p.Difference.Worse, 1-of.Worse, 1e-15)
		if trees := p.Trees; len(trees) != 2 || trees[0].Without || !trees[1].Without || !(trees[0].AWorse > 0.9) {
			t.Errorf("%+v", trees)
		}
	}
	start := assessment(t, newSite(), both()).Compared[0].Trees // of the second one more event has no number
	if len(start) != 2 || start[0].Without || !start[1].Without {
		t.Errorf("%+v", start)
	}
}

// TestMeasured: what the ledger says of three placements, one of them never opened.
func TestMeasured(t *testing.T) {
	s := newSite()
	s.add(assess.Outside, 30, 0, 1, projections.SheetSwapped)
	s.add(assess.InsideBag, 18, 17, 18, projections.SheetAbsent)
	l := s.ledger(assess.InsideBag, assess.Screen, assess.Outside)
	if !l.From.Equal(s.openings[0].At) || !l.To.Equal(s.at) || len(l.Placements) != 2 || len(l.Differences) != 1 {
		t.Fatalf("%+v", l)
	}
	near(t, "a day", l.PerDay, 48/(47.0/24), 1e-12)
	if d := l.Differences[0]; d.A != assess.InsideBag || d.B != assess.Outside || d.Level != 0.05 {
		t.Errorf("%+v", d)
	}
	// More missing than read: nothing that was seen is left out of what it was seen in.
	if m := l.Placements[0]; m.Missing.Seen != 18 || m.Missing.Of != 18 || m.Wrong.Seen != 0 || m.All.Read != 1 {
		t.Errorf("%+v", m)
	}
	s.add(assess.Screen, 5, 0, 0, "")
	for _, d := range s.ledger(assess.InsideBag, assess.Screen, assess.Outside).Differences {
		near(t, "level of one of three pairs", d.Level, 0.05/3, 1e-15)
	}
}
