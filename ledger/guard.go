package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// streamDir is where the embedded server keeps the stream.
func streamDir(dir string) string {
	return filepath.Join(dir, "stream", "jetstream", "$G", "streams", streamName)
}

// start loads the ledger and lets it take records.
func (l *Ledger) start(ctx context.Context) error {
	var full error
	if !l.opts.Reading {
		full = l.room()
	}
	switch {
	case l.opts.Copy != nil:
		return l.loadCopy()
	case l.opts.Reading:
		l.failed = errReading
		return l.loadFiles(ctx)
	case IsNoRoom(full) && l.opts.Cluster != nil:
		return full
	case IsNoRoom(full):
		l.failed = full
		if err := l.loadFiles(ctx); err != nil {
			return err
		}
	default: // whatever else is wrong with the folder shows when it is written in
		if err := l.load(ctx); IsNoRoom(err) && l.opts.Cluster == nil {
			if err := l.loadWithoutRoom(ctx, err); err != nil {
				return err
			}
		} else if err != nil {
			return err
		}
	}
	if len(l.damage) > 0 {
		return nil
	}
	l.build.audited = l.signed.Size
	l.wg.Add(2)
	go l.commitLoop()
	go l.buildLoop()
	return nil
}

// loadWithoutRoom reads the files after a start that found too little room, such as for the copy of the stream's end.
func (l *Ledger) loadWithoutRoom(ctx context.Context, full error) error {
	if err := l.closeStream(); err != nil {
		return err
	}
	l.failed = &noRoomError{full}
	l.size, l.tail, l.tailSize, l.damage, l.loss = 0, nil, 0, nil, nil
	l.build.tree, l.build.partial = nil, nil
	return l.loadFiles(ctx)
}

// errReading refuses to write in a folder that was opened for questions.
var errReading = errors.New("the folder was opened for questions only, since nothing can be written in it")

// errJumped keeps the server from what it can't load.
var errJumped = errors.New("the stream is damaged; listbound repair makes it anew of the records that are whole")

// load brings up stream and tree and compares them before anything can be appended.
func (l *Ledger) load(ctx context.Context) error {
	note, err := l.files.readCheckpoint()
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("cannot read the checkpoint: %w", err)
	}
	memory, had, err := l.recall()
	if err != nil {
		return err
	}
	if memory != nil {
		l.remember(memory) // the clean marker, which may have it, is taken away
	}
	if l.opts.Cluster != nil {
		return l.loadCluster(ctx, memory, had)
	}
	jumped, err := l.lookAtBlocks()
	if err != nil {
		return err
	}
	if len(jumped) > 0 {
		l.failed = errJumped
		return l.loadFiles(ctx, jumped...)
	}
	begins := note == nil && (had.Size == 0 || l.opts.AcceptLoss)
	info, copied, err := l.startStream(begins)
	if err != nil {
		return err
	}
	l.noStream = info == nil
	if begins && info != nil && info.State.LastSeq == 0 && l.treeIsEmpty() {
		// A new ledger, or one whose first start was cut short before its first checkpoint.
		l.build.tree = &proof.Tree{}
		if note, err = l.firstCheckpoint(); err != nil {
			return err
		}
	}
	problems, err := l.guard(ctx, note, info)
	if err != nil {
		return err
	}
	cut, err := l.compareCopy(copied)
	if err != nil {
		return err
	}
	if err := l.settle(append(problems, cut...), memory, had); err != nil || len(l.damage) > 0 {
		return err
	}
	return errors.Join(l.dropPartials(), boundCopies(l.opts.Dir, beforePrefix, keptCopies, keptBytes))
}

// loadFiles reads stream and tree as they lie in the folder. Nothing is written, and nothing may be built upon what
// is read behind the checkpoint: it need not be on disk. known is what is known to be damaged.
func (l *Ledger) loadFiles(ctx context.Context, known ...Problem) error {
	l.unsynced = true
	note, err := l.files.readCheckpoint()
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("cannot read the checkpoint: %w", err)
	}
	memory, had, err := l.recall()
	if err != nil {
		return err
	}
	var info *server.StreamInfo
	if _, err := os.Stat(streamDir(l.opts.Dir)); err == nil {
		first, last, err := lastInBlocks(l.opts.Dir)
		if err != nil {
			return err
		}
		info = &server.StreamInfo{Config: streamConfig()}
		info.State.FirstSeq, info.State.LastSeq = uint64(first), uint64(last)
	}
	if note == nil && info == nil && memory == nil {
		if l.opts.Reading {
			return errors.New("the folder holds no records yet")
		}
		return fmt.Errorf("cannot begin a ledger here: %w", l.failed)
	}
	l.noStream = info == nil
	problems, err := l.guard(ctx, note, info)
	if err != nil {
		return err
	}
	return l.settle(append(known, problems...), memory, had)
}

