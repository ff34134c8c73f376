package judge

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// loads tells loads of sterilizer S2, one a day at noon, each with one set, and
// an indicator's result the next day: n negative, p positive, - none.
func loads(s *story, results string) []*turn {
	l := s.list("LAP-MAJOR", 1, 6)
	var turns []*turn
	for i, r := range results {
		x := newTurn(fmt.Sprintf("SET-%d", i), i, l)
		x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
		x.day = i
		x.run.Load = fmt.Sprintf("S2-%02d", i)
		s.live(x)
		turns = append(turns, x)
		switch r {
		case 'n':
			s.indicator(i+1, x.run.Load, "negative")
		case 'p':
			s.indicator(i+1, x.run.Load, "positive")
		}
	}
	return turns
}

// TestRecall: CDC, Guideline for Disinfection and Sterilization in Healthcare
// Facilities (2008), Table 12: a positive indicator reaches back to the last
// negative one, and on to the next; three repeat cycles decide. The letters
// below are the loads and the verdict on the set in each: B broken, D
// doubtful, n noted, - nothing.
func TestRecall(t *testing.T) {
	for _, test := range []struct {
		loads, repeat, all string
	}{
		{"nnnn", "----", "----"},
		{"n--p-", "-DDDD", "-BBBB"},
		{"-p", "DD", "BB"},
		{"n-p-n--", "-DDD---", "-BBB---"}, // forward to the next negative
		{"n-p-nn", "-DDD--", "-BBB--"},    // two of three repeated
		{"n-p-nnn", "-nnn---", "-BBB---"}, // all three negative: settled
		{"n-pnnpn", "-BB--B-", "-BB--B-"}, // the third repeat is positive
		{"n-pnnnp", "-nn---D", "-BB---B"}, // the fourth is no repeat any more
		{"npp", "-BB", "-BB"},
		{"n-p-p-n", "-BBBBB-", "-BBBBB-"},
	} {
		for _, recall := range []events.Recall{events.RecallRepeat, events.RecallAll} {
			want := test.repeat
			s := newStory()
			if recall == events.RecallAll {
				want = test.all
				p := events.DefaultPolicy()
				p.Recall = recall
				s.tell("ledger", clock(-1, 0, 0), "north", "", &events.PolicyAdopted{Policy: p})
			}
			turns := loads(s, test.loads)
			w := s.world()
			got := ""
			for _, x := range turns {
				worst := "-"
				for _, f := range find(judge(t, w, x.key()), projections.LoadRecalled) {
					if d := f.Detail.(*projections.Recalled); d.Settled && d.Negative != 3 {
						t.Errorf("%s: settled by %d negative results", test.loads, d.Negative)
					}
					if c := map[projections.Severity]string{projections.SeverityBroken: "B",
						projections.SeverityDoubtful: "D", projections.SeverityNoted: "n"}[f.Severity]; worst == "-" || c < worst {
						worst = c
					}
				}
				got += worst
			}
			if got != want {
				t.Errorf("%s under %s: %s, want %s", test.loads, recall, got, want)
			}
		}
	}
}

// TestRecallRestsOnTheLastGoodLoad: a set run again in another load is out of
// the recall of the first.
func TestRecallRestsOnTheLastGoodLoad(t *testing.T) {
	s := newStory()
	turns := loads(s, "n-p-n")
	x := turns[2]
	if len(find(judge(t, s.world(), x.key()), projections.LoadRecalled)) != 1 {
		t.Fatal("not recalled to begin with")
	}
	again := *x.run
	again.Load = "S2-04"
	s.tell("sterilizer-2", clock(4, 8, 30), x.set, x.trip(), &again)
	if v := judge(t, s.world(), x.key()); len(find(v, projections.LoadRecalled)) != 0 {
		t.Error(show(v))
	}
	// A load of another sterilizer is none of this one's.
	s = newStory()
	turns = loads(s, "--")
	s.tell("sterilizer-2", clock(2, 8, 0), "S2-01", "", &events.IndicatorRead{Load: "S2-01", Sterilizer: "S7", Result: "positive"})
	if v := judge(t, s.world(), turns[0].key()); len(find(v, projections.LoadRecalled)) != 0 {
		t.Error(show(v))
	}
}

