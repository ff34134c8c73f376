package assess

import (
	"cmp"
	"math"
	"slices"
)

// Result is what a tree says.
type Result struct {
	Top     Top       `json:"top"`
	CutSets []CutSet  `json:"cutSets"`
	Weights []Weight  `json:"weights"` // of the events
	Tornado []Bar     `json:"tornado"` // the widest first
	Sampled *Sampled  `json:"sampled,omitempty"`
	Without []string  `json:"without,omitempty"` // events that have no number: all figures are at least that much
	Tree    Tree      `json:"tree"`
	draws   []float64 // of the top event
}

// CutSet is a combination of events that is enough for the top event.
type CutSet struct {
	Events []string `json:"events"`
	Chance float64  `json:"chance"`
}

// Weight is how much an event matters where it is.
type Weight struct {
	Event string  `json:"event"`
	Value float64 `json:"value"` // given that the first failed, for a second look
	// Birnbaum is by how much the top event becomes likelier if this one is certain
	// rather than impossible; FussellVesely the share of the top event that needs it.
	Birnbaum      float64 `json:"birnbaum"`
	FussellVesely float64 `json:"fussellVesely"`
}

// Bar says from where to where the top event goes if one thing alone goes from one end
// to the other: of a value its 5 % and 95 % quantiles, of a second look the dependence
// from none to complete.
type Bar struct {
	Start      string   `json:"start"`  // the start value, which all its events have together
	Events     []string `json:"events"` // that go with it
	Dependence bool     `json:"dependence,omitzero"`
	Low        float64  `json:"low"`
	High       float64  `json:"high"`
}

// Sampled is how sure the top event's probability is.
type Sampled struct {
	Draws  int     `json:"draws"`
	Seed   uint64  `json:"seed"`
	Mean   float64 `json:"mean"`
	Low    float64 `json:"low"` // 5 %
	Median float64 `json:"median"`
	High   float64 `json:"high"` // 95 %
}

// Draws is how many values are drawn: the 95 % quantile of an error factor of 10 is then
// right to some 3 in 100.
const Draws = 10000

// Reckon works out a tree. An event without a value counts as one that never happens,
// and is named.
func (s *Solved) Reckon(seed uint64, draws int) (*Result, error) {
	for i := range s.Events {
		if v := s.Events[i].Value; v != nil {
			if err := v.check(); err != nil {
				return nil, err
			}
		}
	}
	p := s.nominal()
	r := &Result{Top: s.top(p), Tree: s.Tree}
	for _, names := range s.CutSets() {
		c := CutSet{Events: names, Chance: 1}
		for _, n := range names {
			c.Chance *= p[s.index(n)]
		}
		r.CutSets = append(r.CutSets, c)
	}
	slices.SortStableFunc(r.CutSets, func(a, b CutSet) int { return cmp.Compare(b.Chance, a.Chance) })
	for i := range s.Events {
		e := &s.Events[i]
		if e.Value == nil {
			r.Without = append(r.Without, e.ID)
			continue
		}
		r.Weights = append(r.Weights, s.weight(i, p))
		r.Tornado = append(r.Tornado, s.bars(i)...)
	}
	slices.SortStableFunc(r.Weights, func(a, b Weight) int { return cmp.Compare(b.FussellVesely, a.FussellVesely) })
	slices.SortStableFunc(r.Tornado, func(a, b Bar) int { return cmp.Compare(b.High-b.Low, a.High-a.Low) })
	if draws > 0 && len(r.Weights) > 0 {
		r.draws = s.sample(seed, draws)
		r.Sampled = summary(r.draws)
		r.Sampled.Seed = seed
	}
	return r, nil
}

func (s *Solved) index(id string) int {
	return slices.IndexFunc(s.Events, func(e Event) bool { return e.ID == id })
}

// nominal are the probabilities of the events as trees are reckoned with them.
func (s *Solved) nominal() []float64 {
	return s.chances(func(v *Value) float64 { return v.Nominal() })
}

// chances are the probabilities of the events, the second looks' given the first.
func (s *Solved) chances(of func(*Value) float64) []float64 {
	p := make([]float64, len(s.Events))
	for i := range s.Events {
		e := &s.Events[i]
		if e.Value == nil {
			continue
		}
		if p[i] = of(e.Value); e.Given != "" {
			p[i] = e.Dependence.Given(p[i])
		}
	}
	return p
}

func (s *Solved) weight(i int, p []float64) Weight {
	w := Weight{Event: s.Events[i].ID, Value: p[i]}
	q := slices.Clone(p)
	q[i] = 1
	with := s.chance(q)
	q[i] = 0
	without := s.chance(q)
	w.Birnbaum = with - without
	if top := s.chance(p); top > 0 {
		w.FussellVesely = (top - without) / top
	}
	return w
}

// bars are those of an event: its start value's, told at the first event that has it, and
// its dependence's.
func (s *Solved) bars(i int) (out []Bar) {
	e := &s.Events[i]
	if with := s.with(e.Value.Start); with[0] == e.ID {
		at := func(q float64) float64 {
			return s.chance(s.chances(func(v *Value) float64 {
				if v.Start == e.Value.Start {
					return v.Quantile(q)
				}
				return v.Nominal()
			}))
		}
		out = append(out, Bar{Start: e.Value.Start, Events: with, Low: at(0.05), High: at(0.95)})
	}
	if e.Given != "" {
		at := func(d Dependence) float64 {
			p := s.nominal()
			p[i] = d.Given(e.Value.Nominal())
			return s.chance(p)
		}
		out = append(out, Bar{Start: e.Value.Start, Events: []string{e.ID}, Dependence: true,
			Low: at(DependenceZero), High: at(DependenceComplete)})
	}
	return out
}

// with are the events that have a start value.
func (s *Solved) with(start string) (out []string) {
	for i := range s.Events {
		if v := s.Events[i].Value; v != nil && v.Start == start {
			out = append(out, s.Events[i].ID)
		}
	}
	return out
}

// sample draws the top event's probability.
func (s *Solved) sample(seed uint64, n int) []float64 {
	of := make(map[string][]float64)
	for i := range s.Events {
		if v := s.Events[i].Value; v != nil && of[v.Start] == nil {
			of[v.Start] = v.draws(seed, n)
		}
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = s.chance(s.chances(func(v *Value) float64 { return of[v.Start][i] }))
	}
	return out
}

func summary(draws []float64) *Sampled {
	sorted := slices.Sorted(slices.Values(draws))
	sum := 0.0
	for _, x := range sorted {
		sum += x
	}
	at := func(q float64) float64 { return sorted[int(math.Floor(q*float64(len(sorted)-1)))] }
	return &Sampled{Draws: len(sorted), Mean: sum / float64(len(sorted)), Low: at(0.05), Median: at(0.5), High: at(0.95)}
}

// Above is the share of draws in which one top event is likelier than another. What
// both are wrong about together they are wrong about in the same draw.
func (r *Result) Above(other *Result) float64 {
	above := 0.0
	for i := range min(len(r.draws), len(other.draws)) {
		switch {
		case r.draws[i] > other.draws[i]:
			above++
		case r.draws[i] == other.draws[i]:
			above += 0.5
		}
	}
	return above / float64(min(len(r.draws), len(other.draws)))
}
