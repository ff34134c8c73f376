package site

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// keptFiles are files of one kind that a site keeps beside the ledger, in a folder of their own, each under the SHA-256 that a
// record names it by; and what verify finds of them. One that is gone is told and is no fault: how long they are kept is the
// site's to say, and the record's digest stays what it was.
type keptFiles struct {
	site      *Site
	what      string // one of them, for messages
	folder    string // in the data folder
	extension string
	most      int // bytes that one has
	problems  []ledger.Problem
	remarks   []ledger.Problem
}

func (k *keptFiles) path(digest string) string {
	return filepath.Join(k.site.opts.Dir, k.folder, digest+k.extension)
}

// keep keeps a file, and returns the digest that a record names it by. One that came before is kept once.
func (k *keptFiles) keep(raw []byte) (string, error) {
	return Answer(k.site, func(*View) (string, error) { // the folder is in hand as long as a question is answered
		if len(raw) == 0 || len(raw) > k.most {
			return "", refusal.New("the %s has %d bytes; it has from 1 to %d", k.what, len(raw), k.most)
		}
		digest := digestOf(raw)
		if was, err := os.ReadFile(k.path(digest)); err == nil && digestOf(was) == digest {
			return digest, nil
		}
		if err := k.site.keepBeside(k.folder, digest+k.extension, raw); err != nil {
			return "", fmt.Errorf("keeping a %s: %w", k.what, err)
		}
		return digest, nil
	})
}

// read returns a file that is kept. One that is not, or is another than it was, is not found.
func (k *keptFiles) read(digest string) ([]byte, error) {
	if sum, err := hex.DecodeString(digest); err != nil || len(sum) != len(events.Digest{}) {
		return nil, fmt.Errorf("%w: %q names no %s", ErrNotFound, digest, k.what)
	}
	raw, err := os.ReadFile(k.path(digest))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: the %s %s is not kept here", ErrNotFound, k.what, digest)
	case err == nil && digestOf(raw) != digest:
		return nil, fmt.Errorf("%w: the %s %s is another one than was recorded", ErrNotFound, k.what, digest)
	}
	return raw, err
}

// hold holds the file that a place of a record names against its digest.
func (k *keptFiles) hold(seq int64, place, digest string) {
	if _, err := hex.DecodeString(digest); err != nil || digest == "" {
		return
	}
	what := "the " + k.what + " of " + place
	switch raw, err := os.ReadFile(k.path(digest)); {
	case errors.Is(err, fs.ErrNotExist):
		k.remarks = append(k.remarks, ledger.Problem{Seq: seq, What: what + " is not kept here any more"})
	case err != nil:
		k.problems = append(k.problems, ledger.Problem{Seq: seq, What: fmt.Sprintf("%s: %v", what, err)})
	case digestOf(raw) != digest:
		k.problems = append(k.problems, ledger.Problem{Seq: seq,
			What: fmt.Sprintf("%s (%s) is another one than was recorded; put the file back from a copy", what, digest)})
	}
}

// keepBeside keeps a file beside the ledger, in a folder of its own: the folder's entry is on disk before the file's name is said.
func (s *Site) keepBeside(folder, name string, raw []byte) error {
	if err := s.followsElsewhere(); err != nil {
		return err
	}
	dir := filepath.Join(s.opts.Dir, folder)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if err := disk.SyncFolder(s.opts.Dir); err != nil {
		return err
	}
	return disk.Write(dir, name, raw)
}

// saidWith returns what a record says of a kind that has a member in it, by itself or as a correction's; nil of any other and of one
// that can't be read, which is told of otherwise. Records without the member are not parsed.
func saidWith[D events.Data](s *Site, record []byte, member string, kind events.Kind) (d D, ok bool) {
	e := eventWith(s, record, member)
	if e == nil {
		return d, false
	}
	said := e.Data
	if c, corrects := said.(*events.EventCorrected); corrects && len(c.Data) > 0 {
		var err error
		if said, err = events.DecodeData(kind, c.Data); err != nil {
			return d, false // of another kind
		}
	}
	d, ok = said.(D)
	return d, ok
}

// eventWith returns the event of a record that has a member in it, nil of any other and of one that can't be read, which is told
// of otherwise.
func eventWith(s *Site, record []byte, member string) *events.Event {
	if !bytes.Contains(record, []byte(member)) {
		return nil
	}
	n, _, _, err := proof.SplitArrival(s.Name(), record)
	if err != nil {
		return nil
	}
	e, err := events.ParseNote(n)
	if err != nil {
		return nil
	}
	return e
}
