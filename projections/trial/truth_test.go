//go:build !race

package trial

import (
	"testing"
	"time"

	"listbound/projections"
	"listbound/projections/simulate"
)

// TestHappened: a finding of what happened is true, the same finding of a set to which it did not happen is invented, and what
// the truth says nothing of is not held against it.
func TestHappened(t *testing.T) {
	mine := &simulate.Trip{Set: "mine", ID: "1", Case: &simulate.Case{Room: "a"}}
	other := &simulate.Trip{Set: "other", ID: "2", Case: &simulate.Case{Room: "b"}}
	wrong := &simulate.Look{Tray: other, Named: other, Sheet: &simulate.Sheet{Of: mine, Kind: simulate.TrueSheet}, Label: other,
		ReadSheet: true, ReadTag: true, ReadLabel: true}
	unread := &simulate.Look{Tray: &simulate.Trip{Wet: true}, Named: mine, Label: mine}
	bare := &simulate.Look{Tray: &simulate.Trip{Bare: true}, Named: mine, Label: mine, ReadSheet: true, Sheet: mine.Sheet}
	own := &simulate.Look{Tray: mine, Named: mine, Sheet: wrong.Sheet, Label: mine, ReadSheet: true}
	week := &simulate.Week{Trips: []*simulate.Trip{mine, other}}
	tr := &trial{week: week, looks: map[int64]*simulate.Look{1: wrong, 2: unread, 3: bare, 4: own}, r: new(Result)}
	type of = projections.Finding
	label := func(x simulate.Trip) *simulate.Trip {
		x.Faults = []*simulate.Fault{{Kind: simulate.LabelSwap}}
		return &x
	}
	holder := func(x simulate.Trip) *simulate.Trip {
		x.Faults = []*simulate.Fault{{Kind: simulate.HolderSwap}}
		return &x
	}
	doubt := func(seq int64) of {
		return of{Code: projections.SheetInDoubt, Detail: &projections.ProbablyWrong{At: projections.Moment{Seq: seq}}}
	}
	inHand, afterRun := (&projections.ReadWhileClosed{}).Way(), (&projections.ClosedAfterRun{}).Way()
	started, openedUnread := (&projections.StartedBeforePacking{}).Way(), (&projections.OpenedUnread{}).Way()
	short := of{Code: projections.NotReleased, Way: started, Severity: projections.SeverityBroken}
	for _, x := range []struct {
		what            string
		of              *simulate.Trip
		f               of
		happened, known bool
	}{
		{"its sheet on another", mine, doubt(1), true, true},
		{"another's on another", other, doubt(1), false, true},
		{"its own with it", mine, doubt(4), false, true},
		{"nothing with it", mine, doubt(2), false, true},
		{"a count", mine, doubt(9), true, false},
		{"in hand", &simulate.Trip{Shut: simulate.ShutInHand}, of{Way: inHand}, true, true},
		{"not in hand", &simulate.Trip{Shut: simulate.ShutLocks}, of{Way: inHand}, false, true},
		{"closed again", &simulate.Trip{Shut: simulate.ShutLocks}, of{Way: afterRun, Severity: projections.SeverityDoubtful}, true, true},
		{"closed again, worse", &simulate.Trip{Shut: simulate.ShutLocks},
			of{Way: afterRun, Severity: projections.SeverityBroken}, false, true},
		{"printed", &simulate.Trip{Shut: simulate.ShutPrinted}, of{Way: afterRun}, false, true},
		{"never closed again", mine, of{Way: afterRun}, false, true},
		{"packed anew", &simulate.Trip{Anew: simulate.AnewUnrun}, short, true, true},
		{"packed anew, less bad", &simulate.Trip{Anew: simulate.AnewRun}, short, false, true},
		{"packed anew, another way", &simulate.Trip{Anew: simulate.AnewNamed}, short, false, true},
		{"not packed anew", mine, short, false, true},
		{"not packed anew, as nothing is", mine, of{Code: projections.NotReleased}, false, true},
		{"in another load by its label", label(*mine), short, false, false},
		{"in another load by its holder", holder(*mine), short, false, false},
		{"read wrong", mine, of{Code: projections.SheetSwapped, Events: []int64{9, 1}}, true, true},
		{"read right", mine, of{Code: projections.SheetSwapped, Events: []int64{9, 2}}, false, true},
		{"unread", mine, of{Code: projections.TagUnread, Way: openedUnread, Events: []int64{9, 2}}, true, true},
		{"not unread", mine, of{Code: projections.TagUnread, Way: openedUnread, Events: []int64{9, 1}}, false, true},
		{"heavy", &simulate.Trip{Heavy: true}, of{Code: projections.TooHeavy}, true, true},
		{"not heavy", mine, of{Code: projections.TooHeavy}, false, true},
		{"wet", mine, of{Code: projections.PackageUnfit, Events: []int64{9, 2}}, true, true},
		{"not wet but bare", mine, of{Code: projections.PackageUnfit, Events: []int64{3}}, false, true},
		{"bare", mine, of{Code: projections.IndicatorNotSeen, Events: []int64{9, 3}}, true, true},
		{"not bare but wet", mine, of{Code: projections.IndicatorNotSeen, Events: []int64{2}}, false, true},
		{"alone", &simulate.Trip{Alone: true}, of{Code: projections.SecondLookMissing}, true, true},
		{"not alone", mine, of{Code: projections.SecondLookMissing}, false, true},
		{"early", &simulate.Trip{Early: simulate.EarlyLate}, of{Code: projections.ImplantTooEarly}, true, true},
		{"not early", mine, of{Code: projections.ImplantTooEarly}, false, true},
		{"early under another label", label(*mine), of{Code: projections.ImplantTooEarly}, false, false},
		{"early under another holder", holder(*mine), of{Code: projections.ImplantTooEarly}, false, false},
		{"aside", &simulate.Trip{Aside: simulate.AsideUsed},
			of{Code: projections.PutAside, Severity: projections.SeverityBroken}, true, true},
		{"aside, less bad", &simulate.Trip{Aside: simulate.AsideUsed}, of{Code: projections.PutAside}, false, true},
		{"released", &simulate.Trip{Aside: simulate.AsideReleased},
			of{Code: projections.PutAside, Severity: projections.SeverityBroken}, false, true},
		{"nothing came back", mine, of{Code: projections.CameBackShort}, false, true},
		{"nothing came back over", mine, of{Code: projections.CameBackOver}, false, true},
		{"missed, not packed yet", &simulate.Trip{Back: &simulate.Back{Kind: simulate.BackMissed}},
			of{Code: projections.CameBackShort}, true, true},
		{"gone, not packed yet", &simulate.Trip{Back: &simulate.Back{Kind: simulate.BackGone}},
			of{Code: projections.CameBackShort}, false, true},
		{"counted right", mine, of{Code: projections.CountShort}, false, true},
		{"counted right at opening", mine, of{Code: projections.CountDiffersAtOpen, Detail: new(projections.FirstDiffers)}, false, true},
		{"nothing of the simulation", mine, of{Code: projections.TwoPlaces}, true, false},
	} {
		if happened, known := tr.happened(x.of, &x.f); happened != x.happened || known != x.known {
			t.Errorf("%s: %v, known %v", x.what, happened, known)
		}
	}
}

