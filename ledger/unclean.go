package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/minio/highwayhash"

	"listbound/ledger/disk"
)

// takeCleanMarker removes the clean marker before the stream is touched, and reports whether it was there. If it was
// not although there is a stream, the last stop was unclean: the server is about to rebuild its index and cuts the
// files where it finds damage, so the end of the stream is copied first. copied is the folder of the copy, "" if none
// was made.
func (l *Ledger) takeCleanMarker(hasStream bool) (copied string, clean bool, err error) {
	err = os.Remove(l.cleanMarker())
	switch {
	case err == nil:
		// Crash here: the next start takes this stop for an unclean one. No harm.
		return "", true, disk.SyncFolder(l.opts.Dir)
	case !errors.Is(err, os.ErrNotExist):
		return "", false, err
	case !hasStream:
		return "", false, nil
	}
	copied, err = l.copyEnd()
	return copied, false, err
}

// copyEnd copies the last two blocks and the index of the stream and returns the folder of the copy, "" if there are no
// blocks.
func (l *Ledger) copyEnd() (string, error) {
	msgs := filepath.Join(streamDir(l.opts.Dir), "msgs")
	blocks, err := blockNumbers(msgs)
	if err != nil || len(blocks) == 0 {
		return "", err
	}
	names := []string{"index.db"}
	for _, n := range blocks[max(0, len(blocks)-2):] {
		names = append(names, blockName(n))
	}
	dir, err := nextNumbered(l.opts.Dir, beforePrefix)
	if err != nil {
		return "", err
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return "", err
	}
	for _, name := range names {
		if err := copyFile(filepath.Join(dir, name), filepath.Join(msgs, name)); err != nil &&
			!errors.Is(err, os.ErrNotExist) {
			// Half a copy is of no use, and the next start makes another.
			return "", errors.Join(fmt.Errorf("cannot keep a copy of the stream's end before it is recovered: %w", err),
				os.RemoveAll(dir))
		}
	}
	return dir, disk.SyncFolder(dir)
}

const beforePrefix = "before-recovery-"

func blockName(n int) string { return strconv.Itoa(n) + ".blk" }

func blockNumbers(msgs string) ([]int, error) {
	entries, err := os.ReadDir(msgs)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	var numbers []int
	for _, e := range entries {
		if base, ok := strings.CutSuffix(e.Name(), ".blk"); ok {
			if n, err := strconv.Atoi(base); err == nil {
				numbers = append(numbers, n)
			}
		}
	}
	slices.Sort(numbers)
	return numbers, err
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() //nolint:errcheck // only read
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		return errors.Join(err, out.Close())
	}
	if err := out.Sync(); err != nil {
		return errors.Join(err, out.Close())
	}
	return out.Close()
}

// compareCopy looks at what the server's recovery did to the blocks that were copied into dir before. A copy that is
// still the same is removed. Whole records that were cut off are a problem: a record torn by the stop itself has
// nothing behind it, so records behind the cut had been stored.
func (l *Ledger) compareCopy(dir string) ([]Problem, error) {
	if dir == "" {
		return nil, nil
	}
	blocks, err := blockNumbers(dir)
	if err != nil {
		return nil, err
	}
	var problems []Problem
	same := true
	for _, n := range blocks {
		before, err := os.ReadFile(filepath.Join(dir, blockName(n)))
		if err != nil {
			return nil, err
		}
		after, err := os.ReadFile(filepath.Join(streamDir(l.opts.Dir), "msgs", blockName(n)))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
		if bytes.HasPrefix(after, before) {
			// Recovery may finish an atomic batch that was under way, so more is fine.
			continue
		}
		same = false
		cut := 0
		for cut < len(before) && cut < len(after) && before[cut] == after[cut] {
			cut++
		}
		if first, last, ok := wholeRecords(before[cut:]); ok {
			problems = append(problems, Problem{Seq: first, What: fmt.Sprintf(
				"recovery of the stream cut off %s because of damage in front of them; the end of the stream as it "+
					"was is in %s",
				rangeText([2]int64{first, last}), filepath.Base(dir))})
		}
	}
	if same {
		return nil, os.RemoveAll(dir)
	}
	l.log.Warn("the stream's recovery after an unclean stop changed its end; a copy from before is kept", "dir", dir)
	return problems, nil
}

// The layout of a record in a block of the pinned server version: length, sequence, time, subject length, then the
// rest.
const (
	blockRecordHead = 4 + 8 + 8 + 2
	blockRecordMin  = blockRecordHead + 8
	blockHeaderBit  = 1 << 31
)

