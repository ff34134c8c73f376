package events

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// An Addendum is what a record says in free text, or the reference of its case. It stands beside the ledger, where it
// can be taken out again; the record holds its mark. Its written form is the disclosure of RFC 9901, 4.2.1: base64url of
// a JSON array of salt, name and text; the mark is made of that form's digest.
type Addendum struct {
	Salt string // base64url of 16 random bytes or more: without it nobody can try what the text may have been
	Name string // the member of the data that it belongs to, such as reason; case for a case's reference
	Text string
}

// AddendumCase is the name of a case's reference, whichever member it stands in.
const AddendumCase = "case"

// saltBytes is how many random bytes a salt has.
const saltBytes = 16

// markStart begins a mark; what follows is a SHA-256 in base64url, of this many characters.
const (
	markStart  = "sha-256."
	markDigest = 43
)

// NewAddendum gives a text its salt.
func NewAddendum(random io.Reader, name, text string) (Addendum, error) {
	var salt [saltBytes]byte
	if _, err := io.ReadFull(random, salt[:]); err != nil {
		return Addendum{}, fmt.Errorf("salt for %s: %w", name, err)
	}
	return Addendum{base64.RawURLEncoding.EncodeToString(salt[:]), name, text}, nil
}

// Disclosure returns the written form.
func (a Addendum) Disclosure() (string, error) {
	raw := []byte("[")
	for i, s := range []string{a.Salt, a.Name, a.Text} {
		if i > 0 {
			raw = append(raw, ", "...)
		}
		var err error
		if raw, err = jsontext.AppendQuote(raw, s); err != nil {
			return "", fmt.Errorf("%s: %w", a.Name, err)
		}
	}
	return base64.RawURLEncoding.EncodeToString(append(raw, ']')), nil
}

// strictBase64 takes one form of what it decodes, but for ends of lines, which it passes over.
var strictBase64 = base64.RawURLEncoding.Strict()

// ParseDisclosure reads the written form.
func ParseDisclosure(s string) (Addendum, error) {
	raw, err := strictBase64.DecodeString(s)
	if err != nil || strings.ContainsAny(s, "\r\n") {
		return Addendum{}, errors.New("an addendum is not in base64url")
	}
	x, ok := plainAddendum(string(raw))
	if !ok {
		var parts []string
		if err := json.Unmarshal(raw, &parts); err != nil || len(parts) != 3 || parts[1] == "" || parts[2] == "" {
			return Addendum{}, errors.New("an addendum is not an array of salt, name and text")
		}
		x = Addendum{parts[0], parts[1], parts[2]}
	}
	var salt [2 * saltBytes]byte
	n := base64.RawURLEncoding.DecodedLen(len(x.Salt))
	if n <= len(salt) {
		n, err = base64.RawURLEncoding.Decode(salt[:], []byte(x.Salt))
	} else {
		_, err = base64.RawURLEncoding.DecodeString(x.Salt)
	}
	if err != nil || n < saltBytes {
		return Addendum{}, fmt.Errorf("an addendum's salt has fewer than %d bytes", saltBytes)
	}
	return x, nil
}

// plainAddendum reads an array of three strings in which nothing is escaped, as nearly all are written: a start reads all that a
// folder has. It reports false of any other, and of what is none.
func plainAddendum(text string) (x Addendum, ok bool) {
	rest := text
	for i, part := range []*string{&x.Salt, &x.Name, &x.Text} {
		if i == 0 {
			rest, ok = strings.CutPrefix(rest, `["`)
		} else {
			rest, ok = strings.CutPrefix(rest, `, "`)
		}
		if !ok {
			return x, false
		}
		for n := 0; ; n++ {
			if n == len(rest) || rest[n] < ' ' || rest[n] == '\\' {
				return x, false
			}
			if rest[n] == '"' {
				*part, rest = rest[:n], rest[n+1:]
				break
			}
		}
	}
	return x, rest == "]" && x.Name != "" && x.Text != "" && utf8.ValidString(text)
}

// DisclosureDigest returns the digest of a written form, in base64url: the value that RFC 9901 calls the digest of a
// disclosure.
func DisclosureDigest(disclosure string) string {
	h := sha256.Sum256([]byte(disclosure))
	return base64.RawURLEncoding.EncodeToString(h[:])
}

// Mark returns what stands in a record in the place of a text: "sha-256." and the digest of its disclosure. That of a
// case's reference is the id of the case in the ledger.
func Mark(disclosure string) string { return markStart + DisclosureDigest(disclosure) }

// IsMark reports whether a text is of the form of a mark.
func IsMark(s string) bool {
	_, ok := MarkDigest(s)
	return ok
}

