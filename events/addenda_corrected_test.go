package events

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestTextsOfCorrections: what a correction puts in place has its texts replaced as the kind that it corrects.
func TestTextsOfCorrections(t *testing.T) {
	t.Parallel()
	upper := func(_, text string) (string, error) { return strings.ToUpper(text), nil }
	c := &EventCorrected{Event: "e", Action: "replace", Reason: "mistyped", Data: []byte(`{"case":"k-1","seals":["lap"]}`)}
	for _, x := range []struct {
		of   Kind
		data string
	}{
		{KindSetOpened, `{"case":"K-1","seals":["lap"]}`}, {KindRecordsLost, `{"size":0,"had":0,"reason":""}`},
		{"", `{"case":"k-1","seals":["lap"]}`}, {"none", ""},
	} {
		got, err := Texts(c, x.of, upper)
		if x.data == "" {
			if err == nil {
				t.Errorf("the data passes for one of a %q: %s", x.of, got.(*EventCorrected).Data)
			}
			continue
		}
		if err != nil || string(got.(*EventCorrected).Data) != x.data || got.(*EventCorrected).Reason != "MISTYPED" {
			t.Errorf("as a %q: %+v, %v", x.of, got, err)
		}
	}
	if c.Reason != "mistyped" || string(c.Data) != `{"case":"k-1","seals":["lap"]}` {
		t.Errorf("the data itself was touched: %+v", c)
	}
	// A void has nothing to replace in its data, and what can't be replaced is an error.
	if got, err := Texts(&EventCorrected{Event: "e", Action: "void", Reason: "x"}, KindSetOpened, upper); err != nil ||
		got.(*EventCorrected).Reason != "X" {
		t.Errorf("%+v, %v", got, err)
	}
	if d := (&RecordsMapped{Upto: 1}); !reflect.DeepEqual(must1(Texts(d, "", upper)), Data(d)) {
		t.Error("data without texts has changed")
	}
	if _, err := Texts((*SetPacked)(nil), "", upper); err != nil {
		t.Error(err)
	}
}

