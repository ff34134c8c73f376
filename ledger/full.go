package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/klauspost/compress/s2"

	"listbound/ledger/disk"
)

// A disk that has no room for a record has some again one day, and no person need start anything for that. So where
// room is what lacks, the embedded server is stopped: what the files hold then is what there is, and whoever waits for
// an answer gets a true one. Reading goes on, from the entry bundles and from memory. As soon as there is room, the
// stream is opened as at a start, held against all that was acknowledged, and recording goes on.
//
// A failed sync is another matter: what the system has in memory may never reach the disk, and looking again would not
// show it. That still takes a person and a start.

// noRoomError stops a ledger until there is room. why is what was met.
type noRoomError struct{ why error }

func (e *noRoomError) Error() string {
	return "there is no room on the disk; recording goes on by itself once there is"
}

func (e *noRoomError) Unwrap() error { return e.why }

// Is implements the interface of [errors.Is].
func (e *noRoomError) Is(target error) bool { return target == ErrNoRoom }

// roomWanted is how much must fit before a ledger goes on: a few of the largest records and their tiles.
const roomWanted = 1 << 20

const roomName = "room.tmp"

// room returns an error that is a *noRoomError if there is no room for new records.
func (l *Ledger) room() error {
	path := filepath.Join(l.opts.Dir, roomName)
	err := l.opts.faults.around("room", func() error { return os.WriteFile(path, make([]byte, roomWanted), 0o600) })
	if gone := os.Remove(path); err == nil && !errors.Is(gone, os.ErrNotExist) {
		err = gone
	}
	if IsNoRoom(err) {
		return &noRoomError{err}
	}
	return err
}

// noRoom reports whether the round failed for lack of room, and for nothing worse.
func (l *Ledger) noRoom(cause error) bool {
	var write *writeError
	var unsynced *syncError
	var lost *lostError
	switch {
	case errors.As(cause, &unsynced) || errors.As(cause, &lost):
		return false
	case errors.As(cause, &write):
		return disk.This().SaysNoRoom(write.reason)
	}
	var refused *refusedError
	if !errors.As(cause, &refused) || refused.wrongSequence() {
		return false
	}
	// What the server answers to a batch that it had no room for says nothing of room.
	var full *noRoomError
	return errors.As(l.room(), &full)
}

// closeStream stops the stream. Nothing is written any more, and what is read of the stream is read from its
// files.
func (l *Ledger) closeStream() error {
	l.mu.Lock()
	home := l.home
	l.home = nil
	l.mu.Unlock()
	if home == nil {
		return nil
	}
	return home.stop()
}

// FilesOnly reports whether the ledger was only read as it lies in its folder, because nothing can be written there.
func (l *Ledger) FilesOnly() bool { return l.isUnsynced() }

// stream returns the home of the stream, nil while that is closed.
func (l *Ledger) stream() home {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.home
}

// endWithoutRoom stops the stream after a round that met a full disk, and answers the round's calls by what the files
// hold of it.
func (l *Ledger) endWithoutRoom(d *doubtfulRound) {
	if err := l.closeStream(); err != nil {
		l.log.Error("closing the stream on a full disk", "err", err)
	}
	l.stopAppending(&noRoomError{d.cause})
	l.inDoubt = nil
	if d.round.isDone() {
		return
	}
	n := 0
	err := readBlocks(context.Background(), l.opts.Dir, d.last+1, maxSeq, func(int64, string, []byte) error {
		n++
		return nil
	})
	reason := l.stopReason()
	for _, c := range d.round.calls {
		c.out = nil
		if err != nil || n > 0 { // some of it is there
			c.finish(fmt.Errorf("%w: %w", ErrUnknownOutcome, errors.Join(reason, err)))
		} else {
			c.finish(reason)
		}
		n -= len(c.entries)
	}
}

// heal lets a ledger that found no room go on, if there is some now. l.committing is held.
func (l *Ledger) heal() {
	l.mu.Lock()
	var full *noRoomError
	waits := errors.As(l.failed, &full)
	l.mu.Unlock()
	if !waits || l.stopped() || l.room() != nil || l.owner.held() != nil {
		return
	}
	// Nothing is signed meanwhile.
	l.build.mu.Lock()
	defer l.build.mu.Unlock()
	n := &Ledger{
		opts: l.opts, log: l.log, owner: l.owner, files: l.files, stations: map[string]int64{}, grown: make(chan struct{}),
	}
	if err := n.load(context.Background()); err != nil {
		l.log.Warn("there is room on the disk, and the ledger cannot go on yet", "err", err)
		if err := n.closeStream(); err != nil {
			l.log.Warn("closing the stream again", "err", err)
		}
		return
	}
	if p := l.missingIn(n); p != nil {
		n.damage = append(n.damage, *p)
	}
	l.takeOver(n)
	if len(n.damage) > 0 {
		l.log.Error("there is room on the disk again, and the ledger is damaged", "problem", n.damage[0].What)
		return
	}
	l.log.Warn("there is room on the disk again; recording goes on", "records", n.size)
}

