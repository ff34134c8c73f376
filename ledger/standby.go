package ledger

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/nats-io/nats.go"

	"listbound/ledger/proof"
)

// One process writes, the others stand by. Who writes is decided by the stream alone: each round names the number of the
// record before it, and a new writer's first record takes that number from the old one, which then stops for good. All
// else here only keeps a process from becoming the writer without need: it asks whether there is one, and while that
// answers takes its records into its own folder, under the checkpoints that the writer has signed. It signs none itself,
// so there are never two of one size.

// writing is what a writer answers to those who stand by.
type writing struct {
	Command    string    `json:"command"`
	Since      time.Time `json:"since"`
	URL        string    `json:"url,omitempty"`
	Epoch      int64     `json:"epoch"` // number of its first record, 0 before it
	Size       int64     `json:"size"`
	Checkpoint []byte    `json:"checkpoint"`
}

func (w *writing) String() string {
	if w.URL == "" {
		return w.Command
	}
	return w.Command + " at " + w.URL
}

func (c *clustered) asks() string { return "listbound.writer." + c.name }
func (c *clustered) left() string { return "listbound.left." + c.name }

// awaitTurn returns when no other process writes.
func (l *Ledger) awaitTurn(ctx context.Context, c *clustered) error {
	silence := l.opts.Cluster.Silence
	if silence <= 0 {
		silence = defaultSilence
	}
	gone := make(chan *nats.Msg, 1)
	sub, err := c.nc.ChanSubscribe(c.left(), gone)
	if err != nil {
		return err
	}
	defer sub.Unsubscribe() //nolint:errcheck // the connection may be closed; then the subscription is gone as well
	known, patience, heard := false, min(firstSilence, silence), time.Now()
	for {
		w, err := c.askWriter()
		switch {
		case err == nil:
			if !known {
				l.tell("standing by: %s writes this ledger, with %d records; this process takes over when that ends", w, w.Size)
			}
			known, patience, heard = true, silence, time.Now()
			if err := l.keepUp(ctx, c, w.Checkpoint); err != nil {
				return fmt.Errorf("cannot keep up with %s: %w", w, err)
			}
		case !c.nc.IsConnected():
			heard = time.Now() // whoever is cut off has heard nothing
		case time.Since(heard) >= patience:
			return nil
		}
		select {
		case <-gone:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(min(silence/10, firstSilence/4)):
		}
	}
}

// askWriter asks who writes.
func (c *clustered) askWriter() (*writing, error) {
	reply, err := c.nc.Request(c.asks(), nil, time.Second)
	if err != nil {
		return nil, err
	}
	w := &writing{}
	return w, json.Unmarshal(reply.Data, w)
}

// answerAsks tells those who ask that this process writes, and looks now and then whether it still does.
func (l *Ledger) answerAsks(c *clustered) error {
	since := l.opts.Clock().UTC()
	var err error
	c.asked, err = c.nc.Subscribe(c.asks(), func(m *nats.Msg) {
		if l.stopped() || l.stopReason() != nil {
			return
		}
		l.owner.mu.Lock()
		url := l.owner.owner.URL
		l.owner.mu.Unlock()
		l.mu.Lock()
		w := writing{Command: l.opts.Command, Since: since, URL: url, Epoch: l.epoch, Size: l.size, Checkpoint: l.note}
		l.mu.Unlock()
		if data, err := json.Marshal(w); err == nil {
			_ = m.Respond(data) // whoever asks asks again
		}
	})
	if err != nil {
		return err
	}
	c.writes = func() bool { return l.stopReason() == nil }
	l.wg.Go(func() {
		tick := time.NewTicker(firstSilence)
		defer tick.Stop()
		for {
			select {
			case <-l.stop:
				return
			case <-tick.C:
				l.lookForWriter(c)
			}
		}
	})
	return nil
}

// lookForWriter stops a ledger in whose stream another process has written.
func (l *Ledger) lookForWriter(c *clustered) {
	if !l.committing.TryLock() {
		return // the committer finds out
	}
	defer l.committing.Unlock()
	if l.inDoubt != nil || l.stopReason() != nil {
		return
	}
	// Nothing of this process is under way: whatever lies behind its last record is another's.
	if _, err := c.getOnce(l.Size() + 1); err == nil {
		l.stopAppending(&fencedError{l.Size() + 1})
	}
}

// Fenced reports whether another process has taken over as the writer of the stream in the cluster.
func (l *Ledger) Fenced() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	var fenced *fencedError
	return errors.As(l.failed, &fenced)
}

// Epoch returns the number of the first record that this process has written, 0 before it: since it is in the ledger no
// earlier writer's record can follow.
func (l *Ledger) Epoch() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.epoch
}

