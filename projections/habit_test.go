package projections_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// opening is a verdict on a set that was opened at a station without what details say being read.
func opening(set, room string, at time.Time, details ...projections.Detail) projections.Verdict {
	v := projections.Verdict{Set: set, Trip: set, Opened: true, Over: true, Since: at}
	m := projections.Moment{Seq: int64(len(set)) + at.Unix(), At: at, Place: projections.Place{Name: room}}
	for _, d := range details {
		f := projections.Finding{Severity: projections.SeverityDoubtful, Way: d.Way(), Detail: d, To: at}
		switch d := d.(type) {
		case *projections.TagNotRead:
			f.Code, d.At = projections.TagUnread, m
		case *projections.OpenedUnread:
			f.Code, f.Severity, d.At = projections.LinkMissing, projections.SeverityBroken, m
		case *projections.IndicatorUnseen:
			f.Code, d.At = projections.IndicatorNotSeen, m
		case *projections.Unaccounted:
			f.Code, v.Case = projections.CountShort, "K-1"
		case *projections.AnotherSetsSheet:
			f.Code = projections.SheetSwapped
		}
		v.Findings = append(v.Findings, f)
	}
	v.Status = projections.StatusOf(v.Findings, projections.Whole)
	return v
}

// inBerlin is the calendar of a site there at a moment.
func inBerlin(t *testing.T, now time.Time) projections.Calendar {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return projections.Calendar{Zone: zone, Now: now}
}

// TestHabits: what was not read at the openings of a room in a week is one incident, whatever it was and of however many
// sets; in many rooms it is one of the house, which is found by each room's name for it too.
func TestHabits(t *testing.T) {
	monday := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	sunday := time.Date(2026, 3, 8, 23, 30, 0, 0, time.UTC) // Monday in Berlin
	tag := func() projections.Detail { return &projections.TagNotRead{} }
	sheet := func() projections.Detail { return &projections.OpenedUnread{} }
	in := func(vs ...projections.Verdict) []projections.Incident {
		return projections.Incidents(partsOf(vs...), inBerlin(t, monday.Add(time.Hour)))
	}
	three := []projections.Verdict{
		opening("A", "north/or-1", monday, tag()), opening("B", "north/or-1", monday.AddDate(0, 0, 6), sheet()),
		opening("C", "north/or-2", monday, tag(), sheet()), opening("D", "north/or-3", monday, &projections.IndicatorUnseen{}),
		opening("E", "south/or-4", monday, tag()), opening("F", "north/or-1", sunday, tag()),
	}
	rooms := func(ins []projections.Incident) (out []string) {
		for i := range ins {
			h := ins[i].Habit
			if h == nil || ins[i].Kind != "unread" || len(h.Unread) == 0 {
				t.Fatalf("%+v", ins[i])
			}
			out = append(out, h.Week+" "+strings.Join(h.Rooms, " "))
		}
		slices.Sort(out)
		return out
	}
	first := in(three...)
	if got, want := rooms(first), []string{"2026-03-02 north/or-1", "2026-03-02 north/or-2", "2026-03-02 north/or-3",
		"2026-03-02 south/or-4", "2026-03-09 north/or-1"}; !slices.Equal(got, want) {
		t.Errorf("habits of %q, want %q", got, want)
	}
	all := in(append(three, opening("G", "north/or-5", monday.AddDate(0, 0, 1), tag()))...)
	if got, want := rooms(all), []string{"2026-03-02 north/or-1 north/or-2 north/or-3 north/or-5",
		"2026-03-02 south/or-4", "2026-03-09 north/or-1"}; !slices.Equal(got, want) {
		t.Errorf("with a fourth room, habits of %q, want %q", got, want)
	}
	for i := range first {
		if !slices.ContainsFunc(all, func(x projections.Incident) bool { return x.Is(first[i].Key) }) {
			t.Errorf("the habit of %q is not found by its name any more", first[i].Habit.Rooms)
		}
	}
}

// TestHabitIsNothingElse: what was not read belongs to the question whose sheet lies where, if the set has one; any other
// finding stands where it always did.
func TestHabitIsNothingElse(t *testing.T) {
	monday := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	kinds := func(v projections.Verdict) (out []string) {
		for _, in := range grouped(partsOf(v)) {
			out = append(out, in.Kind)
		}
		slices.Sort(out)
		return out
	}
	tag := &projections.TagNotRead{}
	for _, tt := range []struct {
		with projections.Detail
		want []string
	}{
		{&projections.OpenedUnread{}, []string{"unread"}},
		{&projections.Unaccounted{Here: 1}, []string{"case", "unread"}},
		{&projections.AnotherSetsSheet{Set: "A"}, []string{"sheet"}},
	} {
		if got := kinds(opening("A", "north/or-1", monday, tag, tt.with)); !slices.Equal(got, tt.want) {
			t.Errorf("with %T: %q, want %q", tt.with, got, tt.want)
		}
	}
}

// TestHabitEnds: somebody can do something about a habit until its week is over where the site is; it is closed like any
// other incident, and the next opening at which nobody reads opens it again.
func TestHabitEnds(t *testing.T) {
	monday := time.Date(2026, 3, 23, 8, 0, 0, 0, time.UTC) // clocks go forward on Sunday
	end := time.Date(2026, 3, 29, 22, 0, 0, 0, time.UTC)
	v := opening("A", "north/or-1", monday, &projections.TagNotRead{})
	over := short("B", "B", "K-2", 1)
	for now, acts := range map[time.Time]bool{{}: true, monday: true, end.Add(-1): true, end: false} {
		ins := projections.Incidents(partsOf(v, over), inBerlin(t, now))
		n := slices.IndexFunc(ins, func(in projections.Incident) bool { return in.Kind == "unread" })
		if got := ins[n].CanAct; got != acts || (n == 0) != acts {
			t.Errorf("at %s somebody can act %v, in row %d", now, got, n)
		}
		if h := ins[n].Habit; !h.Until.Equal(end) {
			t.Errorf("its week ends at %s", h.Until)
		}
	}
	in := grouped(partsOf(v))[0]
	v.Handled = []projections.Handled{{Code: projections.TagUnread, Step: events.IncidentClosed, Outcome: events.OutcomeFound,
		Covers: in.Marks, Time: monday.Add(time.Hour), Seq: 9}}
	if got := grouped(partsOf(v))[0].State; got != projections.IncidentClosed {
		t.Errorf("closed it is %s", got)
	}
	again := grouped(partsOf(v, opening("C", "north/or-1", monday.Add(2*time.Hour), &projections.TagNotRead{})))
	if len(again) != 1 || again[0].State != projections.IncidentReopened || again[0].Key != in.Key {
		t.Errorf("after the next one it is %+v", again)
	}
}
