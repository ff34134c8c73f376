package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// Route returns the station and the kind of a record. The ledger knows no kinds, so whoever does tells it where a
// record belongs.
type Route func(record []byte) (station, kind string, err error)

// RepairOptions configure a repair.
type RepairOptions struct {
	// Route is required: the entry bundles hold records, not subjects.
	Route Route
	// Replaces returns the keys that a record names where it hands the ledger on to another one; nil: no record does.
	Replaces func(record []byte) (former, key note.Verifier, ok bool)
	// Progress is called now and then with the number of records in the new stream.
	Progress func(done, total int64)
}

// RepairReport describes what a repair has done.
type RepairReport struct {
	// Signed is how many records were rebuilt from the entry bundles.
	Signed int64
	// Tail is how many records behind the checkpoint survived, in the damaged stream or in a copy made before its
	// recovery.
	Tail int64
	// Aside is the folder that keeps the damaged stream and the copies made before its recovery.
	Aside string

	Tiles   int // tiles that were written again
	Bundles int // entry bundles that were written again, with records from the damaged stream
}

const repairDir = "repair.tmp"

// Repair rebuilds the stream of a closed ledger from its entry bundles, if they lead to the signed root, and appends
// what survived of the records behind the checkpoint. A bundle that was lost or changed is made again from the stream:
// the signed root shows that the records are the right ones, wherever they come from. The damaged stream is kept. Open
// and Verify tell whether all is well afterwards.
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
	if err := refuseInCluster(opts.Dir); err != nil {
		return report, err
	}
	owner, err := takeOwnership(opts.Dir, Owner{PID: os.Getpid(), Command: opts.Command, Since: opts.Clock().UTC()})
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, owner.release()) }()

	r := &repairing{
		opts:   opts,
		repair: repair,
		files:  logFiles{root: filepath.Join(opts.Dir, "log"), faults: opts.faults},
		tmp:    filepath.Join(opts.Dir, repairDir),
	}
	if err := os.RemoveAll(r.tmp); err != nil {
		return report, err
	}
	aside, err := r.run(ctx)
	if err != nil {
		return report, fmt.Errorf("not repaired: %w", err)
	}
	return RepairReport{
		Signed:  r.signed.Size,
		Tail:    int64(len(r.tail)),
		Aside:   aside,
		Tiles:   len(r.badTiles),
		Bundles: len(r.badBundles),
	}, os.RemoveAll(r.tmp)
}

// run does the work and returns the folder that keeps the damaged stream.
func (r *repairing) run(ctx context.Context) (aside string, err error) {
	if err := r.checkBundles(ctx); err != nil {
		return "", err
	}
	if err := r.readTail(ctx); err != nil {
		return "", err
	}
	// Crash here or anywhere before swap: the damaged ledger is as it was, with a folder of half a new stream that the
	// next repair removes.
	if err := r.readCopies(); err != nil {
		return "", err
	}
	if err := r.rebuild(ctx); err != nil {
		return "", err
	}
	if err := r.files.writeBundles(slices.Concat(r.badTiles, r.badBundles)); err != nil {
		return "", err
	}
	if r.checkpoint != nil {
		if err := r.files.replaceCheckpoint(r.checkpoint); err != nil {
			return "", err
		}
	}
	return r.swap()
}

type repairing struct {
	opts   Options
	repair RepairOptions
	files  logFiles
	tmp    string
	signed proof.Checkpoint
	// checkpoint is the copy of signed that takes the place of a lost one, nil where that is there.
	checkpoint []byte
	lastAt     time.Time
	tail       [][]byte

	restored             map[int64][][]byte // records of the bundles that were lost or changed, by index
	badTiles, badBundles []outFile
}

// takeMemory takes the folder's own copy of a checkpoint that is missing or damaged. It is put in its place when all
// that it covers has been found. Without one it returns the error given.
func (r *repairing) takeMemory(otherwise error) error {
	for _, name := range []string{memoryName, cleanMarkerName} {
		msg, err := os.ReadFile(filepath.Join(r.opts.Dir, name))
		if err != nil {
			continue
		}
		c, _, err := r.opts.openNewest(msg)
		if err == nil && (r.checkpoint == nil || c.Size > r.signed.Size) {
			r.signed, r.checkpoint = c, msg
		}
	}
	if r.checkpoint == nil {
		return otherwise
	}
	return nil
}

