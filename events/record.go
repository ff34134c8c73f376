package events

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/note"
)

// Sign returns the station's note of an event: the canonical JSON on one line,
// a blank line, the station's signature line.
func Sign(e *Event, station note.Signer) ([]byte, error) {
	if station.Name() != e.Station {
		return nil, fmt.Errorf("the key is %s's, the event %s's", station.Name(), e.Station)
	}
	text, err := Encode(e)
	if err != nil {
		return nil, err
	}
	n, err := note.Sign(&note.Note{Text: string(text) + "\n"}, station)
	if err != nil {
		return nil, fmt.Errorf("signing: %w", err)
	}
	if len(n) > MaxRecord {
		return nil, fmt.Errorf("the record has %d bytes; a record has at most %d", len(n), MaxRecord)
	}
	return n, nil
}

// Text returns the one line of JSON in a note, without its newline.
func Text(note []byte) ([]byte, error) {
	text, rest, ok := bytes.Cut(note, []byte("\n\n"))
	if !ok || len(rest) == 0 || bytes.IndexByte(text, '\n') >= 0 {
		return nil, errors.New("not a record: a record is one line of JSON, a blank line and signature lines")
	}
	return text, nil
}

// NoteHash is what the next event of the station carries as stationprev: hex
// SHA-256 of the note as the station signed it, without the ledger's arrival line.
func NoteHash(note []byte) string {
	h := sha256.Sum256(note)
	return hex.EncodeToString(h[:])
}

// ParseNote reads a station's note without checking its signature.
func ParseNote(note []byte) (*Event, error) {
	text, err := Text(note)
	if err != nil {
		return nil, err
	}
	return Decode(text)
}

// CheckNote is ParseNote for a note that comes from outside: the text must be
// canonical, and the event one that Check accepts.
func CheckNote(n []byte) (*Event, error) {
	if len(n) > MaxRecord {
		return nil, fmt.Errorf("the record has %d bytes; a record has at most %d", len(n), MaxRecord)
	}
	text, err := Text(n)
	if err != nil {
		return nil, err
	}
	c, err := Canonical(text)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(c, text) {
		return nil, errors.New("the record's JSON is not in canonical form (RFC 8785)")
	}
	e, err := Decode(text)
	if err != nil {
		return nil, err
	}
	if u, ok := e.Data.(*Unknown); ok {
		return nil, fmt.Errorf("type %q is not known here, or its data does not fit it", u.Type)
	}
	return e, e.Check()
}

// VerifyNote checks a note's signature by a station's key.
func VerifyNote(n []byte, station note.Verifier) error {
	_, err := note.Open(n, note.VerifierList(station))
	if err != nil {
		return fmt.Errorf("not signed by the key of %s", station.Name())
	}
	return nil
}
