package practise

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/simulate"
)

// incident is one of three sets, A and B of which were exchanged on a cart at noon, by the records between eleven and one.
func incident() *Incident {
	noon := time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)
	return &Incident{Cause: &Cause{}, Sets: []string{"A", "B", "C"}, Truth: Truth{
		Turns: []projections.TripKey{{Set: "B", Trip: "b"}, {Set: "A", Trip: "a"}, {Set: "A", Trip: "a2"}},
		At:    noon, Step: StepCart, Open: []Step{StepCart, StepStorage}, From: noon.Add(-time.Hour), To: noon.Add(time.Hour),
	}}
}

// TestMarkTouched: the others are those besides the set that was answered, each told with the sets it is about; where that set
// is none of them, one of them may be left out.
func TestMarkTouched(t *testing.T) {
	for _, x := range []struct {
		set     string
		touched []string
		why     Why
		sets    []string
	}{
		{"A", []string{"B"}, WhyRight, nil},
		{"A", []string{"A", "B"}, WhyRight, nil}, // itself besides
		{"B", []string{"A"}, WhyRight, nil},
		{"A", nil, WhyLess, []string{"B"}},
		{"A", []string{"B", "C"}, WhyMore, []string{"C"}},
		{"A", []string{"C"}, WhyMore, []string{"C"}},
		{"C", []string{"B"}, WhyRight, nil}, // A is the one that C stands for
		{"C", nil, WhyLess, []string{"A", "B"}},
		{"", []string{"A"}, WhyRight, nil},
	} {
		m := incident().markTouched(Answer{Set: x.set, Touched: x.touched})
		if m.Part != PartTouched || m.Why != x.why || !reflect.DeepEqual(m.Sets, x.sets) {
			t.Errorf("%s and %q: %+v", x.set, x.touched, m)
		}
	}
	alone := incident()
	alone.Truth.Turns = alone.Truth.Turns[1:]
	for _, x := range []struct {
		set     string
		touched []string
		why     Why
	}{
		{"A", nil, WhyRight}, {"C", nil, WhyRight}, {"C", []string{"A"}, WhyRight}, {"A", []string{"B"}, WhyMore},
	} {
		if m := alone.markTouched(Answer{Set: x.set, Touched: x.touched}); m.Why != x.why {
			t.Errorf("one set alone, %s and %q: %+v", x.set, x.touched, m)
		}
	}
}

// TestMarkOthers: the other parts, to the second.
func TestMarkOthers(t *testing.T) {
	if want := 3 * time.Minute; Slack != want { // the default policy lets clocks differ by two
		t.Errorf("slack %s, want %s", Slack, want)
	}
	in := incident()
	for _, x := range []struct {
		from, to time.Duration // after noon
		why      Why
	}{
		{-time.Hour, time.Hour, WhyRight},
		{0, 0, WhyRight},
		{Slack, Slack, WhyRight}, {-Slack, -Slack, WhyRight},
		{Slack + 1, Slack + 1, WhyBeside}, {-Slack - 1, -Slack - 1, WhyBeside},
		{-time.Hour - Slack, time.Hour + Slack, WhyRight},
		{-time.Hour - Slack - 1, time.Hour, WhyWide}, {-time.Hour, time.Hour + Slack + 1, WhyWide},
		{1, 0, WhyBackwards},
	} {
		if m := in.markWindow(Answer{From: in.Truth.At.Add(x.from), To: in.Truth.At.Add(x.to)}); m.Why != x.why || m.Part != PartWindow {
			t.Errorf("from %s to %s: %+v, want %s", x.from, x.to, m, x.why)
		}
	}
	for _, a := range []Answer{{}, {From: in.Truth.At}, {To: in.Truth.At}} {
		if m := in.markWindow(a); m.Why != WhyNothing {
			t.Errorf("%+v: %+v", a, m)
		}
	}
	for step, why := range map[Step]Why{"": WhyNothing, StepCart: WhyRight, StepStorage: WhyOpen, StepRoom: WhyOther} {
		m := in.Mark(Answer{Step: step})[1]
		if m.Part != PartStep || m.Why != why || m.Right != (why == WhyRight || why == WhyOpen) {
			t.Errorf("%s: %+v", step, m)
		}
	}
	for set, why := range map[string]Why{"": WhyNothing, "A": WhyRight, "B": WhyRight, "C": WhyUntouched, "D": WhyUnknown} {
		m := in.markSet(Answer{Set: set})
		if m.Why != why || (set == "") != (m.Sets == nil) || set != "" && m.Sets[0] != set {
			t.Errorf("%s: %+v", set, m)
		}
	}
	if ms := in.Mark(Answer{Set: "A", Step: StepStorage, From: in.Truth.At, To: in.Truth.At, Touched: []string{"B"}}); !Passed(ms) ||
		len(ms) != len(Parts()) {
		t.Errorf("%+v", ms)
	}
}

