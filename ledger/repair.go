package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// Route returns the station and the kind a record is of. The ledger knows no kinds; whoever does says where a record belongs.
type Route func(record []byte) (station, kind string, err error)

// RepairOptions say how to rebuild a stream.
type RepairOptions struct {
	// Route returns the station and the kind of a record. The entry bundles hold records, not subjects.
	Route Route
	// Progress is told now and then how many records are in the new stream.
	Progress func(done, total int64)
}

// RepairReport says what was done.
type RepairReport struct {
	Signed int64  // records rebuilt from the entry bundles
	Tail   int64  // records behind the checkpoint that survived in the damaged stream or in a copy made before its recovery
	Aside  string // folder that keeps the damaged stream and the copies made before its recovery
	Tiles  int    // tiles that were written again
}

const repairDir = "repair.tmp"

// Repair rebuilds the stream of a closed ledger from its entry bundles, if they lead to the signed root, and puts what survived of the
// records behind the checkpoint after them. The damaged stream is kept. Open and Verify tell whether all is well afterwards.
func Repair(ctx context.Context, opts Options, repair RepairOptions) (report RepairReport, err error) {
	if err := opts.check(); err != nil {
		return report, err
	}
	if repair.Route == nil {
		return report, errors.New("a repair needs to know each record's station and kind")
	}
	if _, err := os.Stat(opts.Dir); err != nil {
		return report, err
	}
	owner, err := takeOwnership(opts.Dir, Owner{PID: os.Getpid(), Command: opts.Command, Since: opts.Clock().UTC()})
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, owner.release()) }()

	r := &repairing{opts: opts, repair: repair, files: logFiles{root: filepath.Join(opts.Dir, "log"), faults: opts.faults}, tmp: filepath.Join(opts.Dir, repairDir)}
	if err := os.RemoveAll(r.tmp); err != nil {
		return report, err
	}
	if err := r.checkBundles(ctx); err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	if err := r.readTail(ctx); err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	// Crash here or anywhere before swap: the damaged ledger is as it was, with a folder of half a new stream that the next repair removes.
	if err := r.readKept(); err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	if err := r.rebuild(ctx); err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	if err := r.files.writeDurably(r.badTiles); err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	aside, err := r.swap()
	if err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	return RepairReport{Signed: r.signed.Size, Tail: int64(len(r.tail)), Aside: aside, Tiles: len(r.badTiles)}, os.RemoveAll(r.tmp)
}

type repairing struct {
	opts     Options
	repair   RepairOptions
	files    logFiles
	tmp      string
	signed   proof.Checkpoint
	lastAt   time.Time
	tail     [][]byte
	badTiles []outFile
}

// checkBundles reads every signed record from the entry bundles and computes the root.
func (r *repairing) checkBundles(ctx context.Context) error {
	note, err := r.files.readCheckpoint()
	if err != nil {
		return fmt.Errorf("log/checkpoint cannot be read: %w", cause(err))
	}
	if r.signed, err = proof.OpenCheckpoint(note, r.opts.Origin, r.opts.Verifier); err != nil {
		return fmt.Errorf("log/checkpoint: %w", err)
	}
	tree := &proof.Tree{}
	tile := func(level int, index int64, hashes []tlog.Hash) {
		onDisk, err := r.files.readTile(level, index, len(hashes))
		if err != nil || !slices.Equal(onDisk, hashes) {
			r.badTiles = append(r.badTiles, outFile{proof.TilePath(level, index, len(hashes)), proof.EncodeTile(hashes)})
		}
	}
	err = r.eachSigned(ctx, func(seq int64, record []byte) error {
		_, at, _, err := proof.SplitArrival(r.opts.Origin, record)
		if err != nil {
			return fmt.Errorf("record %d in its entry bundle is not whole: %w", seq, err)
		}
		r.lastAt = at
		tree.Append(proof.LeafHash(record), tile)
		return nil
	})
	if err != nil {
		return err
	}
	tree.Partial(tile)
	if root := tree.Root(); root != r.signed.Root {
		return fmt.Errorf("the entry bundles do not lead to the signed root, so at least one of their records was changed: they give %s, the checkpoint says %s; put back the bundles that verification names from a copy, then repair", root, r.signed.Root)
	}
	return nil
}

