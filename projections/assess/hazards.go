package assess

import (
	"cmp"
	"slices"
)

// Placement is how a count sheet travels; the values are those of events.
type Placement = string

// The placements.
const (
	InsideBag  Placement = "inside-bag"
	InsideBare Placement = "inside-bare"
	Outside    Placement = "outside"
	Screen     Placement = "screen"
)

// Placements lists them, in the order of pages.
func Placements() []Placement { return []Placement{InsideBag, InsideBare, Outside, Screen} }

// Side is what a hazard comes from. What lies on one side is not added to what lies on
// the other: the one is counted, the other judged.
type Side string

// The sides.
const (
	SideList  Side = "list"  // a list that is wrong or not there
	SidePaper Side = "paper" // paper and ink in a set that is sterilized by steam
)

// Hazard is something that can hurt somebody, with the placements at which it can.
type Hazard struct {
	ID         string      `json:"id"`
	Side       Side        `json:"side"`
	Placements []Placement `json:"placements"`
	Sources    []string    `json:"sources,omitempty"` // of what is said about it; none: no publication that holds for it
	Tree       bool        `json:"tree,omitzero"`     // it has a fault tree; else the site judges how likely it is
}

// The hazards.
const (
	WrongList   = "wrong-list"   // a set is counted by a list that is not its own, and nobody notices
	MissingList = "missing-list" // no list is there at the count, or none that can be read
	Ink         = "ink"          // ink or toner goes over to instruments
	BarePaper   = "bare-paper"   // bare paper leaves fibres, holds moisture or lies on instruments
	Bag         = "bag"          // a bag that nobody validated in the set holds moisture or keeps steam off
	ScreenOnly  = "screen-only"  // one fault takes the lists of all sets of a case away at once
)

// Hazards lists them.
func Hazards() []Hazard {
	return []Hazard{
		{ID: WrongList, Side: SideList, Placements: Placements(), Sources: []string{"therp", "zhu-2019"}, Tree: true},
		{ID: MissingList, Side: SideList, Placements: Placements(), Sources: []string{"therp"}, Tree: true},
		{ID: ScreenOnly, Side: SideList, Placements: []Placement{Screen}},
		{ID: Ink, Side: SidePaper, Placements: []Placement{InsideBag, InsideBare, Outside}, Sources: []string{"lucas-2009"}},
		{ID: BarePaper, Side: SidePaper, Placements: []Placement{InsideBare}, Sources: []string{"lucas-2009"}},
		{ID: Bag, Side: SidePaper, Placements: []Placement{InsideBag}},
	}
}

// Control is something that a site does against a hazard.
type Control struct {
	ID         string      `json:"id"`
	Hazard     string      `json:"hazard"`
	Placements []Placement `json:"placements"`
	// At is the gate of the hazard's tree that then needs the control to fail as well, as
	// often as Start says. Empty: nobody has published how much it helps, and no number
	// changes by it.
	At    string `json:"at,omitempty"`
	Start string `json:"start,omitempty"`
}

// CodeRead is the one control that the ledger counts: the sheet's code is read at the
// opening, so that a wrong list shows before anybody counts by it.
const CodeRead = "code-read"

// Controls lists them.
func Controls() []Control {
	paper := []Placement{InsideBag, InsideBare, Outside}
	return []Control{
		{CodeRead, WrongList, Placements(), "unnoticed", StepUnused},
		{"second-look", WrongList, paper, "put-wrong", CheckByOther},
		{"spare-list", MissingList, Placements(), "", ""},
		{"holder-fixed", MissingList, []Placement{Outside}, "", ""},
		{"paper-at-hand", ScreenOnly, []Placement{Screen}, "", ""},
		{"folded-inwards", Ink, paper, "", ""},
		{"barrier", Ink, []Placement{InsideBag, InsideBare}, "", ""},
		{"tested-paper", BarePaper, []Placement{InsideBare}, "", ""},
		{"tested-bag", Bag, []Placement{InsideBag}, "", ""},
	}
}

// The events of the trees that a site may have a number of its own for: nobody has
// published one.
const (
	LostOnTheWay = "lost-on-the-way" // a sheet comes off its holder
	Unreadable   = "unreadable"      // a sheet can't be read after the run
	ScreenDown   = "screen-down"     // the list can't be shown at the count
)

// Unpublished lists them.
func Unpublished() []string { return []string{LostOnTheWay, Unreadable, ScreenDown} }

// way is a gate or an event of the trees, as far as it stands in that of a placement.
type way struct {
	at   []Placement // nil: all
	gate Gate
	id   string // of an event
	from string // its start value
}

// The gates that the ledger counts.
const (
	wrongAtOpening   = "wrong-at-opening"
	missingAtOpening = "missing-at-opening"
)

// The readers of a list at the count.
const (
	firstReader  = "first-reader"
	secondReader = "second-reader"
)

