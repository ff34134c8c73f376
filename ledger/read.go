package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// Read returns one record.
func (l *Ledger) Read(seq int64) ([]byte, error) {
	if full := l.Signed().Size / proof.TileWidth * proof.TileWidth; seq >= 1 && seq <= full {
		record, err := l.files.readOne((seq-1)/proof.TileWidth, int((seq-1)%proof.TileWidth))
		if err != nil {
			return nil, fmt.Errorf("record %d: %w; nothing is lost if the other copy has it: stop whatever records here, run listbound "+
				"repair, then listbound verify", seq, err)
		}
		return record, nil
	}
	records, first, err := l.chunk(seq, false)
	if err != nil {
		return nil, err
	}
	return records[seq-first], nil
}

// ReadHashed is Read that compares a signed record with the tree.
func (l *Ledger) ReadHashed(seq int64) ([]byte, error) {
	records, first, err := l.chunk(seq, true)
	if err != nil {
		return nil, err
	}
	return records[seq-first], nil
}

// chunk returns stored records around seq: those of its entry bundle if it is signed, else the unsigned ones. first is
// the sequence of the first of them. If hashed is set, the bundle is compared with its tile.
func (l *Ledger) chunk(seq int64, hashed bool) (records [][]byte, first int64, err error) {
	for {
		l.mu.Lock()
		signed, size, tail := l.signed.Size, l.size, l.tail
		l.mu.Unlock()
		if seq < 1 || seq > size {
			return nil, 0, fmt.Errorf("there is no record %d; the ledger holds 1 to %d", seq, size)
		}
		if seq > signed {
			return tail, signed + 1, nil
		}
		index := (seq - 1) / proof.TileWidth
		records, err := l.files.entriesWithin(index, signed)
		if err == nil && hashed {
			err = l.compareTile(index, signed, records)
		}
		if err != nil {
			if errors.Is(err, os.ErrNotExist) && l.Signed().Size != signed {
				// The tree grew meanwhile and the partial bundle was replaced by the full one.
				continue
			}
			return nil, 0, fmt.Errorf("record %d: %w", seq, err)
		}
		return records, index*proof.TileWidth + 1, nil
	}
}

func (l *Ledger) compareTile(index, size int64, records [][]byte) error {
	hashes, err := l.files.tileWithin(0, index, bundleWidth(index, size))
	if err != nil {
		return err
	}
	for i, record := range records {
		if proof.LeafHash(record) != hashes[i] {
			return fmt.Errorf("the stored bytes of record %d do not have the hash in the tree",
				index*proof.TileWidth+int64(i)+1)
		}
	}
	return nil
}

// Scan calls fn for every record, in order, from sequence from to the last one stored when Scan gets there. fn may keep
// the bytes but must not change them. An error of fn ends the scan and is returned as it is.
func (l *Ledger) Scan(ctx context.Context, from int64, fn func(seq int64, record []byte) error) error {
	_, err := l.scan(ctx, from, false, fn)
	return err
}

// ScanHashed is Scan that compares each signed record with the tree while reading. From sequence 1 it computes the root
// as well and ends with an error if that is not the signed one.
func (l *Ledger) ScanHashed(ctx context.Context, from int64, fn func(seq int64, record []byte) error) error {
	if max(from, 1) > 1 {
		_, err := l.scan(ctx, from, true, fn)
		return err
	}
	// The root is compared with the checkpoint of this moment; what is signed later is compared with its tiles.
	signed := l.Signed()
	tree := &proof.Tree{}
	next := int64(1)
	for next <= signed.Size {
		if err := ctx.Err(); err != nil {
			return err
		}
		records, first, err := l.chunk(next, false)
		if err != nil {
			return err
		}
		index := (next - 1) / proof.TileWidth
		hashes, err := l.files.tileWithin(0, index, bundleWidth(index, signed.Size))
		if err != nil {
			return fmt.Errorf("record %d: %w", next, err)
		}
		for i, record := range records[:min(int64(len(records)), signed.Size-first+1)] {
			h := proof.LeafHash(record)
			if h != hashes[i] {
				return fmt.Errorf("the stored bytes of record %d do not have the hash in the tree", next)
			}
			tree.Append(h, nil)
			if err := fn(next, record); err != nil {
				return err
			}
			next++
		}
	}
	if root := tree.Root(); root != signed.Root {
		return fmt.Errorf("records 1 to %d have the root %s, the checkpoint says %s", signed.Size, root, signed.Root)
	}
	_, err := l.scan(ctx, next, true, fn)
	return err
}

