package proof

import (
	"crypto/sha256"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// EmptyRoot is the root of the tree with no leaves.
var EmptyRoot = tlog.Hash(sha256.Sum256(nil))

// LeafHash returns the hash of one record as a leaf.
func LeafHash(record []byte) tlog.Hash { return tlog.RecordHash(record) }

// Tree is the right edge of a Merkle tree: all that is needed to add leaves and to know the root. Level 0 holds the
// hashes of the leaves since the last full tile, level 1 those of the full tiles since the last full tile of tiles, and
// so on.
type Tree struct {
	size int64
	edge [][]tlog.Hash
}

// LoadTree restores the tree of size leaves from its partial tiles, one per level.
func LoadTree(size int64, readTile func(level int, index int64, width int) ([]tlog.Hash, error)) (*Tree, error) {
	t := &Tree{size: size}
	for level, n := 0, size; n > 0; level, n = level+1, n/TileWidth {
		var hashes []tlog.Hash
		if w := int(n % TileWidth); w > 0 {
			var err error
			if hashes, err = readTile(level, n/TileWidth, w); err != nil {
				return nil, err
			}
			if len(hashes) != w {
				return nil, fmt.Errorf("tile %s holds %d hashes, want %d",
					TilePath(level, n/TileWidth, w), len(hashes), w)
			}
		}
		t.edge = append(t.edge, append(make([]tlog.Hash, 0, TileWidth), hashes...))
	}
	return t, nil
}

// Size returns the number of leaves.
func (t *Tree) Size() int64 { return t.size }

// Clone returns a copy that can grow on its own.
func (t *Tree) Clone() *Tree {
	c := &Tree{size: t.size}
	for _, hs := range t.edge {
		c.edge = append(c.edge, append(make([]tlog.Hash, 0, TileWidth), hs...))
	}
	return c
}

// Append adds a leaf. Each tile that becomes full on the way is handed to full, if that is not nil; the slice is only
// valid during the call.
func (t *Tree) Append(leaf tlog.Hash, full func(level int, index int64, hashes []tlog.Hash)) {
	t.size++
	h := leaf
	for level, n := 0, t.size; ; level++ {
		if level == len(t.edge) {
			t.edge = append(t.edge, make([]tlog.Hash, 0, TileWidth))
		}
		t.edge[level] = append(t.edge[level], h)
		if len(t.edge[level]) < TileWidth {
			return
		}
		n /= TileWidth
		if full != nil {
			full(level, n-1, t.edge[level])
		}
		h = perfectRoot(t.edge[level])
		t.edge[level] = t.edge[level][:0]
	}
}

// Partial calls f for each tile at the right edge that is not full and not empty, lowest level first.
func (t *Tree) Partial(f func(level int, index int64, hashes []tlog.Hash)) {
	n := t.size
	for level, hashes := range t.edge {
		if len(hashes) > 0 {
			f(level, n/TileWidth, hashes)
		}
		n /= TileWidth
	}
}

// Root returns the root hash of all leaves so far.
func (t *Tree) Root() tlog.Hash {
	if t.size == 0 {
		return EmptyRoot
	}
	var root tlog.Hash
	have := false
	// The tree is a row of perfect subtrees, largest first. Fold them from the right.
	for _, hashes := range t.edge {
		for w := len(hashes); w > 0; {
			low := w & -w
			sub := perfectRoot(hashes[w-low : w])
			if have {
				root = tlog.NodeHash(sub, root)
			} else {
				root, have = sub, true
			}
			w -= low
		}
	}
	return root
}

// perfectRoot hashes a perfect subtree; the number of hashes is a power of two.
func perfectRoot(hashes []tlog.Hash) tlog.Hash {
	var buf [TileWidth]tlog.Hash
	n := copy(buf[:], hashes)
	for ; n > 1; n /= 2 {
		for i := 0; i < n/2; i++ {
			buf[i] = tlog.NodeHash(buf[2*i], buf[2*i+1])
		}
	}
	return buf[0]
}

// ProveInclusion returns the audit path of leaf index in the tree of size leaves.
func ProveInclusion(size, index int64, r tlog.HashReader) ([]tlog.Hash, error) {
	if index < 0 || index >= size {
		return nil, fmt.Errorf("leaf %d is not in a tree of %d leaves", index, size)
	}
	return tlog.ProveRecord(size, index, r)
}

// CheckInclusion checks that leaf is number index (from 0) in the tree of size leaves with that root.
func CheckInclusion(path []tlog.Hash, size int64, root tlog.Hash, index int64, leaf tlog.Hash) error {
	if index < 0 || index >= size {
		return fmt.Errorf("leaf %d is not in a tree of %d leaves", index, size)
	}
	if tlog.CheckRecord(path, size, root, index, leaf) != nil {
		return fmt.Errorf("the proof does not lead from leaf %d to the root of %d leaves", index, size)
	}
	return nil
}

// ProveConsistency returns the proof that the tree of from leaves is a prefix of the tree of to leaves.
func ProveConsistency(from, to int64, r tlog.HashReader) ([]tlog.Hash, error) {
	if from < 0 || from > to {
		return nil, fmt.Errorf("a tree of %d leaves cannot be a prefix of one of %d", from, to)
	}
	if from == 0 || from == to {
		return nil, nil
	}
	return tlog.ProveTree(to, from, r)
}

// CheckConsistency checks that the tree (from, fromRoot) is a prefix of the tree (to, toRoot).
func CheckConsistency(path []tlog.Hash, from int64, fromRoot tlog.Hash, to int64, toRoot tlog.Hash) error {
	switch {
	case from < 0 || from > to:
		return fmt.Errorf("a tree of %d leaves cannot be a prefix of one of %d", from, to)
	case from == to || from == 0:
		if len(path) > 0 {
			return errors.New("the proof is longer than it may be: none is needed here")
		}
		if from == 0 && fromRoot != EmptyRoot {
			return errors.New("the root of the empty tree is wrong")
		}
		if from == to && fromRoot != toRoot {
			return fmt.Errorf("two different roots for %d leaves", from)
		}
		return nil
	}
	if tlog.CheckTree(path, to, toRoot, from, fromRoot) != nil {
		return fmt.Errorf("the tree of %d leaves is not a prefix of the tree of %d", from, to)
	}
	return nil
}