func TestCorrections(t *testing.T) {
	wrong := func(s *story, x *turn) *facts.Fact { // the case was typed wrong, and the indicator
		o := *x.open
		o.Indicator = "fail"
		right := x.open
		x.open = &o
		s.live(x)
		x.open = right
		return s.last(events.KindSetOpened)
	}
	for _, test := range []struct {
		name string
		tell func(s *story, x *turn, f *facts.Fact)
		want string
	}{
		{"none", func(s *story, x *turn, f *facts.Fact) {}, "not-released:broken"},
		{"replaced", func(s *story, x *turn, f *facts.Fact) { s.correct(f, clock(2, 8, 0), x.open) }, "corrected:doubtful"},
		{"replaced, and that taken back", func(s *story, x *turn, f *facts.Fact) {
			s.correct(s.correct(f, clock(2, 8, 0), x.open), clock(2, 9, 0), nil)
		}, "not-released:broken"},
		{"replaced, taken back, and that taken back", func(s *story, x *turn, f *facts.Fact) {
			s.correct(s.correct(s.correct(f, clock(2, 8, 0), x.open), clock(2, 9, 0), nil), clock(2, 10, 0), nil)
		}, "corrected:doubtful"},
		{"of two the later observed, whatever the order of arrival", func(s *story, x *turn, f *facts.Fact) {
			s.correct(f, clock(2, 9, 0), x.open)
			bad := *x.open
			bad.SealBroken = true
			s.correct(f, clock(2, 8, 0), &bad)
		}, "corrected:doubtful"},
		{"taken back altogether", func(s *story, x *turn, f *facts.Fact) { s.correct(f, clock(2, 8, 0), nil) },
			"link-missing:broken corrected:doubtful"},
		{"a correction of the correction", func(s *story, x *turn, f *facts.Fact) {
			bad := *x.open
			bad.SealBroken = true
			c := s.correct(f, clock(2, 8, 0), &bad)
			s.correct(c, clock(2, 9, 0), &events.EventCorrected{Event: f.Event.ID, Action: "void", Reason: "no such opening"})
		}, "link-missing:broken corrected:doubtful"},
		{"a correction pointed at another event", func(s *story, x *turn, f *facts.Fact) {
			c := s.correct(f, clock(2, 8, 0), x.open)
			s.correct(c, clock(2, 9, 0), &events.EventCorrected{Event: s.last(events.KindSetPacked).Event.ID, Action: "void", Reason: "no"})
		}, "corrected:doubtful record-unread:noted"},
		{"without its trip", func(s *story, x *turn, f *facts.Fact) {
			s.correct(f, clock(2, 8, 0),
				x.open).Event.Trip = ""
		}, "corrected:doubtful"},
		{"that can't be read", func(s *story, x *turn, f *facts.Fact) {
			s.correct(f, clock(2, 8, 0), x.open).Event.Data.(*events.EventCorrected).Data = []byte(`[]`)
		}, "not-released:broken record-unread:noted"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s, x := plain()
			f := *wrong(s, x)
			test.tell(s, x, &f)
			if got := codes(judge(t, s.world(), x.key())); got != test.want {
				t.Errorf("%s, want %s", got, test.want)
			}
			slices.Reverse(s.all)
			if got := codes(judge(t, s.world(), x.key())); got != test.want {
				t.Errorf("backwards: %s, want %s", got, test.want)
			}
		})
	}
}

// TestForgedCorrections: two corrections that take each other back must not
// hang the judgement.
func TestForgedCorrections(t *testing.T) {
	s, x := plain()
	s.live(x)
	f := s.last(events.KindSetOpened)
	a := *s.correct(f, clock(2, 8, 0), nil)
	b := s.tell("or-3", clock(2, 9, 0), x.set, x.trip(), &events.EventCorrected{Event: a.Event.ID, Action: "void", Reason: "b"})
	s.tell("or-3", clock(2, 9, 0), x.set, x.trip(), &events.EventCorrected{Event: b.Event.ID, Action: "void",
		Reason: "a"}).Event.ID = a.Event.ID
	want := show(judge(t, s.world(), x.key()))
	slices.Reverse(s.all)
	if got := show(judge(t, s.world(), x.key())); got != want {
		t.Errorf("%s\n%s", got, want)
	}
}

// TestRecordedTwice: a record put into the ledger a second time adds nothing;
// another event under the same id hides nothing.
func TestRecordedTwice(t *testing.T) {
	s, x := plain()
	x.final.Counts[1].Counted = 3
	s.live(x)
	f := *s.count(x, events.StageAdded, 8, 0, events.Count{Line: 2, Counted: 1})
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Fatal(show(v))
	}
	e := *f.Event
	e.StationSeq += 5
	s.all = append(s.all, facts.Fact{Seq: 900, Recorded: clock(9, 0, 0), Event: &e})
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Errorf("counted twice: %s", show(v))
	}
	slices.Reverse(s.all)
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Errorf("counted twice, backwards: %s", show(v))
	}
	other := e
	other.Data = &events.SetCounted{Case: x.ref, Stage: events.StageAdded, Sheet: "screen", Counter: "B-1",
		Witness: "B-2", Counts: []events.Count{{Line: 3, Counted: 1}}}
	s.all = append(s.all, facts.Fact{Seq: 901, Recorded: clock(9, 0, 0), Event: &other})
	if v := judge(t, s.world(), x.key()); len(find(v, projections.CountShort)) != 1 {
		t.Errorf("hidden: %s", show(v))
	}
}

