package assess

import (
	"cmp"
	"errors"
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

// Op is how a gate joins what leads to it.
type Op string

// The gates. All of them are coherent: more going wrong never helps.
const (
	And     Op = "and"
	Or      Op = "or"
	AtLeast Op = "at-least"
)

// Gate is something that happens if what leads to it does.
type Gate struct {
	ID    string   `json:"id"`
	Op    Op       `json:"op"`
	Least int      `json:"least,omitzero"` // of AtLeast
	Of    []string `json:"of"`             // gates and events
}

// Event is something that happens with a probability of its own.
type Event struct {
	ID    string `json:"id"`
	Value *Value `json:"value,omitempty"` // nil: nobody has measured or published one
	// Given names the event that this one is the second look at: it fails as often as
	// Dependence says, given that one has. It must not matter without it.
	Given      string     `json:"given,omitempty"`
	Dependence Dependence `json:"dependence,omitempty"`
}

// Tree is a fault tree: how the top event comes about.
type Tree struct {
	Top    string  `json:"top"`
	Gates  []Gate  `json:"gates"`
	Events []Event `json:"events"`
}

// mostEvents is how many basic events a tree may have: a cut set is a word of bits.
const mostEvents = 64

// set are events, by their numbers in the tree.
type set uint64

func (s set) within(t set) bool { return s&^t == 0 }

// Solved is a tree with its minimal cut sets, ready to be reckoned.
type Solved struct {
	Tree
	cuts  []set
	nodes []split // of the decision diagram; the last one is its root
}

// split is a node of the decision diagram: what is left if an event happens, or doesn't.
// The first two are the ends, never and certain.
type split struct {
	event    int
	yes, not int
}

const (
	never   = 0
	certain = 1
)

// Solve finds a tree's minimal cut sets: the smallest combinations of events that are
// enough for the top event. It refuses a tree that isn't one.
func Solve(t Tree) (*Solved, error) {
	s := &Solved{Tree: t}
	if len(t.Events) > mostEvents {
		return nil, fmt.Errorf("%d events; a tree has at most %d", len(t.Events), mostEvents)
	}
	f := finder{gates: make(map[string]*Gate), events: make(map[string]int), done: make(map[string][]set)}
	for i := range t.Events {
		f.events[t.Events[i].ID] = i
	}
	for i := range t.Gates {
		f.gates[t.Gates[i].ID] = &t.Gates[i]
	}
	if len(f.events) != len(t.Events) || len(f.gates) != len(t.Gates) {
		return nil, errors.New("two gates or two events of one name")
	}
	var err error
	if s.cuts, err = f.find(t.Top); err != nil {
		return nil, err
	}
	if err := s.checkGiven(&f); err != nil {
		return nil, err
	}
	slices.SortFunc(s.cuts, func(a, b set) int {
		return cmp.Or(cmp.Compare(bits.OnesCount64(uint64(a)), bits.OnesCount64(uint64(b))), cmp.Compare(a, b))
	})
	d := diagram{known: make(map[string]int), nodes: make([]split, 2)}
	d.of(s.cuts)
	s.nodes = d.nodes
	return s, nil
}

// checkGiven holds second looks to what makes them exact: one that matters only where
// the first has failed can be reckoned with as an event of its own.
func (s *Solved) checkGiven(f *finder) error {
	for i := range s.Events {
		e := &s.Events[i]
		if e.Given == "" {
			continue
		}
		first, ok := f.events[e.Given]
		if !ok || s.Events[first].Given != "" {
			return fmt.Errorf("%s is given %s, which is no event that stands alone", e.ID, e.Given)
		}
		for _, c := range s.cuts {
			if c&(1<<i) != 0 && c&(1<<first) == 0 {
				return fmt.Errorf("%s matters without %s, which it is given", e.ID, e.Given)
			}
		}
	}
	return nil
}

// CutSets returns the minimal cut sets by the names of their events, the shortest first.
func (s *Solved) CutSets() [][]string {
	out := make([][]string, len(s.cuts))
	for i, c := range s.cuts {
		for k := range s.Events {
			if c&(1<<k) != 0 {
				out[i] = append(out[i], s.Events[k].ID)
			}
		}
	}
	return out
}

// finder looks for cut sets from the top down.
type finder struct {
	gates  map[string]*Gate
	events map[string]int
	done   map[string][]set
	path   []string
}

func (f *finder) find(id string) ([]set, error) {
	i, isEvent := f.events[id]
	g := f.gates[id]
	switch {
	case isEvent == (g != nil):
		return nil, fmt.Errorf("%q is not one gate or one event", id)
	case isEvent:
		return []set{1 << i}, nil
	case slices.Contains(f.path, id):
		return nil, fmt.Errorf("%s leads to itself: %s", id, strings.Join(f.path, ", "))
	}
	if d, ok := f.done[id]; ok {
		return d, nil
	}
	f.path = append(f.path, id)
	var of [][]set
	for _, in := range g.Of {
		cuts, err := f.find(in)
		if err != nil {
			return nil, err
		}
		of = append(of, cuts)
	}
	f.path = f.path[:len(f.path)-1]
	least := map[Op]int{And: len(of), Or: 1, AtLeast: g.Least}[g.Op]
	if least < 1 || least > len(of) {
		return nil, fmt.Errorf("%s: %s of %d with least %d", id, g.Op, len(of), g.Least)
	}
	f.done[id] = combine(of, least)
	return f.done[id], nil
}

// combine returns the minimal sets in which at least so many of the inputs happen.
func combine(of [][]set, least int) []set {
	switch {
	case least == 0:
		return []set{0}
	case least > len(of):
		return nil
	}
	out := slices.Clone(combine(of[1:], least))
	for _, rest := range combine(of[1:], least-1) {
		for _, c := range of[0] {
			out = append(out, c|rest)
		}
	}
	return minimal(out)
}

// minimal drops sets that hold another one.
func minimal(sets []set) []set {
	slices.SortFunc(sets, func(a, b set) int { return cmp.Compare(bits.OnesCount64(uint64(a)), bits.OnesCount64(uint64(b))) })
	var out []set
	for _, s := range sets {
		if !slices.ContainsFunc(out, func(o set) bool { return o.within(s) }) {
			out = append(out, s)
		}
	}
	return out
}

// diagram makes a binary decision diagram (Bryant 1986) of cut sets, by which a tree's
// probability is exact however often an event stands in it.
type diagram struct {
	nodes []split
	known map[string]int
}

func (d *diagram) of(cuts []set) int {
	all := set(0)
	for _, c := range cuts {
		if c == 0 {
			return certain
		}
		all |= c
	}
	if all == 0 {
		return never
	}
	slices.Sort(cuts)
	key := fmt.Sprint(cuts)
	if n, ok := d.known[key]; ok {
		return n
	}
	event := bits.TrailingZeros64(uint64(all))
	var yes, not []set
	for _, c := range cuts {
		if c&(1<<event) == 0 {
			not = append(not, c)
		}
		yes = append(yes, c&^(1<<event))
	}
	n := split{event: event, yes: d.of(minimal(yes)), not: d.of(not)}
	d.nodes = append(d.nodes, n)
	d.known[key] = len(d.nodes) - 1
	return d.known[key]
}

// chance is the probability of the top event, p being those of the events.
func (s *Solved) chance(p []float64) float64 {
	at := make([]float64, len(s.nodes))
	at[certain] = 1
	for i := certain + 1; i < len(at); i++ {
		n := s.nodes[i]
		at[i] = p[n.event]*at[n.yes] + (1-p[n.event])*at[n.not]
	}
	return at[len(at)-1]
}

// Top is the probability of the top event.
type Top struct {
	Exact float64 `json:"exact"`
	// Sum over the minimal cut sets, which is never too small and near where all are rare;
	// and 1 - prod(1 - P(cut set)), which lies between (NUREG-0492).
	Sum   float64 `json:"sum"`
	Bound float64 `json:"bound"`
}

// top reckons the top event, p being the probabilities of the events.
func (s *Solved) top(p []float64) Top {
	t := Top{Exact: s.chance(p)}
	none := 1.0
	for _, c := range s.cuts {
		q := 1.0
		for i := range p {
			if c&(1<<i) != 0 {
				q *= p[i]
			}
		}
		t.Sum += q
		none *= 1 - q
	}
	t.Bound = 1 - none
	return t
}
