package events

import (
	"bytes"
	"crypto/sha256"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"
)

// A Reader parses the records of a rebuild, with the results of Parse. It
// expects the members of canonical JSON in the only order they can have, which
// takes less than half the time of the JSON library; anything it does not
// recognise is left to Decode: what it takes is canonical, and valid UTF-8
// without control characters. And it keeps one copy of each string that many
// records share. A fuzz test holds it to both. DEVELOPERS.md has the figures.
//
// A Reader is not safe for concurrent use.
type Reader struct {
	cursor cursor
	attrs  attributes // of the event being read
	// scratch is what is hashed to tell whether a trip was named (Observed).
	scratch []byte
}

// NewReader returns a Reader for a run of records.
func NewReader() *Reader { return &Reader{cursor: cursor{interned: make(map[string]string)}} }

// Parse reads a station's note for an audit, like the function of that name.
func (r *Reader) Parse(n []byte) Parsed {
	text, err := Text(n)
	if err != nil {
		return Parsed{Note: n, Hash: sha256.Sum256(n), Err: err}
	}
	if e := r.event(text); e != nil {
		return Parsed{Note: n, Hash: sha256.Sum256(n), Event: e, exact: true}
	}
	return Parse(n)
}

// event returns nil for a text that Decode has to read.
func (r *Reader) event(text []byte) *Event {
	// The type stands last, and tells how to read the data, which stands first.
	tail := bytes.LastIndexByte(text, ':') + 1
	kind, ok := readableKinds[string(text[tail:])]
	if !ok {
		return nil
	}
	data := kind.New()
	r.attrs = attributes{}
	c := &r.cursor
	c.text, c.pos, c.failed = text, 0, false
	c.literal(`{"data":`)
	kind.layout.read(c, reflect.ValueOf(data).Elem())
	attributesLayout.members(c, reflect.ValueOf(&r.attrs).Elem(), false)
	c.literal(`,"type":`)
	if c.failed || c.pos != tail {
		return nil
	}
	e, err := r.attrs.event()
	if err != nil {
		return nil
	}
	e.Data = data
	return e
}

// layout is how a struct stands in canonical JSON: its members, by name.
type layout []member

type member struct {
	name  string
	first string // `"name":`, at the start of an object
	later string // `,"name":`, behind another member
	field int
	read  func(*cursor, reflect.Value)
}

// layoutOf returns nil for a struct with a field that a cursor can't read.
func layoutOf(t reflect.Type) layout {
	var l layout
	for i := range t.NumField() {
		f := t.Field(i)
		m := member{field: i, read: readerOf(f.Type)}
		if f.Tag.Get("record") == "unique" {
			m.read = (*cursor).uniqueString
		}
		m.name, _, _ = strings.Cut(f.Tag.Get("json"), ",")
		if m.name == "" || m.read == nil {
			return nil
		}
		m.first, m.later = `"`+m.name+`":`, `,"`+m.name+`":`
		l = append(l, m)
	}
	slices.SortFunc(l, func(a, b member) int { return strings.Compare(a.name, b.name) })
	return l
}

// readerOf returns the function that reads a value of a type, nil for a type
// that is left to the JSON library.
func readerOf(t reflect.Type) func(*cursor, reflect.Value) {
	switch t.Kind() {
	case reflect.String:
		return (*cursor).string
	case reflect.Int64:
		return (*cursor).integer
	case reflect.Bool:
		return (*cursor).bool
	case reflect.Struct:
		if l := layoutOf(t); l != nil {
			return l.read
		}
	case reflect.Pointer:
		if read := readerOf(t.Elem()); read != nil {
			return func(c *cursor, v reflect.Value) {
				v.Set(reflect.New(t.Elem()))
				read(c, v.Elem())
			}
		}
	case reflect.Slice:
		if read := readerOf(t.Elem()); read != nil {
			between := `,`
			if t.Elem().Kind() == reflect.Struct {
				between = `},`
			}
			return func(c *cursor, v reflect.Value) { c.array(v, read, between) }
		}
	}
	return nil
}

