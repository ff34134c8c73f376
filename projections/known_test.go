package projections

import (
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/projections/run"
)

// TestKnownAs: a finding was known before where one of the same code was that says nothing against it.
func TestKnownAs(t *testing.T) {
	t.Parallel()
	const b, d, n = SeverityBroken, SeverityDoubtful, SeverityNoted
	in := func(set string) *TripKey { return &TripKey{Set: set} }
	for _, tt := range []struct {
		now, then Finding
		want      bool
	}{
		{Finding{Code: "a", Severity: b}, Finding{Code: "a", Severity: b}, true},
		{Finding{Code: "a", Severity: b}, Finding{Code: "b", Severity: b}, false},
		{Finding{Code: "a", Severity: b}, Finding{Code: "a", Severity: d}, true},
		{Finding{Code: "a", Severity: b}, Finding{Code: "a", Severity: n}, false},
		{Finding{Code: "a", Severity: d}, Finding{Code: "a", Severity: n}, false},
		{Finding{Code: "a", Severity: n}, Finding{Code: "a", Severity: n}, true},
		{Finding{Code: "a", Severity: n}, Finding{Code: "a", Severity: b}, true},
		{Finding{Other: in("A")}, Finding{Other: in("A")}, true},
		{Finding{Other: in("A")}, Finding{Other: in("B")}, false},
		{Finding{Other: in("A")}, Finding{}, true},
		{Finding{}, Finding{Other: in("A")}, true},
		{Finding{Lines: []int64{1, 2}}, Finding{Lines: []int64{2, 3}}, true},
		{Finding{Lines: []int64{1, 2}}, Finding{Lines: []int64{3}}, false},
		{Finding{Lines: []int64{1}}, Finding{}, true},
		{Finding{}, Finding{Lines: []int64{1}}, true},
		{Finding{Detail: &PieceMissed{Case: "K-1"}}, Finding{Detail: &PieceMissed{Case: "K-1", Hours: 3}}, true},
		{Finding{Detail: &PieceMissed{Case: "K-1"}}, Finding{Detail: &PieceMissed{Case: "K-2"}}, false},
		{Finding{Detail: &PieceMissed{Case: "K-1"}}, Finding{}, true},
		{Finding{}, Finding{Detail: &PieceMissed{Case: "K-1"}}, true},
		{Finding{Detail: &PieceMissed{Case: "K-1"}}, Finding{Detail: unwritable{}}, true},
		{Finding{Detail: unwritable{}}, Finding{Detail: &PieceMissed{Case: "K-1"}}, true},
	} {
		if got := tt.now.KnownAs(&tt.then); got != tt.want {
			t.Errorf("%+v was known as %+v: %v", tt.now, tt.then, got)
		}
	}
}

// TestDetailsSay: what details work out of their members for whoever words them.
func TestDetailsSay(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 6, 11, 59, 0, time.UTC)
	closed, lines := at.Add(-time.Hour-59*time.Second-1), []BackLine{{Pieces: 2}, {Pieces: 3}}
	for name, is := range map[string]time.Duration{
		"back":     (&BackIncomplete{At: Moment{At: at}, Closed: closed}).After(),
		"missed":   (&PieceMissed{At: Moment{At: at}, Closed: closed}).After(),
		"assembly": (&CameBack{Packed: Moment{At: at}, Closed: closed}).After(),
	} {
		if is != time.Hour {
			t.Errorf("%s: %s after", name, is)
		}
	}
	for name, is := range map[string]int64{
		"packed": (&MissingSincePacked{Lines: lines}).Pieces(), "missed": (&PieceMissed{Lines: lines}).Pieces(),
		"back": (&CameBack{Lines: lines}).Pieces(),
	} {
		if is != 5 {
			t.Errorf("%s: %d pieces", name, is)
		}
	}
	is := func(what string, got, want bool) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %v", what, got)
		}
	}
	is("two cases", (&ReprocessingUnknown{FirstCase: "A", SecondCase: "B"}).TwoCases(), true)
	is("one case", (&ReprocessingUnknown{FirstCase: "A", SecondCase: "A"}).TwoCases(), false)
	for p, inside := range map[events.Placement]bool{events.InsideBag: true, events.InsideBare: true, events.Outside: false, events.Screen: false} {
		is(string(p)+" is inside", (&ClosedAfterRun{Placement: p}).Inside(), inside)
	}
	for apart, once := range map[time.Duration]bool{0: true, time.Second - 1: true, time.Second: false} {
		is(apart.String(), (&TooFarApart{First: Moment{At: at}, Second: Moment{At: at.Add(apart)}}).AtOnce(), once)
	}
	is("no lines are over", (&CameBack{}).Over(), false)
	for packed, over := range map[int64]bool{4: false, 5: false, 6: true} {
		is("over", (&CameBack{Lines: []BackLine{{Packed: packed, Known: 5}}}).Over(), over)
	}
	is("uncounted", (&CameBack{Lines: []BackLine{{}, {}}}).Uncounted(), true)
	is("one counted", (&CameBack{Lines: []BackLine{{}, {Stage: events.StageFinal}}}).Uncounted(), false)
	for _, tt := range []struct {
		d    ImmediateUse
		want bool
	}{
		{ImmediateUse{For: "A", Opened: &Use{Case: "B"}}, true}, {ImmediateUse{For: "A", Opened: &Use{Case: "A"}}, false},
		{ImmediateUse{Opened: &Use{Case: "B"}}, false}, {ImmediateUse{For: "A"}, false},
	} {
		is("another case", tt.d.OtherCase(), tt.want)
	}
	for _, tt := range []struct {
		l    RunLack
		want time.Duration
	}{
		{RunLack{What: run.HoldShort, Is: 179900}, 179 * time.Second}, {RunLack{What: run.EquilibrationLong, Is: 30001}, 31 * time.Second},
		{RunLack{What: run.EquilibrationLong, Is: 30000}, 30 * time.Second},
	} {
		if got := tt.l.Lasted(); got != tt.want {
			t.Errorf("%+v lasted %s", tt.l, got)
		}
	}
	l := RunLack{Is: 134500, Bound: 180000}
	if l.Asked() != 180*time.Second || l.Shown() != 134.5 || l.Limit() != 180 {
		t.Errorf("asked %s, shown %f, limit %f", l.Asked(), l.Shown(), l.Limit())
	}
}

// TestFindingOfLaterVersion: a way that is not known here is kept without its detail, and a detail of another form is refused.
func TestFindingOfLaterVersion(t *testing.T) {
	t.Parallel()
	w := Ways()[0]
	for text, want := range map[string]struct{ read, detail bool }{
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `","detail":{}}`:  {true, true},
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `"}`:              {true, true},
		`{"code":"` + string(w.Code) + `","way":"new","detail":{"a":1}}`:        {true, false},
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `","detail":[1]}`: {false, true},
		`[]`: {false, false},
	} {
		var f Finding
		err := json.Unmarshal([]byte(text), &f)
		if (err == nil) != want.read || (f.Detail != nil) != want.detail {
			t.Errorf("%s is read as %+v: %v", text, f, err)
		}
	}
}
