package ledger

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// maxChunk is how many records go into the tree at once. It bounds the number of open files.
const maxChunk = 64 * proof.TileWidth

// builder writes the tree behind the stream.
type builder struct {
	mu      sync.Mutex
	tree    *proof.Tree
	partial [][]byte // records of the entry bundle that is not full yet
	audited int64    // highest sequence that Audit was called with
	tried   []byte   // the checkpoint that was written last, perhaps without success

	much chan struct{} // signalled when so much was stored at once that it is signed without a pause
}

// buildLoop signs what is new, at most once every CheckpointEvery.
func (l *Ledger) buildLoop() {
	defer l.wg.Done()
	wait := l.opts.CheckpointEvery
	said := ""
	pause := time.NewTimer(wait)
	defer pause.Stop()
	for {
		if !l.awaitUnsigned() {
			return
		}
		pause.Reset(wait)
		select {
		case <-pause.C:
		case <-l.build.much:
		case <-l.stop:
			return
		}
		start := time.Now()
		err := l.integrate()
		if err != nil && err.Error() != said {
			said = err.Error()
			l.log.Error("cannot sign new records; they are stored and will be signed later",
				"err", err, "waiting", l.Size()-l.Signed().Size)
		}
		if wait = l.pauseAfter(time.Since(start)); err != nil {
			wait = max(wait, againWait)
		} else {
			said = ""
		}
	}
}

// againWait is how long the builder leaves a disk alone that took no checkpoint.
const againWait = 2 * time.Second

// pauseAfter returns how long to wait before the next checkpoint. The builder shares the disk with the stream: where a
// checkpoint takes long, the stream has the disk to itself for five times as long, up to two seconds, and the next
// checkpoint covers more.
func (l *Ledger) pauseAfter(took time.Duration) time.Duration {
	const share, longest = 5, 2 * time.Second
	return max(l.opts.CheckpointEvery, min(share*took, longest))
}

// awaitUnsigned waits for records that are not signed yet. It reports false when the ledger is closed.
func (l *Ledger) awaitUnsigned() bool {
	for {
		l.mu.Lock()
		ready, grown := len(l.tail) > 0, l.grown
		l.mu.Unlock()
		if ready {
			return !l.stopped()
		}
		select {
		case <-grown:
		case <-l.stop:
			return false
		}
	}
}

// Checkpoint signs all that is stored now and returns the signed checkpoint.
func (l *Ledger) Checkpoint(ctx context.Context) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if l.stopped() {
		return nil, ErrClosed
	}
	if l.opts.Reading || l.opts.Copy != nil {
		return l.SignedNote(), nil
	}
	if damage := l.Damage(); len(damage) > 0 {
		// The old one stands for what was signed; a new one would vouch for the damage.
		return nil, fmt.Errorf("no new checkpoint: %w", &DamagedError{Dir: l.opts.Dir, Problems: damage})
	}
	if err := l.integrate(); err != nil {
		return nil, err
	}
	return l.SignedNote(), nil
}

func (l *Ledger) isUnsynced() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.unsynced
}

// integrate puts all records stored so far into the tree and signs it.
func (l *Ledger) integrate() error {
	l.build.mu.Lock()
	defer l.build.mu.Unlock()
	target := l.Size()
	if l.isUnsynced() && l.Signed().Size < target {
		return l.stopReason()
	}
	for l.Signed().Size < target {
		l.mu.Lock()
		records, from := l.tail, l.signed.Size
		l.mu.Unlock()
		records = records[:min(len(records), maxChunk)]
		if err := l.integrateChunk(from, records[:l.untilHandover(records)]); err != nil {
			return err
		}
	}
	return nil
}

// integrateChunk puts records, which begin behind sequence from, into the tree, writes what changed, and signs it.
func (l *Ledger) integrateChunk(from int64, records [][]byte) error {
	tree := l.build.tree.Clone()
	files, complete, err := l.grow(tree, from, records)
	if err != nil {
		return err
	}
	if err := l.files.writeDurably(files); err != nil {
		return fmt.Errorf("cannot write tiles: %w", err)
	}
	// From here on all that the new checkpoint covers is durable, in the stream and in the bundles.
	size := tree.Size()
	if err := l.sign(proof.Checkpoint{Origin: l.opts.Origin, Size: size, Root: tree.Root()}, len(records)); err != nil {
		return err
	}
	l.build.tree = tree
	rest := int(size % proof.TileWidth)
	all := append(append([][]byte(nil), l.build.partial...), records...)
	l.build.partial = append([][]byte(nil), all[len(all)-rest:]...)
	// Crash here: partial tiles stay beside the full ones. They are right, only superfluous.
	for _, name := range complete {
		if err := os.RemoveAll(l.files.path(proof.PartialDir(name))); err != nil {
			l.log.Warn("cannot remove partial tiles that are no longer needed", "tile", name, "err", err)
		}
	}
	return nil
}

