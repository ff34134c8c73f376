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

func indicator(s *story, at time.Time, load, sterilizer, result string) {
	s.tell("sterilizer-2", at, load, "", &events.IndicatorRead{Load: load, Sterilizer: sterilizer, Result: result})
}

// A later run without a release takes back what an earlier one released, and its indicator covers the set as well.
func TestRunAgainWithoutRelease(t *testing.T) {
	s := newStory()
	x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
	s.live(x)
	s.tell("sterilizer-2", x.sterilizedAt().Add(2*time.Hour), x.set, x.trip(),
		&events.SetSterilized{Load: "S2-00-05", Sterilizer: "S2", Run: 5, Cycle: "dynamic-air-132", Result: "passed"})
	wantCodes(t, judge(t, s.world(), x.key()), projections.NotReleased)
	indicator(s, clock(2, 8, 0), x.run.Load, "S2", "negative")
	indicator(s, clock(2, 8, 5), "S2-00-05", "S2", "positive")
	v := judge(t, s.world(), x.key())
	wantCodes(t, v, projections.NotReleased, projections.LoadRecalled)
	for _, f := range v.Findings {
		if f.Code == projections.LoadRecalled && !strings.Contains(f.Says, "load S2-00-05") {
			t.Errorf("recalled because of another load: %s", f.Says)
		}
	}
	// A run that failed after a good one is a failed run; its indicator covers the set too.
	s = newStory()
	x = newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
	s.live(x)
	s.tell("sterilizer-1", x.sterilizedAt().Add(2*time.Hour), x.set, x.trip(),
		&events.SetSterilized{Load: "S1-00-05", Sterilizer: "S1", Run: 5, Cycle: "dynamic-air-132", Result: "failed"})
	indicator(s, clock(2, 8, 5), "S1-00-05", "S1", "positive")
	wantCodes(t, judge(t, s.world(), x.key()), projections.NotReleased, projections.LoadRecalled)
}

// Two sterilizers number their loads alike. The load of one is not placed by the run of the other.
func TestLoadsNumberedAlike(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 3, 6, 2, 4)
	run := func(set string, at time.Time, load, sterilizer string) projections.TripKey {
		x := newTurn(set, 0, l)
		x.run, x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil, nil
		s.live(x)
		s.tell("sterilizer-2", at, set, x.trip(), &events.SetSterilized{Load: load, Sterilizer: sterilizer, Run: 1,
			Cycle: "dynamic-air-132", Result: "passed", Released: true})
		return x.key()
	}
	run("LAP-001", clock(0, 8, 0), "L4", "S1")
	before := run("LAP-002", clock(1, 8, 0), "L2", "S2")
	run("LAP-003", clock(3, 8, 0), "L3", "S2")
	hit := run("LAP-004", clock(5, 8, 0), "L4", "S2")
	after := run("LAP-005", clock(5, 11, 0), "L5", "S2")
	indicator(s, clock(3, 10, 0), "L3", "S2", "negative")
	indicator(s, clock(5, 10, 0), "L4", "S2", "positive")
	w := s.world()
	wantCodes(t, judge(t, w, before))
	wantCodes(t, judge(t, w, hit), projections.LoadRecalled)
	wantCodes(t, judge(t, w, after), projections.LoadRecalled)
}

// TestUnprovedNegativeEndsNoRecall: a negative result whose control did not grow is no
// acceptable one, so a positive indicator reaches past it (CDC 2008, Table 12: since the
// last negative biological indicator).
func TestUnprovedNegativeEndsNoRecall(t *testing.T) {
	for control, want := range map[string][]projections.Code{"positive": nil, "": nil, "negative": {projections.LoadRecalled}} {
		s := newStory()
		l := s.list("LAP-MAJOR", 3, 6, 2, 4)
		x := newTurn("LAP-001", 0, l)
		x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
		s.live(x)
		y := newTurn("LAP-002", 3, l)
		y.check, y.open, y.first, y.final, y.closed = nil, nil, nil, nil, nil
		s.live(y)
		s.readBio(x, clock(1, 8, 0), "negative", control)
		s.readBio(y, clock(4, 8, 0), "positive", "positive")
		wantCodes(t, judge(t, s.world(), x.key()), want...)
		wantCodes(t, judge(t, s.world(), y.key()), projections.LoadRecalled)
	}
}

