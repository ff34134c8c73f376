package proof

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is a commitment to the first Size records of the ledger named Origin.
type Checkpoint struct {
	Origin string
	Size   int64
	Root   tlog.Hash
	// Extensions are further lines. We never write any; other logs may, and readers must bear them.
	Extensions []string
}

// Text returns the text that is signed.
func (c Checkpoint) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%d\n%s\n", c.Origin, c.Size, c.Root)
	for _, x := range c.Extensions {
		b.WriteString(x)
		b.WriteByte('\n')
	}
	return b.String()
}

// ParseCheckpoint reads the text of a checkpoint, without its signatures. It takes only the canonical spelling.
func ParseCheckpoint(text string) (Checkpoint, error) {
	body, ok := strings.CutSuffix(text, "\n")
	if !ok {
		return Checkpoint{}, errors.New("checkpoint does not end with a newline")
	}
	lines := strings.Split(body, "\n")
	if len(lines) < 3 {
		return Checkpoint{}, fmt.Errorf("checkpoint has %d lines, want origin, size and root", len(lines))
	}
	if lines[0] == "" {
		return Checkpoint{}, errors.New("checkpoint has an empty origin")
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || strconv.FormatInt(size, 10) != lines[1] {
		return Checkpoint{}, fmt.Errorf("checkpoint size %q is not a plain decimal number", lines[1])
	}
	root, err := ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, fmt.Errorf("checkpoint root: %w", err)
	}
	c := Checkpoint{Origin: lines[0], Size: size, Root: root}
	for _, x := range lines[3:] {
		if x == "" {
			return Checkpoint{}, errors.New("checkpoint has an empty extension line")
		}
		c.Extensions = append(c.Extensions, x)
	}
	return c, nil
}

// ParseHash reads a hash of 32 bytes in canonical base64.
func ParseHash(s string) (tlog.Hash, error) {
	// A decoder skips line breaks inside base64, so the length is checked as well.
	raw, err := strictBase64.DecodeString(s)
	if err != nil || len(raw) != tlog.HashSize || len(s) != 44 {
		return tlog.Hash{}, fmt.Errorf("%q is not a hash of 32 bytes in canonical base64", s)
	}
	return tlog.Hash(raw), nil
}

// SignCheckpoint returns the checkpoint as a signed note.
func SignCheckpoint(c Checkpoint, signers ...note.Signer) ([]byte, error) {
	if _, err := ParseCheckpoint(c.Text()); err != nil {
		return nil, err
	}
	return SignNote(c.Text(), signers...)
}

// OpenCheckpoint checks the signature and the origin of a signed checkpoint and returns it.
func OpenCheckpoint(msg []byte, origin string, verifiers ...note.Verifier) (Checkpoint, error) {
	n, err := OpenNote(msg, note.VerifierList(verifiers...))
	if err != nil {
		return Checkpoint{}, fmt.Errorf("checkpoint: %w", err)
	}
	c, err := ParseCheckpoint(n.Text)
	if err != nil {
		return Checkpoint{}, err
	}
	if c.Origin != origin {
		return Checkpoint{}, fmt.Errorf("checkpoint is of the ledger %q, want %q", c.Origin, origin)
	}
	return c, nil
}
