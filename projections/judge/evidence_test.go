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

// evidence is what the planted cases (findingTests) name besides their words:
// between which moments it happened, on which lines, with which other set, and
// which records show it. Trips are packed on Monday the 2nd and opened on
// Tuesday, at the times in story_test.go.
var evidence = []struct {
	code projections.Code
	name string
	want string
}{
	{projections.SealDiffers, "another number",
		"from 02 06:14 to 03 07:12; list.sealed 02 06:14, set.opened 03 07:12"},
	{projections.SealDiffers, "the number of a seal that was replaced",
		"from 02 12:00 to 03 07:12; set.opened 03 07:12, list.sealed 02 12:00"},
	{projections.SealDiffers, "a broken seal",
		"from 02 06:14 to 02 12:00; list.sealed 02 06:14, set.checked 02 12:00"},
	{projections.LinkMissing, "never sterilized",
		"from none to 03 07:12; set.opened 03 07:12"},
	{projections.LinkMissing, "used and packed again without a count",
		"from none to 03 07:12; set.opened 03 07:12"},
	{projections.LinkOutOfOrder, "sealed long after the sterilizer",
		"from 02 08:02 to 02 08:04; set.sterilized 02 08:02, list.sealed 02 08:04"},
	{projections.LinkOutOfOrder, "opened in one room under two references",
		"from 03 07:12 to 03 07:15; set.opened 03 07:12, set.opened 03 07:15"},
	{projections.LinkOutOfOrder, "counted for another case",
		"from 03 07:12 to 03 07:20; set.opened 03 07:12, set.counted first 03 07:20"},
	{projections.TwoPlaces, "two stations within a minute",
		"from 02 12:00 to 02 12:00; set.checked 02 12:00, set.checked 02 12:00"},
	{projections.TwoPlaces, "two places of storage, told by two stations",
		"from 02 12:00 to 02 12:00; set.checked 02 12:00, set.checked 02 12:00"},
	{projections.TwoPlaces, "one station is one place",
		"from 02 12:00 to 02 12:00; set.checked 02 12:00, set.checked 02 12:00"},
	{projections.TwoPlaces, "packed again unopened",
		"from 02 12:00 to 05 06:11; set.packed 05 06:11"},
	{projections.TwoPlaces, "packed again unopened, and the older trip seen after",
		"from 05 06:11 to 07 09:00; other LAP-014; set.packed 05 06:11, set.checked 07 09:00"},
	{projections.NotReleased, "opened from an unreleased load",
		"from none to 03 07:12; set.sterilized 02 08:02, set.opened 03 07:12"},
	{projections.NotReleased, "released only after it was opened",
		"from none to 03 07:12; set.opened 03 07:12"},
	{projections.LinkOutOfOrder, "packed again after its run",
		"from 02 08:02 to 02 10:00; set.sterilized 02 08:02, set.opened 03 07:12, set.packed 02 10:00"},
	{projections.NotReleased, "a failed run",
		"from 02 08:02 to 02 08:02; set.sterilized 02 08:02"},
	{projections.NotReleased, "a cycle the list does not allow",
		"from 02 08:02 to 02 08:02; list.issued 01 05:03, set.sterilized 02 08:02"},
	{projections.NotReleased, "the indicator inside did not change",
		"from none to 03 07:12; set.opened 03 07:12"},
	{projections.LoadRecalled, "a positive indicator",
		"from none to 02 08:02; set.sterilized 02 08:02, indicator.read 03 08:00"},
	{projections.ListSuperseded, "packed by an old version",
		"from 02 06:00 to 02 06:11; lines [3]; set.packed 02 06:11, list.issued 02 06:00"},
	{projections.ListSuperseded, "sealed when a new version was out",
		"from 02 06:12 to 02 06:14; list.sealed 02 06:14, list.issued 02 06:12"},
	{projections.ListSuperseded, "sealed by the version it was packed by, both old",
		"from 02 06:00 to 02 06:11; lines [3]; set.packed 02 06:11, list.issued 02 06:00"},
	{projections.ListSuperseded, "a version nobody issued",
		"from none to none; set.packed 02 06:11"},
	{projections.CountedOnWrongList, "counted against another set's sheet",
		"from 03 07:20 to 03 07:20; lines [2]; other LAP-022; set.counted first 03 07:20"},
	{projections.CountedOnWrongList, "counted against a sheet of other content",
		"from 03 07:20 to 03 07:20; set.counted first 03 07:20"},
	{projections.CountDiffersAtOpen, "one fewer than packed",
		"from 02 06:11 to 03 07:20; lines [1]; set.packed 02 06:11, set.counted first 03 07:20"},
	{projections.CountShort, "one short at the end",
		"from 03 07:20 to 03 09:30; lines [3]; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountShort, "an added piece not seen again",
		"from 03 07:20 to 03 09:30; lines [2]; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountShort, "short before closing, right at the end",
		"from 03 09:00 to 03 09:00; lines [1]; set.counted final 03 09:30, set.counted closing 03 09:00"},
	{projections.CountShort, "short before closing, and no final count",
		"from 03 07:20 to 03 09:00; lines [1]; set.counted first 03 07:20, set.counted closing 03 09:00"},
	{projections.CountShort, "a piece in another line of its item",
		"from 03 07:20 to 03 09:30; lines [1 2]; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountOver, "one over at the end",
		"from 03 07:20 to 03 09:30; lines [1]; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountOver, "something on no line of the list",
		"from 03 07:20 to 03 09:30; lines [77]; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountMissing, "a line left out of the final count",
		"from 03 09:30 to 03 09:30; lines [3]; set.counted final 03 09:30"},
	{projections.CountMissing, "a piece that came after the final count",
		"from 03 09:30 to 03 09:35; lines [1]; set.counted final 03 09:30, set.counted added 03 09:35"},
	{projections.CountMissing, "no final count though the case is closed",
		"from 03 07:12 to 03 09:40; set.opened 03 07:12, case.closed 03 09:40"},
	{projections.CountMissing, "a final count without a first",
		"from 03 07:12 to 03 09:30; set.opened 03 07:12, set.counted final 03 09:30"},
	{projections.CountOnePerson, "nobody beside the counter",
		"from 03 07:20 to 03 09:30; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountOnePerson, "nobody beside the first counter, two people at the end",
		"from 03 07:20 to 03 07:20; set.counted first 03 07:20, set.counted final 03 09:30"},
	{projections.CountOnePerson, "one badge in both roles",
		"from 03 09:30 to 03 09:30; set.counted final 03 09:30"},
	{projections.ClosedUnreconciled, "closed with one short",
		"from 03 09:40 to 03 09:40; set.counted final 03 09:30, case.closed 03 09:40"},
	{projections.ClosedUnreconciled, "closed as unreconciled",
		"from 03 09:40 to 03 09:40; case.closed 03 09:40"},
	{projections.StationGap, "a hole in a station's numbers",
		"from 02 12:00 to 02 12:00; set.checked 02 12:00"},
	{projections.SignatureBad, "a signature that does not verify",
		"from 03 09:40 to 03 09:40; case.closed 03 09:40"},
	{projections.SignatureBad, "not canonical",
		"from 03 07:12 to 03 07:12; set.opened 03 07:12"},
	{projections.ClockDoubtful, "observed later than recorded",
		"from 02 06:11 to 02 06:11; set.packed 02 06:11"},
	{projections.ClockDoubtful, "a clock that ran backwards",
		"from 02 06:11 to 02 06:11; set.packed 02 06:11"},
	{projections.RecordUnread, "a kind nobody knows",
		"from 03 08:00 to 03 08:00; 03 08:00"},
	{projections.RecordUnread, "a correction that can't be read",
		"from none to none; set.opened 03 07:12, event.corrected 03 12:00"},
}

