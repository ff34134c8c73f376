package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// A start looks at each block before the server does (jumps), which takes as long as there are records. What is in a packed
// block can't change unnoticed any more: it has checksums, and the server gives an error for one that is wrong. So the packed
// blocks that were found in order are written down, and after a clean stop not looked at again while they are the same files.
// After any other the server reads all of them itself, and must not meet a damaged one.

// lookedAt says how a packed block was when it was found in order.
type lookedAt struct {
	size, changed int64 // the time of the file's last change, in nanoseconds
	last          int64 // number of its last record
}

// inOrder are packed blocks that were found in order, by their numbers.
type inOrder map[int]lookedAt

// lookedName is the name of the file that has them. It lies in stream/, so that another stream comes without it.
const lookedName = "looked"

// readInOrder reads what an earlier start has written down. Without it, or where a line is torn, blocks are looked at again.
func readInOrder(dir string) inOrder {
	found := inOrder{}
	data, err := os.ReadFile(filepath.Join(dir, "stream", lookedName))
	if err != nil {
		return found
	}
	for line := range strings.Lines(string(data)) {
		var number int
		var at lookedAt
		if n, err := fmt.Sscanf(line, "%d %d %d %d.\n", &number, &at.size, &at.changed, &at.last); err == nil && n == 4 {
			found[number] = at
		}
	}
	return found
}

// write writes them down. It is not synced: what is lost of it is looked at again.
func (l inOrder) write(dir string) error {
	var b strings.Builder
	for number, at := range l {
		fmt.Fprintf(&b, "%d %d %d %d.\n", number, at.size, at.changed, at.last)
	}
	path := filepath.Join(dir, "stream", lookedName)
	if err := os.WriteFile(path+".tmp", []byte(b.String()), 0o600); err != nil {
		return errors.Join(err, os.Remove(path+".tmp"))
	}
	return os.Rename(path+".tmp", path)
}

// has reports whether a block is the file that was looked at, and returns what was found then. It returns how the file is in any
// case.
func (l inOrder) has(msgs string, number int) (at lookedAt, is bool) {
	info, err := os.Stat(filepath.Join(msgs, blockName(number)))
	if err != nil {
		return at, false
	}
	at = lookedAt{size: info.Size(), changed: info.ModTime().UnixNano()}
	was, ok := l[number]
	if ok && was.size == at.size && was.changed == at.changed {
		return was, true
	}
	return at, false
}

// lookAtBlocks returns what the server must not load of the stream.
func (l *Ledger) lookAtBlocks() ([]Problem, error) {
	known := inOrder{}
	if _, err := os.Stat(l.cleanMarker()); err == nil {
		known = readInOrder(l.opts.Dir)
	}
	problems, found, err := jumps(filepath.Join(streamDir(l.opts.Dir), "msgs"), 0, known)
	if err != nil || len(problems) > 0 || len(found) == 0 {
		return problems, err
	}
	if err := found.write(l.opts.Dir); err != nil {
		l.log.Warn("the next start looks at all blocks of the stream again", "err", err)
	}
	return nil, nil
}
