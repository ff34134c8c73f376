package site

import (
	"context"
	"fmt"

	"listbound/events"
)

// maxPhotograph is more than a photograph of a line comes to, once it is made small.
const maxPhotograph = 2 << 20

// keptPhotographs are those of lines of lists. A site may take out what shows a person.
type keptPhotographs struct{ keptFiles }

func (s *Site) keptPhotographs() *keptPhotographs {
	return &keptPhotographs{keptFiles{site: s, what: "photograph", folder: "photographs", extension: ".jpg", most: maxPhotograph}}
}

// KeepPhotograph keeps a photograph beside the ledger, and returns the digest that a line names it by. It must have been made anew
// from its pixels: what a camera writes beside them, such as where it was, is not kept.
func (s *Site) KeepPhotograph(_ context.Context, jpeg []byte) (string, error) {
	return s.keptPhotographs().keep(jpeg)
}

// Photograph returns one that is kept.
func (s *Site) Photograph(digest string) ([]byte, error) { return s.keptPhotographs().read(digest) }

// look holds the photographs that a list's version names against their digests.
func (p *keptPhotographs) look(s *Site, seq int64, record []byte) {
	d, ok := saidWith[*events.ListIssued](s, record, `"photograph":"`, events.KindListIssued)
	if !ok {
		return
	}
	for i := range d.Lines {
		p.hold(seq, fmt.Sprintf("line %d", d.Lines[i].Line), d.Lines[i].Photograph)
	}
}
