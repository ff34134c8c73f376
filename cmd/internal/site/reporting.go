package site

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"listbound/cmd/internal/version"
	"listbound/projections"
	"listbound/projections/judge"
	"listbound/projections/rates"
	"listbound/projections/readmodel"
	"listbound/projections/reporting"
)

// turnsAtOnce is how many turns are written while the read model is held: who rebuilds waits no longer than for these,
// and what was looked up for them is let go.
const turnsAtOnce = 200

// ReportingCopy implements Service. It is made outside the data folder, where the keys lie.
func (s *Site) ReportingCopy(ctx context.Context, w io.Writer, at time.Time, progress Progress) (err error) {
	dir, err := os.MkdirTemp("", "listbound-reporting-")
	if err != nil {
		return fmt.Errorf("reporting copy: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	path := filepath.Join(dir, "reporting.sqlite")
	if err := s.writeReporting(ctx, path, at, progress); err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("reporting copy: %w", err)
	}
	defer f.Close() // only read from
	if _, err := io.Copy(w, f); err != nil {
		return fmt.Errorf("reporting copy: %w", err)
	}
	return nil
}

func (s *Site) writeReporting(ctx context.Context, path string, as time.Time, progress Progress) error {
	var keys []projections.TripKey
	var size int64
	var judged time.Time
	var openings map[projections.TripKey]*rates.Counted
	if err := s.AskAt(ctx, as, func(v *View) (err error) {
		size, judged = v.Position(), v.Moment()
		if keys, err = v.AllTrips(ctx); err != nil {
			return err
		}
		openings, err = v.countedOpenings(ctx)
		return err
	}); err != nil {
		return err
	}
	c, err := reporting.Create(ctx, path, reporting.About{
		Ledger: s.Name(), Program: "listbound " + version.String(), Records: size, Made: s.Clock(), Judged: judged, AsKnown: as,
		Zone: s.Zone()})
	if err != nil {
		return err
	}
	for at := 0; at < len(keys); at += turnsAtOnce {
		part := keys[at:min(at+turnsAtOnce, len(keys))]
		if err := s.AskAt(ctx, as, func(v *View) error { return v.copyTurns(ctx, c, part, openings) }); err != nil {
			return errors.Join(err, c.Discard())
		}
		if progress != nil {
			progress(int64(at+len(part)), int64(len(keys)))
		}
	}
	if err := errors.Join(s.copyRecords(ctx, c, as), s.AskAt(ctx, as, func(v *View) error { return v.copyRest(ctx, c) })); err != nil {
		return errors.Join(err, c.Discard())
	}
	return c.Close()
}

// countedOpenings are all openings with their incidents, as rates count them.
func (v *View) countedOpenings(ctx context.Context) (map[projections.TripKey]*rates.Counted, error) {
	openings, err := v.Openings(ctx, time.Time{}, time.Time{})
	if err != nil {
		return nil, err
	}
	found, err := v.FoundBy(ctx, rates.Codes())
	if err != nil {
		return nil, err
	}
	counted := rates.WithIncidents(openings, rates.Incidents(found))
	out := make(map[projections.TripKey]*rates.Counted, len(counted))
	for i := range counted {
		out[counted[i].TripKey] = &counted[i]
	}
	return out, nil
}

func (v *View) copyTurns(
	ctx context.Context, c *reporting.Copy, keys []projections.TripKey, openings map[projections.TripKey]*rates.Counted,
) error {
	var verdicts []projections.Verdict
	for _, k := range keys {
		verdict, err := v.Verdict(ctx, k)
		if err != nil {
			return err
		}
		if verdict != nil { // nil: judged away since the list was made, as a correction moved what it was made of
			v.site.words.Tell(verdict)
			verdicts = append(verdicts, *verdict)
		}
	}
	if err := errors.Join(v.TellIncidents(ctx, verdicts), v.TellKnown(ctx, time.Time{}, verdicts)); err != nil {
		return err
	}
	w := v.World(ctx)
	for i := range verdicts {
		k := projections.TripKey{Set: verdicts[i].Set, Trip: verdicts[i].Trip}
		t := reporting.Turn{Verdict: &verdicts[i], Trip: w.Trip(k), Opening: openings[k]}
		if err := w.Failed(); err != nil {
			return err
		}
		if err := c.Turn(t); err != nil {
			return err
		}
	}
	return nil
}

// recordsAtOnce is how many rows of the read model are asked for in one question.
const recordsAtOnce = 10_000

func (s *Site) copyRecords(ctx context.Context, c *reporting.Copy, as time.Time) error {
	for last := int64(0); ; {
		found, err := AnswerAt(ctx, s, as, func(v *View) ([]readmodel.Recorded, error) { return v.RecordedAfter(ctx, last, recordsAtOnce) })
		if err != nil || len(found) == 0 {
			return err
		}
		for i := range found {
			r := &found[i]
			last = r.Seq
			if err := c.Record(&reporting.Record{Seq: r.Seq, Kind: r.Kind, Station: r.Station, Subject: r.Subject, Turn: r.Trip,
				Observed: r.Observed, Recorded: r.Arrived, Operator: r.Operator, Named: r.Named}); err != nil {
				return err
			}
		}
	}
}

// copyRest copies what belongs to no turn: what was read of loads, and findings of stations.
func (v *View) copyRest(ctx context.Context, c *reporting.Copy) error {
	var w *judge.World
	for i, load := range c.Loads() {
		if i%turnsAtOnce == 0 {
			w = v.World(ctx)
		}
		c.Read(load, reporting.LoadRead(w.Book, load))
		if err := w.Failed(); err != nil {
			return err
		}
	}
	stations, err := v.StationVerdicts(ctx)
	if err != nil {
		return err
	}
	if err := errors.Join(v.TellIncidents(ctx, stations), v.TellKnown(ctx, time.Time{}, stations)); err != nil {
		return err
	}
	for i := range stations {
		v.site.words.Tell(&stations[i])
		if err := c.Station(&stations[i]); err != nil {
			return err
		}
	}
	return nil
}
