package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// A backup is the folder log/ of a ledger under one of its checkpoints: entry bundles hold every record, and a repair
// makes the stream anew from them. Full tiles and bundles never change, so a later backup into the same folder writes
// only what is new. The checkpoint comes last, and only when all that it covers has been read back: whatever ends a
// backup before that leaves the earlier one as it was.

// Backup copies what the newest checkpoint of the ledger in dir covers to the folder to. It reads files that nobody
// changes once they are there, so the ledger may be in use. A folder that holds a backup of another history, or a later
// one, is refused. The keys are those that can have signed either, as where the ledger's key was replaced in between.
func Backup(ctx context.Context, dir, to string, keys []note.Verifier, progress func(done, total int64)) (
	proof.Checkpoint, error,
) {
	b := &backup{
		from: logFiles{root: filepath.Join(dir, "log")}, to: logFiles{root: filepath.Join(to, "log")}, progress: progress,
	}
	msg, err := b.from.readCheckpoint()
	if err != nil {
		return b.at, fmt.Errorf("log/checkpoint cannot be read: %w", cause(err))
	}
	if b.at, err = proof.OpenCheckpoint(msg, keys[0].Name(), keys...); err != nil {
		return b.at, fmt.Errorf("log/checkpoint: %w", err)
	}
	if err := b.compareEarlier(keys); err != nil {
		return b.at, err
	}
	if err := b.copy(ctx); err != nil {
		return b.at, err
	}
	if err := b.readBack(ctx); err != nil {
		return b.at, err
	}
	if err := os.MkdirAll(b.to.root, 0o700); err != nil { // a ledger without records has no other files
		return b.at, err
	}
	// Crash here: the earlier backup stands, with files beside it that the next one needs.
	if err := b.to.replaceCheckpoint(msg); err != nil {
		return b.at, err
	}
	return b.at, b.dropPartials()
}

// BackedUp returns the checkpoint of a backup, and an error that is os.ErrNotExist where there is none.
func BackedUp(dir string, keys ...note.Verifier) (proof.Checkpoint, error) {
	msg, err := logFiles{root: filepath.Join(dir, "log")}.readCheckpoint()
	if err != nil {
		return proof.Checkpoint{}, err
	}
	return proof.OpenCheckpoint(msg, keys[0].Name(), keys...)
}

// AwaitSigned returns when the checkpoint in a folder covers all that was acknowledged from it. A program that has the
// folder signs what is new within seconds.
func AwaitSigned(ctx context.Context, dir string, keys ...note.Verifier) error {
	var last int64
	var err error
	if InCluster(dir) {
		last, err = lastInJournal(dir)
	} else {
		_, last, err = lastInBlocks(dir)
	}
	if err != nil {
		return err
	}
	for {
		c, err := BackedUp(dir, keys...)
		if err != nil {
			return err
		}
		if c.Size >= last {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the checkpoint covers %d records of %d, and whoever has the folder signs no more of them: %w",
				c.Size, last, ctx.Err())
		case <-time.After(lookAgain):
		}
	}
}

const lookAgain = 50 * time.Millisecond

type backup struct {
	from, to logFiles
	at       proof.Checkpoint
	progress func(done, total int64)
}

// compareEarlier refuses a folder that holds anything but an earlier state of the same history.
func (b *backup) compareEarlier(keys []note.Verifier) error {
	msg, err := b.to.readCheckpoint()
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the backup that is there cannot be read: %w", cause(err))
	}
	had, err := proof.OpenCheckpoint(msg, keys[0].Name(), keys...)
	if err != nil {
		return fmt.Errorf("the folder holds a backup of another ledger: %w", err)
	}
	if had.Size > b.at.Size {
		return fmt.Errorf("the backup that is there holds %d records, and the ledger %d: %s here. Keep that backup, and take "+
			"another folder for this one", had.Size, b.at.Size, MissingText(b.at.Size+1, had.Size))
	}
	root := proof.EmptyRoot
	if had.Size > 0 {
		root, err = tlog.TreeHash(had.Size, tlog.TileHashReader(tlog.Tree{N: b.at.Size, Hash: b.at.Root},
			&tileReader{files: b.from, cache: map[tlog.Tile][]byte{}}))
	}
	if err != nil {
		return err
	}
	if root != had.Root {
		return fmt.Errorf("the backup that is there is of another history: its first %d records are not this ledger's. Keep it, "+
			"and take another folder for this one", had.Size)
	}
	return nil
}

// filesAtOnce is how many files are made durable together.
const filesAtOnce = 64