// TestEvidence: a finding names the records that show it, and no longer time
// than these leave open.
func TestEvidence(t *testing.T) {
	tried := 0
	for _, planted := range findingTests {
		for _, x := range evidence {
			if x.code != planted.code || x.name != planted.name {
				continue
			}
			tried++
			s, turn := plain()
			planted.with(s, turn)
			fs := find(judge(t, s.world(), turn.key()), x.code)
			if len(fs) == 0 {
				t.Errorf("%s, %s: not found", x.code, x.name)
				continue
			}
			if got := s.evidence(fs[0]); got != x.want {
				t.Errorf("%s, %s:\n got %s\nwant %s", x.code, x.name, got, x.want)
			}
		}
	}
	if tried != len(evidence) {
		t.Errorf("%d of %d cases are planted", tried, len(evidence))
	}
}

// evidence writes down what a finding names.
func (s *story) evidence(f projections.Finding) string {
	moment := func(at time.Time) string {
		if at.IsZero() {
			return "none"
		}
		return at.Format("02 15:04")
	}
	out := fmt.Sprintf("from %s to %s", moment(f.From), moment(f.To))
	if len(f.Lines) > 0 {
		out += fmt.Sprintf("; lines %v", f.Lines)
	}
	if f.Other != nil {
		out += "; other " + f.Other.Set
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
		name string
		with func(seal *events.ListSealed)
		want projections.Result
	}{
		{"as it is", func(*events.ListSealed) {}, projections.ResultRight},
		{"half a binding", func(d *events.ListSealed) { d.Binding = d.Binding[:32] }, projections.ResultRight},
		{"no digest at all", func(d *events.ListSealed) { d.Binding = "not hex" }, projections.ResultRight},
		{"no binding", func(d *events.ListSealed) { d.Binding = "" }, projections.ResultRight},
		{"the list only", func(d *events.ListSealed) { d.Binding, d.ListDigest, d.Code = "", "", "" },
			projections.ResultRight},
		{"nothing", func(d *events.ListSealed) { *d = events.ListSealed{Placement: d.Placement} }, projections.ResultRight},
		{"another version, by name", func(d *events.ListSealed) {
			d.Binding, d.ListDigest, d.Code, d.Version = "", "", "", 2
		}, projections.ResultUnknown},
		{"another list, by name", func(d *events.ListSealed) {
			d.Binding, d.ListDigest, d.Code, d.List = "", "", "", "LAP-MINOR"
		}, projections.ResultUnknown},
	} {
		s, turn := plain()
		x.with(turn.seal)
		s.live(turn)
		tr := s.trace(t, len(s.all), turn.key())
		if got := tr.Readings[len(tr.Readings)-1].Result; got != x.want {
			t.Errorf("sealed with %s: the sheet at the opening is %s, want %s", x.name, got, x.want)
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
		own  bool // its content was sealed for the set
	}{
		{"both seen", func(s *story) { seen(s, "C"); seen(s, "B") }, "B", false},
		{"both seen, the other way round", func(s *story) { seen(s, "B"); seen(s, "C") }, "B", false},
		{"one packed", func(s *story) { seen(s, "B"); packed(s, "C") }, "C", false},
		{"one sealed for another", func(s *story) { packed(s, "C"); sealedFor(s, "D") }, "D", false},
		{"sealed for both", func(s *story) { sealedFor(s, "A"); sealedFor(s, "B") }, "B", true},
		{"nobody", func(*story) {}, "", false},
	} {
		s := newStory()
		s.lists[l.List] = l
		x.with(s)
		code, err := events.ParseSheetCode(sheetCode(l, "B", trip))
		if err != nil {
			t.Fatal(err)
		}
		k, own := s.world().Owner(&code)
		if k.Set != x.want || own != x.own {
			t.Errorf("%s: the sheet is %q's, sealed for it: %v; want %q, %v", x.name, k.Set, own, x.want, x.own)
		}
	}
}

func plainList() *events.ListIssued { return newStory().list("LAP-MAJOR", 3, 6, 2, 4) }
