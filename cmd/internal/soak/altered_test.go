//go:build !race

package soak

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// TestTampered: whoever has the folder with all its keys changes records and makes everything that hangs on them anew: the
// tree, the checkpoint, the stream, and nothing remembers the old one. What the records themselves say of each other still
// tells of most; of what it can't tell, a checkpoint and a printed line of before must.
func TestTampered(t *testing.T) {
	base := filled(t, week(t, 260))
	f := whole(t, base)
	honest := readHonest(t, f)
	tb := &table{t: t, inMemory: true}
	for _, way := range tamperings {
		tb.atLeast("with all keys: "+way.name, 1, 65, func(s *soak) { tamper(s, f, honest, way.do) })
	}
	tb.print()
}

// honest is a ledger as it was, and what lies of it elsewhere.
type honest struct {
	origin     string
	records    [][]byte
	checkpoint []byte // as a witness keeps it
	line       string // as it is printed on a count sheet
	remarks    int
}

func readHonest(t *testing.T, f *folder) *honest {
	t.Helper()
	d, err := site.Open(t.Context(), options(f.dir))
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	h := &honest{origin: d.Name(), checkpoint: bytes.Clone(d.SignedNote())}
	for seq := range d.Size() {
		r, err := d.ReadRecord(seq + 1)
		if err != nil {
			t.Fatal(err)
		}
		h.records = append(h.records, bytes.Clone(r))
	}
	line, err := d.CheckLine(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	h.line = line.Printed()
	v, err := d.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	h.remarks = len(v.Remarks)
	return h
}

// forgery is the records that take the place of the true ones.
type forgery struct {
	*soak
	*honest
	dir     string
	records [][]byte
}

var tamperings = []struct {
	name string
	do   func(f *forgery) bool
}{
	{"a record changed", func(f *forgery) bool { return f.resign(f.rnd.IntN(len(f.records)), f.otherBadge) }},
	{"a station's last record changed", func(f *forgery) bool { return f.resign(f.lastOf(), f.otherBadge) }},
	{"a record taken out", func(f *forgery) bool {
		i := f.rnd.IntN(len(f.records))
		f.records = slices.Delete(f.records, i, i+1)
		return true
	}},
	{"two exchanged", func(f *forgery) bool {
		i := f.rnd.IntN(len(f.records) - 1)
		f.records[i], f.records[i+1] = f.records[i+1], f.records[i]
		return true
	}},
	{"one put in twice", func(f *forgery) bool {
		i := f.rnd.IntN(len(f.records))
		f.records = slices.Insert(f.records, f.rnd.IntN(len(f.records)), f.records[i])
		return true
	}},
	{"another time of arrival", func(f *forgery) bool {
		return f.arrive(func(at time.Time, links []proof.Link) (time.Time, []proof.Link) {
			return at.Add(time.Duration(f.rnd.Int64N(int64(2*time.Hour))) - time.Hour), links
		})
	}},
	{"other links", func(f *forgery) bool {
		return f.arrive(func(at time.Time, links []proof.Link) (time.Time, []proof.Link) {
			if len(links) > 0 && links[0].Prev > 1 { // in a form that the ledger itself would write
				links[0].Prev = 1 + f.rnd.Int64N(links[0].Prev-1)
			}
			return at, links
		})
	}},
	{"the end cut off", func(f *forgery) bool {
		f.records = f.records[:len(f.records)-1-f.rnd.IntN(len(f.records)/2)]
		return true
	}},
}

// lastOf returns where the last record of some station stands.
func (f *forgery) lastOf() int {
	last := make(map[string]int)
	for i, r := range f.records {
		if e := f.event(r); e.Station != f.origin {
			last[e.Station] = i
		}
	}
	var all []int
	for _, i := range last {
		all = append(all, i)
	}
	slices.Sort(all)
	return all[f.rnd.IntN(len(all))]
}

func (f *forgery) event(record []byte) *events.Event {
	n, _, _, err := proof.SplitArrival(f.origin, record)
	f.must(err)
	e, err := events.ParseNote(n)
	f.must(err)
	return e
}

func (f *forgery) otherBadge(e *events.Event) bool {
	if e.Operator == "" {
		return false
	}
	e.Operator = fmt.Sprintf("B-9%03d", f.rnd.IntN(1000))
	return true
}

// key reads a key of the folder that is tampered with.
func (f *forgery) key(station string) note.Signer {
	path := filepath.Join(f.dir, "keys", strings.Replace(station, "/", "_", 1)+".key")
	signer, _, _, err := ledger.LoadOrCreateKey(path, station)
	f.must(err)
	return signer
}

// resign changes a record and has its station sign it.
func (f *forgery) resign(i int, change func(*events.Event) bool) bool {
	e := f.event(f.records[i])
	if !change(e) {
		return false
	}
	n, err := events.Sign(e, f.key(e.Station))
	f.must(err)
	_, at, remark, err := proof.SplitArrival(f.origin, f.records[i])
	f.must(err)
	links, err := proof.Links(f.origin, f.records[i])
	f.must(err)
	f.records[i] = proof.AddArrival(f.origin, n, at, remark, links...)
	return true
}

// arrive writes another arrival line below a record.
func (f *forgery) arrive(change func(time.Time, []proof.Link) (time.Time, []proof.Link)) bool {
	i := f.rnd.IntN(len(f.records))
	n, at, remark, err := proof.SplitArrival(f.origin, f.records[i])
	f.must(err)
	links, err := proof.Links(f.origin, f.records[i])
	f.must(err)
	at, links = change(at, links)
	forged := proof.AddArrival(f.origin, n, at, remark, links...)
	if bytes.Equal(forged, f.records[i]) {
		return false
	}
	f.records[i] = forged
	return true
}

// write makes the folder's ledger anew of the forged records, by the means that the program itself has.
func (f *forgery) write() {
	root := filepath.Join(f.dir, "log")
	for _, name := range []string{"log", "stream", "stream.clean", "newest.checkpoint", "newest.heads"} {
		f.must(os.RemoveAll(filepath.Join(f.dir, name)))
	}
	put := func(name string, data []byte) {
		path := filepath.Join(root, filepath.FromSlash(name))
		f.must(os.MkdirAll(filepath.Dir(path), 0o700))
		f.must(os.WriteFile(path, data, 0o600))
	}
	tile := func(level int, index int64, hashes []tlog.Hash) {
		put(proof.TilePath(level, index, len(hashes)), proof.EncodeTile(hashes))
	}
	tree := &proof.Tree{}
	var entries []byte
	for i, r := range f.records {
		var err error
		entries, err = proof.AppendEntry(entries, r)
		f.must(err)
		tree.Append(proof.LeafHash(r), tile)
		if n := i + 1; n%proof.TileWidth == 0 || n == len(f.records) {
			put(proof.EntriesPath(int64(i)/proof.TileWidth, i%proof.TileWidth+1), entries)
			entries = nil
		}
	}
	tree.Partial(tile)
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: f.origin, Size: tree.Size(), Root: tree.Root()}, f.key(f.origin))
	f.must(err)
	put("checkpoint", msg)
	_, err = site.Repair(f.Context(), options(f.dir), nil)
	f.must(err)
	for _, name := range []string{"readmodel.db", "readmodel.db-wal", "readmodel.db-shm", "seen.records"} {
		f.must(os.RemoveAll(filepath.Join(f.dir, name)))
	}
}

