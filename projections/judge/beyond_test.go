package judge

import (
	"slices"
	"strings"
	"testing"

	"listbound/events"
	"listbound/projections"
)

// A clamp that was packed singly and opened during the case is line 61 of the
// set that it was laid to.
var clamp = events.Beyond{Line: 61, Item: "04012345678901", Description: "Clamp, curved, 18 cm"}

// with returns a count with pieces of the clamp, of which some came since the
// count before.
func with(d *events.SetCounted, counted, added int64) *events.SetCounted {
	x := clamp
	x.Added = added
	d.Counts, d.Beyond = append(d.Counts, events.Count{Line: x.Line, Counted: counted}), append(d.Beyond, x)
	return d
}

// counted tells a further count of a turn.
func (s *story) counted(x *turn, hour, minute int, stage events.Stage, d events.SetCounted) {
	d.Case, d.Stage, d.Counter, d.Witness = x.ref, stage, "B-3310", "B-3322"
	if d.Sheet == "" {
		d.Sheet = events.SheetScreen
	}
	s.tell("or-3", clock(1, hour, minute), x.set, x.trip(), &d)
}

// came tells that pieces of the clamp came to the field.
func (s *story) came(x *turn, hour, minute int, pieces int64) {
	s.counted(x, hour, minute, events.StageAdded, *with(&events.SetCounted{}, pieces, 0))
}

// packing tells a turn with five pieces of gauze, of which two left the field.
func (s *story) packing(x *turn, left events.Removed) {
	gauze := events.Beyond{Line: left.Line, Item: "GZ-1010", Description: "Gauze, X-ray detectable, 10 x 10 cm", Sort: events.Sponges}
	x.final.Counts = append(x.final.Counts, events.Count{Line: left.Line, Counted: 5 - left.Quantity})
	x.final.Beyond, x.final.Removed = []events.Beyond{gauze}, []events.Removed{left}
	gauze.Added = 5
	x.first.Counts = append(x.first.Counts, events.Count{Line: left.Line, Counted: 5})
	x.first.Beyond = []events.Beyond{gauze}
	s.live(x)
}

func TestLineBeyondTheList(t *testing.T) {
	for _, test := range []struct {
		name string
		tell func(s *story, x *turn)
		want string
		says []string // all of them, in the sentences of the findings
	}{
		{"came during the case and was counted at the end", func(s *story, x *turn) {
			with(x.final, 1, 0)
			s.live(x)
			s.came(x, 8, 10, 1)
		}, "", nil},
		{"came during the case and is missing at the end", func(s *story, x *turn) {
			with(x.final, 0, 0)
			s.live(x)
			s.came(x, 8, 10, 1)
		}, "count-short:broken closed-unreconciled:broken", []string{
			"line 61 (Clamp, curved, 18 cm; on no set’s list): 0 counted, 1 expected. 1 short.",
			"1 short in LAP-014 line 61 (Clamp, curved, 18 cm; on no set’s list)"}},
		{"came during the case and was forgotten at the end", func(s *story, x *turn) {
			s.live(x)
			s.came(x, 8, 10, 1)
		}, "closed-unreconciled:broken count-missing:doubtful", []string{
			"line 61 (Clamp, curved, 18 cm; on no set’s list)"}},
		{"came before the first count", func(s *story, x *turn) {
			with(x.first, 1, 1)
			with(x.final, 1, 0)
			s.live(x)
		}, "", nil},
		{"came in a record of its own before the first count", func(s *story, x *turn) {
			with(x.first, 1, 0)
			with(x.final, 1, 0)
			s.live(x)
			s.came(x, 7, 15, 1)
		}, "", nil},
		{"fewer at first than came", func(s *story, x *turn) {
			with(x.first, 1, 2)
			with(x.final, 1, 0)
			s.live(x)
		}, "count-differs-at-opening:doubtful", []string{"Clamp, curved, 18 cm; on no set’s list): 1 counted, 2 expected"}},
		{"first count begun again", func(s *story, x *turn) {
			with(x.final, 1, 0)
			s.live(x)
			s.counted(x, 7, 10, events.StageFirst, *with(&events.SetCounted{Counts: countAll(x.list)}, 1, 1))
			x.first.Counts = append(x.first.Counts, events.Count{Line: 61, Counted: 1})
			x.first.Beyond = []events.Beyond{clamp}
		}, "", nil},
		{"noticed in the count before the wound is closed", func(s *story, x *turn) {
			with(x.final, 1, 0)
			s.live(x)
			s.counted(x, 9, 0, events.StageClosing, *with(&events.SetCounted{Counts: countAll(x.list)}, 1, 1))
		}, "", nil},
		{"more than came", func(s *story, x *turn) {
			with(x.final, 2, 0)
			s.live(x)
			s.came(x, 8, 10, 1)
		}, "count-over:broken closed-unreconciled:broken", []string{"2 counted, 1 expected. 1 too many."}},
		{"left the field on purpose", func(s *story, x *turn) {
			with(x.final, 0, 0)
			x.final.Removed = []events.Removed{{Line: 61, Quantity: 1, Reason: "to repair"}}
			s.live(x)
			s.came(x, 8, 10, 1)
		}, "", nil},
		{"came after the final count", func(s *story, x *turn) {
			s.live(x)
			s.came(x, 9, 35, 1)
		}, "closed-unreconciled:broken count-missing:doubtful", []string{"on no set’s list): 1 added"}},
		{"counted without a name is of no list, and never came", func(s *story, x *turn) {
			x.final.Counts = append(x.final.Counts, events.Count{Line: 61, Counted: 1})
			s.live(x)
		}, "count-over:broken closed-unreconciled:broken", []string{"line 61 (not on the list): 1 counted, 0 expected."}},
		{"under a number of the list it is the list's line", func(s *story, x *turn) {
			x.final.Counts[0].Counted++
			x.final.Beyond = []events.Beyond{{Line: 1, Description: "Clamp", Added: 1}}
			s.live(x)
		}, "", nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			s, x := plain()
			test.tell(s, x)
			v := judge(t, s.world(), x.key())
			checkVerdict(t, v)
			if got := codes(v); got != test.want {
				t.Errorf("%s, want %s", got, test.want)
			}
			var all strings.Builder
			for _, f := range v.Findings {
				all.WriteString(f.Says + "\n")
			}
			for _, says := range test.says {
				if !strings.Contains(all.String(), says) {
					t.Errorf("%q is not in\n%s", says, all.String())
				}
			}
		})
	}
}

