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
)

// maxPicture is more than the marks of a page come to.
const maxPicture = 16 << 20

// keptPictures are the parts of pictures that a site keeps of count sheets that were read back, and what verify finds wrong with
// them. One that is gone is told and is no fault: how long they are kept is the site's to say.
type keptPictures struct {
	dir      string
	problems []ledger.Problem
	remarks  []ledger.Problem
}

func (s *Site) keptPictures() *keptPictures {
	return &keptPictures{dir: filepath.Join(s.opts.Dir, "pictures")}
}

// KeepPicture keeps a picture beside the ledger, and returns the digest that a record names it by. One that came before is kept
// once.
func (s *Site) KeepPicture(_ context.Context, png []byte) (string, error) {
	return Answer(s, func(*View) (string, error) {
		if len(png) == 0 || len(png) > maxPicture {
			return "", refusal.New("the picture has %d bytes; it has from 1 to %d", len(png), maxPicture)
		}
		p, digest := s.keptPictures(), digestOf(png)
		if raw, err := os.ReadFile(p.path(digest)); err == nil && digestOf(raw) == digest {
			return digest, nil
		}
		if err := s.keepBeside("pictures", digest+".png", png); err != nil {
			return "", fmt.Errorf("keeping a picture: %w", err)
		}
		return digest, nil
	})
}

func (p *keptPictures) path(digest string) string { return filepath.Join(p.dir, digest+".png") }

// look holds the pictures that a count names against their digests. All other records it passes over without parsing them.
func (p *keptPictures) look(s *Site, seq int64, record []byte) {
	e := eventWith(s, record, `"kept":"`)
	if e == nil {
		return
	}
	d, ok := e.Data.(*events.SetCounted)
	if !ok || d.Paper == nil {
		return
	}
	for _, page := range d.Paper.Pages {
		if page.Kept == "" {
			continue
		}
		if _, err := hex.DecodeString(page.Kept); err != nil {
			continue
		}
		switch raw, err := os.ReadFile(p.path(page.Kept)); {
		case errors.Is(err, fs.ErrNotExist):
			p.remarks = append(p.remarks, ledger.Problem{Seq: seq,
				What: fmt.Sprintf("the picture of page %d is not kept here any more", page.Page)})
		case err != nil:
			p.problems = append(p.problems, ledger.Problem{Seq: seq, What: fmt.Sprintf("the picture of page %d: %v", page.Page, err)})
		case digestOf(raw) != page.Kept:
			p.problems = append(p.problems, ledger.Problem{Seq: seq,
				What: fmt.Sprintf("the picture %s is another one than was recorded; put the file back from a copy", page.Kept)})
		}
	}
}