// TestTooSoonSettlesNothing: a negative result that was read before its cycle can have ended ends no recall and is no
// repeat, whether the run or the reading says when the cycle was started; of an empty one only the reading does.
func TestTooSoonSettlesNothing(t *testing.T) {
	for _, x := range []struct {
		started string // of the three repeated cycles, minutes before their indicators were read
		of      string // who says so
		minutes int64  // of incubation
		want    projections.Severity
	}{
		{"07:58", "reading", 0, projections.SeverityDoubtful},
		{"07:57", "reading", 0, projections.SeverityNoted},
		{"07:58", "run", 0, projections.SeverityDoubtful},
		{"07:57", "run", 0, projections.SeverityNoted},
		{"07:40", "reading", 20, projections.SeverityDoubtful},
		{"07:40", "reading", 17, projections.SeverityNoted},
		{"", "reading", 20, projections.SeverityNoted}, // nobody knows
	} {
		s := newStory()
		turns := loads(s, "np")
		for i := range 3 {
			started := ""
			if x.started != "" {
				started = fmt.Sprintf("2026-03-%02dT%s:00Z", 6+i, x.started)
			}
			load := fmt.Sprintf("S2-9%d", i)
			d := s.indicator(4+i, load, "negative").Event.Data.(*events.IndicatorRead)
			d.IncubatedMinutes = x.minutes
			if x.of == "reading" {
				d.Started = started
				continue
			}
			y := newTurn(fmt.Sprintf("SET-9%d", i), 4+i, turns[0].list)
			y.check, y.open, y.first, y.final, y.closed = nil, nil, nil, nil, nil
			y.day, y.run.Load, y.run.Started = 4+i, load, started
			s.live(y)
		}
		found := find(judge(t, s.world(), turns[1].key()), projections.LoadRecalled)
		if len(found) != 1 || found[0].Severity != x.want {
			t.Errorf("%+v: %v", x, found)
		}
	}
}

func TestOrderWithinATrip(t *testing.T) {
	type tells func(s *story, x *turn)
	for _, tt := range []struct {
		name string
		tell tells
		want []projections.Code
		says string
	}{
		{"packed again after the run, and opened", func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", clock(0, 13, 0), x.set, x.trip(), x.pack)
			s.tell("packing-1", clock(0, 13, 2), x.set, x.trip(), x.seal)
		}, []projections.Code{projections.LinkOutOfOrder}, "what was packed last was in no load"},
		{"packed again, and sterilized again", func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", clock(0, 13, 0), x.set, x.trip(), x.pack)
			s.tell("packing-1", clock(0, 13, 2), x.set, x.trip(), x.seal)
			again := *x.run
			again.Load, again.Run = "S2-00-07", 7
			s.tell("sterilizer-2", clock(0, 15, 0), x.set, x.trip(), &again)
		}, nil, ""},
		{"packed again, not opened yet", func(s *story, x *turn) {
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
			s.tell("packing-1", clock(0, 13, 0), x.set, x.trip(), x.pack)
			s.tell("packing-1", clock(0, 13, 2), x.set, x.trip(), x.seal)
		}, nil, ""},
		{"final count after the case was closed", func(s *story, x *turn) {
			final := x.final
			x.final = nil
			s.live(x)
			s.tell("or-3", clock(1, 10, 30), x.set, x.trip(), final)
		}, []projections.Code{projections.LinkOutOfOrder}, "before its"},
		{"closed again after that count", func(s *story, x *turn) {
			final := x.final
			x.final = nil
			s.live(x)
			s.tell("or-3", clock(1, 10, 30), x.set, x.trip(), final)
			s.tell("or-3", clock(1, 10, 40), x.ref, "", x.closed)
		}, nil, ""},
	} {
		s := newStory()
		x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
		tt.tell(s, x)
		v := judge(t, s.world(), x.key())
		t.Run(tt.name, func(t *testing.T) { wantCodes(t, v, tt.want...) })
		if tt.says != "" && (len(v.Findings) == 0 || !strings.Contains(v.Findings[0].Says, tt.says)) {
			t.Errorf("%s: does not say %q", tt.name, tt.says)
		}
	}
}

