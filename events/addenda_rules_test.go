package events

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
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
		{`["` + salt(16) + `", "reason", "x", "y"]`, false}, {`["` + salt(16) + `=", "reason", "x"]`, false}, {`{}`,
			false},
		// However it is written, as a reader of JSON takes it.
		{`["` + salt(16) + `","reason","x"]`, true}, {` [ "` + salt(16) + `", "reason", "x" ] `, true},
		{`["` + salt(16) + `", "re\u0061son", "\"x\""]`, true}, {`["` + salt(40) + `", "reason", "Möbius` + "\x7f" + `"]`, true},
		{`["` + salt(16) + `", "reason", "a` + "\n" + `b"]`, false}, {`["` + salt(16) + `", "reason", "` + "\xff" + `"]`, false},
		{`["` + salt(16) + `", "reason", "x"],`, false}, {`["` + salt(16) + `", "reason", "x`, false},
		{`["` + salt(16) + `", "reason", "x\"]`, false}, {`["` + salt(16)[:10] + "\xff" + salt(16)[:20] + `", "reason", "x"]`, false},
	} {
		got, err := ParseDisclosure(base64.RawURLEncoding.EncodeToString([]byte(tt.json)))
		if (err == nil) != tt.good {
			t.Errorf("%s: %v", tt.json, err)
		}
		var parts []string
		if tt.good && (json.Unmarshal([]byte(tt.json), &parts) != nil || got != Addendum{parts[0], parts[1], parts[2]}) {
			t.Errorf("%s was read as %+v", tt.json, got)
		}
	}
	long := base64.RawURLEncoding.EncodeToString([]byte(`["` + salt(16) + `", "reason", "x"]`))
	for _, end := range []string{"\n", "\r", "\r\n"} {
		for _, s := range []string{long + end, end + long, long[:9] + end + long[9:]} {
			if _, err := ParseDisclosure(s); err == nil {
				t.Errorf("%q was read, which would be two lines of a file", s)
			}
		}
	}
	if _, err := (Addendum{Salt: "s", Name: "n", Text: "\xff"}).Disclosure(); err == nil {
		t.Error("what is not UTF-8 is disclosed")
	}
	mark := Mark("x")
	for text, want := range map[string]bool{
		mark: true, mark + "A": false, mark[:len(mark)-1]: false, "sha-512." + mark[8:]: false,
		mark[:len(mark)-1] + "!": false, "": false,
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
		{`{"x":"\"` + a + `"}`, nil}, {`{"x":"` + a + ` "}`, nil}, {`{"x":"` + a, nil},
		{`{"x":"sha-256.","y":"` + b + `"}`, []string{b}},
		{`["` + a + `"`, []string{a}}, {`{}`, nil},
	} {
		if got := Marks([]byte(tt.text)); !slices.Equal(got, tt.want) {
			t.Errorf("%s has the marks %q", tt.text, got)
		}
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
	}{{e, nil, true}, {bare, nil, true}, {e, []string{line}, true}, {bare, []string{line}, false}, {e, []string{"x"},
		false}} {
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
	named := func(n int) []byte { return []byte(strings.Repeat(`{"a":`, n) + "1" + strings.Repeat("}", n)) }
	if !isCanonical(named(deepest)) || isCanonical(named(deepest+1)) {
		t.Error("of objects one pass looks deeper than it says, or less deep")
	}
	for text, want := range map[string]bool{
		`"\u0010"`: true, `"\u000e"`: true, `"\u001f"`: true, `"\u0000"`: true, `"\u0020"`: false, `"\u0100"`: false,
		`"\u1000"`: false, `"\u001F"`: false, `"\u0008"`: false, `"\u0009"`: false, `"\u000a"`: false,
		`"\u000c"`: false, `"\u000d"`: false, `"\u00"`: false, `"\u001f`: false, `"\x0000"`: false,
		`"\u001fx"`: true, `["\u001f",1]`: true, `"\u0018"`: true, `"\n\n"`: true, `"\/"`: false,
		`9007199254740991`: true, `9007199254740992`: false, `-9007199254740991`: true, `-9007199254740992`: false,
		`-0`: false, `-1`: true, `10`: true, `-10`: true, `-01`: false, `00`: false, `-`: false,
		`{"a":1,"b":2}`: true, `{"b":1,"a":2}`: false, `{"a":1,"a":2}`: false, `{"a":1,"aa":2}`: true,
		`{"a\n":1}`: false, `{"é":1}`: false, `{"":1}`: true, `[1,2]`: true, `[1;2]`: false, `[1`: false,
		`{"a":1;}`: false, `{"a";1}`: false, `{1:2}`: false, `tru`: false, `true`: true, `falsE`: false,
		`null `: false,
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
