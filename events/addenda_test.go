package events

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestDisclosure holds the form to the example of RFC 9901, 4.2.1.
func TestDisclosure(t *testing.T) {
	t.Parallel()
	const (
		disclosure = "WyJfMjZiYzRMVC1hYzZxMktJNmNCVzVlcyIsICJmYW1pbHlfbmFtZSIsICJNw7ZiaXVzIl0"
		digest     = "X9yH0Ajrdm1Oij4tWso9UzzKJvPoDxwmuEcO3XAdRC0"
	)
	a := Addendum{Salt: "_26bc4LT-ac6q2KI6cBW5es", Name: "family_name", Text: "Möbius"}
	if got, err := a.Disclosure(); err != nil || got != disclosure {
		t.Errorf("disclosure %s, %v", got, err)
	}
	if got := DisclosureDigest(disclosure); got != digest {
		t.Errorf("digest %s", got)
	}
	if got := Mark(disclosure); got != "sha-256."+digest || !IsMark(got) {
		t.Errorf("mark %s", got)
	}
}

func TestParseDisclosure(t *testing.T) {
	t.Parallel()
	a, err := NewAddendum(bytes.NewReader(bytes.Repeat([]byte{7}, 16)), "reason", "a \"quoted\" word, and Möbius")
	if err != nil {
		t.Fatal(err)
	}
	s, err := a.Disclosure()
	if err != nil {
		t.Fatal(err)
	}
	if back, err := ParseDisclosure(s); err != nil || back != a {
		t.Errorf("read back %+v, %v", back, err)
	}
	if _, err := NewAddendum(strings.NewReader("too few"), "reason", "x"); err == nil {
		t.Error("a salt was made of 7 bytes")
	}
	short, err := Addendum{Salt: "AAAAAAAAAAAAAAAAAAAA", Name: "reason", Text: "x"}.Disclosure() // 15 bytes
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{short, s + "=", "WyJhIl0", "", strings.TrimSuffix(s, s[len(s)-4:])} {
		if _, err := ParseDisclosure(bad); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
	if _, err := ParseDisclosure(short); err == nil || !strings.Contains(err.Error(), "fewer than 16 bytes") { // 128 bits: RFC 9901, 9.3
		t.Errorf("a short salt: %v", err)
	}
}

// beside keeps addenda for a test.
type beside struct {
	n    byte
	said map[string]Addendum
}

func (b *beside) mark(t *testing.T) func(name, text string) (string, error) {
	return func(name, text string) (string, error) {
		b.n++
		a, err := NewAddendum(bytes.NewReader(bytes.Repeat([]byte{b.n}, 16)), name, text)
		if err != nil {
			t.Fatal(err)
		}
		s, err := a.Disclosure()
		b.said[Mark(s)] = a
		return Mark(s), err
	}
}

func (b *beside) disclosed(mark string) (Addendum, bool) {
	a, ok := b.said[mark]
	return a, ok
}

// TestTextsComeBack draws data of every kind: its texts are not in what is signed, and come back all and alone.
func TestTextsComeBack(t *testing.T) {
	t.Parallel()
	with := 0
	for _, k := range Kinds() {
		d := drawn(t, k)
		b := &beside{said: make(map[string]Addendum)}
		hidden, err := Texts(d, "", b.mark(t))
		if err != nil {
			t.Fatal(err)
		}
		if len(b.said) > 0 {
			with++
		}
		e := &Event{
			ID: DerivedID(time.Unix(1772432000, 0), Digest{1}), Station: "north/packing-1", Subject: "S-1",
			Time: time.Unix(1772432000, 0).UTC(), StationSeq: 1, Data: hidden,
		}
		if s := subjectOf(hidden, e.Station); s != "" {
			e.Subject = s
		}
		if k == KindEventCorrected || e.Check() != nil {
			continue // data that is drawn is not always what a station may say
		}
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range b.said {
			if bytes.Contains(text, []byte(a.Text)) && len(a.Text) > 8 {
				t.Errorf("%s: %q is in what is signed", k, a.Text)
			}
		}
		note := fmt.Appendf(nil, "%s\n\n— x y\n", text)
		if read := NewReader().Reveal(note, e, b.disclosed); !reflect.DeepEqual(read, RevealNote(note, e, b.disclosed)) {
			t.Errorf("%s: a Reader makes %+v of it", d.Kind(), read)
		}
		if got := RevealNote(note, e, b.disclosed); !reflect.DeepEqual(got.Data, d) {
			t.Errorf("%s came back as %+v, and was %+v", k, got.Data, d)
		}
	}
	if least := 12; with < least {
		t.Errorf("%d kinds have texts; there were %d", with, least)
	}
}

// drawn returns data of a kind with a word of its own in each field of text.
func drawn(t *testing.T, k Kind) Data {
	t.Helper()
	d := k.newData()
	n := 0
	fill(reflect.ValueOf(d).Elem(), &n)
	return d
}

func fill(v reflect.Value, n *int) {
	switch v.Kind() {
	case reflect.String:
		*n++
		v.SetString(fmt.Sprintf("text-%d-of-one", *n))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), n)
		}
	}
}