// blockSeq returns the sequence of a record that begins with head.
func blockSeq(head []byte) int64 { return int64(binary.LittleEndian.Uint64(head[4:])) }

// wholeRecords reads the bytes that were cut off a block. It reports whether records follow the first one there, which
// is the one that was torn or damaged, and returns the sequences of the first and the last.
func wholeRecords(data []byte) (first, last int64, ok bool) {
	for n := 0; len(data) >= blockRecordMin; n++ {
		length := int64(binary.LittleEndian.Uint32(data) &^ uint32(blockHeaderBit))
		seq := int64(binary.LittleEndian.Uint64(data[4:]))
		if length < blockRecordMin || length > int64(len(data)) || seq <= 0 || (n > 0 && seq != last+1) {
			break
		}
		if n == 0 {
			first = seq
		}
		last = seq
		ok = n > 0
		data = data[length:]
	}
	return first, last, ok
}

// maxJump is how far the number of a record may be from that of the one before it. None is missing in a whole stream,
// and of some that are missing the server tells.
const maxJump = 1 << 16

// jumps returns the records in a stream's blocks that are numbered far from the one before them, by the number of that
// one: a bit of the number has flipped. The server must not load such a block. Before it looks at any checksum it makes
// an entry for each record that seems to be missing, until there is no memory left. last is the number before the first
// block, -1 if it isn't known.
func jumps(msgs string, last int64) ([]Problem, error) {
	numbers, err := blockNumbers(msgs)
	if err != nil {
		return nil, nil //nolint:nilerr // there is no stream, or the server says what is wrong with its folder
	}
	var problems []Problem
	var data []byte
	for _, number := range numbers {
		if data, err = readInto(data, filepath.Join(msgs, blockName(number))); err != nil {
			return nil, fmt.Errorf("block %d of the stream: %w", number, cause(err))
		}
		for rest := data; len(rest) >= blockRecordMin; {
			length := int64(binary.LittleEndian.Uint32(rest) &^ uint32(blockHeaderBit))
			if length < blockRecordMin || length > int64(len(rest)) {
				break // the server ends there too
			}
			seq := blockSeq(rest)
			rest = rest[length:]
			const removed = 1 << 62 // the server's mark of one that was
			if seq &= 1<<63 - 1; seq&removed != 0 {
				continue
			}
			if last >= 0 && seq > last+maxJump {
				what := fmt.Sprintf("in block %d of the stream record %d is numbered %d", number, last+1, seq)
				problems = append(problems, Problem{Seq: last + 1, What: what})
				seq = last + 1
			}
			last = max(last, seq)
		}
	}
	return problems, nil
}

// readInto reads a file into a buffer, which grows where it is too small.
func readInto(buf []byte, path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return buf, err
	}
	defer f.Close() //nolint:errcheck // only read
	info, err := f.Stat()
	if err != nil {
		return buf, err
	}
	buf = slices.Grow(buf[:0], int(info.Size()))[:info.Size()]
	n, err := io.ReadFull(f, buf)
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		err = nil
	}
	return buf[:n], err
}

// blockRecords calls fn for the records in the bytes of a block, as long as length fields lead from one to the next. It
// skips a record whose checksum is wrong.
func blockRecords(data []byte, block int, fn func(seq int64, subject string, record []byte)) {
	key := sha256.Sum256(fmt.Appendf(nil, "%s-%d", streamName, block))
	le := binary.LittleEndian
	for len(data) >= blockRecordMin {
		length := int64(le.Uint32(data))
		headers := length&blockHeaderBit != 0
		length &^= blockHeaderBit
		if length < blockRecordMin || length > int64(len(data)) {
			return
		}
		one := data[:length]
		data = data[length:]
		subject := blockRecordHead + int(le.Uint16(one[20:]))
		if subject > len(one)-8 {
			continue
		}
		body := one[subject : len(one)-8]
		payload := body
		if headers {
			if len(body) < 4 || int64(le.Uint32(body)) > int64(len(body)-4) {
				continue
			}
			body = body[4:]
			payload = body[le.Uint32(one[subject:]):]
		}
		hashed := slices.Concat(one[4:20], one[blockRecordHead:subject], body)
		if highwayhash.Sum64(hashed, key[:]) == le.Uint64(one[len(one)-8:]) {
			fn(blockSeq(one), string(one[blockRecordHead:subject]), payload)
		}
	}
}