func tamper(s *soak, whole *folder, h *honest, do func(*forgery) bool) {
	f := &forgery{soak: s, honest: h, dir: filepath.Join(s.TempDir(), "d"), records: slices.Clone(h.records)}
	copyFolder(s.T, whole.dir, f.dir)
	if !do(f) {
		s.tried--
		return
	}
	f.write()
	s.hit++
	d, err := site.Open(s.Context(), options(f.dir))
	s.must(err)
	defer func() { s.must(d.Close()) }()
	v, err := d.Verify(s.Context(), nil)
	s.must(err)
	if !v.OK || len(v.Remarks) > h.remarks {
		s.noticed++
	} else {
		s.outside++
	}
	s.seenOutside(d, h)
}

// seenOutside holds a ledger that was tampered with against what lies of the true one elsewhere.
func (s *soak) seenOutside(d *site.Site, h *honest) {
	s.Helper()
	then, err := bundle.CheckpointOf(h.checkpoint)
	s.must(err)
	if p, err := d.Consistency(s.Context(), then.Size); err == nil { // else it never had so many, which it says
		if c, err := bundle.CompareNow(h.checkpoint, p, d.Keys()); err != nil || c.Same || !c.Known {
			s.lose("beside a checkpoint of before: %+v, %v", c, err)
		}
	}
	line, err := events.ParseCheckLine(h.line)
	s.must(err)
	if root, err := d.RootAt(s.Context(), line.Size); err == nil && line.Agrees(root) {
		s.lose("a printed line of before passes")
	}
}
