package assess_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"listbound/projections/assess"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g within %g", what, got, want, within)
	}
}

// fixed is a value that is known exactly: an error factor of one.
func fixed(name string, p float64) *assess.Value {
	return &assess.Value{Start: name, Source: assess.SourceSite, Median: p, ErrorFactor: 1}
}

func events(p ...float64) (out []assess.Event) {
	for i, x := range p {
		id := fmt.Sprintf("e%d", i)
		out = append(out, assess.Event{ID: id, Value: fixed(id, x)})
	}
	return out
}

func reckon(t *testing.T, tree assess.Tree, draws int) *assess.Result {
	t.Helper()
	s, err := assess.Solve(tree)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.Reckon(7, draws)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestTwoOfThree: 3p² - 2p³, and with an event that stands in the tree twice, where
// multiplying gate by gate is wrong.
func TestTwoOfThree(t *testing.T) {
	r := reckon(t, assess.Tree{Top: "top", Events: events(0.1, 0.1, 0.1), Gates: []assess.Gate{
		{ID: "top", Op: assess.AtLeast, Least: 2, Of: []string{"e0", "e1", "e2"}},
	}}, 0)
	near(t, "exact", r.Top.Exact, 0.028, 1e-15)
	near(t, "sum of three cut sets of two", r.Top.Sum, 0.03, 1e-15)
	near(t, "bound", r.Top.Bound, 1-0.99*0.99*0.99, 1e-15)
	r = reckon(t, assess.Tree{Top: "top", Events: events(0.2, 0.3, 0.4), Gates: []assess.Gate{
		{ID: "top", Op: assess.And, Of: []string{"a", "b"}},
		{ID: "a", Op: assess.Or, Of: []string{"e0", "e1"}}, {ID: "b", Op: assess.Or, Of: []string{"e0", "e2"}},
	}}, 0)
	near(t, "e0 or both others", r.Top.Exact, 0.2+0.8*0.3*0.4, 1e-15)
	if got := fmt.Sprint(r.CutSets); got != "[{[e0] 0.2} {[e1 e2] 0.12}]" {
		t.Errorf("cut sets %s", got)
	}
}

// TestRandomTrees holds cut sets and probabilities of random trees against going through
// all states of their events, one by one.
func TestRandomTrees(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 1))
	shared := 0
	for range 600 {
		tree := randomTree(r)
		got := reckon(t, tree, 0)
		exact, cuts := 0.0, []uint{}
		n := len(tree.Events)
		for state := range uint(1) << n {
			if !happens(tree, tree.Top, state) {
				continue
			}
			exact += chanceOf(tree, state)
			if !slices.ContainsFunc(cuts, func(c uint) bool { return c&^state == 0 }) {
				cuts = append(cuts, state)
			}
		}
		cuts = slices.DeleteFunc(slices.Clone(cuts), func(c uint) bool {
			return slices.ContainsFunc(cuts, func(d uint) bool { return d != c && d&^c == 0 })
		})
		near(t, "exact", got.Top.Exact, exact, 1e-12)
		if !(got.Top.Exact <= got.Top.Bound+1e-12 && got.Top.Bound <= got.Top.Sum+1e-12) {
			t.Errorf("%+v: not in order", got.Top)
		}
		if got.Top.Exact < got.Top.Bound-1e-9 {
			shared++
		}
		if a, b := named(tree, cuts), cutSets(got); !slices.Equal(a, b) {
			t.Errorf("cut sets %v, by all states %v", b, a)
		}
		for _, w := range got.Weights {
			i := slices.IndexFunc(tree.Events, func(e assess.Event) bool { return e.ID == w.Event })
			with, without := ifOnly(tree, i)
			near(t, "Birnbaum", w.Birnbaum, with-without, 1e-12)
			if exact > 0 {
				near(t, "Fussell-Vesely", w.FussellVesely, (exact-without)/exact, 1e-9)
			}
		}
	}
	if shared < 50 {
		t.Errorf("only %d trees in which cut sets share an event", shared)
	}
}

// randomTree has gates that lead to later gates and to events.
func randomTree(r *rand.Rand) assess.Tree {
	p := make([]float64, 2+r.IntN(7))
	for i := range p {
		p[i] = 0.01 + 0.9*r.Float64()
	}
	tree := assess.Tree{Top: "g0", Events: events(p...)}
	gates := 1 + r.IntN(5)
	for i := range gates {
		g := assess.Gate{ID: fmt.Sprintf("g%d", i), Op: []assess.Op{assess.And, assess.Or, assess.AtLeast}[r.IntN(3)]}
		for range 2 + r.IntN(3) {
			in := fmt.Sprintf("e%d", r.IntN(len(p)))
			if k := i + 1 + r.IntN(gates); k < gates {
				in = fmt.Sprintf("g%d", k)
			}
			if !slices.Contains(g.Of, in) {
				g.Of = append(g.Of, in)
			}
		}
		g.Least = 1 + r.IntN(len(g.Of))
		tree.Gates = append(tree.Gates, g)
	}
	return tree
}