// TestPlantedAlone: a week is one of a cause if that happened, at its step, and nothing else that could be found.
func TestPlantedAlone(t *testing.T) {
	noon := incident().Truth.At
	a := func() *simulate.Trip {
		c := &simulate.Case{Ref: "K", Room: "practice/or-1"}
		return &simulate.Trip{Set: "A", ID: "a", Case: c, Stays: []simulate.Stay{{Place: "cart 1", From: noon, To: noon}}}
	}
	lost := Cause{Happens: string(simulate.SheetLost), Step: StepCart}
	week := func() *simulate.Week {
		x := a()
		return &simulate.Week{Trips: []*simulate.Trip{x}, Faults: []*simulate.Fault{{
			Kind: simulate.SheetLost, At: noon, Place: "cart 1", Trips: []*simulate.Trip{x}}}}
	}
	truth := lost.planted(week())
	if truth == nil || truth.Step != StepCart || !truth.At.Equal(noon) || len(truth.Turns) != 1 || truth.Turns[0].Trip != "a" {
		t.Fatalf("%+v", truth)
	}
	for what, change := range map[string]func(*simulate.Week){
		"nothing":       func(w *simulate.Week) { w.Faults = nil },
		"another":       func(w *simulate.Week) { w.Faults[0].Kind = simulate.Altered },
		"another place": func(w *simulate.Week) { w.Faults[0].Place = "shelf 1" },
		"two":           func(w *simulate.Week) { w.Faults = append(w.Faults, w.Faults[0]) },
		"heavy":         func(w *simulate.Week) { w.Trips[0].Heavy = true },
		"wet":           func(w *simulate.Week) { w.Trips[0].Wet = true },
		"bare":          func(w *simulate.Week) { w.Trips[0].Bare = true },
		"alone":         func(w *simulate.Week) { w.Trips[0].Alone = true },
		"early":         func(w *simulate.Week) { w.Trips[0].Early = simulate.EarlyLate },
		"anew":          func(w *simulate.Week) { w.Trips[0].Anew = simulate.AnewRun },
		"aside":         func(w *simulate.Week) { w.Trips[0].Aside = simulate.AsideUsed },
		"gone":          func(w *simulate.Week) { w.Trips[0].Back = &simulate.Back{Kind: simulate.BackGone} },
		"closed again":  func(w *simulate.Week) { w.Trips[0].Shut = simulate.ShutInside },
	} {
		w := week()
		if change(w); lost.planted(w) != nil {
			t.Errorf("with %s it is still taken", what)
		}
	}
	for what, change := range map[string]func(*simulate.Week){
		"put aside and released": func(w *simulate.Week) { w.Trips[0].Aside = simulate.AsideReleased },
		"got a piece":            func(w *simulate.Week) { w.Trips[0].Back = &simulate.Back{Kind: simulate.BackGot} },
		"took a piece":           func(w *simulate.Week) { w.Trips[0].Back = &simulate.Back{Kind: simulate.BackTook} },
	} {
		w := week()
		if change(w); lost.planted(w) == nil {
			t.Errorf("with one that was %s it is not taken", what)
		}
	}
}

