package ledger

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"golang.org/x/sync/errgroup"

	"listbound/ledger/proof"
)

// Report is the outcome of a verification. No problems means that every record is there twice, byte for byte the same,
// and that all of them lead to the signed root.
type Report struct {
	Size       int64     `json:"size"`
	Root       string    `json:"root"` // in hex
	Checkpoint string    `json:"checkpoint"`
	Problems   []Problem `json:"problems"`
}

// VerifyOptions extend a verification. All may be nil.
type VerifyOptions struct {
	// Look looks at what a record says. It is called ahead, for several records at once and in no order.
	Look func(seq int64, record []byte) Look
	// Progress is called now and then with the number of records that are done.
	Progress func(done, total int64)
}

// Look is what a record says of itself.
type Look struct {
	// Station and Kind are where the record belongs. The subject of a record in the stream is not hashed, so it is compared with
	// them. A record that doesn't say has neither: that is for Check to find.
	Station, Kind string
	// Check returns what is wrong with the contents of the record. It is called in the order of the records. May be nil.
	Check func() []string
}

// Look looks where a record belongs, and at nothing else.
func (r Route) Look(_ int64, record []byte) (l Look) {
	var err error
	if l.Station, l.Kind, err = r(record); err != nil {
		return Look{}
	}
	return l
}

// Verify reads everything once: each record from the stream, its second copy from the entry bundle, its hash from the
// tile. It trusts no counter. The problems are in the order of the records they are about.
func (l *Ledger) Verify(ctx context.Context, opts VerifyOptions) (Report, error) {
	if l.stopped() {
		return Report{}, ErrClosed
	}
	damage := l.Damage()
	if len(damage) == 0 {
		// Where there is no room for a checkpoint, what is signed already is verified.
		if _, err := l.Checkpoint(ctx); err != nil && !IsNoRoom(err) {
			return Report{}, err
		}
	}
	note := l.SignedNote()
	v := &verification{l: l, opts: opts, signed: l.Signed(), tree: &proof.Tree{}, problems: damage, index: -1}
	v.looking.SetLimit(runtime.GOMAXPROCS(0))
	if err := v.run(ctx); err != nil {
		return Report{}, err
	}
	slices.SortStableFunc(v.problems, func(a, b Problem) int { return int(a.Seq - b.Seq) })
	root := v.tree.Root()
	return Report{
		Size: v.signed.Size, Root: fmt.Sprintf("%x", root[:]), Checkpoint: string(note), Problems: v.problems,
	}, nil
}

type verification struct {
	l        *Ledger
	opts     VerifyOptions
	signed   proof.Checkpoint
	tree     *proof.Tree
	problems []Problem

	next    int64    // sequence expected from the stream
	lacking [2]int64 // run of sequences that the stream lacks, not reported yet
	lastAt  time.Time

	looking errgroup.Group
	ahead   []*looked // records of the stream that are being looked at, in their order

	index  int64 // of the bundle at hand
	bundle [][]byte
	tile   []tlog.Hash
}

func (v *verification) add(seq int64, format string, args ...any) {
	p := Problem{Seq: seq, What: fmt.Sprintf(format, args...)}
	if !slices.Contains(v.problems, p) {
		v.problems = append(v.problems, p)
	}
}

func (v *verification) run(ctx context.Context) error {
	// The checkpoint as it lies on disk, not as this process remembers it.
	onDisk, err := v.l.files.readCheckpoint()
	if v.l.opts.Copy != nil && v.signed.Size == 0 {
		err = nil // nothing was taken yet
	} else if err != nil {
		v.add(0, "log/checkpoint cannot be read: %v", cause(err))
	} else if c, err := proof.OpenCheckpoint(onDisk, v.l.opts.Origin, v.l.Verifier()); err != nil {
		v.add(0, "log/checkpoint: %v", err)
	} else if c.Size < v.signed.Size {
		v.add(0, "log/checkpoint covers %d records, %d were signed", c.Size, v.signed.Size)
	}
	if _, had, err := v.l.recall(); err == nil && had.Size > v.signed.Size && v.l.Loss() == nil && len(v.l.Damage()) == 0 {
		v.add(v.signed.Size+1, "log/checkpoint covers %d records, and this folder has signed %d: an older copy of that file was put back; "+
			"the next start in a folder where it can be written makes it good", v.signed.Size, had.Size)
	}
	v.next = 1
	if v.l.noStream {
		if v.l.opts.Copy == nil {
			v.add(1, "the stream is gone")
		}
		for v.next <= v.signed.Size {
			if err := ctx.Err(); err != nil {
				return err
			}
			v.checkRecord(v.next, nil, nil)
			v.next++
		}
	} else {
		err := v.l.readStream(ctx, 1, v.signed.Size, func(seq int64, subject string, record []byte) error {
			if len(v.ahead) == farAhead {
				v.checkNext()
			}
			v.lookAt(seq, subject, record)
			return ctx.Err()
		})
		for err == nil && len(v.ahead) > 0 {
			v.checkNext()
			err = ctx.Err()
		}
		v.looking.Wait()
		if err != nil {
			return err
		}
		for ; v.next <= v.signed.Size; v.next++ {
			v.miss(v.next)
		}
		v.reportLacking()
	}
	v.tree.Partial(v.compareTile)
	// Without a checkpoint, which is said above, there is nothing to compare with.
	if root := v.tree.Root(); root != v.signed.Root && v.signed.Origin != "" {
		v.add(0, "records 1 to %d have the root %s, the checkpoint says %s", v.signed.Size, root, v.signed.Root)
	}
	if v.opts.Progress != nil {
		v.opts.Progress(v.signed.Size, v.signed.Size)
	}
	return nil
}

