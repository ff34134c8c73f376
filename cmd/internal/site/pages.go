package site

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// Dir is the data folder. Pages keep what is not yet recorded beside the ledger.
func (s *Site) Dir() string { return s.opts.Dir }

// TripNow returns the set's trip that is open at a moment; "" where it was
// never packed here.
func (s *Site) TripNow(ctx context.Context, set string, at time.Time) (string, error) {
	m, done, err := s.hold()
	if err != nil {
		return "", err
	}
	defer done()
	return judge.NewWorld(m.Source(ctx)).TripAt(set, at)
}

// SetOf returns whose a trip is; "" where nobody knows it.
func (s *Site) SetOf(ctx context.Context, trip string) (string, error) {
	m, done, err := s.hold()
	if err != nil {
		return "", err
	}
	defer done()
	set, _, err := m.SetOfTrip(ctx, trip)
	return set, err
}

// Verdict returns the verdict of one trip as it stands, nil where there is none.
func (s *Site) Verdict(ctx context.Context, k projections.TripKey) (*projections.Verdict, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	return m.Verdict(ctx, k)
}

// World calls do with a world over all facts there are.
func (s *Site) World(ctx context.Context, do func(*judge.World) error) error {
	m, done, err := s.hold()
	if err != nil {
		return err
	}
	defer done()
	return do(judge.NewWorld(m.Source(ctx)))
}

// OpenCases returns the cases that a station has opened sets for since a
// moment and that are not closed, the latest first.
func (s *Site) OpenCases(ctx context.Context, station string, since time.Time) ([]string, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	return m.OpenCases(ctx, station, since)
}

// ErrNoList says that a list or version is not known.
var ErrNoList = refusal.WithCode(http.StatusNotFound, "no such list is issued here")

// List returns one version of a list, the newest where version is 0.
func (s *Site) List(ctx context.Context, list string, version int64) (*ListVersion, error) {
	vs, err := s.Lists(ctx, list)
	if err != nil {
		return nil, err
	}
	for i := len(vs) - 1; i >= 0; i-- {
		if version == 0 || vs[i].Version == version {
			return &vs[i], nil
		}
	}
	return nil, fmt.Errorf("%w: %s version %d", ErrNoList, list, version)
}

// Shelf is a set that is packed, not opened, with a version of a list.
type Shelf struct {
	projections.TripKey
	Version int64
	Where   string
	Since   time.Time
}

// OnShelf returns the sets that are not opened and were packed with a version
// of the list other than the newest.
func (s *Site) OnShelf(ctx context.Context, list string, newest int64) ([]Shelf, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	keys, err := m.Unopened(ctx, list)
	if err != nil {
		return nil, err
	}
	w := judge.NewWorld(m.Source(ctx))
	var out []Shelf
	for _, k := range keys {
		p, err := w.Packed(k)
		if err != nil {
			return nil, err
		}
		if p == nil || p.List != list || p.Version == newest {
			continue
		}
		sh := Shelf{TripKey: k, Version: p.Version}
		v, err := m.Verdict(ctx, k)
		if err != nil {
			return nil, err
		}
		if v != nil {
			if v.Over {
				continue
			}
			sh.Where, sh.Since = v.Where, v.Since
		}
		out = append(out, sh)
	}
	return out, nil
}

// Facts calls do with the events of a dimension and key, as observed.
func (s *Site) Facts(ctx context.Context, dim facts.Dim, key string, do func(*events.Event)) error {
	m, done, err := s.hold()
	if err != nil {
		return err
	}
	defer done()
	facts, err := m.Source(ctx).Facts(dim, key)
	if err != nil {
		return err
	}
	for _, f := range facts {
		do(f.Event)
	}
	return nil
}
