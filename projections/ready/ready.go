// Package ready says of each case of a day whether the sets that its schedule wants are there: which ones, where they were
// last seen, whether they are whole, and what is missing until when. It asks nobody: what stands by the schedule and how sets
// stand are handed in.
//
// That a set is ready says what was recorded of it, no more. Whether it may be used is for whoever opens it, by the
// facility's policy.
package ready

import (
	"cmp"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
)

// Plan is what stands by the schedule of a case, and what was recorded of it.
type Plan struct {
	Case  string               `json:"case"`
	State events.ScheduleState `json:"state"`
	Room  string               `json:"room,omitempty"`
	Start time.Time            `json:"start"`
	Said  time.Time            `json:"said"` // when the schedule said so, or when that came
	Seq   int64                `json:"seq"`  // the record
	// Sets are wanted by name, Lists by how many sets of them; Unknown is how many things more no list or set here is called.
	Sets    []string            `json:"-"`
	Lists   []events.WantedList `json:"-"`
	Unknown int64               `json:"unknown,omitzero"`
	Closed  bool                `json:"closed,omitzero"`
	// Opened are the sets that were opened for the case, whether it wanted them or not.
	Opened []Set `json:"-"`
}

// State is how a set stands for a case.
type State string

// The states, the better first.
const (
	Opened    State = "opened"   // for this case
	Whole     State = "whole"    // processed and closed, and nothing found against it
	InWork    State = "in-work"  // packed; a seal or a released run is not recorded yet
	Doubtful  State = "doubtful" // something is found that must be looked at
	Broken    State = "broken"   // something is found that keeps it from being used as it is
	Out       State = "out"      // opened for another case, and not packed again since
	Spoken    State = "spoken"   // a case before this one wants it too
	Missing   State = "missing"  // there is none that is not opened or wanted before
	NeverSeen State = "unpacked" // nothing was ever packed here under that name
)

var states = []State{Opened, Whole, InWork, Doubtful, Broken, Out, Spoken, Missing, NeverSeen}

// Set is how one set stands in its present turn.
type Set struct {
	projections.TripKey
	List  string           `json:"list,omitempty"`
	Title string           `json:"title,omitempty"` // of the list
	State State            `json:"state"`
	Code  projections.Code `json:"code,omitempty"` // the worst finding, where there is one against it
	Where string           `json:"where,omitempty"`
	Since time.Time        `json:"since,omitzero"`
	For   string           `json:"for,omitempty"` // the case that has it, or wants it before
	Ready time.Time        `json:"-"`             // since when its run is released
}

// Case is a case of a day, with what it needs.
type Case struct {
	Plan
	Class Class `json:"class"`
	Needs []Set `json:"needs"` // one for each set that is wanted; of a list without a set Set is empty
	Lacks int   `json:"lacks"` // how many of them are not whole
}

// Class is what can still be done about a case.
type Class string

// The classes, in the order in which cases stand.
const (
	Act       Class = "act"   // it lacks something, and has not begun
	Ready     Class = "ready" // what it wants is there, as far as is recorded
	Begun     Class = "begun" // a set was opened for it, or its time is long past
	Closed    Class = "closed"
	Cancelled Class = "cancelled"
)

var classes = []Class{Act, Ready, Begun, Closed, Cancelled}

// Classes lists the classes in their order, States the states.
func Classes() []Class { return slices.Clone(classes) }

// States lists the states, the better first.
func States() []State { return slices.Clone(states) }

// longPast is how long after its start a case may still wait for a set: later it was held elsewhere, or not at all, and
// nobody can act on it.
const longPast = 3 * time.Hour

// Judge says how cases stand. sets are the present turns of the sets that are wanted by name, and of all that are not opened
// and of a list that is wanted. Cases come in the order in which something can be done: those that lack something and have not
// begun first, the soonest first.
func Judge(now time.Time, plans []Plan, sets []Set) []Case {
	f := field{sets: make(map[string]*Set), taken: make(map[string]string)}
	for i := range sets {
		f.sets[sets[i].Set] = &sets[i]
	}
	f.names = sortedSets(f.sets)
	order := slices.Clone(plans)
	slices.SortStableFunc(order, func(a, b Plan) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Case, b.Case)) })
	out := make([]Case, 0, len(order))
	for _, p := range order {
		out = append(out, Case{Plan: p, Class: classOf(now, &p), Needs: []Set{}})
	}
	waits := func(c *Case) bool { return c.Class == Act || c.Class == Begun }
	// What is wanted by name is spoken for before any set is chosen from a list.
	for i := range out {
		if waits(&out[i]) {
			f.named(&out[i])
		}
	}
	for i := range out {
		c := &out[i]
		if waits(c) {
			f.ofLists(c)
		}
		for _, n := range c.Needs {
			if n.State != Whole && n.State != Opened {
				c.Lacks++
			}
		}
		if c.Class == Act && c.Lacks == 0 && c.Unknown == 0 {
			c.Class = Ready
		}
	}
	slices.SortStableFunc(out, func(a, b Case) int {
		return cmp.Or(cmp.Compare(slices.Index(classes, a.Class), slices.Index(classes, b.Class)), a.Start.Compare(b.Start),
			cmp.Compare(a.Room, b.Room), cmp.Compare(a.Case, b.Case))
	})
	return out
}

