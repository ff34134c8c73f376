package ledger

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// Each record names, for what it is about, the record before it about the same (proof.Link). For that the ledger knows
// the newest record about each key: its heads. They follow from the arrival lines alone, so they can be made by reading
// all records; a start reads a copy of them, and the records since. The copy is signed and names the root of the tree
// that it was made from: one that is torn, changed or of another history is none.
const (
	headsName   = "newest.heads"
	headsHeader = "listbound heads v1"
	// headsAhead is after how many records the copy is written anew: they are read in some milliseconds. It is of all keys, so where
	// there are many it is after one for each headsShare of them: else to write it would cost more the longer the ledger is.
	headsAhead = 1000
	headsShare = 8
)

// heads are guarded by Ledger.mu.
type heads struct {
	loaded bool
	upto   int64 // records taken in
	first  int64 // the first record with links, 0 for none
	kept   int64 // upto of the copy on disk
	newest proof.Newest
}

func (h *heads) take(seq int64, links []proof.Link) {
	for _, l := range links {
		h.newest.Put(proof.Head{Key: l.Key, Last: seq, Count: l.Count})
	}
	if len(links) > 0 && h.first == 0 {
		h.first = seq
	}
	h.upto = seq
}

// after begins a round whose first record comes behind size.
func (h *heads) after(size int64) *upcoming {
	return &upcoming{heads: h, seq: size, own: map[string]proof.Head{}}
}

// upcoming numbers the links of a round before it is stored.
type upcoming struct {
	heads *heads
	seq   int64
	own   map[string]proof.Head
}

// add returns the links of the next record.
func (u *upcoming) add(about []string) []proof.Link {
	u.seq++
	if len(about) == 0 {
		return nil
	}
	links := make([]proof.Link, len(about))
	for i, key := range about {
		h, ok := u.own[key]
		if !ok {
			h = u.heads.newest.Get(key) // only the committer, who is here, changes it
		}
		links[i] = proof.Link{Key: key, Prev: h.Last, Count: h.Count + 1}
		u.own[key] = proof.Head{Last: u.seq, Count: h.Count + 1}
	}
	return links
}

// Prepare reads ahead what the first record is waited for otherwise: which record is the newest about each key.
func (l *Ledger) Prepare() error { return l.loadHeads() }

// loadHeads makes the heads known. It is called by the committer before its first round, and by whoever asks for them.
func (l *Ledger) loadHeads() error {
	l.loading.Lock()
	defer l.loading.Unlock()
	l.mu.Lock()
	loaded := l.heads.loaded
	l.mu.Unlock()
	if loaded {
		return nil
	}
	h := heads{loaded: true}
	if copied, err := l.readHeads(); err != nil {
		l.log.Info("reading all records to know the newest about each set and case", "why", err)
	} else {
		h = copied
	}
	// Before its first round nothing else grows the ledger.
	if err := l.followLinks(&h, l.Size()); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.heads = h
	return nil
}