// grow appends records to the tree. It returns the files that differ from those of the signed tree, and the names of
// those that are full now, whose partial predecessors can go.
func (l *Ledger) grow(tree *proof.Tree, from int64, records [][]byte) (files []outFile, complete []string, err error) {
	bundle := slices.Clip(l.build.partial)
	put := func(seq int64) error {
		file, err := bundleFile((seq-1)/proof.TileWidth, bundle)
		if err != nil {
			return fmt.Errorf("the entry bundle up to record %d: %w", seq, err)
		}
		files = append(files, file)
		return nil
	}
	for i, record := range records {
		seq := from + int64(i) + 1
		l.audit(seq, record)
		bundle = append(bundle, record)
		tree.Append(proof.LeafHash(record), func(level int, index int64, hashes []tlog.Hash) {
			name := proof.TilePath(level, index, proof.TileWidth)
			files, complete = append(files, outFile{name, proof.EncodeTile(hashes)}), append(complete, name)
		})
		if seq%proof.TileWidth == 0 {
			if err := put(seq); err != nil {
				return nil, nil, err
			}
			complete = append(complete, proof.EntriesPath((seq-1)/proof.TileWidth, proof.TileWidth))
			bundle = bundle[:0]
		}
	}
	if len(bundle) > 0 {
		if err := put(tree.Size()); err != nil {
			return nil, nil, err
		}
	}
	// An upper tile often stays as it is. The signed checkpoint needs it, so it is left alone.
	signed := map[string]bool{}
	l.build.tree.Partial(func(level int, index int64, hashes []tlog.Hash) {
		signed[proof.TilePath(level, index, len(hashes))] = true
	})
	tree.Partial(func(level int, index int64, hashes []tlog.Hash) {
		if name := proof.TilePath(level, index, len(hashes)); !signed[name] {
			files = append(files, outFile{name, proof.EncodeTile(hashes)})
		}
	})
	return files, complete, nil
}

// checkSigned returns an error if the checkpoint on disk is not the one that this process wrote or found last: somebody
// else has signed meanwhile, and two checkpoints could say two things.
func (l *Ledger) checkSigned() error {
	if err := l.owner.held(); err != nil {
		l.stopAppending(err)
		return err
	}
	there, err := l.files.readCheckpoint()
	if err == nil && !bytes.Equal(there, l.SignedNote()) && !bytes.Equal(there, l.build.tried) {
		err := &lostError{"log/checkpoint was written by another program"}
		l.stopAppending(err)
		return err
	}
	return nil
}

// sign replaces the checkpoint and drops the records it covers, the first ones, from the tail.
func (l *Ledger) sign(c proof.Checkpoint, covered int) error {
	note, err := proof.SignCheckpoint(c, l.Signer())
	if err != nil {
		return fmt.Errorf("cannot sign the checkpoint: %w", err)
	}
	if err := l.checkSigned(); err != nil {
		return err
	}
	l.build.tried = note
	if err := l.files.replaceCheckpoint(note); err != nil {
		return fmt.Errorf("cannot write the checkpoint: %w", err)
	}
	if l.Loss() == nil {
		l.remember(note)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.signed, l.note = c, note
	for _, record := range l.tail[:covered] {
		l.tailSize -= int64(len(record))
	}
	l.tail = append([][]byte(nil), l.tail[covered:]...)
	return nil
}

// audit calls Options.Audit for a record, once even if writing the tree has to be tried again.
func (l *Ledger) audit(seq int64, record []byte) {
	if l.opts.Audit == nil || seq <= l.build.audited {
		return
	}
	l.build.audited = seq
	if err := l.opts.Audit(seq, record); err != nil {
		l.auditErrors.Add(1)
		l.log.Warn("a stored record is not in order", "seq", seq, "err", err)
	}
}
