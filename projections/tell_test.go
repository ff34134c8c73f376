package projections

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/run"
)

// TestDetailsCount: what details tell of their lines and times, beyond their members.
func TestDetailsCount(t *testing.T) {
	t.Parallel()
	lines := []BackLine{{Pieces: 2, Known: 3, Packed: 1}, {Pieces: 5, Known: 1, Packed: 4}}
	closed := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	at := Moment{At: closed.Add(2*time.Hour + 59*time.Second)}
	for name, n := range map[string]int64{"missing since packed": (&MissingSincePacked{Lines: lines}).Pieces(),
		"missed": (&PieceMissed{Lines: lines}).Pieces(), "came back": (&CameBack{Lines: lines}).Pieces()} {
		if n != 7 {
			t.Errorf("%s: %d pieces, want 7", name, n)
		}
	}
	for name, d := range map[string]time.Duration{"incomplete": (&BackIncomplete{At: at, Closed: closed}).After(),
		"missed": (&PieceMissed{At: at, Closed: closed}).After(), "came back": (&CameBack{Packed: at, Closed: closed}).After()} {
		if d != 2*time.Hour {
			t.Errorf("%s: after %s, want 2 h", name, d)
		}
	}
	for _, x := range []struct {
		lines           []BackLine
		over, uncounted bool
	}{
		{nil, false, true},
		{[]BackLine{{Known: 3, Packed: 3}}, false, true},
		{[]BackLine{{Known: 3, Packed: 4, Stage: events.StageFinal}}, true, false},
		{[]BackLine{{Known: 3, Packed: 2}, {Known: 3, Packed: 4, Stage: events.StageFirst}}, false, false},
	} {
		if d := (&CameBack{Lines: x.lines}); d.Over() != x.over || d.Uncounted() != x.uncounted {
			t.Errorf("%+v: over %v, uncounted %v", x.lines, d.Over(), d.Uncounted())
		}
	}
}

// TestDetailsAnswer: what sentences ask of details.
func TestDetailsAnswer(t *testing.T) {
	t.Parallel()
	for other, want := range map[string]bool{"K-1": false, "K-2": true} {
		if d := (&ReprocessingUnknown{FirstCase: "K-1", SecondCase: other}); d.TwoCases() != want {
			t.Errorf("K-1 and %s are two cases: %v", other, !want)
		}
	}
	for p, inside := range map[events.Placement]bool{events.InsideBag: true, events.InsideBare: true, events.Outside: false,
		events.Screen: false} {
		if d := (&ClosedAfterRun{Placement: p}); d.Inside() != inside {
			t.Errorf("%s is inside: %v", p, !inside)
		}
	}
	first := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	for apart, once := range map[time.Duration]bool{0: true, time.Second - 1: true, time.Second: false} {
		d := &TooFarApart{}
		if d.First.At, d.Second.At = first, first.Add(apart); d.AtOnce() != once {
			t.Errorf("%s apart is at once: %v", apart, !once)
		}
	}
	for _, x := range []struct {
		d    ImmediateUse
		want bool
	}{
		{ImmediateUse{For: "K-1"}, false}, {ImmediateUse{Opened: &Use{Case: "K-1"}}, false},
		{ImmediateUse{For: "K-1", Opened: &Use{Case: "K-1"}}, false}, {ImmediateUse{For: "K-1", Opened: &Use{Case: "K-2"}}, true},
	} {
		if x.d.OtherCase() != x.want {
			t.Errorf("%+v: for another case %v", x.d, !x.want)
		}
	}
}

// TestRunLackRounds: a time is told in whole seconds on the side of what it lacks.
func TestRunLackRounds(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		what run.Lack
		is   int64
		want time.Duration
	}{
		{run.HoldShort, 179_999, 179 * time.Second}, {run.HoldShort, 180_000, 3 * time.Minute},
		{run.EquilibrationLong, 15_000, 15 * time.Second}, {run.EquilibrationLong, 15_001, 16 * time.Second},
	} {
		if got := (RunLack{What: x.what, Is: x.is}).Lasted(); got != x.want {
			t.Errorf("%s of %d ms is told as %s, want %s", x.what, x.is, got, x.want)
		}
	}
	l := RunLack{Is: 133_900, Bound: 134_000}
	if l.Asked() != 134*time.Second || l.Shown() != 133.9 || l.Limit() != 134 {
		t.Errorf("%s, %v, %v", l.Asked(), l.Shown(), l.Limit())
	}
}

