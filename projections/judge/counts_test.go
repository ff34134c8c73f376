package judge

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"

	"github.com/go-json-experiment/json"
	"pgregory.net/rapid"
)

// casework tells sets used in one case; off[i] is by how much the final count
// of each line of set i differs.
func casework(s *story, sets []string, off [][]int64, closed *events.CaseClosed) []*turn {
	l := s.list("LAP-MAJOR", 1, 6, 2, 4)
	var turns []*turn
	for i, set := range sets {
		x := newTurn(set, 0, l).forCase("K-0412")
		x.day = 0
		for k, d := range off[i] {
			x.final.Counts[k].Counted += d
		}
		if i == len(sets)-1 {
			x.closed = closed
		}
		s.live(x)
		turns = append(turns, x)
	}
	return turns
}

func TestCountsAcrossACase(t *testing.T) {
	reconciled := &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}}
	unreconciled := &events.CaseClosed{Case: "K-0412", Outcome: "unreconciled", Actions: []string{}}
	for _, test := range []struct {
		name   string
		off    [][]int64
		closed *events.CaseClosed
		want   []string // codes of each set
		says   string   // of the first finding of the first set
	}{
		{"nothing off", [][]int64{{0, 0, 0}, {0, 0, 0}}, reconciled, []string{"", ""}, ""},
		{"a piece of A lies in B", [][]int64{{-1, 0, 0}, {1, 0, 0}}, reconciled,
			[]string{"count-short:doubtful", "count-over:noted"}, "Probably misplaced: 1 more than expected in B."},
		{"short in A, another item over in B", [][]int64{{-1, 0, 0}, {0, 1, 0}}, nil,
			[]string{"count-short:broken", "count-over:broken"}, "1 short over all sets of the case that were counted."},
		{"two short in A, one of them in B", [][]int64{{-2, 0, 0}, {1, 0, 0}}, reconciled,
			[]string{"count-short:broken closed-unreconciled:broken count-short:doubtful", "count-over:noted"}, "1 short over all sets"},
		{"one short in A alone", [][]int64{{0, -1, 0}, {0, 0, 0}}, reconciled,
			[]string{"count-short:broken closed-unreconciled:broken", ""}, "line 2 (Scissors, Mayo): 1 counted, 2 expected. 1 short"},
		{"one short in each", [][]int64{{0, -1, 0}, {-1, 0, 0}}, reconciled,
			[]string{"count-short:broken closed-unreconciled:broken", "count-short:broken closed-unreconciled:broken"}, ""},
		{"unreconciled, with one short in B", [][]int64{{0, 0, 0}, {-1, 0, 0}}, unreconciled,
			[]string{"", "count-short:broken closed-unreconciled:broken"}, ""},
		{"unreconciled, and nothing open", [][]int64{{0, 0, 0}, {0, 0, 0}}, unreconciled, []string{"closed-unreconciled:broken", ""}, ""},
		{"three sets: A's pieces lie in B and C", [][]int64{{-2, 0, 0}, {1, 0, 0}, {1, 0, 0}}, reconciled,
			[]string{"count-short:doubtful", "count-over:noted", "count-over:noted"},
			"1 more than expected in B and 1 more than expected in C"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			turns := casework(s, []string{"A", "B", "C"}[:len(test.off)], test.off, test.closed)
			w := s.world()
			for i, x := range turns {
				v := judge(t, w, x.key())
				checkVerdict(t, v)
				if got := codes(v); got != test.want[i] {
					t.Errorf("%s: %s, want %s", x.set, got, test.want[i])
				}
				if i == 0 && test.says != "" && !strings.Contains(v.Findings[0].Says, test.says) {
					t.Errorf("says %q", v.Findings[0].Says)
				}
			}
			got, err := w.Case("K-0412")
			if err != nil || len(got) != len(turns) || got[0] != turns[0].key() {
				t.Errorf("case: %v, %v", got, err)
			}
		})
	}
}

func TestClosedSays(t *testing.T) {
	for _, test := range []struct {
		closed *events.CaseClosed
		says   []string
	}{
		{&events.CaseClosed{Outcome: "reconciled"},
			[]string{"was closed as reconciled on 2026-03-03 09:40 UTC, although these are unaccounted for: 1 " +
				"short in A line 1 (Forceps, mosquito).", "No action is recorded."}},
		{&events.CaseClosed{Outcome: "unreconciled", Actions: []string{"searched", "x-ray taken"}, Reason: "patient unstable"},
			[]string{"was closed as unreconciled", "; these are unaccounted for", "Reason given: patient unstable.",
				"Actions recorded: searched; x-ray taken."}},
	} {
		s := newStory()
		test.closed.Case = "K-0412"
		turns := casework(s, []string{"A", "B"}, [][]int64{{-1}, {0}}, test.closed)
		w := s.world()
		fs := find(judge(t, w, turns[0].key()), projections.ClosedUnreconciled)
		if len(fs) != 1 {
			t.Fatalf("%d findings", len(fs))
		}
		for _, says := range test.says {
			if !strings.Contains(fs[0].Says, says) {
				t.Errorf("%q is not in %q", says, fs[0].Says)
			}
		}
		if fs := find(judge(t, w, turns[1].key()), projections.ClosedUnreconciled); len(fs) != 0 {
			t.Errorf("said of the set that has nothing open: %q", fs[0].Says)
		}
	}
}

