package ledger

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/nats-io/nats-server/v2/server"

	"listbound/ledger/proof"
)

// signBefore signs all that a folder's own stream holds, before that is left for a cluster.
func (o Options) signBefore(ctx context.Context) error {
	if _, err := os.Stat(streamDir(o.Dir)); err != nil || InCluster(o.Dir) {
		return nil //nolint:nilerr // there is none
	}
	o.Cluster = nil
	l, err := Open(ctx, o)
	if err != nil {
		return err
	}
	if damage := l.Damage(); len(damage) > 0 {
		return errors.Join(&DamagedError{Dir: o.Dir, Problems: damage}, l.Close())
	}
	return l.Close()
}

// loadCluster is load for a stream in a cluster. It returns when no other process writes.
func (l *Ledger) loadCluster(ctx context.Context, memory []byte, had proof.Checkpoint) error {
	c, err := l.join()
	if err != nil {
		return err
	}
	l.home = c
	if err := l.awaitTurn(ctx, c); err != nil {
		return err
	}
	info, err := c.info(nil)
	if err != nil {
		return err
	}
	kept, err := c.journal.read()
	if err != nil {
		return err
	}
	if err := l.beginHere(ctx, c, had, int64(info.State.LastSeq)); err != nil {
		return err
	}
	if err := l.loadKept(); err != nil {
		return err
	}
	problems, err := l.putBack(ctx, c, info, kept)
	if err == nil && len(problems) == 0 {
		err = l.catchUpAlone(ctx, c, int64(info.State.LastSeq))
	}
	if err != nil {
		return err
	}
	more, err := l.guard(ctx, l.note, info)
	if err != nil {
		return err
	}
	if err := l.settle(append(problems, more...), memory, had); err != nil || len(l.damage) > 0 {
		return err
	}
	c.journal.next = l.size + 1
	mark, err := json.Marshal(map[string]string{"stream": c.name})
	if err == nil {
		err = replaceFile(l.opts.faults, "cluster mark", filepath.Join(l.opts.Dir, clusterMark), append(mark, '\n'))
	}
	if err == nil {
		err = l.dropPartials()
	}
	if err == nil {
		err = l.integrate() // so that the journal begins where the bundles end
	}
	if err != nil {
		return err
	}
	return l.answerAsks(c)
}

// farBack is among how many of the last records one of the ledger's own is looked for: each writer begins with one, and
// more follow every some thousand.
const farBack = 8192