// TestKnownAs: a finding is known as an earlier one of its code that is about the same.
func TestKnownAs(t *testing.T) {
	t.Parallel()
	const b, d, n = SeverityBroken, SeverityDoubtful, SeverityNoted
	recalled := func(load, positive string) Detail { return &Recalled{Load: load, Positive: positive} }
	other := func(set string) *TripKey { return &TripKey{Set: set, Trip: set + "-1"} }
	for name, x := range map[string]struct {
		now, then Finding
		want      bool
	}{
		"the same":                   {Finding{Code: TooHeavy, Severity: b}, Finding{Code: TooHeavy, Severity: b}, true},
		"another code":               {Finding{Code: TooHeavy, Severity: b}, Finding{Code: TagUnread, Severity: b}, false},
		"in doubt then":              {Finding{Code: TooHeavy, Severity: b}, Finding{Code: TooHeavy, Severity: d}, true},
		"noted then, in doubt now":   {Finding{Code: TooHeavy, Severity: d}, Finding{Code: TooHeavy, Severity: n}, false},
		"noted then and now":         {Finding{Code: TooHeavy, Severity: n}, Finding{Code: TooHeavy, Severity: n}, true},
		"broken then, noted now":     {Finding{Code: TooHeavy, Severity: n}, Finding{Code: TooHeavy, Severity: b}, true},
		"with another set":           {Finding{Other: other("A")}, Finding{Other: other("B")}, false},
		"with another trip of a set": {Finding{Other: other("A")}, Finding{Other: &TripKey{Set: "A", Trip: "2"}}, true},
		"with a set, known now":      {Finding{Other: other("A")}, Finding{}, true},
		"with a set, known then":     {Finding{}, Finding{Other: other("A")}, true},
		"a line in common":           {Finding{Lines: []int64{1, 2}}, Finding{Lines: []int64{2, 3}}, true},
		"no line in common":          {Finding{Lines: []int64{1, 2}}, Finding{Lines: []int64{3}}, false},
		"one line, and another":      {Finding{Lines: []int64{1}}, Finding{Lines: []int64{3}}, false},
		"lines, and one other":       {Finding{Lines: []int64{1, 2}}, Finding{Lines: []int64{3}}, false},
		"no lines then":              {Finding{Lines: []int64{1, 2}}, Finding{}, true},
		"no lines now":               {Finding{}, Finding{Lines: []int64{1}}, true},
		"one load":                   {Finding{Detail: recalled("S2-1", "S2-2")}, Finding{Detail: recalled("S2-1", "S2-2")}, true},
		"another load":               {Finding{Detail: recalled("S2-1", "S2-2")}, Finding{Detail: recalled("S2-3", "S2-2")}, false},
		"another positive load":      {Finding{Detail: recalled("S2-1", "S2-2")}, Finding{Detail: recalled("S2-1", "S2-3")}, false},
		"another member":             {Finding{Detail: &Recalled{Sterilizer: "S2"}}, Finding{Detail: &Recalled{Sterilizer: "S3"}}, true},
		"a load known now":           {Finding{Detail: recalled("S2-1", "S2-2")}, Finding{Detail: &Moved{}}, true},
		"a load known then":          {Finding{Detail: &Moved{}}, Finding{Detail: recalled("S2-1", "S2-2")}, true},
		"what can't be written":      {Finding{Detail: unwritable{}}, Finding{Detail: recalled("S2-1", "S2-2")}, true},
	} {
		if got := x.now.KnownAs(&x.then); got != x.want {
			t.Errorf("%s: known as that %v", name, got)
		}
	}
	var f Finding
	if err := f.UnmarshalJSON([]byte(`{"code":7}`)); err == nil {
		t.Error("a finding whose code is a number was read")
	}
}