// TestCountedRight: pieces are counted right where neither the case nor any of its sets had a fault, and no set was used
// twice in its room; a set that was used twice bears on the counts of every case.
func TestCountedRight(t *testing.T) {
	fault := func(k simulate.FaultKind, place string) *simulate.Fault {
		return &simulate.Fault{Kind: k, Place: place}
	}
	for _, x := range []struct {
		what                                string
		set, beside, ofCase, elsewhere, all *simulate.Fault
		right                               bool
	}{
		{what: "nothing", right: true},
		{what: "its own", set: fault(simulate.PieceShort, "")},
		{what: "a set's beside it", beside: fault(simulate.PieceShort, "")},
		{what: "the case's", ofCase: fault(simulate.Miscounted, "")},
		{what: "of another case", elsewhere: fault(simulate.Miscounted, ""), right: true},
		{what: "used twice here", all: fault(simulate.UsedTwice, "a")},
		{what: "itself used twice", set: fault(simulate.UsedTwice, "")},
		{what: "used twice elsewhere", all: fault(simulate.UsedTwice, "b"), right: true},
		{what: "something else here", all: fault(simulate.Miscounted, "a"), right: true},
	} {
		set, beside, far := &simulate.Trip{}, &simulate.Trip{}, &simulate.Trip{}
		here := &simulate.Case{Room: "a", Trips: []*simulate.Trip{set, beside}}
		there := &simulate.Case{Room: "b", Trips: []*simulate.Trip{far}}
		set.Case, beside.Case, far.Case = here, here, there
		week := &simulate.Week{Cases: []*simulate.Case{there, here}}
		for _, y := range []struct {
			to *[]*simulate.Fault
			f  *simulate.Fault
		}{{&set.Faults, x.set}, {&beside.Faults, x.beside}, {&here.Faults, x.ofCase}, {&there.Faults, x.elsewhere}, {&week.Faults, x.all}} {
			if y.f != nil {
				*y.to = append(*y.to, y.f)
			}
		}
		tr := &trial{week: week}
		if got := tr.countedRight(set); got != x.right {
			t.Errorf("%s: %v", x.what, got)
		}
		f := projections.Finding{Code: projections.CountShort}
		if happened, known := tr.happened(set, &f); happened == x.right || !known {
			t.Errorf("%s: a count that is short: %v, known %v", x.what, happened, known)
		}
	}
}