func (r *repairing) eachSigned(ctx context.Context, fn func(seq int64, record []byte) error) error {
	for first := int64(1); first <= r.signed.Size; first += proof.TileWidth {
		if err := ctx.Err(); err != nil {
			return err
		}
		records, err := r.files.readEntries((first-1)/proof.TileWidth, r.signed.Size)
		if err != nil {
			return err
		}
		for i, record := range records {
			if err := fn(first+int64(i), record); err != nil {
				return err
			}
		}
	}
	return nil
}

// tailBlocks is how many blocks of the stream are searched for unsigned records: more than maxTail can fill.
const tailBlocks = maxTail>>23 + 4

// readTail reads what survived behind the checkpoint. The server changes the blocks it reads, so it gets a copy.
func (r *repairing) readTail(ctx context.Context) error {
	source := filepath.Join(r.opts.Dir, "stream")
	if _, err := os.Stat(source); errors.Is(err, os.ErrNotExist) {
		// A repair that was cut short between its two renames, or there is no stream any more.
		if source = r.newestAside(); source == "" {
			return nil
		}
	}
	relative, err := filepath.Rel(filepath.Join(r.opts.Dir, "stream"), streamDir(r.opts.Dir))
	if err != nil {
		return err
	}
	from, to := filepath.Join(source, relative), streamDir(r.tmp)
	blocks, err := blockNumbers(filepath.Join(from, "msgs"))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(to, "msgs"), 0o700); err != nil {
		return err
	}
	names := []string{"meta.inf", "meta.sum"}
	for _, n := range blocks[max(0, len(blocks)-tailBlocks):] {
		names = append(names, filepath.Join("msgs", blockName(n)))
	}
	for _, name := range names {
		if err := copyFile(filepath.Join(to, name), filepath.Join(from, name)); errors.Is(err, os.ErrNotExist) {
			continue
		} else if err != nil {
			return err
		}
	}
	emb, info, err := startServer(r.tmp, false, false, r.opts.Logger)
	if err != nil {
		return err
	}
	defer emb.stop()
	if info == nil {
		return nil
	}
	next := r.signed.Size + 1
	halt := errors.New("the tail ends here")
	err = emb.read(ctx, next, int64(info.State.LastSeq), func(seq int64, _ string, record []byte) error {
		_, at, _, err := proof.SplitArrival(r.opts.Origin, record)
		if seq != next || err != nil || at.Before(r.lastAt) {
			return halt
		}
		r.tail, r.lastAt, next = append(r.tail, bytes.Clone(record)), at, next+1
		return nil
	})
	if err != nil && !errors.Is(err, halt) {
		return err
	}
	return nil
}

// readKept goes on with the records that the server cut off after an unclean stop, from the copies made before.
func (r *repairing) readKept() error {
	later := map[int64][]byte{}
	for n := 1; ; n++ {
		dir := filepath.Join(r.opts.Dir, beforePrefix+strconv.Itoa(n))
		if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
			break
		}
		blocks, err := blockNumbers(dir)
		if err != nil {
			return err
		}
		for _, block := range blocks {
			data, err := os.ReadFile(filepath.Join(dir, blockName(block)))
			if err != nil {
				return err
			}
			blockRecords(data, block, func(seq int64, record []byte) { later[seq] = record })
		}
	}
	for next := r.signed.Size + int64(len(r.tail)) + 1; ; next++ {
		record, ok := later[next]
		if !ok {
			return nil
		}
		_, at, _, err := proof.SplitArrival(r.opts.Origin, record)
		if err != nil || at.Before(r.lastAt) {
			return nil
		}
		r.tail, r.lastAt = append(r.tail, bytes.Clone(record)), at
	}
}

