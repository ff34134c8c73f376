package judge

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// A tale is a story in which more than one thing comes together.
type tale struct {
	name string
	tell func(s *story)
}

// TestTales holds stories to all that is told of each trip in them, what it
// rests on, and what each record touches that comes last.
func TestTales(t *testing.T) {
	for _, of := range []struct {
		name    string
		tales   []tale
		touches bool
	}{
		{"readings", readingTales(), false}, {"recalls", recallTales(), false}, {"counts", countTales(), false},
		{"exchanges", exchangeTales(), false}, {"turns", turnTales(), true}, {"corrections", correctionTales(), true},
		{"indicators", indicatorTales(), true}, {"neighbours", neighbourTales(), true},
	} {
		var out strings.Builder
		for _, x := range of.tales {
			fmt.Fprintf(&out, "# %s\n", x.name)
			s := newStory()
			x.tell(s)
			w := s.world()
			for _, k := range w.Trips() {
				s.write(t, &out, w, k)
				if of.touches {
					s.rests(t, &out, w, k)
				}
			}
			if of.touches {
				s.touches(t, &out, w)
				s.histories(t, &out, w)
			}
			switch of.name {
			case "turns", "corrections", "neighbours":
				s.traces(t, &out, w)
			case "exchanges":
				s.exchanges(t, &out, w)
			}
		}
		golden(t, of.name+".txt", out.String())
	}
}

// touches tells what each record touches.
func (s *story) touches(t *testing.T, out *strings.Builder, w *World) {
	t.Helper()
	for _, f := range s.all {
		touch, err := w.Touched(f)
		if err != nil {
			t.Fatal(err)
		}
		var trips []string
		for _, k := range touch.Trips {
			trips = append(trips, s.name(k))
		}
		fmt.Fprintf(out, "  %s %s touches [%s] %s\n", f.Event.Kind(), brief(f.Event.Time), strings.Join(trips, ", "),
			strings.Join(s.questions(touch.Asked), "; "))
	}
}

// histories tells what stands in the history of each load and case.
func (s *story) histories(t *testing.T, out *strings.Builder, w *World) {
	t.Helper()
	of := make(map[string]projections.HistoryOf)
	for _, f := range s.all {
		switch d := f.Event.Data.(type) {
		case *events.SetSterilized:
			of[d.Load] = projections.HistoryOf{Load: d.Load}
		case *events.IndicatorRead:
			of[d.Load] = projections.HistoryOf{Load: d.Load}
		case *events.SetOpened:
			of[d.Case] = projections.HistoryOf{Case: d.Case}
		}
	}
	var lines []string
	for _, x := range of {
		h, err := w.History(x)
		if err != nil {
			t.Fatal(err)
		}
		line := fmt.Sprintf("  history of %s%s:", x.Load, x.Case)
		for _, v := range h.Verdicts {
			line += " " + s.name(projections.TripKey{Set: v.Set, Trip: v.Trip})
		}
		for _, e := range h.Events {
			line += fmt.Sprintf(", %s %s", e.Kind, brief(e.Observed))
			if e.Voided != 0 || e.Replaced != 0 {
				line += fmt.Sprintf(" (taken back by %d, replaced by %d, first %t)", e.Voided, e.Replaced, e.First != nil)
			}
		}
		lines = append(lines, line+"\n")
	}
	slices.Sort(lines)
	out.WriteString(strings.Join(lines, ""))
}

// traces tells what lies open of each trip: its seal, its tag, its readings and
// where it stayed.
func (s *story) traces(t *testing.T, out *strings.Builder, w *World) {
	t.Helper()
	for _, k := range w.Trips() {
		tr, err1 := w.Trace(k)
		seal, err2 := w.Sealed(k)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		fmt.Fprintf(out, "  trace of %s: sealed %t, load %q", s.name(k), seal != nil, tr.Load)
		if !tr.TagRead.IsZero() {
			fmt.Fprintf(out, ", tag read %s", brief(tr.TagRead))
		}
		for _, r := range tr.Readings {
			fmt.Fprintf(out, ", %s %s %s", brief(r.At), r.Result, r.Tray)
			if r.Owner != nil {
				out.WriteString(" of " + s.name(*r.Owner))
			}
		}
		for _, x := range tr.Stays {
			fmt.Fprintf(out, ", %s %s-%s seen %d", x.Place, brief(x.From), brief(x.To), len(x.Seen))
		}
		out.WriteString("\n")
	}
}

