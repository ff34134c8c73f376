package site

import (
	"context"
	"fmt"

	"listbound/events"
)

// maxPicture is more than the marks of a page come to.
const maxPicture = 16 << 20

// keptPictures are the parts of pictures that a site keeps of count sheets that were read back.
type keptPictures struct{ keptFiles }

func (s *Site) keptPictures() *keptPictures {
	return &keptPictures{keptFiles{site: s, what: "picture", folder: "pictures", extension: ".png", most: maxPicture}}
}

// KeepPicture keeps a picture beside the ledger, and returns the digest that a record names it by.
func (s *Site) KeepPicture(_ context.Context, png []byte) (string, error) {
	return s.keptPictures().keep(png)
}

// look holds the pictures that a count names against their digests.
func (p *keptPictures) look(s *Site, seq int64, record []byte) {
	d, ok := saidWith[*events.SetCounted](s, record, `"kept":"`, events.KindSetCounted)
	if !ok || d.Paper == nil {
		return
	}
	for _, page := range d.Paper.Pages {
		p.hold(seq, fmt.Sprintf("page %d", page.Page), page.Kept)
	}
}