// TestPackedInTheNeighbour: a clamp packed in the neighbour's tray has one
// explanation at the first count, and pieces that do not fit each other have none.
func TestPackedInTheNeighbour(t *testing.T) {
	for _, test := range []struct {
		name  string
		off   [2][2]int64 // of lines 1 and 2, in A and B
		says  [2]string
		never [2]string
		told  bool // of A, so that B is noted
	}{
		{"one clamp in the other tray", [2][2]int64{{-1, 0}, {1, 0}},
			[2]string{"Probably packed in the wrong set: 1 more than expected in B.",
				"Probably packed in the wrong set: 1 fewer than expected in A. It and A were packed "},
			[2]string{}, true},
		{"two of a kind, one of them there", [2][2]int64{{-2, 0}, {1, 0}},
			[2]string{"1 more than expected in B.", "1 fewer than expected in A."}, [2]string{}, true},
		{"two in B, one of them from A", [2][2]int64{{-1, 0}, {2, 0}},
			[2]string{"1 more than expected in B.", "1 fewer than expected in A."}, [2]string{"", "listed"}, false},
		{"one from A, and another piece short in B", [2][2]int64{{-1, 0}, {1, -1}},
			[2]string{"1 more than expected in B.", "1 fewer than expected in A."}, [2]string{"", "listed"}, false},
		{"other pieces", [2][2]int64{{-1, 0}, {0, 1}}, [2]string{}, [2]string{"wrong set", "wrong set"}, false},
		{"both short", [2][2]int64{{-1, 0}, {-1, 0}}, [2]string{}, [2]string{"wrong set", "wrong set"}, false},
	} {
		s := newStory()
		l := s.list("LAP-MAJOR", 1, 6, 3, 4)
		x, y := newTurn("A", 0, l).forCase("K-0412"), newTurn("B", 0, l).forCase("K-0412")
		for i, turn := range []*turn{x, y} {
			for line, off := range test.off[i] {
				turn.first.Counts[line].Counted += off
				turn.final.Counts[line].Counted += off
			}
			s.live(turn)
		}
		w := s.world()
		for i, turn := range []*turn{x, y} {
			v := judge(t, w, turn.key())
			checkVerdict(t, v)
			fs, want := find(v, projections.CountDiffersAtOpen), projections.SeverityDoubtful
			if test.told && i == 1 {
				want = projections.SeverityNoted
			}
			if len(fs) != 1 || fs[0].Severity != want {
				t.Fatalf("%s: %s", test.name, show(v))
			}
			if !strings.Contains(fs[0].Says, test.says[i]) || test.never[i] != "" && strings.Contains(fs[0].Says, test.never[i]) {
				t.Errorf("%s: %s says %q", test.name, turn.set, fs[0].Says)
			}
			shown := 2 // its packing and its count
			if test.says[i] != "" {
				shown += 2 // the other set's count, and its packing at the same station
			}
			if len(fs[0].Events) != shown {
				t.Errorf("%s: of %s the records %v are shown, want %d", test.name, turn.set, fs[0].Events, shown)
			}
		}
	}
}

// TestPackedFullAgain: a misplaced piece asks for nothing more once its set is packed
// with the full number again; until then it does, and so does what lies nowhere.
func TestPackedFullAgain(t *testing.T) {
	const doubtful, noted = "count-short:doubtful", "count-short:noted"
	for _, test := range []struct {
		name   string
		before int64     // of line 1, in the turn in which one of A comes to lie in B
		end    int64     // and at the end of it
		then   [][]int64 // of lines 1 and 2, as A is packed afterwards
		after  time.Duration
		want   string
		full   int // which of these packings has the full number
	}{
		{"not packed since", 6, 5, nil, 0, doubtful, 0},
		{"packed full", 6, 5, [][]int64{{6, 2}}, 24 * time.Hour, noted, 1},
		{"packed without it", 6, 5, [][]int64{{5, 2}}, 24 * time.Hour, doubtful + " came-back-short:noted", 0},
		{"packed without another piece", 6, 5, [][]int64{{6, 1}}, 24 * time.Hour, "came-back-short:broken " + noted, 1},
		{"packed full the second time", 6, 5, [][]int64{{5, 2}, {6, 2}}, 24 * time.Hour, "came-back-short:noted " + noted, 2},
		{"as few as before it was short", 5, 4, [][]int64{{5, 2}}, 24 * time.Hour, noted, 1},
		{"fewer than before it was short", 5, 4, [][]int64{{4, 2}}, 24 * time.Hour, doubtful + " came-back-short:noted", 0},
		{"packed full, and one lies nowhere", 6, 4, [][]int64{{6, 2}}, 24 * time.Hour,
			"count-short:broken closed-unreconciled:broken " + doubtful, 0},
		{"packed before it was missed", 6, 5, [][]int64{{6, 2}}, time.Hour, "two-places:doubtful " + doubtful, 0},
	} {
		s := newStory()
		l := s.list("LAP-MAJOR", 1, 6, 2, 4)
		x, y := newTurn("A", 0, l).forCase("K-0412"), newTurn("B", 0, l).forCase("K-0412")
		x.pack.Exceptions = without(l, test.before, 2)
		x.first.Counts[0].Counted, x.final.Counts[0].Counted = test.before, test.end
		y.final.Counts[0].Counted++
		y.closed = &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}}
		s.live(x)
		s.live(y)
		var full time.Time
		for i, n := range test.then {
			at := x.openedAt().Add(time.Duration(i+1) * test.after)
			s.tell("packing-1", at, "A", tripOf("A", i+1), &events.SetPacked{List: l.List, Version: 1, Exceptions: without(l, n...)})
			if i+1 == test.full {
				full = at
			}
		}
		w := s.world()
		v := judge(t, w, x.key())
		checkVerdict(t, v)
		if got := codes(v); got != test.want {
			t.Errorf("%s: %s, want %s", test.name, got, test.want)
		}
		i := slices.IndexFunc(v.Findings, func(f projections.Finding) bool { return f.Way == (&projections.Misplaced{}).Way() })
		f := &v.Findings[i]
		d := f.Detail.(*projections.Misplaced)
		if (d.Righted != nil) != (test.full > 0) || d.Righted != nil && !d.Righted.At.Equal(full) ||
			projections.NearMiss(f) != (test.full > 0) {
			t.Errorf("%s: packed with the full number %+v: %s", test.name, d.Righted, f.Says)
		}
		if fs := find(judge(t, w, y.key()), projections.CountOver); len(fs) != 1 || projections.NearMiss(&fs[0]) {
			t.Errorf("%s: B has %+v", test.name, fs)
		}
	}
}

