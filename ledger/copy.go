package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// Copy says that the folder holds a copy of a ledger that another process writes. It grows by [Ledger.Take] alone: nothing
// is recorded or signed here, so no private key is needed.
type Copy struct {
	// Replaces returns the key to which a record hands the ledger on, where it is signed by the key given; else nil.
	Replaces func(record []byte, key note.Verifier) note.Verifier
	// HandedOn keeps a key that has taken over from the ledger's, before anything is taken in under it.
	HandedOn func(key note.Verifier) error

	mu   sync.Mutex
	keys []note.Verifier
}

// NewCopy returns a copy of the ledger that these keys have signed, of which the last one does so now.
func NewCopy(keys ...note.Verifier) *Copy { return &Copy{keys: keys} }

func (c *Copy) key() note.Verifier {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.keys[len(c.keys)-1]
}

func (c *Copy) all() []note.Verifier {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.keys)
}

func (c *Copy) add(key note.Verifier) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.keys = append(c.keys, key)
}

// Log is the log of a ledger as it is served, in the form of c2sp.org/tlog-tiles.
type Log interface {
	// Checkpoint returns the newest signed checkpoint.
	Checkpoint(ctx context.Context) ([]byte, error)
	// Tile returns a tile or an entry bundle by its name. An error that is os.ErrNotExist says that there is none.
	Tile(ctx context.Context, name string) ([]byte, error)
}

// TwoHistoriesError says that a ledger has signed two checkpoints that can't both be true. Each is proof against its key.
type TwoHistoriesError struct {
	Size         int64  // up to which record they differ
	Taken, Shown []byte // the checkpoint that this folder holds, and the one that it was shown
}

func (e *TwoHistoriesError) Error() string {
	return fmt.Sprintf("the ledger's log shows another history than the one it showed before: its first %d records are not those "+
		"that were taken from it. It was rewritten, or somebody else signs with its key", e.Size)
}

// WentBackError says that a log holds fewer records than it did.
type WentBackError struct{ Shown, Taken int64 }

func (e *WentBackError) Error() string {
	return fmt.Sprintf("the ledger's log shows %d records, and %d were taken from it: an older copy was put back there, or another "+
		"server answers in its place", e.Shown, e.Taken)
}

// NotSignedError says that a log's checkpoint is not signed by the ledger that is copied.
type NotSignedError struct {
	Key note.Verifier // under which it should be
	err error
}

func (e *NotSignedError) Error() string {
	return fmt.Sprintf("the log's checkpoint is not signed by the ledger %s under the key %08x, which is known here: another ledger is "+
		"served there, or somebody has changed it: %v", e.Key.Name(), e.Key.KeyHash(), e.err)
}

func (e *NotSignedError) Unwrap() error { return e.err }

// ChangedError says that what a log holds is not what its checkpoint was signed for.
type ChangedError struct {
	Seq  int64 // the first record of which that is known; 0 where it can't be said
	what string
	err  error
}

func (e *ChangedError) Error() string {
	if e.err != nil {
		return fmt.Sprintf("%s: %v", e.what, e.err)
	}
	return e.what
}

func (e *ChangedError) Unwrap() error { return e.err }

func changed(seq int64, err error, format string, args ...any) error {
	return &ChangedError{seq, fmt.Sprintf(format, args...), err}
}

// errCopied refuses to record in a copy.
var errCopied = errors.New("this folder holds a copy of a ledger that is written elsewhere; record there")

// loadCopy makes what was taken so far known.
func (l *Ledger) loadCopy() error {
	if _, err := os.Stat(streamDir(l.opts.Dir)); err == nil || InCluster(l.opts.Dir) {
		return fmt.Errorf("%s is the folder of a ledger that is written there, not of a copy; name another folder", l.opts.Dir)
	}
	l.failed, l.noStream = errCopied, true
	memory, had, err := l.recall()
	if err != nil {
		return err
	}
	if err := l.checkCopy(); err != nil {
		return fmt.Errorf("the copy in %s is damaged: %w. Remove its folder log and start again: all is taken anew from the ledger, and "+
			"held against what was taken before", l.opts.Dir, err)
	}
	if l.size = l.signed.Size; had.Size > l.size {
		l.floor, l.floorNote = had, memory
	}
	return l.dropPartials()
}