// missingIn holds a ledger that was read afresh against what this one has acknowledged.
func (l *Ledger) missingIn(n *Ledger) *Problem {
	if n.size < l.size {
		return &Problem{Seq: n.size + 1, What: fmt.Sprintf("%s after the disk was full, although acknowledged",
			MissingText(n.size+1, l.size))}
	}
	if n.signed.Size < l.signed.Size {
		return &Problem{Seq: n.signed.Size + 1, What: "the checkpoint is older than it was before the disk was full"}
	}
	for i, record := range l.tail {
		seq := l.signed.Size + int64(i) + 1
		if seq > n.signed.Size && !bytes.Equal(record, n.tail[seq-n.signed.Size-1]) {
			return &Problem{Seq: seq, What: "the record is another one than before the disk was full"}
		}
	}
	return nil
}

// takeOver puts what was read afresh in place. l.build.mu is held.
func (l *Ledger) takeOver(n *Ledger) {
	l.build.tree, l.build.partial = n.build.tree, n.build.partial
	l.mu.Lock()
	defer l.mu.Unlock()
	l.home, l.noStream, l.unsynced = n.home, n.noStream, false
	if len(n.damage) > 0 {
		l.damage, l.failed = n.damage, nil
		return // what was acknowledged stays readable as far as it is known here
	}
	l.size, l.tail, l.tailSize, l.stations = n.size, n.tail, n.tailSize, n.stations
	l.lastAt, l.signed, l.note = n.lastAt, n.signed, n.note
	l.failed = nil
	l.broadcast()
}

// maxSeq is beyond every record.
const maxSeq = int64(1) << 62

// readStream calls fn for the records of the stream from sequence from to last, in order, from the server, or from the
// files where that is stopped. It skips what the stream lacks.
func (l *Ledger) readStream(
	ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error,
) error {
	home := l.stream()
	if home == nil {
		return readBlocks(ctx, l.opts.Dir, from, last, fn)
	}
	next, failed := from, error(nil)
	err := home.read(ctx, from, last, func(seq int64, subject string, record []byte) error {
		next = seq + 1
		failed = fn(seq, subject, record)
		return failed
	})
	if err == nil || failed != nil || ctx.Err() != nil || l.stream() == home {
		return err
	}
	return readBlocks(ctx, l.opts.Dir, next, last, fn) // the server was stopped meanwhile
}

// readBlocks calls fn for the whole records in the files of a stream, from sequence from to last, in order.
func readBlocks(
	ctx context.Context, dir string, from, last int64, fn func(seq int64, subject string, record []byte) error,
) error {
	msgs := filepath.Join(streamDir(dir), "msgs")
	numbers, err := blockNumbers(msgs)
	if err != nil {
		return err
	}
	for i, number := range numbers {
		if err := ctx.Err(); err != nil {
			return err
		}
		if i+1 < len(numbers) {
			if first, err := firstInBlock(filepath.Join(msgs, blockName(numbers[i+1]))); err == nil && first > 0 && first <= from {
				continue
			}
		}
		data, err := readBlock(msgs, number)
		if err != nil {
			return err
		}
		var failed error
		blockRecords(data, number, func(seq int64, subject string, record []byte) {
			if failed == nil && seq >= from && seq <= last {
				failed = fn(seq, subject, record)
				from = seq + 1
			}
		})
		if failed != nil {
			return failed
		}
	}
	return nil
}

// firstInBlock returns the sequence of the first record in the file of a block, 0 if it has none.
func firstInBlock(path string) (int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()                       //nolint:errcheck // only read
	head := make([]byte, blockRecordHead) // longer than that of a packed block
	if _, err := f.ReadAt(head, 0); err != nil {
		return 0, nil //nolint:nilerr // too short for a record
	}
	if _, begins, ok := packedHead(head); ok {
		if _, err := io.ReadFull(s2.NewReader(io.NewSectionReader(f, int64(begins), maxBlock)), head); err != nil {
			return 0, nil //nolint:nilerr // damaged
		}
	}
	return blockSeq(head), nil
}

// lastInBlocks returns the sequences of the first and the last whole record in the files of a stream.
func lastInBlocks(dir string) (first, last int64, err error) {
	msgs := filepath.Join(streamDir(dir), "msgs")
	numbers, err := blockNumbers(msgs)
	if err != nil || len(numbers) == 0 {
		return 0, 0, err
	}
	if first, err = firstInBlock(filepath.Join(msgs, blockName(numbers[0]))); err != nil {
		return 0, 0, err
	}
	for _, number := range slices.Backward(numbers) {
		data, err := readBlock(msgs, number)
		if err != nil {
			return 0, 0, err
		}
		blockRecords(data, number, func(seq int64, _ string, _ []byte) { last = max(last, seq) })
		if last > 0 {
			break
		}
	}
	return first, last, nil
}

// IsNoRoom reports whether an error says that there is no room for what was to be written: the disk is full, or what one
// user or one file may take of it is used up.
func IsNoRoom(err error) bool { return disk.This().IsNoRoom(err) }