// without are the exceptions of a packing by which the first lines have so many.
func without(l *events.ListIssued, counted ...int64) []events.Exception {
	var out []events.Exception
	for i, n := range counted {
		if n != l.Lines[i].Quantity {
			out = append(out, events.Exception{Line: l.Lines[i].Line, Counted: n, Reason: "missing"})
		}
	}
	return out
}

// TestOneItemOnTwoLines: six and two of one clamp; one lies under the other line.
func TestOneItemOnTwoLines(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 2, 4)
	l.Lines[1].Item = l.Lines[0].Item
	x := newTurn("A", 0, l)
	x.final.Counts[0].Counted, x.final.Counts[1].Counted = 5, 3
	s.live(x)
	v := judge(t, s.world(), x.key())
	checkVerdict(t, v)
	if got := codes(v); got != "count-short:noted" {
		t.Fatal(got)
	}
	if says := v.Findings[0].Says; !strings.Contains(says, "In the final count of A") || !strings.Contains(says,
		"together they have as many as expected") {
		t.Error(says)
	}
}

// ended holds a verdict's counts to its codes, and to what they say: a code
// and a part of a sentence by turns.
func ended(t *testing.T, what string, v projections.Verdict, want string, says ...string) {
	t.Helper()
	checkVerdict(t, v)
	if got := codes(v); got != want {
		t.Errorf("%s: %s: %s, want %s", what, v.Set, got, want)
	}
	for i := 0; i < len(says); i += 2 {
		if !slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return string(f.Code) == says[i] && strings.Contains(f.Says, says[i+1])
		}) {
			t.Errorf("%s: no %s says %q: %s", what, says[i], says[i+1], show(v))
		}
	}
}

// TestAfterTheFinalCount: what came or left after the final count was not
// counted at the end, unless a later count has its line.
func TestAfterTheFinalCount(t *testing.T) {
	const closed = "closed-unreconciled:broken count-missing:doubtful"
	for _, test := range []struct {
		name string
		told func(s *story, x *turn)
		want string
		says []string
	}{
		{"one added", func(s *story, x *turn) { s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1}) }, closed,
			[]string{"count-missing",
				"After the final count of LAP-014 (2026-03-03 09:30 UTC) pieces came or left, and no count has " +
					"the line since: line 1 (Forceps, mosquito): 1 added (2026-03-03 09:35 UTC).",
				"closed-unreconciled", ", although these were not counted at the end: LAP-014 line 1 (Forceps, mosquito)."}},
		{"one removed", func(s *story, x *turn) {
			s.count(x, events.StageAdded, 9,
				35).Event.Data.(*events.SetCounted).Removed = []events.Removed{{Line: 2, Quantity: 1, Reason: "fell to the floor"}}
		}, closed, []string{"count-missing", "line 2 (Scissors, Mayo): 1 removed"}},
		{"none added", func(s *story, x *turn) { s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 0}) }, "", nil},
		{"added, and counted again", func(s *story, x *turn) {
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1})
			s.count(x, events.StageRelief, 9, 36, events.Count{Line: 1, Counted: 7})
		}, "", nil},
		{"added, and not found again", func(s *story, x *turn) {
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1})
			s.count(x, events.StageRelief, 9, 36, events.Count{Line: 1, Counted: 6})
		}, "count-short:broken closed-unreconciled:broken", []string{"count-short",
			"In the count at a change of people of LAP-014 (2026-03-03 09:36 UTC): line 1 (Forceps, mosquito): " +
				"6 counted, 7 expected. 1 short."}},
		{"added, and a second final count", func(s *story, x *turn) {
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1})
			s.count(x, events.StageFinal, 9, 36, events.Count{Line: 1, Counted: 7}, events.Count{Line: 2,
				Counted: 2}, events.Count{Line: 3, Counted: 4})
		}, "", nil},
	} {
		s, x := plain()
		s.live(x)
		test.told(s, x)
		ended(t, test.name, judge(t, s.world(), x.key()), test.want, test.says...)
	}
	// What was added after the closing was not open then.
	s, x := plain()
	s.live(x)
	s.count(x, events.StageAdded, 9, 45, events.Count{Line: 1, Counted: 1})
	if v := judge(t, s.world(), x.key()); len(find(v, projections.CountMissing)) != 1 || len(find(v, projections.ClosedUnreconciled)) != 0 {
		t.Errorf("added after the closing: %s", show(v))
	}
}

