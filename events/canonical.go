package events

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"

	"github.com/go-json-experiment/json/jsontext"
)

// MaxRecord is the largest record in bytes, signatures and arrival line
// included. C2SP entry bundles carry a 16-bit length, so 65,535 is the ceiling
// of the format; the rest is room for cosignatures.
const MaxRecord = 60000

// MaxInteger is the largest integer that may stand in a hashed JSON text:
// 2^53-1. RFC 8785 prints numbers as IEEE 754 doubles, so two different larger
// integers could share one canonical form and so one hash.
const MaxInteger = 1<<53 - 1

// Canonical returns the RFC 8785 form of one JSON value. It refuses what that
// form can't protect: duplicate names, invalid UTF-8 and lone surrogates,
// numbers that are not integers of at most 2^53-1, more than one value.
func Canonical(raw []byte) ([]byte, error) {
	if len(raw) > MaxRecord {
		return nil, fmt.Errorf("%d bytes are more than the %d a record may have", len(raw), MaxRecord)
	}
	if c, ok := inOrder(raw); ok {
		return c, nil
	}
	if err := checkNumbers(raw); err != nil {
		return nil, err
	}
	v := jsontext.Value(bytes.Clone(raw))
	if err := v.Canonicalize(); err != nil {
		return nil, plainJSONError(err)
	}
	return v, nil
}

// checkNumbers walks the tokens, which also finds duplicate names and broken
// UTF-8, and refuses every number whose canonical form may differ from itself.
func checkNumbers(raw []byte) error {
	d := jsontext.NewDecoder(bytes.NewReader(raw))
	for first := true; ; first = false {
		t, err := d.ReadToken()
		if err == io.EOF {
			if first {
				return errors.New("no JSON value here")
			}
			return nil
		}
		if err != nil {
			return plainJSONError(err)
		}
		if t.Kind() == '0' {
			if err := checkInteger(t.String()); err != nil {
				return fmt.Errorf("%w (at byte %d)", err, d.InputOffset())
			}
		}
	}
}

func checkInteger(s string) error {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n > MaxInteger || n < -MaxInteger || s == "-0" {
		return fmt.Errorf("the number %.40s is not a whole number between -(2^53-1) and 2^53-1", s)
	}
	return nil
}

// plainJSONError strips the library's own prefix: the reader of the message is
// a person with a file, not a programmer with a stack.
func plainJSONError(err error) error {
	var se *jsontext.SyntacticError
	if errors.As(err, &se) {
		switch {
		case errors.Is(err, jsontext.ErrDuplicateName):
			return fmt.Errorf("the name %q stands twice in one object", se.JSONPointer.LastToken())
		case errors.Is(err, io.ErrUnexpectedEOF):
			return errors.New("the JSON text ends too early")
		}
		return fmt.Errorf("not JSON: %v at byte %d", se.Err, se.ByteOffset)
	}
	return fmt.Errorf("not JSON: %w", err)
}
