package board

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// account is what was recorded of a case, as known at the moment that is asked about.
type account struct {
	trips  []*facts.Trip
	closed []*facts.Item // case.closed in force, in order
}

func accountOf(w *judge.World, ref string, vs []projections.Verdict) (*account, error) {
	a := new(account)
	for i := range vs {
		t := w.Trip(projections.TripKey{Set: vs[i].Set, Trip: vs[i].Trip})
		a.trips = append(a.trips, t)
		for _, it := range t.Closings {
			if events.CaseOf(it.Data) == ref && !slices.Contains(a.closed, it) {
				a.closed = append(a.closed, it)
			}
		}
	}
	slices.SortFunc(a.closed, facts.Compare)
	return a, w.Failed()
}

// caseBody is what stands at the head of a case's page: who was there and when, its sets by stages of counting, and the lines
// that were ever counted otherwise than listed.
type caseBody struct {
	Rooms   []string // as the openings say, else their stations
	From    time.Time
	To      time.Time
	Closed  *facts.Item // the last closing
	Outcome *events.CaseClosed
	Claimed []string // recounts that a closing claims, where no stage of any set was counted twice
	Tables  []*table
}

func (b *historyBody) caseOf(words *shell.Words, ref string) {
	if b.account == nil || len(b.account.trips) == 0 {
		return
	}
	c := new(caseBody)
	stages := b.account.stages(ref)
	people, sets, lines := c.people(words), c.sets(words, stages), c.lines(words)
	who := make(map[string][]string)
	add := func(badge, as string) {
		if as = words.T("board.case-as-" + as); badge != "" && !slices.Contains(who[badge], as) {
			who[badge] = append(who[badge], as)
		}
	}
	twice := false
	for _, t := range b.account.trips {
		used := usedIn(t, ref)
		twice = twice || used.twice()
		for _, it := range used.opened {
			c.saw(it)
			if d, ok := it.Data.(*events.SetOpened); ok {
				c.room(cmp.Or(d.Room, it.Event.Station))
			}
			add(it.Event.Operator, "opened")
		}
		for _, it := range used.counted {
			c.saw(it)
			d := facts.CountOf(it)
			add(d.Counter, "counter")
			add(d.Witness, "witness")
			countLines(words, lines, t, it)
		}
		sets.add(used.row(words, t, stages)...)
	}
	for _, it := range b.account.closed {
		c.saw(it)
		d, ok := it.Data.(*events.CaseClosed)
		if !ok {
			continue
		}
		add(it.Event.Operator, "closed")
		add(d.Witness, "closing-witness")
		c.Closed, c.Outcome = it, d
		for _, action := range d.Actions {
			if claimsRecount(action) && !twice {
				c.Claimed = append(c.Claimed, action)
			}
		}
	}
	for _, badge := range sortedKeys(who) {
		people.add(text(badge).to(badgeLink(badge)), text(words.Language().List(who[badge])))
	}
	c.Tables = []*table{sets, lines, people}
	b.Case = c
}

func sortedKeys(m map[string][]string) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func (c *caseBody) saw(it *facts.Item) {
	if at := it.At(); c.From.IsZero() || at.Before(c.From) {
		c.From = at
	}
	if at := it.At(); at.After(c.To) {
		c.To = at
	}
}

func (c *caseBody) room(name string) {
	if !slices.Contains(c.Rooms, name) {
		c.Rooms = append(c.Rooms, name)
	}
}

func (*caseBody) people(words *shell.Words) *table {
	return newTable(words, "case-people", "board.case-people", "by", "case-as")
}

// caseStages are the stages in the order of a case; pieces that were added come when they come.
func caseStages() []events.Stage {
	return []events.Stage{events.StageFirst, events.StageAdded, events.StageRelief, events.StageCavity, events.StageClosing,
		events.StageFinal}
}

// stages are those that any set of the case was counted at.
func (a *account) stages(ref string) []events.Stage {
	return slices.DeleteFunc(caseStages(), func(s events.Stage) bool {
		return !slices.ContainsFunc(a.trips, func(t *facts.Trip) bool {
			return slices.ContainsFunc(usedIn(t, ref).counted, func(it *facts.Item) bool { return facts.CountOf(it).Stage == s })
		})
	})
}

func (*caseBody) sets(words *shell.Words, stages []events.Stage) *table {
	t := newTable(words, "case-sets", "board.case-sets", "set", "list", "case-opened")
	for _, s := range stages {
		t.Columns = append(t.Columns, words.T("workplace.stage-"+string(s)))
	}
	return t
}

func (*caseBody) lines(words *shell.Words) *table {
	return newTable(words, "case-lines", "board.case-lines", "set", "case-line", "case-piece", "case-listed", "stage",
		"case-counted", "observed", "case-counter", "case-witness", "case-against", "record")
}

// inCase is what of a turn belongs to one case.
type inCase struct{ opened, counted []*facts.Item }

