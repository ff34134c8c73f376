package proof

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

// maxSignatures bounds the work a hostile note can cause. The note format asks readers to take at least 16.
const maxSignatures = 100

const signaturePrefix = "— "

var strictBase64 = base64.StdEncoding.Strict()

// CheckNote returns an error unless msg is a signed note in canonical form: text, empty line, at least one signature
// line, no control characters, and base64 in its one canonical spelling. It checks no signature.
func CheckNote(msg []byte) error {
	_, err := noteSignatures(msg)
	return err
}

// noteSignature is one signature line, taken apart.
type noteSignature struct {
	name  string
	keyID [4]byte
}

// noteSignatures checks the form of a note and returns its signature lines.
func noteSignatures(msg []byte) ([]noteSignature, error) {
	if !utf8.Valid(msg) {
		return nil, errors.New("note is not valid UTF-8")
	}
	for i, c := range msg {
		if c < 0x20 && c != '\n' {
			return nil, fmt.Errorf("note has control character 0x%02x at byte %d", c, i)
		}
	}
	split := bytes.LastIndex(msg, []byte("\n\n"))
	if split < 0 {
		return nil, errors.New("note has no empty line between text and signatures")
	}
	rest := msg[split+2:]
	if len(rest) == 0 || rest[len(rest)-1] != '\n' {
		return nil, errors.New("note does not end with a complete signature line")
	}
	var sigs []noteSignature
	for len(rest) > 0 {
		if len(sigs) == maxSignatures {
			return nil, fmt.Errorf("note has more than %d signature lines", maxSignatures)
		}
		end := bytes.IndexByte(rest, '\n')
		sig, err := parseSignatureLine(rest[:end])
		if err != nil {
			return nil, fmt.Errorf("signature line %d: %w", len(sigs)+1, err)
		}
		sigs = append(sigs, sig)
		rest = rest[end+1:]
	}
	return sigs, nil
}

func parseSignatureLine(line []byte) (noteSignature, error) {
	body, ok := bytes.CutPrefix(line, []byte(signaturePrefix))
	if !ok {
		return noteSignature{}, errors.New("does not begin with an em dash and a space")
	}
	name, b64, ok := bytes.Cut(body, []byte(" "))
	if !ok {
		return noteSignature{}, errors.New("has no space between key name and signature")
	}
	if !validKeyName(string(name)) {
		return noteSignature{}, fmt.Errorf("key name %q is empty or holds a space or a plus sign", name)
	}
	var buf [256]byte
	if strictBase64.DecodedLen(len(b64)) > len(buf) {
		// Post-quantum signatures are longer than the stack buffer.
		long := make([]byte, strictBase64.DecodedLen(len(b64)))
		return decodeSignature(string(name), long, b64)
	}
	return decodeSignature(string(name), buf[:], b64)
}

func decodeSignature(name string, buf, b64 []byte) (noteSignature, error) {
	n, err := strictBase64.Decode(buf, b64)
	if err != nil {
		return noteSignature{}, fmt.Errorf("signature by %q is not canonical base64", name)
	}
	if n < 5 {
		return noteSignature{}, fmt.Errorf("signature by %q is too short", name)
	}
	return noteSignature{name: name, keyID: [4]byte(buf[:4])}, nil
}

func validKeyName(name string) bool {
	return name != "" && utf8.ValidString(name) && strings.IndexFunc(name, unicode.IsSpace) < 0 &&
		!strings.Contains(name, "+")
}

// OpenNote checks form and signatures: msg must be canonical (see CheckNote) and signed by at least one of the
// verifiers, and no signature by a known key may be wrong.
func OpenNote(msg []byte, verifiers note.Verifiers) (*note.Note, error) {
	if err := CheckNote(msg); err != nil {
		return nil, err
	}
	n, err := note.Open(msg, verifiers)
	if err != nil {
		return nil, explainNote(err)
	}
	return n, nil
}

func explainNote(err error) error {
	var bad *note.InvalidSignatureError
	if errors.As(err, &bad) {
		return fmt.Errorf("the signature by %s does not verify: text or signature was changed, or another key of "+
			"that name signed it", bad.Name)
	}
	var none *note.UnverifiedNoteError
	if errors.As(err, &none) {
		var names []string
		for _, s := range none.Note.UnverifiedSigs {
			names = append(names, s.Name)
		}
		return fmt.Errorf("no signature by a known key; it is signed by %s", strings.Join(names, ", "))
	}
	return err
}

// SignNote signs text, which must end with a newline.
func SignNote(text string, signers ...note.Signer) ([]byte, error) {
	msg, err := note.Sign(&note.Note{Text: text}, signers...)
	if err != nil {
		return nil, err
	}
	if err := CheckNote(msg); err != nil {
		return nil, err
	}
	return msg, nil
}
