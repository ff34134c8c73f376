package events

import (
	"bytes"
	"crypto/sha256"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"pgregory.net/rapid"
)

// slowly is a value's canonical form by the JSON library.
func slowly(t rapid.TB, v any) ([]byte, error) {
	t.Helper()
	raw, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return canonicalSlowly(raw)
}

// texts at which what is written at once and the library could part.
var quotedTexts = []string{
	"", "a", `"`, `\`, "\b\f\n\r\t", "\x00\x1f\x7f", "é", "\u2028", "😀", "<>&'/", "a\xffb", "\xed\xa0\x80", "hmac-sha-256.x",
}

// leftToLibrary is the one kind that has a map.
const leftToLibrary = KindPolicyAdopted

// TestWrittenAtOnce: data of every kind but one is written as the library writes it and Canonical puts it in order.
func TestWrittenAtOnce(t *testing.T) {
	for _, k := range Kinds() {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				d := drawData(t, k)
				if s := firstString(reflect.ValueOf(d)); s.IsValid() && rapid.Bool().Draw(t, "odd") {
					s.SetString(rapid.OneOf(rapid.SampledFrom(quotedTexts), rapid.String()).Draw(t, "text"))
				}
				got, ok := appendCanonical([]byte("before"), d)
				want, err := slowly(t, d)
				switch {
				case ok && err != nil:
					t.Fatalf("%s is written, and the library says %v", got, err)
				case ok && string(got) != "before"+string(want):
					t.Fatalf("%s, want %s", got, want)
				case !ok && err == nil && k != leftToLibrary:
					t.Fatalf("left to the library: %s", want)
				}
			})
		})
	}
}

// firstString finds a string in data that can be set.
func firstString(v reflect.Value) (found reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			return firstString(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if s := firstString(v.Field(i)); s.IsValid() {
				return s
			}
		}
	case reflect.Slice:
		if v.Len() > 0 && v.Type() != reflect.TypeFor[jsontext.Value]() {
			return firstString(v.Index(0))
		}
	case reflect.String:
		return v
	}
	return found
}

// TestWrittenAtOnceLeavesOut: members without a value are there or not, as the library has it.
func TestWrittenAtOnceLeavesOut(t *testing.T) {
	type inner struct {
		B string `json:"b,omitempty"`
	}
	type all struct {
		Z  string         `json:"z"`
		A  []string       `json:"a"`
		AE []string       `json:"ae,omitempty"`
		AZ []string       `json:"az,omitzero"`
		P  *inner         `json:"p"`
		PE *inner         `json:"pe,omitempty"`
		PZ *inner         `json:"pz,omitzero"`
		S  inner          `json:"s"`
		SE inner          `json:"se,omitempty"`
		SZ inner          `json:"sz,omitzero"`
		N  int64          `json:"n"`
		NE int64          `json:"ne,omitempty"`
		NZ int64          `json:"nz,omitzero"`
		B  bool           `json:"b"`
		BE bool           `json:"be,omitempty"`
		BZ bool           `json:"bz,omitzero"`
		V  jsontext.Value `json:"v"`
		VE jsontext.Value `json:"ve,omitempty"`
		VZ jsontext.Value `json:"vz,omitzero"`
	}
	for _, v := range []*all{
		{},
		{A: []string{}, AE: []string{}, AZ: []string{}, P: &inner{}, PE: &inner{}, PZ: &inner{}, VE: []byte(`{}`), VZ: []byte(`""`)},
		{AE: []string{""}, AZ: []string{"a", "b"}, PE: &inner{"x"}, PZ: &inner{"y"}, SE: inner{"u"}, SZ: inner{"v"}, N: MaxInteger,
			NE: -MaxInteger, NZ: 7, B: true, BE: true, BZ: true, V: []byte(` {"b": 1, "a": [ ]}`), VE: []byte(`[0]`), VZ: []byte(`null`)},
	} {
		got, ok := appendCanonical(nil, v)
		want, err := slowly(t, v)
		if err != nil || !ok || !bytes.Equal(got, want) {
			t.Errorf("%v: %s, want %s, %v", ok, got, want, err)
		}
	}
}

// TestWrittenAtOnceLeaves: what only the library can write, or refuse, is left to it.
func TestWrittenAtOnceLeaves(t *testing.T) {
	for _, v := range []any{
		nil, "text", struct{}{}, (*SetChecked)(nil), new(string),
		&struct {
			N int64 `json:"n"`
		}{MaxInteger + 1},
		&struct {
			N int64 `json:"n"`
		}{-MaxInteger - 1},
		&struct {
			V jsontext.Value `json:"v"`
		}{jsontext.Value(`{"a":1,"a":2}`)},
		&struct {
			F float64 `json:"f"`
		}{},
		&struct {
			S string `json:"s,case:ignore"`
		}{},
		&struct {
			S string `json:"é"`
		}{},
		&struct{ S string }{},
		&struct {
			At time.Time `json:"at"`
		}{},
		&struct {
			M map[string]string `json:"m"`
		}{},
		&struct {
			attributes
		}{},
		&struct {
			S string `json:"s"`
		}{"\xff"},
	} {
		if got, ok := appendCanonical(nil, v); ok {
			t.Errorf("%T is written: %s", v, got)
		}
	}
}

// TestEventsAreWrittenAtOnce: an event's text and an observation's digests are what the library and Canonical give.
func TestEventsAreWrittenAtOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Kinds()).Draw(t, "kind")
		e := testEvent(drawData(t, k), "north/packing-1", rapid.Int64Range(1, 1<<31-1).Draw(t, "seq"),
			rapid.SampledFrom([]string{"", NoteHash(nil)}).Draw(t, "prev"), testTime)
		e.Trip = rapid.SampledFrom([]string{"", testTrip(1)}).Draw(t, "trip")
		e.Medium = rapid.SampledFrom([]string{"", MediumPaper}).Draw(t, "medium")
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		env := envelope{Type: e.Type(), attributes: attributes{
			ID: e.ID, Medium: e.Medium, Operator: e.Operator, Source: sourceStart + e.Station, SpecVersion: specVersion,
			StationPrev: e.StationPrev, StationSeq: e.StationSeq, Subject: e.Subject, Time: e.Time.Format(time.RFC3339Nano), Trip: e.Trip,
		}}
		if _, ok := env.canonical(e.Data); !ok && k != leftToLibrary {
			t.Errorf("left to the library: %s", text)
		}
		if want, err := env.canonicalSlowly(e); err != nil || !bytes.Equal(text, want) {
			t.Fatalf("%s, want %s, %v", text, want, err)
		}
		o := &Observation{Station: e.Station, Kind: k, Time: e.Time, Trip: e.Trip, Operator: e.Operator, Medium: e.Medium, Data: e.Data}
		o.Set = rapid.SampledFrom([]string{"", "LAP-014", "a\"b", "ä"}).Draw(t, "set")
		got, err := o.digest(observationDomain)
		if err != nil {
			t.Fatal(err)
		}
		l, err := o.line()
		if err != nil {
			t.Fatal(err)
		}
		want, err := slowly(t, l)
		if err != nil || got != sha256.Sum256(append([]byte(observationDomain), want...)) {
			t.Fatalf("the digest is not of %s: %v", want, err)
		}
	})
}

// TestWrittenAtOnceIsNoLonger: what is longer than a record is refused in the words of Canonical.
func TestWrittenAtOnceIsNoLonger(t *testing.T) {
	o := &Observation{Station: "north/or-1", Kind: KindSetChecked, Time: testTime, Set: "LAP-014",
		Data: &SetChecked{Reason: strings.Repeat("x", MaxRecord)}}
	if _, err := o.ID(); err == nil || !strings.Contains(err.Error(), "are more than the 60000 a record may have") {
		t.Errorf("%v", err)
	}
}

// TestIdentify: an observation's id and whether it may say a mark, of one text, are what the two apart give.
func TestIdentify(t *testing.T) {
	key := []byte("a key")
	a, err := NewAddendum(bytes.NewReader(make([]byte, saltBytes)), "note", "x")
	if err != nil {
		t.Fatal(err)
	}
	written, err := a.Disclosure()
	if err != nil {
		t.Fatal(err)
	}
	hidden := 0
	for _, d := range wholeData() {
		o := &Observation{Station: "north/or-1", Kind: d.Kind(), Time: testTime, Data: d}
		for _, s := range allStrings(reflect.ValueOf(d)) {
			was := s.String()
			for _, text := range []string{"x", "a " + Mark(written), Mark(written), `"` + Mark(written) + `"`} {
				s.SetString(text)
				_, marked, err := o.Identify(key)
				if err != nil {
					t.Fatal(err)
				}
				raw, err := FormatObservation(o)
				if err != nil {
					t.Fatal(err)
				}
				if is := len(Marks(raw)) > 0; is && !marked || !is && marked && o.Kind != KindEventCorrected {
					t.Errorf("marked: %v, in %s", marked, raw)
				}
				if k, err := o.keyed(key, func(of string) {
					if of == Mark(written) {
						hidden++
					}
				}); err != nil || k == nil {
					t.Fatal(err)
				}
			}
			s.SetString(was)
		}
	}
	if hidden == 0 {
		t.Error("no mark stood where a text is hidden from the id")
	}
}

// allStrings finds all strings in data, so that they can be set.
func allStrings(v reflect.Value) (found []reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			return allStrings(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			found = append(found, allStrings(v.Field(i))...)
		}
	case reflect.Slice:
		for i := 0; i < v.Len() && v.Type() != reflect.TypeFor[jsontext.Value](); i++ {
			found = append(found, allStrings(v.Index(i))...)
		}
	case reflect.String:
		found = append(found, v)
	}
	return found
}

func BenchmarkEncode(b *testing.B) {
	counts := make([]Count, 20)
	for i := range counts {
		counts[i] = Count{Line: int64(i + 1), Counted: 4}
	}
	d := &SetCounted{Case: "K-1", Stage: StageFirst, Sheet: SheetScreen, Counter: "B-1", Witness: "B-2", Counts: counts}
	e := testEvent(d, "north/or-1", 7, NoteHash(nil), testTime)
	o := &Observation{Station: e.Station, Kind: KindSetCounted, Time: e.Time, Set: "LAP-014", Operator: "B-1", Data: d}
	b.Run("event", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := Encode(e); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("id", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := o.KeyedID([]byte("key")); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("parse", func(b *testing.B) {
		raw, err := FormatObservation(o)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportAllocs()
		for b.Loop() {
			if _, err := ParseObservation(raw); err != nil {
				b.Fatal(err)
			}
		}
	})
}