// exchanges tells who has whose sheet.
func (s *story) exchanges(t *testing.T, out *strings.Builder, w *World) {
	t.Helper()
	for _, k := range w.Trips() {
		x, err := w.Exchange(k)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(out, "  by %s: closed %t", s.name(k), x.Closed)
		for _, c := range x.Carries {
			fmt.Fprintf(out, ", %s has %s's", s.name(c.Set), s.name(c.Sheet))
		}
		out.WriteString("\n")
	}
}

// readingTales are all that can be found when a set is opened, of tag, label and
// sheet: its own, those of a set packed beside it, or none.
func readingTales() (out []tale) {
	names := map[string]string{"A": "its own", "B": "B's", "": "not read"}
	sheets := []string{"A", "B", "none", "unreadable", "not looked at"}
	for _, tag := range []string{"A", "B", ""} {
		for _, label := range []string{"A", "B", ""} {
			for _, sheet := range sheets {
				name := fmt.Sprintf("tag %s, label %s, sheet %s", names[tag], names[label], sheet)
				out = append(out, tale{name, func(s *story) {
					a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
					a.check, b.check, b.open, b.first, b.final, b.closed = nil, nil, nil, nil, nil, nil
					a.first, a.final, a.closed = nil, nil, nil
					a.open.Tag, a.open.OuterLabel = tag, label
					a.open.Sheet = map[string]*events.Reading{
						"A": outside(own(a)), "B": outside(own(b)), "none": none(),
						"unreadable": {Found: "outside", Unreadable: true, Text: "torn"},
					}[sheet]
					s.live(a)
					s.live(b)
				}})
			}
		}
	}
	return out
}

func recallTales() (out []tale) {
	for _, recall := range []events.Recall{events.RecallRepeat, events.RecallAll} {
		for _, results := range []string{"n--p-", "n-p-n--", "n-p-nnn", "n-pnnpn", "npp-n", "pp-", "p--p", "-p", "nn"} {
			out = append(out, tale{results + " under " + string(recall), func(s *story) {
				s.policy(func(p *events.Policy) { p.Recall = recall })
				loads(s, results)
			}})
		}
	}
	return out
}

func indicatorTales() []tale {
	return []tale{
		{"a positive one read after three loads were read negative", func(s *story) { lateLoads(s, "n1", "p5", "n3", "n4", "n5", "n7") }},
		{"a positive one between two negative ones", func(s *story) { loads(s, "n-p-n") }},
		{"a positive one, far from the others", func(s *story) { loads(s, "nnnn-p-nnnn") }},
		{"two indicators in one load, one of them positive", func(s *story) {
			loads(s, "n-n")
			s.indicator(3, "S2-01", "negative")
			s.indicator(4, "S2-01", "positive")
			s.indicator(5, "S2-01", "positive")
		}},
		{"a positive one taken back, a negative one made positive", func(s *story) {
			turns := loads(s, "np-n")
			s.correct(s.last(events.KindIndicatorRead), clock(6, 0, 0), &events.IndicatorRead{
				Load: turns[3].run.Load, Sterilizer: "S2", Result: "positive",
			})
		}},
		{"an indicator corrected to another load and sterilizer", func(s *story) {
			loads(s, "n-p")
			s.correct(s.last(events.KindIndicatorRead), clock(6, 0, 0), &events.IndicatorRead{
				Load: "S7-01", Sterilizer: "S7", Result: "positive",
			})
		}},
		{"indicators of loads that nobody recorded a set in", func(s *story) {
			loads(s, "-p")
			for day, result := range []string{"negative", "positive", "negative", "negative", "negative", "negative"} {
				s.indicator(day+1, fmt.Sprintf("S2-9%d", day), result)
			}
			s.indicator(9, "S2-91", "negative")
		}},
		{"an indicator taken back, where the policy asks for one", func(s *story) {
			s.waits(events.Waits{Indicator: 48})
			turns := loads(s, "nn")
			s.correct(s.last(events.KindIndicatorRead), clock(3, 0, 0), nil)
			s.indicator(2, turns[1].run.Load, "negative").Event.Data.(*events.IndicatorRead).Sterilizer = "S7"
			s.now = clock(9, 0, 0)
		}},
		{"an early run of a load, taken back", func(s *story) {
			turns := loads(s, "npn-n")
			run := *turns[4].run
			run.Load = turns[1].run.Load
			f := *s.tell("sterilizer-2", clock(-1, 8, 0), turns[4].set, turns[4].trip(), &run)
			s.correct(&f, clock(6, 0, 0), nil)
		}},
		{"a set of the first load, told after the next load was run", func(s *story) {
			turns := loads(s, "pn")
			x := newTurn("SET-9", 0, s.list("LAP-MINOR", 1, 2))
			x.day, x.check, x.open, x.first, x.final, x.closed = 3, nil, nil, nil, nil, nil
			x.run.Load = turns[0].run.Load
			s.live(x)
		}},
		{"two sets in one load, and a run told twice", func(s *story) {
			turns := loads(s, "n-pn")
			l := s.list("LAP-MINOR", 1, 2)
			x := newTurn("SET-9", 0, l)
			x.day, x.check, x.open, x.first, x.final, x.closed = 2, nil, nil, nil, nil, nil
			x.run.Load = turns[2].run.Load
			s.live(x)
			s.tell("sterilizer-2", clock(2, 9, 0), x.set, x.trip(), x.run)
		}},
	}
}

