package ready_test

import (
	"fmt"
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