// TestLastWord: what was short before closing stays short where the final
// count left its line out, or was not made at all.
func TestLastWord(t *testing.T) {
	counts := func(n int64) []events.Count {
		return []events.Count{{Line: 1, Counted: n}, {Line: 2, Counted: 2}, {Line: 3, Counted: 4}}
	}
	short := "1 short in LAP-014 line 1 (Forceps, mosquito)."
	for _, test := range []struct {
		name string
		told func(s *story, x *turn)
		want string
		says []string
	}{
		{"left out", func(s *story, x *turn) {
			x.final.Counts = x.final.Counts[1:]
			s.count(x, events.StageClosing, 9, 0, counts(5)...)
		},
			"count-short:broken closed-unreconciled:broken count-missing:doubtful",
			[]string{"count-short",
				"In the count before closing the wound of LAP-014 (2026-03-03 09:00 UTC): line 1 (Forceps, " +
					"mosquito): 5 counted, 6 expected. The final count left this line out. 1 short.", "closed-unreconciled", short}},
		{"all left out", func(s *story, x *turn) {
			x.final.Counts = []events.Count{}
			s.count(x, events.StageClosing, 9, 0, counts(5)...)
		},
			"count-short:broken closed-unreconciled:broken count-missing:doubtful",
			[]string{"closed-unreconciled",
				"1 short in LAP-014 line 1 (Forceps, mosquito); and although these were not counted at the end: LAP-014 line 2"}},
		{"left out, not short before", func(s *story, x *turn) {
			x.final.Counts = x.final.Counts[1:]
			s.count(x, events.StageClosing, 9, 0, counts(6)...)
		},
			"closed-unreconciled:broken count-missing:doubtful", []string{"closed-unreconciled",
				"although these were not counted at the end: LAP-014 line 1"}},
		{"left out, and counted after it", func(s *story, x *turn) {
			x.final.Counts = x.final.Counts[1:]
			s.count(x, events.StageRelief, 9, 35, counts(6)...)
		}, "count-missing:doubtful", nil},
		{"no final count", func(s *story, x *turn) { x.final = nil; s.count(x, events.StageClosing, 9, 0, counts(5)...) },
			"count-short:broken closed-unreconciled:broken count-missing:doubtful", []string{"closed-unreconciled", short}},
		{"short twice, no final count", func(s *story, x *turn) {
			x.final = nil
			s.count(x, events.StageCavity, 8, 30, counts(5)...)
			s.count(x, events.StageClosing, 9, 0, counts(5)...)
		}, "count-short:broken closed-unreconciled:broken count-missing:doubtful count-short:noted",
			[]string{"closed-unreconciled", short, "count-short", "A later count differs as well."}},
		{"short, then found, no final count", func(s *story, x *turn) {
			x.final = nil
			s.count(x, events.StageCavity, 8, 30, counts(5)...)
			s.count(x, events.StageClosing, 9, 0, counts(6)...)
		}, "count-short:broken closed-unreconciled:broken count-missing:doubtful", []string{"closed-unreconciled",
			"although these were not counted at the end: LAP-014 line 1 (Forceps, mosquito)."}},
		{"one line right at the end, one left out", func(s *story, x *turn) {
			x.final.Counts = x.final.Counts[:2]
			s.count(x, events.StageClosing, 9, 0, events.Count{Line: 1, Counted: 5}, events.Count{Line: 3, Counted: 3})
		}, "count-short:broken closed-unreconciled:broken count-missing:doubtful count-short:noted",
			[]string{"count-short", "The final count came out as expected.", "closed-unreconciled",
				"1 short in LAP-014 line 3 (Clamp, Kocher)."}},
		{"right at the end, short after it", func(s *story, x *turn) { s.count(x, events.StageRelief, 9, 35, counts(5)...) },
			"count-short:broken closed-unreconciled:broken", []string{"closed-unreconciled", short}},
	} {
		s, x := plain()
		test.told(s, x)
		s.live(x)
		ended(t, test.name, judge(t, s.world(), x.key()), test.want, test.says...)
	}
}

// TestBeforeTheFinalCounts: a piece of one set that lies in another is
// misplaced, whichever count says so last.
func TestBeforeTheFinalCounts(t *testing.T) {
	for _, final := range []bool{false, true} { // A's; B has none yet
		s := newStory()
		a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3)).forCase("K-A-0")
		a.final.Counts[0].Counted, b.final, a.closed = 5, nil, nil
		stage := "final count"
		if !final {
			a.final, stage = nil, "count before closing the wound"
			s.count(a, events.StageClosing, 9, 0, events.Count{Line: 1, Counted: 5}, events.Count{Line: 2, Counted: 2})
		}
		s.count(b, events.StageClosing, 9, 1, events.Count{Line: 1, Counted: 7}, events.Count{Line: 2, Counted: 3})
		s.live(a)
		s.live(b)
		w := s.world()
		va, vb := judge(t, w, a.key()), judge(t, w, b.key())
		if fs := append(find(va, projections.CountShort), find(vb, projections.CountOver)...); len(fs) != 2 ||
			fs[0].Severity != projections.SeverityDoubtful || fs[1].Severity != projections.SeverityNoted ||
			!strings.HasSuffix(fs[1].Says, "It is listed under A.") || !strings.Contains(fs[0].Says,
			"In the "+stage+" of A") || !strings.HasSuffix(fs[0].Says, "Probably misplaced: 1 more than expected in B.") {
			t.Errorf("%s\n%s", show(va), show(vb))
		}
		checkVerdict(t, va)
		checkVerdict(t, vb)
	}
}

// TestShortInTwoSets: the case's sum is not one set's.
func TestShortInTwoSets(t *testing.T) {
	s := newStory()
	turns := casework(s, []string{"A", "B"}, [][]int64{{-2}, {-1}}, nil)
	w := s.world()
	for i, want := range []string{"2 short in this set, 3 short over all sets of the case that were counted.",
		"1 short in this set, 3 short over all sets of the case that were counted."} {
		ended(t, "short in both", judge(t, w, turns[i].key()), "count-short:broken", "count-short", want)
	}
}

// TestOneBadgeEach: each count is said with its own badge.
func TestOneBadgeEach(t *testing.T) {
	s, x := plain()
	x.first.Counter, x.first.Witness, x.final.Counter, x.final.Witness = "B-1", "B-1", "B-2", "B-2"
	s.live(x)
	ended(t, "two badges", judge(t, s.world(), x.key()), "count-one-person:doubtful",
		"count-one-person",
		"The first count (2026-03-03 07:20 UTC, badge B-1) and final count (2026-03-03 09:30 UTC, badge B-2) of "+
			"LAP-014 have one badge in both roles.")
}

