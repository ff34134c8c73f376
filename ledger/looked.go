package ledger

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/minio/highwayhash"
)

// A start looks at each block before the server does (jumps), and after a stop that wasn't clean the server then reads all of them
// once more, to make its index anew: both take as long as there are records. But a block that is full never changes. So what was
// found of the blocks at the beginning of the stream is written down: how each one's file is, with its checksum, and what the
// server's index says of it. Blocks are looked at when they are full, while others are written (looker), and at a start those that
// nobody has looked at yet.
//
// After a clean stop a packed block is not looked at again while it is the same file, by its size and time: what is in it can't
// change unnoticed, since the server gives an error for a checksum that is wrong. After any other stop each file is read, and has
// the checksum that it had, or all blocks are looked at afresh. What is left are the last blocks: they are looked at record by
// record, and the index is made of what is known then (index.go). Where anything in them is out of order, it is not, and the server
// reads and recovers all of it as it does by itself.

// looked is what was found of the blocks at the beginning of a stream, in which nothing is missing or damaged.
type looked struct {
	blocks   []lookedBlock
	subjects map[string]lookedSubject
}

// lookedBlock is a block that holds whole records only, each behind the one before it.
type lookedBlock struct {
	number          int
	file            lookedFile
	first, last     int64 // numbers of its records
	bytes           int64 // that they take when it isn't packed
	firstAt, lastAt int64 // the server's times of them, in nanoseconds
	end             [blockSumBytes]byte
}

// lookedFile says how the file of a block was.
type lookedFile struct {
	packed        bool
	size, changed int64 // the time of the last change, in nanoseconds
	sum           [highwayhash.Size128]byte
}

// lookedSubject is how many records have a subject, and the blocks of the first and the last of them.
type lookedSubject struct {
	records     int64
	first, last int
}

// last is the number of the last record.
func (k *looked) last() int64 {
	if n := len(k.blocks); n > 0 {
		return k.blocks[n-1].last
	}
	return 0
}

// lastBlock is the number of the last block.
func (k *looked) lastBlock() int {
	if n := len(k.blocks); n > 0 {
		return k.blocks[n-1].number
	}
	return 0
}

func (k *looked) clone() *looked {
	return &looked{slices.Clone(k.blocks), maps.Clone(k.subjects)}
}

// take takes in the next block, whose bytes these are when it isn't packed. It reports false, and takes nothing, where they are not
// whole records, each numbered behind the one before it.
func (k *looked) take(number int, file lookedFile, data []byte) bool {
	sum, err := highwayhash.New64(blockKey(number))
	if err != nil || len(data) == 0 || len(k.blocks) > 0 && number != k.lastBlock()+1 {
		return false
	}
	b := lookedBlock{number: number, file: file, first: k.last() + 1, last: k.last(), bytes: int64(len(data))}
	records := map[string]*int64{}
	for len(data) > 0 {
		r, rest, ok := cutRecord(data)
		if !ok || r.seq != b.last+1 || len(r.subject) == 0 || !r.isWholeBy(sum) {
			return false
		}
		if b.last, b.lastAt = r.seq, blockTime(r.whole); b.last == b.first {
			b.firstAt = b.lastAt
		}
		n := records[string(r.subject)]
		if n == nil {
			n = new(int64)
			records[string(r.subject)] = n
		}
		*n++
		b.end = [blockSumBytes]byte(r.whole[len(r.whole)-blockSumBytes:])
		data = rest
	}
	k.blocks = append(k.blocks, b)
	for subject, n := range records {
		s := k.subjects[subject]
		if s.records == 0 {
			s.first = number
		}
		s.records, s.last = s.records+*n, number
		k.subjects[subject] = s
	}
	return true
}

// fileSum is the checksum of a block's file.
func fileSum(data []byte) [highwayhash.Size128]byte {
	return highwayhash.Sum128(data, make([]byte, highwayhash.Size))
}

// lookAtFile says how the file of a block is, but for its contents.
func lookAtFile(path string) (lookedFile, error) {
	info, err := os.Stat(path)
	if err != nil {
		return lookedFile{}, err
	}
	return lookedFile{size: info.Size(), changed: info.ModTime().UnixNano()}, nil
}

// holds says how the file of a block that was read is.
func (f lookedFile) holds(data []byte) lookedFile {
	f.packed, f.size, f.sum = isPacked(data), int64(len(data)), fileSum(data)
	return f
}