func classOf(now time.Time, p *Plan) Class {
	switch {
	case p.Closed:
		return Closed
	case p.State == events.ScheduleCancelled && len(p.Opened) == 0:
		return Cancelled
	case len(p.Opened) > 0, now.Sub(p.Start) > longPast:
		return Begun
	}
	return Act
}

// field is what there is of sets, and who has spoken for which.
type field struct {
	sets  map[string]*Set
	names []string
	taken map[string]string // the case, by set
}

func sortedSets(sets map[string]*Set) []string {
	names := make([]string, 0, len(sets))
	for name := range sets {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// openedFor finds a set that was opened for the case.
func (c *Case) openedFor(fits func(*Set) bool) *Set {
	for i := range c.Opened {
		if fits(&c.Opened[i]) {
			return &c.Opened[i]
		}
	}
	return nil
}

// named gives a case the sets that it wants by name.
func (f *field) named(c *Case) {
	for _, name := range c.Sets {
		if s := c.openedFor(func(s *Set) bool { return s.Set == name }); s != nil {
			c.Needs = append(c.Needs, opened(s))
			continue
		}
		s, ok := f.sets[name]
		if !ok {
			c.Needs = append(c.Needs, Set{TripKey: projections.TripKey{Set: name}, State: NeverSeen})
			continue
		}
		n := *s
		if by := f.taken[name]; by != "" && by != c.Case {
			n.State, n.For = Spoken, by
		} else if f.taken[name] = c.Case; n.State == Opened {
			n.State = Out
		}
		c.Needs = append(c.Needs, n)
	}
}

func opened(s *Set) Set {
	n := *s
	n.State = Opened
	return n
}

// ofLists gives a case sets of the lists that it wants: those opened for it, then the best that nobody has spoken for.
func (f *field) ofLists(c *Case) {
	used := make(map[string]bool)
	for _, n := range c.Needs {
		used[n.Set] = true
	}
	for _, l := range c.Lists {
		for range l.Sets {
			fits := func(s *Set) bool { return s.List == l.List && !used[s.Set] }
			if s := c.openedFor(fits); s != nil {
				used[s.Set] = true
				c.Needs = append(c.Needs, opened(s))
				continue
			}
			best := f.best(fits)
			if best == nil {
				c.Needs = append(c.Needs, Set{List: l.List, Title: f.titleOf(l.List), State: Missing})
				continue
			}
			used[best.Set], f.taken[best.Set] = true, c.Case
			c.Needs = append(c.Needs, *best)
		}
	}
}

// best is the best of the sets that are free: the whole ones before those in work, and of equal ones the one that has been
// processed longest, so that none lies until its package is old.
func (f *field) best(fits func(*Set) bool) *Set {
	var best *Set
	rank := func(s *Set) int { return slices.Index(states, s.State) }
	for _, name := range f.names {
		s := f.sets[name]
		if f.taken[name] != "" || !fits(s) || s.State == Opened || rank(s) > rank(&Set{State: Broken}) {
			continue
		}
		if best == nil || cmp.Or(cmp.Compare(rank(s), rank(best)), s.Ready.Compare(best.Ready)) < 0 {
			best = s
		}
	}
	return best
}

func (f *field) titleOf(list string) string {
	for _, name := range f.names {
		if f.sets[name].List == list && f.sets[name].Title != "" {
			return f.sets[name].Title
		}
	}
	return ""
}

// Wish is a case that wants a set.
type Wish struct {
	Case, Room string
	Start      time.Time
}

// WantedBy says of each set which case wants it first, of those that have not begun.
func WantedBy(cases []Case) map[string]Wish {
	out := make(map[string]Wish)
	for _, c := range cases {
		if c.Class != Act && c.Class != Ready {
			continue
		}
		for _, n := range c.Needs {
			if w, ok := out[n.Set]; n.Set != "" && (!ok || c.Start.Before(w.Start)) {
				out[n.Set] = Wish{Case: c.Case, Room: c.Room, Start: c.Start}
			}
		}
	}
	return out
}

// Sets are those that cases need which have not begun, each once, in the order of their cases: what is printed for a day.
func Sets(cases []Case) (out []projections.TripKey) {
	for _, c := range cases {
		if c.Class != Act && c.Class != Ready {
			continue
		}
		for _, n := range c.Needs {
			if n.Trip != "" && n.State != Out && !slices.Contains(out, n.TripKey) {
				out = append(out, n.TripKey)
			}
		}
	}
	return out
}

// Starts are when the cases begin that want sets first.
func Starts(wishes map[string]Wish) map[string]time.Time {
	out := make(map[string]time.Time, len(wishes))
	for set, w := range wishes {
		out[set] = w.Start
	}
	return out
}