// offs are final counts of the sets of a case, by how much each line differs.
func countTales() (out []tale) {
	for _, off := range [][][]int64{
		{{-1}, {1}}, {{1}, {-1}}, {{-2}, {1}}, {{-1, 1}, {0, -1}}, {{-1}, {-1}, {1}}, {{-2}, {1}, {1}}, {{1}, {0}}, {{0, -1, 1}, {}},
	} {
		for _, outcome := range []string{"reconciled", "unreconciled", ""} {
			out = append(out, tale{fmt.Sprintf("final counts off by %v, closed %q", off, outcome), func(s *story) {
				var closed *events.CaseClosed
				if outcome != "" {
					closed = &events.CaseClosed{Case: "K-0412", Outcome: outcome, Actions: []string{"searched"}}
				}
				casework(s, []string{"A", "B", "C"}[:len(off)], off, closed)
			}})
		}
	}
	lines := func(n ...int64) (out []events.Count) {
		for i, n := range n {
			if n >= 0 {
				out = append(out, events.Count{Line: int64(i + 1), Counted: n})
			}
		}
		return out
	}
	type count struct {
		stage        events.Stage
		hour, minute int
		counts       []events.Count
		removed      int64
	}
	for _, x := range []struct {
		name   string
		counts []count
	}{
		{"no first count", []count{{events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"only a first count", []count{{events.StageFirst, 7, 20, lines(6, 2, 4), 0}}},
		{"first counted twice, the second time all", []count{
			{events.StageFirst, 7, 20, lines(6), 0}, {events.StageFirst, 7, 30, lines(6, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"first counted again after a piece was added", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageAdded, 7, 30, lines(1), 0},
			{events.StageFirst, 7, 40, lines(6, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(7, 2, 4), 0}}},
		{"first count after others", []count{
			{events.StageAdded, 7, 10, lines(1), 0}, {events.StageFirst, 7, 20, lines(7, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(7, 2, 4), 0}}},
		{"first count more and fewer", []count{{events.StageFirst, 7, 20, lines(7, 1, 4), 0}, {events.StageFinal, 9,
			0, lines(7, 1, 4), 0}}},
		{"first count with a line left out", []count{{events.StageFirst, 7, 20, lines(6, 2), 0}, {events.StageFinal,
			9, 0, lines(6, 2, 4), 0}}},
		{"short midway, right later", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(5, 3, 4), 0},
			{events.StageClosing, 8, 30, lines(6, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"short midway and at the end", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(5, 2, 4), 0},
			{events.StageClosing, 8, 30, lines(5, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(5, 2, 4), 0}}},
		{"short midway, left out at the end", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(5, 2, 3), 0},
			{events.StageClosing, 8, 30, lines(-1, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(-1, 2, 4), 0}}},
		{"short midway, right after it, left out at the end", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(5, 2, 4), 0},
			{events.StageClosing, 8, 30, lines(6, 2, 4), 0},
			{events.StageFinal, 9, 0, lines(-1, 2, 4), 0}}},
		{"short midway, no final count", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(5, 3, 4), 0},
			{events.StageClosing, 8, 30, lines(6, 3, 4), 0}}},
		{"added and removed before and after", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageAdded, 8, 0, lines(2), 1},
			{events.StageFinal, 9, 0, lines(7, 2, 4), 0},
			{events.StageAdded, 9, 10, lines(1, 1), 1}, {events.StageAdded, 9, 20, lines(1), 0}}},
		{"more removed than there was", []count{
			{events.StageFirst, 7, 20, lines(2, 2, 4), 0}, {events.StageFinal, 9, 0, lines(0, 2, 4), 3}}},
		{"a line that is not on the list, at first", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4, 1), 0}, {events.StageFinal, 9, 0, lines(6, 2, 4, 1), 0}}},
		{"two final counts", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageFinal, 9, 0, lines(5, 2, 4), 0},
			{events.StageFinal, 9, 10, lines(6, 2, 4), 0}}},
		{"short after the final count", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageFinal, 9, 0, lines(6, 2, 4), 0},
			{events.StageRelief, 9, 10, lines(5, 2, 4), 0}}},
		{"a line that is not on the list, midway, and none of it later", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(6, 2, 4, 1), 0},
			{events.StageClosing, 8, 30, lines(6, 2, 4, 0), 0}, {events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"a line that is not on the list, midway", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4), 0}, {events.StageCavity, 8, 0, lines(6, 2, 4, 1), 0},
			{events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"none of a line that is not on the list, and left out at the end", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4, 0), 0}, {events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
		{"one of a line that is not on the list, and left out at the end", []count{
			{events.StageFirst, 7, 20, lines(6, 2, 4, 1), 0}, {events.StageFinal, 9, 0, lines(6, 2, 4), 0}}},
	} {
		out = append(out, tale{x.name, func(s *story) {
			l := s.list("LAP-MAJOR", 1, 6, 2, 4)
			a := newTurn("A", 0, l)
			a.first, a.final = nil, nil
			s.live(a)
			for _, c := range x.counts {
				f := s.count(a, c.stage, c.hour, c.minute, c.counts...)
				if c.removed > 0 {
					f.Event.Data.(*events.SetCounted).Removed = []events.Removed{{Line: 1, Quantity: c.removed, Reason: "broken"}}
				}
			}
		}})
	}
	return append(out, tale{"nobody beside the first counter, who left a line out", func(s *story) {
		a := newTurn("A", 0, s.list("LAP-MAJOR", 1, 6, 2, 4))
		a.first.Witness, a.first.Counts = "", a.first.Counts[:2]
		s.live(a)
	}}, tale{"one item on two lines, short in two counts", func(s *story) {
		a := newTurn("A", 0, s.list("LAP-MAJOR", 1, 6, 2, 4))
		a.list.Lines[1].Item = a.list.Lines[0].Item
		a.rebind()
		a.final = nil
		s.live(a)
		s.count(a, events.StageClosing, 9, 0, events.Count{Line: 2, Counted: 1})
		s.count(a, events.StageCavity, 8, 0, events.Count{Line: 1, Counted: 5})
	}})
}