// trees are the fault trees of all placements, laid over each other: what a placement
// doesn't have falls out of the gates.
func trees(hazard string) []way {
	paper := []Placement{InsideBag, InsideBare, Outside}
	if hazard == MissingList {
		return []way{
			{gate: Gate{ID: MissingList, Op: Or, Of: []string{missingAtOpening, Unreadable, ScreenDown}}},
			{at: paper, gate: Gate{ID: missingAtOpening, Op: Or, Of: []string{"left-out", LostOnTheWay}}},
			{at: paper, id: "left-out", from: StepWritten},
			{at: []Placement{Outside}, id: LostOnTheWay},
			{at: paper, id: Unreadable}, // a sheet that is there, which the ledger doesn't count as missing
			{at: []Placement{Screen}, id: ScreenDown},
		}
	}
	return []way{
		{gate: Gate{ID: WrongList, Op: And, Of: []string{wrongAtOpening, "unnoticed"}}},
		{gate: Gate{ID: "unnoticed", Op: And, Of: []string{firstReader, secondReader}}},
		{gate: Gate{ID: wrongAtOpening, Op: Or, Of: []string{"put-wrong", "exchanged", "called-up-wrong"}}},
		{at: paper, gate: Gate{ID: "put-wrong", Op: And, Of: []string{"picked-wrong", "closing-check"}}},
		{at: paper, id: "picked-wrong", from: StepWritten},
		{at: paper, id: "closing-check", from: CheckRoutine},
		{at: []Placement{Outside}, id: "exchanged", from: WrongTag},
		{at: []Placement{Screen}, id: "called-up-wrong", from: LookAlike},
		{id: firstReader},
		{id: secondReader},
	}
}

// treeOf lays out the tree of a hazard at a placement, with a site's controls. counted is
// what the ledger says of the gates and controls that it counts, which take the place of
// all that leads to them; where it says nothing the start values stand.
func treeOf(hazard string, at Placement, c *Choices, counted map[string]*Value) Tree {
	t := Tree{Top: hazard}
	for _, w := range trees(hazard) {
		switch {
		case w.at != nil && !slices.Contains(w.at, at):
		case counted[w.gate.ID] != nil:
			t.Events = append(t.Events, Event{ID: w.gate.ID, Value: counted[w.gate.ID]})
		case w.gate.ID != "":
			t.Gates = append(t.Gates, w.gate)
		default:
			t.Events = append(t.Events, c.event(w.id, w.from))
		}
	}
	for _, x := range Controls() {
		if x.Hazard == hazard && x.At != "" && slices.Contains(x.Placements, at) && slices.Contains(c.Controls, x.ID) {
			t.control(&x, cmp.Or(counted[x.ID], start(x.Start)))
		}
	}
	t.prune()
	return t
}

// event is a basic event as a site's choices have it.
func (c *Choices) event(id, from string) Event {
	e := Event{ID: id, Value: start(from)}
	if id == firstReader || id == secondReader {
		e.Value = start(map[bool]string{true: StepUnused, false: StepWritten}[c.Unused])
	}
	if id == secondReader {
		e.Given, e.Dependence = firstReader, c.Dependence
	}
	if o, ok := c.Own[id]; ok && e.Value == nil {
		e.Value = &Value{Start: id, Source: SourceSite, Median: o.Median, ErrorFactor: o.ErrorFactor}
	}
	return e
}

// control puts a control on a gate: what was enough before has to come about, and the
// control to fail. One on what leads to a gate that the ledger counts is in the count.
func (t *Tree) control(x *Control, fails *Value) {
	i := slices.IndexFunc(t.Gates, func(g Gate) bool { return g.ID == x.At })
	if i < 0 {
		return
	}
	inner := t.Gates[i]
	inner.ID += "-before"
	t.Gates[i] = Gate{ID: x.At, Op: And, Of: []string{inner.ID, x.ID}}
	t.Gates = append(t.Gates, inner)
	t.Events = append(t.Events, Event{ID: x.ID, Value: fails})
}

// prune takes out of the gates what this tree doesn't have, and the events and gates
// that nothing leads from to the top.
func (t *Tree) prune() {
	has := func(id string) bool {
		return slices.ContainsFunc(t.Gates, func(g Gate) bool { return g.ID == id }) ||
			slices.ContainsFunc(t.Events, func(e Event) bool { return e.ID == id })
	}
	for i := range t.Gates {
		t.Gates[i].Of = slices.DeleteFunc(slices.Clone(t.Gates[i].Of), func(id string) bool { return !has(id) })
	}
	used := map[string]bool{t.Top: true}
	for range t.Gates { // as deep as a tree can be
		for _, g := range t.Gates {
			for _, id := range g.Of {
				used[id] = used[id] || used[g.ID]
			}
		}
	}
	t.Gates = slices.DeleteFunc(t.Gates, func(g Gate) bool { return !used[g.ID] })
	t.Events = slices.DeleteFunc(t.Events, func(e Event) bool { return !used[e.ID] })
}