// rebuild makes a new stream in the temporary folder.
func (r *repairing) rebuild(ctx context.Context) (err error) {
	if err := os.RemoveAll(r.tmp); err != nil {
		return err
	}
	emb, _, err := startServer(r.tmp, true, false, r.opts.Logger)
	if err != nil {
		return err
	}
	stop := sync.OnceFunc(emb.stop)
	defer stop()
	total := r.signed.Size + int64(len(r.tail))
	var batch []outgoing
	size, done := 0, int64(0)
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		if err := emb.publish([][]outgoing{batch}, done); err != nil {
			return err
		}
		done += int64(len(batch))
		batch, size = nil, 0
		if r.repair.Progress != nil {
			r.repair.Progress(done, total)
		}
		return nil
	}
	add := func(seq int64, record []byte) error {
		station, kind, err := r.repair.Route(record)
		if err == nil {
			site, name, ok := strings.Cut(station, "/")
			if !ok || !validToken(site) || !validToken(name) || !validKind(kind) {
				err = fmt.Errorf("station %q and kind %q are no subject", station, kind)
			}
		}
		if err != nil {
			return fmt.Errorf("record %d: %w", seq, err)
		}
		batch = append(batch, outgoing{subject: subjectOf(station, kind), expect: -1, record: record})
		if size += len(record); len(batch) == maxBatch || size >= maxBatchBytes/2 {
			return flush()
		}
		return nil
	}
	if err := r.eachSigned(ctx, add); err != nil {
		return err
	}
	for i, record := range r.tail {
		if err := add(r.signed.Size+int64(i)+1, record); err != nil {
			return err
		}
	}
	if err := flush(); err != nil {
		return err
	}
	stop()
	return r.opts.faults.around("sync whole stream", func() error {
		return syncTree(filepath.Join(r.tmp, "stream"), (*os.File).Sync)
	})
}

// swap puts the new stream in the place of the damaged one.
func (r *repairing) swap() (aside string, err error) {
	for n := 1; ; n++ {
		aside = filepath.Join(r.opts.Dir, asidePrefix+strconv.Itoa(n))
		if _, err := os.Lstat(aside); errors.Is(err, os.ErrNotExist) {
			break
		}
	}
	stream := filepath.Join(r.opts.Dir, "stream")
	// Crash after this: there is no stream. Open says so, and the next repair finds the damaged one by its new name.
	if err := os.Rename(stream, aside); errors.Is(err, os.ErrNotExist) {
		if err := os.Mkdir(aside, 0o700); err != nil {
			return "", err
		}
	} else if err != nil {
		return "", err
	}
	if err := os.Rename(filepath.Join(r.tmp, "stream"), stream); err != nil {
		return "", err
	}
	// The copies from before a recovery belong to the damaged stream. The new one will give their numbers out again, and a later
	// repair must not take the old records for the new.
	kept, err := filepath.Glob(filepath.Join(r.opts.Dir, beforePrefix+"*"))
	if err != nil {
		return "", err
	}
	for _, dir := range kept {
		if err := os.Rename(dir, filepath.Join(aside, filepath.Base(dir))); err != nil {
			return "", err
		}
	}
	if err := syncDir(r.opts.Dir); err != nil {
		return "", err
	}
	size := r.signed.Size + int64(len(r.tail))
	return aside, replaceFile(r.opts.faults, "clean marker", filepath.Join(r.opts.Dir, cleanMarkerName), []byte(strconv.FormatInt(size, 10)+"\n"))
}

const asidePrefix = "damaged-stream-"

func (r *repairing) newestAside() string {
	newest := ""
	for n := 1; ; n++ {
		dir := filepath.Join(r.opts.Dir, asidePrefix+strconv.Itoa(n))
		if _, err := os.Stat(dir); err != nil {
			return newest
		}
		if _, err := os.Stat(filepath.Join(dir, "jetstream")); err == nil {
			newest = dir
		}
	}
}