// TestCameBack: of a piece between two turns everything told must be so.
func TestCameBack(t *testing.T) {
	closed := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	other := &simulate.Trip{Set: "other"}
	trip := func(k simulate.BackKind, o *simulate.Trip) *simulate.Trip {
		return &simulate.Trip{Back: &simulate.Back{Kind: k, Line: 3, Other: o}, Case: &simulate.Case{Ref: "C1", Closed: closed}}
	}
	type detail = projections.CameBack
	told := func(k simulate.BackKind, moved string) (projections.Finding, *detail) {
		d := &detail{Case: "C1", Why: backs[k].why, Closed: closed, Lines: []projections.BackLine{{Line: 3, Pieces: 1}}}
		if k == simulate.BackMissed {
			d.Lines[0].Missed = closed
		}
		if moved != "" {
			d.Moves = []projections.MovedPieces{{Set: moved}}
		}
		return projections.Finding{Code: backs[k].code, Severity: backs[k].sev, Detail: d}, d
	}
	hold := func(what string, x *simulate.Trip, f *projections.Finding, right bool) {
		t.Helper()
		if got := cameBack(x, f); got != right {
			t.Errorf("%s: %v", what, got)
		}
	}
	for _, k := range []simulate.BackKind{
		simulate.BackGone, simulate.BackRepair, simulate.BackReported, simulate.BackMissed, simulate.BackFound,
	} {
		f, _ := told(k, "")
		hold(string(k), trip(k, nil), &f, true)
		for _, x := range []struct {
			what  string
			wrong func(f *projections.Finding, d *detail)
		}{
			{"code", func(f *projections.Finding, _ *detail) { f.Code = projections.CameBackOver }},
			{"severity", func(f *projections.Finding, _ *detail) { f.Severity = projections.SeverityDoubtful }},
			{"why", func(_ *projections.Finding, d *detail) { d.Why = projections.BackWasher }},
			{"case", func(_ *projections.Finding, d *detail) { d.Case = "C2" }},
			{"line", func(_ *projections.Finding, d *detail) { d.Lines[0].Line = 4 }},
			{"lines", func(_ *projections.Finding, d *detail) { d.Lines = append(d.Lines, projections.BackLine{Line: 4}) }},
			{"pieces", func(_ *projections.Finding, d *detail) { d.Lines[0].Pieces = 2 }},
			{"closing", func(_ *projections.Finding, d *detail) { d.Closed = time.Time{} }},
			{"missing", func(_ *projections.Finding, d *detail) {
				if d.Lines[0].Missed = closed; k == simulate.BackMissed {
					d.Lines[0].Missed = time.Time{}
				}
			}},
		} {
			g, d := told(k, "")
			x.wrong(&g, d)
			hold(string(k)+", wrong "+x.what, trip(k, nil), &g, false)
		}
	}
	for _, moved := range []string{"other", "third", ""} {
		f, d := told(simulate.BackStrayed, moved)
		hold("strayed into "+moved, trip(simulate.BackStrayed, other), &f, moved == "other")
		d.Moves = append(d.Moves, d.Moves...)
		hold("strayed twice into "+moved, trip(simulate.BackStrayed, other), &f, false)
	}
}

