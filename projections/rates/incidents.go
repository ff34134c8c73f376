package rates

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"listbound/projections"
)

// Opening is one set that was opened: what rates are counted in.
type Opening struct {
	projections.TripKey
	At        time.Time `json:"at"`
	Station   string    `json:"station"`   // at which it was opened
	List      string    `json:"list"`      // packed by; empty where no packing is recorded
	Placement string    `json:"placement"` // of the sheet as sealed last; empty where no seal is recorded
	// Read says that at the opening or after it somebody saw whose sheet it was, or
	// that none was there. What nobody read proves nothing.
	Read bool `json:"read"`
}

// Codes are the findings that say that a set's list was not its own, or not there: what
// the place of the sheet can do something about.
func Codes() []projections.Code {
	return []projections.Code{
		projections.SheetSwapped, projections.SheetStale, projections.SheetAltered, projections.SheetUnknown,
		projections.SheetAbsent, projections.SheetInDoubt, projections.LabelSwapped, projections.CountedOnWrongList,
	}
}

// Incident is one cause, on as many sets as it shows: a sheet exchanged with another is
// one, and so is a ring.
type Incident struct {
	// Trips are all that it shows on, in order.
	Trips []projections.TripKey
	// Reached are those that were opened with it: it was not put right before.
	Reached []projections.TripKey
	Last    time.Time // when one of them was seen last
}

// Incidents groups what was found: two sets are of one incident if a finding of the one
// names the other. Verdicts without such a finding are passed over.
func Incidents(verdicts []projections.Verdict) []Incident {
	g := grouping{at: make(map[projections.TripKey]int), ofSet: make(map[string][]int)}
	for i := range verdicts {
		g.take(&verdicts[i])
	}
	for i := range g.nodes {
		for _, k := range g.nodes[i].names {
			if k.Set == g.nodes[i].key.Set {
				continue // its sheet of another turn: what happened in that one is another cause
			}
			if j, ok := g.find(i, k); ok {
				g.join(i, j)
			}
		}
	}
	of := make(map[int]*Incident)
	for i := range g.nodes {
		n := &g.nodes[i]
		in := of[g.root(i)]
		if in == nil {
			in = new(Incident)
			of[g.root(i)] = in
		}
		in.Trips = append(in.Trips, n.key)
		if n.since.After(in.Last) {
			in.Last = n.since
		}
		if n.reached {
			in.Reached = append(in.Reached, n.key)
		}
	}
	out := make([]Incident, 0, len(of))
	for _, in := range of {
		slices.SortFunc(in.Trips, projections.CompareKeys)
		slices.SortFunc(in.Reached, projections.CompareKeys)
		out = append(out, *in)
	}
	slices.SortFunc(out, func(a, b Incident) int { return projections.CompareKeys(a.Trips[0], b.Trips[0]) })
	return out
}

// grouping joins trips that findings name together.
type grouping struct {
	nodes []node
	at    map[projections.TripKey]int
	ofSet map[string][]int
}

type node struct {
	key     projections.TripKey
	since   time.Time
	reached bool
	names   []projections.TripKey // of others; without a trip where only the set is known
	under   int                   // the node that it was joined to, or itself
}

func (g *grouping) take(v *projections.Verdict) {
	n := node{key: projections.TripKey{Set: v.Set, Trip: v.Trip}, since: v.Since, under: len(g.nodes)}
	told := false
	for i := range v.Findings {
		f := &v.Findings[i]
		near := projections.NearMiss(f)
		if !slices.Contains(Codes(), f.Code) || f.Severity == projections.SeverityNoted && !near {
			continue
		}
		told = true
		n.reached = n.reached || v.Opened && !near
		if f.Other != nil {
			n.names = append(n.names, *f.Other)
		}
	}
	if !told || v.Set == "" {
		return
	}
	g.at[n.key] = n.under
	g.ofSet[v.Set] = append(g.ofSet[v.Set], n.under)
	g.nodes = append(g.nodes, n)
}

// find returns what a node names. Of a set without a trip it is the turn that was seen
// nearest in time.
func (g *grouping) find(from int, k projections.TripKey) (i int, ok bool) {
	if k.Trip != "" {
		i, ok = g.at[k]
		return i, ok
	}
	apart := func(i int) time.Duration { return g.nodes[i].since.Sub(g.nodes[from].since).Abs() }
	of := slices.DeleteFunc(slices.Clone(g.ofSet[k.Set]), func(i int) bool { return apart(i) > sameTurn })
	if len(of) == 0 {
		return
	}
	return slices.MinFunc(of, func(a, b int) int {
		return cmp.Or(cmp.Compare(apart(a), apart(b)), strings.Compare(g.nodes[a].key.Trip, g.nodes[b].key.Trip))
	}), true
}

// sameTurn is how far apart two turns can be seen last that one mix-up concerns: shelves
// are turned over in weeks.
const sameTurn = 28 * 24 * time.Hour

func (g *grouping) root(i int) int {
	for g.nodes[i].under != i {
		i = g.nodes[i].under
	}
	return i
}

func (g *grouping) join(i, j int) {
	if a, b := g.root(i), g.root(j); a != b {
		g.nodes[max(a, b)].under = min(a, b)
	}
}