func exchangeTales() (out []tale) {
	for _, carries := range []string{"BA", "B ", "BB", "BCA", "BC ", "BC  ", "B A", "BAD ", "CC "} {
		out = append(out, tale{"found with the sheets of " + carries, func(s *story) {
			var sets, found []string
			for i, c := range carries {
				sets, found = append(sets, string(rune('A'+i))), append(found, strings.TrimSpace(string(c)))
			}
			team(s, sets, found)
		}})
	}
	looks := func(name string, looks ...string) {
		out = append(out, tale{name, func(s *story) {
			turns := make(map[byte]*turn)
			for _, set := range []string{"A", "B", "C"} {
				x := newTurn(set, 0, s.list("LIST-"+set, 1, 6, int64(set[0])))
				x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
				s.live(x)
				turns[set[0]] = x
			}
			for i, l := range looks { // "AB": A found with the sheet of B; "A-": with none; "A?": unreadable
				r := none()
				switch l[1] {
				case '?':
					r = &events.Reading{Found: "outside", Unreadable: true, Text: "smeared"}
				case 'A', 'B', 'C':
					r = outside(own(turns[l[1]]))
				}
				look(s, clock(0, 12+i, 0), turns[l[0]], r)
			}
		}})
	}
	out = append(out, tale{"a list on the screen, another set's sheet", func(s *story) {
		a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
		a.seal.Placement, a.check, a.open, a.first, a.final, a.closed = events.Screen, nil, nil, nil, nil, nil
		b.check, b.open, b.first, b.final, b.closed = nil, nil, nil, nil, nil
		s.live(a)
		s.live(b)
		look(s, clock(0, 12, 0), a, outside(own(b)))
	}})
	for _, then := range []string{"nothing more", "B counted by its own", "B counted by its own before"} {
		out = append(out, tale{"A counted by the sheet of B, B read right before; " + then, func(s *story) {
			a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
			a.check, b.check, b.final, b.closed = nil, nil, nil, nil
			a.first.Sheet, a.open.Tag = own(b), ""
			first := b.first
			b.open, b.first = nil, nil
			s.live(a)
			s.live(b)
			look(s, clock(0, 12, 0), b, outside(own(b)))
			switch then {
			case "B counted by its own":
				s.tell("or-4", clock(1, 12, 0), "B", b.trip(), first)
			case "B counted by its own before":
				s.tell("or-4", clock(1, 6, 0), "B", b.trip(), first)
			}
		}})
	}
	out = append(out, tale{"one set gone from a shelf before the other came", func(s *story) {
		a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
		for _, x := range []*turn{a, b} {
			x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
			s.live(x)
		}
		for hour, at := range map[int]string{9: "A storage A4", 10: "A cart", 11: "B storage A4", 12: "A storage B1"} {
			x := map[byte]*turn{'A': a, 'B': b}[at[0]]
			s.tell("storage", clock(0, hour, 0), x.set, x.trip(), &events.SetChecked{Place: at[2:]})
		}
		look(s, clock(0, 13, 0), a, outside(own(b)))
	}})
	for _, first := range []string{"A", "C"} {
		out = append(out, tale{"A and C counted by the sheet of B, " + first + " first", func(s *story) {
			var turns []*turn
			for _, set := range []string{"A", "B", "C"} {
				x := newTurn(set, 0, s.list("LIST-"+set, 1, 6, int64(set[0])))
				x.check, x.final, x.closed = nil, nil, nil
				if set == first {
					x.day = -1
				}
				turns = append(turns, x)
			}
			turns[0].first.Sheet, turns[2].first.Sheet = own(turns[1]), own(turns[1])
			turns[1].open, turns[1].first = nil, nil
			for _, x := range turns {
				s.live(x)
			}
		}})
	}
	out = append(out, tale{"with the sheet of one set, which came to lie beside it, and then of another", func(s *story) {
		turns := make(map[string]*turn)
		for _, set := range []string{"A", "B", "C"} {
			x := newTurn(set, 0, s.list("LIST-"+set, 1, 6, int64(set[0])))
			x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
			s.live(x)
			turns[set] = x
		}
		look(s, clock(0, 12, 0), turns["A"], outside(own(turns["C"])))
		look(s, clock(0, 12, 30), turns["C"], nil)
		look(s, clock(0, 13, 0), turns["A"], outside(own(turns["B"])))
	}})
	looks("once wrong", "AB")
	looks("wrong, and back", "AB", "AA", "BB")
	looks("wrong, and only the other read right", "AB", "BB")
	looks("right before", "AA", "BB", "AB")
	looks("exchanged and put right", "AB", "BA", "AA", "BB")
	looks("exchanged twice", "AB", "BA", "AA", "BB", "AB", "BA")
	looks("a ring of three seen in turn", "AB", "BC", "CA")
	looks("a ring broken again", "AB", "BC", "CA", "BB")
	looks("on from one to the next", "AB", "A-", "CB")
	looks("on from one to the next and the other without", "AB", "CB", "B-")
	looks("two with one sheet", "AB", "CB", "BA")
	looks("unreadable in between", "AB", "B?", "A?", "AB")
	looks("none, then wrong, then none", "A-", "AB", "A-", "BB")
	return out
}

