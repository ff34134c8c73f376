package proof

import (
	"errors"
	"fmt"
	"sort"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Head says which record is the newest about a key, and how many there are.
type Head struct {
	Key   string
	Last  int64
	Count int64
}

// String returns the head as it is hashed, without its newline: "<key> <last> <count>".
func (h Head) String() string { return string(h.Append(nil)) }

// Append appends what String returns.
func (h Head) Append(b []byte) []byte {
	b = append(append(b, h.Key...), ' ')
	b = append(strconv.AppendInt(b, h.Last, 10), ' ')
	return strconv.AppendInt(b, h.Count, 10)
}

func (h Head) leaf() tlog.Hash {
	var room [128]byte
	return LeafHash(append(h.Append(room[:0]), '\n'))
}

// Heads are the newest records about all keys at one moment: the leaves of an RFC 6962 tree in the order of their keys,
// byte by byte. Where a ledger has recorded its root, nobody can show an older record as the newest.
type Heads struct {
	all    []Head
	leaves []tlog.Hash // of them
	hashes []tlog.Hash // as tlog stores them; made when first proved
}

// Len returns the number of keys.
func (h *Heads) Len() int { return len(h.all) }

// All returns the heads in order.
func (h *Heads) All() []Head { return h.all }

// Root returns the root of the tree.
func (h *Heads) Root() tlog.Hash {
	t := &Tree{}
	for _, x := range h.leaves {
		t.Append(x, nil)
	}
	return t.Root()
}

// Find returns where a key stands, or would stand.
func (h *Heads) Find(key string) (index int, ok bool) {
	i := sort.Search(len(h.all), func(i int) bool { return h.all[i].Key >= key })
	return i, i < len(h.all) && h.all[i].Key == key
}

// Get returns the head of a key.
func (h *Heads) Get(key string) (Head, bool) {
	if i, ok := h.Find(key); ok {
		return h.all[i], true
	}
	return Head{}, false
}

// Prove returns the proof of the head at an index.
func (h *Heads) Prove(index int) (HeadProof, error) {
	if h.hashes == nil {
		for i, x := range h.leaves {
			more, err := tlog.StoredHashesForRecordHash(int64(i), x, tlog.HashReaderFunc(h.read))
			if err != nil {
				return HeadProof{}, err
			}
			h.hashes = append(h.hashes, more...)
		}
	}
	path, err := ProveInclusion(int64(len(h.all)), int64(index), tlog.HashReaderFunc(h.read))
	if err != nil {
		return HeadProof{}, err
	}
	return HeadProof{Head: h.all[index], Index: int64(index), Size: int64(len(h.all)), Hashes: path}, nil
}

func (h *Heads) read(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		if x >= int64(len(h.hashes)) {
			return nil, errors.New("no such hash")
		}
		out[i] = h.hashes[x]
	}
	return out, nil
}

// HeadProof proves one head under the root of all:
//
//	listbound head v1
//	<key> <last> <count>
//	index <index> of <size>
//	<base64 of a hash>, for each of the path
type HeadProof struct {
	Head
	Index, Size int64
	Hashes      []tlog.Hash
}

const headHeader = "listbound head v1"

// Marshal returns the proof as text.
func (p HeadProof) Marshal() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s\nindex %d of %d\n", headHeader, p.Head, p.Index, p.Size)
	for _, x := range p.Hashes {
		b.WriteString(x.String() + "\n")
	}
	return []byte(b.String())
}

// Check checks the proof against a root.
func (p HeadProof) Check(root tlog.Hash) error {
	return CheckInclusion(p.Hashes, p.Size, root, p.Index, p.leaf())
}

// ParseHeadProof reads a proof in its one spelling.
func ParseHeadProof(data []byte) (p HeadProof, err error) {
	text, ok := strings.CutSuffix(string(data), "\n")
	lines := strings.Split(text, "\n")
	if !ok || len(lines) < 3 || lines[0] != headHeader {
		return p, fmt.Errorf("it does not begin with %q, a head and its place", headHeader)
	}
	if p.Head, err = ParseHead(lines[1]); err != nil {
		return p, err
	}
	if _, err := fmt.Sscanf(lines[2], "index %d of %d", &p.Index, &p.Size); err != nil ||
		lines[2] != fmt.Sprintf("index %d of %d", p.Index, p.Size) {
		return p, fmt.Errorf("%q does not say which place it has, as in: index 3 of 12", lines[2])
	}
	hashes := lines[3:]
	if len(hashes) > maxPath {
		return p, fmt.Errorf("proof has %d hashes, more than any tree needs", len(hashes))
	}
	for i, s := range hashes {
		x, err := ParseHash(s)
		if err != nil {
			return p, fmt.Errorf("hash %d of the proof: %w", i+1, err)
		}
		p.Hashes = append(p.Hashes, x)
	}
	return p, nil
}

// ParseHead reads a head as String writes it.
func ParseHead(line string) (h Head, err error) {
	rest, count, ok := cutLast(line)
	key, last, ok2 := cutLast(rest)
	if !ok || !ok2 {
		return h, fmt.Errorf("%q is no head: a key and two numbers", line)
	}
	h.Key = key
	if err := CheckKey(key); err != nil {
		return h, err
	}
	if h.Last, err = canonicalInt(last); err == nil {
		h.Count, err = canonicalInt(count)
	}
	if err != nil || h.Count < 1 || h.Count > h.Last {
		return h, fmt.Errorf("%q is no head: a key and two numbers", line)
	}
	return h, nil
}
