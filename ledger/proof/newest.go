package proof

import (
	"maps"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Newest keeps the newest record about each key, for the root of them all to be asked for again and again: most keys are as they were
// then, and so are their leaves. The tree above the leaves is hashed each time, since one key more moves all that come behind it. The
// zero value has none.
type Newest struct {
	of      map[string]*newest
	ordered []*newest // by key, but for those that are new since
	fresh   []*newest // those, as they came
	room    []newest  // for keys that come, see Grow
}

type newest struct {
	Head
	leaf   tlog.Hash
	hashed bool // leaf is that of the head
}

// Grow makes room for so many keys more.
func (n *Newest) Grow(keys int) {
	of := make(map[string]*newest, len(n.of)+keys)
	maps.Copy(of, n.of)
	n.of, n.fresh, n.room = of, slices.Grow(n.fresh, keys), make([]newest, keys)
}

// Put says which record is the newest about a key.
func (n *Newest) Put(h Head) {
	x := n.of[h.Key]
	if x == nil {
		if n.of == nil {
			n.of = make(map[string]*newest)
		}
		if len(n.room) == 0 {
			n.room = make([]newest, 1)
		}
		x, n.room = &n.room[0], n.room[1:]
		n.of[h.Key] = x
		n.fresh = append(n.fresh, x)
	}
	x.Head, x.hashed = h, false
}

// Get returns the head of a key, whose count is 0 where there is none.
func (n *Newest) Get(key string) Head {
	if x := n.of[key]; x != nil {
		return x.Head
	}
	return Head{}
}

// Len returns the number of keys.
func (n *Newest) Len() int { return len(n.of) }

// Heads returns what is the newest now.
func (n *Newest) Heads() *Heads {
	n.order()
	h := &Heads{all: make([]Head, len(n.ordered)), leaves: make([]tlog.Hash, len(n.ordered))}
	for i, x := range n.ordered {
		if !x.hashed {
			x.leaf, x.hashed = x.Head.leaf(), true
		}
		h.all[i], h.leaves[i] = x.Head, x.leaf
	}
	return h
}

// order puts keys that are new in their places.
func (n *Newest) order() {
	slices.SortFunc(n.fresh, func(a, b *newest) int { return strings.Compare(a.Key, b.Key) })
	old, to := len(n.ordered), len(n.ordered)+len(n.fresh)
	n.ordered = slices.Grow(n.ordered, len(n.fresh))[:to]
	for left := len(n.fresh); left > 0; { // from the last place on, so that none is needed besides
		to--
		if old > 0 && n.ordered[old-1].Key > n.fresh[left-1].Key {
			old--
			n.ordered[to] = n.ordered[old]
		} else {
			left--
			n.ordered[to] = n.fresh[left]
		}
	}
	n.fresh = nil
}