// settle decides whether the ledger takes records.
func (l *Ledger) settle(problems []Problem, memory []byte, had proof.Checkpoint) error {
	if l.damage = problems; len(l.damage) == 0 {
		if err := l.compareMemory(memory, had); err != nil {
			return err
		}
		if l.loss != nil && !l.opts.AcceptLoss {
			l.damage = []Problem{l.loss.problem()}
		}
	}
	if len(l.damage) > 0 {
		for _, p := range l.damage {
			l.log.Error("the ledger is damaged and read-only", "seq", p.Seq, "what", p.What)
		}
		// What is unsigned cannot be told from what is damaged.
		l.size, l.tail, l.tailSize = l.signed.Size, nil, 0
	}
	return nil
}

// startStream starts the server and makes durable what was in its files. A stream is created only if unsigned, because
// one that is missing although records of it are signed must not be replaced by an empty one; info is nil then. copied
// is the folder with the copy of the stream's end, "" if none was made.
func (l *Ledger) startStream(unsigned bool) (info *server.StreamInfo, copied string, err error) {
	_, err = os.Stat(streamDir(l.opts.Dir))
	hasStream := err == nil
	copied, clean, err := l.takeCleanMarker(hasStream)
	if err != nil {
		return nil, "", err
	}
	msgs := filepath.Join(streamDir(l.opts.Dir), "msgs")
	if hasStream {
		if err := errors.Join(removeHalfPacked(msgs), unpackLast(msgs)); err != nil {
			return nil, "", fmt.Errorf("cannot look at the stream's blocks: %w", cause(err))
		}
		if !clean && l.allLooked != nil {
			if err := l.allLooked.writeIndex(msgs); err != nil {
				return nil, "", fmt.Errorf("cannot make the stream's index: %w", cause(err))
			}
		}
	}
	o := starting{mayCreate: unsigned && !hasStream, syncAlways: l.opts.SyncAlways, packs: l.opts.packs(), log: l.log}
	emb, info, err := startServer(l.opts.Dir, o)
	if err == nil && clean && info != nil && o.changes(&info.Config) {
		emb, info, err = startChanged(l.opts.Dir, emb, o)
	}
	if err != nil {
		return nil, "", err
	}
	l.home, emb.faults = emb, l.opts.faults
	if !clean {
		// What is in the files need not be on disk: a new stream's settings, or records stored right before the end.
		// From here on they are built upon.
		err := l.opts.faults.around("sync whole stream", func() error {
			return syncTree(filepath.Join(l.opts.Dir, "stream"), (*os.File).Sync)
		})
		if err != nil {
			return nil, "", fmt.Errorf("cannot sync the stream: %w", cause(err))
		}
	}
	if emb.blocks, err = openBlocks(msgs); err != nil {
		return nil, "", fmt.Errorf("cannot look at the stream's blocks: %w", err)
	}
	emb.looker = l.newLooker()
	emb.blocks.begins = emb.looker.begins
	return info, copied, nil
}

// changes reports whether a stream of an earlier program was to be packed otherwise, or looks through more at a start.
func (o *starting) changes(has *server.StreamConfig) bool {
	return has.Compression != o.packs || o.window() != 0 && has.Duplicates != o.window()
}

// window returns for how long the server looks for messages of one id, 0 for what it does by itself, as earlier programs had it.
func (o *starting) window() time.Duration {
	if o.packs == server.NoCompression {
		return 0
	}
	return leastWindow
}

// startChanged starts the server anew on a stream of an earlier program, which it is to pack from now on. What was written
// stays as it is. The server syncs the settings only where it syncs everything, and goes by them from the next start on.
func startChanged(dir string, emb *embedded, o starting) (*embedded, *server.StreamInfo, error) {
	if err := emb.stop(); err != nil {
		return nil, nil, err
	}
	change := o
	change.syncAlways, change.change = true, true
	changed, _, err := startServer(dir, change)
	if err == nil {
		err = changed.stop()
	}
	if err != nil { // it takes more of the disk, and a start longer, no more
		o.log.Warn("the stream's settings are not changed yet; the next start tries again", "err", err)
	}
	return startServer(dir, o)
}