// still reports whether all blocks are as they were when they were looked at, with others behind them. After a clean stop a packed
// block is where its file was not changed since. changed says that one was, and has the same bytes.
func (k *looked) still(msgs string, clean bool) (changed, ok bool) {
	numbers, err := blockNumbers(msgs)
	if err != nil || len(numbers) <= len(k.blocks) {
		return false, false
	}
	var next atomic.Int64
	var other, differs atomic.Bool
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(k.blocks)) {
		wg.Go(func() {
			var buf []byte
			for i := next.Add(1) - 1; i < int64(len(k.blocks)) && !differs.Load(); i = next.Add(1) - 1 {
				b := &k.blocks[i]
				path := filepath.Join(msgs, blockName(b.number))
				file, err := lookAtFile(path)
				same := file.size == b.file.size && file.changed == b.file.changed
				switch {
				case err != nil || numbers[i] != b.number || file.size != b.file.size:
					differs.Store(true)
				case same && clean && b.file.packed:
				default:
					if buf, err = readInto(buf, path); err != nil || fileSum(buf) != b.file.sum {
						differs.Store(true)
					} else if !same {
						b.file.changed = file.changed
						other.Store(true)
					}
				}
			}
		})
	}
	wg.Wait()
	return other.Load(), !differs.Load()
}

// lookedName is the name of the file that has what was found. It lies in stream/, so that another stream comes without it.
const lookedName = "looked"

const lookedHeader = "listbound looked v2"

// write writes it down. It is not synced: what is lost of it is looked at again.
func (k *looked) write(dir string) error {
	var b bytes.Buffer
	fmt.Fprintln(&b, lookedHeader)
	for i := range k.blocks {
		x := &k.blocks[i]
		fmt.Fprintln(&b, "block", x.number, x.file.packed, x.file.size, x.file.changed, hex.EncodeToString(x.file.sum[:]), x.first, x.last,
			x.bytes, x.firstAt, x.lastAt, hex.EncodeToString(x.end[:]))
	}
	for _, name := range slices.Sorted(maps.Keys(k.subjects)) {
		s := k.subjects[name]
		fmt.Fprintln(&b, "subject", name, s.records, s.first, s.last)
	}
	sum := fileSum(b.Bytes())
	fmt.Fprintln(&b, "end", hex.EncodeToString(sum[:]))
	path := filepath.Join(dir, "stream", lookedName)
	if err := os.WriteFile(path+".tmp", b.Bytes(), 0o600); err != nil {
		return errors.Join(err, os.Remove(path+".tmp"))
	}
	return os.Rename(path+".tmp", path)
}

// readLooked reads what was written down. Without it, or where it is torn, it is nothing, and all blocks are looked at again.
func readLooked(dir string) *looked {
	nothing := func() *looked { return &looked{subjects: map[string]lookedSubject{}} }
	data, err := os.ReadFile(filepath.Join(dir, "stream", lookedName))
	if err != nil {
		return nothing()
	}
	end := bytes.LastIndex(data, []byte("end "))
	if end < 0 {
		return nothing()
	}
	if sum := fileSum(data[:end]); string(data[end:]) != fmt.Sprintf("end %x\n", sum) {
		return nothing()
	}
	k := nothing()
	for i, line := range strings.Split(strings.TrimSuffix(string(data[:end]), "\n"), "\n") {
		if i == 0 && line == lookedHeader {
			continue
		}
		if i == 0 || !k.readLine(strings.Fields(line)) {
			return nothing()
		}
	}
	return k
}

// readLine reads a line that has its checksum, so it is as it was written, if by this program.
func (k *looked) readLine(fields []string) bool {
	var b lookedBlock
	var s lookedSubject
	var sum, end []byte
	line := strings.Join(fields[min(1, len(fields)):], " ")
	switch {
	case len(fields) == 12 && fields[0] == "block":
		_, err := fmt.Sscanf(line, "%d %t %d %d %x %d %d %d %d %d %x", &b.number, &b.file.packed, &b.file.size, &b.file.changed, &sum,
			&b.first, &b.last, &b.bytes, &b.firstAt, &b.lastAt, &end)
		if err != nil || len(sum) != len(b.file.sum) || len(end) != len(b.end) {
			return false
		}
		copy(b.file.sum[:], sum)
		copy(b.end[:], end)
		k.blocks = append(k.blocks, b)
		return true
	case len(fields) == 5 && fields[0] == "subject":
		var name string
		_, err := fmt.Sscanf(line, "%s %d %d %d", &name, &s.records, &s.first, &s.last)
		k.subjects[name] = s
		return err == nil
	default:
		return false
	}
}

