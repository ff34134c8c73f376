package events

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

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
	if !ok || len(rest) == 0 || bytes.ContainsRune(text, '\n') {
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
	if name, err := signatureLine(n[len(text)+2:]); err != nil {
		return nil, err
	} else if name != e.Station {
		return nil, fmt.Errorf("the event is %s's, the signature line %s's", e.Station, name)
	}
	if u, ok := e.Data.(*Unknown); ok {
		return nil, fmt.Errorf("type %q is not known here, or its data does not fit it", u.Type)
	}
	if err := e.Check(); err != nil {
		return nil, err
	}
	return e, nil
}

// VerifyNote checks a note's signature by a station's key: one signature line,
// the station's, in its one written form. Then no byte of a note can change
// without being noticed, whoever holds the hash.
func VerifyNote(n []byte, station note.Verifier) error {
	if _, rest, ok := bytes.Cut(n, []byte("\n\n")); ok {
		if _, err := signatureLine(rest); err != nil {
			return err
		}
	}
	if _, err := note.Open(n, note.VerifierList(station)); err != nil {
		return fmt.Errorf("not signed by the key of %s", station.Name())
	}
	return nil
}

// signatureLine returns the name on a station note's one signature line. Base64
// has more than one spelling of the same bytes (bits to spare before the
// padding, line ends that decoders pass over), and a signed note may carry
// lines of other keys; a station's note has neither, so that one event signed
// once is one record.
func signatureLine(b []byte) (string, error) {
	line, ok := bytes.CutSuffix(b, []byte("\n"))
	if !ok || bytes.IndexByte(line, '\n') >= 0 {
		return "", errors.New("a station's record has one signature line, its own")
	}
	rest, ok := bytes.CutPrefix(line, []byte("— "))
	name, b64, ok2 := strings.Cut(string(rest), " ")
	sig, err := base64.StdEncoding.DecodeString(b64)
	if !ok || !ok2 || err != nil || base64.StdEncoding.EncodeToString(sig) != b64 {
		return "", errors.New("the signature line is not a dash, a name and a signature in canonical base64")
	}
	return name, nil
}