// TestLineBeyondTheListOfACase: a single clamp that is missing may lie in another
// set that has one of the same too many. No later packing says that it was found.
func TestLineBeyondTheListOfACase(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 2, 4)
	x, y := newTurn("A", 0, l).forCase("K-0412"), newTurn("B", 0, l).forCase("K-0412")
	lies := l.Lines[0]
	single := events.Beyond{Line: 4, Item: lies.Item, Description: lies.Description}
	added := single
	added.Added = 1
	x.first.Counts, x.first.Beyond = append(x.first.Counts, events.Count{Line: 4, Counted: 1}), []events.Beyond{added}
	x.final.Counts, x.final.Beyond = append(x.final.Counts, events.Count{Line: 4}), []events.Beyond{single}
	y.final.Counts[0].Counted++
	y.closed = &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}}
	s.live(x)
	s.live(y)
	again := newTurn("A", 1, l).unused()
	s.live(again)
	w := s.world()
	v := judge(t, w, x.key())
	if got := codes(v); got != "count-short:doubtful" || !strings.Contains(v.Findings[0].Says, "1 more than expected in B") {
		t.Errorf("%s: %s", got, show(v))
	}
	if v := judge(t, w, y.key()); codes(v) != "count-over:noted" {
		t.Errorf("of the other set: %s", show(v))
	}
}

// TestStandingNamesLinesBeyondTheList: a page that counts next is told the line,
// its name and how many there should be.
func TestStandingNamesLinesBeyondTheList(t *testing.T) {
	s, x := plain()
	x.final, x.closed = nil, nil
	s.live(x)
	s.came(x, 8, 10, 2)
	st, err := s.world().CaseStanding(x.ref)
	if err != nil {
		t.Fatal(err)
	}
	lines := st.Sets[0].Lines
	want := projections.LineStanding{Expected: 2, Beyond: true,
		Line: events.Line{Line: 61, Item: clamp.Item, Description: clamp.Description}}
	if len(lines) != 4 || lines[3] != want {
		t.Errorf("%+v", lines)
	}
	if slices.ContainsFunc(lines[:3], func(l projections.LineStanding) bool { return l.Beyond }) {
		t.Errorf("a line of the list is said to be on none: %+v", lines)
	}
}
