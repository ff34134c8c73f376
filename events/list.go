package events

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Digest is a SHA-256 digest.
type Digest [sha256.Size]byte

// String returns the digest as 64 small hexadecimal digits.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// Domain lines: the first line of each hashed text names its format, so that
// no digest of one kind can pass for one of another.
const (
	listDomain        = "listbound list v1\n"
	bindingDomain     = "listbound binding v1\n"
	observationDomain = "listbound observation v1\n"
	tripDomain        = "listbound trip v1\n"
)

func digest(domain string, v any) (Digest, error) {
	if b, ok := appendCanonical(append(make([]byte, 0, roomyRecord), domain...), v); ok && len(b)-len(domain) <= MaxRecord {
		return sha256.Sum256(b), nil
	}
	raw, err := json.Marshal(v)
	if err != nil {
		return Digest{}, fmt.Errorf("hashing: %w", err)
	}
	c, err := Canonical(raw)
	if err != nil {
		return Digest{}, fmt.Errorf("hashing: %w", err)
	}
	return sha256.Sum256(append([]byte(domain), c...)), nil
}

// Digest returns the list digest: SHA-256 of the line "listbound list v1" and
// the canonical JSON of the list. Two lists have one digest only when they are
// equal in every word and number.
func (d *ListIssued) Digest() (Digest, error) { return digest(listDomain, d) }

// Binding returns the binding digest of a list, a set and a trip: SHA-256 of
// the line "listbound binding v1" and the canonical JSON of
// {"list":<hex>,"set":…,"trip":…}. Two sets with word-for-word equal lists
// have different bindings, so a switch between twins shows.
func Binding(list Digest, set, trip string) (Digest, error) {
	// Every seal that is judged has its binding computed, so the canonical text is written as it is: the members in order, their
	// strings with the least escaping (RFC 8785, 3.2.2.2).
	text := make([]byte, 0, 256)
	text = append(text, bindingDomain...)
	text = append(text, `{"list":"`...)
	text = hex.AppendEncode(text, list[:])
	text = append(text, `","set":`...)
	text, err := jsontext.AppendQuote(text, set)
	if err != nil {
		return Digest{}, fmt.Errorf("hashing: set: %w", err)
	}
	text = append(text, `,"trip":`...)
	if text, err = jsontext.AppendQuote(text, trip); err != nil {
		return Digest{}, fmt.Errorf("hashing: turn: %w", err)
	}
	return sha256.Sum256(append(text, '}')), nil
}

// LineChange is one line in which two lists differ. Old or New is nil where the
// line is only in the other list.
type LineChange struct {
	Line     int64
	Old, New *Line
}

// DiffLines returns the lines in which two lists differ, by line number.
func DiffLines(old, new []Line) []LineChange {
	at := make(map[int64]*LineChange)
	for i := range old {
		at[old[i].Line] = &LineChange{Line: old[i].Line, Old: &old[i]}
	}
	for i := range new {
		c := at[new[i].Line]
		if c == nil {
			c = &LineChange{Line: new[i].Line}
			at[new[i].Line] = c
		}
		c.New = &new[i]
	}
	var out []LineChange
	for _, c := range at {
		if c.Old == nil || c.New == nil || *c.Old != *c.New {
			out = append(out, *c)
		}
	}
	slices.SortFunc(out, func(a, b LineChange) int { return int(a.Line - b.Line) })
	return out
}