// TestCountAt: what goes wrong with a count happened when that count was made, of that set, in that case and stage.
func TestCountAt(t *testing.T) {
	noon := incident().Truth.At
	w := &simulate.Week{}
	minute := 0
	for _, set := range []string{"B", "A"} {
		for _, ref := range []string{"J", "K"} {
			for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
				minute++
				d := &events.SetCounted{Case: ref, Stage: stage}
				w.Records = append(w.Records, simulate.Record{Observation: events.Observation{Set: set, Data: d},
					Event: &events.Event{Time: noon.Add(time.Duration(minute) * time.Minute), Data: d}})
			}
		}
	}
	f := &simulate.Fault{At: noon, Case: &simulate.Case{Ref: "K"}, Trips: []*simulate.Trip{{Set: "A"}}}
	for kind, want := range map[simulate.FaultKind]int{simulate.Miscounted: 7, simulate.Misplaced: 8, simulate.LineOmitted: 8} {
		f.Kind = kind
		if got := countAt(w, f).Sub(noon); got != time.Duration(want)*time.Minute {
			t.Errorf("%s: at %s", kind, got)
		}
	}
	miscounted := Cause{Happens: string(simulate.Miscounted)}
	f.Kind, f.Place, w.Faults = simulate.Miscounted, "practice/or-1", []*simulate.Fault{f}
	if truth := miscounted.planted(w); truth == nil || truth.At.Sub(noon) != 7*time.Minute || truth.Step != StepRoom {
		t.Errorf("planted: %+v", truth)
	}
	f.Case = &simulate.Case{Ref: "L"}
	if got := countAt(w, f); !got.Equal(noon) {
		t.Errorf("never counted: %s", got)
	}
}

// TestTimes: a finding's own times; where it has none, from the turn's record before the first that shows it to that one.
func TestTimes(t *testing.T) {
	in := incident()
	noon := in.Truth.At
	for i, x := range []struct{ set, trip string }{{"A", "a0"}, {"A", ""}, {"", "a"}, {"B", "b"}, {"A", "a"}, {"A", "a"}, {"A", "a"}} {
		in.Records = append(in.Records, simulate.Record{Observation: events.Observation{Set: x.set},
			Event: &events.Event{ID: string(rune('0' + i)), Trip: x.trip, Time: noon.Add(time.Duration(i) * time.Minute)}})
	}
	c := Clue{Of: projections.TripKey{Set: "A", Trip: "a"}}
	for _, x := range []struct {
		records  []string
		from, to int
	}{
		{[]string{"5"}, 4, 5}, {[]string{"6", "5"}, 4, 5}, {[]string{"4"}, 2, 4}, {[]string{"2"}, 1, 2}, {[]string{"1"}, 0, 1},
		{[]string{"0"}, 0, 0}, // there is none before it
	} {
		c.Records = x.records
		from, to := in.times(&c)
		if from.Sub(noon) != time.Duration(x.from)*time.Minute || to.Sub(noon) != time.Duration(x.to)*time.Minute {
			t.Errorf("shown by %q: from %s to %s", x.records, from.Sub(noon), to.Sub(noon))
		}
	}
	c.Finding.From, c.Finding.To = noon.Add(-time.Hour), noon.Add(time.Hour)
	if from, to := in.times(&c); from != c.Finding.From || to != c.Finding.To {
		t.Errorf("of the finding: %s %s", from, to)
	}
}