func (l *Ledger) scan(
	ctx context.Context, from int64, hashed bool, fn func(seq int64, record []byte) error,
) (next int64, err error) {
	next = max(from, 1)
	for {
		if err := ctx.Err(); err != nil {
			return next, err
		}
		if next > l.Size() {
			return next, nil
		}
		records, first, err := l.chunk(next, hashed)
		if err != nil {
			return next, err
		}
		for _, record := range records[next-first:] {
			if err := fn(next, record); err != nil {
				return next, err
			}
			next++
		}
	}
}

// Follow is Scan that then waits for new records and goes on, until ctx ends, fn returns an error or the ledger is
// closed.
func (l *Ledger) Follow(ctx context.Context, from int64, fn func(seq int64, record []byte) error) error {
	next := max(from, 1)
	for {
		var err error
		if next, err = l.scan(ctx, next, false, fn); err != nil {
			return err
		}
		if err := l.Wait(ctx, next); err != nil {
			return err
		}
	}
}

// Wait returns when record seq is stored.
func (l *Ledger) Wait(ctx context.Context, seq int64) error {
	for {
		l.mu.Lock()
		size, grown := l.size, l.grown
		l.mu.Unlock()
		if size >= seq {
			return nil
		}
		select {
		case <-grown:
		case <-l.stop:
			return ErrClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Prove returns the proof that record seq is in the ledger, against the newest checkpoint.
func (l *Ledger) Prove(ctx context.Context, seq int64) (proof.Inclusion, error) {
	proofs, err := l.ProveMany(ctx, []int64{seq})
	if err != nil {
		return proof.Inclusion{}, err
	}
	return proofs[0], nil
}

// ProveMany proves several records against one checkpoint. A record that is stored but not signed yet is signed first.
func (l *Ledger) ProveMany(ctx context.Context, seqs []int64) ([]proof.Inclusion, error) {
	need := int64(0)
	for _, seq := range seqs {
		need = max(need, seq)
	}
	if l.Signed().Size < need && need <= l.Size() {
		if _, err := l.Checkpoint(ctx); err != nil {
			return nil, err
		}
	}
	l.mu.Lock()
	signed, note := l.signed, l.note
	l.mu.Unlock()
	proofs := make([]proof.Inclusion, 0, len(seqs))
	r := l.hashReader(signed)
	for _, seq := range seqs {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if seq < 1 || seq > signed.Size {
			return nil, fmt.Errorf("there is no record %d to prove; the checkpoint covers 1 to %d", seq, signed.Size)
		}
		path, err := proof.ProveInclusion(signed.Size, seq-1, r)
		if err != nil {
			return nil, fmt.Errorf("cannot prove record %d: %w", seq, err)
		}
		proofs = append(proofs, proof.Inclusion{Index: seq - 1, Hashes: path, Checkpoint: note})
	}
	return proofs, nil
}

// Consistency returns the proof that the ledger of from records is a prefix of the ledger of to records, both under the
// newest checkpoint.
func (l *Ledger) Consistency(from, to int64) ([]tlog.Hash, error) {
	signed := l.Signed()
	if to > signed.Size {
		return nil, fmt.Errorf("the checkpoint covers %d records, not %d", signed.Size, to)
	}
	return proof.ProveConsistency(from, to, l.hashReader(signed))
}

// hashReader reads hashes from the tiles of a checkpoint and authenticates each tile against its root, so that a
// damaged tile gives an error and never a wrong proof.
func (l *Ledger) hashReader(c proof.Checkpoint) tlog.HashReader {
	return tlog.TileHashReader(tlog.Tree{N: c.Size, Hash: c.Root},
		&tileReader{files: l.files, cache: map[tlog.Tile][]byte{}})
}

// tileReader reads tiles for one series of proofs.
type tileReader struct {
	files logFiles
	cache map[tlog.Tile][]byte
}

const maxCachedTiles = 1024

func (r *tileReader) Height() int { return proof.TileHeight }

func (r *tileReader) ReadTiles(tiles []tlog.Tile) ([][]byte, error) {
	out := make([][]byte, len(tiles))
	for i, t := range tiles {
		if data, ok := r.cache[t]; ok {
			out[i] = data
			continue
		}
		// The tree may have grown meanwhile; a larger tile begins with the partial one.
		hashes, err := r.files.tileWithin(t.L, t.N, t.W)
		if err != nil {
			return nil, err
		}
		out[i] = proof.EncodeTile(hashes)
		if len(r.cache) < maxCachedTiles {
			r.cache[t] = out[i]
		}
	}
	return out, nil
}

func (r *tileReader) SaveTiles([]tlog.Tile, [][]byte) {}
