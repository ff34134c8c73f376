//go:build !race

package soak

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
)

// powerCut is a folder as it lay on the disk before a round of records and after it, while a program had it.
type powerCut struct {
	before, after string
	lines         []string // all of them
	acknowledged  []site.Receipt
	block         string // of the stream, below a folder
	from, to      int64  // its length before and after
}

// TestPowerFails cuts files at every length after their last sync: the stream's block, which is synced before anybody gets
// a receipt, behind the last receipt's record; and what is never waited for, such as the read model, anywhere behind what
// SQLite has synced. What had a receipt must be there, and the rest can be handed in again.
func TestPowerFails(t *testing.T) {
	p := beforeAndAfter(t)
	tb := &table{t: t, inMemory: true}
	lengths := int(p.to - p.from + 1)
	tb.atLeast("power fails: the stream cut at every length", 4, lengths, func(s *soak) {
		at := s.tried - 1
		if !long() { // some of them
			at = s.rnd.IntN(lengths)
		}
		p.cutStream(s, p.from+int64(at%lengths))
	})
	tb.run("power fails: what isn't synced cut anywhere", 4, p.cutOthers)
	tb.print()
}

// beforeAndAfter records, and copies the folder before the last line and after it.
func beforeAndAfter(t *testing.T) *powerCut {
	t.Helper()
	p := &powerCut{lines: week(t, 240)}
	dir := newFolder(t)
	p.before, p.after = filepath.Join(t.TempDir(), "before"), filepath.Join(t.TempDir(), "after")
	o := options(dir)
	o.Existing, o.Name, o.EnrolOnSight = false, "north", true
	d, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	record := func(lines []string) {
		t.Helper()
		err := d.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")+"\n"), func(r site.Receipt) error {
			p.acknowledged = append(p.acknowledged, r)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	last := len(p.lines) - 1
	record(p.lines[:last])
	if _, err := d.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	copyFolder(t, dir, p.before)
	record(p.lines[last:])
	copyFolder(t, dir, p.after)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	blocks, err := filepath.Glob(filepath.Join(p.after, "stream/jetstream/*/streams/*/msgs/*.blk"))
	if err != nil || len(blocks) != 1 {
		t.Fatalf("blocks: %v, %v", blocks, err)
	}
	if p.block, err = filepath.Rel(p.after, blocks[0]); err != nil {
		t.Fatal(err)
	}
	for dir, size := range map[string]*int64{p.before: &p.from, p.after: &p.to} {
		info, err := os.Stat(filepath.Join(dir, p.block))
		if err != nil {
			t.Fatal(err)
		}
		*size = info.Size()
	}
	if p.from >= p.to {
		t.Fatalf("the last record is not in the block: %d and %d bytes", p.from, p.to)
	}
	return p
}

// cutStream leaves of the last record's round a part in the block, and nothing elsewhere: it had no receipt yet.
func (p *powerCut) cutStream(s *soak, at int64) {
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, p.before, dir)
	raw, err := os.ReadFile(filepath.Join(p.after, p.block))
	s.must(err)
	raw = raw[:at:at]
	if s.rnd.IntN(2) == 0 { // as file systems leave what was asked for and not written
		raw = append(raw, make([]byte, s.rnd.IntN(5000))...)
	}
	s.must(os.WriteFile(filepath.Join(dir, p.block), raw, 0o600))
	p.index(s, dir)
	s.hit++
	p.goesOn(s, dir, len(p.lines)-1)
}

// index takes the stream's index away, or leaves one that is older than the block.
func (p *powerCut) index(s *soak, dir string) {
	if s.rnd.IntN(2) == 0 {
		s.must(os.RemoveAll(filepath.Join(dir, filepath.Dir(p.block), "index.db")))
	}
}

// cutOthers has all in the stream that had a receipt, and of what is written beside it without a sync any part.
func (p *powerCut) cutOthers(s *soak) {
	dir := filepath.Join(s.TempDir(), "d")
	copyFolder(s.T, p.after, dir)
	p.index(s, dir)
	for _, name := range []string{"readmodel.db-wal", "newest.checkpoint", "newest.heads",
		filepath.Join(filepath.Dir(p.block), "index.db")} {
		path := filepath.Join(dir, name)
		info, err := os.Stat(path)
		if err != nil || info.Size() == 0 || s.rnd.IntN(3) == 0 {
			continue
		}
		raw, err := os.ReadFile(path)
		s.must(err)
		at := s.rnd.IntN(len(raw))
		raw = bytes.Clone(raw[:at])
		if s.rnd.IntN(2) == 0 {
			raw = append(raw, make([]byte, int(info.Size())-at)...)
		}
		s.must(os.WriteFile(path, raw, 0o600))
		s.hit = s.tried
	}
	s.must(os.RemoveAll(filepath.Join(dir, "readmodel.db-shm")))
	p.goesOn(s, dir, len(p.lines))
}

// goesOn starts with a folder, and hands all lines in again: those that had a receipt are known, at their places.
func (p *powerCut) goesOn(s *soak, dir string, had int) {
	d, err := site.Open(s.Context(), options(dir))
	if err != nil {
		s.lose("it can't be opened: %v", err)
		return
	}
	defer func() { s.must(d.Close()) }()
	var got []site.Receipt
	err = d.Record(s.Context(), strings.NewReader(strings.Join(p.lines, "\n")+"\n"), func(r site.Receipt) error {
		got = append(got, r)
		return nil
	})
	if err != nil || len(got) != len(p.lines) {
		s.lose("%d receipts for %d lines: %v", len(got), len(p.lines), err)
		return
	}
	for i, r := range got {
		if was := p.acknowledged[i]; r.Seq != was.Seq || r.ID != was.ID || r.Error != "" || i < had && !r.Known {
			s.lose("line %d was acknowledged as %+v and is now %+v", i+1, was, r)
			return
		}
	}
	v, err := d.Verify(s.Context(), nil)
	s.must(err)
	if !v.OK || v.Size != slices.MaxFunc(p.acknowledged, bySeq).Seq {
		s.lose("%d records: %v", v.Size, v.Problems)
	}
}

func bySeq(a, b site.Receipt) int { return int(a.Seq - b.Seq) }
