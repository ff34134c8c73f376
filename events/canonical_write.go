package events

import (
	"encoding"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// What is hashed here is mostly a struct of this package, and is written in its RFC 8785 form at once: members in order, nothing
// copied or read again. That takes a quarter of the time that the JSON library needs to write it, and Canonical to put it in order.
// What a canonicalWriter can't write is left to these; a test holds the two against each other for every kind.

// canonicalWriter appends the canonical form of a value. False says nothing, and what was appended is void.
type canonicalWriter func([]byte, reflect.Value) ([]byte, bool)

var canonicalWriters sync.Map // of structs, by reflect.Type; nil for one that is left to the library

// appendCanonical appends the canonical form of a struct that v points to.
func appendCanonical(b []byte, v any) ([]byte, bool) {
	p := reflect.ValueOf(v)
	if p.Kind() != reflect.Pointer || p.IsNil() || p.Type().Elem().Kind() != reflect.Struct {
		return b, false
	}
	t := p.Type().Elem()
	w, known := canonicalWriters.Load(t)
	if !known {
		w, _ = canonicalWriters.LoadOrStore(t, writerOf(t))
	}
	write, _ := w.(canonicalWriter)
	if write == nil {
		return b, false
	}
	return write(b, p.Elem())
}

// writerOf returns what writes values of a type, nil for one that is left to the JSON library.
func writerOf(t reflect.Type) canonicalWriter {
	if t == reflect.TypeFor[jsontext.Value]() {
		return writeValue
	}
	if writesItself(t) || writesItself(reflect.PointerTo(t)) {
		return nil
	}
	switch t.Kind() {
	case reflect.String:
		return writeString
	case reflect.Int64:
		return writeInteger
	case reflect.Bool:
		return writeBool
	case reflect.Struct:
		if l := writtenMembers(t); l != nil {
			return l.write
		}
	case reflect.Pointer:
		if write := writerOf(t.Elem()); write != nil {
			return func(b []byte, v reflect.Value) ([]byte, bool) {
				if v.IsNil() {
					return append(b, "null"...), true
				}
				return write(b, v.Elem())
			}
		}
	case reflect.Slice:
		if write := writerOf(t.Elem()); write != nil {
			return func(b []byte, v reflect.Value) ([]byte, bool) { return writeArray(b, v, write) }
		}
	}
	return nil
}

// writesItself reports whether a type says how it is written, or when it is left out.
func writesItself(t reflect.Type) bool {
	for _, i := range []reflect.Type{
		reflect.TypeFor[json.Marshaler](), reflect.TypeFor[json.MarshalerTo](), reflect.TypeFor[encoding.TextMarshaler](),
		reflect.TypeFor[encoding.TextAppender](), reflect.TypeFor[interface{ IsZero() bool }](),
	} {
		if t.Implements(i) {
			return true
		}
	}
	return t == reflect.TypeFor[time.Duration]()
}

// writtenMember is one member of a struct.
type writtenMember struct {
	first, later        string // `"name":`, and with a comma
	name                string
	field               int
	omitEmpty, omitZero bool
	write               canonicalWriter
}

type writtenStruct []writtenMember

// writtenMembers returns nil for a struct that is left to the library.
func writtenMembers(t reflect.Type) writtenStruct {
	l := make(writtenStruct, 0, t.NumField())
	for i := range t.NumField() {
		f := t.Field(i)
		m := writtenMember{field: i}
		var options string
		m.name, options, _ = strings.Cut(f.Tag.Get("json"), ",")
		switch options {
		case "":
		case "omitempty":
			m.omitEmpty = true
		case "omitzero":
			m.omitZero = true
		default:
			return nil
		}
		if !f.IsExported() || f.Anonymous || m.name == "-" || !isPlainName(m.name) {
			return nil
		}
		if m.write = writerOf(f.Type); m.write == nil {
			return nil
		}
		m.first = `"` + m.name + `":`
		m.later = "," + m.first
		l = append(l, m)
	}
	slices.SortFunc(l, func(a, b writtenMember) int { return strings.Compare(a.name, b.name) })
	return l
}

// isPlainName reports whether a name is of ASCII and needs no escapes, so that the order of its bytes is that of the standard.
func isPlainName(name string) bool {
	return name != "" && strings.IndexFunc(name, func(r rune) bool { return r <= ' ' || r > '~' || r == '"' || r == '\\' || r == '\'' }) < 0
}

func (l writtenStruct) write(b []byte, v reflect.Value) ([]byte, bool) {
	b, ok := l.members(append(b, '{'), v, true)
	return append(b, '}'), ok
}

// members writes a struct's members without their brackets; first tells that none stands before them.
func (l writtenStruct) members(b []byte, v reflect.Value, first bool) (_ []byte, ok bool) {
	for i := range l {
		m := &l[i]
		x := v.Field(m.field)
		if m.omitZero && x.IsZero() {
			continue
		}
		before := len(b)
		if first {
			b = append(b, m.first...)
		} else {
			b = append(b, m.later...)
		}
		from := len(b)
		if b, ok = m.write(b, x); !ok {
			return b, false
		}
		if m.omitEmpty && isEmptyJSON(b[from:]) {
			b = b[:before]
			continue
		}
		first = false
	}
	return b, true
}

// isEmptyJSON reports whether a value is one that omitempty leaves out.
func isEmptyJSON(b []byte) bool {
	switch string(b) {
	case `""`, `[]`, `{}`, `null`:
		return true
	}
	return false
}

func writeArray(b []byte, v reflect.Value, element canonicalWriter) ([]byte, bool) {
	b = append(b, '[')
	for i := range v.Len() {
		if i > 0 {
			b = append(b, ',')
		}
		var ok bool
		if b, ok = element(b, v.Index(i)); !ok {
			return b, false
		}
	}
	return append(b, ']'), true
}

func writeString(b []byte, v reflect.Value) ([]byte, bool) { return appendQuoted(b, v.String()) }

// appendQuoted writes a string with the least escaping (RFC 8785, 3.2.2.2).
func appendQuoted(b []byte, s string) ([]byte, bool) {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c == '"' || c == '\\' || c >= utf8.RuneSelf {
			b, err := jsontext.AppendQuote(b, s)
			return b, err == nil
		}
	}
	return append(append(append(b, '"'), s...), '"'), true
}

func writeInteger(b []byte, v reflect.Value) ([]byte, bool) {
	n := v.Int()
	if n > MaxInteger || n < -MaxInteger {
		return b, false
	}
	return strconv.AppendInt(b, n, 10), true
}

func writeBool(b []byte, v reflect.Value) ([]byte, bool) {
	if v.Bool() {
		return append(b, "true"...), true
	}
	return append(b, "false"...), true
}

// writeValue writes what is JSON already.
func writeValue(b []byte, v reflect.Value) ([]byte, bool) {
	raw := v.Bytes()
	if len(raw) == 0 {
		return append(b, "null"...), true
	}
	c, err := Canonical(raw)
	return append(b, c...), err == nil
}
