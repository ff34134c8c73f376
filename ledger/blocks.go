package ledger

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"listbound/ledger/disk"
)

// layoutVersion is the server version whose files are known here: where the blocks are, that a record is in its block
// before it is acknowledged, and how the server words a failed write (serverlog.go). Under any other version the server
// syncs every record itself, which is safe and slow, until somebody has looked at the new layout and seen these tests
// pass: TestLayoutVersion, those of blocks_test.go, and TestServerReportsWriteError.
const layoutVersion = "2.15.2"

// blocks makes durable what the stream holds. Without SyncAlways the server has written a record to its block when it
// acknowledges it, but has not synced it; one sync then serves all records that came together.
//
// When a block is full the server begins the next, writes a packed copy of the full one beside it, syncs that and renames it
// into its place (packed.go). The file that is open here stays the unpacked one. So whatever of a round is in the full block
// is on disk after the sync of that file; and should its name lead to the packed copy by then, that was synced before it was
// renamed and has the same records. Either name is good after a power failure, so nothing more need be synced for it.
type blocks struct {
	msgs  string // folder of the blocks
	tail  *block // the last block that was synced, nil if there is none yet
	fsync func(*os.File) error
	buf   []byte // for hold

	begins func(number int) // is told of each new block; may be nil
}

// block is an open block. It is only ever synced through this file, which stays open so that no write error goes
// unseen.
type block struct {
	number int
	file   *os.File
	size   int64 // at the last sync
}

func openBlocks(msgs string) (*blocks, error) {
	b := &blocks{msgs: msgs, fsync: (*os.File).Sync}
	numbers, err := blockNumbers(msgs)
	if err != nil || len(numbers) == 0 {
		return b, err
	}
	if b.tail, err = b.open(numbers[len(numbers)-1]); err != nil {
		return nil, err
	}
	info, err := b.tail.file.Stat()
	if err != nil {
		return nil, errors.Join(err, b.close())
	}
	b.tail.size = info.Size()
	return b, nil
}

func (b *blocks) path(number int) string { return filepath.Join(b.msgs, blockName(number)) }

func (b *blocks) open(number int) (*block, error) {
	// For writing, because some systems sync only such files.
	f, err := os.OpenFile(b.path(number), os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	return &block{number: number, file: f}, nil
}

func (b *blocks) close() error {
	if b.tail == nil {
		return nil
	}
	return b.tail.file.Close()
}

// hold returns an error unless what was written to the blocks since the last sync are these messages, behind record number
// last, and nothing else. Of all of them the server has answered the last one only.
func (b *blocks) hold(msgs []outgoing, last int64) error {
	number, data, err := 0, []byte(nil), error(nil)
	if b.tail != nil {
		number = b.tail.number
		if data, err = b.grown(b.tail); err != nil {
			return fmt.Errorf("cannot read block %d of the stream: %w", number, cause(err))
		}
	}
	for {
		n, ok := holdsOnly(data, msgs, last)
		if !ok {
			return fmt.Errorf("block %d of the stream does not hold record %d as it was sent", number, last+int64(n)+1)
		}
		msgs, last = msgs[n:], last+int64(n)
		number++
		if len(msgs) == 0 {
			return nil
		}
		if data, err = readBlock(b.msgs, number); err != nil {
			return fmt.Errorf("record %d is not in the stream: %w", last+1, cause(err))
		}
	}
}

// maxHeldBuffer is how much memory is kept for reading what a round has added.
const maxHeldBuffer = 2 << 20

// grown returns what a block has become longer by since it was synced.
func (b *blocks) grown(block *block) ([]byte, error) {
	info, err := block.file.Stat()
	if err != nil {
		return nil, err
	}
	n := max(info.Size()-block.size, 0)
	buf := b.buf
	if int64(cap(buf)) < n {
		buf = make([]byte, n+n/2)
	}
	if cap(buf) <= maxHeldBuffer {
		b.buf = buf
	}
	_, err = block.file.ReadAt(buf[:n], block.size)
	return buf[:n], err
}

// holdsOnly reports whether data are the first n of some messages, as the server writes them behind record number last.
func holdsOnly(data []byte, msgs []outgoing, last int64) (n int, ok bool) {
	for n = 0; len(data) > 0; n++ {
		one, rest, ok := cutRecord(data)
		if !ok || n == len(msgs) || one.seq != last+int64(n)+1 || string(one.subject) != msgs[n].subject ||
			!bytes.Equal(one.payload, msgs[n].record) {
			return n, false
		}
		data = rest
	}
	return n, true
}

// sync returns when the records written to the stream since the last call are on disk. least is the minimum number of
// bytes they occupy: if the blocks grew by less, the records are not where this program believes they are, and sync
// returns an error rather than call them durable.
func (b *blocks) sync(records int, least int64) error {
	grown, first := int64(0), 1
	if b.tail != nil {
		n, err := b.syncBlock(b.tail)
		if err != nil {
			return err
		}
		grown, first = n, b.tail.number+1
	}
	if records == 1 && grown >= least {
		return nil // a record is not spread over two blocks
	}
	added := false
	for number := first; ; number++ {
		if _, err := os.Lstat(b.path(number)); errors.Is(err, fs.ErrNotExist) {
			break
		}
		next, err := b.open(number)
		if err != nil {
			return fmt.Errorf("cannot open block %d of the stream: %w", number, cause(err))
		}
		if err := b.close(); err != nil {
			return errors.Join(err, next.file.Close())
		}
		b.tail, added = next, true
		n, err := b.syncBlock(next)
		if err != nil {
			return err
		}
		grown += n
	}
	if added {
		if err := b.syncNames(); err != nil {
			return fmt.Errorf("cannot sync the folder of the stream's blocks: %w", cause(err))
		}
		if b.begins != nil {
			b.begins(b.tail.number)
		}
	}
	if grown < least {
		return fmt.Errorf("the blocks of the stream grew by %d bytes where %d were stored", grown, least)
	}
	return nil
}

// syncBlock syncs a block and returns by how much it grew since the last time.
func (b *blocks) syncBlock(block *block) (int64, error) {
	info, err := block.file.Stat()
	if err == nil {
		err = b.fsync(block.file)
	}
	if err != nil {
		return 0, fmt.Errorf("cannot sync block %d of the stream: %w", block.number, cause(err))
	}
	size := info.Size()
	if block.size == 0 {
		head := make([]byte, packedHeadMax)
		n, _ := block.file.ReadAt(head, 0) // as much as there is
		if unpacked, _, ok := packedHead(head[:n]); ok {
			size = unpacked // it has ended meanwhile
		}
	}
	grown := size - block.size
	block.size = size
	return grown, nil
}

// syncNames syncs the folder of the blocks: a new block is on disk only if its name is.
func (b *blocks) syncNames() error {
	return disk.This().SyncFolder(b.msgs, b.fsync)
}

// syncTree syncs all files and folders under root, and root's own name.
func syncTree(root string, fsync func(*os.File) error) error {
	return syncTreeOn(disk.This(), root, fsync)
}

func syncTreeOn(s disk.System, root string, fsync func(*os.File) error) error {
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
		case d.IsDir():
			err = s.SyncFolder(path, fsync)
		case d.Type().IsRegular():
			var f *os.File
			if f, err = os.OpenFile(path, os.O_RDWR, 0); err == nil { // for writing, because some systems sync only such files
				err = errors.Join(fsync(f), f.Close())
			}
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil // the server has removed a file that it no longer needs
		}
		return err
	})
	if err != nil {
		return err
	}
	return s.SyncFolder(filepath.Dir(root), fsync)
}
