package site

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
)

// chain is where a station's numbering stands.
type chain struct {
	signer   note.Signer   // nil: the station keeps its own key
	verifier note.Verifier // of the enrolled key; nil before enrolment
	retired  int64
	last     int64 // sequence in the ledger before this batch
	count    int64
	hash     string
}

func (in *intake) notEnrolled(station string) error {
	return refusal.New("station %s is not enrolled here; enrol it with: listbound stations enrol %s", station, station)
}

// find returns where a station stands, enrolled or not.
func (in *intake) find(name string) (*chain, error) {
	if c := in.stations[name]; c != nil {
		return c, nil
	}
	c := &chain{}
	if st := in.m.Station(name); st != nil {
		c.retired, c.last, c.count, c.hash = st.Retired, st.Last, st.Count, st.Hash
		if st.Key != "" {
			v, err := note.NewVerifier(st.Key)
			if err != nil {
				return nil, fmt.Errorf("key of station %s: %w", name, err)
			}
			c.verifier = v
		}
	}
	if name == in.s.Name() {
		c.signer, c.verifier = in.s.signer, in.s.ledger.Verifier()
	}
	in.stations[name] = c
	return c, nil
}

// chain returns the station's chain for an observation that is signed here,
// enrolling the station if that is how this folder is used.
func (in *intake) chain(o *events.Observation) (c *chain, enrolled bool, err error) {
	if c, err = in.find(o.Station); err != nil {
		return nil, false, err
	}
	registry := o.Kind == events.KindStationEnrolled || o.Kind == events.KindStationRetired
	switch {
	case o.Station == in.s.Name():
		if !registry && o.Kind != events.KindPolicyAdopted && o.Kind != events.KindEventCorrected {
			return nil, false, refusal.New("%s is the ledger itself; it only enrols and retires stations, adopts policies and corrects", o.Station)
		}
		return c, false, nil
	case events.ReservedStation(o.Station):
		return nil, false, refusal.New("%s is not this folder's ledger, which is %s", o.Station, in.s.Name())
	case registry:
		return nil, false, refusal.New("stations are enrolled and retired by the ledger itself (station %s)", in.s.Name())
	case c.retired != 0:
		return nil, false, refusal.New("station %s was retired (record %d); enrol it again or use another", o.Station, c.retired)
	case c.verifier == nil && !in.s.opts.EnrolOnSight:
		return nil, false, in.notEnrolled(o.Station)
	case c.verifier == nil:
		// By the ledger's own clock: the station's may be wrong.
		if err := in.enrol(o.Station, in.s.opts.Clock(), "met for the first time"); err != nil {
			return nil, false, err
		}
		enrolled = true
	}
	if c.signer == nil {
		if c.signer, err = in.s.stationSigner(o.Station, c.verifier); err != nil {
			return nil, false, err
		}
	}
	return c, enrolled, nil
}

// stationSigner returns the key kept here for an enrolled station.
func (s *Site) stationSigner(station string, enrolled note.Verifier) (note.Signer, error) {
	path := s.keyPath(station)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, refusal.New("station %s keeps its own key and hands in signed records; if it does not, its key is missing: put %s back from a copy, or enrol the station again", station, filepath.Join("keys", filepath.Base(path)))
	}
	signer, _, _, err := ledger.LoadOrCreateKey(path, station)
	if err != nil {
		return nil, err
	}
	if signer.KeyHash() != enrolled.KeyHash() {
		return nil, refusal.New("the key kept here for station %s is not the one it is enrolled with; enrol it again", station)
	}
	return signer, nil
}

// enrol queues the enrolment of a station with a key made here.
func (in *intake) enrol(station string, at time.Time, reason string) error {
	path := in.s.keyPath(station)
	signer, verifier, _, err := ledger.LoadOrCreateKey(path, station)
	if err != nil {
		return err
	}
	key, err := ledger.VerifierKey(path)
	if err != nil {
		return err
	}
	if _, err := in.enrolKey(station, key, at, reason); err != nil {
		return err
	}
	c := in.stations[station]
	c.signer, c.verifier = signer, verifier
	return nil
}

// enrolKey queues the ledger's own record that a station may record.
func (in *intake) enrolKey(station, key string, at time.Time, reason string) (*events.Event, error) {
	o := &events.Observation{Station: in.s.Name(), Kind: events.KindStationEnrolled, Time: at,
		Data: &events.StationEnrolled{Station: station, Key: key, Reason: reason}}
	return in.ledgerEvent(o)
}

// ledgerEvent queues an event of the ledger's own.
func (in *intake) ledgerEvent(o *events.Observation) (*events.Event, error) {
	c, err := in.find(in.s.Name())
	if err != nil {
		return nil, err
	}
	id, err := o.ID()
	if err != nil {
		return nil, err
	}
	e := &events.Event{ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Data: o.Data, StationSeq: c.count + 1, StationPrev: c.hash}
	n, err := events.Sign(e, c.signer)
	if err != nil {
		return nil, err
	}
	in.queue(e, n, c, 0)
	return e, nil
}

// Enrol implements Service. Without a key one is made and kept here.
func (s *Site) Enrol(ctx context.Context, station, key, reason string) (*Receipt, error) {
	return s.registry(ctx, func(in *intake) (*events.Event, error) {
		if err := refusal.Because(events.CheckStation(station)); err != nil {
			return nil, err
		}
		if events.ReservedStation(station) {
			return nil, refusal.New("%s is a ledger's name; a station needs another", station)
		}
		if key == "" {
			path := s.keyPath(station)
			_, _, _, err := ledger.LoadOrCreateKey(path, station)
			if err == nil {
				key, err = ledger.VerifierKey(path)
			}
			if err != nil {
				return nil, err
			}
		}
		d := &events.StationEnrolled{Station: station, Key: key, Reason: reason}
		if err := d.Check(); err != nil {
			return nil, err
		}
		return in.enrolKey(station, key, s.opts.Clock(), reason)
	})
}

// Retire implements Service.
func (s *Site) Retire(ctx context.Context, station, reason string) (*Receipt, error) {
	return s.registry(ctx, func(in *intake) (*events.Event, error) {
		d := &events.StationRetired{Station: station, Reason: reason}
		if err := d.Check(); err != nil {
			return nil, err
		}
		if err := in.checkRetirement(d); err != nil {
			return nil, err
		}
		return in.ledgerEvent(&events.Observation{Station: s.Name(), Kind: d.Kind(), Time: s.opts.Clock(), Data: d})
	})
}

func (s *Site) registry(ctx context.Context, prepare func(*intake) (*events.Event, error)) (*Receipt, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	if err := s.catchUp(ctx, nil); err != nil {
		return nil, err
	}
	in := s.newIntake(ctx)
	e, err := prepare(in)
	if err != nil {
		return nil, err
	}
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		return nil, err
	}
	r := receiptOf(e)
	r.Seq = stored[len(stored)-1].Seq
	return &r, nil
}

// SiteOf returns the site in a station's name.
func SiteOf(station string) string {
	name, _, _ := strings.Cut(station, "/")
	return name
}
