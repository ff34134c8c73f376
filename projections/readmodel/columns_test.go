//go:build !race

package readmodel

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestReplacedStart: a load that a correction says was started on a day is found by that day, whether it passed or failed.
func TestReplacedStart(t *testing.T) {
	for result, want := range map[string]any{"passed": "S2 2026-03-04", "failed": "S2 2026-03-04", "positive": nil, "": nil} {
		d := &events.EventCorrected{Action: "replace",
			Data: []byte(`{"sterilizer":"S2","started":"2026-03-04T07:24:00Z","result":"` + result + `"}`)}
		if _, _, _, _, _, _, _, _, begun := (codeTrips{}).replaced(&events.Event{}, d); begun != want {
			t.Errorf("%q: begun %v, want %v", result, begun, want)
		}
	}
}

// TestNamedLines: each badge stands between line feeds, so that none is found in the middle of another.
func TestNamedLines(t *testing.T) {
	for _, test := range []struct {
		d    events.Data
		want string
	}{
		{&events.SetChecked{}, ""},
		{&events.SetPacked{SecondLook: "B-1"}, "\nsecondLook B-1\n"},
		{&events.SetCounted{Counter: "B-3", Witness: "B-4"}, "\ncounter B-3\nwitness B-4\n"},
	} {
		if got := namedLines(test.d); got != test.want {
			t.Errorf("%+v: %q, want %q", test.d, got, test.want)
		}
	}
}

// TestCompareValues: nothing comes before numbers, these before texts, and these before bytes.
func TestCompareValues(t *testing.T) {
	values := []any{nil, int64(-1), int64(7), "", "a", "b", []byte{}, []byte("a")}
	for i, a := range values {
		for k, b := range values {
			if got := compareValues(a, b); (got < 0) != (i < k) || (got > 0) != (i > k) {
				t.Errorf("%#v and %#v: %d", a, b, got)
			}
		}
	}
}

// TestNoteDue: the earliest moment for which a verdict waits is kept, and one that waits for nothing moves none.
func TestNoteDue(t *testing.T) {
	at := func(h int) time.Time { return time.Unix(int64(h)*3600, 0) }
	waits := func(h int) []judged {
		return []judged{{rests: []rest{{ask: askNumber(facts.DimTime, ""), until: at(h).UnixNano()}, {ask: 1, until: 1}}}}
	}
	for _, test := range []struct {
		name     string
		due      time.Time
		trips    []judged
		stations []projections.Verdict
		want     time.Time
	}{
		{"nothing is known", time.Time{}, waits(2), nil, time.Time{}},
		{"a trip waits for less long", at(5), waits(2), nil, at(2)},
		{"a trip waits longer", at(5), waits(6), nil, at(5)},
		{"a station waits for less long", at(5), nil, []projections.Verdict{{Until: at(3)}, {Until: at(4)}}, at(3)},
		{"nobody waited", never, waits(6), nil, at(6)},
		{"a station waits for nothing", at(5), nil, []projections.Verdict{{}}, at(5)},
	} {
		m := &Model{due: test.due}
		for i := range test.trips {
			m.noteTripDue(&test.trips[i])
		}
		for i := range test.stations {
			m.noteDue(test.stations[i].Until)
		}
		if !m.due.Equal(test.want) {
			t.Errorf("%s: due at %s, want %s", test.name, m.due, test.want)
		}
	}
}