// checkBundles reads every signed record from the entry bundles, or from the stream where these are damaged, and
// computes the root.
func (r *repairing) checkBundles(ctx context.Context) error {
	msg, err := r.files.readCheckpoint()
	if err == nil {
		if r.signed, _, err = r.opts.openNewest(msg); err != nil {
			err = fmt.Errorf("log/checkpoint: %w; put back the newest copy of it, then repair", err)
		}
	} else {
		err = fmt.Errorf("log/checkpoint cannot be read: %w; put back the newest copy of it, then repair", cause(err))
	}
	if err != nil {
		if err := r.takeMemory(err); err != nil {
			if err := r.signAnew(ctx, msg, err); err != nil {
				return err
			}
		}
	}
	if err := r.restoreBundles(ctx); err != nil {
		return err
	}
	tree := &proof.Tree{}
	tile := func(level int, index int64, hashes []tlog.Hash) {
		onDisk, err := r.files.readTile(level, index, len(hashes))
		if err != nil || !slices.Equal(onDisk, hashes) {
			r.badTiles = append(r.badTiles,
				outFile{proof.TilePath(level, index, len(hashes)), proof.EncodeTile(hashes)})
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
		return fmt.Errorf("the entry bundles do not lead to the signed root, "+
			"so at least one of their records was changed, "+
			"and the stream does not have it either: they give %s, the checkpoint says %s; "+
			"put back the bundles that verification names from a copy, then repair", root, r.signed.Root)
	}
	return nil
}

// eachSigned calls fn for every signed record.
func (r *repairing) eachSigned(ctx context.Context, fn func(seq int64, record []byte) error) error {
	for first := int64(1); first <= r.signed.Size; first += proof.TileWidth {
		if err := ctx.Err(); err != nil {
			return err
		}
		index := (first - 1) / proof.TileWidth
		records := r.restored[index]
		if records == nil {
			var err error
			if records, err = r.files.readEntries(index, r.signed.Size); err != nil {
				return err
			}
		}
		for i, record := range records {
			if err := fn(first+int64(i), record); err != nil {
				return err
			}
		}
	}
	return nil
}

// damagedBundle is an entry bundle that cannot be read or does not have the hashes of its tile.
type damagedBundle struct {
	records [][]byte    // as they are on disk; nil, or nil among them, where they cannot be read
	beside  [][]byte    // of a plain file beside the packed one, as somebody may have put it back from a copy; nil without it
	unread  error       // why the file can't be read, whatever could be read of it
	leaves  []tlog.Hash // from the tile, nil if that cannot be read
}

// restoreBundles looks in the stream for the records of damaged bundles, and in what was put back beside them. Whether it found
// the right ones the signed root tells afterwards.
func (r *repairing) restoreBundles(ctx context.Context) error {
	bad, err := r.damagedBundles(ctx)
	if err != nil || len(bad) == 0 {
		return err
	}
	inStream := map[int64][]byte{}
	err = r.eachStored(ctx, func(seq int64, record []byte) {
		if bad[(seq-1)/proof.TileWidth] != nil && seq <= r.signed.Size {
			inStream[seq] = bytes.Clone(record)
		}
	})
	if err != nil {
		return err
	}
	r.restored = map[int64][][]byte{}
	for _, index := range slices.Sorted(maps.Keys(bad)) {
		b := bad[index]
		records := b.restore(index, bundleWidth(index, r.signed.Size), inStream)
		if records == nil && b.unread != nil {
			return fmt.Errorf("%w; the stream does not have all of its records either; put this bundle back from a copy, packed (.zst) "+
				"or not, as the copy has it, then repair", b.unread)
		}
		if records == nil || b.unread == nil && slices.EqualFunc(records, b.records, bytes.Equal) {
			continue // the bundle stays as it is: what is wrong with it will be said, or the tile was wrong
		}
		file, err := bundleFile(index, records)
		if err != nil {
			return err
		}
		r.restored[index] = records
		r.badBundles = append(r.badBundles, file)
	}
	return nil
}

// damagedBundles returns the damaged bundles by index.
func (r *repairing) damagedBundles(ctx context.Context) (map[int64]*damagedBundle, error) {
	bad := map[int64]*damagedBundle{}
	for index := int64(0); index*proof.TileWidth < r.signed.Size; index++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var b damagedBundle
		var err error
		if b.leaves, err = r.files.readTile(0, index, bundleWidth(index, r.signed.Size)); err != nil {
			b.leaves = nil // a tile can be made again, but then it cannot judge either
		}
		b.records, b.unread = r.files.readEntries(index, r.signed.Size)
		if b.unread == nil && (b.leaves == nil || haveHashes(b.records, b.leaves)) {
			continue
		}
		if bundleWidth(index, r.signed.Size) == proof.TileWidth {
			b.beside, _ = r.files.readPlain(proof.EntriesPath(index, proof.TileWidth), proof.TileWidth) // mostly there is none
		}
		bad[index] = &b
	}
	return bad, nil
}

