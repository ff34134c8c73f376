package site

import (
	"context"
	"errors"
	"time"

	"listbound/events"
	"listbound/ledger"
)

// Notice is what everybody who looks at a page has to know of the ledger itself.
type Notice struct {
	What   Noticed
	First  string // the first problem
	More   int    // how many more there are; of texts: of how many records
	Lost   *events.RecordsLost
	At     time.Time // when a loss was declared
	By     string    // by whose badge
	Record int64     // which record declares it
}

// Noticed is a sort of notice.
type Noticed string

// The sorts.
const (
	NoticedBehind  Noticed = "behind"  // fewer records than there have been, or others
	NoticedDamage  Noticed = "damaged" // not what was signed
	NoticedNoRoom  Noticed = "no-room" // the disk is full
	NoticedCheck   Noticed = "check"   // the background check found something
	NoticedLost    Noticed = "lost"    // a loss was declared
	NoticedReading Noticed = "reading" // nothing can be written here
	NoticedTexts   Noticed = "texts"   // texts beside the ledger are gone
)

// Notices returns what there is, the most urgent first.
func (s *Site) Notices() (out []Notice) {
	if problems := s.Damage(); len(problems) > 0 {
		n := Notice{What: NoticedDamage, First: problems[0].String(), More: len(problems) - 1}
		if s.behindMemory() {
			n.What = NoticedBehind
		}
		out = append(out, n)
	}
	switch err := s.ledger.Recording(); {
	case len(out) > 0 || s.following != nil: // whose pages say up to where they answer
	case errors.Is(err, ledger.ErrNoRoom):
		out = append(out, Notice{What: NoticedNoRoom})
	case err != nil && !errors.Is(err, ledger.ErrClosed):
		out = append(out, Notice{What: NoticedReading, First: err.Error()})
	}
	if c := s.Checked(); c != nil && len(c.Problems) > 0 {
		out = append(out, Notice{What: NoticedCheck, First: c.Problems[0].String(), More: len(c.Problems) - 1, At: c.At})
	}
	if seqs := s.missing.Load(); seqs != nil && len(*seqs) > 0 {
		out = append(out, Notice{What: NoticedTexts, More: len(*seqs), Record: (*seqs)[0]})
	}
	return append(out, s.lost...)
}

// behindMemory reports whether what stops the ledger is that there has been more of it, or another one.
func (s *Site) behindMemory() bool {
	s.stopMu.Lock()
	defer s.stopMu.Unlock()
	return s.ledger.Loss() != nil || len(s.stopped) > 0
}

// readLost reads what was declared lost. That is recorded while no server has the folder, so once is enough.
func (s *Site) readLost(ctx context.Context) error {
	items, err := s.lossItems(ctx)
	for _, it := range items {
		if d, ok := it.Event.Data.(*events.RecordsLost); ok {
			s.lost = append(s.lost, Notice{What: NoticedLost, Lost: d, At: it.Event.Time, By: it.Event.Operator, Record: it.Seq})
		}
	}
	return err
}
