package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"

	"pgregory.net/rapid"
)

// upTo tells only a turn's first steps: 2 packed and sealed, 3 and in a load, 4
// and seen in storage, 5 and opened, 6 and counted first, 7 and last.
func (s *story) upTo(x *turn, steps int) {
	for i, forget := range []func(){
		2: func() { x.run = nil }, 3: func() { x.check = nil }, 4: func() { x.open = nil },
		5: func() { x.first = nil }, 6: func() { x.final = nil }, 7: func() { x.closed = nil },
	} {
		if i >= steps && forget != nil {
			forget()
		}
	}
	s.live(x)
}

// waits puts a policy with these waits in force.
func (s *story) waits(w events.Waits) {
	p := events.DefaultPolicy()
	p.Waits = w
	s.tell("ledger", clock(-1, 0, 0), "north", "", &events.PolicyAdopted{Policy: p})
}

// TestOverdueIsToldOnce: a case of three sets that nobody closed asks something
// of somebody once, and the other sets point there.
func TestOverdueIsToldOnce(t *testing.T) {
	tell := func(s *story) []*turn {
		turns := casework(s, []string{"LAP-014", "LAP-022", "LAP-031"}, [][]int64{{}, {}, {}}, nil)
		return turns
	}
	s := newStory()
	turns := tell(s)
	s.now = clock(5, 0, 0)
	w := s.world()
	for i, x := range turns {
		v := judge(t, w, x.key())
		fs := find(v, projections.Overdue)
		if len(fs) != 1 || fs[0].Way != "closing" {
			t.Fatalf("%s: %s", x.set, show(v))
		}
		want, status := projections.SeverityNoted, projections.Open
		if i == 0 {
			want, status = projections.SeverityDoubtful, projections.Doubtful
		}
		if d := fs[0].Detail.(*projections.CloseOverdue); fs[0].Severity != want || v.Status != status || (d.By == "LAP-014") == (i == 0) {
			t.Errorf("%s: %s", x.set, show(v))
		}
	}
	// Once a set of it is in use again, that says it, and only that.
	s = newStory()
	turns = tell(s)
	s.live(newTurn("LAP-031", 1, turns[0].list))
	s.now = clock(5, 0, 0)
	w = s.world()
	v := judge(t, w, turns[0].key())
	if fs := find(v, projections.LinkMissing); len(fs) != 1 || fs[0].Severity != projections.SeverityDoubtful || len(v.Findings) != 1 {
		t.Errorf("in use again: %s", show(v))
	}
}

// TestUntil: a verdict says until when it holds, and is another one from then on.
func TestUntil(t *testing.T) {
	s, x := plain()
	s.upTo(x, 6)
	s.now = x.firstAt()
	v := judge(t, s.world(), x.key())
	due := x.openedAt().Add(12 * time.Hour)
	if !v.Until.Equal(due) || v.Status != projections.Open {
		t.Fatalf("until %s, want %s: %s", v.Until, due, show(v))
	}
	s.now = due
	v = judge(t, s.world(), x.key())
	if want := x.firstAt().Add(12 * time.Hour); !v.Until.Equal(want) || v.Status != projections.Doubtful {
		t.Fatalf("until %s, want %s: %s", v.Until, want, show(v))
	}
	s.now = v.Until
	if v = judge(t, s.world(), x.key()); !v.Until.IsZero() || len(find(v, projections.Overdue)) != 2 {
		t.Fatalf("at last: until %s: %s", v.Until, show(v))
	}
	s, x = plain()
	s.live(x)
	s.now = x.closedAt()
	if v = judge(t, s.world(), x.key()); !v.Until.IsZero() {
		t.Errorf("a closed case waits until %s", v.Until)
	}
}

// TestSilentStation: a station that a policy expects to hear from.
func TestSilentStation(t *testing.T) {
	s := newStory()
	s.waits(events.Waits{Station: 24})
	st := events.Station{Name: "north/or-3", Count: 1, Time: clock(1, 9, 0)}
	silent := func(st events.Station, now time.Time) projections.Verdict {
		s.now = now
		return must(s.world().JudgeStation(st))
	}
	if v := silent(st, clock(2, 8, 59)); len(v.Findings) != 0 || !v.Until.Equal(clock(2, 9, 0)) {
		t.Errorf("a minute before: until %s: %s", v.Until, show(v))
	}
	v := silent(st, clock(2, 9, 0))
	if fs := find(v, projections.StationSilent); len(fs) != 1 || v.Status != projections.Doubtful || !fs[0].From.Equal(clock(2, 9, 0)) {
		t.Errorf("a day later: %s", show(v))
	}
	retired, never := st, st
	retired.Retired, never.Count = 12, 0
	for _, st := range []events.Station{retired, never, {Name: "north/ledger", Count: 3, Time: clock(1, 9, 0)}} {
		if v := silent(st, clock(90, 0, 0)); len(v.Findings) != 0 || !v.Until.IsZero() {
			t.Errorf("%+v: %s", st, show(v))
		}
	}
}

// TestMovingClock: judging anew only what had said that it holds until a moment
// that has passed, and what a fact touches, leaves at every moment what judging
// everything then gives. Facts come in any order while the clock goes on.
func TestMovingClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := shuffled(t, invent(t))
		steps := make([]time.Time, len(all))
		for i := range steps {
			steps[i] = clock(rapid.IntRange(-1, 14).Draw(t, "day"), rapid.IntRange(0, 23).Draw(t, "hour"), 0)
		}
		slices.SortFunc(steps, time.Time.Compare)
		live := NewWorld(nil)
		kept := make(map[projections.TripKey]projections.Verdict)
		rests := make(map[projections.TripKey][]facts.Ask)
		anew := func(keys []projections.TripKey) {
			for _, k := range keys {
				v, asks, err := live.JudgeAsking(k)
				if err != nil {
					t.Fatal(err)
				}
				kept[k], rests[k] = v, asks
			}
		}
		for i, f := range all {
			live.SetMoment(steps[i])
			var due []projections.TripKey
			for k, v := range kept {
				timed := slices.ContainsFunc(rests[k], func(a facts.Ask) bool { return a.Meets(facts.Passing(steps[i])) })
				if until := !v.Until.IsZero() && !v.Until.After(steps[i]); until != timed {
					t.Fatalf("%v holds until %s, and asked for %v", k, v.Until, rests[k])
				}
				if timed {
					due = append(due, k)
				}
			}
			anew(due)
			live.Add(f)
			touch, err := live.Touched(f)
			if err != nil {
				t.Fatal(err)
			}
			anew(touchedTrips(touch, rests))
		}
		rebuilt := worldOf(all)
		rebuilt.SetMoment(steps[len(steps)-1])
		for _, k := range rebuilt.Trips() {
			if got, want := show(kept[k]), show(must(rebuilt.Judge(k))); got != want || !kept[k].Until.Equal(must(rebuilt.Judge(k)).Until) {
				t.Fatalf("%v followed is\n%s\nrebuilt it is\n%s", k, got, want)
			}
		}
	})
}