// TestMispacked: the sets that a finding says pieces were exchanged with are those with which they were, all of them.
func TestMispacked(t *testing.T) {
	a, b, c := &simulate.Trip{Set: "a"}, &simulate.Trip{Set: "b"}, &simulate.Trip{Set: "c"}
	swap := &simulate.Fault{Kind: simulate.Mispacked, Trips: []*simulate.Trip{a, b}}
	a.Faults, c.Faults = []*simulate.Fault{swap}, []*simulate.Fault{{Kind: simulate.UsedTwice, Trips: []*simulate.Trip{c, b}}}
	exchanged := func(sets ...string) *projections.Finding {
		d := new(projections.FirstDiffers)
		for i, s := range sets {
			if i%2 == 0 {
				d.Exchanged = append(d.Exchanged, projections.ExchangedAtPacking{Set: s})
			} else {
				d.Beside = append(d.Beside, projections.PackedBeside{Set: s})
			}
		}
		return &projections.Finding{Code: projections.CountDiffersAtOpen, Detail: d}
	}
	tr := &trial{week: new(simulate.Week)}
	for _, x := range []struct {
		of    *simulate.Trip
		f     *projections.Finding
		right bool
	}{
		{a, exchanged("b"), true}, {a, exchanged("b", "b"), true}, {a, exchanged("c"), false}, {a, exchanged("b", "c"), false},
		{a, exchanged("a"), false}, {c, exchanged("b"), false},
	} {
		if happened, known := tr.happened(x.of, x.f); happened != x.right || !known {
			t.Errorf("%s, %+v: %v, known %v", x.of.Set, x.f.Detail, happened, known)
		}
	}
	// Both sets have to be told, of each the one it was exchanged with and no other.
	for _, x := range []struct {
		found []projections.Finding
		wrong int
	}{
		{[]projections.Finding{*exchanged("b")}, 0}, {[]projections.Finding{*exchanged("b", "b")}, 1},
		{[]projections.Finding{*exchanged("c")}, 1},
		{[]projections.Finding{*exchanged("c"), *exchanged("b")}, 0}, {[]projections.Finding{*exchanged()}, 1}, {nil, 1},
	} {
		tr := &trial{week: new(simulate.Week), r: new(Result)}
		tr.verdict = func(projections.TripKey) (projections.Verdict, error) {
			return projections.Verdict{Findings: x.found}, nil
		}
		if err := tr.missedExchange(a); err != nil || tr.r.Mispacked != (Tally{x.wrong, 1}) || len(tr.r.Examples) != x.wrong {
			t.Errorf("%+v: %+v, %v", x.found, tr.r, err)
		}
	}
}

// TestHistory: what a look shows came about by the last move before it: of the label where that is another's, else of the sheet
// that lies there, or where none does of the tray's own, which is gone.
func TestHistory(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2026, 3, 2, hour, 0, 0, 0, time.UTC) }
	moves := func(hours ...int) (out []simulate.Move) {
		for _, h := range hours {
			out = append(out, simulate.Move{At: at(h)})
		}
		return out
	}
	tray := &simulate.Trip{Sheet: &simulate.Sheet{Moves: moves(1, 5)}, Label: &simulate.Label{Moves: moves(2, 6)}}
	other := &simulate.Trip{Sheet: &simulate.Sheet{Moves: moves(3, 7)}, Label: &simulate.Label{Moves: moves(4, 8)}}
	for _, x := range []struct {
		look       simulate.Look
		last, many int
	}{
		{simulate.Look{At: at(9), Tray: tray, Label: tray}, 5, 2},
		{simulate.Look{At: at(5), Tray: tray, Label: tray}, 1, 1},
		{simulate.Look{At: at(9), Tray: tray, Label: tray, Sheet: other.Sheet}, 7, 2},
		{simulate.Look{At: at(9), Tray: tray, Label: other, Sheet: other.Sheet}, 8, 2},
		{simulate.Look{At: at(9), Tray: tray, Label: other}, 8, 2},
		{simulate.Look{At: at(1), Tray: tray, Label: tray}, -1, 0},
	} {
		m := cause(&x.look)
		if len(history(&x.look)) != x.many || (m == nil) != (x.last < 0) || m != nil && !m.At.Equal(at(x.last)) {
			t.Errorf("%+v: %+v, of %d", x.look, m, len(history(&x.look)))
		}
	}
	if before(nil) != nil || before([]simulate.Move{{To: tray}, {To: other}}) != other {
		t.Error("it came from elsewhere")
	}
}