func usedIn(t *facts.Trip, ref string) (u inCase) {
	for _, it := range t.Opened {
		if events.CaseOf(it.Data) == ref {
			u.opened = append(u.opened, it)
		}
	}
	for _, it := range t.Counted {
		if events.CaseOf(it.Data) == ref {
			u.counted = append(u.counted, it)
		}
	}
	return u
}

// twice reports whether a stage was counted more than once, as a recount is.
func (u inCase) twice() bool {
	seen := make(map[events.Stage]bool)
	for _, it := range u.counted {
		d := facts.CountOf(it)
		if d.Stage != events.StageAdded && seen[d.Stage] {
			return true
		}
		seen[d.Stage] = true
	}
	return false
}

func (u inCase) row(words *shell.Words, t *facts.Trip, stages []events.Stage) []cell {
	list := ""
	if t.List != nil {
		list = t.List.List + " " + words.T("board.version") + " " + strconv.FormatInt(t.List.Version, 10)
	}
	opened := make([]string, 0, len(u.opened))
	for _, it := range u.opened {
		opened = append(opened, words.Time(it.At())+", "+it.Event.Station)
	}
	row := []cell{text(t.Key.Set).to(tripLink(t.Key.Set, t.Key.Trip)), text(list), text(strings.Join(opened, "; "))}
	for _, s := range stages {
		var said []string
		for _, it := range u.counted {
			if d := facts.CountOf(it); d.Stage == s {
				said = append(said, countSaid(words, t, it))
			}
		}
		row = append(row, text(strings.Join(said, "; ")))
	}
	return row
}

// countSaid is a count in one cell: when, by whom, by which sheet, and how many lines were otherwise than listed.
func countSaid(words *shell.Words, t *facts.Trip, it *facts.Item) string {
	d := facts.CountOf(it)
	who := d.Counter
	if d.Witness != "" {
		who += " + " + d.Witness
	}
	return words.T("board.case-count", words.Time(it.At()), who, words.T("board.case-against-"+countedBy(t, it)), len(differing(t, d)))
}

// countedBy says by what a count was made.
func countedBy(t *facts.Trip, it *facts.Item) string {
	switch d := facts.CountOf(it); {
	case d.Goods != "":
		return "goods"
	case d.Sheet == events.SheetScreen:
		return "screen"
	case d.Sheet == events.SheetUnreadable, it.Code == nil:
		return "unreadable"
	case it.Code.Trip == t.Key.Trip:
		return "own"
	}
	return "other"
}

// differing are the lines of a count whose number is not the list's, or that are on no list. What came during the procedure
// has no number to be held against.
func differing(t *facts.Trip, d *events.SetCounted) (out []int64) {
	if d.Stage == events.StageAdded {
		return nil
	}
	for _, c := range d.Counts {
		if listed, ok := listedAs(t, c.Line); ok && listed.Quantity != c.Counted {
			out = append(out, c.Line)
		}
	}
	return out
}

func listedAs(t *facts.Trip, line int64) (events.Line, bool) {
	if t.List != nil {
		for _, l := range t.List.Lines {
			if l.Line == line {
				return l, true
			}
		}
	}
	return events.Line{}, false
}

// countLines adds, of each line of a turn that any count of it had otherwise than listed, what this count says of it.
func countLines(words *shell.Words, t *table, trip *facts.Trip, it *facts.Item) {
	d := facts.CountOf(it)
	var ever []int64
	for _, other := range trip.Counted {
		if x := facts.CountOf(other); x.Case == d.Case {
			ever = append(ever, differing(trip, x)...)
		}
	}
	slices.Sort(ever)
	for _, line := range slices.Compact(ever) {
		l, _ := listedAs(trip, line)
		counted := text(words.T("board.case-not-counted"))
		if n := slices.IndexFunc(d.Counts, func(c events.Count) bool { return c.Line == line }); n >= 0 {
			counted = number(d.Counts[n].Counted)
		} else if d.Stage == events.StageAdded {
			continue
		}
		t.add(text(trip.Key.Set).to(tripLink(trip.Key.Set, trip.Key.Trip)), number(line),
			text(strings.TrimSpace(l.Description+" "+l.Item)),
			number(l.Quantity), text(words.T("workplace.stage-"+string(d.Stage))), counted, when(words, it.At()),
			text(d.Counter).to(badgeLink(d.Counter)), text(d.Witness).to(badgeLink(d.Witness)),
			text(words.T("board.case-against-"+countedBy(trip, it))), number(it.Seq).to(recordLink(it.Seq)))
	}
}

// claimsRecount reports whether what was said to have been done is a count made anew: the action that the pages offer, or
// words for it.
func claimsRecount(action string) bool {
	s := strings.ToLower(action)
	return slices.ContainsFunc([]string{"recount", "counted again", "nachgezählt", "nochmals gezählt", "erneut gezählt", "nachzählung"},
		func(w string) bool { return strings.Contains(s, w) })
}
