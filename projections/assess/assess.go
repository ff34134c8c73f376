// Package assess is the assessment of where count sheets travel: the hazards of a list
// that is wrong or missing at the count on one side, those of paper and ink in a set that
// is sterilized by steam on the other. It is pure arithmetic: no clock, no file, and
// what is drawn at random comes from a seed.
//
// # What is reckoned
//
// The list's side has a fault tree for each placement: gates and events are data
// (hazards.go), start values have their publication (starts.go), and as soon as enough was
// read the ledger's own counts take the place of what leads to them (ledger.go). The
// paper's side has no published number that would hold for a hospital, so none is made
// up: the site judges it, in the 4-by-4 table that hospitals know. The two sides are
// never added.
//
// # Units
//
// Probabilities are those of one opening of one set, from 0 to 1; pages multiply by
// 1,000. Trees are reckoned with medians. An error factor is the ratio of the 95 %
// quantile to the median, and of the median to the 5 % quantile.
//
// # What it says
//
// Two placements differ if the ledger tells them apart; what start values alone say of
// them is shown and is no such statement, since the same guess stands on both sides. It
// recommends nothing: who decides is named by the site.
//
// # Errors
//
// Choices that can't be are refused with their member's name.
package assess

import (
	"fmt"
	"slices"

	"listbound/projections/rates"
)

// Assessment is the whole, in the order of ISO 14971: analysis (5), evaluation (6),
// control (7), overall residual risk (8), review (9), and what the ledger says since
// (10, production and post-production).
type Assessment struct {
	Choices  Choices            `json:"choices"`
	Seed     uint64             `json:"seed"`
	Analysis []Analysed         `json:"analysis"`
	Control  []Controlled       `json:"control"`
	Residual Residual           `json:"residual"`
	Review   string             `json:"review"`
	Decides  string             `json:"decides"` // who decides; empty: nobody is named
	Ledger   *Ledger            `json:"ledger"`
	Compared []ComparedPair     `json:"compared"`
	Sources  []Source           `json:"sources"`
	Starts   []Start            `json:"starts"`
	Readers  map[string]Reading `json:"readers"` // two readers of one wrong list, by dependence
}

// Reading is how often both readers of one wrong list miss it.
type Reading struct {
	Second float64 `json:"second"` // given that the first has
	Both   float64 `json:"both"`
}

// Analysed is a hazard at the placements compared.
type Analysed struct {
	Hazard
	Severity int    `json:"severity,omitzero"`
	Words    string `json:"words,omitempty"`
	At       []Cell `json:"at"`
}

// Cell is a hazard at one placement.
type Cell struct {
	Placement Placement `json:"placement"`
	// FromStart is the tree by start values, Counted the one with the ledger's numbers;
	// either is missing where there is none.
	FromStart *Result  `json:"fromStart,omitempty"`
	Counted   *Result  `json:"counted,omitempty"`
	PerYear   *float64 `json:"perYear,omitempty"` // of the better one, if all sets travelled like that; nil: nobody can tell
	// Likelihood is what the site says, else what PerYear comes to; Reckoned says which.
	Likelihood int      `json:"likelihood,omitzero"`
	Reckoned   int      `json:"reckoned,omitzero"` // by PerYear, also where the site says otherwise
	Score      int      `json:"score,omitzero"`    // 0: severity or likelihood is open
	Answers    Answers  `json:"answers"`
	Decision   Decision `json:"decision,omitempty"`
}

// Best is the tree that counts most: the one with the ledger's numbers, if there is one.
func (c *Cell) Best() *Result {
	if c.Counted != nil {
		return c.Counted
	}
	return c.FromStart
}

// Controlled is a control that the placements compared could have.
type Controlled struct {
	Control
	Taken bool `json:"taken"`
}

// Residual is what is left.
type Residual struct {
	Words   string    `json:"words"`             // of the site
	Open    []CellRef `json:"open,omitempty"`    // hazards whose severity or likelihood nobody has judged
	Proceed []CellRef `json:"proceed,omitempty"` // hazards about which something has to be done
}

// CellRef names a hazard at a placement.
type CellRef struct {
	Hazard    string    `json:"hazard"`
	Placement Placement `json:"placement"`
}

// ComparedPair is what can be said of two placements.
type ComparedPair struct {
	A    Placement `json:"a"`
	B    Placement `json:"b"`
	Says Says      `json:"says"`
	// Difference is the ledger's; nil where one of them was never opened.
	Difference *rates.Difference `json:"difference,omitempty"`
	// Trees says by hazard in which share of what was drawn A comes out worse. Of start
	// values it is a guess held against the same guess.
	Trees []TreesPair `json:"trees,omitempty"`
}

// TreesPair is two trees of one hazard held against each other.
type TreesPair struct {
	Hazard  string  `json:"hazard"`
	AWorse  float64 `json:"aWorse"`
	Counted bool    `json:"counted"`          // both with the ledger's numbers
	Without bool    `json:"without,omitzero"` // one of them has an event without a number: it may be more
}

// Says is what the numbers carry of two placements, on the list's side.
type Says string

// What can be said. That two can't be told apart doesn't say that they are alike.
const (
	AWorse      Says = "a-worse" // the ledger tells them apart
	BWorse      Says = "b-worse"
	CantTell    Says = "cant-tell"    // it doesn't, yet
	NotCompared Says = "not-compared" // too little was read of one
	NotCounted  Says = "not-counted"  // of one nothing was opened: only start values speak
)

