package workplace

import (
	"slices"
	"strings"

	"listbound/projections"
)

// A set may be processed and opened once more while its case goes on. Its instruments are then counted as of the new turn, but
// what lay with it and is on no list, such as sponges, never left the field: it is carried to the set as it lies there now, and the
// first count of that turn which speaks of it records it as come. Without that nobody would count it any more.

// carryOver lays to each set what its earlier turns in this case had beside their lists, and no full count of the new turn has.
func (t *table) carryOver(all []projections.SetStanding) {
	t.carried = make([]map[int64]int64, len(t.standing.Sets))
	for i := range t.standing.Sets {
		s := &t.standing.Sets[i]
		var seen []projections.LineStanding // in a later turn of the set
		for _, before := range slices.Backward(all) {
			if before.Key.Set != s.Key.Set || before.Key.Trip == s.Key.Trip {
				continue
			}
			for _, l := range before.Lines {
				if !l.Beyond || slices.ContainsFunc(seen, func(o projections.LineStanding) bool { return sameThing(o, l) }) {
					continue
				}
				if seen = append(seen, l); l.Expected > 0 {
					t.carry(i, l)
				}
			}
		}
	}
}

// carry lays what is left of a line of an earlier turn to the set.
func (t *table) carry(i int, from projections.LineStanding) {
	s := &t.standing.Sets[i]
	s.Lines = slices.Clone(s.Lines)
	k := slices.IndexFunc(s.Lines, func(l projections.LineStanding) bool { return l.Beyond && sameThing(from, l) })
	switch {
	case k >= 0 && s.Lines[k].Counted:
		return
	case k < 0:
		k = len(s.Lines)
		line := from.Line
		for slices.ContainsFunc(s.Lines, func(l projections.LineStanding) bool { return l.Line.Line == line.Line }) {
			line.Line++ // the list was issued anew, and is longer
		}
		s.Lines = append(s.Lines, projections.LineStanding{Line: line, Beyond: true})
	}
	s.Lines[k].Expected += from.Expected
	if t.carried[i] == nil {
		t.carried[i] = make(map[int64]int64)
	}
	t.carried[i][s.Lines[k].Line.Line] = from.Expected
}

// sameThing reports whether two lines are of the same thing on no list.
func sameThing(a, b projections.LineStanding) bool {
	return a.Item == b.Item && strings.EqualFold(a.Description, b.Description)
}