// restore returns the width records of bundle index: from the bundle itself where they have the hash in the tile, else from the
// stream, else from what was put back beside it. It returns nil if one is nowhere.
func (b *damagedBundle) restore(index int64, width int, inStream map[int64][]byte) [][]byte {
	records := make([][]byte, width)
	for i := range records {
		stored := inStream[index*proof.TileWidth+int64(i)+1]
		switch {
		case b.records != nil && b.fits(b.records[i], i):
			records[i] = b.records[i]
		case b.fits(stored, i):
			records[i] = stored
		case b.beside != nil && b.fits(b.beside[i], i):
			records[i] = b.beside[i]
		case stored != nil: // the tile may be what is wrong
			records[i] = stored
		default:
			return nil
		}
	}
	return records
}

// fits reports whether a record is there and has the hash in the tile, if that can be read.
func (b *damagedBundle) fits(record []byte, i int) bool {
	return record != nil && (b.leaves == nil || proof.LeafHash(record) == b.leaves[i])
}

// eachStored calls fn for every record in the blocks of the damaged stream whose checksum is right. It reads them
// itself, because the server would change them.
func (r *repairing) eachStored(ctx context.Context, fn func(seq int64, record []byte)) error {
	from, err := r.damagedStream()
	if err != nil || from == "" {
		return err
	}
	msgs := filepath.Join(from, "msgs")
	blocks, err := blockNumbers(msgs)
	if err != nil {
		return err
	}
	for _, n := range blocks {
		if err := ctx.Err(); err != nil {
			return err
		}
		data, err := readBlock(msgs, n)
		if err != nil {
			return err
		}
		blockRecords(data, n, func(seq int64, _ string, record []byte) { fn(seq, record) })
	}
	return nil
}

// eachInCopy calls fn for the records in the copy of the stream's end from a sequence on, as the server reads it, or as
// they lie in the blocks where those are damaged so that it can't.
func (r *repairing) eachInCopy(ctx context.Context, from int64, fn func(seq int64, subject string, record []byte) error) error {
	jumped, _, err := jumps(filepath.Join(streamDir(r.tmp), "msgs"), nil)
	if err != nil {
		return err
	}
	if len(jumped) > 0 {
		return readBlocks(ctx, r.tmp, from, math.MaxInt64, fn)
	}
	emb, info, err := startServer(r.tmp, starting{log: r.opts.Logger})
	if err != nil {
		return err
	}
	defer emb.stop() //nolint:errcheck // a copy that was only read
	if info == nil {
		return nil
	}
	return emb.read(ctx, from, int64(info.State.LastSeq), fn)
}

// damagedStream returns the folder of the stream that is to be replaced, "" if there is none.
func (r *repairing) damagedStream() (string, error) {
	source := filepath.Join(r.opts.Dir, "stream")
	if _, err := os.Stat(source); errors.Is(err, os.ErrNotExist) {
		// An earlier repair was cut short between its two renames, or the stream is gone.
		if source = r.newestAside(); source == "" {
			return "", nil
		}
	}
	relative, err := filepath.Rel(filepath.Join(r.opts.Dir, "stream"), streamDir(r.opts.Dir))
	return filepath.Join(source, relative), err
}

// tailBlocks is how many blocks of the stream are searched for unsigned records: more than maxTail can fill.
const tailBlocks = maxTail>>23 + 4