// TestPolicyInForce: each step by the policy of its own time.
func TestPolicyInForce(t *testing.T) {
	alone := events.DefaultPolicy()
	alone.TwoPersons = false
	noRun := events.DefaultPolicy()
	noRun.Links = slices.DeleteFunc(noRun.Links, func(k events.Kind) bool { return k == events.KindSetSterilized })
	adopt := func(s *story, at time.Time, p events.Policy) *facts.Fact {
		return s.tell("ledger", at, "north", "", &events.PolicyAdopted{Policy: p})
	}
	for _, test := range []struct {
		name string
		tell func(s *story, x *turn)
		want string
	}{
		{"one person, before it was allowed", func(s *story, x *turn) {
			x.final.Witness = ""
			adopt(s, x.finalAt().Add(time.Nanosecond), alone)
		}, "count-one-person:doubtful"},
		{"allowed from that moment on", func(s *story, x *turn) {
			x.final.Witness = ""
			adopt(s, x.finalAt(), alone)
		}, ""},
		{"allowed, and no more when it was done", func(s *story, x *turn) {
			x.final.Witness = ""
			adopt(s, clock(0, 0, 0), alone)
			adopt(s, clock(0, 9, 0), events.DefaultPolicy())
		}, "count-one-person:doubtful"},
		{"allowed by a policy that was taken back", func(s *story, x *turn) {
			x.final.Witness = ""
			f := *adopt(s, clock(0, 0, 0), alone)
			s.correct(&f, clock(0, 1, 0), nil)
		}, "count-one-person:doubtful"},
		{"another site's policy", func(s *story, x *turn) {
			x.final.Witness = ""
			adopt(s, clock(0, 0, 0), alone).Event.Station = "south/ledger"
		}, "count-one-person:doubtful"},
		{"sterilization asked for only after its time", func(s *story, x *turn) {
			x.run = nil
			adopt(s, clock(-1, 0, 0), noRun)
			adopt(s, x.openedAt().Add(time.Minute), events.DefaultPolicy())
		}, ""},
		{"sterilization asked for throughout", func(s *story, x *turn) { x.run = nil }, "link-missing:broken not-released:broken"},
		{"asked for when packed, no more when opened", func(s *story, x *turn) {
			x.run = nil
			adopt(s, x.sterilizedAt(), noRun)
		}, ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			s, x := plain()
			test.tell(s, x)
			s.live(x)
			if got := codes(judge(t, s.world(), x.key())); got != strings.TrimSpace(test.want) {
				t.Errorf("%s, want %s", got, test.want)
			}
		})
	}
}

// TestAsKnownAt: without what arrived later, the verdict is the earlier one.
func TestAsKnownAt(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B"}, []string{"B", "A"})
	for i := range s.all { // B's opening was recorded a day late
		if e := s.all[i].Event; e.Kind() == events.KindSetOpened && e.Subject == "B" {
			s.all[i].Recorded = clock(5, 0, 0)
		}
	}
	judgeAt := func(at time.Time, k projections.TripKey) projections.Verdict {
		return judge(t, NewWorld(facts.AsKnownAt(&shelf{all: s.all}, at)), k)
	}
	b := turns[1].key()
	if v := judgeAt(clock(4, 23, 59), b); len(find(v, projections.SheetInDoubt)) != 1 || len(find(v, projections.SheetSwapped)) != 0 {
		t.Errorf("before: %s", show(v))
	}
	if v := judgeAt(clock(5, 0, 0), b); len(find(v, projections.SheetInDoubt)) != 0 || len(find(v, projections.SheetSwapped)) != 1 {
		t.Errorf("after: %s", show(v))
	}
	if v := judgeAt(clock(0, 0, 0), b); !v.Since.IsZero() || v.Status != projections.Open {
		t.Errorf("before anything: %s", show(v))
	}
}

type deaf struct{}

func (deaf) Facts(facts.Dim, string) ([]facts.Fact, error) {
	return nil, errors.New("the disk is gone")
}
func (deaf) Around(string, time.Time, int) ([]facts.Fact, error) {
	return nil, errors.New("the disk is gone")
}
func (deaf) Trips(facts.Dim, string, time.Time, time.Time) ([]projections.TripKey, error) {
	return nil, errors.New("the disk is gone")
}