// TestRemovedBeforeTheCount: what a count says was removed left the field
// before it, in the first count as in any other.
func TestRemovedBeforeTheCount(t *testing.T) {
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		for _, again := range []int64{5, 6} {
			s, x := plain()
			x.final.Counts[0].Counted = 5
			removed := []events.Removed{{Line: 1, Quantity: 1, Reason: "fell to the floor"}}
			want := ""
			switch stage {
			case events.StageFirst:
				x.first.Removed, x.first.Counts[0].Counted = removed, again
				if again == 6 { // one too many: six were packed, and one of them left
					want = "count-short:broken closed-unreconciled:broken count-differs-at-opening:doubtful"
				}
			case events.StageFinal:
				x.final.Removed, x.final.Counts[0].Counted = removed, again
				if again == 6 {
					want = "count-over:broken closed-unreconciled:broken"
				}
			default:
				s.count(x, stage, 9, 0, events.Count{Line: 1, Counted: again}).Event.Data.(*events.SetCounted).Removed = removed
				if again == 6 {
					want = "count-over:noted"
				}
			}
			s.live(x)
			w := s.world()
			ended(t, string(stage), judge(t, w, x.key()), want)
			if st, err := w.Standing(x.key()); err != nil || st.Lines[0].Packed != 6 ||
				stage != events.StageFirst && st.Lines[0].Expected != 5 || stage == events.StageFirst && st.Lines[0].Expected != again {
				t.Errorf("%s: stands at %+v (%v)", stage, st.Lines[0], err)
			}
		}
	}
}

// TestCountTimes: AORN's recommended practice for prevention of retained
// surgical items (2013 edition) asks for a count before the procedure, when
// items are added, before a cavity within a cavity is closed, when wound
// closure begins, at skin closure, and at permanent relief. A policy that asks
// for all six finds each one that was left out of a closed case.
func TestCountTimes(t *testing.T) {
	stages := []events.Stage{events.StageFirst, events.StageAdded, events.StageCavity, events.StageClosing,
		events.StageFinal, events.StageRelief}
	p := events.DefaultPolicy()
	p.Stages = stages
	for _, without := range append(slices.Clone(stages), "") {
		s, x := plain()
		s.tell("ledger", clock(-1, 0, 0), "north", "", &events.PolicyAdopted{Policy: p})
		x.first, x.final = nil, nil
		s.live(x)
		for i, st := range stages {
			if st == without {
				continue
			}
			if counts := countAll(x.list); st != events.StageAdded {
				s.count(x, st, 7, 20+10*i, counts...)
			} else {
				s.count(x, st, 7, 20+10*i, events.Count{Line: 1, Counted: 0})
			}
		}
		v := judge(t, s.world(), x.key())
		fs := find(v, projections.CountMissing)
		if without == "" {
			if v.Status != projections.Whole {
				t.Errorf("all six made: %s", show(v))
			}
			continue
		}
		if len(fs) != 1 || !strings.Contains(fs[0].Says, "no "+stageNames[without]) || strings.Count(fs[0].Says, "no ") != 1 {
			t.Errorf("without %s: %s", without, show(v))
		}
	}
}

// TestFirstCountBegunAgain: an interrupted count is begun again (IFPN 1002),
// so the last one before any other is what the rest is held against.
func TestFirstCountBegunAgain(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.count(x, events.StageFirst, 7, 15, events.Count{Line: 1, Counted: 3})
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Error(show(v))
	}
	s.count(x, events.StageFirst, 9, 35, events.Count{Line: 1, Counted: 3})
	if v := judge(t, s.world(), x.key()); len(find(v, projections.CountShort)) != 1 {
		t.Errorf("a first count after the final: %s", show(v))
	}
}

// TestAddedBeforeTheFirstCount: the first count has it, so it is not added again.
func TestAddedBeforeTheFirstCount(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.count(x, events.StageAdded, 7, 15, events.Count{Line: 2, Counted: 1})
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Error(show(v))
	}
	x.first.Counts[1].Counted, x.final.Counts[1].Counted = 3, 3
	if got := codes(judge(t, s.world(), x.key())); got != "count-differs-at-opening:doubtful" {
		t.Error(got)
	}
}

// TestEmptyLine: a line of which there is none need not be counted.
func TestEmptyLine(t *testing.T) {
	s := newStory()
	x := newTurn("A", 0, s.list("LAP-MAJOR", 1, 6, 0))
	x.first.Counts, x.final.Counts = x.first.Counts[:1], x.final.Counts[:1]
	s.live(x)
	if v := judge(t, s.world(), x.key()); v.Status != projections.Whole {
		t.Error(show(v))
	}
}

// TestTwoCases: each case's counts stand for themselves, and opening the set
// for another case takes nothing back.
func TestTwoCases(t *testing.T) {
	s, x := plain()
	x.final.Counts[0].Counted = 5
	s.live(x)
	want := "count-short:broken closed-unreconciled:broken"
	if got := codes(judge(t, s.world(), x.key())); got != want {
		t.Fatal(got)
	}
	again := *x.open
	again.Case = "K-2"
	s.tell("or-4", clock(2, 7, 0), x.set, x.trip(), &again)
	for stage, hour := range map[events.Stage]int{events.StageFirst: 8, events.StageFinal: 9} {
		s.tell("or-4", clock(2, hour, 0), x.set, x.trip(), &events.SetCounted{Case: "K-2", Stage: stage,
			Sheet: "screen", Counter: "B-1", Witness: "B-2", Counts: countAll(x.list)})
	}
	s.tell("or-4", clock(2, 10, 0), "K-2", "", &events.CaseClosed{Case: "K-2", Outcome: "reconciled"})
	if got := codes(judge(t, s.world(), x.key())); got != "not-reprocessed:broken "+want {
		t.Error(got)
	}
}

