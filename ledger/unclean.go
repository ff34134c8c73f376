package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
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
		before, err := readBlock(dir, n)
		if err != nil {
			return nil, err
		}
		after, err := readBlock(filepath.Join(streamDir(l.opts.Dir), "msgs"), n) // perhaps packed since
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
	blockSumBytes   = 8
	blockRecordMin  = blockRecordHead + blockSumBytes
	blockHeaderBit  = 1 << 31
)

// blockSeq returns the sequence of a record that begins with head.
func blockSeq(head []byte) int64 { return int64(binary.LittleEndian.Uint64(head[4:])) }

// wholeRecords reads the bytes that were cut off a block. It reports whether records follow the first one there, which
// is the one that was torn or damaged, and returns the sequences of the first and the last.
func wholeRecords(data []byte) (first, last int64, ok bool) {
	for n := 0; ; n++ {
		one, rest, is := cutLength(data)
		if !is || blockSeq(one) <= 0 || n > 0 && blockSeq(one) != last+1 {
			return first, last, ok
		}
		if last = blockSeq(one); n == 0 {
			first = last
		}
		ok = n > 0
		data = rest
	}
}

// maxJump is how far the number of a record may be from that of the one before it. None is missing in a whole stream,
// and of some that are missing the server tells.
const maxJump = 1 << 16

// jumps returns what the server must not load of a stream's blocks, behind those that are known. A record that is numbered far from
// the one before it, by the number of that one: a bit of the number has flipped, and before the server looks at any checksum it makes
// an entry for each record that seems to be missing, until there is no memory left. A block that is packed and damaged, with which it
// gives up the stream, and one that begins with nothing it knows, which it would cut off from there.
//
// Blocks that are in order and full are known from then on. all is what is known with the last block, nil where not all of them are
// in order. Without known, the stream begins with any number.
func jumps(msgs string, known *looked) (problems []Problem, all *looked, err error) {
	numbers, err := blockNumbers(msgs)
	if err != nil {
		return nil, nil, nil //nolint:nilerr // there is no stream, or the server says what is wrong with its folder
	}
	last := int64(-1)
	inOrder := known != nil
	if inOrder {
		numbers, last = numbers[min(len(known.blocks), len(numbers)):], known.last()
	}
	var r blockReader
	for i, number := range numbers {
		var file lookedFile
		if inOrder { // before it is read: what changes it meanwhile shows
			file, _ = lookAtFile(filepath.Join(msgs, blockName(number)))
		}
		data, err := r.read(msgs, number)
		if err != nil && !errors.Is(err, errPackedDamaged) {
			return nil, nil, err
		}
		isLast := i+1 == len(numbers)
		_, _, begins := cutLength(data)
		switch {
		case err != nil:
			what := fmt.Sprintf("block %d of the stream is packed and damaged: not all that is in it can be read", number)
			problems, last = append(problems, Problem{Seq: max(last, 0) + 1, What: what}), -1
		case !begins && len(data) > 0 && !isLast:
			what := fmt.Sprintf("block %d of the stream begins with nothing that could be read", number)
			problems, last = append(problems, Problem{Seq: max(last, 0) + 1, What: what}), -1
		default:
			var jumped []Problem
			jumped, last = jumpsIn(data, number, last)
			problems = append(problems, jumped...)
		}
		switch {
		case !inOrder:
		case isLast:
			if all = known.clone(); len(problems) > 0 || !all.take(number, file.holds(r.onDisk), data) {
				all = nil
			}
		default:
			inOrder = len(problems) == 0 && known.take(number, file.holds(r.onDisk), data)
		}
	}
	return problems, all, nil
}

// jumpsIn returns the jumps in the bytes of one block, and the number of its last record.
func jumpsIn(data []byte, number int, last int64) (problems []Problem, _ int64) {
	for {
		one, rest, ok := cutLength(data)
		if !ok {
			return problems, last // the server ends there too
		}
		data = rest
		seq := blockSeq(one)
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

// blockRecord is one record in the bytes of a block.
type blockRecord struct {
	seq     int64
	subject []byte
	payload []byte
	body    []byte // headers, if any, and payload
	whole   []byte
}

// cutRecord takes the first record off the bytes of a block. It reports false where the bytes are none.
func cutRecord(data []byte) (r blockRecord, rest []byte, ok bool) {
	one, rest, ok := cutLength(data)
	if !ok {
		return r, data, false
	}
	r = blockRecord{seq: blockSeq(one), whole: one}
	le := binary.LittleEndian
	subject := blockRecordHead + int(le.Uint16(one[20:]))
	if subject > len(one)-blockSumBytes {
		return r, rest, false
	}
	r.subject, r.body = one[blockRecordHead:subject], one[subject:len(one)-blockSumBytes]
	r.payload = r.body
	if le.Uint32(one)&blockHeaderBit != 0 {
		if len(r.body) < 4 || int64(le.Uint32(r.body)) > int64(len(r.body)-4) {
			return r, rest, false
		}
		headers := le.Uint32(r.body)
		r.body = r.body[4:]
		r.payload = r.body[headers:]
	}
	return r, rest, true
}

// cutLength takes as many bytes off a block as the length of its first record says. It reports false where that can't be.
func cutLength(data []byte) (one, rest []byte, ok bool) {
	if len(data) < blockRecordMin {
		return nil, data, false
	}
	length := int64(binary.LittleEndian.Uint32(data) &^ uint32(blockHeaderBit))
	if length < blockRecordMin || length > int64(len(data)) {
		return nil, data, false
	}
	return data[:length], data[length:], true
}

// blockRecords calls fn for the records in the bytes of a block. It skips a record whose checksum is wrong, and looks for the
// next one byte by byte where the length of one leads nowhere. No note can hold what looks like a record: it has no zeros.
func blockRecords(data []byte, block int, fn func(seq int64, subject string, record []byte)) {
	key := blockKey(block)
	lost := false // where records begin
	for len(data) > 0 {
		r, rest, ok := cutRecord(data)
		switch {
		case ok && (!lost || r.isLikely()) && r.isWhole(key):
			fn(r.seq, string(r.subject), r.payload)
			data, lost = rest, false
		case !lost && len(rest) < len(data) && beginsRecord(rest, key):
			data = rest // the length was right
		default:
			data, lost = data[1:], true
		}
	}
}

// isLikely reports whether it is worth to compute a checksum of what may be a record.
func (r *blockRecord) isLikely() bool {
	return r.seq > 0 && r.seq < 1<<48 && bytes.HasPrefix(r.subject, []byte(subjectRoot+"."))
}

// beginsRecord reports whether a whole record stands at the beginning of the bytes, or nothing.
func beginsRecord(data, key []byte) bool {
	r, _, ok := cutRecord(data)
	return len(data) == 0 || ok && r.isWhole(key)
}

// blockKey is the key of the checksums of a block's records. It is no secret.
func blockKey(block int) []byte {
	key := sha256.Sum256(fmt.Appendf(nil, "%s-%d", streamName, block))
	return key[:]
}

// isWhole reports whether the record has its checksum.
func (r *blockRecord) isWhole(key []byte) bool {
	sum, err := highwayhash.New64(key)
	return err == nil && r.isWholeBy(sum)
}

// isWholeBy is isWhole for many records of a block.
func (r *blockRecord) isWholeBy(sum hash.Hash64) bool {
	sum.Reset()
	for _, part := range [][]byte{r.whole[4:20], r.subject, r.body} {
		_, _ = sum.Write(part) // never fails
	}
	return sum.Sum64() == binary.LittleEndian.Uint64(r.whole[len(r.whole)-blockSumBytes:])
}