// MarkDigest returns the digest in a mark. It reports false of a text that is none.
func MarkDigest(s string) (sum [sha256.Size]byte, ok bool) {
	d, ok := strings.CutPrefix(s, markStart)
	if !ok || len(d) != markDigest {
		return sum, false
	}
	n, err := strictBase64.Decode(sum[:], []byte(d))
	return sum, err == nil && n == len(sum)
}

// Disclosed finds the addendum of a mark; false where it was taken out.
type Disclosed func(mark string) (Addendum, bool)

// Marks returns the marks in the text of a record, in their order.
func Marks(text []byte) (marks []string) {
	eachMark(text, func(at int, mark string) { marks = append(marks, mark) })
	return marks
}

// eachMark finds strings that are marks, each with the place of its opening quote.
func eachMark(text []byte, found func(at int, mark string)) {
	const start = `"` + markStart
	for at := 0; ; {
		i := bytes.Index(text[at:], []byte(start))
		if i < 0 {
			return
		}
		at += i
		end := at + len(start) + markDigest
		// Behind a backslash the quote is a character of a longer text.
		if end < len(text) && text[end] == '"' && text[at-1] != '\\' && IsMark(string(text[at+1:end])) {
			found(at, string(text[at+1:end]))
			at = end
		} else {
			at += len(start)
		}
	}
}

// Reveal puts the texts of addenda into the text of a record, in the place of their marks and nowhere else: an addendum
// stands only in the member that it was made for. What was taken out stays a mark. The text is the same slice where
// nothing is revealed.
func Reveal(text []byte, disclosed Disclosed) []byte {
	if disclosed == nil {
		return text
	}
	var out []byte
	done := 0
	eachMark(text, func(at int, mark string) {
		a, ok := disclosed(mark)
		if !ok || !belongs(text[:at], a.Name) {
			return
		}
		quoted, err := jsontext.AppendQuote(nil, a.Text)
		if err != nil {
			return
		}
		out = append(append(out, text[done:at]...), quoted...)
		done = at + 1 + len(mark) + 1
	})
	if done == 0 {
		return text
	}
	return append(out, text[done:]...)
}

// belongs reports whether an addendum may stand behind a text: in its member, alone or in an array of marks.
func belongs(before []byte, name string) bool {
	members := []string{name}
	if name == AddendumCase {
		members = append(members, "for", "subject")
	}
	for _, m := range members {
		m = `"` + m + `":`
		if bytes.HasSuffix(before, []byte(m)) {
			return true
		}
		if i := bytes.LastIndex(before, []byte(m+"[")); i >= 0 && onlyMarks(before[i+len(m)+1:]) {
			return true
		}
	}
	return false
}

// onlyMarks reports whether a text is marks, each with a comma behind it.
func onlyMarks(s []byte) bool {
	const one = len(`"`+markStart) + markDigest + len(`",`)
	for ; len(s) >= one; s = s[one:] {
		if s[0] != '"' || s[one-2] != '"' || s[one-1] != ',' || !IsMark(string(s[1:one-2])) {
			return false
		}
	}
	return len(s) == 0
}

// RevealNote returns the event of a station's note with the texts that its marks stand for; the event as it is signed
// where there are none.
func RevealNote(note []byte, e *Event, disclosed Disclosed) *Event {
	return reveal(note, e, disclosed, Decode)
}

// Reveal is RevealNote for a run of records.
func (r *Reader) Reveal(note []byte, e *Event, disclosed Disclosed) *Event {
	return reveal(note, e, disclosed, func(text []byte) (*Event, error) {
		if e := r.event(text); e != nil {
			return e, nil
		}
		return Decode(text)
	})
}

func reveal(note []byte, e *Event, disclosed Disclosed, read func(text []byte) (*Event, error)) *Event {
	text, err := Text(note)
	if err != nil || e == nil {
		return e
	}
	revealed := Reveal(text, disclosed)
	if len(revealed) > 0 && &revealed[0] == &text[0] || bytes.Equal(revealed, text) {
		return e
	}
	r, err := read(revealed)
	if err != nil {
		return e
	}
	r.Trip = e.Trip // see Observed
	return r
}

// checkAddenda refuses addenda that a signed record has no mark of, and those that say what an event can't.
func checkAddenda(note []byte, e *Event, addenda []string) error {
	if len(addenda) == 0 {
		return nil
	}
	marks := make(map[string]Addendum)
	for _, line := range addenda {
		a, err := ParseDisclosure(line)
		if err != nil {
			return err
		}
		marks[Mark(line)] = a
	}
	used := make(map[string]bool)
	revealed := RevealNote(note, e, func(mark string) (Addendum, bool) {
		a, ok := marks[mark]
		used[mark] = ok
		return a, ok
	})
	for mark := range marks {
		if !used[mark] {
			return errors.New("an addendum is handed in that the signed record has no mark of")
		}
	}
	if err := revealed.Check(); err != nil {
		return fmt.Errorf("addenda: %w", err)
	}
	return nil
}