func turnTales() []tale {
	loose := func(s *story, at time.Time, place string) {
		s.tell("storage", at, "A", "", &events.SetChecked{Place: place})
	}
	turns := func(s *story, n int) (out []*turn) {
		l := s.list("LIST-A", 1, 6, 2)
		for i := range n {
			out = append(out, newTurn("A", i, l))
			s.live(out[i])
		}
		return out
	}
	return []tale{
		{"five turns, and looks without a trip in some and before", func(s *story) {
			turns(s, 5)
			for _, day := range []int{-1, 0, 3} {
				loose(s, clock(day, 11, 0), "cart")
			}
		}},
		{"sealed by another list, which has a newer version", func(s *story) {
			x := newTurn("A", 0, s.list("LIST-A", 1, 6, 2))
			x.seal = sealed(s.list("LIST-B", 1, 6, 3), "A", x.trip())
			s.list("LIST-B", 2, 6, 4)
			x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
			s.live(x)
		}},
		{"a seal whose binding is another set's, and no digest", func(s *story) {
			l := s.list("LIST-A", 1, 6, 2)
			x := newTurn("A", 0, l)
			x.seal.ListDigest, x.seal.Binding = "", sealed(l, "B", x.trip()).Binding
			s.live(x)
		}},
		{"sealed falsely, packed and sealed again by the next version", func(s *story) {
			x := newTurn("A", 0, s.list("LIST-A", 1, 6, 2))
			x.seal.ListDigest = sealed(s.list("LIST-B", 1, 6, 3), "A", x.trip()).ListDigest
			next := s.listAt(clock(0, 6, 20), "LIST-A", 2, 6, 4)
			x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
			s.live(x)
			s.tell("packing-1", clock(0, 6, 30), "A", x.trip(), &events.SetPacked{List: "LIST-A", Version: 2})
			s.tell("packing-1", clock(0, 6, 35), "A", x.trip(), sealed(next, "A", x.trip()))
		}},
		{"a packing taken back between two", func(s *story) {
			x := turns(s, 2)
			f := *s.tell("packing-1", clock(2, 6, 0), "A", tripOf("A", 5), x[0].pack)
			loose(s, clock(2, 7, 0), "cart")
			s.correct(&f, clock(2, 8, 0), nil)
		}},
		{"packed twice in one trip", func(s *story) {
			x := turns(s, 2)
			s.tell("packing-1", clock(0, 7, 0), "A", x[0].trip(), x[0].pack)
			s.tell("packing-1", clock(0, 7, 10), "A", x[0].trip(), x[0].seal)
		}},
		{"one trip used for two sets", func(s *story) {
			x := turns(s, 1)
			s.tell("packing-1", clock(0, 9, 0), "B", x[0].trip(), x[0].pack)
			s.tell("storage", clock(0, 10, 0), "B", x[0].trip(), &events.SetChecked{Sheet: outside(own(x[0]))})
		}},
		{"one trip used for two sets, sealed without bindings, and a third with its sheet", func(s *story) {
			x := turns(s, 1)[0]
			y := newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
			c := newTurn("C", 0, x.list)
			b := sealed(y.list, "B", x.trip())
			s.tell("packing-1", clock(0, 9, 0), "B", x.trip(), y.pack)
			s.tell("packing-1", clock(0, 9, 1), "B", x.trip(), &events.ListSealed{Placement: events.Outside,
				List: b.List, Version: b.Version})
			c.check, c.open.Sheet.Code = nil, b.Code
			s.live(c)
		}},
		{"never sealed, and counted by a sheet of other content", func(s *story) {
			x := newTurn("A", 0, s.list("LIST-A", 1, 6, 2))
			x.seal = nil
			x.first.Sheet = sheetCode(s.list("LIST-B", 1, 6, 3), "A", x.trip())
			s.live(x)
		}},
		{"a look without a trip at another set with its sheet", func(s *story) {
			x := turns(s, 2)
			y := newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
			y.open, y.first, y.final, y.closed = nil, nil, nil, nil
			s.live(y)
			s.tell("storage", clock(4, 13, 0), "B", "", &events.SetChecked{Sheet: outside(own(x[1]))})
		}},
		{"packed again unopened and opened under the old trip", func(s *story) {
			l := s.list("LIST-A", 1, 6, 2)
			a, b := newTurn("A", 0, l), newTurn("A", 1, l)
			open := a.open
			a.open, a.first, a.final, a.closed = nil, nil, nil, nil
			b.open, b.first, b.final, b.closed = nil, nil, nil, nil
			s.live(a)
			s.live(b)
			s.tell("or-3", clock(4, 7, 0), "A", a.trip(), open)
		}},
		{"policy changed twice", func(s *story) {
			s.policy(func(p *events.Policy) { p.TwoPersons = false })
			x := turns(s, 2)
			p := events.DefaultPolicy()
			p.Links = p.Links[:4]
			s.tell("ledger", clock(2, 0, 0), "north", "", &events.PolicyAdopted{Policy: p})
			s.tell("or-3", clock(4, 12, 0), "A", x[1].trip(), &events.SetChecked{Place: "or-3"})
		}},
		{"lists issued before, between and after", func(s *story) {
			x := turns(s, 2)
			s.listAt(clock(0, 6, 12), "LIST-A", 2, 6, 3)
			s.listAt(clock(2, 6, 0), "LIST-A", 3, 6, 4)
			s.listAt(clock(4, 6, 0), "LIST-A", 4, 6, 5)
			_ = x
		}},
		{"one version issued twice, sealed by the second", func(s *story) {
			s.list("LIST-A", 1, 6, 2)
			x := newTurn("A", 0, s.listAt(clock(-1, 6, 0), "LIST-A", 1, 6, 3))
			s.live(x)
			s.listAt(clock(2, 6, 0), "LIST-A", 1, 6, 4)
		}},
		{"used in two cases, run in between", func(s *story) {
			x := turns(s, 1)
			s.runAgain(x[0], clock(1, 12, 0), "passed", true)
			s.secondCase(x[0])
		}},
		{"opened for one case, another and the first again", func(s *story) {
			x := turns(s, 1)[0]
			s.opened(x, clock(1, 12, 0), "K-OTHER")
			s.opened(x, clock(1, 16, 0), x.ref)
		}},
		{"seen on its shelf just after an opening, and just before the next", func(s *story) {
			x := turns(s, 1)[0]
			s.tell("storage", x.openedAt().Add(2*time.Minute), "A", x.trip(), x.check)
			s.tell("storage", clock(1, 8, 58), "A", x.trip(), x.check)
			s.opened(x, clock(1, 9, 0), x.ref)
		}},
		{"packed again after its run, by as much as clocks may differ", func(s *story) {
			x := turns(s, 1)[0]
			s.tell("packing-1", x.sterilizedAt().Add(2*time.Minute), "A", x.trip(), x.pack)
		}},
		{"a set nobody packed", func(s *story) {
			x := newTurn("A", -1, s.list("LIST-A", 1, 6, 2))
			x.pack, x.seal, x.run, x.check = nil, nil, nil, nil
			x.day = 0
			s.live(x)
		}},
		{"a case of two sets, one of which nobody closed", func(s *story) {
			turns := casework(s, []string{"A", "B"}, [][]int64{{}, {}}, nil)
			s.live(newTurn("A", 1, turns[0].list))
			s.now = clock(9, 0, 0)
		}},
	}
}

