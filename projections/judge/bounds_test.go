package judge

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestBeside holds stories that lie just on one side of what a rule asks to the
// findings that they have.
func TestBeside(t *testing.T) {
	p := events.DefaultPolicy()
	stillRead := p.MayStillRead()
	// unread tells a turn that was opened without its sheet being read, and counted
	// by the screen; later comes what was looked at some time after.
	unread := func(s *story, x *turn, after time.Duration, later *events.SetChecked) {
		x.open.Sheet, x.first.Sheet = nil, "screen"
		s.live(x)
		s.tell("or-3", x.openedAt().Add(after), x.set, x.trip(), later)
	}
	// alone tells a turn whose first counter was alone, with a policy for the time
	// after in which that is allowed.
	alone := func(s *story, x *turn) {
		x.first.Witness = ""
		p := events.DefaultPolicy()
		p.TwoPersons = false
		s.tell("ledger", x.firstAt().Add(time.Minute), "north", "", &events.PolicyAdopted{Policy: p})
	}
	for _, tt := range []struct {
		name string
		tell func(s *story, x *turn)
		want string
	}{
		{"opened unread, its sheet read at the last moment for it", func(s *story, x *turn) {
			unread(s, x, stillRead, &events.SetChecked{Place: "or-3", Sheet: outside(own(x))})
		}, "link-missing:noted"},
		{"opened unread, its sheet read a moment too late", func(s *story, x *turn) {
			unread(s, x, stillRead+1, &events.SetChecked{Place: "or-3", Sheet: outside(own(x))})
		}, "link-missing:broken"},
		{"opened unread, then found without a sheet", func(s *story, x *turn) {
			unread(s, x, time.Minute, &events.SetChecked{Place: "or-3", Sheet: none()})
		}, "sheet-absent:broken link-missing:broken"},
		{"opened unread, then its sheet read with the tag of another", func(s *story, x *turn) {
			unread(s, x, time.Minute, &events.SetChecked{Place: "or-3", Tag: "LAP-022", Sheet: outside(own(x))})
		}, "sheet-swapped:broken link-missing:broken"},
		{"a lone first count, and a lone last one where that is allowed", func(s *story, x *turn) {
			alone(s, x)
			x.final.Witness = ""
			s.live(x)
		}, "count-one-person:doubtful"},
		{"a lone first count, and a last one with one badge where that is allowed", func(s *story, x *turn) {
			alone(s, x)
			x.final.Witness = x.final.Counter
			s.live(x)
		}, "count-one-person:doubtful"},
		{"a lone last count, and two people at a change after it", func(s *story, x *turn) {
			x.final.Witness = ""
			s.live(x)
			s.count(x, events.StageRelief, 9, 35, countAll(x.list)...)
		}, "count-one-person:doubtful"},
		{"a lone count at a change after the last one by two people", func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageRelief, 9, 35, countAll(x.list)...).Event.Data.(*events.SetCounted).Witness = ""
		}, "count-one-person:doubtful"},
		{"counted for another case more than a day after the opening, nothing closed", func(s *story, x *turn) {
			other := *x.first // made by nobody for its own case: two first counts hours apart are two uses
			x.first, x.final, x.closed = nil, nil, nil
			s.live(x)
			other.Case = "K-OTHER"
			s.tell("or-3", x.openedAt().Add(longestCase+1), x.set, x.trip(), &other)
		}, "not-reprocessed:broken"},
		{"counted for another case a day after the opening, nothing closed", func(s *story, x *turn) {
			other := *x.first
			x.first, x.final, x.closed = nil, nil, nil
			s.live(x)
			other.Case = "K-OTHER"
			s.tell("or-3", x.openedAt().Add(longestCase), x.set, x.trip(), &other)
		}, "link-out-of-order:doubtful"},
		{"counted by the sheet of its turn before", func(s *story, x *turn) {
			s.live(x)
			next := newTurn(x.set, 1, x.list)
			next.first.Sheet = own(x)
			s.live(next)
			*x = *next
		}, "counted-on-wrong-list:broken"},
		{"used for a second case, and packed again after it", func(s *story, x *turn) {
			s.live(x)
			s.secondCase(x)
			s.tell("packing-1", clock(9, 6, 0), x.set, tripOf(x.set, 1), x.pack)
		}, "not-reprocessed:broken"},
		{"opened for a second case after it was packed again", func(s *story, x *turn) {
			s.live(x)
			s.tell("packing-1", clock(1, 12, 0), x.set, tripOf(x.set, 1), x.pack)
			s.opened(x, clock(1, 17, 12), "K-OTHER")
		}, "two-places:doubtful count-missing:doubtful"},
		{"put aside, run again as it was, and used", func(s *story, x *turn) {
			s.live(x)
			s.checked(x, time.Minute, &events.SetChecked{Place: "storage A4", Aside: events.AsidePut, Reason: "recall"})
			s.runAt(x, clock(0, 18, 0))
		}, "put-aside:broken"},
		{"put aside, packed and run again, and used", func(s *story, x *turn) {
			s.live(x)
			s.checked(x, time.Minute, &events.SetChecked{Place: "storage A4", Aside: events.AsidePut, Reason: "recall"})
			s.tell("packing-1", clock(0, 16, 0), x.set, x.trip(), x.pack)
			s.runAt(x, clock(0, 18, 0))
		}, ""},
		{"a closing with a correction that can't be read", func(s *story, x *turn) {
			s.live(x)
			s.correct(s.last(events.KindCaseClosed), clock(2, 8, 0), x.closed).Event.Data.(*events.EventCorrected).Data = []byte(`[]`)
		}, "record-unread:noted"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s, x := plain()
			tt.tell(s, x)
			if v := judge(t, s.world(), x.key()); codes(v) != tt.want {
				t.Errorf("%s, want %s: %s", codes(v), tt.want, show(v))
			}
		})
	}
}