// lookAtBlocks returns what the server must not load of the stream, and keeps what it found.
func (l *Ledger) lookAtBlocks() ([]Problem, error) {
	_, err := os.Stat(l.cleanMarker())
	clean := err == nil
	msgs := filepath.Join(streamDir(l.opts.Dir), "msgs")
	known := readLooked(l.opts.Dir)
	changed, ok := known.still(msgs, clean)
	if !ok {
		known = &looked{subjects: map[string]lookedSubject{}}
	}
	before := len(known.blocks)
	problems, all, err := jumps(msgs, known)
	if err != nil || len(problems) > 0 {
		return problems, err
	}
	if l.looked = known; !clean {
		l.allLooked = all
	}
	if changed || len(known.blocks) > before {
		if err := known.write(l.opts.Dir); err != nil {
			l.log.Warn("the next start looks at all blocks of the stream again", "err", err)
		}
	}
	return nil, nil
}

// looker looks at blocks when they are full, so that a start need not.
type looker struct {
	l     *Ledger
	known *looked
	found atomic.Pointer[[]lookedBlock] // those that known has, for who reads them
	begun chan int                      // the number of the newest block
	stop  chan struct{}
	done  chan struct{}
}

func (l *Ledger) newLooker() *looker {
	k := &looker{l: l, known: l.looked, begun: make(chan int, 1), stop: make(chan struct{}), done: make(chan struct{})}
	k.tell()
	go k.loop()
	return k
}

// tell lets others read the blocks that are known.
func (k *looker) tell() {
	blocks := slices.Clip(k.known.blocks)
	k.found.Store(&blocks)
}

// read calls fn for the records of blocks that are known, from sequence from on to last, in order, and returns the sequence to go on
// with. A block that isn't as it was found, and all behind it, is for the server to read, which says what is wrong with it; through the
// server a record takes ten times as long.
func (k *looker) read(
	ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error,
) (next int64, err error) {
	if k == nil {
		return from, nil
	}
	msgs := filepath.Join(streamDir(k.l.opts.Dir), "msgs")
	for _, b := range *k.found.Load() {
		if b.last < from {
			continue
		}
		if b.first > from || from > last {
			break
		}
		if err := ctx.Err(); err != nil {
			return from, err
		}
		var r blockReader // of its own: who takes the records keeps them
		data, err := r.read(msgs, b.number)
		if err != nil || fileSum(r.onDisk) != b.file.sum {
			break
		}
		sum, err := highwayhash.New64(blockKey(b.number))
		if err != nil {
			break
		}
		for seq := b.first; len(data) > 0 && from <= last; seq++ {
			// So it was found, unless somebody has changed the block and what was written down of it.
			one, rest, ok := cutRecord(data)
			if !ok || one.seq != seq || !one.isWholeBy(sum) {
				return from, nil
			}
			if data = rest; seq < from {
				continue
			}
			if err := fn(one.seq, string(one.subject), one.payload); err != nil {
				return from, err
			}
			from = one.seq + 1
		}
	}
	return from, nil
}

// begins says that a block begins. Only the committer calls it, and it waits for nothing.
func (k *looker) begins(number int) {
	select {
	case <-k.begun: // that one is full meanwhile
	default:
	}
	k.begun <- number
}

func (k *looker) end() {
	close(k.stop)
	<-k.done
}

func (k *looker) loop() {
	defer close(k.done)
	for {
		select {
		case newest := <-k.begun:
			// The server packs a block while it writes the next one.
			if err := k.lookUpTo(newest - 2); err != nil {
				k.l.log.Warn("the next start looks at more blocks of the stream", "err", err)
			}
		case <-k.stop:
			return
		}
	}
}

// lookUpTo looks at the blocks that are full, up to one.
func (k *looker) lookUpTo(upto int) error {
	msgs := filepath.Join(streamDir(k.l.opts.Dir), "msgs")
	before := len(k.known.blocks)
	for number := k.known.lastBlock() + 1; number <= upto; number++ {
		select {
		case <-k.stop:
			return nil
		default:
		}
		file, err := lookAtFile(filepath.Join(msgs, blockName(number)))
		if err != nil {
			return err
		}
		var r blockReader
		data, err := r.read(msgs, number)
		if err != nil {
			return err
		}
		if file = file.holds(r.onDisk); !file.packed && k.l.opts.packs() != 0 {
			break // the server is about to: the file will be another one
		}
		if !k.known.take(number, file, data) {
			return fmt.Errorf("block %d of the stream is not in order", number)
		}
	}
	if len(k.known.blocks) == before {
		return nil
	}
	k.tell()
	return k.known.write(k.l.opts.Dir)
}

// blockTime is the server's time of a record that begins with head, in nanoseconds.
func blockTime(head []byte) int64 { return int64(binary.LittleEndian.Uint64(head[12:])) }