// packs returns how the server packs a block when the next one begins.
func (o *Options) packs() server.StoreCompression {
	if o.plainBlocks {
		return server.NoCompression
	}
	return server.S2Compression
}

// dropPartials removes the partial tiles a crash may have left beside the full ones that replaced them.
func (l *Ledger) dropPartials() error {
	for _, level := range proof.Layout(l.signed.Size) {
		// A step of the builder completes no more than this, and fewer on higher levels.
		for index := max(0, level.Full-maxChunk/proof.TileWidth-1); index < level.Full; index++ {
			names := []string{proof.TilePath(level.Level, index, proof.TileWidth)}
			if level.Level == 0 {
				names = append(names, proof.EntriesPath(index, proof.TileWidth))
			}
			for _, name := range names {
				if err := os.RemoveAll(l.files.path(proof.PartialDir(name))); err != nil {
					return fmt.Errorf("cannot remove superfluous partial tiles: %w", err)
				}
			}
		}
	}
	return nil
}

func (l *Ledger) treeIsEmpty() bool {
	_, err := os.Stat(l.files.path("tile"))
	return errors.Is(err, os.ErrNotExist)
}

func (l *Ledger) firstCheckpoint() ([]byte, error) {
	if err := os.MkdirAll(l.files.root, 0o700); err != nil {
		return nil, err
	}
	if err := disk.SyncFolder(l.opts.Dir); err != nil {
		return nil, err
	}
	note, err := proof.SignCheckpoint(proof.Checkpoint{Origin: l.opts.Origin, Root: proof.EmptyRoot}, l.opts.Signer)
	if err != nil {
		return nil, err
	}
	return note, l.files.replaceCheckpoint(note)
}

// guard compares the stream with the signed tree. The problems it returns make the ledger read-only; an error means
// that it could not look.
func (l *Ledger) guard(ctx context.Context, note []byte, info *server.StreamInfo) ([]Problem, error) {
	if note == nil {
		what := "there are records, but log/checkpoint is missing; put back the newest copy of it"
		switch _, had, err := l.recall(); {
		case err != nil:
			return nil, err
		case had.Size > 0 && info == nil:
			what = fmt.Sprintf("stream/ and log/ are gone; this folder has had %d records", had.Size)
			l.loss = &Loss{Had: had.Size, Root: had.Root, what: what}
		case had.Size > 0:
			what = "there are records, but log/checkpoint is missing; a repair puts back the copy that this folder keeps"
		}
		return []Problem{{What: what}}, nil
	}
	c, handed, err := l.opts.openNewest(note)
	if err != nil {
		return []Problem{{What: fmt.Sprintf("log/checkpoint: %v", err)}}, nil
	}
	l.signed, l.note, l.size, l.handed = c, note, c.Size, handed
	var problems []Problem
	last := int64(0)
	if info == nil {
		problems = append(problems,
			Problem{Seq: 1, What: fmt.Sprintf("the stream is gone; the checkpoint covers %d records", c.Size)})
	} else {
		problems = append(problems, checkStreamConfig(info.Config)...)
		problems = append(problems, l.checkState(info.State)...)
		last = int64(info.State.LastSeq)
	}
	leaves, treeProblems := l.loadTree(c)
	problems = append(problems, treeProblems...)
	if info == nil || len(treeProblems) > 0 {
		return problems, nil
	}
	tail, err := l.checkTail(ctx, c, leaves, last)
	if err != nil {
		return nil, err
	}
	return append(problems, tail...), nil
}

// checkState looks at what the stream reports about itself. That can be wrong after damage, so it only adds to what is
// found by reading.
func (l *Ledger) checkState(state server.StreamState) []Problem {
	var problems []Problem
	if state.FirstSeq > 1 {
		problems = append(problems,
			Problem{Seq: 1, What: fmt.Sprintf("the stream begins at record %d", state.FirstSeq)})
	}
	if last := int64(state.LastSeq); last < l.signed.Size {
		what := fmt.Sprintf("the stream ends at record %d, but the checkpoint covers %d", last, l.signed.Size)
		problems = append(problems, Problem{Seq: last + 1, What: what})
	}
	if state.NumDeleted > 0 {
		seqs, err := l.home.deleted()
		if err != nil || len(seqs) == 0 {
			what := fmt.Sprintf("the stream lacks %d records in its middle", state.NumDeleted)
			problems = append(problems, Problem{What: what})
		}
		for _, r := range ranges(seqs) {
			problems = append(problems, Problem{Seq: r[0], What: "the stream lacks " + rangeText(r)})
		}
	}
	return problems
}