func (l layout) read(c *cursor, v reflect.Value) {
	c.literal(`{`)
	l.members(c, v, true)
	c.literal(`}`)
}

// members reads those members that are there; first tells that none is before
// them in their object. Another member, or one out of order, is not passed
// over, so that whatever must follow is not found.
func (l layout) members(c *cursor, v reflect.Value, first bool) {
	for i := range l {
		m := &l[i]
		name := m.later
		if first {
			name = m.first
		}
		if c.next(name) {
			m.read(c, v.Field(m.field))
			first = false
		}
	}
}

var attributesLayout = layoutOf(reflect.TypeFor[attributes]())

type readableKind struct {
	*KindInfo
	layout layout
}

// readableKinds are the kinds that a Reader need not leave to Decode, by the
// end of their events' text.
var readableKinds = func() map[string]readableKind {
	kinds := make(map[string]readableKind)
	for k, row := range kindRows {
		if l := layoutOf(reflect.TypeOf(row.New()).Elem()); l != nil {
			kinds[`"`+k.eventType()+`"}`] = readableKind{row, l}
		}
	}
	return kinds
}()

// cursor walks over canonical JSON. It fails for good at the first thing it
// does not recognise, and what it read before is then void.
type cursor struct {
	text     []byte
	pos      int
	failed   bool
	interned map[string]string
}

// next steps over a literal if it is there.
func (c *cursor) next(s string) bool {
	if c.failed || len(c.text)-c.pos < len(s) || string(c.text[c.pos:c.pos+len(s)]) != s {
		return false
	}
	c.pos += len(s)
	return true
}

func (c *cursor) literal(s string) {
	if !c.next(s) {
		c.failed = true
	}
}

// quoted returns what stands in a string without escapes.
func (c *cursor) quoted() []byte {
	c.literal(`"`)
	s, _, ok := bytes.Cut(c.text[c.pos:], []byte(`"`))
	ascii := true
	for _, b := range s {
		if b < ' ' || b == '\\' {
			ok = false
		}
		if b >= utf8.RuneSelf {
			ascii = false
		}
	}
	if c.failed || !ok || !ascii && !utf8.Valid(s) {
		c.failed = true
		return nil
	}
	c.pos += len(s) + 1
	return s
}

// string reads a string that other records are likely to have too, and gives
// all of them one copy.
func (c *cursor) string(v reflect.Value) {
	b := c.quoted()
	s, ok := c.interned[string(b)]
	if !ok {
		s = string(b)
		c.interned[s] = s
	}
	v.SetString(s)
}

func (c *cursor) uniqueString(v reflect.Value) { v.SetString(string(c.quoted())) }

func (c *cursor) integer(v reflect.Value) {
	const most = 15 // digits, well within 2^53
	start := c.pos
	var n int64
	for c.pos < len(c.text) && '0' <= c.text[c.pos] && c.text[c.pos] <= '9' {
		n = n*10 + int64(c.text[c.pos]-'0')
		c.pos++
	}
	digits := c.pos - start
	if digits == 0 || digits > most || digits > 1 && c.text[start] == '0' {
		c.failed = true
	}
	v.SetInt(n)
}

func (c *cursor) bool(v reflect.Value) {
	if c.next(`true`) {
		v.SetBool(true)
		return
	}
	c.literal(`false`)
}

// array reads elements; between is what stands between two of them.
func (c *cursor) array(v reflect.Value, element func(*cursor, reflect.Value), between string) {
	c.literal(`[`)
	// A guess at how many there are saves the growing. It need not be right.
	size, _, _ := bytes.Cut(c.text[c.pos:], []byte(`]`))
	v.Set(reflect.MakeSlice(v.Type(), 0, bytes.Count(size, []byte(between))+1))
	for n := 0; !c.next(`]`) && !c.failed; n++ {
		if n > 0 {
			c.literal(`,`)
		}
		v.Grow(1)
		v.SetLen(n + 1)
		element(c, v.Index(n))
	}
}
