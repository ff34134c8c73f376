package projections

import (
	"slices"

	"listbound/events"
)

// CaseStanding is where the counts of a case stand: what a page shows to the
// people who count.
type CaseStanding struct {
	Case    string
	Sets    []SetStanding // in the order of set and trip
	Moves   []Move        // differences at the end that another set explains
	Left    []Leftover    // and those that none does
	Closed  bool
	Outcome string // of the closing
	Actions []string
	Reason  string
}

// SetStanding is one trip's part of a case.
type SetStanding struct {
	Key     TripKey
	List    string
	Version int64
	Title   string
	Code    string         // of the sheet that was sealed last
	Stages  []events.Stage // counted, in order
	Opened  bool
	Listed  bool // the list is known, and Lines are all of it
	Lines   []LineStanding
}

// LineStanding is one line: what packing recorded, and what should be there now
// (first count + added - removed; as packed before a first count).
type LineStanding struct {
	events.Line
	Packed   int64
	Expected int64
	Last     int64 // as counted last, where Counted
	Counted  bool
}

// CaseStanding returns where a case stands. A case nobody has named has no sets.
func (w *World) CaseStanding(ref string) (CaseStanding, error) {
	out := CaseStanding{Case: ref}
	s := w.caseState(ref)
	out.Moves, out.Left = slices.Clone(s.moves), slices.Clone(s.left)
	for _, k := range s.trips {
		out.Sets = append(out.Sets, w.standing(k, ref))
	}
	for _, it := range w.cases[ref] {
		if d, ok := it.data.(*events.CaseClosed); ok && !it.void && d.Case == ref {
			out.Closed, out.Outcome, out.Actions, out.Reason = true, d.Outcome, d.Actions, d.Reason
		}
	}
	return out, w.failed()
}

// Standing returns where one trip stands before a case has named it.
func (w *World) Standing(k TripKey) (SetStanding, error) {
	c := w.chain(k)
	out := w.standing(k, c.caseRef)
	return out, w.failed()
}

func (w *World) standing(k TripKey, ref string) SetStanding {
	c := w.chain(k)
	out := SetStanding{Key: k, Opened: len(c.opened) > 0, Listed: c.list != nil}
	if p := packOf(c.lastPack()); p != nil {
		out.List, out.Version = p.List, p.Version
	}
	if c.list != nil {
		out.Title = c.list.Title
	}
	if n := len(c.sealed); n > 0 {
		out.Code = sealOf(c.sealed[n-1]).Code
	}
	t := tallyUp(c, ref)
	// The same account that judgement keeps, read at its end.
	b, again := newBooks(c), &tally{first: t.first, final: t.final, uncountable: t.uncountable}
	begin := slices.Index(t.counts, t.first)
	if t.first != nil {
		b.open(&tally{counts: t.counts, uncountable: t.uncountable}, begin)
	}
	for i, it := range t.counts {
		out.Stages = append(out.Stages, countOf(it).Stage)
		if t.first == nil || i > begin || i < begin && countOf(it).Stage != events.StageFirst {
			b.count(again, it)
		}
	}
	for i := range b.lines {
		l := LineStanding{Line: b.lines[i], Packed: b.packed[i], Expected: b.expected[i]}
		for _, it := range t.counts {
			if d := countOf(it); d.Stage != events.StageAdded {
				if n, ok := countedLine(d.Counts, i, l.Line.Line); ok {
					l.Last, l.Counted = n, true
				}
			}
		}
		out.Lines = append(out.Lines, l)
	}
	return out
}

// Sealed returns what a trip's last seal says, corrections applied; nil where
// no sealing is recorded.
func (w *World) Sealed(k TripKey) (*events.ListSealed, error) {
	c := w.chain(k)
	if err := w.failed(); err != nil {
		return nil, err
	}
	if n := len(c.sealed); n > 0 {
		return sealOf(c.sealed[n-1]), nil
	}
	return nil, nil
}