// TestOpenedForTwoAroundAPacking: two openings minutes apart for two cases are a
// slip of the pen, unless the set was packed again between them.
func TestOpenedForTwoAroundAPacking(t *testing.T) {
	for _, tt := range []struct {
		name   string
		packed time.Duration // after the first opening
		want   int
	}{
		{"packed again before both", -time.Hour, 1}, {"between them", time.Minute, 0}, {"after both", time.Hour, 1},
	} {
		s, x := plain()
		x.first, x.final, x.closed = nil, nil, nil
		s.live(x)
		f := s.opened(x, x.openedAt().Add(2*time.Minute), "K-OTHER")
		f.Event.Station = "north/or-3"
		s.tell("packing-1", x.openedAt().Add(tt.packed), x.set, tripOf(x.set, 1), x.pack)
		n := 0
		for _, f := range find(judge(t, s.world(), x.key()), projections.LinkOutOfOrder) {
			if _, ok := f.Detail.(*projections.OpenedForTwo); ok {
				n++
			}
		}
		if n != tt.want {
			t.Errorf("%s: opened for two cases %d times, want %d", tt.name, n, tt.want)
		}
	}
}

// TestUncountedBesideUnaccounted: a line that nobody counted at the end is open
// although another line of its set is short: what it had too few of before lies in
// another set.
func TestUncountedBesideUnaccounted(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 2, 4)
	a, b := newTurn("A", 0, l), newTurn("B", 0, l).forCase("K-A-0")
	b.final.Counts[0].Counted = 7
	final := a.final
	a.final, final.Counts = nil, []events.Count{{Line: 2, Counted: 1}, {Line: 3, Counted: 4}}
	s.live(b)
	s.live(a)
	s.count(a, events.StageCavity, 8, 0, events.Count{Line: 1, Counted: 5}, events.Count{Line: 2, Counted: 2},
		events.Count{Line: 3, Counted: 4})
	s.tell("or-3", a.finalAt(), "A", a.trip(), final)
	fs := find(judge(t, s.world(), a.key()), projections.ClosedUnreconciled)
	if len(fs) != 1 {
		t.Fatalf("%+v", fs)
	}
	d := fs[0].Detail.(*projections.ClosedOpen)
	if len(d.Unaccounted) != 1 || d.Unaccounted[0].Line != 2 || len(d.Uncounted) != 1 || d.Uncounted[0].Line != 1 {
		t.Errorf("unaccounted %+v, uncounted %+v, want line 2 and line 1", d.Unaccounted, d.Uncounted)
	}
}