// TestWindow: an incident can be answered if its times hold what happened, and leave as few steps open as its cause says.
func TestWindow(t *testing.T) {
	in := incident()
	noon := in.Truth.At
	stays := func(minute int, places ...string) (out []simulate.Stay) {
		for _, p := range places {
			from := noon.Add(time.Duration(minute) * time.Minute)
			out = append(out, simulate.Stay{Place: p, From: from, To: from.Add(30 * time.Minute)})
			minute += 30
		}
		return out
	}
	for _, x := range []struct {
		what     string
		from, to time.Duration
		stays    []simulate.Stay
		step     Step
		open     []Step
		fits     bool
	}{
		{"on the cart", -1, 1, stays(-20, "cart 1", "practice/or-1"), StepCart, []Step{StepCart}, true},
		{"both", -1, 11 * time.Minute, stays(-20, "cart 1", "practice/or-1"), StepCart, []Step{StepCart, StepRoom}, true},
		{"up to the move", -1, 10 * time.Minute, stays(-20, "cart 1", "practice/or-1"), StepCart, []Step{StepCart, StepRoom}, true},
		{"from the move on", 0, 1, stays(-30, "cart 1", "practice/or-1"), StepRoom, []Step{StepRoom}, true},
		{"slack after", Slack, time.Hour, stays(0, "cart 1"), StepCart, []Step{StepCart}, true},
		{"slack before", -time.Hour, -Slack, stays(-30, "cart 1"), StepCart, []Step{StepCart}, true},
		{"too late", Slack + 1, time.Hour, stays(0, "cart 1"), StepCart, nil, false},
		{"too early", -time.Hour, -Slack - 1, stays(-30, "cart 1"), StepCart, nil, false},
		{"elsewhere", -1, 1, stays(-20, "shelf 1"), StepCart, []Step{StepStorage}, false},
		{"three steps", -1, time.Hour, stays(-20, "shelf 1", "cart 1", "practice/or-1"), StepCart,
			[]Step{StepStorage, StepCart, StepRoom}, true},
		{"four", -1, 2 * time.Hour, stays(-20, "load 1", "shelf 1", "cart 1", "practice/or-1"), StepCart,
			[]Step{StepSterilizing, StepStorage, StepCart, StepRoom}, false},
		{"the way back", -1, 1, stays(-20, "practice/or-1"), StepReturn, []Step{StepRoom, StepReturn}, true},
	} {
		c := Clue{Of: in.Truth.Turns[0]}
		c.Finding.From, c.Finding.To = noon.Add(x.from), noon.Add(x.to)
		in.Truth.Clues, in.Truth.Step, in.Truth.Open, in.Truth.From, in.Truth.To = []Clue{c}, x.step, nil, time.Time{}, time.Time{}
		week := &simulate.Week{Trips: []*simulate.Trip{
			{Set: "B", ID: "b", Placement: events.Outside, Stays: x.stays},
			{Set: "C", ID: "c", Placement: events.Outside, Stays: stays(-20, "practice/packing-1")}, // of which nothing is said
		}}
		fits := in.window(week)
		if fits != x.fits || x.open != nil && !reflect.DeepEqual(in.Truth.Open, x.open) {
			t.Errorf("%s: %v, open %s", x.what, fits, in.Truth.Open)
		}
	}
}

