package assess_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/rates"
)

// site makes openings, one an hour, and what was found at them.
type site struct {
	at       time.Time
	openings []rates.Opening
	found    []projections.Verdict
}

func newSite() *site { return &site{at: time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)} }

// add opens n sets of a placement, of which so many were not read, and so many had a
// finding; each is an incident of its own.
func (s *site) add(placement string, n, unread, wrong int, code projections.Code) {
	for i := range n {
		s.at = s.at.Add(time.Hour)
		k := projections.TripKey{Set: fmt.Sprintf("%s-%d", placement, len(s.openings)), Trip: "t"}
		s.openings = append(s.openings, rates.Opening{TripKey: k, At: s.at, Placement: placement, Read: i >= unread})
		if i >= n-wrong {
			s.found = append(s.found, projections.Verdict{Set: k.Set, Trip: k.Trip, Opened: true, Since: s.at,
				Findings: []projections.Finding{{Code: code, Severity: projections.SeverityBroken}}})
		}
	}
}

func (s *site) ledger(placements ...string) *assess.Ledger {
	return assess.NewLedger(s.openings, s.found, placements, nil, rates.Options{})
}

func assessment(t *testing.T, s *site, c assess.Choices) *assess.Assessment {
	t.Helper()
	if c.Dependence == "" {
		c.Dependence = assess.DependenceHigh
	}
	a, err := assess.New(c, s.ledger(c.Placements...), 15)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func cell(t *testing.T, a *assess.Assessment, hazard, placement string) *assess.Cell {
	t.Helper()
	for i := range a.Analysis {
		for k := range a.Analysis[i].At {
			if a.Analysis[i].ID == hazard && a.Analysis[i].At[k].Placement == placement {
				return &a.Analysis[i].At[k]
			}
		}
	}
	t.Fatalf("%s at %s is not assessed", hazard, placement)
	return nil
}

func both() assess.Choices {
	return assess.Choices{Placements: []string{assess.InsideBag, assess.Outside}}
}

// TestTwoReaders: two people who read one wrong list are up to 1.5e-3 together and not
// 9e-6; where nobody keeps to the procedure it is more.
func TestTwoReaders(t *testing.T) {
	a := assessment(t, newSite(), both())
	near(t, "independent", a.Readers["zero"].Both, 9e-6, 1e-15)
	near(t, "high", a.Readers["high"].Both, 1.5045e-3, 1e-12)
	near(t, "complete", a.Readers["complete"].Both, 3e-3, 1e-12)
	for d, want := range map[assess.Dependence]float64{assess.DependenceZero: 9e-6, assess.DependenceHigh: 1.5045e-3} {
		c := both()
		c.Dependence = d
		// 3e-3 for the wrong sheet, 0.1 for the check at closing, and both readers.
		r := cell(t, assessment(t, newSite(), c), assess.WrongList, assess.InsideBag).FromStart
		near(t, "tree, "+string(d), r.Top.Exact, 3e-4*want, 1e-15)
	}
	c := both()
	c.Unused = true
	near(t, "unused", assessment(t, newSite(), c).Readers["high"].Both, 0.05*0.525, 1e-12)
}

// TestSixAndFive: 6 and 0 incidents in 2,000 openings differ, 5 and 0 can't be told apart
// yet; what start values say of the two is the same in both cases.
func TestSixAndFive(t *testing.T) {
	ask := func(wrong int) (*assess.Assessment, assess.ComparedPair) {
		s := newSite()
		s.add(assess.InsideBag, 2000, 0, 0, "")
		s.add(assess.Outside, 2000, 0, wrong, projections.SheetSwapped)
		a := assessment(t, s, both())
		if len(a.Compared) != 1 {
			t.Fatalf("%+v", a.Compared)
		}
		return a, a.Compared[0]
	}
	a, six := ask(6)
	_, five := ask(5)
	if six.Says != assess.BWorse || five.Says != assess.CantTell {
		t.Errorf("6 and 0: %s; 5 and 0: %s", six.Says, five.Says)
	}
	near(t, "6 and 0", six.Difference.P, 0.0311329, 1e-7)
	near(t, "5 and 0", five.Difference.P, 0.0623438, 1e-7)
	if six.Difference.More != 0 || five.Difference.More < 1000 || five.Difference.Days < 40 {
		t.Errorf("%+v, %+v", six.Difference, five.Difference)
	}
	out, in := cell(t, a, assess.WrongList, assess.Outside), cell(t, a, assess.WrongList, assess.InsideBag)
	// Jeffreys medians of 6 and 0 in 2,000 (gonum: Beta(6.5, 1994.5), Beta(0.5, 2000.5)).
	near(t, "6 counted", out.Counted.Top.Exact, 0.00308442239*1.5045e-3, 1e-12)
	near(t, "0 counted", in.Counted.Top.Exact, 0.000113713424*1.5045e-3, 1e-13)
	if in.Counted.Top.Exact <= 0 || in.PerYear == nil {
		t.Error("none seen is never none")
	}
	tree := six.Trees[0]
	if tree.Hazard != assess.WrongList || !tree.Counted || tree.AWorse > 0.01 || tree.Without {
		t.Errorf("%+v", tree)
	}
	// The other way round the same is said of the other one.
	s := newSite()
	s.add(assess.InsideBag, 2000, 0, 0, "")
	s.add(assess.Outside, 2000, 0, 6, projections.SheetSwapped)
	c := both()
	slices.Reverse(c.Placements)
	again, err := assess.New(assess.Choices{Placements: c.Placements, Dependence: assess.DependenceHigh},
		s.ledger(assess.InsideBag, assess.Outside), 15)
	if err != nil {
		t.Fatal(err)
	}
	if got := again.Compared[0]; got.Says != assess.AWorse || got.Difference.A != assess.Outside || got.Difference.Worse < 0.99 {
		t.Errorf("%+v", got)
	}
}

// TestStartValuesSayNothing: with nothing counted no placement is called worse, however
// much start values lean.
func TestStartValuesSayNothing(t *testing.T) {
	a := assessment(t, newSite(), both())
	if p := a.Compared[0]; p.Says != assess.NotCounted || p.Difference != nil || p.Trees[0].Counted || p.Trees[0].AWorse > 0.1 {
		t.Errorf("%+v", p)
	}
	s := newSite()
	s.add(assess.InsideBag, 1000, 900, 0, "")
	s.add(assess.Outside, 1000, 0, 6, projections.SheetSwapped)
	a = assessment(t, s, both())
	if p := a.Compared[0]; p.Says != assess.NotCompared || p.Trees[0].Counted {
		t.Errorf("hardly read: %+v", p)
	}
}

// TestCounted: the ledger's numbers stand in from 299 openings read on, where half is
// read; wrong and missing lists each for their own gate; and a code that is read at
// openings fails as often as it was not.
func TestCounted(t *testing.T) {
	for _, x := range []struct {
		n, unread int
		stands    bool
	}{{298, 0, false}, {299, 0, true}, {1000, 501, false}, {1000, 500, true}} {
		s := newSite()
		s.add(assess.Outside, x.n, x.unread, 0, "")
		if c := cell(t, assessment(t, s, both()), assess.WrongList, assess.Outside); (c.Counted != nil) != x.stands {
			t.Errorf("%+v: %v", x, c.Counted != nil)
		}
	}
	s := newSite()
	s.add(assess.Outside, 1000, 100, 3, projections.SheetSwapped)
	s.add(assess.Outside, 1000, 100, 4, projections.SheetAbsent)
	c := both()
	c.Controls = []string{assess.CodeRead, "second-look"}
	a := assessment(t, s, c)
	// Of a share of 0.9 a reading sees 0.99 of all exchanges, and 0.9 of what is missing on one set.
	m := a.Ledger.Placements[0]
	if m.Wrong != (rates.Count{Seen: 3, Of: 1980}) || m.Missing != (rates.Count{Seen: 4, Of: 1800}) || m.All.Incidents != 7 {
		t.Errorf("%+v", m)
	}
	wrong, none := cell(t, a, assess.WrongList, assess.Outside), cell(t, a, assess.MissingList, assess.Outside)
	for _, x := range []struct {
		tree  *assess.Result
		event string
		want  rates.Count
	}{
		{wrong.Counted, "wrong-at-opening", m.Wrong}, {wrong.Counted, assess.CodeRead, rates.Count{Seen: 200, Of: 2000}},
		{none.Counted, "missing-at-opening", m.Missing},
	} {
		if v := event(t, x.tree, x.event).Value; v.Count == nil || *v.Count != x.want || v.Source != assess.SourceLedger {
			t.Errorf("%s: %+v", x.event, v)
		}
	}
	// A sheet that is there and can't be read is no missing one: what was counted doesn't take its place.
	if !slices.Equal(none.FromStart.Without, []string{assess.LostOnTheWay, assess.Unreadable}) ||
		!slices.Equal(none.Counted.Without, []string{assess.Unreadable}) || none.PerYear != nil {
		t.Errorf("%v, %v", none.FromStart.Without, none.Counted.Without)
	}
	c.Own = map[string]assess.Own{assess.Unreadable: {Median: 0.001, ErrorFactor: 3}}
	none = cell(t, assessment(t, s, c), assess.MissingList, assess.Outside)
	near(t, "missing or unreadable", none.Counted.Top.Exact, 1-(1-event(t, none.Counted, "missing-at-opening").Value.Nominal())*0.999, 1e-12)
	if none.PerYear == nil {
		t.Error("with a number for all of it there is no number a year")
	}
	s = newSite()
	s.add(assess.Screen, 400, 0, 0, "")
	screen := assessment(t, s, assess.Choices{Placements: []string{assess.Screen}})
	if x := cell(t, screen, assess.MissingList, assess.Screen); x.Counted != nil {
		t.Errorf("a screen's sheet is counted as missing: %+v", x.Counted)
	}
	// Before anything is counted both controls are start values.
	before := cell(t, assessment(t, newSite(), c), assess.WrongList, assess.Outside).FromStart
	near(t, "with both controls", before.Top.Exact, 1.5045e-3*0.05*(1-(1-3e-3*0.1*0.2)*(1-0.000241408151)), 1e-12)
}

func event(t *testing.T, r *assess.Result, id string) assess.Event {
	t.Helper()
	for _, e := range r.Tree.Events {
		if e.ID == id {
			return e
		}
	}
	t.Fatalf("no %s in %+v", id, r.Tree)
	return assess.Event{}
}

// TestWithoutNumbers: what nobody has published has no number until the site gives one,
// and then no likelihood is reckoned from it either.
func TestWithoutNumbers(t *testing.T) {
	s := newSite()
	s.add(assess.InsideBare, 200, 0, 0, "")
	c := assess.Choices{Placements: []string{assess.Screen, assess.InsideBare}}
	a := assessment(t, s, c)
	screen, bare := cell(t, a, assess.MissingList, assess.Screen), cell(t, a, assess.MissingList, assess.InsideBare)
	if screen.FromStart.Top.Exact != 0 || screen.PerYear != nil || screen.Likelihood != 0 || screen.FromStart.Sampled != nil ||
		!slices.Equal(screen.FromStart.Without, []string{assess.ScreenDown}) {
		t.Errorf("%+v", screen)
	}
	if bare.PerYear != nil || !slices.Equal(bare.FromStart.Without, []string{assess.Unreadable}) {
		t.Errorf("%+v", bare)
	}
	if p := a.Compared[0].Trees; len(p) != 1 || p[0].Hazard != assess.WrongList {
		t.Errorf("a tree without a number is compared: %+v", p)
	}
	c.Own = map[string]assess.Own{assess.ScreenDown: {Median: 0.002, ErrorFactor: 10}}
	screen = cell(t, assessment(t, s, c), assess.MissingList, assess.Screen)
	near(t, "the site's", screen.FromStart.Top.Exact, 0.002, 1e-15)
	near(t, "a year", *screen.PerYear, 0.002*200/(199.0/24)*365.25, 1e-9)
	if v := event(t, screen.FromStart, assess.ScreenDown).Value; v.Source != assess.SourceSite {
		t.Errorf("%+v", v)
	}
}

// TestTable: all 16 cells, all ends of the decision tree (HFMEA; DOMAIN 4).
func TestTable(t *testing.T) {
	want := [4][4]int{{1, 2, 3, 4}, {2, 4, 6, 8}, {3, 6, 9, 12}, {4, 8, 12, 16}}
	for s := 1; s <= 4; s++ {
		for l := 1; l <= 4; l++ {
			if got := assess.Score(s, l); got != want[s-1][l-1] {
				t.Errorf("%d, %d: %d", s, l, got)
			}
		}
	}
	for path := range 16 {
		high := path&8 != 0
		a := assess.Answers{WeakPoint: path&4 != 0, Controlled: path&2 != 0, Obvious: path&1 != 0}
		want := assess.Proceed
		switch {
		case !high && !a.WeakPoint:
			want = assess.StopScore
		case a.Controlled:
			want = assess.StopControlled
		case a.Obvious:
			want = assess.StopObvious
		}
		score := map[bool]int{true: 8, false: 6}[high]
		if got := assess.Decide(score, a); got != want {
			t.Errorf("%d, %+v: %s", score, a, got)
		}
	}
	for perYear, want := range map[float64]int{
		12: assess.Frequent, 1.01: assess.Frequent, 1: assess.Occasional, 0.51: assess.Occasional, 0.5: assess.Uncommon,
		0.21: assess.Uncommon, 0.2: assess.Remote, 0: assess.Remote,
	} {
		if got := assess.LikelihoodOf(perYear); got != want {
			t.Errorf("%g a year: %d", perYear, got)
		}
	}
}

// TestJudged: severity is the site's; a likelihood of the site goes before the reckoned
// one, which stays beside it; what is open or goes on is told of the whole.
func TestJudged(t *testing.T) {
	s := newSite()
	s.add(assess.InsideBag, 2000, 0, 0, "")
	s.add(assess.Outside, 2000, 0, 40, projections.SheetAbsent)
	c := both()
	c.Decides, c.Residual, c.Review = "the head of the department", "left", "in a year"
	c.Own = map[string]assess.Own{assess.Unreadable: {Median: 1e-6, ErrorFactor: 3}}
	c.Hazards = map[string]assess.Judged{
		assess.WrongList: {Severity: assess.Catastrophic, Likelihood: map[string]int{assess.Outside: assess.Occasional}, Words: "words"},
		assess.MissingList: {Severity: assess.Moderate, Answers: map[string]assess.Answers{
			assess.InsideBag: {Obvious: true}, assess.Outside: {WeakPoint: true, Controlled: true}}},
		assess.Bag: {Severity: assess.Minor},
	}
	a := assessment(t, s, c)
	out, in := cell(t, a, assess.WrongList, assess.Outside), cell(t, a, assess.WrongList, assess.InsideBag)
	if out.Likelihood != assess.Occasional || out.Reckoned != assess.Remote || out.Score != 12 || out.Decision != assess.Proceed {
		t.Errorf("%+v", out)
	}
	if in.Likelihood != assess.Remote || in.Score != 4 || in.Decision != assess.StopScore {
		t.Errorf("%+v", in)
	}
	if m := cell(t, a, assess.MissingList, assess.Outside); m.Score != 8 || m.Decision != assess.StopControlled {
		t.Errorf("%+v", m)
	}
	wantOpen := []assess.CellRef{{assess.Ink, assess.InsideBag}, {assess.Ink, assess.Outside}, {assess.Bag, assess.InsideBag}}
	if !slices.Equal(a.Residual.Open, wantOpen) || !slices.Equal(a.Residual.Proceed, []assess.CellRef{{assess.WrongList, assess.Outside}}) {
		t.Errorf("%+v", a.Residual)
	}
	if a.Residual.Words != "left" || a.Review != "in a year" || a.Decides != c.Decides || a.Analysis[0].Words != "words" {
		t.Errorf("%+v", a)
	}
}

// TestEveryTree: each hazard with a tree has one that can be solved at each of its
// placements, with all controls or none; and each control without a number changes none.
func TestEveryTree(t *testing.T) {
	solved := 0
	for _, controls := range [][]string{nil, everyControl()} {
		a := assessment(t, newSite(), assess.Choices{Placements: assess.Placements(), Controls: controls})
		for _, h := range a.Analysis {
			for _, c := range h.At {
				if (c.FromStart != nil) != h.Tree {
					t.Errorf("%s at %s: %v", h.ID, c.Placement, c.FromStart)
				}
				if h.Tree {
					solved++
				}
			}
		}
		if len(a.Compared) != 6 {
			t.Errorf("%d pairs", len(a.Compared))
		}
		if raw, err := json.Marshal(a); err != nil || len(raw) < 1000 {
			t.Errorf("%d bytes: %v", len(raw), err)
		}
	}
	if solved != 16 {
		t.Errorf("%d trees", solved)
	}
	plain := assessment(t, newSite(), assess.Choices{Placements: assess.Placements()})
	for _, k := range assess.Controls() {
		a := assessment(t, newSite(), assess.Choices{Placements: assess.Placements(), Controls: []string{k.ID}})
		if same := reflect.DeepEqual(plain.Analysis, a.Analysis); same != (k.At == "") {
			t.Errorf("%s changes something: %v", k.ID, !same)
		}
	}
}

func everyControl() (out []string) {
	for _, k := range assess.Controls() {
		out = append(out, k.ID)
	}
	return out
}

// TestChoicesRefused: each member by its name.
func TestChoicesRefused(t *testing.T) {
	long := strings.Repeat("ü", 2001)
	for says, change := range map[string]func(*assess.Choices){
		"placements: none":              func(c *assess.Choices) { c.Placements = nil },
		`placements: "outside"`:         func(c *assess.Choices) { c.Placements = append(c.Placements, assess.Outside) },
		`placements: "air"`:             func(c *assess.Choices) { c.Placements = []string{"air"} },
		"dependence":                    func(c *assess.Choices) { c.Dependence = "some" },
		"controls":                      func(c *assess.Choices) { c.Controls = []string{"prayer"} },
		`own: "left-out"`:               func(c *assess.Choices) { c.Own = map[string]assess.Own{"left-out": {0.1, 3}} },
		"own: screen-down":              func(c *assess.Choices) { c.Own = map[string]assess.Own{assess.ScreenDown: {2, 3}} },
		"hazards: ink: a severity of 5": func(c *assess.Choices) { c.Hazards = map[string]assess.Judged{assess.Ink: {Severity: 5}} },
		"hazards: ink: words: 2001":     func(c *assess.Choices) { c.Hazards = map[string]assess.Judged{assess.Ink: {Words: long}} },
		`hazards: there is no "rain"`:   func(c *assess.Choices) { c.Hazards = map[string]assess.Judged{"rain": {}} },
		`hazards: ink: a likelihood of 1 at "air"`: func(c *assess.Choices) {
			c.Hazards = map[string]assess.Judged{assess.Ink: {Likelihood: map[string]int{"air": 1}}}
		},
		`hazards: ink: answers for "air"`: func(c *assess.Choices) {
			c.Hazards = map[string]assess.Judged{assess.Ink: {Answers: map[string]assess.Answers{"air": {}}}}
		},
		"residual": func(c *assess.Choices) { c.Residual = long },
		"review":   func(c *assess.Choices) { c.Review = long },
		"decides":  func(c *assess.Choices) { c.Decides = "\xff" },
	} {
		c := both()
		c.Dependence = assess.DependenceHigh
		change(&c)
		if _, err := assess.New(c, &assess.Ledger{}, 1); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
}