// Texts goes through what data says in free text, and the cases that it names, and returns data in which each is
// replaced. The data itself is not touched. Of a correction, of is the kind of what it puts in place.
func Texts(d Data, of Kind, replace func(name, text string) (string, error)) (Data, error) {
	if c, ok := d.(*EventCorrected); ok && len(c.Data) > 0 && of != "" {
		inner := of.newData()
		if inner == nil {
			return nil, errUnknownKind(of)
		}
		if err := json.Unmarshal(c.Data, inner); err != nil {
			return nil, fmt.Errorf("data: %w", plainDataError(err))
		}
		inner, err := Texts(inner, "", replace)
		if err != nil {
			return nil, err
		}
		copied := *c
		if copied.Data, err = json.Marshal(inner); err != nil {
			return nil, fmt.Errorf("data: %w", err)
		}
		d = &copied
	}
	v := reflect.ValueOf(d)
	if v.Kind() != reflect.Pointer {
		return d, nil
	}
	places := placesOfTexts(v.Type())
	if !places.any(v) {
		return d, nil
	}
	out, err := places.replace(v, replace)
	if err != nil {
		return nil, err
	}
	return out.Interface().(Data), nil
}

// textOf returns the name of an addendum that stands in a field, "" for a field that none stands in. The tag says what
// it is: text, or the case. Of words, only those that are not the trade's own are texts.
func textOf(f reflect.StructField) string {
	switch f.Tag.Get("addendum") {
	case "":
		return ""
	case AddendumCase:
		return AddendumCase
	}
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

// isWord reports whether what stands in a field is one of the program's own words, which say nothing of anybody.
func isWord(f reflect.StructField, s string) bool {
	return f.Tag.Get("addendum") == "own-word" &&
		slices.Contains([]string{ReasonMissing, ReasonSubstituted, ReasonDamaged, ReasonRepair, ReasonAdded}, s)
}

// textPlaces say where in values of a type addenda stand; nil: nowhere.
type textPlaces struct {
	name   string      // of a text itself
	elem   *textPlaces // of what a pointer points to, or of each element of a slice
	fields []fieldTexts
}

type fieldTexts struct {
	field int
	f     reflect.StructField
	in    *textPlaces
}

var textsOf sync.Map // *textPlaces of data, by reflect.Type

func placesOfTexts(t reflect.Type) *textPlaces {
	p, ok := textsOf.Load(t)
	if !ok {
		p, _ = textsOf.LoadOrStore(t, placesIn(t, ""))
	}
	return p.(*textPlaces)
}

// placesIn looks through a type; name is that of the field it stands in.
func placesIn(t reflect.Type, name string) *textPlaces {
	switch t.Kind() {
	case reflect.String:
		if name != "" {
			return &textPlaces{name: name}
		}
	case reflect.Pointer, reflect.Slice:
		if elem := placesIn(t.Elem(), name); elem != nil {
			return &textPlaces{elem: elem}
		}
	case reflect.Struct:
		var fields []fieldTexts
		for i := range t.NumField() {
			f := t.Field(i)
			if in := placesIn(f.Type, textOf(f)); in != nil {
				fields = append(fields, fieldTexts{i, f, in})
			}
		}
		if fields != nil {
			return &textPlaces{fields: fields}
		}
	}
	return nil
}

// any reports whether there is a text in a value.
func (p *textPlaces) any(v reflect.Value) bool {
	switch {
	case p == nil:
		return false
	case v.Kind() == reflect.Pointer:
		return !v.IsNil() && p.elem.any(v.Elem())
	case v.Kind() == reflect.Slice:
		for i := range v.Len() {
			if p.elem.any(v.Index(i)) {
				return true
			}
		}
		return false
	case v.Kind() == reflect.Struct:
		for i := range p.fields {
			if x := &p.fields[i]; x.in.any(v.Field(x.field)) && !x.isWord(v.Field(x.field)) {
				return true
			}
		}
		return false
	}
	return v.Len() > 0
}

func (x *fieldTexts) isWord(v reflect.Value) bool {
	return v.Kind() == reflect.String && isWord(x.f, v.String())
}

// replace returns a copy of a value in which each text is replaced.
func (p *textPlaces) replace(v reflect.Value, by func(name, text string) (string, error)) (reflect.Value, error) {
	if !p.any(v) {
		return v, nil
	}
	switch v.Kind() {
	case reflect.Pointer:
		inner, err := p.elem.replace(v.Elem(), by)
		if err != nil {
			return v, err
		}
		out := reflect.New(v.Type().Elem())
		out.Elem().Set(inner)
		return out, nil
	case reflect.Slice:
		out := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		for i := range v.Len() {
			e, err := p.elem.replace(v.Index(i), by)
			if err != nil {
				return v, err
			}
			out.Index(i).Set(e)
		}
		return out, nil
	case reflect.Struct:
		out := reflect.New(v.Type()).Elem()
		out.Set(v)
		for i := range p.fields {
			x := &p.fields[i]
			if x.isWord(v.Field(x.field)) {
				continue
			}
			text, err := x.in.replace(v.Field(x.field), by)
			if err != nil {
				return v, err
			}
			out.Field(x.field).Set(text)
		}
		return out, nil
	}
	s, err := by(p.name, v.String())
	return reflect.ValueOf(s).Convert(v.Type()), err
}

// KeyedID is ID for a ledger that keeps texts beside its records: in what is hashed, each text stands as a digest under
// the folder's key, so that the same observation has the same id and nobody without the key can try what a text may
// have been. An observation without texts has the id of ID.
func (o *Observation) KeyedID(key []byte) (string, error) {
	id, _, err := o.Identify(key)
	return id, err
}

// Identify returns KeyedID and whether the observation may say a mark where a text belongs: see Marks. It says no only where none is
// in what FormatObservation writes. Both come of one text, which takes most of the time of each.
func (o *Observation) Identify(key []byte) (id string, marked bool, err error) {
	if o.Signed != nil {
		id, err = o.ID()
		return id, false, err
	}
	if o.Kind == KindEventCorrected {
		marked = true // what it puts in place is hidden from what the id is taken from
	}
	k, err := o.keyed(key, func(text string) { marked = marked || IsMark(text) })
	if err != nil {
		return "", false, err
	}
	text, err := k.canonical(observationDomain)
	if err != nil {
		return "", false, err
	}
	eachMark(text, func(int, string) { marked = true })
	return DerivedID(o.Time, sha256.Sum256(text)), marked, nil
}

// HasID reports whether an event, with its texts, is what an observation with an id said: one that is not keyed. Who
// makes a file of observations can take ids from these alone, and name in one line what another says.
func (e *Event) HasID(id string) bool { return e.hasID(id, (*Observation).ID) }

// HasKeyedID is HasID of an id that was taken under a folder's key.
func (e *Event) HasKeyedID(id string, key []byte) bool {
	return e.hasID(id, func(o *Observation) (string, error) { return o.KeyedID(key) })
}

func (e *Event) hasID(id string, idOf func(*Observation) (string, error)) bool {
	if at, err := IDTime(id); err != nil || at.UnixMilli() != e.Time.UnixMilli() {
		return false
	}
	o := Observation{
		Station: e.Station, Kind: e.Kind(), Time: e.Time, Trip: e.Trip, Operator: e.Operator, Medium: e.Medium, Data: e.Data,
	}
	sets, trips := []string{""}, []string{e.Trip, ""} // what may have been left out
	if o.mayNameSet() {
		sets = append(sets, e.Subject)
	}
	for _, o.Set = range sets {
		for _, o.Trip = range trips {
			if is, err := idOf(&o); err == nil && is == id {
				return true
			}
		}
	}
	return false
}

// NewKeyedTrip is NewTrip of a packing whose trip is one that another packing, which differs in its texts alone, has.
func (o *Observation) NewKeyedTrip(key []byte) (string, error) {
	k, err := o.keyed(key, func(string) {})
	if err != nil {
		return "", err
	}
	d, err := k.digest(tripDomain)
	return DerivedID(o.Time, d), err
}

// keyed returns the observation as its keyed id is taken from it, and hands on the texts that are hidden in it.
func (o *Observation) keyed(key []byte, hidden func(text string)) (*Observation, error) {
	if o.Signed != nil {
		return o, nil
	}
	digest := func(name, text string) (string, error) {
		hidden(text)
		h := hmac.New(sha256.New, key)
		fmt.Fprintf(h, "listbound text v1\n%s\n%s", name, text)
		return "hmac-sha-256." + base64.RawURLEncoding.EncodeToString(h.Sum(nil)), nil
	}
	k := *o
	var err error
	if c, ok := o.Data.(*EventCorrected); ok {
		// Which kind it corrects is not known here, so all of it is taken for text; and what it is about may be a case.
		copied := *c
		if len(c.Data) > 0 {
			canonical, err := Canonical(c.Data)
			if err != nil {
				return nil, err
			}
			s, _ := digest("data", string(canonical))
			copied.Data = jsontext.Value(`"` + s + `"`)
		}
		if o.Set != "" {
			k.Set, _ = digest("set", o.Set)
		}
		k.Data = &copied
	}
	k.Data, err = Texts(k.Data, "", digest)
	return &k, err
}
