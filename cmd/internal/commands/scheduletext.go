package commands

import (
	"fmt"
	"io"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections/ready"
)

// sayImported says what became of a schedule.
func sayImported(w io.Writer, got *site.ScheduleImported, check bool) error {
	var b strings.Builder
	fmt.Fprintf(&b, "new: %d, changed: %d, cancelled: %d, as before: %d\n", got.New, got.Changed, got.Cancelled, got.Same)
	for _, x := range []struct {
		n    int
		what string
	}{
		{got.Older, "older than what is recorded, left out"}, {got.NotThere, "cancelled and never scheduled here, left out"},
		{got.Passed, "messages or appointments of another kind, passed over"},
		{got.Unknown, "things that cases want and no list or set here is called, left out"},
	} {
		if x.n > 0 {
			fmt.Fprintf(&b, "%s: %d\n", x.what, x.n)
		}
	}
	if !check {
		fmt.Fprintf(&b, "recorded: %d\n", got.Recorded)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// stateWords say how a set stands for a case.
var stateWords = map[ready.State]string{
	ready.Opened: "opened for this case", ready.Whole: "whole", ready.InWork: "in work", ready.Doubtful: "doubtful",
	ready.Broken: "broken", ready.Out: "opened for another case", ready.Spoken: "wanted by a case before", ready.Missing: "none is free",
	ready.NeverSeen: "never packed here",
}

// classWords say what can still be done about a case.
var classWords = map[ready.Class]string{
	ready.Act: "LACKS SOMETHING", ready.Ready: "has what it wants", ready.Begun: "has begun", ready.Closed: "closed",
	ready.Cancelled: "cancelled",
}

// sayDay writes a day's cases with what they need.
func sayDay(w io.Writer, d *site.Day) error {
	zone, err := time.LoadLocation(d.Zone)
	if err != nil {
		return fmt.Errorf("the zone of the site: %w", err)
	}
	clock := func(t time.Time) string { return t.In(zone).Format("15:04") }
	var b strings.Builder
	fmt.Fprintf(&b, "%s, as of %s %s\n", d.Day, d.Now.In(zone).Format("2006-01-02 15:04"), d.Zone)
	if len(d.Cases) == 0 {
		b.WriteString("no case is scheduled\n")
	}
	for i := range d.Cases {
		c := &d.Cases[i]
		fmt.Fprintf(&b, "\n%s  %s  case %s: %s", clock(c.Start), c.Room, c.Case, classWords[c.Class])
		if left := c.Start.Sub(d.Now); c.Class == ready.Act && left > 0 {
			fmt.Fprintf(&b, ", %d min left", int(left.Minutes()))
		}
		b.WriteByte('\n')
		for _, n := range c.Needs {
			b.WriteString("  " + needLine(&n) + "\n")
		}
		if c.Unknown > 0 {
			fmt.Fprintf(&b, "  wants %d more that no list or set here is called\n", c.Unknown)
		}
	}
	_, err = io.WriteString(w, b.String())
	return err
}

func needLine(n *ready.Set) string {
	line := n.Set
	switch {
	case line == "":
		line = "a set of " + n.List
	case n.List != "":
		line += " (" + n.List + ")"
	}
	line += ": " + stateWords[n.State]
	if n.For != "" && n.State != ready.Opened {
		line += " (" + n.For + ")"
	}
	if n.Code != "" {
		line += ", " + string(n.Code)
	}
	if n.Where != "" {
		line += "; last seen at " + n.Where
	}
	return line
}
