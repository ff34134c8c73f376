package site

import (
	"context"
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
)

// maxPhotograph is more than a photograph of a line comes to, once it is made small.
const maxPhotograph = 2 << 20

// keepBeside keeps a file beside the ledger, in a folder of its own: the folder's entry is on disk before the file's name is said.
func (s *Site) keepBeside(folder, name string, raw []byte) error {
	dir := filepath.Join(s.opts.Dir, folder)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if err := disk.SyncFolder(s.opts.Dir); err != nil {
		return err
	}
	return disk.Write(dir, name, raw)
}

// keptPhotographs are those of lines of lists, each a JPEG file under its digest, and what verify finds of them. One that is gone is
// told and is no fault: a site may take out what shows a person, and the list's digest stays what it was.
type keptPhotographs struct {
	dir      string
	problems []ledger.Problem
	remarks  []ledger.Problem
}

// photographsFolder is where they lie in a data folder.
const photographsFolder = "photographs"

func (s *Site) keptPhotographs() *keptPhotographs {
	return &keptPhotographs{dir: filepath.Join(s.opts.Dir, photographsFolder)}
}

func (p *keptPhotographs) path(digest string) string { return filepath.Join(p.dir, digest+".jpg") }

// KeepPhotograph keeps a photograph beside the ledger, and returns the digest that a line names it by. One that came before is kept
// once. It must have been made anew from its pixels: what a camera writes beside them, such as where it was, is not kept.
func (s *Site) KeepPhotograph(_ context.Context, jpeg []byte) (string, error) {
	return Answer(s, func(*View) (string, error) {
		if len(jpeg) == 0 || len(jpeg) > maxPhotograph {
			return "", refusal.New("the photograph has %d bytes; it has from 1 to %d", len(jpeg), maxPhotograph)
		}
		digest := digestOf(jpeg)
		if raw, err := os.ReadFile(s.keptPhotographs().path(digest)); err == nil && digestOf(raw) == digest {
			return digest, nil
		}
		if err := s.keepBeside(photographsFolder, digest+".jpg", jpeg); err != nil {
			return "", fmt.Errorf("keeping a photograph: %w", err)
		}
		return digest, nil
	})
}

// Photograph returns one that is kept. One that is not, or is another than it was, is not found.
func (s *Site) Photograph(digest string) ([]byte, error) {
	if sum, err := hex.DecodeString(digest); err != nil || len(sum) != len(events.Digest{}) {
		return nil, fmt.Errorf("%w: %q names no photograph", ErrNotFound, digest)
	}
	raw, err := os.ReadFile(s.keptPhotographs().path(digest))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: the photograph %s is not kept here", ErrNotFound, digest)
	case err == nil && digestOf(raw) != digest:
		return nil, fmt.Errorf("%w: the photograph %s is another one than was issued", ErrNotFound, digest)
	}
	return raw, err
}

// look holds the photographs that a list's version names against their digests. All other records it passes over without parsing them.
func (p *keptPhotographs) look(s *Site, seq int64, record []byte) {
	e := eventWith(s, record, `"photograph":"`)
	if e == nil {
		return
	}
	said := e.Data
	if c, ok := said.(*events.EventCorrected); ok && len(c.Data) > 0 {
		var err error
		if said, err = events.DecodeData(events.KindListIssued, c.Data); err != nil {
			return // of another kind
		}
	}
	d, ok := said.(*events.ListIssued)
	if !ok {
		return
	}
	for i := range d.Lines {
		l := &d.Lines[i]
		if l.Photograph == "" {
			continue
		}
		switch raw, err := os.ReadFile(p.path(l.Photograph)); {
		case errors.Is(err, fs.ErrNotExist):
			p.remarks = append(p.remarks, ledger.Problem{Seq: seq,
				What: fmt.Sprintf("the photograph of line %d is not kept here any more", l.Line)})
		case err != nil:
			p.problems = append(p.problems, ledger.Problem{Seq: seq, What: fmt.Sprintf("the photograph of line %d: %v", l.Line, err)})
		case digestOf(raw) != l.Photograph:
			p.problems = append(p.problems, ledger.Problem{Seq: seq, What: fmt.Sprintf("the photograph of line %d (%s) is another one "+
				"than was issued; put the file back from a copy", l.Line, l.Photograph)})
		}
	}
}