// TestWindowByClocks: a window is wrong by the times as they stand where the moment is not in it, and wrong at all where it isn't
// by more than the clocks may differ.
func TestWindowByClocks(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	x := &simulate.Trip{Set: "x"}
	look := &simulate.Look{At: at.Add(time.Hour), Tray: x, Label: x,
		Sheet: &simulate.Sheet{Moves: []simulate.Move{{At: at, Place: "or1", To: x}}}}
	for _, o := range []struct {
		from, to     time.Duration
		exact, wrong int
	}{
		{0, 0, 0, 0}, {-1, 1, 0, 0}, {1, 1, 1, 0}, {-1, -1, 1, 0}, {time.Minute, time.Hour, 1, 0}, {-time.Hour, -time.Minute, 1, 0},
		{time.Minute + 1, time.Hour, 1, 1}, {-time.Hour, -time.Minute - 1, 1, 1},
	} {
		tr := &trial{week: new(simulate.Week), looks: map[int64]*simulate.Look{7: look}, r: new(Result)}
		w := projections.Window{From: at.Add(o.from), To: at.Add(o.to), ClockSeconds: 60}
		tr.window(x, new(projections.Finding), 7, w)
		tr.window(x, new(projections.Finding), 8, w) // a count
		if tr.r.Exact != (Tally{o.exact, 1}) || tr.r.Windows != (Tally{o.wrong, 1}) || tr.r.Places.Of > 0 {
			t.Errorf("%s to %s: %+v exact, %+v", o.from, o.to, tr.r.Exact, tr.r.Windows)
		}
		// The same of a finding that has its times itself, by the policy's clocks; of others than of sheet and label nothing is held.
		tr.r = new(Result)
		look.ReadSheet, look.Named = true, new(simulate.Trip)
		f := projections.Finding{Code: projections.SheetAbsent, From: w.From, To: w.To, Events: []int64{6, 7, 7}}
		tr.span(x, &f)
		timeless, weight := f, f
		timeless.From, weight.Code = time.Time{}, projections.TooHeavy
		tr.span(x, &timeless)
		tr.span(x, &weight)
		if tr.r.Exact != (Tally{o.exact, 1}) || tr.r.Windows.Of != 1 {
			t.Errorf("%s to %s, of the finding: %+v exact, %+v", o.from, o.to, tr.r.Exact, tr.r.Windows)
		}
		for _, p := range []struct {
			name  string
			wrong int
		}{{"or1", 0}, {"or2", 1}} {
			w.Places = []projections.Place{{Name: "or3"}, {Name: p.name}}
			tr.r = new(Result)
			if tr.window(x, new(projections.Finding), 7, w); tr.r.Places != (Tally{p.wrong, 1}) {
				t.Errorf("at %s: %+v", p.name, tr.r.Places)
			}
		}
	}
}

// TestTogether: two sets were together somewhere where both were there by the later sighting, as far as clocks tell.
func TestTogether(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	stay := func(set string, from, to time.Duration) *simulate.Trip {
		return &simulate.Trip{Set: set, Packed: at.Add(-time.Hour), Sheet: new(simulate.Sheet),
			Stays: []simulate.Stay{{Place: "or1", From: at.Add(from), To: at.Add(to)}}}
	}
	for _, o := range []struct {
		from, to time.Duration // of the second set's stay
		wrong    int
	}{
		{-time.Hour, time.Hour, 0}, {time.Minute, time.Hour, 0}, {time.Minute + 1, time.Hour, 1},
		{-time.Hour, -time.Minute, 0}, {-time.Hour, -time.Minute - 1, 1},
	} {
		for _, first := range []bool{true, false} {
			x, y := stay("x", -time.Hour, time.Hour), stay("y", o.from, o.to)
			look := &simulate.Look{Tray: x, Label: x}
			seen := projections.SeenBoth{Place: projections.Place{Name: "or1"}, Set: "x", At: at,
				Other: "y", OtherAt: at.Add(-time.Minute), Together: true}
			if first {
				seen.Set, seen.Other, seen.At, seen.OtherAt = "y", "x", seen.OtherAt, seen.At
			}
			tr := &trial{week: &simulate.Week{Trips: []*simulate.Trip{x, y}}, r: new(Result)}
			hold := func(w projections.Window) Tally {
				tr.r = new(Result)
				tr.sightings(x, nil, look, nil, &w)
				return tr.r.Together
			}
			w := projections.Window{ClockSeconds: 60, Seen: &seen}
			if got := hold(w); got != (Tally{o.wrong, 1}) || len(tr.r.Examples) != o.wrong {
				t.Errorf("there from %s to %s: %+v", o.from, o.to, got)
			}
			apart, unknown := seen, seen
			apart.Together, unknown.Other = false, "z"
			for _, s := range []*projections.SeenBoth{&apart, &unknown, nil} {
				if n := hold(projections.Window{Seen: s}).Of; n > 0 {
					t.Errorf("%+v is held", s)
				}
			}
			if look.Label = y; hold(w).Of > 0 {
				t.Error("held by a label that is another's")
			}
		}
	}
}

