package proof

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Link says that a record is about a key, such as "set LAP-014": Prev is the number of the record before it about the
// same, 0 for the first, and Count how many there are up to this one. Whoever has the newest record about a key walks
// back from it and knows that nothing was left out. What keys mean is none of this package's business.
type Link struct {
	Key   string
	Prev  int64
	Count int64
}

const (
	// linkLen is about how long a link is as text.
	linkLen = 32
	// maxKey is how long a key may be, and MaxLinks how many a record may have: together they fit into an arrival line.
	maxKey   = 200
	MaxLinks = 20
)

// append adds the link as text: "<key> <prev> <count>\n".
func (l Link) append(b []byte) []byte {
	b = append(b, l.Key...)
	b = append(b, ' ')
	b = strconv.AppendInt(b, l.Prev, 10)
	b = append(b, ' ')
	b = strconv.AppendInt(b, l.Count, 10)
	return append(b, '\n')
}

// CheckKey returns an error for what can't be a key.
func CheckKey(key string) error {
	switch {
	case key == "" || len(key) > maxKey:
		return fmt.Errorf("a key has 1 to %d bytes, not %d", maxKey, len(key))
	case !utf8.ValidString(key) || strings.ContainsFunc(key, unicode.IsControl):
		return fmt.Errorf("the key %q holds what is no text", key)
	}
	return nil
}

// Links returns what the arrival line of a record says the record is about; nothing for one of an earlier program, or
// about nothing.
func Links(origin string, record []byte) ([]Link, error) {
	_, b64, err := arrivalLine(origin, record)
	if err != nil || len(b64) == arrivalEncoded {
		return nil, err
	}
	raw := make([]byte, strictBase64.DecodedLen(len(b64)))
	n, err := strictBase64.Decode(raw, b64)
	if err != nil || n <= arrivalLen || bytes.ContainsAny(b64, "\r\n") {
		return nil, fmt.Errorf("arrival line of %s is not canonical base64", origin)
	}
	text, ok := strings.CutSuffix(string(raw[arrivalLen:n]), "\n")
	if !ok {
		return nil, fmt.Errorf("arrival line of %s does not end with a complete link", origin)
	}
	var links []Link
	for line := range strings.SplitSeq(text, "\n") {
		l, err := parseLink(line)
		if err != nil {
			return nil, fmt.Errorf("arrival line of %s: %w", origin, err)
		}
		if len(links) > 0 && links[len(links)-1].Key >= l.Key {
			return nil, fmt.Errorf("arrival line of %s: its links are not in order", origin)
		}
		links = append(links, l)
	}
	return links, nil
}

func parseLink(line string) (l Link, err error) {
	rest, count, ok := cutLast(line)
	key, prev, ok2 := cutLast(rest)
	if !ok || !ok2 {
		return l, fmt.Errorf("%q is no link: a key and two numbers", line)
	}
	l.Key = key
	if err := CheckKey(key); err != nil {
		return l, err
	}
	if l.Prev, err = canonicalInt(prev); err == nil {
		l.Count, err = canonicalInt(count)
	}
	if err == nil && (l.Count < 1 || (l.Prev == 0) != (l.Count == 1)) {
		err = errors.New("the first record about a key has none before it, and no other has")
	}
	if err != nil {
		return l, fmt.Errorf("link %q: %w", line, err)
	}
	return l, nil
}

// cutLast cuts a line at its last space.
func cutLast(line string) (before, after string, ok bool) {
	i := strings.LastIndexByte(line, ' ')
	if i < 0 {
		return line, "", false
	}
	return line[:i], line[i+1:], true
}

// canonicalInt reads a number that is not negative, in its one spelling.
func canonicalInt(s string) (int64, error) {
	n, err := strconv.ParseUint(s, 10, 63)
	if err != nil || strconv.FormatUint(n, 10) != s {
		return 0, fmt.Errorf("%q is no number as it is written here", s)
	}
	return int64(n), nil
}