// ranges joins sorted sequences into runs [first, last].
func ranges(seqs []int64) [][2]int64 {
	slices.Sort(seqs)
	var out [][2]int64
	for _, s := range seqs {
		if n := len(out); n > 0 && out[n-1][1]+1 == s {
			out[n-1][1] = s
			continue
		}
		out = append(out, [2]int64{s, s})
	}
	return out
}

func rangeText(r [2]int64) string {
	if r[0] == r[1] {
		return "this record"
	}
	return fmt.Sprintf("records %d to %d", r[0], r[1])
}

// tailStart returns the index of the first leaf in the tile that holds the last of size leaves.
func tailStart(size int64) int64 {
	return max(size-1, 0) / proof.TileWidth * proof.TileWidth
}

// loadTree restores the builder's state and returns the leaf hashes of the last tile, authenticated against the signed
// root.
func (l *Ledger) loadTree(c proof.Checkpoint) ([]tlog.Hash, []Problem) {
	start := tailStart(c.Size)
	problem := func(format string, args ...any) []Problem {
		return []Problem{{Seq: start + 1, What: fmt.Sprintf(format, args...)}}
	}
	tree, err := proof.LoadTree(c.Size, l.files.tileWithin)
	if err != nil {
		return nil, problem("the tree cannot be read: %v", err)
	}
	if root := tree.Root(); root != c.Root {
		return nil, problem("the tiles lead to the root %s, the checkpoint says %s", root, c.Root)
	}
	l.build.tree = tree
	if c.Size == 0 {
		return nil, nil
	}
	var indexes []int64
	for i := start; i < c.Size; i++ {
		indexes = append(indexes, tlog.StoredHashIndex(0, i))
	}
	leaves, err := l.hashReader(c).ReadHashes(indexes)
	if err != nil {
		return nil, problem("the tiles do not lead to the signed root: %v", err)
	}
	return leaves, nil
}

// checkTail reads the stream from the last tile boundary to its end and fills the ledger's tail. Signed records must
// have the hash in the tree and be the same in the entry bundle; unsigned ones must be whole and follow each other.
func (l *Ledger) checkTail(ctx context.Context, c proof.Checkpoint, leaves []tlog.Hash, last int64) ([]Problem, error) {
	var problems []Problem
	add := func(seq int64, format string, args ...any) {
		problems = append(problems, Problem{Seq: seq, What: fmt.Sprintf(format, args...)})
	}
	start := tailStart(c.Size)
	var bundle [][]byte
	if c.Size > 0 {
		var err error
		if bundle, err = l.files.entriesWithin(start/proof.TileWidth, c.Size); err != nil {
			add(start+1, "%v", err)
		}
	}
	for i, record := range bundle {
		if proof.LeafHash(record) != leaves[i] {
			add(start+int64(i)+1, "the record in the entry bundle does not have the hash in the tree")
		}
	}
	next := start + 1
	missing := func(to int64) {
		if next <= to {
			add(next, "the stream lacks %s", rangeText([2]int64{next, to}))
		}
	}
	err := l.readStream(ctx, next, last, func(seq int64, _ string, record []byte) error {
		missing(seq - 1)
		next = seq + 1
		_, at, _, err := proof.SplitArrival(l.opts.Origin, record)
		if seq <= c.Size {
			if proof.LeafHash(record) != leaves[seq-start-1] {
				add(seq, "the record in the stream does not have the hash in the tree")
			}
		} else {
			if err != nil {
				add(seq, "the record in the stream is not whole: %v", err)
			} else if at.Before(l.lastAt) {
				add(seq, "the record in the stream arrived before the one in front of it")
			} else if l.opts.keyLost(record) {
				add(seq, "the record hands the ledger on to another key, whose file is not in the folder: put it back, as it was beside "+
					"the old one (.next)")
			}
			l.tail = append(l.tail, slices.Clone(record))
			l.tailSize += int64(len(record))
			l.size = seq
		}
		if err == nil && at.After(l.lastAt) {
			l.lastAt = at
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	missing(last)
	l.build.partial = nil
	if c.Size%proof.TileWidth != 0 {
		l.build.partial = bundle
	}
	return problems, nil
}