// A trip that goes on after the set's next one began: two trips of one set are open, also when the older one had been opened.
func TestTwoTripsAfterOpening(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 3, 6, 2, 4)
	x := newTurn("LAP-014", 0, l)
	s.live(x)
	next := tripOf("LAP-014", 1)
	s.tell("packing-1", clock(1, 7, 22), x.set, next, &events.SetPacked{List: l.List, Version: l.Version})
	w := s.world()
	older, newer := judge(t, w, x.key()), judge(t, w, projections.TripKey{Set: x.set, Trip: next})
	wantCodes(t, older, projections.TwoPlaces)
	wantCodes(t, newer, projections.TwoPlaces)
	for _, f := range older.Findings {
		if strings.Contains(f.Says, "without having been opened") {
			t.Errorf("it was opened: %s", f.Says)
		}
		if f.Other == nil || f.Other.Trip != next {
			t.Errorf("the older trip names %v", f.Other)
		}
	}
}

// Opened for a second case on the trip of the first, because the packing between them arrived late: nobody says that it was
// not packed again.
func TestOpenedBeforeItsPackingArrived(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 3, 6, 2, 4)
	x := newTurn("LAP-014", 0, l)
	s.live(x)
	s.tell("or-4", clock(3, 7, 0), x.set, x.trip(), &events.SetOpened{Case: "K-2"})
	v := judge(t, s.world(), x.key())
	if f := find(v, projections.NotReprocessed); len(f) != 1 || !strings.Contains(f[0].Says, "without being reprocessed") {
		t.Fatal(show(v))
	}
	s.tell("packing-1", clock(2, 6, 0), x.set, tripOf(x.set, 1), &events.SetPacked{List: l.List, Version: l.Version})
	v = judge(t, s.world(), x.key())
	if len(find(v, projections.NotReprocessed)) != 0 || len(find(v, projections.TwoPlaces)) != 1 {
		t.Error(show(v))
	}
}

// A place and a room are the same where they have the same name.
func TestCheckedInTheRoom(t *testing.T) {
	for room, want := range map[string][]projections.Code{"OR 3": nil, "or 3": nil, "OR 4": {projections.TwoPlaces}} {
		s := newStory()
		x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
		x.open.Room = room
		s.live(x)
		s.tell("cart-7", x.openedAt().Add(-30*time.Second), x.set, x.trip(), &events.SetChecked{Place: "OR 3"})
		t.Run(room, func(t *testing.T) { wantCodes(t, judge(t, s.world(), x.key()), want...) })
	}
}

// What a station observed in one second stands in the order in which it recorded it, whoever did it.
func TestOrderWithinASecond(t *testing.T) {
	for badge := range 12 {
		s := newStory()
		x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 3, 6, 2, 4))
		x.final.Counts[0].Counted = 7
		final, closed := x.final, x.closed
		x.final, x.closed = nil, nil
		s.live(x)
		// Ids have their random bits from the content, so they fall on either side.
		tell := func(name string, d events.Data) {
			f := s.tell("or-3", x.finalAt(), x.set, x.trip(), d)
			f.Event.ID = derivedID(x.finalAt(), name+string(rune('a'+badge)))
		}
		tell("added", &events.SetCounted{Case: x.ref, Stage: events.StageAdded, Sheet: "screen", Counter: "B-3310",
			Witness: "B-3322", Counts: []events.Count{{Line: 1, Counted: 1}}})
		tell("final", final)
		s.tell("or-3", x.closedAt(), x.ref, "", closed)
		wantCodes(t, judge(t, s.world(), x.key()))
	}
}

// wantCodes holds a verdict to its codes, each once, in any order.
func wantCodes(t *testing.T, v projections.Verdict, want ...projections.Code) {
	t.Helper()
	checkVerdict(t, v)
	got := make([]projections.Code, 0, len(v.Findings))
	for _, f := range v.Findings {
		got = append(got, f.Code)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("found %v, want %v: %s", got, want, show(v))
	}
}