func TestWordsStay(t *testing.T) {
	t.Parallel()
	b := &beside{said: make(map[string]Addendum)}
	d := &SetPacked{Exceptions: []Exception{{Line: 1, Reason: ReasonDamaged}, {Line: 2, Reason: "fell behind the bench"}}}
	hidden, err := Texts(d, "", b.mark(t))
	if err != nil {
		t.Fatal(err)
	}
	x := hidden.(*SetPacked).Exceptions
	if x[0].Reason != ReasonDamaged || !IsMark(x[1].Reason) || d.Exceptions[1].Reason != "fell behind the bench" {
		t.Errorf("hidden %+v, and the data itself %+v", x, d.Exceptions)
	}
}

// TestRevealPlace holds that an addendum stands in its own member only.
func TestRevealPlace(t *testing.T) {
	t.Parallel()
	b := &beside{said: make(map[string]Addendum)}
	mark := b.mark(t)
	reason, _ := mark("reason", "he said \"no\"")
	actions, _ := mark("actions", "X-ray")
	ref, _ := mark(AddendumCase, "K-1")
	for _, c := range []struct{ signed, shown string }{
		{`{"reason":"` + reason + `"}`, `{"reason":"he said \"no\""}`},
		{`{"note":"` + reason + `"}`, ""},
		{`{"note":"\"` + reason + `"}`, ""},
		{`{"actions":["` + actions + `","` + actions + `"]}`, `{"actions":["X-ray","X-ray"]}`},
		{`{"actions":["` + actions + `"],"other":"` + actions + `"}`, `{"actions":["X-ray"],"other":"` + actions + `"}`},
		{`{"case":"` + ref + `","subject":"` + ref + `","for":"` + ref + `","operator":"` + ref + `"}`,
			`{"case":"K-1","subject":"K-1","for":"K-1","operator":"` + ref + `"}`},
		{`{"reason":"` + Mark("another") + `"}`, ""},
		{`{"reason":"sha-256.short"}`, ""},
	} {
		if c.shown == "" {
			c.shown = c.signed
		}
		if got := Reveal([]byte(c.signed), b.disclosed); string(got) != c.shown {
			t.Errorf("%s is shown as %s", c.signed, got)
		}
	}
}