// TestClosedAgain: the last closing of a case is the one that holds.
func TestClosedAgain(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.tell("or-3", clock(1, 10, 0), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "unreconciled"})
	if got := codes(judge(t, s.world(), x.key())); got != "closed-unreconciled:broken" {
		t.Error(got)
	}
	s.tell("or-3", clock(1, 11, 0), x.ref, "", &events.CaseClosed{Case: x.ref, Outcome: "reconciled"})
	if got := codes(judge(t, s.world(), x.key())); got != "" {
		t.Error(got)
	}
}

// TestTwoTripsOpen: each of the two names the other.
func TestTwoTripsOpen(t *testing.T) {
	s, x := plain()
	x.open, x.first, x.final, x.closed = nil, nil, nil, nil
	s.live(x)
	y := newTurn(x.set, 1, x.list)
	s.live(y)
	tolerated := y.packedAt().Add(120 * 1e9)
	s.tell("storage", tolerated, x.set, x.trip(), &events.SetChecked{})
	if got := codes(judge(t, s.world(), y.key())); got != "" {
		t.Errorf("within what the clocks may differ: %s", got)
	}
	s.tell("storage", tolerated.Add(1e9), x.set, x.trip(), &events.SetChecked{})
	w := s.world()
	for k, other := range map[projections.TripKey]projections.TripKey{x.key(): y.key(), y.key(): x.key()} {
		fs := find(judge(t, w, k), projections.TwoPlaces)
		if len(fs) != 1 || fs[0].Severity != projections.SeverityDoubtful || *fs[0].Other != other {
			t.Errorf("%v: %+v", k, fs)
		}
	}
}

// TestUnknownList: without the list's lines, counts are held against each other.
func TestUnknownList(t *testing.T) {
	s, x := plain()
	s.all = nil // nobody issued the list here
	x.final.Counts[0].Counted = 5
	s.live(x)
	x.final.Counts = append(x.final.Counts, events.Count{Line: 9, Counted: 1}) // there may be a line 9
	if got := codes(judge(t, s.world(), x.key())); got != "count-short:broken closed-unreconciled:broken list-superseded:doubtful" {
		t.Error(got)
	}
	s, x = plain()
	s.all = nil
	x.seal = nil // nothing to hold a sheet against: that is not a wrong list
	s.live(x)
	if v := judge(t, s.world(), x.key()); len(find(v, projections.CountedOnWrongList)) != 0 || len(find(v, projections.SheetUnknown)) != 1 {
		t.Error(show(v))
	}
}

// TestCountsConserve: over a case, what the findings call short less over is
// what the final counts lack.
func TestCountsConserve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "sets")
		var off [][]int64
		lack := int64(0)
		for i := range n {
			off = append(off, nil)
			for range 3 {
				d := rapid.Int64Range(-2, 2).Draw(t, "off")
				off[i] = append(off[i], d)
				lack -= d
			}
		}
		s := newStory()
		turns := casework(s, []string{"A", "B", "C", "D"}[:n], off, nil)
		w := s.world()
		state := w.caseState("K-0412")
		left := int64(0)
		for _, l := range state.left {
			left += l.Quantity
		}
		if left != lack {
			t.Fatalf("%d unaccounted for, %d lacking", left, lack)
		}
		for i, x := range turns {
			v := judge(t, w, x.key())
			var lines []int64
			for _, f := range append(find(v, projections.CountShort), find(v, projections.CountOver)...) {
				lines = append(lines, f.Lines...)
			}
			slices.Sort(lines)
			lines = slices.Compact(lines)
			var want []int64
			for k, d := range off[i] {
				if d != 0 {
					want = append(want, int64(k+1))
				}
			}
			if !slices.Equal(lines, want) {
				t.Fatalf("%s: lines %v, want %v", x.set, lines, want)
			}
		}
	})
}

func TestAcknowledged(t *testing.T) {
	s, x := plain()
	x.final.Counts[0].Counted = 5
	s.live(x)
	s.tell("or-3", clock(1, 10, 0), x.set, x.trip(), &events.FindingAcknowledged{Code: "count-short", Reason: "x-ray reviewed"})
	s.tell("or-3", clock(1, 10, 0), x.set, x.trip(), &events.FindingAcknowledged{Code: "sheet-swapped", Reason: "no such finding"})
	v := judge(t, s.world(), x.key())
	if v.Status != projections.Broken || len(v.Findings) != 2 {
		t.Fatal(show(v))
	}
	for _, f := range v.Findings {
		a := f.Acknowledged
		if want := f.Code == projections.CountShort; want != (len(a) == 1) || want && (a[0].By != "B-1182" ||
			a[0].Reason != "x-ray reviewed") {
			t.Errorf("%s: %+v", f.Code, a)
		}
	}
}

// TestAnotherPersonLooksAtACorrection: who corrected has not looked at it, nor has who had seen an earlier one.
func TestAnotherPersonLooksAtACorrection(t *testing.T) {
	for _, test := range []struct {
		by   string
		at   time.Time
		want bool
	}{
		{"B-9999", clock(1, 16, 0), true}, {"B-1182", clock(1, 16, 0), false}, {"b-1182", clock(1, 16, 0), false}, {"", clock(1, 16, 0), false},
		{"B-9999", clock(1, 14, 59), false},
	} {
		s, x := plain()
		right := *x.open
		x.open.Sheet = &events.Reading{Found: "none"}
		s.live(x)
		s.correct(s.last(events.KindSetOpened), clock(1, 15, 0), &right)
		s.tell("or-3", test.at, x.set, x.trip(), &events.FindingAcknowledged{Code: string(projections.Corrected),
			Reason: "was there"}).Event.Operator = test.by
		fs := find(judge(t, s.world(), x.key()), projections.Corrected)
		if len(fs) != 1 || fs[0].Severity != projections.SeverityDoubtful || (len(fs[0].Acknowledged) == 1) != test.want {
			t.Errorf("looked at by %q at %s: %+v", test.by, test.at, fs)
		}
	}
}