// TestCountAfterTheClosing: what was not counted when a case was closed stays so, whatever a final count of the next day says.
func TestCountAfterTheClosing(t *testing.T) {
	s := newStory()
	a := newTurn("A", 0, s.list("LAP-MAJOR", 1, 6, 2, 4))
	a.final.Counts = a.final.Counts[:2]
	s.live(a)
	s.count(a, events.StageFinal, 34, 0, events.Count{Line: 1, Counted: 6}, events.Count{Line: 2, Counted: 2},
		events.Count{Line: 3, Counted: 4})
	fs := find(judge(t, s.world(), a.key()), projections.ClosedUnreconciled)
	if len(fs) != 1 {
		t.Fatalf("%+v", fs)
	}
	if d := fs[0].Detail.(*projections.ClosedOpen); len(d.Uncounted) != 1 || d.Uncounted[0].Line != 3 {
		t.Errorf("uncounted %+v, want line 3", d.Uncounted)
	}
}

// TestCorrectedIsOneRecord: a correction does not multiply what it corrects.
func TestCorrectedIsOneRecord(t *testing.T) {
	s, x := plain()
	s.live(x)
	closing := *s.last(events.KindCaseClosed)
	s.last(events.KindCaseClosed).Remarks = events.RemarkGap
	for i, actions := range [][]string{{"searched"}, {"searched", "x-ray taken"}} {
		s.correct(&closing, clock(2, 8+i, 0), &events.CaseClosed{Case: x.ref, Outcome: "reconciled", Actions: actions})
	}
	fs := find(judge(t, s.world(), x.key()), projections.StationGap)
	if len(fs) != 1 || fs[0].Detail.(*projections.Remarked).Records != 1 {
		t.Errorf("%+v, want one record", fs)
	}
	s, x = plain()
	s.live(x.unused())
	y := s.pair()
	s.live(y.unused())
	seen := &events.SetChecked{Place: "storage A4", Sheet: outside(own(x))}
	read := s.tell("storage", clock(0, 15, 0), y.set, y.trip(), seen)
	for i, place := range []string{"storage A5", "storage A6"} {
		put := *seen
		put.Place = place
		s.correct(read, clock(2, 8+i, 0), &put)
	}
	if its := s.world().SheetFacts(x.key()); len(its) != 1 {
		t.Errorf("the sheet was read %d times, want once", len(its))
	}
}

// TestMeets: both ends of a question belong to it.
func TestMeets(t *testing.T) {
	of := facts.Ask{Dim: facts.DimSet, Key: "A", From: 10, To: 20}
	for _, tt := range []struct {
		dim      facts.Dim
		key      string
		from, to int64
		want     bool
	}{
		{facts.DimSet, "A", 20, 30, true}, {facts.DimSet, "A", 21, 30, false},
		{facts.DimSet, "A", 0, 10, true}, {facts.DimSet, "A", 0, 9, false},
		{facts.DimSet, "A", 12, 13, true}, {facts.DimSet, "A", facts.Ever, facts.After, true},
		{facts.DimSet, "B", 12, 13, false}, {facts.DimCase, "A", 12, 13, false},
	} {
		if x := (facts.Ask{Dim: tt.dim, Key: tt.key, From: tt.from, To: tt.to}); of.Meets(x) != tt.want || x.Meets(of) != tt.want {
			t.Errorf("%v meets %v: %t and %t, want %t", of, x, of.Meets(x), x.Meets(of), tt.want)
		}
	}
}

