package events

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"pgregory.net/rapid"
)

// drawObservation draws an observation that ParseObservation accepts.
func drawObservation(t *rapid.T) *Observation {
	k := rapid.SampledFrom(Kinds()).Draw(t, "kind")
	at := testTime.Add(time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "ns")))
	o := &Observation{
		Station: rapid.SampledFrom([]string{"north/packing-1", "north/ledger"}).Draw(t, "station"),
		Kind:    k,
		Time:    at.In(time.FixedZone("", 3600*rapid.IntRange(-12, 14).Draw(t, "zone"))),
		Trip:    rapid.SampledFrom([]string{"", testTrip(1)}).Draw(t, "trip"),
		Data:    drawData(t, k),
	}
	o.Operator = rapid.SampledFrom([]string{"", "B-1182", "Ж\"\\<>"}).Draw(t, "operator")
	switch {
	case k.AboutSet():
		o.Set = rapid.SampledFrom([]string{"LAP-014", "Κασετίνα/7"}).Draw(t, "set")
	case k.Subject() == SubjectEvent:
		o.Set = rapid.SampledFrom([]string{"", "LAP-014"}).Draw(t, "set")
	}
	return o
}

// TestObservationRoundTrip: what FormatObservation writes is one line, is read
// as what was written, is the same event, and is written in the same way again.
func TestObservationRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := drawObservation(t)
		line, err := FormatObservation(o)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.ContainsAny(line, "\n\r") {
			t.Fatalf("%q is more than one line", line)
		}
		back, err := ParseObservation(line)
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		if a, b := idOf(t, o), idOf(t, back); a != b {
			t.Fatalf("%s: written with the id %s, read with %s", line, a, b)
		}
		again, err := FormatObservation(back)
		if err != nil || !bytes.Equal(again, line) {
			t.Fatalf("%s\nis written again as\n%s, %v", line, again, err)
		}
		if err := o.Check(); err != nil {
			t.Fatalf("%s can be read, but is refused: %v", line, err)
		}
		want := *o
		want.Time = o.Time.UTC()
		want.Data, back.Data = normal(t, want.Data), normal(t, back.Data)
		if !reflect.DeepEqual(back, &want) {
			t.Fatalf("%s\nis read as %+v, written from %+v", line, back, &want)
		}
	})
}

// TestObservationFormatIsStable: other programs read these lines.
func TestObservationFormatIsStable(t *testing.T) {
	for _, line := range stableLines(t) {
		o := parse(t, line)
		got, err := FormatObservation(o)
		if err != nil {
			t.Fatal(err)
		}
		if want := strings.Replace(line, `"weightKg":8.4`, `"weightGrams":8400`, 1); string(got) != want {
			t.Errorf("%s\nis written as\n%s", want, got)
		}
	}
}

func inZone(year int, month time.Month, day, hour, zone int) time.Time {
	return time.Date(year, month, day, hour, 0, 0, 0, time.FixedZone("", 3600*zone))
}

// TestObservationCheck: an observation made in a program is refused for what
// its written form would be refused for, in the same words.
func TestObservationCheck(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Observation)
		want   string
	}{
		{"station", func(o *Observation) { o.Station = "north" },
			`station "north" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{"no kind", func(o *Observation) { o.Kind = "" }, "kind is missing; the kinds are " + kindNames()},
		{"unknown kind", func(o *Observation) { o.Kind = "set.polished" },
			`kind "set.polished" is not known; the kinds are ` + kindNames()},
		{"set", func(o *Observation) { o.Set = "" }, "set is missing"},
		{"set for another kind", func(o *Observation) {
			o.Kind, o.Data = KindIndicatorRead, &IndicatorRead{Load: "L", Sterilizer: "S2", Result: "negative"}
		}, "set is given, but indicator.read is not about one set"},
		{"trip", func(o *Observation) { o.Trip = "7" }, `trip "7" is not a version 7 UUID in small letters`},
		{"operator", func(o *Observation) { o.Operator = "Mrs B" },
			`operator "Mrs B" holds a space or a character that can't be printed`},
		{"before the first year", func(o *Observation) { o.Time = inZone(2000, 1, 1, 0, 1) },
			"time 1999-12-31T23:00:00Z is not in the years 2000 to 2199"},
		{"after the last year", func(o *Observation) { o.Time = inZone(2199, 12, 31, 23, -1) },
			"time 2200-01-01T00:00:00Z is not in the years 2000 to 2199"},
		{"data", func(o *Observation) { o.Data = &SetPacked{List: "LAP"} }, "version is 0; it goes from 1 to 9999"},
		{"broken UTF-8", func(o *Observation) { o.Data = &SetPacked{List: "LAP\xff", Version: 1} },
			"list is not valid UTF-8"},
	} {
		o := parse(t, packedLine)
		if err := o.Check(); err != nil {
			t.Fatal(err)
		}
		tt.change(o)
		if err := o.Check(); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.want)
		}
		line, err := FormatObservation(o)
		if err != nil {
			continue // nothing to read
		}
		if _, err := ParseObservation(line); err == nil || err.Error() != tt.want {
			t.Errorf("%s: read: %v, want %s", tt.name, err, tt.want)
		}
	}
}