func TestJudgeStation(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.all[0].Remarks = events.RemarkGap // the list
	s.last(events.KindSetPacked).Remarks = events.RemarkSignature
	s.tell("packing-1", clock(2, 0, 0), "X", "", &events.Unknown{Type: "listbound.set.weighed.v1"}).Remarks = events.RemarkUnknown
	for _, at := range []time.Time{clock(2, 9, 0), clock(2, 8, 0), clock(2, 10, 0)} { // as they came in
		s.tell("packing-2", at, "X", "", &events.Unknown{Type: "listbound.set.weighed.v1"}).Remarks = events.RemarkUnknown
	}
	s.all = append(s.all, facts.Fact{Seq: 500, Recorded: clock(2, 0, 0), Remarks: events.RemarkForm})
	w := s.world()
	for _, test := range []struct{ station, codes, status string }{
		{"north/packing-1", "station-gap:doubtful record-unread:noted", "doubtful"},
		{"north/or-3", "", "whole"},
		{"", "signature-bad:broken", "broken"},
	} {
		v, err := w.JudgeStation(events.Station{Name: test.station})
		if err != nil || codes(v) != test.codes || string(v.Status) != test.status || v.Station != test.station {
			t.Errorf("%q: %s (%v)", test.station, show(v), err)
		}
		if since := map[string]time.Time{"north/packing-1": clock(2, 0, 0)}[test.station]; !v.Since.Equal(since) {
			t.Errorf("%q: since %s, want %s", test.station, v.Since, since)
		}
		words.Embedded().Tell(&v)
		checkVerdict(t, v)
	}
	v, err := w.JudgeStation(events.Station{Name: "north/packing-2"})
	if err != nil || len(v.Findings) != 1 || !v.Findings[0].From.Equal(clock(2, 8, 0)) || !v.Findings[0].To.Equal(clock(2, 10, 0)) {
		t.Errorf("three records that are unread, from eight to ten: %s (%v)", show(v), err)
	}
	if got := codes(judge(t, w, x.key())); got != "signature-bad:broken" {
		t.Errorf("the trip: %s", got)
	}
}

func TestResolve(t *testing.T) {
	s, x := plain()
	s.live(x)
	s.live(newTurn(x.set, 1, x.list))
	w := s.world()
	for _, test := range []struct {
		day, hour int
		want      projections.TripKey
	}{{-1, 0, projections.TripKey{Set: x.set}}, {0, 7, x.key()}, {3, 6, x.key()}, {3, 7, key(x.set, 1)}, {30, 0, key(x.set, 1)}} {
		f := *s.tell("storage", clock(test.day, test.hour, 0), x.set, "", &events.SetChecked{})
		if got := w.Resolve(f); got != test.want {
			t.Errorf("day %d %d:00: %v, want %v", test.day, test.hour, got, test.want)
		}
	}
	void := *s.tell("packing-1", clock(20, 6, 0), x.set, tripOf(x.set, 2), x.pack)
	w.Add(void)
	w.Add(*s.correct(&void, clock(20, 7, 0), nil))
	f := *s.tell("storage", clock(21, 0, 0), x.set, "", &events.SetChecked{})
	if got := w.Resolve(f); got != key(x.set, 1) {
		t.Errorf("after a packing that was taken back: %v", got)
	}
	if got := w.Resolve(s.all[0]); got != (projections.TripKey{}) {
		t.Errorf("a list belongs to %v", got)
	}
	f = *s.correct(s.last(events.KindSetOpened), clock(9, 0, 0), nil)
	f.Event.Trip = ""
	if got := w.Resolve(f); got != key(x.set, 1) {
		t.Errorf("a correction without its trip belongs to %v", got)
	}
}

func TestSort(t *testing.T) {
	f := func(sev ...projections.Severity) (out []projections.Finding) {
		for _, s := range sev {
			out = append(out, projections.Finding{Severity: s})
		}
		return out
	}
	want := []projections.Verdict{
		{Set: "1", Status: projections.Broken, Findings: f(projections.SeverityBroken)},
		{Set: "2", Status: projections.Broken, Opened: true, Findings: f(projections.SeverityBroken, projections.SeverityBroken)},
		{Set: "3", Status: projections.Broken, Opened: true, Findings: f(projections.SeverityBroken, projections.SeverityDoubtful)},
		{Set: "4", Status: projections.Broken, Opened: true, Findings: f(projections.SeverityBroken), Since: clock(2, 0, 0)},
		{Set: "5", Status: projections.Broken, Opened: true, Findings: f(projections.SeverityBroken), Since: clock(1, 0, 0)},
		{Set: "6", Status: projections.Broken, Opened: true, Findings: f(projections.SeverityBroken), Since: clock(1, 0, 0)},
		{Set: "7", Status: projections.Doubtful, Findings: f(projections.SeverityDoubtful)},
		{Set: "8", Status: projections.Open, Opened: true},
		{Set: "9", Status: projections.Whole, Opened: true, Trip: "a"},
		{Set: "9", Status: projections.Whole, Opened: true, Trip: "b"},
	}
	got := slices.Clone(want)
	slices.Reverse(got)
	projections.Sort(got)
	for i := range want {
		if got[i].Set+got[i].Trip != want[i].Set+want[i].Trip {
			t.Errorf("place %d has %s%s, want %s%s", i, got[i].Set, got[i].Trip, want[i].Set, want[i].Trip)
		}
	}
}

