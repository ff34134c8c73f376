package site

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"io/fs"
	"iter"
	"math"
	"os"
	"slices"
	"sort"

	"github.com/minio/highwayhash"

	"listbound/events"
)

// addendaIndexName is the file that says where the lines of the file of addenda are, so that a start need not read what each of
// them says: with five million records there are some 350,000. It is made of that file alone and names no text: a line is found by
// its digest, a case by that of its reference with the folder's key. It is good while that file begins with the bytes that it is
// of, and it is removed before a text is taken out.
const addendaIndexName = addendaName + indexSuffix

const indexSuffix = ".index"

const addendaIndexHead = "listbound addenda index v1\n"

// mostUnindexed is how many lines may be in no index before another one is written. A start reads them in some 5 ms.
const mostUnindexed = 2000

// addendaIndex finds the lines that a file of addenda begins with.
type addendaIndex struct {
	upto  int // bytes of the lines that it is of
	marks places
	cases places // of lines that are the reference of a case
}

// places are where lines begin, in the order of their digests and then their own: each is the beginning of the digest and a place.
type places []byte

const (
	placeKey   = 8
	placeBytes = placeKey + 4
)

func placeOf(d digest, at int) (p [placeBytes]byte) {
	copy(p[:], d[:placeKey])
	binary.BigEndian.PutUint32(p[placeKey:], uint32(at))
	return p
}

func (p places) len() int         { return len(p) / placeBytes }
func (p places) key(i int) []byte { return p[i*placeBytes:][:placeKey] }
func (p places) at(i int) int     { return int(binary.BigEndian.Uint32(p[i*placeBytes+placeKey:])) }

// of returns the places that a digest may be at: another digest may begin alike.
func (p places) of(d digest) iter.Seq[int] {
	return func(yield func(int) bool) {
		first := sort.Search(p.len(), func(i int) bool { return bytes.Compare(p.key(i), d[:placeKey]) >= 0 })
		for i := first; i < p.len() && bytes.Equal(p.key(i), d[:placeKey]); i++ {
			if !yield(p.at(i)) {
				return
			}
		}
	}
}

// with returns these places and others.
func (p places) with(others [][placeBytes]byte) places {
	slices.SortFunc(others, func(a, b [placeBytes]byte) int { return bytes.Compare(a[:], b[:]) })
	out := make(places, 0, len(p)+len(others)*placeBytes)
	for _, o := range others {
		n := sort.Search(p.len(), func(i int) bool { return bytes.Compare(p[i*placeBytes:][:placeBytes], o[:]) > 0 }) * placeBytes
		out = append(append(out, p[:n]...), o[:]...)
		p = p[n:]
	}
	return append(out, p...)
}

// fold takes the lines that are in no index into one.
func (a *addenda) fold() {
	if len(a.byMark) == 0 || len(a.text) > math.MaxUint32 {
		return
	}
	marks, cases := make([][placeBytes]byte, 0, len(a.byMark)), make([][placeBytes]byte, 0, len(a.cases))
	for sum, at := range a.byMark {
		marks = append(marks, placeOf(sum, at))
	}
	for reference, ats := range a.cases {
		for _, at := range ats {
			cases = append(cases, placeOf(reference, at))
		}
	}
	a.index = addendaIndex{len(a.text), a.index.marks.with(marks), a.index.cases.with(cases)}
	a.byMark, a.cases = make(map[digest]int), make(map[digest][]int)
}

// keepIndex writes an index if so many lines are in none. It is not synced: one that is torn is none.
func (a *addenda) keepIndex(least int) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.otherIndex {
		if err := removeIfThere(a.path + indexSuffix); err != nil {
			return err
		}
		a.otherIndex = false
	}
	head := a.head()
	if len(a.byMark) < least || len(a.fresh) > 0 || a.kept != int64(len(head)+len(a.text)) {
		return nil
	}
	if a.fold(); a.index.upto != len(a.text) {
		return nil
	}
	sum, err := highwayhash.New128(make([]byte, highwayhash.Size))
	if err != nil {
		return err
	}
	_, _ = sum.Write([]byte(head))
	_, _ = sum.Write(a.text)
	out := sum.Sum([]byte(addendaIndexHead))
	for _, n := range []int{len(head) + len(a.text), a.index.marks.len(), a.index.cases.len()} {
		out = binary.BigEndian.AppendUint64(out, uint64(n))
	}
	out = append(append(out, a.index.marks...), a.index.cases...)
	whole := highwayhash.Sum128(out, make([]byte, highwayhash.Size))
	path := a.path + indexSuffix
	if err := os.WriteFile(path+".tmp", append(out, whole[:]...), 0o600); err != nil {
		return errors.Join(err, removeIfThere(path+".tmp"))
	}
	return os.Rename(path+".tmp", path)
}