// TestSetAt: the turn of a set at a moment is the last that was packed by then, or by an hour later: clocks differ.
func TestSetAt(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	one, two := &simulate.Trip{Set: "x", Packed: at}, &simulate.Trip{Set: "x", Packed: at.Add(24 * time.Hour)}
	for _, trips := range [][]*simulate.Trip{{one, {Set: "y", Packed: at}, two}, {two, one}} {
		tr := &trial{week: &simulate.Week{Trips: trips}}
		for _, o := range []struct {
			at   time.Duration
			want *simulate.Trip
		}{{0, one}, {-time.Hour, one}, {-time.Hour - 1, nil}, {23*time.Hour - 1, one}, {23 * time.Hour, two}, {99 * time.Hour, two}} {
			if got := tr.set("x", at.Add(o.at)); got != o.want {
				t.Errorf("at %s: %+v", o.at, got)
			}
		}
	}
}

// TestDoubt: a set that is said to carry another sheet than its own does, or the tag on the other tray was unread; and whose sheet
// it is said to carry is counted by whose it does.
func TestDoubt(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	x, y, z := &simulate.Trip{Set: "x"}, &simulate.Trip{Set: "y"}, &simulate.Trip{Set: "z"}
	carries := keyOf(y)
	for _, o := range []struct {
		of    *simulate.Trip // whose sheet lies there; nil: none
		d     projections.ProbablyWrong
		wants Doubts
	}{
		{x, projections.ProbablyWrong{}, Doubts{Said: Tally{1, 1}}},
		{x, projections.ProbablyWrong{TagUnread: true}, Doubts{Said: Tally{0, 1}}},
		{y, projections.ProbablyWrong{}, Doubts{Said: Tally{0, 1}}},
		{nil, projections.ProbablyWrong{}, Doubts{Said: Tally{0, 1}}},
		{x, projections.ProbablyWrong{Carries: &carries}, Doubts{Said: Tally{1, 1}, Own: 1}},
		{y, projections.ProbablyWrong{Carries: &carries}, Doubts{Said: Tally{0, 1}, X: 1}},
		{z, projections.ProbablyWrong{Carries: &carries}, Doubts{Said: Tally{0, 1}, Third: 1}},
		{nil, projections.ProbablyWrong{Carries: &carries}, Doubts{Said: Tally{0, 1}, None: 1}},
	} {
		week := &simulate.Week{Trips: []*simulate.Trip{x, y, z}}
		if o.of != nil {
			week.Sheets = []*simulate.Sheet{{Of: o.of, Moves: []simulate.Move{{At: now.Add(-1), To: x}}}}
		}
		tr := newTrial(new(simulate.Config), week)
		tr.now = now
		tr.doubt(x, &o.d)
		if tr.r.Doubts != o.wants || len(tr.r.Examples) != o.wants.Said.Wrong {
			t.Errorf("%+v: %+v, of %+v", o.d, tr.r.Doubts, o.of)
		}
	}
}

// TestRight: whatever is wrong, a result is not right; and adding results loses nothing.
func TestRight(t *testing.T) {
	for _, wrong := range []func(r *Result) *Tally{
		func(r *Result) *Tally { return &r.Missed }, func(r *Result) *Tally { return &r.Named },
		func(r *Result) *Tally { return &r.Invented },
		func(r *Result) *Tally { return &r.Clean }, func(r *Result) *Tally { return &r.Windows },
		func(r *Result) *Tally { return &r.Places },
		func(r *Result) *Tally { return &r.Together }, func(r *Result) *Tally { return &r.IfScanned },
		func(r *Result) *Tally { return &r.Doubts.Said }, func(r *Result) *Tally { return &r.Mispacked },
		func(r *Result) *Tally { return r.closed("x") }, func(r *Result) *Tally { return r.back(simulate.BackGone) },
	} {
		r, total := new(Result), new(Result)
		wrong(r).hold(true)
		if !r.Right() {
			t.Errorf("%+v is wrong", r)
		}
		wrong(r).hold(false)
		total.Add(r)
		total.Add(r)
		if r.Right() || total.Right() || *wrong(total) != (Tally{2, 4}) {
			t.Errorf("%+v is right; twice %+v", r, total)
		}
	}
}