// TestJudgedAlone: a week in which another set has something that weighs is none to practise with, nor one of which nothing is
// found.
func TestJudgedAlone(t *testing.T) {
	cs, err := Read([]byte(`{"causes":[{"id":"lost","rates":{"Lost":0.1},"happens":"lost","found":["sheet-absent"],
		"words":{"en":{"name":"Gone.","teaches":"looking"}}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	c := &cs.Causes[0]
	h := c.hospital(1)
	h.Read, h.Scan = 1, 1
	two, one := false, false
	for n := range 20 {
		week := h.Week(n)
		if len(week.Faults) == 0 {
			continue
		}
		judged := func(turns []projections.TripKey, found projections.Code, named bool) bool {
			c := *c
			c.Found, c.Named, c.Open = []projections.Code{found}, named, len(Steps())
			in := &Incident{Cause: &c, Records: append(h.Setup(), week.Records...), Truth: Truth{Turns: turns}}
			in.Truth.At, in.Truth.Step = week.Faults[0].At, stepOf(week.Faults[0].Place)
			fits, err := in.judge(week)
			if err != nil {
				t.Fatal(err)
			}
			return fits
		}
		turns := keys(week.Faults[0].Trips)
		if len(week.Faults) > 1 && judged(turns, "sheet-absent", false) {
			t.Errorf("week %d: taken, though another one is found", n)
		}
		two = two || len(week.Faults) > 1
		if len(week.Faults) > 1 || !judged(turns, "sheet-absent", false) {
			continue
		}
		one = true
		if judged(turns, projections.TooHeavy, false) || judged(turns, projections.TooHeavy, true) {
			t.Errorf("week %d: taken, though nothing of it is found", n)
		}
		for _, x := range week.Trips { // to which nothing happened
			if len(x.Faults) == 0 {
				turns = append(turns, keys([]*simulate.Trip{x})...)
				break
			}
		}
		if judged(turns, "sheet-absent", false) || !judged(turns, "sheet-absent", true) {
			t.Errorf("week %d: of one of two turns nothing is found, which only a cause may that names the others", n)
		}
	}
	if !one || !two {
		t.Errorf("weeks in which one was lost: %v, two: %v", one, two)
	}
}

// TestPlantedBack: what became of a piece happened after the case, to both sets of which it is; a set that was closed again
// had that happen when the record of it says.
func TestPlantedBack(t *testing.T) {
	noon := incident().Truth.At
	c := &simulate.Case{Ref: "K", Room: "practice/or-1"}
	stays := []simulate.Stay{{Place: "shelf 1", From: noon.Add(-2 * time.Hour)}, {Place: c.Room, From: noon, To: noon.Add(time.Hour)}}
	a := &simulate.Trip{Set: "A", ID: "a", Case: c, Stays: stays, Sealed: noon.Add(-time.Hour)}
	b := &simulate.Trip{Set: "B", ID: "b", Case: c, Stays: stays}
	w := &simulate.Week{Trips: []*simulate.Trip{a, b}}
	for _, other := range []*simulate.Trip{nil, b} {
		a.Back = &simulate.Back{Kind: simulate.BackGone, Other: other}
		if other != nil {
			a.Back.Kind, b.Back = simulate.BackStrayed, &simulate.Back{Kind: simulate.BackTook, Other: a}
		}
		back := Cause{Happens: string(a.Back.Kind)}
		truth := back.planted(w)
		if truth == nil || truth.Step != StepReturn || !truth.At.Equal(noon.Add(time.Hour)) ||
			(len(truth.Touched()) == 2) != (other != nil) {
			t.Errorf("%s: %+v", a.Back.Kind, truth)
		}
	}
	a.Back, b.Back, a.Shut = nil, nil, simulate.ShutInside
	for i, x := range []struct {
		trip string
		data events.Data
		at   time.Duration // after it was sealed
	}{
		{"a", &events.ListSealed{}, 0}, {"a", &events.SetOpened{}, time.Hour}, {"b", &events.ListSealed{}, time.Hour},
		{"a", &events.ListSealed{}, Slack}, {"a", &events.ListSealed{}, Slack + 1},
	} {
		shut := Cause{Happens: string(simulate.ShutInside)}
		w.Records = append([]simulate.Record{{Observation: events.Observation{Data: x.data, Kind: x.data.Kind()},
			Event: &events.Event{Trip: x.trip, Time: a.Sealed.Add(x.at)}}}, w.Records...)
		truth := shut.planted(w)
		if i < 4 && truth != nil {
			t.Errorf("%d: taken for closed again at %s", i, truth.At)
		}
		if i == 4 && (truth == nil || !truth.At.Equal(a.Sealed.Add(x.at)) || truth.Place != "shelf 1" || truth.Step != StepStorage) {
			t.Errorf("closed again: %+v", truth)
		}
	}
}

// TestInClosed: what was packed lies in a closed set, a label never does, a count sheet where it was laid inside.
func TestInClosed(t *testing.T) {
	for kind, want := range map[simulate.FaultKind][2]bool{ // with the sheet outside, inside
		simulate.PieceShort: {true, true}, simulate.Mispacked: {true, true},
		simulate.LabelSwap: {false, false}, simulate.HolderSwap: {false, false}, simulate.SwapOfTwo: {false, true},
	} {
		c := Cause{Happens: string(kind)}
		for i, p := range []events.Placement{events.Outside, events.InsideBag} {
			if got := c.inClosed(&simulate.Trip{Placement: p}); got != want[i] {
				t.Errorf("%s, %s: %v", kind, p, got)
			}
		}
	}
	all := Happenings()
	for i, k := range all {
		if slices.Contains(all[:i], k) {
			t.Errorf("%s is listed twice", k)
		}
	}
	for k, want := range map[simulate.BackKind]bool{
		simulate.BackTook: false, simulate.BackGot: false, simulate.BackReplaced: false,
		simulate.BackStrayed: true, simulate.BackFound: true,
	} {
		if slices.Contains(all, string(k)) != want {
			t.Errorf("%s can happen: %v", k, !want)
		}
	}
}
