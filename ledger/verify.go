package ledger

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"
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
	// Look looks at what some records say that follow each other, and returns a Look for each. It is called ahead, for several
	// bundles at once and in no order.
	Look func(records []Record) []Look
	// Slowly looks at one bundle at a time, and at none ahead: so Check, which is called in between, can tell how long one took.
	Slowly bool
	// Progress is called now and then with the number of records that are done.
	Progress func(done, total int64)
}

// Record is a record as a verification takes it apart.
type Record struct {
	Seq int64
	Raw []byte
	proof.Arrival
	Err error // why it can't be taken apart
}

// Look is what a record says of itself.
type Look struct {
	// Station and Kind are where the record belongs. The subject of a record in the stream is not hashed, so it is compared with
	// them. A record that doesn't say has neither: that is for Check to find.
	Station, Kind string
	// Check returns what is wrong with the contents of the record. It is called in the order of the records. May be nil.
	Check func() []string
}

// Look looks where records belong, and at nothing else.
func (r Route) Look(records []Record) []Look {
	looks := make([]Look, len(records))
	for i, rec := range records {
		var err error
		if looks[i].Station, looks[i].Kind, err = r(rec.Raw); err != nil {
			looks[i] = Look{}
		}
	}
	return looks
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
	v := &verification{l: l, opts: opts, signed: l.Signed(), tree: &proof.Tree{}, splitter: proof.NewSplitter(l.opts.Origin),
		problems: damage, said: make(map[Problem]bool), next: 1, most: 2 * runtime.GOMAXPROCS(0)}
	for _, p := range damage {
		v.said[p] = true
	}
	if opts.Slowly {
		v.most = 1
	}
	if err := v.run(ctx); err != nil {
		return Report{}, err
	}
	slices.SortStableFunc(v.problems, func(a, b Problem) int { return int(a.Seq - b.Seq) })
	root := v.tree.Root()
	return Report{
		Size: v.signed.Size, Root: fmt.Sprintf("%x", root[:]), Checkpoint: string(note), Problems: v.problems,
	}, nil
}

// A verification goes bundle by bundle. What needs no order is done for several bundles at once (bundleCheck.look), the rest
// in the order of the records.
type verification struct {
	l        *Ledger
	opts     VerifyOptions
	signed   proof.Checkpoint
	tree     *proof.Tree
	splitter *proof.Splitter
	problems []Problem
	said     map[Problem]bool

	next    int64    // sequence whose turn it is
	lacking [2]int64 // run of sequences that the stream lacks, not reported yet
	lastAt  time.Time

	looking sync.WaitGroup
	filling *bundleCheck   // what is read from the stream goes here
	ahead   []*bundleCheck // that are looked at, in their order
	most    int            // of them, so that no processor waits and memory stays small
}