// readTail reads what survived behind the checkpoint. The server changes the blocks it reads, so it gets a copy.
func (r *repairing) readTail(ctx context.Context) error {
	from, err := r.damagedStream()
	if err != nil || from == "" {
		return err
	}
	to := streamDir(r.tmp)
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
	next := r.signed.Size + 1
	endOfTail := errors.New("the tail ends here")
	take := func(seq int64, _ string, record []byte) error {
		_, at, _, err := proof.SplitArrival(r.opts.Origin, record)
		if seq != next || err != nil || at.Before(r.lastAt) {
			return endOfTail
		}
		r.tail, r.lastAt, next = append(r.tail, bytes.Clone(record)), at, next+1
		return nil
	}
	err = r.eachInCopy(ctx, next, take)
	if err != nil && !errors.Is(err, endOfTail) {
		return err
	}
	return nil
}

// readCopies continues with the records that the server cut off after an unclean stop, from the copies made before.
func (r *repairing) readCopies() error {
	later := map[int64][]byte{}
	numbers, err := numbered(r.opts.Dir, beforePrefix)
	if err != nil {
		return err
	}
	for _, n := range numbers {
		dir := filepath.Join(r.opts.Dir, beforePrefix+strconv.Itoa(n))
		blocks, err := blockNumbers(dir)
		if err != nil {
			return err
		}
		for _, block := range blocks {
			data, err := readBlock(dir, block)
			if err != nil {
				return err
			}
			blockRecords(data, block, func(seq int64, _ string, record []byte) { later[seq] = record })
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
	emb, _, err := startServer(r.tmp, starting{mayCreate: true, packs: r.opts.packs(), log: r.opts.Logger})
	if err != nil {
		return err
	}
	stop := sync.OnceValue(emb.stop)
	defer stop() //nolint:errcheck // looked at where all went well
	total := r.signed.Size + int64(len(r.tail))
	var batch []outgoing
	size, done := 0, int64(0)
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		if err := emb.publish(&round{msgs: batch}, done); err != nil {
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
		subject, err := r.subject(record)
		if err != nil {
			return fmt.Errorf("record %d: %w", seq, err)
		}
		batch = append(batch, outgoing{subject: subject, expect: -1, record: record})
		if size += len(record); len(batch) == MaxBatch || size >= maxRoundBytes/2 {
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
	if err := stop(); err != nil {
		return err
	}
	return r.opts.faults.around("sync whole stream", func() error {
		return syncTree(filepath.Join(r.tmp, "stream"), (*os.File).Sync)
	})
}

// subject returns the subject under which a record belongs in the stream.
func (r *repairing) subject(record []byte) (string, error) {
	return subjectBy(r.repair.Route, record)
}

func subjectBy(route Route, record []byte) (string, error) {
	station, kind, err := route(record)
	if err != nil {
		return "", err
	}
	site, name, ok := strings.Cut(station, "/")
	if !ok || !validToken(site) || !validToken(name) || !validKind(kind) {
		return "", fmt.Errorf("station %q and kind %q are no subject", station, kind)
	}
	return subjectOf(station, kind), nil
}

// swap puts the new stream in the place of the damaged one.
func (r *repairing) swap() (aside string, err error) {
	if aside, err = nextNumbered(r.opts.Dir, asidePrefix); err != nil {
		return "", err
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
	// The copies from before a recovery belong to the damaged stream. The new one gives their numbers out again, and a
	// later repair must not take the old records for the new.
	copies, err := disk.Glob(r.opts.Dir, beforePrefix+"*")
	if err != nil {
		return "", err
	}
	for _, dir := range copies {
		if err := os.Rename(dir, filepath.Join(aside, filepath.Base(dir))); err != nil {
			return "", err
		}
	}
	if err := disk.SyncFolder(r.opts.Dir); err != nil {
		return "", err
	}
	note, err := r.files.readCheckpoint()
	if err != nil {
		return "", err
	}
	err = replaceFile(r.opts.faults, "clean marker", filepath.Join(r.opts.Dir, cleanMarkerName), note)
	return aside, errors.Join(err, boundCopies(r.opts.Dir, asidePrefix, keptCopies, keptBytes))
}

const asidePrefix = "damaged-stream-"

// newestAside returns the newest folder with a stream that an earlier repair has put aside, "" if there is none.
func (r *repairing) newestAside() string {
	numbers, err := numbered(r.opts.Dir, asidePrefix)
	if err != nil {
		return ""
	}
	for _, n := range slices.Backward(numbers) {
		dir := filepath.Join(r.opts.Dir, asidePrefix+strconv.Itoa(n))
		if _, err := os.Stat(filepath.Join(dir, "jetstream")); err == nil {
			return dir
		}
	}
	return ""
}