// TestLatestOfTwoSteps: of two steps that belong before an opening and were observed
// after it, the later one is named.
func TestLatestOfTwoSteps(t *testing.T) {
	for _, test := range []struct {
		sealed, run string
		latest      events.Kind
	}{
		{"07:40", "08:30", events.KindSetSterilized},
		{"08:30", "07:40", events.KindListSealed},
	} {
		s, x := plain()
		seal, run := x.seal, x.run
		x.seal, x.run = nil, nil
		s.live(x)
		at := func(hour string) time.Time { return must(time.Parse("2006-01-02 15:04", "2026-03-03 "+hour)) }
		s.tell("packing-1", at(test.sealed), x.set, x.trip(), seal)
		s.tell("sterilizer-2", at(test.run), x.set, x.trip(), run)
		if !slices.ContainsFunc(find(judge(t, s.world(), x.key()), projections.LinkOutOfOrder), func(f projections.Finding) bool {
			d, ok := f.Detail.(*projections.OutOfOrder)
			return ok && d.Step == events.KindSetOpened && d.Before == test.latest
		}) {
			t.Errorf("sealed at %s and run at %s: %s is not told", test.sealed, test.run, test.latest)
		}
	}
}

// TestCountGoesWithItsOpening: a count whose trip a page named before the bench
// handed in belongs to the packing that its opening belongs to; one that says
// more than that stays where it says.
func TestCountGoesWithItsOpening(t *testing.T) {
	for _, tt := range []struct {
		name  string
		with  func(s *story, before, x *turn)
		moves bool
	}{
		{"as the page names it", func(*story, *turn, *turn) {}, true},
		{"counted by the sheet of the trip named", func(_ *story, before, x *turn) {
			x.first.Sheet,
				x.final.Sheet = own(before), own(before)
		}, false},
		{"opened in the trip named too", func(s *story, before, x *turn) {
			s.tell("or-3", x.openedAt(), x.set, before.trip(), x.open)
		}, false},
		{"opened for another case", func(_ *story, _, x *turn) { x.first.Case, x.final.Case = "K-9", "K-9" }, false},
		{"not opened", func(_ *story, _, x *turn) { x.open = nil }, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newStory()
			l := s.list("LIST-A", 1, 6, 2)
			before, x := newTurn("A", 0, l), newTurn("A", 1, l)
			s.live(before)
			tt.with(s, before, x)
			from := len(s.all)
			s.live(x)
			for i := from; i < len(s.all); i++ {
				switch e := s.all[i].Event; e.Kind() {
				case events.KindSetCounted:
					e.Trip = before.trip()
				case events.KindSetOpened:
					e.Trip = ""
				}
			}
			w := s.world()
			moved := len(w.Trip(x.key()).Counted) == 2 && len(w.Trip(before.key()).Counted) == 2
			stayed := len(w.Trip(x.key()).Counted) == 0 && len(w.Trip(before.key()).Counted) == 4
			if moved != tt.moves || stayed == tt.moves {
				t.Errorf("%d counts in the trip named, %d in the one after", len(w.Trip(before.key()).Counted),
					len(w.Trip(x.key()).Counted))
			}
			if v := judge(t, w, x.key()); tt.moves && v.Status != projections.Whole {
				t.Errorf("the trip is %s", show(v))
			}
			for i := from; i < len(s.all); i++ {
				if e := s.all[i].Event; e.Kind() == events.KindSetCounted && (w.Resolve(s.all[i]) == x.key()) != tt.moves {
					t.Errorf("the count of %s is of %v", e.Time, w.Resolve(s.all[i]))
				}
			}
		})
	}
}

// TestCountBeforeAnyPacking: a count of a room whose clock is days behind stays in
// the trip that it names, though what was opened then belongs to none.
func TestCountBeforeAnyPacking(t *testing.T) {
	s, x := plain()
	x.first.Sheet = "screen"
	s.tell("packing-1", clock(5, 6, 0), x.set, x.trip(), x.pack)
	opened := s.tell("or-3", x.openedAt(), x.set, "", x.open)
	counted := s.tell("or-3", x.openedAt().Add(time.Minute), x.set, x.trip(), x.first)
	w := s.world()
	if of := w.Resolve(*opened); of.Trip != "" {
		t.Errorf("the opening before any packing is of %v", of)
	}
	if of := w.Resolve(*counted); of != x.key() || len(w.Trip(x.key()).Counted) != 1 {
		t.Errorf("the count is of %v", of)
	}
}