// blind can't see what lies around.
type blind struct{ facts.Source }

func (blind) Around(string, time.Time, int) ([]facts.Fact, error) {
	return nil, errors.New("the disk is gone")
}

// TestSourceFails: no verdict rests on half the facts.
func TestSourceFails(t *testing.T) {
	w := NewWorld(deaf{})
	for name, err := range map[string]error{
		"judge":   second(w.Judge(key("A", 0))),
		"station": second(w.JudgeStation(events.Station{Name: "north/or-3"})),
		"case":    second(w.Case("K-1")),
		"history": second(w.History(projections.HistoryOf{Set: "A", Trips: []projections.TripKey{key("A", 0)}})),
	} {
		if err == nil || !strings.Contains(err.Error(), "the disk is gone") {
			t.Errorf("%s: %v", name, err)
		}
	}
	s, x := plain()
	s.live(x)
	if _, err := NewWorld(blind{&shelf{all: s.all}}).Judge(x.key()); err == nil || !strings.Contains(err.Error(), "the disk is gone") {
		t.Errorf("judged without its neighbours: %v", err)
	}
	f := *s.last(events.KindSetOpened)
	loose := *f.Event
	loose.Trip = ""
	f.Event = &loose
	w.Add(f)
	if _, err := w.Touched(f); err == nil {
		t.Error("touched: no error")
	}
}

func second[T any](_ T, err error) error { return err }

// TestNeighboursVoidLater: a World that asked for as many packings around a
// moment as it needed asks again when corrections take some of them back.
func TestNeighboursVoidLater(t *testing.T) {
	s := newStory()
	l := s.list("LAP", 1, 6)
	const turns = 7
	var packs []*facts.Fact
	for n := range turns {
		x := newTurn("A", n, l)
		packs = append(packs, s.tell("packing-1", x.packedAt(), "A", x.trip(), x.pack))
	}
	src := &shelf{all: s.all}
	w := sparing(src)
	last := projections.TripKey{Set: "A", Trip: tripOf("A", turns-1)}
	if got := w.Trip(last).Prev; got != tripOf("A", turns-2) {
		t.Fatalf("before: the trip before is %s", got)
	}
	for n := 1; n < turns-1; n++ {
		w.Add(*s.correct(packs[n], clock(30, n, 0), nil))
	}
	src.all = s.all
	if got, want := w.Trip(last).Prev, tripOf("A", 0); got != want {
		t.Errorf("after the corrections the trip before is %q, want %q", got, want)
	}
}

// The first positive indicator of a sterilizer is judged before a Source holds it. The negative ones before it bound it all the same.
func TestFirstPositive(t *testing.T) {
	s := newStory()
	turns := loads(s, "n-p")
	last := len(s.all) - 1
	if d := s.all[last].Event.Data.(*events.IndicatorRead); d.Result != "positive" {
		t.Fatal("the story does not end with the positive one")
	}
	w := NewWorld(&shelf{all: s.all[:last]})
	for _, x := range turns {
		judge(t, w, x.key())
	}
	w.Add(s.all[last])
	for i, x := range turns {
		if got, want := codes(judge(t, w, x.key())), codes(judge(t, s.world(), x.key())); got != want {
			t.Errorf("turn %d: %s, all at once %s", i, got, want)
		}
	}
}

// TestRunOfTheTurnBefore: how a run ended is often recorded when a set of it has been packed anew. It counts for the
// turn that it was started with, and neither sterilizes the next one nor tells of two trays.
func TestRunOfTheTurnBefore(t *testing.T) {
	for _, x := range []struct {
		name, started  string
		of             int // whose run it is said to be: the turn before, or the next one
		before, after  projections.Status
		good, nextGood bool
	}{
		{"named, started before", "07:20", 0, projections.Open, projections.Broken, true, false},
		{"named, started after", "07:35", 0, projections.Doubtful, projections.Broken, true, false},
		{"the next one's, started before", "07:20", 1, projections.Open, projections.Broken, false, false},
		{"the next one's, started after", "07:35", 1, projections.Open, projections.Whole, false, true},
		{"the next one's, nobody knows when", "", 1, projections.Open, projections.Whole, false, true},
	} {
		s, a := plain()
		run := *a.run
		a.run, a.check = nil, nil
		s.live(a.unused())
		b := newTurn(a.set, 1, a.list)
		b.day, b.run, b.check = 0, nil, nil
		pack, seal := b.pack, b.seal
		b.pack, b.seal = nil, nil
		s.tell("packing-1", clock(0, 7, 32), b.set, b.trip(), pack)
		s.tell("packing-1", clock(0, 7, 34), b.set, b.trip(), seal)
		if x.started != "" {
			run.Started = "2026-03-02T" + x.started + ":00Z"
		}
		s.tell("sterilizer-2", clock(0, 7, 49), a.set, []string{a.trip(), b.trip()}[x.of], &run)
		s.live(b)
		w := s.world()
		va, vb := judge(t, w, a.key()), judge(t, w, b.key())
		if va.Status != x.before || vb.Status != x.after {
			t.Errorf("%s: the turn before is %s, the next %s", x.name, show(va), show(vb))
		}
		for _, of := range []struct {
			x    *turn
			good bool
		}{{a, x.good}, {b, x.nextGood}} {
			if good, _ := w.Trip(of.x.key()).Releasing(w.Book, nil); (good != nil) != of.good {
				t.Errorf("%s: turn %d has a good run: %v", x.name, of.x.n, good != nil)
			}
		}
	}
}