// New makes an assessment of what a site chose and what was counted there.
func New(c Choices, l *Ledger, seed uint64) (*Assessment, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	a := &Assessment{
		Choices: c, Seed: seed, Ledger: l, Review: c.Review, Decides: c.Decides, Sources: Sources(), Starts: Starts(),
		Readers: make(map[string]Reading),
	}
	alone := c.event(firstReader, "").Value.Nominal()
	for _, d := range Dependences() {
		a.Readers[string(d)] = Reading{Second: d.Given(alone), Both: alone * d.Given(alone)}
	}
	for _, h := range Hazards() {
		x := Analysed{Hazard: h, Severity: c.Hazards[h.ID].Severity, Words: c.Hazards[h.ID].Words}
		for _, p := range c.Placements {
			if !slices.Contains(h.Placements, p) {
				continue
			}
			cell, err := a.cell(&h, p)
			if err != nil {
				return nil, err
			}
			x.At = append(x.At, *cell)
		}
		if len(x.At) > 0 {
			a.Analysis = append(a.Analysis, x)
		}
	}
	a.controls()
	a.residual()
	a.compare()
	return a, nil
}

func (a *Assessment) cell(h *Hazard, p Placement) (*Cell, error) {
	j := a.Choices.Hazards[h.ID]
	c := &Cell{Placement: p, Likelihood: j.Likelihood[p], Answers: j.Answers[p]}
	if h.Tree {
		var err error
		if c.FromStart, err = a.reckon(h.ID, p, nil); err != nil {
			return nil, err
		}
		if counted := a.Ledger.of(p).counted(h.ID); counted != nil {
			if c.Counted, err = a.reckon(h.ID, p, counted); err != nil {
				return nil, err
			}
		}
	}
	if r := c.Best(); r != nil && len(r.Without) == 0 && a.Ledger.PerDay > 0 {
		const days = 365.25
		perYear := r.Top.Exact * a.Ledger.PerDay * days
		c.PerYear = &perYear
		c.Reckoned = LikelihoodOf(perYear)
		if c.Likelihood == 0 {
			c.Likelihood = c.Reckoned
		}
	}
	if j.Severity > 0 && c.Likelihood > 0 {
		c.Score = Score(j.Severity, c.Likelihood)
		c.Decision = Decide(c.Score, c.Answers)
	}
	return c, nil
}

func (a *Assessment) reckon(hazard string, p Placement, counted map[string]*Value) (*Result, error) {
	s, err := Solve(treeOf(hazard, p, &a.Choices, counted))
	if err != nil {
		return nil, fmt.Errorf("the tree of %s at %s: %w", hazard, p, err)
	}
	return s.Reckon(a.Seed, Draws)
}

func (a *Assessment) controls() {
	for _, k := range Controls() {
		if slices.ContainsFunc(k.Placements, func(p Placement) bool { return slices.Contains(a.Choices.Placements, p) }) {
			a.Control = append(a.Control, Controlled{k, slices.Contains(a.Choices.Controls, k.ID)})
		}
	}
}

func (a *Assessment) residual() {
	a.Residual.Words = a.Choices.Residual
	for i := range a.Analysis {
		h := &a.Analysis[i]
		for k := range h.At {
			ref := CellRef{h.ID, h.At[k].Placement}
			switch {
			case h.At[k].Score == 0:
				a.Residual.Open = append(a.Residual.Open, ref)
			case h.At[k].Decision == Proceed:
				a.Residual.Proceed = append(a.Residual.Proceed, ref)
			}
		}
	}
}

func (a *Assessment) compare() {
	ps := a.Choices.Placements
	for i := range ps {
		for k := i + 1; k < len(ps); k++ {
			pair := ComparedPair{A: ps[i], B: ps[k], Says: NotCounted}
			a.held(&pair)
			for n := range a.Analysis {
				if t, ok := a.Analysis[n].trees(pair.A, pair.B); ok {
					pair.Trees = append(pair.Trees, t)
				}
			}
			a.Compared = append(a.Compared, pair)
		}
	}
}

// held takes over what the ledger says of a pair, whichever way round it says it.
func (a *Assessment) held(pair *ComparedPair) {
	for _, d := range a.Ledger.Differences {
		if d.A == pair.B && d.B == pair.A {
			d.A, d.B, d.Worse = d.B, d.A, 1-d.Worse
		}
		if d.A != pair.A || d.B != pair.B {
			continue
		}
		pair.Difference = &d
		switch {
		case d.Told == rates.NotCompared:
			pair.Says = NotCompared
		case d.Told == rates.CantTell:
			pair.Says = CantTell
		case d.Worse > 0.5:
			pair.Says = AWorse
		default:
			pair.Says = BWorse
		}
	}
}

// trees holds the trees of two placements against each other: both with the ledger's
// numbers, or both by start values.
func (h *Analysed) trees(a, b Placement) (TreesPair, bool) {
	find := func(p Placement) *Cell {
		i := slices.IndexFunc(h.At, func(c Cell) bool { return c.Placement == p })
		if i < 0 || h.At[i].FromStart == nil {
			return nil
		}
		return &h.At[i]
	}
	x, y := find(a), find(b)
	if x == nil || y == nil {
		return TreesPair{}, false
	}
	t := TreesPair{Hazard: h.ID, Counted: x.Counted != nil && y.Counted != nil}
	m, n := x.FromStart, y.FromStart
	if t.Counted {
		m, n = x.Counted, y.Counted
	}
	if len(m.draws) == 0 || len(n.draws) == 0 {
		return TreesPair{}, false // one of them has no number at all
	}
	t.AWorse, t.Without = m.Above(n), len(m.Without)+len(n.Without) > 0
	return t, true
}