// TestObservationCheckBeyondTheLine: what the written form can't even hold.
func TestObservationCheckBeyondTheLine(t *testing.T) {
	corrected := func(raw string) Data {
		return &EventCorrected{Event: testTrip(0), Action: "replace", Reason: "typed wrong", Data: jsontext.Value(raw)}
	}
	for _, tt := range []struct {
		name string
		kind Kind
		data Data
		want string
	}{
		{"no data", KindSetPacked, nil, "data is missing"},
		{"data of another kind", KindSetPacked, &SetChecked{}, "the kind is set.packed, the data that of a set.checked"},
		{"data of an unknown kind", KindSetPacked, &Unknown{}, "the kind is set.packed, the data that of a "},
		{"a fraction in a correction", KindEventCorrected, corrected(`{"version":1.5}`),
			"data: the number 1.5 is not a whole number between -(2^53-1) and 2^53-1 (at byte 14)"},
		{"no JSON in a correction", KindEventCorrected, corrected(`{"version"`), "data: the JSON text ends too early"},
	} {
		o := parse(t, packedLine)
		o.Kind, o.Data = tt.kind, tt.data
		if err := o.Check(); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.want)
		}
	}
}

// TestSignedObservationRoundTrip: a signed record is written as it was read,
// and nothing may be changed beside it.
func TestSignedObservationRoundTrip(t *testing.T) {
	k := newTestKey(t, "north/packing-1", 7)
	record := sign(t, testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, k.name, 1, "", testTime), k)
	line, err := FormatObservation(&Observation{Signed: record})
	if err != nil {
		t.Fatal(err)
	}
	quoted, err := jsontext.AppendQuote(nil, record)
	if err != nil {
		t.Fatal(err)
	}
	if want := `{"signed":` + string(quoted) + `}`; string(line) != want {
		t.Errorf("%s, want %s", line, want)
	}
	o := parse(t, string(line))
	if !bytes.Equal(o.Signed, record) {
		t.Errorf("%q is read as %q", record, o.Signed)
	}
	if again, err := FormatObservation(o); err != nil || !bytes.Equal(again, line) {
		t.Errorf("%s is written again as %s, %v", line, again, err)
	}
	if err := o.Check(); err != nil {
		t.Error(err)
	}
	o.Station = "north/packing-2"
	if err := o.Check(); err == nil || err.Error() != "the observation is not what its signed record says" {
		t.Errorf("another station's record: %v", err)
	}
	o.Signed = []byte("x")
	if err := o.Check(); err == nil || !strings.HasPrefix(err.Error(), "signed record: ") {
		t.Errorf("no record: %v", err)
	}
}

func TestFormatObservationRefuses(t *testing.T) {
	for _, o := range []*Observation{
		{Station: "north/packing-1", Kind: KindSetPacked, Time: testTime, Set: "\xff", Data: &SetPacked{}},
		{Station: "north/packing-1", Kind: KindSetPacked, Time: testTime, Set: "A", Data: &SetPacked{List: "\xff"}},
		{Signed: []byte("\xff")},
	} {
		if line, err := FormatObservation(o); err == nil {
			t.Errorf("%+v is written as %s", o, line)
		}
	}
}