// checkCopy reads tree and last bundle of what was taken, and compares them.
func (l *Ledger) checkCopy() error {
	if _, err := l.files.readCheckpoint(); errors.Is(err, os.ErrNotExist) {
		// The first of it was being taken in when the program ended: no checkpoint covers it.
		if err := os.RemoveAll(l.files.path("tile")); err != nil {
			return err
		}
	}
	if err := l.loadKept(); err != nil {
		return err
	}
	if l.signed.Size == 0 {
		l.signed = proof.Checkpoint{Origin: l.opts.Origin, Root: proof.EmptyRoot}
		return nil
	}
	last, err := l.lastHashed(l.signed.Size)
	if err != nil {
		return err
	}
	_, l.lastAt, _, err = proof.SplitArrival(l.opts.Origin, last)
	return err
}

// lastHashed is ReadHashed of a signed record before the ledger's size is known.
func (l *Ledger) lastHashed(seq int64) ([]byte, error) {
	index := (seq - 1) / proof.TileWidth
	records, err := l.files.entriesWithin(index, seq)
	if err == nil {
		err = l.compareTile(index, seq, records)
	}
	if err != nil {
		return nil, err
	}
	return records[len(records)-1], nil
}

// Take takes in what a log holds beyond this copy, under a checkpoint that the ledger has signed: each record has its hash
// in the tree of that, the tree begins with the one taken before, and arrival goes on. It reports whether there was
// anything. What is refused changes nothing: the copy stays as it was, and can be asked.
func (l *Ledger) Take(ctx context.Context, log Log) (grew bool, err error) {
	if l.opts.Copy == nil {
		return false, errors.New("only a copy takes records from a log")
	}
	l.build.mu.Lock()
	defer l.build.mu.Unlock()
	if l.stopped() {
		return false, ErrClosed
	}
	msg, err := log.Checkpoint(ctx)
	if err != nil {
		return false, err
	}
	own, target := l.Signed(), proof.Checkpoint{}
	if target, err = l.openShown(ctx, log, msg); err != nil {
		return false, err
	}
	switch floor := max(own.Size, l.floor.Size); {
	case target.Size == own.Size && target.Root == own.Root && target.Size >= floor:
		return false, nil
	case target.Size <= own.Size:
		root, err := l.RootAt(target.Size)
		if err == nil && root != target.Root {
			return false, &TwoHistoriesError{Size: target.Size, Taken: l.SignedNote(), Shown: msg}
		}
		return false, errors.Join(err, &WentBackError{Shown: target.Size, Taken: floor})
	case target.Size < floor:
		return false, &WentBackError{Shown: target.Size, Taken: floor}
	}
	return true, l.takeFrom(ctx, log, target, msg)
}

// openShown opens a checkpoint that a log shows. Where it is signed by a key that is not known, the records that were not
// taken in yet may hand the ledger on to that: each such record is signed by the key before it.
func (l *Ledger) openShown(ctx context.Context, log Log, msg []byte) (proof.Checkpoint, error) {
	c, err := proof.OpenCheckpoint(msg, l.opts.Origin, l.opts.Copy.key())
	_, why := note.Open(msg, note.VerifierList(l.opts.Copy.key()))
	var unknown *note.UnverifiedNoteError
	if err == nil || !errors.As(why, &unknown) || l.opts.Copy.Replaces == nil {
		return c, l.notSigned(err)
	}
	shown, bad := proof.ParseCheckpoint(unknown.Note.Text)
	if bad != nil || shown.Origin != l.opts.Origin || shown.Size <= l.Signed().Size {
		return c, l.notSigned(err)
	}
	key, handed := l.opts.Copy.key(), []note.Verifier(nil)
	from := l.Signed().Size + 1
	failed := bundlesOf(log, shown.Size)(ctx, from, shown.Size, func(_ int64, _ string, record []byte) error {
		if next := l.opts.Copy.Replaces(record, key); next != nil {
			key, handed = next, append(handed, next)
		}
		return nil
	})
	if failed != nil {
		return c, failed
	}
	if len(handed) == 0 {
		return c, l.notSigned(err)
	}
	if c, err = proof.OpenCheckpoint(msg, l.opts.Origin, key); err != nil {
		return c, l.notSigned(err)
	}
	for _, key := range handed {
		if l.opts.Copy.HandedOn != nil {
			if err := l.opts.Copy.HandedOn(key); err != nil {
				return c, err
			}
		}
		l.opts.Copy.add(key)
	}
	return c, nil
}

