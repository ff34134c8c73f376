package events

import (
	"bytes"
	"slices"
	"unicode/utf8"
)

// inOrder returns the RFC 8785 form of a text that only lacks the order of its members, in the same one pass: as structs are
// written whose fields stand as people read them. False says nothing.
func inOrder(raw []byte) ([]byte, bool) {
	c := bytes.Clone(raw)
	s := canonicalScan{rest: c, sorts: true}
	return c, s.value(0) && len(s.rest) == 0
}

// isCanonical reports whether a text is surely its own RFC 8785 form, in one pass. It takes a tenth of the time of making
// that form, and most of what is hashed here was written in it: a record's text, before its signature is checked. False
// says nothing: the text may be canonical all the same, with names beyond ASCII, say.
func isCanonical(raw []byte) bool {
	s := canonicalScan{rest: raw}
	return s.value(0) && len(s.rest) == 0
}

// wholeNumbers reports whether a text is surely one JSON value in which every number is an integer of at most 2^53-1, in one pass and
// with blanks between as people's programs write them. False says nothing.
func wholeNumbers(raw []byte) bool {
	s := canonicalScan{rest: raw, loose: true}
	s.blanks()
	if !s.value(0) {
		return false
	}
	s.blanks()
	return len(s.rest) == 0
}

// deepest is how many arrays and objects within each other are looked at; no record has as many.
const deepest = 32

// canonicalScan is the text that is still to be looked at. Each method takes what it is named after off its front, and
// reports whether that was canonical. One that sorts puts members in their order where they stand: each object takes the
// same room in any order.
type canonicalScan struct {
	rest    []byte
	sorts   bool
	loose   bool            // members may stand in any order, with blanks between
	members []scannedMember // of the objects that are begun
	spare   []byte
}

// scannedMember is one member of an object: its name and all of it.
type scannedMember struct{ name, whole []byte }

func (s *canonicalScan) take(literal string) bool {
	rest, ok := bytes.CutPrefix(s.rest, []byte(literal))
	if ok {
		s.rest = rest
	}
	return ok
}

func (s *canonicalScan) blanks() {
	for s.loose && len(s.rest) > 0 && (s.rest[0] == ' ' || s.rest[0] == '\n' || s.rest[0] == '\t' || s.rest[0] == '\r') {
		s.rest = s.rest[1:]
	}
}

// between takes a colon or a comma with the blanks around it.
func (s *canonicalScan) between(literal string) bool {
	s.blanks()
	ok := s.take(literal)
	s.blanks()
	return ok
}

// end takes a bracket and the blanks before it.
func (s *canonicalScan) end(literal string) bool {
	s.blanks()
	return s.take(literal)
}

func (s *canonicalScan) value(depth int) bool {
	if len(s.rest) == 0 || depth > deepest {
		return false
	}
	switch s.rest[0] {
	case '{':
		return s.object(depth)
	case '[':
		return s.array(depth)
	case '"':
		_, ok := s.text()
		return ok
	case 't':
		return s.take("true")
	case 'f':
		return s.take("false")
	case 'n':
		return s.take("null")
	}
	return s.integer()
}

// object has its names in ascending order, or is put in it. They are compared as bytes, which for ASCII is the standard's order
// of UTF-16 units; of other names nothing is said.
func (s *canonicalScan) object(depth int) bool {
	s.rest = s.rest[1:]
	if s.end("}") {
		return true
	}
	inside, first, ordered := s.rest, len(s.members), true
	for {
		whole := s.rest
		if len(s.rest) == 0 || s.rest[0] != '"' {
			return false
		}
		name, ok := s.text()
		if !ok || !plainASCII(name) || !s.between(":") || !s.value(depth+1) {
			return false
		}
		if n := len(s.members); n > first && bytes.Compare(s.members[n-1].name, name) >= 0 {
			ordered = false
		}
		if !ordered && !s.sorts {
			return false
		}
		if !s.loose {
			s.members = append(s.members, scannedMember{name, whole[:len(whole)-len(s.rest)]})
		}
		if s.end("}") {
			break
		}
		if !s.between(",") {
			return false
		}
	}
	if !ordered && !s.sort(s.members[first:], inside[:len(inside)-len(s.rest)-1]) {
		return false
	}
	s.members = s.members[:first]
	return true
}

// sort puts an object's members in order between its brackets, unless a name stands twice.
func (s *canonicalScan) sort(members []scannedMember, inside []byte) bool {
	slices.SortFunc(members, func(a, b scannedMember) int { return bytes.Compare(a.name, b.name) })
	s.spare = s.spare[:0]
	for i, m := range members {
		if i > 0 {
			if bytes.Equal(members[i-1].name, m.name) {
				return false
			}
			s.spare = append(s.spare, ',')
		}
		s.spare = append(s.spare, m.whole...)
	}
	copy(inside, s.spare)
	return true
}

// plainASCII reports whether a name stands as it is, without escapes, so that its bytes are what is sorted.
func plainASCII(name []byte) bool {
	for _, c := range name {
		if c >= utf8.RuneSelf || c == '\\' {
			return false
		}
	}
	return true
}

func (s *canonicalScan) array(depth int) bool {
	s.rest = s.rest[1:]
	if s.end("]") {
		return true
	}
	for {
		if !s.value(depth + 1) {
			return false
		}
		if s.end("]") {
			return true
		}
		if !s.between(",") {
			return false
		}
	}
}

// text returns what stands between the quotation marks. Only what the standard escapes is escaped, as it does (RFC 8785,
// 3.2.2.2): the quotation mark, the backslash, and controls.
func (s *canonicalScan) text() (inside []byte, ok bool) {
	for i := 1; i < len(s.rest); {
		switch c := s.rest[i]; {
		case c == '"':
			inside, s.rest = s.rest[1:i], s.rest[i+1:]
			return inside, true
		case c == '\\':
			n := escapeLen(s.rest[i:])
			if n == 0 {
				return nil, false
			}
			i += n
		case c < ' ':
			return nil, false
		case c < utf8.RuneSelf:
			i++
		default:
			r, n := utf8.DecodeRune(s.rest[i:])
			if r == utf8.RuneError && n <= 1 {
				return nil, false
			}
			i += n
		}
	}
	return nil, false
}

// escapeLen returns the length of a canonical escape, 0 for any other.
func escapeLen(s []byte) int {
	if len(s) < 2 {
		return 0
	}
	if bytes.IndexByte([]byte(`"\bfnrt`), s[1]) >= 0 {
		return 2
	}
	const hex = len(`\u001f`)
	if len(s) < hex || s[1] != 'u' || s[2] != '0' || s[3] != '0' || s[4] != '0' && s[4] != '1' {
		return 0
	}
	low := bytes.IndexByte([]byte("0123456789abcdef"), s[5])
	if low < 0 || s[4] == '0' && bytes.IndexByte([]byte("\b\t\n\f\r"), byte(low)) >= 0 {
		return 0 // those have an escape of their own
	}
	return hex
}

// integer is one of at most 2^53-1, without a leading zero or a minus before zero.
func (s *canonicalScan) integer() bool {
	i := 0
	if s.rest[0] == '-' {
		i++
	}
	start, n := i, int64(0)
	for ; i < len(s.rest) && s.rest[i] >= '0' && s.rest[i] <= '9'; i++ {
		if n = n*10 + int64(s.rest[i]-'0'); n > MaxInteger {
			return false
		}
	}
	digits := s.rest[start:i]
	if len(digits) == 0 || digits[0] == '0' && (len(digits) > 1 || start > 0) {
		return false
	}
	s.rest = s.rest[i:]
	return true
}