// readIndex reads the index of a file that begins with a head of so many bytes. Without one that is of this file it is empty; other
// says that there is another.
func readIndex(path string, file []byte, head int) (x addendaIndex, other bool) {
	data, err := os.ReadFile(path)
	if err != nil {
		return x, !errors.Is(err, fs.ErrNotExist)
	}
	rest, ok := bytes.CutPrefix(data, []byte(addendaIndexHead))
	const fixed = highwayhash.Size128 + 3*8
	if !ok || len(rest) < fixed+highwayhash.Size128 {
		return x, true
	}
	key, end := make([]byte, highwayhash.Size), len(data)-highwayhash.Size128
	if whole := highwayhash.Sum128(data[:end], key); !bytes.Equal(whole[:], data[end:]) {
		return x, true
	}
	of, counts, table := rest[:highwayhash.Size128], rest[highwayhash.Size128:fixed], rest[fixed:len(rest)-highwayhash.Size128]
	count := func(i int) int { return int(binary.BigEndian.Uint64(counts[8*i:])) }
	size, marks := count(0), count(1)*placeBytes
	if size > len(file) || size < head || marks+count(2)*placeBytes != len(table) {
		return x, true
	}
	if sum := highwayhash.Sum128(file[:size], key); !bytes.Equal(sum[:], of) {
		return x, true
	}
	return addendaIndex{size - head, table[:marks:marks], table[marks:]}, false
}

// placeOfLine returns where the line with a digest begins.
func (a *addenda) placeOfLine(sum digest) (at int, ok bool) {
	if at, ok := a.byMark[sum]; ok {
		return at, true
	}
	for at := range a.index.marks.of(sum) {
		if sha256.Sum256([]byte(a.lineAt(at))) == sum {
			return at, true
		}
	}
	return 0, false
}

// linesOfCase returns the lines that give a case an id, the first one first.
func (a *addenda) linesOfCase(reference string) (lines []string) {
	d := a.referenceDigest(reference)
	for at := range a.index.cases.of(d) {
		line := a.lineAt(at)
		if x, err := events.ParseDisclosure(line); err == nil && x.Text == reference {
			lines = append(lines, line)
		}
	}
	for _, at := range a.cases[d] {
		lines = append(lines, a.lineAt(at))
	}
	return lines
}

// severalTimes returns the references that may be of cases with several ids, in their order.
func (a *addenda) severalTimes() []string {
	var out []string
	maybe := func(at int) {
		if x, err := events.ParseDisclosure(a.lineAt(at)); err == nil {
			out = append(out, x.Text)
		}
	}
	for i, p := 1, a.index.cases; i < p.len(); i++ {
		if bytes.Equal(p.key(i-1), p.key(i)) {
			maybe(p.at(i - 1))
			maybe(p.at(i)) // another reference may have a digest that begins alike
		}
	}
	for reference, ats := range a.cases {
		more := len(ats) > 1
		for range a.index.cases.of(reference) {
			more = true
		}
		if more {
			maybe(ats[0])
		}
	}
	slices.SortFunc(out, cmp.Compare)
	return slices.Compact(out)
}

// referenceDigest stands for a case's reference in the index, where it tells nobody who hasn't the folder's key what it may have been.
func (a *addenda) referenceDigest(reference string) digest {
	return sha256.Sum256(append(slices.Clone(a.key), reference...))
}

// keepIndex writes an index of the addenda where the folder can be written in and the next start has something of it.
func (s *Site) keepIndex() {
	if s.addenda == nil || s.ledger.FilesOnly() || s.following != nil {
		return
	}
	if err := s.addenda.keepIndex(mostUnindexed); err != nil {
		s.opts.Logger.Warn("the next start takes longer", "file", addendaIndexName, "error", err)
	}
}
