package ready_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/ready"
)

var morning = time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC)

func at(minute int) time.Time { return morning.Add(time.Duration(minute) * time.Minute) }

func set(name, list string, state ready.State, since int) ready.Set {
	return ready.Set{TripKey: projections.TripKey{Set: name, Trip: "turn of " + name}, List: list, Title: "the " + list, State: state,
		Ready: at(since)}
}

func lists(of string, n int64) []events.WantedList { return []events.WantedList{{List: of, Sets: n}} }

// told is how cases stand, a line each.
func told(cases []ready.Case) string {
	var out []string
	for _, c := range cases {
		line := fmt.Sprintf("%s %s", c.Class, c.Case)
		for _, n := range c.Needs {
			line += fmt.Sprintf(" %s:%s", nameOf(n), n.State)
			if n.For != "" {
				line += "(" + n.For + ")"
			}
		}
		out = append(out, fmt.Sprintf("%s lacks %d", line, c.Lacks))
	}
	return strings.Join(out, "\n")
}

func TestJudge(t *testing.T) {
	plans := []ready.Plan{
		{Case: "late", Start: at(-200), Sets: []string{"A-1"}},
		{Case: "held", Start: at(-60), Lists: lists("B", 1), Opened: []ready.Set{set("B-9", "B", ready.Opened, 0)}},
		{Case: "done", Start: at(-90), Closed: true, Sets: []string{"A-2"}},
		{Case: "off", Start: at(10), State: events.ScheduleCancelled, Sets: []string{"A-2"}, Lists: lists("B", 3)},
		{Case: "second", Start: at(90), Lists: lists("B", 2), Sets: []string{"A-2"}},
		{Case: "first", Start: at(30), Lists: lists("B", 2), Sets: []string{"A-2"}},
		{Case: "third", Start: at(120), Sets: []string{"A-3", "A-4", "A-5"}},
		{Case: "fine", Start: at(20), Lists: lists("D", 1)},
		{Case: "odd", Start: at(25), Lists: lists("D", 1), Unknown: 1},
	}
	sets := []ready.Set{
		set("A-1", "A", ready.Whole, 0), set("A-2", "A", ready.Whole, 0), set("A-3", "A", ready.Opened, 0), set("A-5",
			"A", ready.Doubtful, 0),
		set("B-1", "B", ready.Whole, -100), set("B-2", "B", ready.Whole, -300), set("B-3", "B", ready.Broken, 0),
		set("B-4", "B", ready.InWork, 0),
		set("D-1", "D", ready.Whole, 0), set("D-2", "D", ready.Whole, 0),
	}
	want := `act odd D-2:whole lacks 0
act second A-2:spoken(first) B-4:in-work B-3:broken lacks 3
act third A-3:out A-4:unpacked A-5:doubtful lacks 3
ready fine D-1:whole lacks 0
ready first A-2:whole B-2:whole B-1:whole lacks 0
begun late A-1:whole lacks 0
begun held B-9:opened lacks 0
closed done lacks 0
cancelled off lacks 0`
	got := ready.Judge(morning, plans, sets)
	if told(got) != want {
		t.Errorf("got\n%s\nwant\n%s", told(got), want)
	}
	// A cancelled case frees what it wanted, and one that is cancelled no more wants it again.
	plans[3].State = events.ScheduleChanged
	if got := told(ready.Judge(morning, plans, sets)); !strings.Contains(got,
		"act off A-2:whole B-2:whole B-1:whole B-4:in-work lacks 1") ||
		!strings.Contains(got, "act first A-2:spoken(off) B-3:broken the B:missing lacks 3") {
		t.Error(got)
	}
	wanted := ready.WantedBy(got)
	if w := wanted["A-2"]; w.Case != "first" || !w.Start.Equal(at(30)) || wanted["B-3"].Case != "second" || wanted["A-1"].Case != "" {
		t.Errorf("%+v", wanted)
	}
	if keys := ready.Sets(got); len(keys) != 8 || keys[0].Set != "D-2" || keys[1].Set != "A-2" {
		t.Errorf("%+v", keys)
	}
}

func nameOf(n ready.Set) string {
	if n.Set == "" {
		return n.Title
	}
	return n.Set
}

