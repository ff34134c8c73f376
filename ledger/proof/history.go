package proof

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// ErrTwoHistories says that a ledger signed two checkpoints that can't both be
// true: it was rewritten, or it has been telling two stories.
var ErrTwoHistories = errors.New("TWO HISTORIES of one ledger")

// ErrNoComparison says that nothing at hand shows whether two checkpoints are of
// one history.
var ErrNoComparison = errors.New("nothing here shows whether these are one history")

// SameHistory returns nil if the ledger of the earlier checkpoint is the
// beginning of the later one's, by a consistency proof (RFC 6962, 2.1.2), which
// is empty where the sizes are equal. Both checkpoints were opened with the
// ledger's key. What differs is ErrTwoHistories.
func SameHistory(earlier, later Checkpoint, path []tlog.Hash) error {
	if earlier.Origin != later.Origin {
		return fmt.Errorf("one is of the ledger %s, the other of %s", earlier.Origin, later.Origin)
	}
	if earlier.Size > later.Size {
		return fmt.Errorf("the earlier checkpoint has %d records, the later one %d", earlier.Size, later.Size)
	}
	switch {
	case earlier.Size == later.Size && earlier.Root == later.Root:
		return nil
	case earlier.Size == 0 && earlier.Root == EmptyRoot && later.Size > 0:
		return nil
	case earlier.Size == later.Size, earlier.Size == 0:
		return fmt.Errorf("%w: for %d records it signed the roots %s and %s",
			ErrTwoHistories, earlier.Size, earlier.Root, later.Root)
	}
	if err := CheckConsistency(path, earlier.Size, earlier.Root, later.Size, later.Root); err != nil {
		return fmt.Errorf("%w: the %d records of then are not the first of the %d of now (%v)",
			ErrTwoHistories, earlier.Size, later.Size, err)
	}
	return nil
}

// maxConsistency is the most hashes that a consistency proof can have.
const maxConsistency = 63

// Consistency is a consistency proof with the checkpoint that it leads to, in
// the form that c2sp.org/tlog-witness gives a request:
//
//	old <size>
//	<base64 of a hash>, for each
//
//	<signed checkpoint>
type Consistency struct {
	From       int64
	Hashes     []tlog.Hash
	Checkpoint []byte
}

// Marshal returns the text form.
func (c Consistency) Marshal() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "old %d\n", c.From)
	for _, h := range c.Hashes {
		fmt.Fprintln(&b, h)
	}
	b.WriteByte('\n')
	b.Write(c.Checkpoint)
	return b.Bytes()
}

// ParseConsistency reads the text form. It checks nothing that is proved by it.
func ParseConsistency(data []byte) (Consistency, error) {
	var c Consistency
	head, msg, ok := bytes.Cut(data, []byte("\n\n"))
	if !ok {
		return c, errors.New("there is no empty line before the checkpoint")
	}
	c.Checkpoint = msg
	lines := bufio.NewScanner(bytes.NewReader(head))
	for n := 0; lines.Scan(); n++ {
		line := lines.Text()
		if n == 0 {
			size, ok := strings.CutPrefix(line, "old ")
			from, err := strconv.ParseInt(size, 10, 64)
			if !ok || err != nil || from < 0 || strconv.FormatInt(from, 10) != size {
				return c, fmt.Errorf("the first line is %q, not the old size, as in: old 5", line)
			}
			c.From = from
			continue
		}
		if n > maxConsistency {
			return c, fmt.Errorf("the proof has more than %d lines", maxConsistency)
		}
		h, err := ParseHash(line)
		if err != nil {
			return c, fmt.Errorf("line %d of the proof: %w", n, err)
		}
		c.Hashes = append(c.Hashes, h)
	}
	return c, lines.Err()
}