// TestRowOfCorrections: corrections of corrections count as far as they are
// followed; a longer row, which only a forger makes, must not hang anything.
func TestRowOfCorrections(t *testing.T) {
	for n := 1; n <= 19; n++ {
		s, x := plain()
		s.live(x)
		f := *s.last(events.KindSetOpened)
		for i := range n {
			f = *s.correct(&f, clock(2, 8, i), nil)
			f.Event.Trip = "" // as of one that can't be told from what it names
		}
		kept := verdicts(t, worldOf(s.all[:len(s.all)-1]))
		w := s.world()
		touch, err := w.Touched(f)
		if err != nil {
			t.Fatal(err)
		}
		now := show(judge(t, w, x.key()))
		if n <= 17 {
			if odd := n%2 == 1; odd == judge(t, w, x.key()).Opened {
				t.Errorf("opened %t after %d corrections", !odd, n)
			}
			if len(touch.Trips) != 1 || w.Resolve(f) != x.key() {
				t.Errorf("correction %d touches %v and is of %v, want the trip", n, touch.Trips, w.Resolve(f))
			}
			if !slices.ContainsFunc(touch.Asked, func(a facts.Ask) bool { return a.Dim == facts.DimCase && a.Key == x.ref }) {
				t.Errorf("correction %d touches %v, want the opening's case among it", n, touch.Asked)
			}
		} else if w.Resolve(f) != (projections.TripKey{}) {
			t.Errorf("correction %d is of %v", n, w.Resolve(f))
		}
		if len(touch.Trips) == 0 && kept[x.key()] != now {
			t.Errorf("correction %d touches nothing and changes the verdict", n)
		}
	}
	// Two that name each other, without a trip.
	s, x := plain()
	s.live(x)
	a := *s.correct(s.last(events.KindSetOpened), clock(2, 8, 0), nil)
	b := *s.correct(&a, clock(2, 9, 0), nil)
	a.Event.Data.(*events.EventCorrected).Event = b.Event.ID
	a.Event.Trip, b.Event.Trip = "", ""
	if k := s.world().Resolve(b); k != (projections.TripKey{}) {
		t.Errorf("a ring of corrections is of %v", k)
	}
}

// TestTripsOfASetInParts: a set's trips are found out of a Source that has seen
// only some of them asked for.
func TestTripsOfASetInParts(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	var packs []facts.Fact
	for n := range 10 {
		x := newTurn("A", n, l)
		packs = append(packs, *s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack))
	}
	s.correct(&packs[6], clock(40, 0, 0), nil)
	s.tell("storage", clock(18, 12, 0), "A", "", &events.SetChecked{Place: "cart"}) // after the packing taken back
	parts := sparing(&shelf{all: s.all})
	got := parts.TripsOf("A", []projections.TripKey{key("A", 7)}) // whose packing is the next one
	if !slices.Contains(got, key("A", 5)) {
		t.Errorf("a look after a packing that was taken back: %s, want #5 among them", s.names(got))
	}
	inCase, x := plain()
	inCase.live(x)
	if its := sparing(&shelf{all: inCase.all}).CaseFacts(x.ref); len(its) != 4 {
		t.Errorf("%d facts of a case, want its opening, two counts and closing", len(its))
	}
	// A look that was recorded before the packing that it follows.
	s = newStory()
	s.tell("storage", clock(0, 12, 0), "A", "", &events.SetChecked{Place: "cart"})
	s.tell("packing-1", clock(0, 6, 0), "A", tripOf("A", 0), &events.SetPacked{List: "LIST-A", Version: 1}).Recorded = clock(5, 0, 0)
	then := sparing(facts.AsKnownAt(&shelf{all: s.all}, clock(1, 0, 0)))
	if got := then.TripsOf("A", []projections.TripKey{key("A", 0)}); s.names(got) != "A before any packing" {
		t.Errorf("as known before the packing was recorded: %q", s.names(got))
	}
}