// TestOpenedForIt: a set that was opened for a case is one that it wanted, once, and stands as opened whatever else is said of
// it.
func TestOpenedForIt(t *testing.T) {
	sets := []ready.Set{set("A-1", "A", ready.Opened, 0), set("A-2", "A", ready.Whole, 0), set("A-3", "A", ready.Whole, 10)}
	for want, p := range map[string]ready.Plan{
		"begun c A-1:opened A-2:whole lacks 0":                         {Sets: []string{"A-1"}, Lists: lists("A", 1)},
		"begun c A-1:opened A-2:whole A-3:whole lacks 0":               {Lists: lists("A", 3)},
		"begun c A-2:whole A-1:opened lacks 0":                         {Sets: []string{"A-2"}, Lists: lists("A", 1)},
		"begun c A-1:opened A-2:whole A-3:whole the A:missing lacks 1": {Lists: lists("A", 4)},
	} {
		p.Case, p.Start, p.Opened = "c", at(0), []ready.Set{set("A-1", "A", ready.Broken, 0)}
		if got := told(ready.Judge(morning, []ready.Plan{p}, sets)); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

// TestClassOf: a case of long ago is one that has begun; a cancelled one for which a set was opened was held all the same.
func TestClassOf(t *testing.T) {
	for i, x := range []struct {
		ready.Plan
		want ready.Class
	}{
		{ready.Plan{Start: at(-180)}, ready.Ready}, {ready.Plan{Start: at(-181)}, ready.Begun},
		{ready.Plan{State: events.ScheduleCancelled}, ready.Cancelled},
		{ready.Plan{State: events.ScheduleCancelled, Opened: make([]ready.Set, 1)}, ready.Begun},
		{ready.Plan{State: events.ScheduleCancelled, Closed: true}, ready.Closed},
		{ready.Plan{Start: at(0), Unknown: 1}, ready.Act}, {ready.Plan{Start: at(0), Sets: []string{"A-1"}}, ready.Act},
	} {
		if got := ready.Judge(morning, []ready.Plan{x.Plan}, nil); got[0].Class != x.want {
			t.Errorf("%d: %s, want %s", i, got[0].Class, x.want)
		}
	}
}

// TestOrder: cases of a class stand by start, room and reference.
func TestOrder(t *testing.T) {
	plan := func(ref, room string, start int) ready.Plan {
		return ready.Plan{Case: ref, Room: room, Start: at(start)}
	}
	got := told(ready.Judge(morning, []ready.Plan{plan("d", "2", 5), plan("b", "1", 5), plan("c", "1", 5), plan("a", "3", 6), plan("e",
		"3", 4)}, nil))
	if want := "ready e lacks 0\nready b lacks 0\nready c lacks 0\nready d lacks 0\nready a lacks 0"; got != want {
		t.Errorf("got\n%s", got)
	}
}

// TestWanted: the first case that waits has a set's wish, whatever order they come in; what is missing, out or of a case that
// has begun is wanted of nobody.
func TestWanted(t *testing.T) {
	whole := func(names ...string) (out []ready.Set) {
		for _, n := range names {
			out = append(out, set(n, "A", ready.Whole, 0))
		}
		return out
	}
	cases := []ready.Case{
		{Plan: ready.Plan{Case: "b", Room: "2", Start: at(20)}, Class: ready.Act,
			Needs: append(whole("A-1", "A-2"), ready.Set{List: "A", State: ready.Missing}, set("A-4", "A", ready.Out, 0))},
		{Plan: ready.Plan{Case: "a", Room: "1", Start: at(10)}, Class: ready.Ready, Needs: whole("A-2")},
		{Plan: ready.Plan{Case: "c", Room: "3", Start: at(30)}, Class: ready.Ready, Needs: whole("A-1", "A-3")},
		{Plan: ready.Plan{Case: "d", Start: at(0)}, Class: ready.Begun, Needs: whole("A-1", "A-5")},
	}
	wanted := ready.WantedBy(cases)
	if want := map[string]ready.Wish{
		"A-1": {Case: "b", Room: "2", Start: at(20)}, "A-2": {Case: "a", Room: "1", Start: at(10)},
		"A-3": {Case: "c", Room: "3", Start: at(30)}, "A-4": {Case: "b", Room: "2", Start: at(20)},
	}; !maps.Equal(wanted, want) {
		t.Errorf("%+v", wanted)
	}
	if starts := ready.Starts(wanted); len(starts) != 4 || !starts["A-2"].Equal(at(10)) || !starts["A-3"].Equal(at(30)) {
		t.Errorf("%v", starts)
	}
	var names []string
	for _, k := range ready.Sets(cases) {
		names = append(names, k.Set)
	}
	if want := []string{"A-1", "A-2", "A-3"}; !slices.Equal(names, want) {
		t.Errorf("%q", names)
	}
}
