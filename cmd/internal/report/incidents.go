package report

import (
	"fmt"
	"io"
	"strings"

	"listbound/projections"
)

// kinds say of what cause an incident is.
var kinds = map[string]string{
	"case": "counts of a case", "room": "how counts of a room were made", "recall": "positive biological indicator",
	"sheet": "whose count sheet lies where", "piece": "a piece in the wrong set, or missing", "run": "a sterilizer's run",
	"list": "packed by a version that was no longer current", "placed": "count sheets put where the policy has none",
	"station": "records or clock of a station", "turn": "one turn of a set", "unread": "what was not read at openings",
}

// Incidents writes what is broken or doubtful by its causes, in the order given, each with the turns that it shows in and what
// is found there by that cause. What is noted of a turn stands with the first of its incidents; stations come last.
func Incidents(w io.Writer, ins []projections.Incident, vs []projections.Verdict) error {
	p := &printer{w: w}
	if len(ins) == 0 {
		p.f("No set has a broken or doubtful chain in an open incident.\n\n")
	}
	turns := make(map[projections.TripKey]*projections.Verdict, len(vs))
	for i := range vs {
		if vs[i].Station == "" {
			turns[projections.TripKey{Set: vs[i].Set, Trip: vs[i].Trip}] = &vs[i]
		}
	}
	noted := make(map[projections.TripKey]bool) // told already
	for i := range ins {
		incident(p, &ins[i])
		last := ""
		for _, x := range ins[i].Members {
			if v := turns[x.TripKey]; v != nil {
				of := partOf(v, ins[i].Key, !noted[x.TripKey])
				noted[x.TripKey] = true
				last = member(p, &of, last)
			}
		}
		p.f("\n")
	}
	for _, v := range vs {
		if v.Station != "" {
			verdict(p, v)
			p.f("\n")
		}
	}
	p.wrapped("", Caution)
	return p.err
}

// partOf is a verdict with what is found of it by one cause, and what is noted besides.
func partOf(v *projections.Verdict, key string, noted bool) projections.Verdict {
	of := *v
	of.Findings = nil
	for _, f := range v.Findings {
		if f.Incident == key || noted && f.Severity == projections.SeverityNoted {
			of.Findings = append(of.Findings, f)
		}
	}
	of.Status = projections.StatusOf(of.Findings, v.Status)
	return of
}

// member writes a turn of an incident, and returns what is usually done, which stands once where it is the same for all.
func member(p *printer, v *projections.Verdict, last string) string {
	for i := range v.Findings {
		if f := &v.Findings[i]; f.Next == last {
			f.Next = ""
		} else if f.Next != "" {
			last = f.Next
		}
	}
	verdict(p, *v)
	return last
}

// incident writes the head of one.
func incident(p *printer, in *projections.Incident) {
	acts := ", over"
	switch {
	case in.State == projections.IncidentClosed: // nobody need
		acts = ""
	case in.CanAct:
		acts = ", somebody can still act"
	}
	p.f("Incident %s, %s: %s%s\n", in.Key, in.State, kinds[in.Kind], acts)
	if h := in.Habit; h != nil {
		p.wrapped("    ", fmt.Sprintf("%d sets opened in the week from Monday %s at %s", len(in.Members), h.Week, strings.Join(h.Rooms, ", ")))
	}
	if who := in.Assignee(); who != "" {
		p.f("    %s sees to it\n", who)
	}
	if !in.DueBy.IsZero() {
		p.f("    due %s UTC\n", At(in.DueBy))
	}
	if s := in.Last(); s != nil { // the others stand on its page
		p.wrapped("    ", fmt.Sprintf("%s UTC, %s: %s (record %d)", At(s.Time), s.By, s.Text, s.Seq))
	}
}