// TestAdd: counts of weeks add up.
func TestAdd(t *testing.T) {
	r := Result{Weeks: 1, Trips: 2, Records: 3, Exact: Tally{1, 2}, Doubts: Doubts{X: 1, None: 2, Third: 3, Own: 4},
		Examples: []string{"100 %"}}
	cell := Cell{Fault: simulate.SwapOfTwo}
	*r.known(cell) = Known{1, 2, 3, 4}
	r.planted(projections.TooHeavy)
	r.planted(projections.TooHeavy)
	var total Result
	for range maxExamples {
		total.Add(&r)
	}
	total.Add(&r)
	const n = maxExamples + 1
	if total.Weeks != n || total.Trips != 2*n || total.Records != 3*n || total.Exact != (Tally{n, 2 * n}) ||
		total.Doubts != (Doubts{X: n, None: 2 * n, Third: 3 * n, Own: 4 * n}) || *total.Known[cell] != (Known{n, 2 * n, 3 * n, 4 * n}) ||
		total.Planted[projections.TooHeavy] != 2*n || len(total.Examples) != maxExamples || total.Examples[0] != "100 %" {
		t.Errorf("%+v", total)
	}
}

// TestAllScanned: no move went unscanned where all that had the sheet in between, but for whoever had it first, were read with a
// sheet that wasn't theirs.
func TestAllScanned(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	first, second, third, last := &simulate.Trip{Set: "a"}, &simulate.Trip{Set: "b"}, &simulate.Trip{Set: "c"}, &simulate.Trip{Set: "d"}
	for _, o := range []struct {
		by   []*simulate.Trip // which had it; nil: it lay somewhere
		read []*simulate.Trip // and were read with another's
		all  bool
	}{
		{by: []*simulate.Trip{last}, all: true},
		{by: []*simulate.Trip{first, last}, all: true},
		{by: []*simulate.Trip{first, second, last}},
		{by: []*simulate.Trip{first, second, last}, read: []*simulate.Trip{first, last}},
		{by: []*simulate.Trip{first, second, last}, read: []*simulate.Trip{second}, all: true},
		{by: []*simulate.Trip{first, second, third, last}, read: []*simulate.Trip{second}},
		{by: []*simulate.Trip{first, second, third, last}, read: []*simulate.Trip{third}},
		{by: []*simulate.Trip{first, second, third, last}, read: []*simulate.Trip{second, third}, all: true},
		{by: []*simulate.Trip{first, nil, last}, all: true},
		{by: []*simulate.Trip{first, first, last}, all: true},
		{by: []*simulate.Trip{first, second, first, last}, read: []*simulate.Trip{second}, all: true},
	} {
		tr := newTrial(new(simulate.Config), new(simulate.Week))
		sheet := &simulate.Sheet{Of: first}
		for i, x := range o.by {
			sheet.Moves = append(sheet.Moves, simulate.Move{At: at.Add(time.Duration(i)), To: x})
		}
		for i, x := range o.read {
			tr.looks[int64(i)] = &simulate.Look{Tray: x, Sheet: &simulate.Sheet{}, ReadSheet: true}
		}
		for i, x := range []*simulate.Trip{first, second, third} { // what shows nothing wrong of them
			own := &simulate.Sheet{Of: x}
			tr.looks[int64(10+3*i)] = &simulate.Look{Tray: x, Sheet: own, ReadSheet: true}
			tr.looks[int64(11+3*i)] = &simulate.Look{Tray: x, Sheet: &simulate.Sheet{}}
			tr.looks[int64(12+3*i)] = &simulate.Look{Tray: x, ReadSheet: true}
		}
		look := &simulate.Look{At: at.Add(time.Hour), Tray: last, Label: last, Sheet: sheet}
		if got := tr.scanned(last, look); got != o.all {
			t.Errorf("%d had it, %d were read: %v", len(o.by), len(o.read), got)
		}
		sheet.Moves[0].Place = "or1" // where none of them was seen
		if tr.scanned(last, look) {
			t.Errorf("%d had it, one where it was not seen", len(o.by))
		}
	}
}
