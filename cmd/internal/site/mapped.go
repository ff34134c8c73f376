package site

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"listbound/cmd/internal/bundle"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// mapEvery is after how many records the newest about each set and case are put on record although nobody asks: some day
// and a half of a hospital with a million records a year. What is on record before anybody knows which case will matter
// can't be shorter for that case later. Each evidence bundle has one made right before it, so that nothing lies behind.
const mapEvery = 4096

// mapDue reports whether so many records since the last mapping are enough, where rounds are as long as the one that was just stored:
// of two ends of rounds it is the one that is nearer.
func mapDue(since, every int64, round int) bool { return since+int64(round/2) >= every }

// mapWhenDue puts the newest records about each set and case on record, when many have come since. The caller holds
// s.intake. Nothing that was recorded depends on it, so a failure is only logged: it is tried again.
func (s *Site) mapWhenDue(ctx context.Context, stored int) {
	due := func() bool { return mapDue(s.ledger.Size()-s.mapped, s.opts.mapEvery, stored) }
	if s.mapping || !due() {
		return
	}
	ctx = context.WithoutCancel(ctx)
	var err error
	if s.mapped == 0 { // none since the folder was opened, and whoever scans first waits for one that isn't due
		s.mapped, err = s.lastMapped(ctx)
	}
	if err == nil && due() {
		_, err = s.mapNow(ctx)
	}
	if err != nil {
		s.opts.Logger.Warn("the newest record about each set and case could not be put on record", "error", err)
	}
}

// mapping is the newest record about each key at one moment, and the record of it.
type mapping struct {
	seq   int64
	heads *ledger.Heads
}

// mapNow returns a mapping behind which no other record lies, and records it where there is none. The caller holds
// s.intake.
func (s *Site) mapNow(ctx context.Context) (*mapping, error) {
	last := s.mapped
	if last == 0 { // none since the folder was opened
		var err error
		if last, err = s.lastMapped(ctx); err != nil {
			return nil, err
		}
	}
	if s.mapped = last; last == 0 || last < s.ledger.Size() {
		// Signed first, so that the ledger can keep a copy of its heads.
		if _, err := s.ledger.Checkpoint(ctx); err != nil {
			return nil, err
		}
		heads, err := s.ledger.Heads()
		if err != nil {
			return nil, err
		}
		if err := s.recordMap(ctx, heads); err != nil {
			return nil, err
		}
		s.mapped = s.ledger.Size()
		return &mapping{s.mapped, heads}, nil
	}
	heads, err := s.ledger.Heads()
	return &mapping{last, heads}, err
}

func (s *Site) recordMap(ctx context.Context, heads *ledger.Heads) error {
	in, err := s.begin(ctx)
	if err != nil {
		return err
	}
	root := heads.Root()
	d := &events.RecordsMapped{Upto: heads.Upto, From: heads.First, Size: int64(heads.Len()), Root: fmt.Sprintf("%x", root[:])}
	if _, err := in.ledgerEvent(s.opts.Clock(), d); err != nil {
		return err
	}
	s.mapping = true
	defer func() { s.mapping = false }()
	_, err = s.append(ctx, in.entries)
	return err
}

// beginWriting makes this process the writer of a ledger in a cluster: with its first record no earlier writer's can follow
// any more. It is a mapping, which says what the new writer found.
func (s *Site) beginWriting(ctx context.Context) error {
	if s.opts.Cluster == nil || s.writable() != nil {
		return nil
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	if _, err := s.ledger.Checkpoint(ctx); err != nil {
		return err
	}
	heads, err := s.ledger.Heads()
	if err != nil {
		return err
	}
	if err := s.recordMap(ctx, heads); err != nil {
		return fmt.Errorf("cannot begin to write: %w", err)
	}
	s.mapped = s.ledger.Size()
	return nil
}

// lastMapped returns the newest record of a mapping, 0 for none.
func (s *Site) lastMapped(ctx context.Context) (int64, error) {
	return Answer(s, func(v *View) (int64, error) { return v.LastMapped(ctx, SiteOf(s.Name())) })
}

// newestMapping returns the mapping for a bundle. Where nothing can be recorded it is the last one there is, nil for none.
func (s *Site) newestMapping(ctx context.Context) (*mapping, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	if s.writable() == nil {
		return s.mapNow(ctx)
	}
	last, err := s.lastMapped(ctx)
	if err != nil || last == 0 {
		return nil, err
	}
	heads, err := s.ledger.HeadsAt(last - 1)
	return &mapping{last, heads}, err
}

// linkAudit replays what the records of a whole ledger say they are about against what they are about.
type linkAudit struct {
	site  *Site
	links *bundle.LinkAudit
	ids   map[uuid.UUID]int64
}

func (s *Site) newLinkAudit() *linkAudit {
	a := &linkAudit{site: s, ids: make(map[uuid.UUID]int64)}
	a.links = bundle.NewLinkAudit(a.first)
	return a
}

// first returns the first event under an id.
func (a *linkAudit) first(id string) *events.Event {
	u, err := uuid.Parse(id)
	seq := a.ids[u]
	if err != nil || seq == 0 {
		return nil
	}
	e, err := a.site.SignedAt(seq)
	if err != nil {
		return nil // the record itself is told of
	}
	return e
}

func (a *linkAudit) check(seq int64, links []proof.Link, p events.Parsed) []string {
	if p.Event == nil {
		return nil
	}
	words := a.links.Check(seq, p.Event, links)
	if u, err := uuid.Parse(p.Event.ID); err == nil && a.ids[u] == 0 {
		a.ids[u] = seq
	}
	return words
}
