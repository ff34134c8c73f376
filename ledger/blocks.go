package ledger

import (
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
type blocks struct {
	msgs  string // folder of the blocks
	tail  *block // the last block that was synced, nil if there is none yet
	fsync func(*os.File) error
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
	grown := info.Size() - block.size
	block.size = info.Size()
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