func (l *Ledger) notSigned(err error) error {
	if err == nil {
		return nil
	}
	return &NotSignedError{l.opts.Copy.key(), err}
}

// takeFrom takes in the records of a log up to a checkpoint of it.
func (l *Ledger) takeFrom(ctx context.Context, log Log, target proof.Checkpoint, msg []byte) error {
	tree, partial, lastAt := l.build.tree, l.build.partial, l.lastAt
	s := &shown{ledger: l, ctx: ctx, log: log, target: target, msg: msg, own: l.Signed()}
	complete, err := l.takeIn(ctx, bundlesOf(log, target.Size), target.Size, func(seq int64, record []byte) error {
		_, at, _, err := proof.SplitArrival(l.opts.Origin, record)
		switch {
		case err != nil:
			return changed(seq, err, "record %d in the log is not whole", seq)
		case at.Before(lastAt):
			return changed(seq, nil, "record %d in the log arrived at %s, before the one in front of it", seq, at.Format(time.RFC3339Nano))
		}
		lastAt = at
		return nil
	}, s.check)
	if err == nil {
		err = l.compareFloor(target, msg)
	}
	if err == nil {
		err = l.adopt(target, msg, complete)
	}
	if err != nil {
		// What was written beyond the old checkpoint is no part of anything, and is written again.
		l.build.tree, l.build.partial = tree, partial
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.size, l.lastAt, l.floor, l.floorNote = target.Size, lastAt, proof.Checkpoint{}, nil
	if l.grown != nil {
		l.broadcast()
	}
	return nil
}

// compareFloor holds a tree that was just written against a larger one that this folder has had before.
func (l *Ledger) compareFloor(target proof.Checkpoint, msg []byte) error {
	if l.floor.Size == 0 {
		return nil
	}
	root, err := tlog.TreeHash(l.floor.Size, l.hashReader(target))
	if err == nil && root != l.floor.Root {
		err = &TwoHistoriesError{Size: l.floor.Size, Taken: l.floorNote, Shown: msg}
	}
	return err
}

// shown is a tree that a log shows while its records are taken in.
type shown struct {
	ledger *Ledger
	ctx    context.Context //nolint:containedctx // tlog.HashReader takes none
	log    Log
	target proof.Checkpoint
	msg    []byte
	own    proof.Checkpoint
	hashes tlog.HashReader // nil until something is asked
	tiles  *shownTiles     // from which they come
}

// notLeading says of an error of the hashes what was wrong: a tile that can't be had proves nothing.
func (s *shown) notLeading(err error) error {
	if s.tiles.missed != nil {
		return s.tiles.missed
	}
	return changed(0, err, "the log's tiles do not lead to the root that it has signed")
}

// check returns nil if records that come behind a number are those of the tree. Where they are the last ones, the root
// says so for all of them; else, and to tell what is wrong, the hashes are fetched and held against the root.
func (s *shown) check(tree *proof.Tree, size int64, records [][]byte) error {
	if tree.Size() == s.target.Size && tree.Root() == s.target.Root {
		return nil
	}
	if s.hashes == nil {
		s.tiles = &shownTiles{ctx: s.ctx, log: s.log, cache: map[tlog.Tile][]byte{}}
		s.hashes = tlog.TileHashReader(tlog.Tree{N: s.target.Size, Hash: s.target.Root}, s.tiles)
		if s.own.Size > 0 {
			root, err := tlog.TreeHash(s.own.Size, s.hashes)
			if err != nil {
				return s.notLeading(err)
			}
			if root != s.own.Root {
				return &TwoHistoriesError{Size: s.own.Size, Taken: s.ledger.SignedNote(), Shown: s.msg}
			}
		}
	}
	indexes := make([]int64, len(records))
	for i := range records {
		indexes[i] = tlog.StoredHashIndex(0, size+int64(i))
	}
	leaves, err := s.hashes.ReadHashes(indexes)
	if err != nil {
		return s.notLeading(err)
	}
	for i, record := range records {
		if proof.LeafHash(record) != leaves[i] {
			seq := size + int64(i) + 1
			return changed(seq, nil, "record %d in the log's entry bundle does not have the hash in its tree: it was changed there, or on "+
				"the way", seq)
		}
	}
	if tree.Size() == s.target.Size {
		return changed(0, nil, "the log's %d records do not lead to the root that it has signed", s.target.Size)
	}
	return nil
}

// shownTiles reads tiles of a log. tlog.TileHashReader holds them against the root.
type shownTiles struct {
	ctx   context.Context //nolint:containedctx // tlog.TileReader takes none
	log   Log
	cache map[tlog.Tile][]byte

	missed error // why a tile can't be had
}

func (r *shownTiles) Height() int { return proof.TileHeight }

func (r *shownTiles) ReadTiles(tiles []tlog.Tile) ([][]byte, error) {
	out := make([][]byte, len(tiles))
	for i, t := range tiles {
		if data, ok := r.cache[t]; ok {
			out[i] = data
			continue
		}
		data, err := grownTile(r.ctx, r.log, proof.TilePath(t.L, t.N, t.W), proof.TilePath(t.L, t.N, proof.TileWidth))
		if err != nil {
			r.missed = err
			return nil, err
		}
		if n := t.W * tlog.HashSize; len(data) >= n {
			data = data[:n]
		}
		out[i] = data
		if len(r.cache) < maxCachedTiles {
			r.cache[t] = data
		}
	}
	return out, nil
}

func (r *shownTiles) SaveTiles([]tlog.Tile, [][]byte) {}

// grownTile returns a file of a log, or the full one that has taken the place of a partial one meanwhile.
func grownTile(ctx context.Context, log Log, name, full string) ([]byte, error) {
	data, err := log.Tile(ctx, name)
	if errors.Is(err, os.ErrNotExist) && name != full {
		data, err = log.Tile(ctx, full)
	}
	if err != nil {
		return nil, fmt.Errorf("the log's file %s: %w", name, err)
	}
	return data, nil
}

// reads calls fn for each record from one number to another, in order.
type reads func(ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error) error

// bundlesOf reads the entry bundles of a log of so many records.
func bundlesOf(log Log, size int64) reads {
	return func(ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error) error {
		for seq := from; seq <= last; {
			index := (seq - 1) / proof.TileWidth
			width := bundleWidth(index, size)
			name := proof.EntriesPath(index, width)
			data, err := grownTile(ctx, log, name, proof.EntriesPath(index, proof.TileWidth))
			if err != nil {
				return err
			}
			records, err := proof.DecodeEntries(data, width)
			if full, fullErr := proof.DecodeEntries(data, proof.TileWidth); err != nil && fullErr == nil {
				records, err = full[:width], nil
			}
			if err != nil {
				return changed(seq, err, "the log's file %s", name)
			}
			for ; seq <= last && (seq-1)/proof.TileWidth == index; seq++ {
				if err := fn(seq, "", records[(seq-1)%proof.TileWidth]); err != nil {
					return err
				}
			}
		}
		return nil
	}
}