// keepUp takes the records under a writer's checkpoint into the folder, and that checkpoint.
func (l *Ledger) keepUp(ctx context.Context, c *clustered, note []byte) error {
	target, handed, err := l.opts.openNewest(note)
	if err != nil {
		return fmt.Errorf("its checkpoint was not signed by the key in this folder; copy the folder keys from there: %w", err)
	}
	if err := l.loadKept(); err != nil {
		return err
	}
	if target.Size <= l.signed.Size {
		return nil
	}
	complete, err := l.takeIn(ctx, c.read, target.Size, nil, nil)
	if err != nil {
		return err
	}
	if root := l.build.tree.Root(); root != target.Root {
		return fmt.Errorf("the stream's first %d records have the root %s, the writer's checkpoint says %s: one of the two is not this "+
			"folder's ledger, or was changed", target.Size, root, target.Root)
	}
	l.handed = handed
	return l.adopt(target, note, complete)
}

// loadKept makes the tree of what the folder holds known.
func (l *Ledger) loadKept() error {
	if l.build.tree != nil {
		return nil
	}
	note, err := l.files.readCheckpoint()
	if errors.Is(err, os.ErrNotExist) && l.treeIsEmpty() {
		l.build.tree = &proof.Tree{}
		return os.MkdirAll(l.files.root, 0o700)
	}
	if err != nil {
		return fmt.Errorf("cannot read the checkpoint: %w", cause(err))
	}
	c, handed, err := l.opts.openNewest(note)
	if err != nil {
		return fmt.Errorf("log/checkpoint: %w", err)
	}
	if _, problems := l.loadTree(c); len(problems) > 0 {
		return errors.New(problems[0].String())
	}
	l.signed, l.note, l.handed, l.build.partial = c, note, handed, nil
	if c.Size%proof.TileWidth != 0 {
		l.build.partial, err = l.files.entriesWithin(c.Size/proof.TileWidth, c.Size)
	}
	return err
}

// takeIn puts records that are read elsewhere, up to one, into the folder's tree, of which they are the next. Nothing is
// signed, and the old checkpoint stands. Each is shown to check, and those that are about to be written, which come behind
// a number, to sure; both may be nil. It returns the names of the files whose partial predecessors can go with it.
func (l *Ledger) takeIn(ctx context.Context, read reads, upto int64, check func(seq int64, record []byte) error,
	sure func(tree *proof.Tree, size int64, records [][]byte) error,
) ([]string, error) {
	var complete []string
	for size := l.build.tree.Size(); size < upto; size = l.build.tree.Size() {
		records := make([][]byte, 0, min(upto-size, maxChunk))
		err := read(ctx, size+1, min(size+maxChunk, upto), func(seq int64, _ string, record []byte) error {
			if want := size + int64(len(records)) + 1; seq != want {
				return fmt.Errorf("the stream lacks %s", rangeText([2]int64{want, seq - 1}))
			}
			records = append(records, slices.Clone(record))
			if check == nil {
				return nil
			}
			return check(seq, record)
		})
		if err != nil {
			return nil, err
		}
		if len(records) == 0 {
			return nil, fmt.Errorf("the stream lacks record %d", size+1)
		}
		tree := l.build.tree.Clone()
		files, full, err := l.grow(tree, size, records)
		if err == nil && sure != nil {
			err = sure(tree, size, records)
		}
		if err != nil {
			return nil, err
		}
		if err := l.files.writeDurably(files); err != nil {
			return nil, fmt.Errorf("cannot write tiles: %w", err)
		}
		all := append(slices.Clone(l.build.partial), records...)
		l.build.tree, l.build.partial = tree, slices.Clone(all[len(all)-int(tree.Size()%proof.TileWidth):])
		complete = append(complete, full...)
	}
	return complete, nil
}

// adopt puts a checkpoint in place whose tree is in the folder.
func (l *Ledger) adopt(c proof.Checkpoint, note []byte, complete []string) error {
	if err := l.owner.held(); err != nil {
		return err
	}
	if err := l.files.replaceCheckpoint(note); err != nil {
		return fmt.Errorf("cannot write the checkpoint: %w", err)
	}
	l.remember(note)
	l.mu.Lock()
	l.signed, l.note = c, note
	l.mu.Unlock()
	for _, name := range complete {
		if err := os.RemoveAll(l.files.path(proof.PartialDir(name))); err != nil {
			l.log.Warn("cannot remove partial tiles that are no longer needed", "tile", name, "err", err)
		}
	}
	return nil
}

// clusterMark says in a folder that its stream lives in a cluster: the one beside it is not the ledger's any more.
const clusterMark = "cluster.json"

// InCluster reports whether a folder's stream lives in a cluster.
func InCluster(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, clusterMark))
	return err == nil
}

func refuseInCluster(dir string) error {
	if !InCluster(dir) {
		return nil
	}
	return fmt.Errorf("the records of %s are kept in a NATS cluster: ask the server that writes them with --server URL, or start one "+
		"with listbound serve --nats URL", dir)
}
