package judge

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// evidence writes down what a finding names.
func (s *story) evidence(f projections.Finding) string {
	moment := func(at time.Time) string {
		if at.IsZero() {
			return "none"
		}
		return brief(at)
	}
	out := fmt.Sprintf("from %s to %s", moment(f.From), moment(f.To))
	if len(f.Lines) > 0 {
		out += fmt.Sprintf("; lines %v", f.Lines)
	}
	if f.Other != nil {
		out += "; other " + f.Other.Set
	}
	if len(f.Places) > 0 {
		out += "; at " + strings.Join(f.Places, " and ")
	}
	var shown []string
	for _, seq := range f.Events {
		e := s.all[seq-1].Event
		what := string(e.Kind())
		if c, ok := e.Data.(*events.SetCounted); ok {
			what += " " + string(c.Stage)
		}
		shown = append(shown, strings.TrimSpace(what+" "+moment(e.Time)))
	}
	return out + "; " + strings.Join(shown, ", ")
}

// links writes down the links of a trace, each of which names its record.
func (s *story) links(t *testing.T, tr projections.Trace) (out []string) {
	t.Helper()
	for _, l := range tr.Links {
		if l.State == projections.LinkThere &&
			(l.Place == "" || l.By != "B-1182" || !l.At.Equal(s.all[l.Seq-1].Event.Time)) {
			t.Errorf("link %+v", l)
		}
		out = append(out, fmt.Sprintf("%s %s %d", l.Kind, l.State, l.Seq))
	}
	return out
}

