package facts

import "hash/maphash"

// itemsBySeq finds items by sequence. Sequences follow each other, or lie close
// together, so there is a table of pages and not of sequences.
type itemsBySeq struct {
	n     int
	pages map[int64]*itemPage
	last  *itemPage // to which an item was added last: most come in order
	at    int64     // its place in pages
}

// pageBits are few enough that a page of which one place is used costs little.
const pageBits = 8

type itemPage [1 << pageBits]*Item

func (s *itemsBySeq) page(seq int64) *itemPage {
	if at := seq >> pageBits; s.last == nil || s.at != at {
		return s.pages[at]
	}
	return s.last
}

func (s *itemsBySeq) get(seq int64) *Item {
	if p := s.page(seq); p != nil {
		return p[seq&(1<<pageBits-1)]
	}
	return nil
}

// put takes in an item whose sequence is not held yet.
func (s *itemsBySeq) put(it *Item) {
	p := s.page(it.Seq)
	if p == nil {
		p = new(itemPage)
		if s.pages == nil {
			s.pages = make(map[int64]*itemPage)
		}
		s.pages[it.Seq>>pageBits] = p
	}
	s.last, s.at = p, it.Seq>>pageBits
	p[it.Seq&(1<<pageBits-1)] = it
	s.n++
}

// itemsByID finds items by the id of their event. Of a million records each
// comes by here once, and with a map that was half the time of adding it: the
// slots have the hash, so that growing looks at no id.
type itemsByID struct {
	seed  maphash.Seed
	n     int
	slots []idSlot // a power of two of them, at most half of them taken
}

type idSlot struct {
	hash uint64
	it   *Item
}

// slot returns where an id stands, or where it would: there no item is.
func (s *itemsByID) slot(id string, h uint64) *idSlot {
	return s.find(h, func(it *Item) bool { return it.Event.ID == id })
}

func (s *itemsByID) find(h uint64, same func(*Item) bool) *idSlot {
	mask := uint64(len(s.slots) - 1)
	for i := h & mask; ; i = (i + 1) & mask {
		if x := &s.slots[i]; x.it == nil || x.hash == h && same(x.it) {
			return x
		}
	}
}

func (s *itemsByID) grow() {
	old := s.slots
	if old == nil {
		s.seed = maphash.MakeSeed()
	}
	s.slots = make([]idSlot, max(64, 2*len(old)))
	for _, x := range old {
		if x.it != nil {
			*s.find(x.hash, func(*Item) bool { return false }) = x
		}
	}
}

func (s *itemsByID) get(id string) *Item {
	if s.n == 0 {
		return nil
	}
	return s.slot(id, maphash.String(s.seed, id)).it
}

// put makes an item the one of its id, and returns the one before it.
func (s *itemsByID) put(it *Item) (was *Item) {
	if 2*s.n >= len(s.slots) {
		s.grow()
	}
	h := maphash.String(s.seed, it.Event.ID)
	x := s.slot(it.Event.ID, h)
	if x.it == nil {
		s.n++
	}
	was, x.hash, x.it = x.it, h, it
	return was
}