// names names trips as the test told them.
func (s *story) names(ks []projections.TripKey) string {
	var out []string
	for _, k := range ks {
		out = append(out, k.Set+" "+s.short(k.Trip))
		if k.Trip == "" {
			out[len(out)-1] = k.Set + " before any packing"
		}
	}
	return strings.Join(out, ", ")
}

// TestTripAtAfterCorrections: TripAt asks again where corrections took back the
// packings that it rested on.
func TestTripAtAfterCorrections(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	var packs []facts.Fact
	for n := range 7 {
		x := newTurn("A", n, l)
		packs = append(packs, *s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack))
	}
	src := &shelf{all: s.all}
	w := sparing(src)
	if got := must(w.TripAt("A", clock(30, 0, 0))); got != tripOf("A", 6) {
		t.Fatalf("the last trip is %s", s.short(got))
	}
	for n := 1; n < 7; n++ {
		w.Add(*s.correct(&packs[n], clock(30, n, 0), nil))
	}
	src.all = s.all
	if got := must(w.TripAt("A", clock(30, 0, 0))); got != tripOf("A", 0) {
		t.Errorf("with all others taken back the last trip is %q", s.short(got))
	}
}

// TestLate: what the ledger took later than clocks may differ is shown as late.
func TestLate(t *testing.T) {
	tolerance := facts.Seconds(events.DefaultPolicy().ClockToleranceSeconds)
	for _, tt := range []struct {
		after time.Duration
		want  bool
	}{{time.Second, false}, {tolerance, false}, {tolerance + 1, true}} {
		s, x := plain()
		s.live(x)
		f := s.last(events.KindSetOpened)
		f.Recorded = f.Event.Time.Add(tt.after)
		for _, e := range must(s.world().History(projections.HistoryOf{Set: x.set})).Events {
			if want := tt.want && e.Seq == f.Seq; e.Late != want {
				t.Errorf("the opening recorded %s after it: %s is late %t, want %t", tt.after, e.Kind, e.Late, want)
			}
		}
	}
}

// TestNoLinksAskedFor: where a policy asks for no link, a trip is whole once it is over.
func TestNoLinksAskedFor(t *testing.T) {
	s, x := plain()
	s.policy(func(p *events.Policy) { p.Links = nil })
	x.open, x.first, x.final, x.closed = nil, nil, nil, nil
	s.live(x)
	if v := judge(t, s.world(), x.key()); v.Status != projections.Open {
		t.Errorf("in storage it is %s: %s", v.Status, show(v))
	}
	s.live(newTurn(x.set, 1, x.list))
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Errorf("packed again it is %s: %s", v.Status, show(v))
	}
}

// TestKeptUntilAFact: what was derived is derived once, until a fact is added, and
// no more of it is kept than some thousands.
func TestKeptUntilAFact(t *testing.T) {
	const most = 4096
	s, x := plain()
	s.live(x)
	b := facts.NewBook(nil)
	var c facts.Cache[int, int]
	built := 0
	ask := func(n int) { c.Get(b, n, func() int { built++; return n }) }
	for _, step := range []struct {
		name     string
		from, to int
		built    int
	}{
		{"as many as are kept", 0, most, most},
		{"the same", 0, most, 0},
		{"one more", most, most + 1, 1},
		{"the first, once there were too many", 0, 1, 1},
		{"and again", 0, 1, 0},
	} {
		built = 0
		for n := step.from; n < step.to; n++ {
			ask(n)
		}
		if built != step.built {
			t.Errorf("%s: %d were built, want %d", step.name, built, step.built)
		}
	}
	b.Add(s.all[0])
	built = 0
	if ask(0); built != 1 {
		t.Errorf("after a fact was added %d were built", built)
	}
}