// trace lays a trip open as it stood after n facts.
func (s *story) trace(t *testing.T, n int, k projections.TripKey) projections.Trace {
	t.Helper()
	tr, err := worldOf(s.all[:n]).Trace(k)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// TestTrace: a trip laid open has each link with its record, each look at the
// sheet and each place where the set stayed.
func TestTrace(t *testing.T) {
	s, x := plain()
	x.seal.BagLot = "BAG-7"
	s.live(x)
	// Facts: the list, then packed, sealed, sterilized, checked, opened, first and final count, closed.
	for n, want := range map[int][]string{
		2: {"set.packed there 2", "list.sealed due 0", "set.sterilized due 0", "set.opened due 0", "set.counted due 0",
			"case.closed due 0"},
		4: {"set.packed there 2", "list.sealed there 3", "set.sterilized there 4", "set.opened due 0",
			"set.counted due 0", "case.closed due 0"},
		9: {"set.packed there 2", "list.sealed there 3", "set.sterilized there 4", "set.opened there 6",
			"set.counted there 7", "case.closed there 9"},
	} {
		if got := s.links(t, s.trace(t, n, x.key())); !slices.Equal(got, want) {
			t.Errorf("after %d facts: %q", n, got)
		}
	}
	tr := s.trace(t, 9, x.key())
	if tr.List != "LAP-MAJOR" || tr.Version != 3 || tr.Title != "LAP-MAJOR" || tr.Placement != events.Outside ||
		tr.Station != "north/or-3" ||
		!slices.Equal(tr.Seals, []string{"48LAP-014"}) || tr.BagLot != "BAG-7" || tr.Load != "S2-00-04" ||
		tr.Case != x.ref || !tr.Over {
		t.Errorf("%+v", tr)
	}
	var stays, readings []string
	for _, y := range tr.Stays {
		stays = append(stays, fmt.Sprintf("%s by %s %s-%s", y.Place, y.By, y.From.Format("02 15:04"),
			y.To.Format("02 15:04")))
	}
	if want := []string{"north/packing-1 by B-1182 02 06:11-02 08:02", "load S2-00-04 by B-1182 02 08:02-02 12:00",
		"storage A4 by B-1182 02 12:00-03 07:12",
		"north/or-3 by B-1182 03 07:12-03 09:30"}; !slices.Equal(stays, want) {
		t.Errorf("stays\n%q, want\n%q", stays, want)
	}
	for _, r := range tr.Readings {
		readings = append(readings, fmt.Sprintf("%d %s %s %s opening %v", r.Seq, r.Place, r.Result, r.Found, r.Opening))
	}
	if want := []string{"5 storage A4 right outside opening false",
		"6 north/or-3 right outside opening true"}; !slices.Equal(readings, want) {
		t.Errorf("readings\n%q, want\n%q", readings, want)
	}
	if tr := s.trace(t, 9, key("LAP-099", 0)); len(tr.Links)+len(tr.Stays)+len(tr.Readings) != 0 {
		t.Errorf("a trip of which nothing is known: %+v", tr)
	}
}

// TestTraceLeftOut: a link is missing once a later one was recorded, or the set
// was used and packed again.
func TestTraceLeftOut(t *testing.T) {
	s, x := plain()
	x.run, x.first, x.final, x.closed = nil, nil, nil, nil
	s.live(x)
	if got, want := s.links(t, s.trace(t, 5, x.key())), []string{"set.packed there 2", "list.sealed there 3",
		"set.sterilized missing 0",
		"set.opened there 5", "set.counted due 0", "case.closed due 0"}; !slices.Equal(got, want) {
		t.Errorf("opened unsterilized: %q", got)
	}
	s.live(newTurn("LAP-014", 1, x.list))
	if got, want := s.links(t, s.trace(t, len(s.all), x.key())), []string{"set.packed there 2", "list.sealed there 3",
		"set.sterilized missing 0",
		"set.opened there 5", "set.counted missing 0", "case.closed missing 0"}; !slices.Equal(got, want) {
		t.Errorf("packed again: %q", got)
	}
	s, x = plain()
	s.live(x.unused())
	s.live(newTurn("LAP-014", 1, x.list))
	if got := s.links(t, s.trace(t, len(s.all), x.key())); !slices.Contains(got, "set.opened due 0") {
		t.Errorf("packed again unopened: %q", got)
	}
}

// TestExchange: who has whose sheet, in a ring and along a path that ends at a
// set nobody has read.
func TestExchange(t *testing.T) {
	for _, closed := range []bool{true, false} {
		s := newStory()
		l := s.list("LAP-MAJOR", 3, 6, 2, 4)
		a, b, c := newTurn("A", 0, l), newTurn("B", 0, l), newTurn("C", 0, l)
		a.open.Sheet.Code, b.open.Sheet.Code, c.open.Sheet.Code = own(b), own(c), own(a)
		if !closed {
			c.check, c.open, c.first, c.final, c.closed = nil, nil, nil, nil, nil
		}
		for _, x := range []*turn{a, b, c} {
			x.check = nil
			s.live(x)
		}
		whole := newTurn("D", 0, l)
		s.live(whole)
		w := s.world()
		for _, k := range []projections.TripKey{a.key(), b.key(), c.key()} {
			x, err := w.Exchange(k)
			if err != nil {
				t.Fatal(err)
			}
			got := make(map[string]string)
			for _, y := range x.Carries {
				got[y.Set.Set] = y.Sheet.Set
				if e := s.all[y.Seq-1].Event; e.Subject != y.Set.Set || !e.Time.Equal(y.At) || y.Place != "north/or-3" {
					t.Errorf("%+v is shown by %+v", y, e)
				}
			}
			want := map[string]string{"A": "B", "B": "C", "C": "A"}
			first, last := projections.TripKey{}, projections.TripKey{}
			if !closed {
				delete(want, "C")
				first, last = a.key(), c.key()
			}
			if fmt.Sprint(got) != fmt.Sprint(want) || x.Closed != closed || x.First != first || x.Last != last {
				t.Errorf("closed %v, asked of %s: %+v", closed, k.Set, x)
			}
		}
		if x, err := w.Exchange(whole.key()); err != nil || len(x.Carries) != 0 || x.Closed ||
			x.First != (projections.TripKey{}) {
			t.Errorf("a set with its own sheet: %+v, %v", x, err)
		}
	}
}

// TestWhatASealCommitsTo: a code is held against the binding that was sealed;
// where that is none, against the code that was printed; where there is neither,
// against the list the set was packed by, if that is the one sealed.
func TestWhatASealCommitsTo(t *testing.T) {
	for _, x := range []struct {
		name    string
		with    func(seal *events.ListSealed)
		own     projections.Result // what the set's own sheet is told to be
		altered projections.Result // and one with other lines
	}{
		{"as it is", func(*events.ListSealed) {}, projections.ResultRight, projections.ResultAltered},
		{"half a binding", func(d *events.ListSealed) { d.Binding = d.Binding[:32] },
			projections.ResultRight, projections.ResultAltered},
		{"no digest at all", func(d *events.ListSealed) { d.Binding = "not hex" },
			projections.ResultRight, projections.ResultAltered},
		{"no binding", func(d *events.ListSealed) { d.Binding = "" }, projections.ResultRight, projections.ResultAltered},
		{"the list only", func(d *events.ListSealed) { d.Binding, d.ListDigest, d.Code = "", "", "" },
			projections.ResultRight, projections.ResultAltered},
		{"nothing", func(d *events.ListSealed) { *d = events.ListSealed{Placement: d.Placement} },
			projections.ResultRight, projections.ResultAltered},
		{"another version, by name", func(d *events.ListSealed) {
			d.Binding, d.ListDigest, d.Code, d.Version = "", "", "", 2
		}, projections.ResultUnknown, projections.ResultUnknown},
		{"another list, by name", func(d *events.ListSealed) {
			d.Binding, d.ListDigest, d.Code, d.List = "", "", "", "LAP-MINOR"
		}, projections.ResultUnknown, projections.ResultUnknown},
	} {
		for _, altered := range []bool{false, true} {
			s, turn := plain()
			x.with(turn.seal)
			want := x.own
			if altered {
				want = x.altered
				turn.open.Sheet.Code = sheetCode(s.pair().list, turn.set, turn.trip())
			}
			s.live(turn)
			tr := s.trace(t, len(s.all), turn.key())
			if got := tr.Readings[len(tr.Readings)-1].Result; got != want {
				t.Errorf("sealed with %s, altered %t: the sheet at the opening is %s, want %s", x.name, altered, got, want)
			}
		}
	}
}

// TestOwnerOfOneTripOfTwoSets: of two sets recorded with one trip, the sheet is
// that of the set it was sealed for, then of the one that was packed, then of
// the one that was seen; of equals, the first by name.
func TestOwnerOfOneTripOfTwoSets(t *testing.T) {
	l := plainList()
	trip := tripOf("B", 0)
	seen := func(s *story, set string) {
		s.tell("storage", clock(0, 12, 0), set, trip, &events.SetChecked{Place: "A4"})
	}
	packed := func(s *story, set string) {
		s.tell("packing-1", clock(0, 6, 0), set, trip, &events.SetPacked{List: l.List, Version: l.Version})
	}
	sealedFor := func(s *story, set string) { s.tell("packing-1", clock(0, 6, 5), set, trip, sealed(l, set, trip)) }
	for _, x := range []struct {
		name string
		with func(s *story)
		want string
		// Its content isn't what was sealed for the set; nothing was.
		forged, unbound bool
	}{
		{"both seen", func(s *story) { seen(s, "C"); seen(s, "B") }, "B", false, true},
		{"both seen, the other way round", func(s *story) { seen(s, "B"); seen(s, "C") }, "B", false, true},
		{"one packed", func(s *story) { seen(s, "B"); packed(s, "C") }, "C", true, true},
		{"the one packed that it was made for", func(s *story) { seen(s, "A"); packed(s, "B") }, "B", false, true},
		{"one sealed for another", func(s *story) { packed(s, "C"); sealedFor(s, "D") }, "D", true, false},
		{"sealed for both", func(s *story) { sealedFor(s, "A"); sealedFor(s, "B") }, "B", false, false},
		{"nobody", func(*story) {}, "", false, false},
	} {
		s := newStory()
		s.list("LAP-MAJOR", 3, 6, 2, 4)
		x.with(s)
		code, err := events.ParseSheetCode(sheetCode(l, "B", trip))
		if err != nil {
			t.Fatal(err)
		}
		o := s.world().Owner(&code)
		if o.Set != x.want || o.Forged != x.forged || o.Unbound != x.unbound {
			t.Errorf("%s: the sheet is %q's, forged %v, unbound %v; want %q, %v, %v",
				x.name, o.Set, o.Forged, o.Unbound, x.want, x.forged, x.unbound)
		}
	}
}

// TestOwnerOfTwoSeals: a sheet that a seal of its trip may have bound is not called
// another than was bound, in whatever order the seals came in.
func TestOwnerOfTwoSeals(t *testing.T) {
	l, trip := plainList(), tripOf("B", 0)
	bound := sealed(newStory().list("LAP-MINOR", 1, 6, 3, 4), "B", trip)
	open := &events.ListSealed{Placement: events.Outside, List: "LAP-LOST", Version: 1} // of a list that nobody knows
	code, err := events.ParseSheetCode(sheetCode(l, "B", trip))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		seals  []*events.ListSealed
		forged bool
	}{
		{[]*events.ListSealed{bound, open}, false},
		{[]*events.ListSealed{open, bound}, false},
		{[]*events.ListSealed{bound, bound}, true},
	} {
		s := newStory()
		for i, seal := range x.seals {
			s.tell("packing-1", clock(0, 6, i), "B", trip, seal)
		}
		if o := s.world().Owner(&code); o.Set != "B" || o.Forged != x.forged {
			t.Errorf("sealed as %s and %s: %+v", x.seals[0].List, x.seals[1].List, o)
		}
	}
}

func plainList() *events.ListIssued { return newStory().list("LAP-MAJOR", 3, 6, 2, 4) }