func happens(tree assess.Tree, id string, state uint) bool {
	if i := slices.IndexFunc(tree.Events, func(e assess.Event) bool { return e.ID == id }); i >= 0 {
		return state&(1<<i) != 0
	}
	g := tree.Gates[slices.IndexFunc(tree.Gates, func(g assess.Gate) bool { return g.ID == id })]
	n := 0
	for _, in := range g.Of {
		if happens(tree, in, state) {
			n++
		}
	}
	switch g.Op {
	case assess.And:
		return n == len(g.Of)
	case assess.Or:
		return n > 0
	}
	return n >= g.Least
}

func chanceOf(tree assess.Tree, state uint) float64 {
	p := 1.0
	for i := range tree.Events {
		if q := tree.Events[i].Value.Median; state&(1<<i) != 0 {
			p *= q
		} else {
			p *= 1 - q
		}
	}
	return p
}

// ifOnly is the top's probability given that an event happens, and that it doesn't.
func ifOnly(tree assess.Tree, i int) (with, without float64) {
	q := tree.Events[i].Value.Median
	for state := range uint(1) << len(tree.Events) {
		switch {
		case !happens(tree, tree.Top, state):
		case state&(1<<i) != 0:
			with += chanceOf(tree, state) / q
		default:
			without += chanceOf(tree, state) / (1 - q)
		}
	}
	return with, without
}

func named(tree assess.Tree, cuts []uint) (out []string) {
	for _, c := range cuts {
		var names []string
		for i := range tree.Events {
			if c&(1<<i) != 0 {
				names = append(names, tree.Events[i].ID)
			}
		}
		out = append(out, strings.Join(names, " "))
	}
	slices.Sort(out)
	return out
}

func cutSets(r *assess.Result) (out []string) {
	for _, c := range r.CutSets {
		out = append(out, strings.Join(c.Events, " "))
	}
	slices.Sort(out)
	return out
}

// TestSolveRefuses: what is no tree.
func TestSolveRefuses(t *testing.T) {
	and := func(id string, of ...string) assess.Gate { return assess.Gate{ID: id, Op: assess.And, Of: of} }
	two := assess.Gate{ID: "a", Op: assess.AtLeast, Least: 2, Of: []string{"e0"}}
	second := events(0.1, 0.1)
	second[1].Given, second[1].Dependence = "e0", assess.DependenceHigh
	third := append(slices.Clone(second), assess.Event{ID: "e2", Value: fixed("e2", 0.1), Given: "e1"})
	for says, tree := range map[string]assess.Tree{
		"leads to itself":            {Top: "a", Events: events(0.1), Gates: []assess.Gate{and("a", "b"), and("b", "a")}},
		`"c" is not one gate`:        {Top: "a", Events: events(0.1), Gates: []assess.Gate{and("a", "e0", "c")}},
		`"e0" is not one gate`:       {Top: "e0", Events: events(0.1), Gates: []assess.Gate{and("e0", "e0")}},
		"of one name":                {Top: "a", Events: events(0.1), Gates: []assess.Gate{and("a", "e0"), and("a", "e0")}},
		"and of 0":                   {Top: "a", Gates: []assess.Gate{and("a")}},
		"of 1 with least 2":          {Top: "a", Events: events(0.1), Gates: []assess.Gate{two}},
		"xor of 1":                   {Top: "a", Events: events(0.1), Gates: []assess.Gate{{ID: "a", Op: "xor", Of: []string{"e0"}}}},
		"e1 matters without e0":      {Top: "a", Events: second, Gates: []assess.Gate{{ID: "a", Op: assess.Or, Of: []string{"e0", "e1"}}}},
		"no event that stands alone": {Top: "a", Events: third, Gates: []assess.Gate{and("a", "e0", "e1", "e2")}},
		"a tree has at most 64":      {Top: "e0", Events: events(make([]float64, 65)...)},
	} {
		if _, err := assess.Solve(tree); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
	for _, v := range []*assess.Value{
		{Start: "x", Median: 0, ErrorFactor: 3}, {Start: "x", Median: 1.1, ErrorFactor: 3}, {Start: "x", Median: 0.1, ErrorFactor: 0.5},
		{Start: "x", Median: math.NaN(), ErrorFactor: 3}, counted(2, 1), counted(0, 0), counted(-1, 5),
	} {
		s, err := assess.Solve(assess.Tree{Top: "e", Events: []assess.Event{{ID: "e", Value: v}}})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Reckon(1, 0); err == nil {
			t.Errorf("%+v was taken", v)
		}
	}
}