// TestKeyedID holds that who guesses a text can't confirm it by the id.
func TestKeyedID(t *testing.T) {
	t.Parallel()
	o := &Observation{
		Station: "north/or-3", Kind: KindCaseClosed, Time: time.Unix(1772432000, 0).UTC(), Operator: "B-1",
		Data: &CaseClosed{Case: "K-0412", Outcome: "reconciled", Reason: "all there"},
	}
	id := func(o *Observation, key string) string {
		t.Helper()
		s, err := o.KeyedID([]byte(key))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	plain, err := o.ID()
	if err != nil {
		t.Fatal(err)
	}
	first := id(o, "one")
	if first != id(o, "one") || first == id(o, "two") || first == plain {
		t.Error("the id is not the key's")
	}
	other := *o
	other.Data = &CaseClosed{Case: "K-0413", Outcome: "reconciled", Reason: "all there"}
	if first == id(&other, "one") {
		t.Error("two cases have one id")
	}
	bare := &Observation{Station: "north/packing-1", Kind: KindSetPacked, Time: o.Time, Set: "LAP-014",
		Data: &SetPacked{List: "LAP-MAJOR", Version: 3, Exceptions: []Exception{{Line: 1, Reason: ReasonMissing}}}}
	if was, err := bare.ID(); err != nil || id(bare, "one") != was {
		t.Errorf("an observation without texts has another id than before: %v", err)
	}
	noted := *bare
	noted.Data = &SetPacked{List: "LAP-MAJOR", Version: 3, Note: "by Anna", Exceptions: []Exception{{Line: 1, Reason: "by Anna"}}}
	other = noted
	other.Data = &SetPacked{List: "LAP-MAJOR", Version: 3, Note: "by Bert", Exceptions: []Exception{{Line: 1, Reason: "by Bert"}}}
	a, errA := noted.NewTrip()
	b, errB := other.NewTrip()
	if a != b || errA != nil || errB != nil {
		t.Errorf("the trip tells the note: %s, %s", a, b)
	}
	if a, err = noted.NewKeyedTrip([]byte("one")); err != nil {
		t.Fatal(err)
	}
	if b, err = other.NewKeyedTrip([]byte("one")); err != nil || a == b {
		t.Errorf("two packings that differ by a note have one keyed trip: %v", err)
	}
}

// TestSignedAddenda: a station that signs for itself hands texts in beside its record, and none but those.
func TestSignedAddenda(t *testing.T) {
	t.Parallel()
	key := newTestKey(t, "north/or-3", 7)
	b := &beside{said: make(map[string]Addendum)}
	signed := func(d Data) string {
		hidden, err := Texts(d, "", b.mark(t))
		if err != nil {
			t.Fatal(err)
		}
		n, err := Sign(testEvent(hidden, key.name, 1, "", testTime), key.signer)
		if err != nil {
			t.Fatal(err)
		}
		return string(n)
	}
	line := func(n string, as ...Addendum) error {
		o := &Observation{Signed: []byte(n)}
		for _, a := range as {
			s, err := a.Disclosure()
			if err != nil {
				t.Fatal(err)
			}
			o.Addenda = append(o.Addenda, s)
		}
		raw, err := FormatObservation(o)
		if err != nil {
			t.Fatal(err)
		}
		read, err := ParseObservation(raw)
		if err == nil && (!reflect.DeepEqual(read.Addenda, o.Addenda) || read.Check() != nil) {
			t.Errorf("%s was read as %+v", raw, read)
		}
		return err
	}
	n := signed(&CaseClosed{Case: "K-1", Outcome: "reconciled", Reason: "all there"})
	var as []Addendum
	for _, a := range b.said {
		as = append(as, a)
	}
	if err := line(n, as...); err != nil || len(as) != 2 {
		t.Errorf("a record with its %d addenda: %v", len(as), err)
	}
	if err := line(n); err != nil {
		t.Errorf("a record whose texts were taken out: %v", err)
	}
	other := as[0]
	other.Text += "!"
	if err := line(n, other); err == nil {
		t.Error("an addendum that the record has no mark of was taken")
	}
	clear(b.said)
	n = signed(&CaseClosed{Case: "K 1", Outcome: "reconciled"}) // no reference of a case
	for _, a := range b.said {
		if err := line(n, a); err == nil {
			t.Error("a reference with a blank was taken beside a record")
		}
	}
	if _, err := ParseObservation([]byte(`{"station":"north/or-3","kind":"set.checked","time":"2026-03-02T06:11:00Z","set":"S",` +
		`"data":{},"addenda":["x"]}`)); err == nil {
		t.Error("addenda were taken beside what is not signed")
	}
}
