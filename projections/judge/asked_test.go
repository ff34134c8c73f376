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

// TestAskedOfSource holds questions to what a World asks its Source for them: a
// set is packed thousands of times, and nothing may depend on how often.
func TestAskedOfSource(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	var turns []*turn
	for n := range 9 {
		x := newTurn("A", n, l)
		s.live(x)
		turns = append(turns, x)
	}
	void := turns[3].packedAt()
	for i := range s.all {
		if e := s.all[i].Event; e.Kind() == events.KindSetPacked && e.Time.Equal(void) {
			f := s.all[i]
			s.correct(&f, clock(9, 7, 0), nil)
		}
	}
	other := newTurn("B", 0, l)
	other.open.Sheet.Code = own(turns[4])
	s.live(other)
	late := slices.Clone(s.all) // some packings were recorded after all else
	for i := range late {
		if e := late[i].Event; e.Kind() == events.KindSetPacked && (e.Trip == turns[2].trip() || e.Trip == turns[5].trip()) {
			late[i].Recorded = clock(90, 0, 0)
		}
	}
	s.tell("storage", clock(13, 12, 0), "A", "", &events.SetChecked{Place: "cart"})
	looked := s.all
	s.all = s.all[:len(s.all)-1]
	judged := func(n int) func(*World) error {
		return func(w *World) error { return second(w.Judge(turns[n].key())) }
	}
	at := func(moments ...time.Time) func(*World) error {
		return func(w *World) error {
			for _, m := range moments {
				if _, err := w.TripAt("A", m); err != nil {
					return err
				}
			}
			return nil
		}
	}
	var out strings.Builder
	for _, x := range []struct {
		name string
		all  []facts.Fact
		ask  func(w *World) error
	}{
		{"the first turn", s.all, judged(0)},
		{"a turn in the middle, whose sheet is elsewhere", s.all, judged(4)},
		{"the last turn", s.all, judged(8)},
		{"a turn that was taken back", s.all, judged(3)},
		{"another set", s.all, func(w *World) error { return second(w.Judge(other.key())) }},
		{"the trip at moments between the same two packings", s.all, at(clock(13, 0, 0), clock(14, 0, 0), turns[4].packedAt())},
		{"the trip at moments on both sides of a packing", s.all, at(turns[4].packedAt().Add(-1),
			turns[4].packedAt(), turns[5].packedAt())},
		{"the trip before any packing, and after all", s.all, at(clock(-5, 0, 0), clock(-4, 0, 0), clock(80, 0, 0), clock(81, 0, 0))},
		{"the trip near packings recorded later", late, at(clock(7, 0, 0), clock(14, 0, 0))},
		{"a turn near packings recorded later", late, judged(3)},
		{"a load", s.all, func(w *World) error { return second(w.History(projections.HistoryOf{Load: turns[2].run.Load})) }},
		{"a case", s.all, func(w *World) error { return second(w.CaseStanding(turns[2].ref)) }},
		{"the trip at moments before and after a look between two packings", looked, at(clock(13, 0, 0), clock(14, 0, 0))},
		{"a station", s.all, func(w *World) error { return second(w.JudgeStation(events.Station{Name: "north/or-3"})) }},
	} {
		src := &shelf{all: x.all}
		w := NewWorld(facts.AsKnownAt(src, clock(60, 0, 0)))
		w.Least = 1
		if err := x.ask(w); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&out, "# %s\n", x.name)
		var asked []string
		for k, n := range src.asked {
			q := s.short(fmt.Sprintf("%s %s", k.Dim, k.Key))
			if n > 1 {
				q += fmt.Sprintf(", %d times", n)
			}
			asked = append(asked, q)
		}
		slices.Sort(asked)
		fmt.Fprintf(&out, "%s\nholds %d facts\n", strings.Join(asked, "\n"), w.Len())
	}
	golden(t, "source.txt", out.String())
}

// TestKnownAt: as known at a moment there are as many packings around another as
// were asked for, where that many had been recorded.
func TestKnownAt(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	for n := range 10 {
		x := newTurn("A", n, l)
		f := s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack)
		if n == 3 || n == 4 || n == 5 {
			f.Recorded = clock(90, 0, 0)
		}
	}
	for n := 1; n <= 4; n++ {
		for day := -1; day < 30; day++ {
			at := clock(day, 12, 0)
			got, err := facts.AsKnownAt(&shelf{all: s.all}, clock(60, 0, 0)).Around("A", at, n)
			if err != nil {
				t.Fatal(err)
			}
			var sides, all [2]int
			count := func(fs []facts.Fact, of *[2]int) {
				for _, f := range fs {
					if f.Event.Kind() == events.KindSetPacked && !f.Recorded.After(clock(60, 0, 0)) {
						if f.Event.Time.After(at) {
							of[1]++
						} else {
							of[0]++
						}
					}
				}
			}
			count(got, &sides)
			count(s.all, &all)
			if sides[0] < min(n, all[0]) || sides[1] < min(n, all[1]) {
				t.Errorf("%d around day %d: %v of %v", n, day, sides, all)
			}
			for _, f := range got {
				if f.Recorded.After(clock(60, 0, 0)) {
					t.Errorf("day %d: a packing recorded later", day)
				}
			}
		}
	}
}

// TestIssued: the versions of a list in force, in the order in which they were
// issued; of one issued twice, the first.
func TestIssued(t *testing.T) {
	s := newStory()
	s.listAt(clock(2, 0, 0), "LIST-A", 2, 6, 3)
	s.listAt(clock(1, 0, 0), "LIST-A", 1, 6, 2)
	s.listAt(clock(3, 0, 0), "LIST-A", 1, 6, 4)
	s.listAt(clock(1, 0, 0), "LIST-B", 1, 6)
	s.listAt(clock(4, 0, 0), "LIST-A", 3, 6, 5)
	s.correct(s.last(events.KindListIssued), clock(5, 0, 0), nil)
	got, err := s.world().Issued("LIST-A")
	var versions []string
	for _, x := range got {
		versions = append(versions, fmt.Sprintf("%d of %d", x.List.Version, x.List.Lines[1].Quantity))
	}
	if want := []string{"1 of 2", "2 of 3"}; err != nil || !slices.Equal(versions, want) {
		t.Errorf("%q, %v", versions, err)
	}
}