func (b *backup) copy(ctx context.Context) error {
	var files []outFile
	flush := func() error {
		err := b.to.writeDurably(files)
		files = files[:0]
		return err
	}
	add := func(name string, data []byte, err error) error {
		if err != nil {
			return err
		}
		if files = append(files, outFile{name, data}); len(files) == filesAtOnce {
			return flush()
		}
		return ctx.Err()
	}
	for _, level := range proof.Layout(b.at.Size) {
		for index := range level.Full {
			if err := b.addFull(level.Level, index, add); err != nil {
				return err
			}
		}
		if level.Partial == 0 {
			continue
		}
		hashes, err := b.hashes(level.Level, level.Full, level.Partial)
		if err := add(proof.TilePath(level.Level, level.Full, level.Partial), proof.EncodeTile(hashes), err); err != nil {
			return err
		}
		if level.Level == 0 {
			file, err := b.entries(level.Full, level.Partial)
			if err := add(file.name, file.data, err); err != nil {
				return err
			}
		}
	}
	return flush()
}

// addFull copies a full tile, and its entry bundle, unless an earlier backup has them.
func (b *backup) addFull(level int, index int64, add func(name string, data []byte, err error) error) error {
	names := []string{proof.TilePath(level, index, proof.TileWidth)}
	if level == 0 {
		names = append(names, proof.EntriesPath(index, proof.TileWidth))
	}
	for _, name := range names {
		if there, err := b.to.hasFull(name); err != nil {
			return err
		} else if there {
			continue // what is wrong with it shows when it is read back
		}
		name, data, err := b.from.fullAsItIs(name)
		if err := add(name, data, err); err != nil {
			return err
		}
	}
	return nil
}

// hashes returns a tile as it was under the checkpoint: one that has grown meanwhile begins with it.
func (b *backup) hashes(level int, index int64, width int) ([]tlog.Hash, error) {
	data, err := (&tileReader{files: b.from,
		cache: map[tlog.Tile][]byte{}}).ReadTiles([]tlog.Tile{{H: proof.TileHeight, L: level, N: index, W: width}})
	if err != nil {
		return nil, err
	}
	return proof.DecodeTile(data[0], width)
}

// entries returns the entry bundle as it was under the checkpoint.
func (b *backup) entries(index int64, width int) (outFile, error) {
	records, err := b.from.readEntries(index, index*proof.TileWidth+int64(width))
	if errors.Is(err, os.ErrNotExist) {
		records, err = b.from.readEntries(index, (index+1)*proof.TileWidth)
	}
	if err != nil {
		return outFile{}, err
	}
	return bundleFile(index, records[:width])
}

// readBack reads every record of the backup and computes the root. A bundle or tile that an earlier backup has left
// damaged is written again.
func (b *backup) readBack(ctx context.Context) error {
	tree := &proof.Tree{}
	var bad []outFile
	tile := func(level int, index int64, hashes []tlog.Hash) {
		there, err := b.to.readTile(level, index, len(hashes))
		if err != nil || !slices.Equal(there, hashes) {
			bad = append(bad, outFile{proof.TilePath(level, index, len(hashes)), proof.EncodeTile(hashes)})
		}
	}
	for index := int64(0); index*proof.TileWidth < b.at.Size; index++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		records, err := b.goodEntries(index)
		if err != nil {
			return err
		}
		for _, record := range records {
			tree.Append(proof.LeafHash(record), tile)
		}
		if b.progress != nil {
			b.progress(tree.Size(), b.at.Size)
		}
	}
	tree.Partial(tile)
	if root := tree.Root(); root != b.at.Root {
		return fmt.Errorf("the records that were copied lead to the root %s, the checkpoint says %s; run listbound verify on "+
			"the ledger", root, b.at.Root)
	}
	return b.to.writeDurably(bad)
}

// goodEntries returns a bundle of the backup whose records have the hashes in the ledger's tile, after writing it again
// where an earlier one is damaged.
func (b *backup) goodEntries(index int64) ([][]byte, error) {
	width := bundleWidth(index, b.at.Size)
	leaves, err := b.hashes(0, index, width)
	if err != nil {
		return nil, err
	}
	records, err := b.to.readEntries(index, b.at.Size)
	if err == nil && haveHashes(records, leaves) {
		return records, nil
	}
	file, err := b.entries(index, width)
	if err != nil {
		return nil, fmt.Errorf("%w; run listbound verify on the ledger", err)
	}
	if err := b.to.writeBundles([]outFile{file}); err != nil {
		return nil, err
	}
	if records, err = b.to.readEntries(index, b.at.Size); err != nil || !haveHashes(records, leaves) {
		return nil, errors.Join(err, fmt.Errorf("%s does not hold the records that were signed; run listbound verify on the ledger",
			file.name))
	}
	return records, nil
}

func haveHashes(records [][]byte, leaves []tlog.Hash) bool {
	for i := range records {
		if proof.LeafHash(records[i]) != leaves[i] {
			return false
		}
	}
	return len(records) == len(leaves)
}

// dropPartials removes the partial tiles of earlier backups that full ones have replaced.
func (b *backup) dropPartials() error {
	l := &Ledger{files: b.to, signed: b.at}
	return l.dropPartials()
}