func must1[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// TestKeyedCorrection: of a correction all of its data, and what it is about, is keyed; how the data is spelled is not.
func TestKeyedCorrection(t *testing.T) {
	t.Parallel()
	id := func(key, set, data string) string {
		t.Helper()
		o := &Observation{Station: "north/or-3", Kind: KindEventCorrected, Time: testTime, Set: set,
			Data: &EventCorrected{Event: testTrip(1), Action: "replace", Reason: "x", Data: []byte(data)}}
		s, err := o.KeyedID([]byte(key))
		if err != nil {
			t.Fatal(err)
		}
		if o.Set != set || string(o.Data.(*EventCorrected).Data) != data {
			t.Error("the observation was touched")
		}
		return s
	}
	first := id("one", "K-1", `{"case":"K-1","room":"3"}`)
	if first != id("one", "K-1", `{"room":"3", "case":"K-1"}`) {
		t.Error("the same data has two ids")
	}
	for name, other := range map[string]string{
		"key": id("two", "K-1", `{"case":"K-1","room":"3"}`), "set": id("one", "K-2", `{"case":"K-1","room":"3"}`),
		"no set": id("one", "", `{"case":"K-1","room":"3"}`), "data": id("one", "K-1", `{"case":"K-1","room":"4"}`),
	} {
		if other == first {
			t.Errorf("another %s gives the same id", name)
		}
	}
	// Data of one character is no less what was said.
	plain := func(key, data string) string {
		t.Helper()
		o := &Observation{Station: "north/or-3", Kind: KindEventCorrected, Time: testTime,
			Data: &EventCorrected{Event: testTrip(1), Action: "replace", Data: []byte(data)}}
		s, err := o.KeyedID([]byte(key))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	if plain("one", "7") == plain("two", "7") {
		t.Error("data of one character is not keyed")
	}
	o := &Observation{Station: "north/or-3", Kind: KindEventCorrected, Time: testTime,
		Data: &EventCorrected{Event: testTrip(1), Action: "replace", Data: []byte(`{"a":1.5}`)}}
	if _, err := o.KeyedID(nil); err == nil {
		t.Error("data that has no canonical form has an id")
	}
	if _, err := o.NewKeyedTrip(nil); err == nil {
		t.Error("data that has no canonical form has a trip")
	}
	o.Data = &EventCorrected{Event: testTrip(1), Action: "void", Reason: "x"}
	if _, err := o.KeyedID(nil); err != nil {
		t.Errorf("a correction without data: %v", err)
	}
}

// TestHasID: an event has the id of what was observed, whether that named its set and trip or left them out.
func TestHasID(t *testing.T) {
	t.Parallel()
	for _, d := range []Data{&SetOpened{Case: "K-1"}, &EventCorrected{Event: testTrip(1), Action: "void", Reason: "x"}} {
		for _, set := range []string{"", "LAP-014"} {
			for _, trip := range []string{"", testTrip(3)} {
				if d.Kind().AboutSet() && set == "" {
					continue
				}
				o := &Observation{Station: "north/or-3", Kind: d.Kind(), Time: testTime, Set: set, Trip: trip, Operator: "B-1", Data: d}
				id := idOf(t, o)
				e := &Event{Station: o.Station, Subject: "LAP-014", Time: o.Time, Trip: testTrip(3), Operator: "B-1", Data: d}
				if !e.HasID(id) {
					t.Errorf("%s with set %q and trip %q has not its id", d.Kind(), set, trip)
				}
				for name, change := range map[string]func(*Event){
					"operator": func(e *Event) { e.Operator = "B-2" }, "subject": func(e *Event) { e.Subject = "LAP-015" },
					"trip": func(e *Event) { e.Trip = testTrip(4) }, "time": func(e *Event) { e.Time = e.Time.Add(time.Millisecond) },
				} {
					other := *e
					change(&other)
					left := name == "subject" && set == "" || name == "trip" && trip == "" // then it doesn't stand in the id
					if other.HasID(id) != left {
						t.Errorf("%s with set %q and trip %q and another %s: has the id %v", d.Kind(), set, trip, name, !left)
					}
				}
			}
		}
	}
	if (&Event{Time: testTime, Data: &SetChecked{}}).HasID("none") {
		t.Error("an event has an id that is none")
	}
}

// TestBelongs: an addendum stands in its member, alone or in a row of nothing but marks.
func TestBelongs(t *testing.T) {
	t.Parallel()
	mark := `"` + Mark("x") + `",`
	for _, x := range []struct {
		before, name string
		want         bool
	}{
		{`{"reason":`, "reason", true}, {`{"reason":`, "note", false}, {`{"actions":[`, "actions", true},
		{`{"actions":[` + mark, "actions", true}, {`{"actions":[` + mark + mark, "actions", true},
		{`{"actions":[` + mark + `x`, "actions", false}, {`{"actions":["` + strings.Repeat("x", len(mark)-3) + `",`, "actions", false},
		{`{"actions":[` + strings.Replace(mark, ",", ";", 1), "actions", false},
		{`{"actions":[` + strings.Replace(mark, `"`, "'", 1), "actions", false},
		{`{"actions":[` + mark[:len(mark)-2] + `',`, "actions", false},
		{`{"for":`, AddendumCase, true}, {`{"subject":`, AddendumCase, true}, {`{"for":`, "reason", false}, {``, "reason", false},
	} {
		if belongs([]byte(x.before), x.name) != x.want {
			t.Errorf("%s: %s belongs there: %v", x.before, x.name, !x.want)
		}
	}
	// Nothing is revealed twice, and nothing where nobody is asked.
	text := []byte(`{"reason":` + mark[:len(mark)-1] + `}`)
	if got := Reveal(text, nil); &got[0] != &text[0] {
		t.Error("the text was copied")
	}
	for said, want := range map[string]string{"why": `{"reason":"why"}`, "\xff": string(text)} {
		got := Reveal(text, func(string) (Addendum, bool) { return Addendum{Name: "reason", Text: said}, true })
		if string(got) != want {
			t.Errorf("%q is revealed as %s", said, got)
		}
	}
	// A mark at the very beginning or end of a text is looked at within its bounds.
	if got := Marks([]byte(mark[:len(mark)-2])); got != nil {
		t.Errorf("a mark without its end is %q", got)
	}
	if got := Marks([]byte(`[` + mark + mark[:len(mark)-1])); len(got) != 2 {
		t.Errorf("at the end of a text %q", got)
	}
	x := Mark("x")
	for _, s := range []string{x + "A", x[:len(x)-1], "sha-256", strings.Repeat("A", len(x)), x[:len(x)-1] + "B"} {
		if IsMark(s) {
			t.Errorf("%s is a mark", s)
		}
	}
}

// TestPaperBadgeOfCorrection: who checked a count that a correction puts in place is found in what it holds of paper.
func TestPaperBadgeOfCorrection(t *testing.T) {
	t.Parallel()
	for data, want := range map[string][]NamedBadge{
		`{"paper":{"checkedBy":"B-1"}}`:               {{"checkedBy", "B-1"}},
		`{"paper":{"checkedBy":7},"checkedBy":"B-2"}`: {{"checkedBy", "B-2"}},
		`{"paper":7}`:                   nil,
		`{"witness":"B-3","loader":""}`: {{"witness", "B-3"}},
		`{"witness":"B-3"`:              nil,
	} {
		if got := BadgesIn(&EventCorrected{Data: []byte(data)}); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v", data, got)
		}
	}
	got := BadgesIn(&SetCounted{Counter: "B-1", Paper: &FromPaper{CheckedBy: "B-2"}})
	if want := []NamedBadge{{"counter", "B-1"}, {"checkedBy", "B-2"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%v", got)
	}
}