// followLinks takes records in, up to one.
func (l *Ledger) followLinks(h *heads, upto int64) error {
	err := l.Scan(context.Background(), h.upto+1, func(seq int64, record []byte) error {
		if seq > upto {
			return io.EOF
		}
		links, err := proof.Links(l.opts.Origin, record)
		if err != nil {
			return fmt.Errorf("record %d: %w", seq, err)
		}
		h.take(seq, links)
		return nil
	})
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// Heads are the newest records about each key.
type Heads struct {
	*proof.Heads
	Upto  int64 // the last record taken in
	First int64 // the first record with links, 0 for none: those before it were recorded by an earlier program
}

// Heads returns the newest record about each key.
func (l *Ledger) Heads() (*Heads, error) {
	if l.stopped() {
		return nil, ErrClosed
	}
	if err := l.loadHeads(); err != nil {
		return nil, err
	}
	l.keepHeads()
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.heads.all(), nil
}

// HeadsAt returns what Heads returned when record upto was the last one. It reads all records up to that one.
func (l *Ledger) HeadsAt(upto int64) (*Heads, error) {
	var h heads
	if err := l.followLinks(&h, upto); err != nil {
		return nil, err
	}
	return h.all(), nil
}

// Linked reports whether a record is linked to a key.
func (l *Ledger) Linked(key string) (bool, error) {
	if err := l.loadHeads(); err != nil {
		return false, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.heads.newest.Get(key).Count > 0, nil
}

func (h *heads) all() *Heads {
	return &Heads{h.newest.Heads(), h.upto, h.first}
}

func (l *Ledger) headsPath() string { return filepath.Join(l.opts.Dir, headsName) }

// keepHeads writes the copy where it would spare the next start something: when the heads are asked for, and at a stop.
func (l *Ledger) keepHeads() {
	l.mu.Lock()
	due := l.opts.Copy == nil && l.heads.loaded && l.heads.upto <= l.signed.Size &&
		l.heads.upto >= l.heads.kept+max(headsAhead, int64(l.heads.newest.Len()/headsShare))
	l.mu.Unlock()
	if !due {
		return
	}
	if err := l.writeHeads(); err != nil {
		l.log.Warn("cannot keep a copy of what is newest about each set and case", "file", headsName, "err", err)
	}
}

// writeHeads keeps a copy of the heads. It does not wait for the disk: a torn copy is none.
func (l *Ledger) writeHeads() error {
	l.mu.Lock()
	all := l.heads.all()
	l.mu.Unlock()
	root, err := l.RootAt(all.Upto)
	if err != nil {
		return err
	}
	var text bytes.Buffer
	fmt.Fprintf(&text, "%s\n%d %d %x\n", headsHeader, all.Upto, all.First, root[:])
	for _, h := range all.All() {
		text.Write(h.Append(text.AvailableBuffer()))
		text.WriteByte('\n')
	}
	msg, err := proof.SignNote(text.String(), l.Signer())
	if err != nil {
		return err
	}
	path := l.headsPath()
	if err := os.WriteFile(path+".tmp", msg, 0o600); err != nil {
		return err
	}
	if err := os.Rename(path+".tmp", path); err != nil {
		return err
	}
	l.mu.Lock()
	l.heads.kept = all.Upto
	l.mu.Unlock()
	return nil
}

// readHeads reads the copy, if it is one of this ledger as it is now.
func (l *Ledger) readHeads() (heads, error) {
	h := heads{loaded: true}
	msg, err := os.ReadFile(l.headsPath())
	if err != nil {
		return h, cause(err)
	}
	n, err := proof.OpenNote(msg, note.VerifierList(l.opts.verifiers()...))
	if err != nil {
		return h, err
	}
	lines := strings.Split(strings.TrimSuffix(n.Text, "\n"), "\n")
	if len(lines) < 2 || lines[0] != headsHeader {
		return h, fmt.Errorf("%s is in no form that is known here", headsName)
	}
	var hash string
	if _, err := fmt.Sscanf(lines[1], "%d %d %64s", &h.upto, &h.first, &hash); err != nil {
		return h, err
	}
	if h.upto > l.Signed().Size {
		return h, fmt.Errorf("%s is of %d records, and %d are signed", headsName, h.upto, l.Signed().Size)
	}
	root, err := l.RootAt(h.upto)
	if err != nil {
		return h, err
	}
	if want, err := hex.DecodeString(hash); err != nil || len(want) != tlog.HashSize || tlog.Hash(want) != root {
		return h, fmt.Errorf("%s is of another history", headsName)
	}
	h.newest.Grow(len(lines) - 2)
	for _, line := range lines[2:] {
		x, err := proof.ParseHead(line)
		if err != nil {
			return h, err
		}
		h.newest.Put(x)
	}
	h.kept = h.upto
	return h, nil
}