// lateLoads tells loads as loads does, each with an indicator that is read on its own day: "n4" is read
// negative on day 4.
func lateLoads(s *story, results ...string) []*turn {
	turns := loads(s, strings.Repeat("-", len(results)))
	for i, r := range results {
		day, _ := strconv.Atoi(r[1:])
		s.indicator(day, turns[i].run.Load, map[byte]string{'n': "negative", 'p': "positive"}[r[0]])
	}
	return turns
}

// TestRepeatsFollowTheResult: the cycles that CDC 2008, Table 12, asks to be repeated are run once the positive
// result is known. Loads that ran before that were run as ever: negative, they settle nothing; a positive one of
// those that ran next recalls all the same.
func TestRepeatsFollowTheResult(t *testing.T) {
	for _, x := range []struct {
		results  []string
		severity projections.Severity
		repeats  projections.Repeats
		negative int
	}{
		{[]string{"p4", "n2", "n3", "n4"}, projections.SeverityDoubtful, projections.RepeatAwaited, 0},
		{[]string{"p4", "n2", "n3", "n4", "n5", "n6"}, projections.SeverityDoubtful, projections.RepeatAwaited, 2},
		{[]string{"p4", "n2", "n3", "n4", "n5", "n6", "n7"}, projections.SeverityNoted, projections.RepeatNegative, 3},
		{[]string{"p4", "n2", "n3", "p4", "n5", "n6", "n7"}, projections.SeverityBroken, projections.RepeatPositive, 0},
		{[]string{"p4", "n2", "n3", "n4", "n5", "n6", "p7"}, projections.SeverityBroken, projections.RepeatPositive, 0},
		{[]string{"p4", "n2", "n3", "n4", "n5", "n6", "n7", "p8"}, projections.SeverityNoted, projections.RepeatNegative, 3},
		{[]string{"p1", "n2", "n3", "n4"}, projections.SeverityNoted, projections.RepeatNegative, 3},
	} {
		s := newStory()
		turns := lateLoads(s, x.results...)
		found := find(judge(t, s.world(), turns[0].key()), projections.LoadRecalled)
		if len(found) != 1 {
			t.Fatalf("%v: %d findings", x.results, len(found))
		}
		d := found[0].Detail.(*projections.Recalled)
		day, _ := strconv.Atoi(x.results[0][1:])
		if found[0].Severity != x.severity || d.Repeats != x.repeats || d.Negative != x.negative || !d.Read.Equal(clock(day, 8, 0)) {
			t.Errorf("%v: %s %+v", x.results, found[0].Severity, d)
		}
		if settled := x.severity == projections.SeverityNoted; settled != (len(d.SettledBy) == 3) {
			t.Errorf("%v: settled by %q", x.results, d.SettledBy)
		}
	}
}

// TestLateRepeatsTouch: what a result touches is enough where positive ones are known late.
func TestLateRepeatsTouch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newStory()
		var results []string
		for i := range rapid.IntRange(4, 10).Draw(t, "loads") {
			r := rapid.SampledFrom([]string{"n", "n", "n", "p"}).Draw(t, "result")
			results = append(results, fmt.Sprint(r, i+1+rapid.IntRange(0, 6).Draw(t, "late")))
		}
		lateLoads(s, results...)
		all := s.all
		if rapid.Bool().Draw(t, "shuffled") {
			all = rapid.Permutation(all).Draw(t, "order")
		}
		same(t, "touched only", pieceByPiece(t, all, false, time.Time{}), verdicts(t, worldOf(all)))
	})
}
