package site

import (
	"context"
	"os"
	"path/filepath"

	"listbound/cmd/internal/bundle"
)

// Custody says whose key lies where, of the stations wanted, and who outside has seen the ledger. wanted says the first record
// that it is asked for, since a station that keeps a key of its own may have had one here before; 0 for a station that isn't wanted.
func (s *Site) Custody(ctx context.Context, wanted func(station string) (from int64)) (*bundle.Custody, error) {
	stations, err := s.Stations(ctx)
	if err != nil {
		return nil, err
	}
	c := &bundle.Custody{}
	for i := range stations {
		st := &stations[i]
		from := wanted(st.Name)
		if st.Name == s.Name() || from == 0 {
			continue
		}
		before, err := s.signedHere(st.Name, from)
		switch {
		case err != nil:
			return nil, err
		case st.Here || before:
			c.Server = append(c.Server, st.Name)
		default:
			c.Own = append(c.Own, st.Name)
		}
	}
	if w := s.Witnesses(); w != nil {
		for _, at := range w.Witnesses {
			if at.Size > 0 {
				c.Witnesses = append(c.Witnesses, bundle.Seen{Name: at.Key, Size: at.Size, At: at.At})
			}
		}
	}
	if t := s.Timestamps(); t != nil && t.Size > 0 {
		c.Timestamp = &bundle.Seen{Size: t.Size, At: t.At}
	}
	return c, nil
}

// toShow returns the newest timestamp as it lies in the folder, nil where there is none that counts.
func (t *timestamps) toShow() *bundle.Timestamp {
	newest := t.newest()
	if len(newest) == 0 {
		return nil
	}
	size := newest[0]
	checkpoint, err := os.ReadFile(filepath.Join(t.dir, t.file(size, stampedSuffix)))
	if err != nil {
		return nil // verify names it
	}
	response, err := os.ReadFile(filepath.Join(t.dir, t.file(size, stampSuffix)))
	if err != nil {
		return nil
	}
	return &bundle.Timestamp{Size: size, Checkpoint: checkpoint, Response: response}
}
