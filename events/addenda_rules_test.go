package events

import (
	"encoding/base64"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// TestDisclosureRefuses: each part of an addendum's written form, at its bound.
func TestDisclosureRefuses(t *testing.T) {
	t.Parallel()
	salt := func(n int) string { return base64.RawURLEncoding.EncodeToString(make([]byte, n)) }
	for _, tt := range []struct {
		json string
		good bool
	}{
		{`["` + salt(16) + `", "reason", "x"]`, true}, {`["` + salt(17) + `", "reason", "x"]`, true},
		{`["` + salt(15) + `", "reason", "x"]`, false}, {`["` + salt(16) + `", "", "x"]`, false},
		{`["` + salt(16) + `", "reason", ""]`, false}, {`["` + salt(16) + `", "reason"]`, false},
		{`["` + salt(16) + `", "reason", "x", "y"]`, false}, {`["` + salt(16) + `=", "reason", "x"]`, false}, {`{}`, false},
	} {
		if _, err := ParseDisclosure(base64.RawURLEncoding.EncodeToString([]byte(tt.json))); (err == nil) != tt.good {
			t.Errorf("%s: %v", tt.json, err)
		}
	}
	if _, err := (Addendum{Salt: "s", Name: "n", Text: "\xff"}).Disclosure(); err == nil {
		t.Error("what is not UTF-8 is disclosed")
	}
	mark := Mark("x")
	for text, want := range map[string]bool{
		mark: true, mark + "A": false, mark[:len(mark)-1]: false, "sha-512." + mark[8:]: false, mark[:len(mark)-1] + "!": false, "": false,
	} {
		if got := IsMark(text); got != want {
			t.Errorf("%s is a mark: %v", text, got)
		}
	}
}

// TestMarks: marks are whole strings, and one that a longer text quotes is none.
func TestMarks(t *testing.T) {
	t.Parallel()
	a, b := Mark("a"), Mark("b")
	for _, tt := range []struct {
		text string
		want []string
	}{
		{`{"x":"` + a + `","y":["` + b + `","` + a + `"]}`, []string{a, b, a}},
		{`{"x":"\"` + a + `"}`, nil}, {`{"x":"` + a + ` "}`, nil}, {`{"x":"` + a, nil}, {`{"x":"sha-256.","y":"` + b + `"}`, []string{b}},
		{`["` + a + `"`, []string{a}}, {`{}`, nil},
	} {
		if got := Marks([]byte(tt.text)); !slices.Equal(got, tt.want) {
			t.Errorf("%s has the marks %q", tt.text, got)
		}
	}
	none := func(string) (Addendum, bool) { return Addendum{}, false }
	for _, disclosed := range []Disclosed{nil, none} {
		text := []byte(`{"x":"` + a + `"}`)
		if got := Reveal(text, disclosed); &got[0] != &text[0] {
			t.Errorf("where nothing is revealed, another slice is returned: %s", got)
		}
	}
	for before, want := range map[string]bool{
		`{"note":`: true, `{"notes":`: false, `"note":[`: true, `"note":["` + a + `",`: true, `"note":["` + a + `","` + b + `",`: true,
		`"note":["` + a + `"`: false, `"note":["` + a + `";`: false, `"note":["x",`: false, `"note":[x` + a + `",`: false,
		`"note":["` + a + `x,`: false, `"note":["` + a[:len(a)-1] + `!",`: false, `"note":["` + a + `"],"x":`: false,
	} {
		if got := belongs([]byte(before), "note"); got != want {
			t.Errorf("a note may stand behind %s: %v", before, got)
		}
	}
	for name, want := range map[string]bool{AddendumCase: true, "note": false} {
		if belongs([]byte(`"for":`), name) != want || belongs([]byte(`"subject":`), name) != want {
			t.Errorf("%s belongs behind for and subject: %v", name, !want)
		}
	}
}

// TestTextsOfCorrections: what a correction puts in place has the texts of its kind, which only who knows the kind replaces.
func TestTextsOfCorrections(t *testing.T) {
	t.Parallel()
	upper := func(_, s string) (string, error) { return strings.ToUpper(s), nil }
	c := &EventCorrected{Event: testTrip(0), Action: "replace", Reason: "slip", Data: jsontext.Value(`{"case":"k","outcome":"reconciled","actions":["x-ray"]}`)}
	before := *c
	got, err := Texts(c, KindCaseClosed, upper)
	if err != nil {
		t.Fatal(err)
	}
	want := &EventCorrected{Event: c.Event, Action: "replace", Reason: "SLIP",
		Data: jsontext.Value(`{"case":"K","outcome":"reconciled","actions":["X-RAY"]}`)}
	if !reflect.DeepEqual(got, want) || !reflect.DeepEqual(*c, before) {
		t.Errorf("the texts became %s, of %s", got.(*EventCorrected).Data, c.Data)
	}
	if got, err = Texts(c, "", upper); err != nil || string(got.(*EventCorrected).Data) != string(c.Data) {
		t.Errorf("data of a kind that nobody knows became %s: %v", got.(*EventCorrected).Data, err)
	}
	if _, err = Texts(c, "set.polished", upper); err == nil || !strings.Contains(err.Error(), "set.polished") {
		t.Errorf("of a kind that there isn't: %v", err)
	}
	if _, err = Texts(&EventCorrected{Data: jsontext.Value("[]")}, KindCaseClosed, upper); err == nil {
		t.Error("the data of a correction is no object, and nothing is said")
	}
	empty := &EventCorrected{Action: "void", Reason: "slip"}
	if got, err = Texts(empty, "set.polished", upper); err != nil || got.(*EventCorrected).Reason != "SLIP" {
		t.Errorf("a correction without data: %+v, %v", got, err)
	}
	failing := errors.New("no room")
	for _, d := range []Data{
		&CaseClosed{Case: "K"}, &CaseClosed{Actions: []string{"x"}}, &SetChecked{Sheet: &Reading{Text: "x"}}, &SetPacked{Exceptions: []Exception{{Reason: "own"}}},
		&EventCorrected{Data: c.Data},
	} {
		if _, err := Texts(d, KindCaseClosed, func(string, string) (string, error) { return "", failing }); !errors.Is(err, failing) {
			t.Errorf("%T: %v", d, err)
		}
	}
	list := &ListIssued{List: "L"}
	if got, err := Texts(list, "", upper); err != nil || got != Data(list) {
		t.Errorf("data without texts is copied: %v", err)
	}
	if got, err := Texts(&Unknown{Type: "x"}, "", upper); err != nil || got.(*Unknown).Type != "x" {
		t.Errorf("unknown data became %v, %v", got, err)
	}
}

// TestKeyedIDOfCorrections: of a correction all that it puts in place is taken for text, and so is what it is about.
func TestKeyedIDOfCorrections(t *testing.T) {
	t.Parallel()
	o := func(set, data string) *Observation {
		return &Observation{Station: "north/office", Kind: KindEventCorrected, Time: testTime, Set: set,
			Data: &EventCorrected{Event: testTrip(0), Action: "replace", Reason: "slip", Data: jsontext.Value(data)}}
	}
	id := func(o *Observation, key string) string {
		s, err := o.KeyedID([]byte(key))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	first := id(o("K-1", `{"place":"A4","tag":"T"}`), "one")
	if again := id(o("K-1", `{ "tag":"T", "place":"A4" }`), "one"); again != first {
		t.Error("the same data in another order has another id")
	}
	ids := map[string]bool{first: true}
	for _, other := range []string{id(o("K-1", `{"place":"A5","tag":"T"}`), "one"), id(o("K-2", `{"place":"A4","tag":"T"}`), "one"),
		id(o("", `{"place":"A4","tag":"T"}`), "one"), id(o("K-1", `{"place":"A4","tag":"T"}`), "two")} {
		if ids[other] {
			t.Error("two corrections have one id")
		}
		ids[other] = true
	}
	if _, err := o("", `{"a":1.5}`).KeyedID(nil); err == nil {
		t.Error("data that has no canonical form has an id")
	}
	void := o("", "")
	void.Data = &EventCorrected{Event: testTrip(0), Action: "void", Reason: "slip"}
	if s := id(void, "one"); s == id(void, "two") {
		t.Error("the reason of a correction without data is not keyed")
	}
	k := newTestKey(t, "north/or-3", 7)
	e := testEvent(&SetChecked{}, k.name, 1, "", testTime)
	signed := &Observation{Signed: sign(t, e, k)}
	if got := id(signed, "one"); got != e.ID {
		t.Errorf("a signed record has the keyed id %s, and is %s", got, e.ID)
	}
	if _, err := (&Observation{Signed: []byte("x")}).KeyedID(nil); err == nil {
		t.Error("what is no record has an id")
	}
}

// TestHasID: an event has the id of each observation that may have become it, and of no other.
func TestHasID(t *testing.T) {
	t.Parallel()
	set := Observation{Station: "north/or-3", Kind: KindSetChecked, Time: testTime, Set: "LAP-014", Data: &SetChecked{Place: "A4"}}
	correction := Observation{Station: "north/or-3", Kind: KindEventCorrected, Time: testTime,
		Data: &EventCorrected{Event: testTrip(0), Action: "void", Reason: "slip"}}
	for _, base := range []Observation{set, correction} {
		e := &Event{Station: base.Station, Subject: "LAP-014", Time: testTime, Trip: testTrip(3), Data: base.Data}
		for _, trip := range []string{"", testTrip(3), testTrip(4)} {
			for _, name := range []string{"", "LAP-014", "LAP-015"} {
				o := base
				o.Trip, o.Set = trip, name
				about := name == "LAP-014" || name == ""
				if got, want := e.HasID(idOf(t, &o)), about && trip != testTrip(4); got != want {
					t.Errorf("%s of %q with trip %q: %v", o.Kind, name, trip, got)
				}
			}
		}
		late := *e
		late.Time = testTime.Add(time.Millisecond)
		if o := base; late.HasID(idOf(t, &o)) || e.HasID("x") {
			t.Error("an id of another time, or none, is an event's")
		}
	}
	closed := &Event{Station: "north/or-3", Subject: "K", Time: testTime, Data: &CaseClosed{Case: "K", Outcome: "reconciled"}}
	o := Observation{Station: "north/or-3", Kind: KindCaseClosed, Time: testTime, Data: closed.Data}
	if !closed.HasID(idOf(t, &o)) {
		t.Error("the closing of a case does not have its id")
	}
	if o.Set = "K"; closed.HasID(idOf(t, &o)) {
		t.Error("a closing is found under an observation that names a set")
	}
}

// TestCheckAddenda: addenda stand beside a record that has a mark of each.
func TestCheckAddenda(t *testing.T) {
	t.Parallel()
	a := Addendum{Salt: base64.RawURLEncoding.EncodeToString(make([]byte, 16)), Name: "reason", Text: "all there"}
	line, err := a.Disclosure()
	if err != nil {
		t.Fatal(err)
	}
	e := testEvent(&CaseClosed{Case: "K", Outcome: "reconciled", Reason: Mark(line)}, "north/or-3", 1, "", testTime)
	note := func(e *Event) []byte {
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Appendf(nil, "%s\n\n— x y\n", text)
	}
	bare := testEvent(&CaseClosed{Case: "K", Outcome: "reconciled"}, "north/or-3", 1, "", testTime)
	for _, tt := range []struct {
		e       *Event
		addenda []string
		good    bool
	}{{e, nil, true}, {bare, nil, true}, {e, []string{line}, true}, {bare, []string{line}, false}, {e, []string{"x"}, false}} {
		if err := checkAddenda(note(tt.e), tt.e, tt.addenda); (err == nil) != tt.good {
			t.Errorf("%d addenda beside %+v: %v", len(tt.addenda), tt.e.Data, err)
		}
	}
	all := func(string) (Addendum, bool) { return a, true }
	if got := RevealNote([]byte("x"), e, all); got != e {
		t.Error("of what is no note something is revealed")
	}
	if got := RevealNote(note(e), nil, all); got != nil {
		t.Error("of no event something is revealed")
	}
	if got := RevealNote(note(bare), bare, all); got != bare {
		t.Error("an event without marks is another one")
	}
	looked := *e
	looked.Trip = testTrip(2)
	if got := RevealNote(note(e), &looked, all); got.Trip != looked.Trip || got.Data.(*CaseClosed).Reason != a.Text {
		t.Errorf("revealed is %+v of trip %q", got.Data, got.Trip)
	}
}

// TestCanonicalBounds: the longest text that is taken, and the deepest that one pass looks at.
func TestCanonicalBounds(t *testing.T) {
	t.Parallel()
	for n, good := range map[int]bool{MaxRecord: true, MaxRecord + 1: false} {
		if _, err := Canonical([]byte(`"` + strings.Repeat("x", n-2) + `"`)); (err == nil) != good {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
	deep := func(n int) []byte { return []byte(strings.Repeat("[", n) + strings.Repeat("]", n)) }
	if !isCanonical(deep(deepest+1)) || isCanonical(deep(deepest+2)) {
		t.Error("one pass looks deeper than it says, or less deep")
	}
	for text, want := range map[string]bool{
		`"\u0010"`: true, `"\u000e"`: true, `"\u001f"`: true, `"\u0000"`: true, `"\u0020"`: false, `"\u0100"`: false, `"\u1000"`: false, `"\u001F"`: false,
		`"\u0008"`: false, `"\u0009"`: false, `"\u000a"`: false, `"\u000c"`: false, `"\u000d"`: false, `"\u00"`: false, `"\u001f`: false, `"\x0000"`: false,
		`"\u001fx"`: true, `["\u001f",1]`: true, `"\u0018"`: true, `"\n\n"`: true, `"\/"`: false, `9007199254740991`: true, `9007199254740992`: false,
		`-9007199254740991`: true, `-9007199254740992`: false, `-0`: false, `-1`: true, `10`: true, `-10`: true, `-01`: false, `00`: false, `-`: false,
		`{"a":1,"b":2}`: true, `{"b":1,"a":2}`: false, `{"a":1,"a":2}`: false, `{"a":1,"aa":2}`: true, `{"a\n":1}`: false, `{"é":1}`: false, `{"":1}`: true,
		`[1,2]`: true, `[1;2]`: false, `[1`: false, `{"a":1;}`: false, `{"a";1}`: false, `{1:2}`: false, `tru`: false, `true`: true, `falsE`: false, `null `: false,
	} {
		if got := isCanonical([]byte(text)); got != want {
			t.Errorf("%s is seen to be canonical: %v", text, got)
		}
	}
}

// TestHeadOf: a chain goes on from the last record that a key signed.
func TestHeadOf(t *testing.T) {
	t.Parallel()
	c := newAuditCase(t)
	k, other := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/packing-1", 3)
	c.good(c.ledger, enrol(k), 0)
	c.good(k, &SetChecked{}, 1)
	c.good(k, &SetChecked{}, 2)
	for _, st := range c.audit.Stations() {
		if st.Name != k.name {
			continue
		}
		if n, hash := st.HeadOf(k.verifier.KeyHash()); n != 2 || hash != c.hashes[k.name] {
			t.Errorf("the head is %d %s", n, hash)
		}
		if n, hash := st.HeadOf(other.verifier.KeyHash()); n != 0 || hash != "" {
			t.Errorf("a key that signed nothing has the head %d %s", n, hash)
		}
		changed, gone := st.Moved()
		if again, _ := st.Moved(); len(changed) != 1 || len(gone) != 0 || len(again) != 0 {
			t.Errorf("moved are %d runs, then %d", len(changed), len(again))
		}
	}
}