// beginHere gives a folder without records its first checkpoint. Where the stream has some, the folder's key must be the
// one that signed them: two keys of one name could sign two things.
func (l *Ledger) beginHere(ctx context.Context, c *clustered, had proof.Checkpoint, last int64) error {
	_, err := l.files.readCheckpoint()
	if !errors.Is(err, os.ErrNotExist) || had.Size > 0 || !l.treeIsEmpty() {
		return nil
	}
	r := &repairing{opts: l.opts}
	right := true
	err = c.read(ctx, max(1, last-farBack+1), last, func(_ int64, _ string, record []byte) error {
		if signedBy(l.opts.Origin, record) {
			right = false
			for _, v := range l.opts.verifiers() {
				right = right || r.ownRecord(record, v)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if !right {
		return fmt.Errorf("the NATS cluster at %s has records of %s under another key than the one in %s: copy the folder keys from the "+
			"last writer", c.where, l.opts.Origin, filepath.Join(l.opts.Dir, "keys"))
	}
	l.build.tree = nil
	_, err = l.firstCheckpoint()
	return err
}

// putBack sends records that this folder has and the stream has not, with the numbers they had. The servers had them only
// in memory when they all stopped; or the stream is new, and is to have them all.
func (l *Ledger) putBack(ctx context.Context, c *clustered, info *server.StreamInfo, kept map[int64][]byte) ([]Problem, error) {
	own := max(l.signed.Size, c.journal.last)
	there := int64(info.State.LastSeq)
	record := func(seq int64) ([]byte, error) {
		if seq > l.signed.Size {
			return kept[seq], nil
		}
		records, err := l.files.entriesWithin((seq-1)/proof.TileWidth, l.signed.Size)
		if err != nil {
			return nil, err
		}
		return records[(seq-1)%proof.TileWidth], nil
	}
	for seq := l.signed.Size + 1; seq <= min(own, there); seq++ {
		if problem, err := c.differs(seq, kept[seq]); problem != nil || err != nil {
			return problem, err
		}
	}
	if own <= there {
		return nil, nil
	}
	if !l.opts.Cluster.Fill && (there == 0 || !InCluster(l.opts.Dir)) {
		return nil, fmt.Errorf("the stream %s in the NATS cluster at %s holds %d records, and this folder %d: see that it is the right "+
			"cluster. To have the folder's records put there, start once with --nats-fill", c.name, c.where, there, own)
	}
	if there > 0 && there <= l.signed.Size {
		last, err := record(there)
		if err != nil {
			return nil, err
		}
		if problem, err := c.differs(there, last); problem != nil || err != nil {
			return problem, err
		}
	}
	l.log.Warn("putting records back into the stream", "from", there+1, "to", own)
	if err := l.sendBack(ctx, c, there, own, record); err != nil {
		return nil, err
	}
	info.State.LastSeq = uint64(own)
	info.State.FirstSeq = 1
	return nil, nil
}

// differs says so if the stream has another record at a number.
func (c *clustered) differs(seq int64, record []byte) ([]Problem, error) {
	there, err := c.get(seq)
	if err != nil && !errors.Is(err, errNoRecord) {
		return nil, err
	}
	if record == nil || bytes.Equal(there, record) {
		return nil, nil
	}
	return []Problem{{Seq: seq, What: "the stream in the cluster holds another record here than was acknowledged from this folder: " +
		"it is another ledger's, or went on without what this folder has"}}, nil
}

// sendBack sends records behind one number up to another.
func (l *Ledger) sendBack(
	ctx context.Context, c *clustered, last, own int64, record func(seq int64) ([]byte, error),
) error {
	const atOnce = proof.TileWidth
	for last < own {
		if err := ctx.Err(); err != nil {
			return err
		}
		r := &round{}
		for seq := last + 1; seq <= own && len(r.msgs) < atOnce; seq++ {
			one, err := record(seq)
			if err != nil {
				return err
			}
			if one == nil {
				return fmt.Errorf("neither the cluster nor this folder has record %d", seq)
			}
			subject, err := subjectBy(l.opts.Cluster.Route, one)
			if err != nil {
				return fmt.Errorf("record %d: %w", seq, err)
			}
			r.msgs = append(r.msgs, outgoing{subject: subject, expect: -1, record: one})
		}
		end, err := c.settle(r, last)
		if err != nil {
			return fmt.Errorf("cannot put record %d back: %w", last+1, err)
		}
		last = end
	}
	return nil
}

// catchUpAlone takes in what a folder is far behind of, while nobody writes. What is left is what a start takes in.
func (l *Ledger) catchUpAlone(ctx context.Context, c *clustered, last int64) error {
	if last-l.signed.Size <= maxChunk || l.opts.Next != nil {
		return nil
	}
	lastAt := l.lastAt
	complete, err := l.takeIn(ctx, c.read, last, func(seq int64, record []byte) error {
		_, at, _, err := proof.SplitArrival(l.opts.Origin, record)
		switch {
		case err != nil:
			return fmt.Errorf("record %d in the stream is not whole: %w", seq, err)
		case at.Before(lastAt):
			return fmt.Errorf("record %d in the stream arrived before the one in front of it", seq)
		case l.opts.keyLost(record):
			return fmt.Errorf("record %d hands the ledger on to another key: copy the folder keys from the last writer", seq)
		}
		lastAt = at
		return nil
	}, nil)
	if err != nil {
		return err
	}
	cp := proof.Checkpoint{Origin: l.opts.Origin, Size: last, Root: l.build.tree.Root()}
	note, err := proof.SignCheckpoint(cp, l.Signer())
	if err != nil {
		return err
	}
	return l.adopt(cp, note, complete)
}

// signedBy reports whether a record names a signature of that name.
func signedBy(name string, record []byte) bool {
	return bytes.Contains(record, []byte("\n— "+name+" "))
}