func correctionTales() []tale {
	with := func(tell func(s *story, x, y *turn)) func(s *story) {
		return func(s *story) {
			l := s.list("LIST-A", 1, 6, 2)
			x, y := newTurn("A", 0, l), newTurn("B", 0, l)
			s.live(x)
			s.live(y)
			tell(s, x, y)
		}
	}
	of := func(s *story, set string, k events.Kind) int {
		return slices.IndexFunc(s.all, func(f facts.Fact) bool { return f.Event.Kind() == k && f.Event.Subject == set })
	}
	return []tale{
		{"an opening taken back, and that taken back", with(func(s *story, x, _ *turn) {
			f := s.all[of(s, "A", events.KindSetOpened)]
			c := *s.correct(&f, clock(2, 8, 0), nil)
			s.correct(&c, clock(2, 9, 0), nil)
		})},
		{"an opening moved to the case of another set", with(func(s *story, x, y *turn) {
			f := s.all[of(s, "A", events.KindSetOpened)]
			open := *x.open
			open.Case = y.ref
			s.correct(&f, clock(2, 8, 0), &open)
		})},
		{"a run corrected to another load", with(func(s *story, x, _ *turn) {
			f := s.all[of(s, "A", events.KindSetSterilized)]
			run := *x.run
			run.Load = "S2-00-05"
			s.correct(&f, clock(2, 8, 0), &run)
		})},
		{"a packing corrected to another list", with(func(s *story, x, _ *turn) {
			f := s.all[of(s, "A", events.KindSetPacked)]
			s.list("LIST-C", 2, 6)
			s.correct(&f, clock(2, 8, 0), &events.SetPacked{List: "LIST-C", Version: 2})
		})},
		{"a reading corrected to the sheet of another set", with(func(s *story, x, y *turn) {
			f := s.all[of(s, "A", events.KindSetChecked)]
			s.correct(&f, clock(2, 8, 0), &events.SetChecked{Place: "storage A4", Sheet: outside(own(y))})
		})},
		{"a packing taken back", with(func(s *story, x, _ *turn) {
			f := s.all[of(s, "A", events.KindSetPacked)]
			s.correct(&f, clock(2, 8, 0), nil)
			s.tell("storage", clock(0, 15, 0), "A", "", &events.SetChecked{Place: "cart"})
		})},
		{"a closing replaced by the same badge", with(func(s *story, x, _ *turn) {
			f := *s.last(events.KindCaseClosed)
			s.correct(&f, clock(2, 8, 0), &events.CaseClosed{Case: f.Event.Subject, Outcome: "unreconciled"})
		})},
		{"two corrections, one of which hides a fault", with(func(s *story, x, _ *turn) {
			open := *x.open
			x.open.Sheet = none()
			f, c := s.all[of(s, "A", events.KindSetOpened)], s.all[of(s, "A", events.KindSetChecked)]
			open.Sheet = outside(own(x))
			s.correct(&f, clock(2, 8, 0), &open)
			s.correct(&c, clock(2, 9, 0), &events.SetChecked{Place: "storage B1", Sheet: x.check.Sheet})
		})},
		{"a cycle the list does not allow, corrected", with(func(s *story, x, _ *turn) {
			x.list.Cycles = []string{x.run.Cycle}
			f := s.all[of(s, "A", events.KindSetSterilized)]
			right := *x.run
			x.run.Cycle = "gravity-121"
			s.correct(&f, clock(2, 8, 0), &right)
		})},
		{"a set in doubt until an unreadable look was corrected", func(s *story) {
			turns := team(s, []string{"A", "B"}, []string{"B", ""})
			look(s, clock(1, 12, 0), turns[1], &events.Reading{Found: "outside", Unreadable: true})
			s.correct(s.last(events.KindSetChecked), clock(2, 8, 0), &events.SetChecked{Sheet: outside(own(turns[1]))})
		}},
		{"two faults, each hidden by a correction of its own", with(func(s *story, x, _ *turn) {
			final, open := *x.final, *x.open
			x.final.Counts = slices.Clone(x.final.Counts)
			x.final.Counts[0].Counted = 5
			x.open.Sheet = none()
			f := s.all[of(s, "A", events.KindSetOpened)]
			open.Sheet = outside(own(x))
			s.correct(&f, clock(2, 8, 0), &open)
			s.correct(s.last(events.KindSetCounted), clock(2, 9, 0), &final)
		})},
	}
}