// looked is a record of the stream that is looked at while others are read.
type looked struct {
	seq     int64
	subject string
	record  []byte
	look    chan Look
}

// farAhead is how many records are looked at before their turn comes: enough that no processor waits.
const farAhead = 256

// lookAt begins to look at a record.
func (v *verification) lookAt(seq int64, subject string, record []byte) {
	n := &looked{seq: seq, subject: subject, record: record, look: make(chan Look, 1)}
	v.ahead = append(v.ahead, n)
	if v.opts.Look == nil {
		n.look <- Look{}
		return
	}
	v.looking.Go(func() error {
		n.look <- v.opts.Look(seq, record)
		return nil
	})
}

// checkNext checks the record whose turn it is.
func (v *verification) checkNext() {
	n := v.ahead[0]
	v.ahead = v.ahead[1:]
	for ; v.next < n.seq; v.next++ {
		v.miss(v.next)
	}
	v.reportLacking()
	look := <-n.look
	v.checkRecord(n.seq, n.record, &look)
	if look.Station != "" && n.subject != subjectOf(look.Station, look.Kind) {
		v.add(n.seq, "the stream keeps the record under the subject %s, but it is %s of %s", n.subject, look.Kind, look.Station)
	}
	v.next = n.seq + 1
}

// miss notes a sequence that the stream does not deliver. Its copy in the bundle is checked all the same.
func (v *verification) miss(seq int64) {
	if v.lacking[0] == 0 {
		v.lacking = [2]int64{seq, seq}
	}
	v.lacking[1] = seq
	v.checkRecord(seq, nil, nil)
}

func (v *verification) reportLacking() {
	if v.lacking[0] != 0 {
		v.add(v.lacking[0], "the stream lacks %s", rangeText(v.lacking))
	}
	v.lacking = [2]int64{}
}

// checkRecord checks one record. inStream and its look are nil if the stream lacks it.
func (v *verification) checkRecord(seq int64, inStream []byte, look *Look) {
	v.load(seq)
	i := (seq - 1) % proof.TileWidth
	record := inStream
	var leaf tlog.Hash
	var inBundle []byte
	if v.bundle != nil {
		inBundle = v.bundle[i]
		leaf = proof.LeafHash(inBundle)
		if v.tile != nil && leaf != v.tile[i] {
			v.add(seq, "the record in the entry bundle does not have the hash in the tree")
		}
	}
	if inStream != nil && (inBundle == nil || !bytes.Equal(inStream, inBundle)) {
		streamLeaf := proof.LeafHash(inStream)
		if v.tile != nil && streamLeaf != v.tile[i] {
			v.add(seq, "the record in the stream does not have the hash in the tree")
		} else {
			// The tree sides with the stream; if there is a bundle it was changed, and was reported above.
			leaf = streamLeaf
		}
	}
	if record == nil {
		record = inBundle
	}
	if v.bundle == nil && inStream == nil && v.tile != nil {
		leaf = v.tile[i]
	}
	v.tree.Append(leaf, v.compareTile)
	if record != nil {
		v.checkContents(seq, record, look)
	}
	if v.opts.Progress != nil && seq%4096 == 0 {
		v.opts.Progress(seq, v.signed.Size)
	}
}

func (v *verification) checkContents(seq int64, record []byte, look *Look) {
	_, at, _, err := proof.SplitArrival(v.l.opts.Origin, record)
	switch {
	case err != nil:
		v.add(seq, "the record is not whole: %v", err)
	case at.Before(v.lastAt):
		v.add(seq, "the record arrived at %s, before the one in front of it", at.Format(time.RFC3339Nano))
	default:
		v.lastAt = at
	}
	if look == nil && v.opts.Look != nil {
		l := v.opts.Look(seq, record)
		look = &l
	}
	if look == nil || look.Check == nil {
		return
	}
	for _, what := range look.Check() {
		v.add(seq, "%s", what)
	}
}

// load reads the bundle and the tile of a record, once for all their records.
func (v *verification) load(seq int64) {
	index := (seq - 1) / proof.TileWidth
	if index == v.index {
		return
	}
	v.index, v.bundle, v.tile = index, nil, nil
	first := index*proof.TileWidth + 1
	var err error
	// The ledger may have grown meanwhile; a larger bundle or tile begins with the partial one.
	if v.bundle, err = v.l.files.entriesWithin(index, v.signed.Size); err != nil {
		v.add(first, "%v", err)
	}
	if v.tile, err = v.l.files.tileWithin(0, index, bundleWidth(index, v.signed.Size)); err != nil {
		v.add(first, "%v", err)
	}
}

// compareTile compares a tile made from the records with the one on disk. Level 0 was compared record by record.
func (v *verification) compareTile(level int, index int64, want []tlog.Hash) {
	if level == 0 {
		return
	}
	got, err := v.l.files.tileWithin(level, index, len(want))
	first := index
	for range level + 1 {
		first *= proof.TileWidth
	}
	if err != nil {
		v.add(first+1, "%v", err)
		return
	}
	if !slices.Equal(got, want) {
		v.add(first+1, "%s does not hold the hashes of its records", proof.TilePath(level, index, len(want)))
	}
}