func TestHistory(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B"}, []string{"B", "A"})
	a := turns[0]
	open := *s.last(events.KindSetOpened) // B's
	s.indicator(1, a.run.Load, "positive")
	s.correct(&open, clock(2, 8, 0), nil)
	s.all[len(s.all)-1].Recorded = clock(2, 9, 0) // an hour late
	w := s.world()
	for _, test := range []struct {
		name  string
		of    projections.HistoryOf
		kinds string
		keys  int
	}{
		{"trip", projections.HistoryOf{Set: "A", Trip: a.trip()},
			"set.packed list.sealed set.sterilized set.opened set.counted indicator.read set.counted case.closed", 1},
		{"set", projections.HistoryOf{Set: "A"},
			"set.packed list.sealed set.sterilized set.opened set.counted indicator.read set.counted case.closed", 1},
		{"case", projections.HistoryOf{Case: a.ref},
			"set.packed list.sealed set.sterilized set.opened set.counted indicator.read set.counted case.closed", 1},
		{"load", projections.HistoryOf{Load: a.run.Load},
			"set.sterilized set.sterilized set.opened set.opened indicator.read event.corrected", 2},
		{"taken back", projections.HistoryOf{Set: "B", Trip: turns[1].trip()},
			"set.packed list.sealed set.sterilized set.opened set.opened set.counted indicator.read set.counted " +
				"case.closed event.corrected", 1},
	} {
		h, err := told(w.History(test.of))
		if err != nil {
			t.Fatal(err)
		}
		var kinds []string
		for i, e := range h.Events {
			if e.Says == "" || e.Seq == 0 {
				t.Errorf("%s: %+v", test.name, e)
			}
			if i > 0 && e.Observed.Before(h.Events[i-1].Observed) {
				t.Errorf("%s: %s is out of order", test.name, e.Kind)
			}
			kinds = append(kinds, e.Kind)
			if e.Late != (e.Kind == "event.corrected") {
				t.Errorf("%s: late is %t for %s", test.name, e.Late, e.Kind)
			}
			if e.Seq == open.Seq && (e.Voided == 0 || !strings.Contains(e.Says, "taken back")) {
				t.Errorf("%s: the opening is not marked: %+v", test.name, e)
			}
		}
		if got := strings.Join(kinds, " "); got != test.kinds && test.name != "load" {
			t.Errorf("%s: %s\nwant %s", test.name, got, test.kinds)
		}
		if len(h.Verdicts) != test.keys {
			t.Errorf("%s: %d verdicts", test.name, len(h.Verdicts))
		}
	}
	// A fetching World tells the same.
	for _, of := range []projections.HistoryOf{{Set: "A", Trip: a.trip()}, {Case: a.ref}, {Load: a.run.Load},
		{Set: "B", Trips: []projections.TripKey{turns[1].key()}}} {
		got, err1 := told(NewWorld(&shelf{all: s.all}).History(of))
		want, err2 := told(w.History(of))
		if g, w := string(must(json.Marshal(got))), string(must(json.Marshal(want))); g != w || err1 != nil || err2 != nil {
			t.Errorf("%+v:\n%s\n%s", of, g, w)
		}
	}
}

// TestFirstCountAmongOthers: where another count came before it, the first one of the first counts is it.
func TestFirstCountAmongOthers(t *testing.T) {
	s, x := plain()
	s.count(x, events.StageAdded, 7, 14, events.Count{Line: 1, Counted: 0})
	s.live(x)
	s.count(x, events.StageFirst, 7, 30, events.Count{Line: 1, Counted: 5}, events.Count{Line: 2, Counted: 2},
		events.Count{Line: 3, Counted: 4})
	w := s.world()
	c := w.Trip(x.key())
	if first := tallyUp(c, x.ref).first; first == nil || !first.At().Equal(x.firstAt()) {
		t.Errorf("the first count is %+v", first)
	}
	if v := judge(t, w, x.key()); len(find(v, projections.CountDiffersAtOpen)) != 0 {
		t.Error(show(v))
	}
}

// TestUnknownListNone: where nobody knows the list, a line of which there were none must be counted at the end as well: only
// the counts say that there is such a line.
func TestUnknownListNone(t *testing.T) {
	for _, counted := range []bool{true, false} {
		s, x := plain()
		s.all = nil
		x.first.Counts[1].Counted, x.final.Counts[1].Counted = 0, 0
		if !counted {
			x.final.Counts = slices.Delete(slices.Clone(x.final.Counts), 1, 2)
		}
		s.live(x)
		fs := find(judge(t, s.world(), x.key()), projections.ClosedUnreconciled)
		if (len(fs) == 0) != counted {
			t.Fatalf("counted %t: %+v", counted, fs)
		}
		if counted {
			continue
		}
		d := fs[0].Detail.(*projections.ClosedOpen)
		if want := []projections.OpenLine{{Set: x.set, Line: 2}}; !slices.Equal(d.Uncounted, want) {
			t.Errorf("uncounted %+v, want %+v", d.Uncounted, want)
		}
	}
}

// TestMustBeCounted: which lines a count may leave out: those of which there should be none, unless an earlier count spoke of a
// line of the list, or nobody knows the list.
func TestMustBeCounted(t *testing.T) {
	listed, other := events.Line{Line: 1, Item: "ITEM-1"}, events.Line{Line: 1}
	for _, test := range []struct {
		line     events.Line
		expected int64
		known    bool
		unlisted bool // nobody knows the list
		must     bool
	}{
		{listed, 1, false, false, true},
		{listed, 0, false, false, false},
		{listed, 0, true, false, true},
		{other, 0, true, false, false},
		{other, 0, true, true, true},
		{other, 0, false, true, false},
		{other, 1, true, false, true},
		{other, -1, true, false, true}, // more left than there was
	} {
		b := &books{lines: []events.Line{test.line}, expected: []int64{test.expected}, known: []bool{test.known}}
		_, gaps := b.compare(nil, b.expected, test.unlisted)
		if (len(gaps) == 1) != test.must {
			t.Errorf("%+v: left out are %v", test, gaps)
		}
	}
}