func (v *verification) add(seq int64, format string, args ...any) {
	p := Problem{Seq: seq, What: fmt.Sprintf(format, args...)}
	if !v.said[p] {
		v.said[p] = true
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
	if v.l.noStream {
		if v.l.opts.Copy == nil {
			v.add(1, "the stream is gone")
		}
	}
	if err := v.records(ctx); err != nil {
		return err
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

// records reads the stream and checks all records in their order.
func (v *verification) records(ctx context.Context) error {
	defer v.looking.Wait()
	if !v.l.noStream {
		err := v.l.readStream(ctx, 1, v.signed.Size, func(seq int64, subject string, record []byte) error {
			v.fill(seq).put(seq, subject, record)
			return ctx.Err()
		})
		if err != nil {
			return err
		}
	}
	if v.signed.Size > 0 {
		v.fill(v.signed.Size)
	}
	v.lookAtFilled()
	for len(v.ahead) > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		v.checkNext()
	}
	v.reportLacking()
	return ctx.Err()
}

// fill returns the bundle to which a record belongs, once those before it are begun to be looked at.
func (v *verification) fill(seq int64) *bundleCheck {
	index := (seq - 1) / proof.TileWidth
	for v.filling == nil || v.filling.index < index {
		next := int64(0)
		if v.filling != nil {
			next = v.filling.index + 1
		}
		v.lookAtFilled()
		v.filling = newBundleCheck(next, bundleWidth(next, v.signed.Size))
	}
	return v.filling
}

// lookAtFilled begins to look at what was read last, when those before are few enough.
func (v *verification) lookAtFilled() {
	b := v.filling
	if b == nil {
		return
	}
	v.filling = nil
	for len(v.ahead) >= v.most {
		v.checkNext()
	}
	v.ahead = append(v.ahead, b)
	v.looking.Go(func() {
		b.look(v)
		close(b.looked)
	})
}

// bundleCheck is the check of the records of one bundle.
type bundleCheck struct {
	index    int64
	subjects []string
	inStream [][]byte // nil where the stream lacks one
	looked   chan struct{}

	unread []string // why bundle or tile can't be read
	leaves []tlog.Hash
	wrong  [][]string // with each record's copies
	whole  []Record   // where there is a record at all, else the zero one
	looks  []Look
}

func newBundleCheck(index int64, width int) *bundleCheck {
	return &bundleCheck{
		index: index, subjects: make([]string, width), inStream: make([][]byte, width), looked: make(chan struct{}),
		leaves: make([]tlog.Hash, width), wrong: make([][]string, width), whole: make([]Record, width), looks: make([]Look, width),
	}
}

func (b *bundleCheck) first() int64 { return b.index*proof.TileWidth + 1 }

func (b *bundleCheck) put(seq int64, subject string, record []byte) {
	if record == nil {
		record = []byte{} // one that was emptied is not one that is missing
	}
	i := seq - b.first()
	b.subjects[i], b.inStream[i] = subject, record
}

// look does what needs no order: reading bundle and tile, hashes, comparing the copies, and looking at what they say.
func (b *bundleCheck) look(v *verification) {
	// The ledger may have grown meanwhile; a larger bundle or tile begins with the partial one.
	bundle, err := v.l.files.entriesWithin(b.index, v.signed.Size)
	if err != nil {
		b.unread = append(b.unread, err.Error())
	}
	tile, err := v.l.files.tileWithin(0, b.index, len(b.leaves))
	if err != nil {
		b.unread = append(b.unread, err.Error())
	}
	records, at := make([]Record, 0, len(b.leaves)), make([]int, 0, len(b.leaves))
	for i := range b.leaves {
		var inBundle []byte
		if bundle != nil {
			inBundle = bundle[i]
		}
		var hash *tlog.Hash
		if tile != nil {
			hash = &tile[i]
		}
		b.compare(i, inBundle, hash)
		raw := b.inStream[i]
		if raw == nil {
			raw = inBundle
		}
		if raw == nil {
			continue
		}
		b.whole[i].Seq, b.whole[i].Raw = b.first()+int64(i), raw
		b.whole[i].Arrival, b.whole[i].Err = v.splitter.Split(raw)
		records, at = append(records, b.whole[i]), append(at, i)
	}
	if v.opts.Look == nil || len(records) == 0 {
		return
	}
	for n, look := range v.opts.Look(records) {
		b.looks[at[n]] = look
	}
}

// compare holds both copies of a record against each other and the hash in the tree, and says by which hash the tree is made
// anew. Any of the three may be missing.
func (b *bundleCheck) compare(i int, inBundle []byte, inTree *tlog.Hash) {
	add := func(what string) { b.wrong[i] = append(b.wrong[i], what) }
	var leaf tlog.Hash
	if inBundle != nil {
		leaf = proof.LeafHash(inBundle)
		if inTree != nil && leaf != *inTree {
			add("the record in the entry bundle does not have the hash in the tree")
		}
	} else if b.inStream[i] == nil && inTree != nil {
		leaf = *inTree
	}
	if inStream := b.inStream[i]; inStream != nil && (inBundle == nil || !bytes.Equal(inStream, inBundle)) {
		streamLeaf := proof.LeafHash(inStream)
		if inTree != nil && streamLeaf != *inTree {
			add("the record in the stream does not have the hash in the tree")
		} else {
			// The tree sides with the stream; if there is a bundle it was changed, and was reported above.
			leaf = streamLeaf
		}
	}
	b.leaves[i] = leaf
}

// checkNext checks the records of the bundle whose turn it is.
func (v *verification) checkNext() {
	b := v.ahead[0]
	v.ahead = v.ahead[1:]
	<-b.looked
	for _, what := range b.unread {
		v.add(b.first(), "%s", what)
	}
	for i := range b.leaves {
		v.checkRecord(b, i)
	}
}

// checkRecord checks what needs the records before.
func (v *verification) checkRecord(b *bundleCheck, i int) {
	seq := v.next
	v.next++
	switch {
	case b.inStream[i] != nil:
		v.reportLacking()
	case v.lacking[0] == 0:
		v.lacking = [2]int64{seq, seq}
	default:
		v.lacking[1] = seq
	}
	for _, what := range b.wrong[i] {
		v.add(seq, "%s", what)
	}
	v.tree.Append(b.leaves[i], v.compareTile)
	if rec, look := &b.whole[i], &b.looks[i]; rec.Raw != nil {
		v.checkContents(rec, look)
		if subject := b.subjects[i]; b.inStream[i] != nil && look.Station != "" && subject != subjectOf(look.Station, look.Kind) {
			v.add(seq, "the stream keeps the record under the subject %s, but it is %s of %s", subject, look.Kind, look.Station)
		}
	}
	if v.opts.Progress != nil && seq%4096 == 0 {
		v.opts.Progress(seq, v.signed.Size)
	}
}

func (v *verification) checkContents(rec *Record, look *Look) {
	switch {
	case rec.Err != nil:
		v.add(rec.Seq, "the record is not whole: %v", rec.Err)
	case rec.At.Before(v.lastAt):
		v.add(rec.Seq, "the record arrived at %s, before the one in front of it", rec.At.Format(time.RFC3339Nano))
	default:
		v.lastAt = rec.At
	}
	if look.Check == nil {
		return
	}
	for _, what := range look.Check() {
		v.add(rec.Seq, "%s", what)
	}
}

func (v *verification) reportLacking() {
	if v.lacking[0] != 0 && !v.l.noStream {
		v.add(v.lacking[0], "the stream lacks %s", rangeText(v.lacking))
	}
	v.lacking = [2]int64{}
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
