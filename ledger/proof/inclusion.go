package proof

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

const inclusionHeader = "c2sp.org/tlog-proof@v1"

// maxPath is the longest audit path of a tree whose size fits 64 bits.
const maxPath = 63

// Inclusion proves that a record is in the ledger. Index counts from 0: it is the record's sequence less one.
type Inclusion struct {
	Extra      []byte // optional, for the application; nil means the line is absent
	Index      int64
	Hashes     []tlog.Hash
	Checkpoint []byte // the signed checkpoint the path leads to
}

// Marshal returns the proof as text.
func (p Inclusion) Marshal() []byte {
	var b strings.Builder
	b.WriteString(inclusionHeader + "\n")
	if p.Extra != nil {
		b.WriteString("extra " + base64.StdEncoding.EncodeToString(p.Extra) + "\n")
	}
	fmt.Fprintf(&b, "index %d\n", p.Index)
	for _, h := range p.Hashes {
		b.WriteString(h.String() + "\n")
	}
	b.WriteByte('\n')
	b.Write(p.Checkpoint)
	return []byte(b.String())
}

// ParseInclusion reads a proof. It takes only the canonical spelling: marshalling the result gives the same bytes.
func ParseInclusion(data []byte) (Inclusion, error) {
	head, checkpoint, ok := strings.Cut(string(data), "\n\n")
	if !ok {
		return Inclusion{}, errors.New("proof has no empty line before its checkpoint")
	}
	lines := strings.Split(head, "\n")
	if lines[0] != inclusionHeader {
		return Inclusion{}, fmt.Errorf("proof begins with %.40q, want %q", lines[0], inclusionHeader)
	}
	lines = lines[1:]
	var p Inclusion
	if len(lines) > 0 {
		if b64, ok := strings.CutPrefix(lines[0], "extra "); ok {
			extra, err := strictBase64.DecodeString(b64)
			if err != nil || strings.ContainsAny(b64, "\r\n") {
				return Inclusion{}, errors.New("extra line of the proof is not canonical base64")
			}
			p.Extra = append([]byte{}, extra...)
			lines = lines[1:]
		}
	}
	if len(lines) == 0 {
		return Inclusion{}, errors.New("proof has no index line")
	}
	number, ok := strings.CutPrefix(lines[0], "index ")
	index, err := strconv.ParseInt(number, 10, 64)
	if !ok || err != nil || index < 0 || index == math.MaxInt64 || strconv.FormatInt(index, 10) != number {
		return Inclusion{}, fmt.Errorf("proof has %.60q where its index line should be", lines[0])
	}
	p.Index = index
	if len(lines)-1 > maxPath {
		return Inclusion{}, fmt.Errorf("proof has %d hashes, more than any tree needs", len(lines)-1)
	}
	for i, s := range lines[1:] {
		h, err := ParseHash(s)
		if err != nil {
			return Inclusion{}, fmt.Errorf("hash %d of the proof: %w", i+1, err)
		}
		p.Hashes = append(p.Hashes, h)
	}
	if err := CheckNote([]byte(checkpoint)); err != nil {
		return Inclusion{}, fmt.Errorf("checkpoint of the proof: %w", err)
	}
	p.Checkpoint = []byte(checkpoint)
	return p, nil
}

// Check checks that the record is in the ledger the checkpoint speaks for, and returns that checkpoint.
func (p Inclusion) Check(record []byte, origin string, verifiers ...note.Verifier) (Checkpoint, error) {
	c, err := OpenCheckpoint(p.Checkpoint, origin, verifiers...)
	if err != nil {
		return Checkpoint{}, err
	}
	if err := CheckInclusion(p.Hashes, c.Size, c.Root, p.Index, LeafHash(record)); err != nil {
		return Checkpoint{}, err
	}
	return c, nil
}
