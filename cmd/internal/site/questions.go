package site

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/report"
	"listbound/cmd/internal/version"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// ErrNotFound says that nothing is known of what was asked for.
var ErrNotFound = refusal.WithCode(http.StatusNotFound, "nothing is recorded here")

// Broken implements Service.
func (s *Site) Broken(ctx context.Context) ([]projections.Verdict, error) {
	return Answer(s, func(v *View) ([]projections.Verdict, error) {
		vs, err := v.Worst(ctx)
		for i := range vs {
			s.words.Tell(&vs[i])
		}
		return vs, err
	})
}

// nearMissesAtMost bounds the list; a department has a few a week.
const nearMissesAtMost = 1000

// NearMisses implements Service.
func (s *Site) NearMisses(ctx context.Context) ([]projections.Verdict, error) {
	return Answer(s, func(v *View) ([]projections.Verdict, error) {
		vs, err := v.NearMisses(ctx, nearMissesAtMost)
		for i := range vs {
			s.words.Tell(&vs[i])
		}
		return vs, err
	})
}

// History implements Service.
func (s *Site) History(ctx context.Context, q Query) (*projections.History, error) {
	return Answer(s, func(v *View) (*projections.History, error) { return v.history(ctx, v.known(ctx, q.AsOf), q) })
}

// known returns the facts there are, or at a moment that is given were.
func (v *View) known(ctx context.Context, at time.Time) facts.Source {
	if at.IsZero() {
		return v.Source(ctx)
	}
	return facts.AsKnownAt(v.Source(ctx), at)
}

// moment returns as of when is judged what was known at a moment: then, or
// where none is given, as of when all verdicts are.
func (v *View) moment(at time.Time) time.Time {
	if at.IsZero() {
		return v.Moment()
	}
	return at
}

// WorldAt returns a World over the facts known at a moment, judging as of then;
// zero is now.
func (v *View) WorldAt(ctx context.Context, at time.Time) *judge.World {
	w := judge.NewWorld(v.known(ctx, at))
	w.SetMoment(v.moment(at))
	return w
}

// history answers from a source of facts.
func (v *View) history(ctx context.Context, src facts.Source, q Query) (*projections.History, error) {
	of, err := v.asked(ctx, q)
	if err != nil {
		return nil, err
	}
	w := judge.NewWorld(src)
	w.SetMoment(v.moment(q.AsOf))
	h, err := w.History(of)
	if err != nil {
		return nil, err
	}
	if len(h.Events) == 0 {
		if !q.AsOf.IsZero() {
			return nil, fmt.Errorf("%w of %s as known at %s", ErrNotFound, q.describe(), q.AsOf.Format(time.RFC3339))
		}
		return nil, fmt.Errorf("%w of %s", ErrNotFound, q.describe())
	}
	v.site.words.TellHistory(&h)
	h.AsOf, h.Size = q.AsOf, v.Position()
	if q.Records {
		for i := range h.Events {
			rec, err := v.site.ledger.Read(h.Events[i].Seq)
			if err != nil {
				return nil, err
			}
			h.Events[i].Record = string(rec)
		}
	}
	return &h, nil
}

func (q Query) describe() string {
	switch {
	case q.Trip != "":
		return "trip " + q.Trip
	case q.Case != "":
		return "case " + q.Case
	case q.Load != "":
		return "load " + q.Load
	}
	return "set " + q.Set
}

// asked turns a query into the trips it means.
func (v *View) asked(ctx context.Context, q Query) (projections.HistoryOf, error) {
	var of projections.HistoryOf
	given := 0
	for _, x := range []string{q.Trip, q.Case, q.Load} {
		if x != "" {
			given++
		}
	}
	if given == 0 && q.Set != "" {
		given = 1
	}
	if given != 1 || q.Set != "" && q.Trip == "" && q.Case+q.Load != "" {
		return of, refusal.New("ask for one of: a set, a trip, a case, a load")
	}
	var err error
	switch {
	case q.Trip != "":
		set, ok, err := v.SetOfTrip(ctx, q.Trip)
		if err != nil {
			return of, err
		}
		if !ok {
			return of, fmt.Errorf("%w of trip %s", ErrNotFound, q.Trip)
		}
		if q.Set != "" && q.Set != set {
			return of, refusal.New("trip %s is one of set %s, not of set %s", q.Trip, set, q.Set)
		}
		of.Set, of.Trip, of.Trips = set, q.Trip, []projections.TripKey{{Set: set, Trip: q.Trip}}
	case q.Case != "":
		of.Case = q.Case
	case q.Load != "":
		of.Load = q.Load
		of.Trips, err = v.TripsOfLoad(ctx, q.Load)
	default:
		of.Set = q.Set
		of.Trips, err = v.TripsOfSet(ctx, q.Set)
	}
	return of, err
}

// Verify implements Service: every record from the stream, the entry bundles
// and the tree held against each other and the signed checkpoint, then each
// record's own form, signature and numbering.
func (s *Site) Verify(ctx context.Context, progress Progress) (*Verification, error) {
	audit := events.NewAudit(s.ledger.Verifier(), readmodel.Tolerance())
	audit.Signatures, audit.Canonical = true, true
	v := &Verification{Problems: []ledger.Problem{}}
	check := func(seq int64, record []byte) []string {
		problems, remarks := checkRecord(audit, s.Name(), seq, record)
		for _, w := range remarks {
			v.Remarks = append(v.Remarks, ledger.Problem{Seq: seq, What: w})
		}
		return problems
	}
	rep, err := s.ledger.Verify(ctx, ledger.VerifyOptions{Progress: progress, Route: routeOf(s.Name()), Check: check})
	if err != nil {
		return nil, err
	}
	v.Size, v.Root, v.Checkpoint = rep.Size, rep.Root, rep.Checkpoint
	v.Problems = append(v.Problems, rep.Problems...)
	s.stopMu.Lock()
	v.Problems = append(v.Problems, s.stopped...)
	s.stopMu.Unlock()
	v.OK = len(v.Problems) == 0
	return v, nil
}

// checkRecord separates what breaks the ledger's word (problems) from what was
// wrong with a record when it came, which the ledger recorded as it was (remarks).
func checkRecord(audit *events.Audit, origin string, seq int64, record []byte) (problems, remarks []string) {
	n, at, arrival, err := proof.SplitArrival(origin, record)
	if err != nil {
		return []string{err.Error()}, nil
	}
	remark, words := audit.Check(seq, events.Parse(n), at, events.Remark(arrival))
	switch {
	case remark == 0:
		return nil, nil
	case remark&events.RemarkForm != 0, remark&events.RemarkSignature != 0 && arrival&byte(events.RemarkSignature) == 0:
		return words, nil
	}
	return nil, words
}

// recorder notes which records a judgement asked for.
type recorder struct {
	facts.Source
	seqs     map[int64]bool
	stations map[string]bool
}

// Facts implements facts.Source.
func (r *recorder) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	found, err := r.Source.Facts(dim, key)
	r.note(found)
	return found, err
}

// Around implements facts.Source: which trip an observation belongs to rests on
// the packings about its time.
func (r *recorder) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	found, err := r.Source.Around(set, at, n)
	r.note(found)
	return found, err
}

func (r *recorder) note(found []facts.Fact) {
	for _, f := range found {
		r.seqs[f.Seq] = true
		if f.Event != nil {
			r.stations[f.Event.Station] = true
		}
	}
}

// Evidence implements Service: the history asked for and every record its
// judgement rests on, with the enrolments of the stations that made them.
func (s *Site) Evidence(ctx context.Context, q Query, w io.Writer) error {
	q.Records = false
	rec := &recorder{seqs: make(map[int64]bool), stations: make(map[string]bool)}
	h, err := Answer(s, func(v *View) (*projections.History, error) { return rec.history(ctx, v, q) })
	if err != nil {
		return err
	}
	c := bundle.Content{Key: s.vkey}
	if err := s.prove(ctx, slices.Sorted(maps.Keys(rec.seqs)), &c); err != nil {
		return err
	}
	for _, from := range q.Earlier {
		p, err := s.consistency(from, c.Checkpoint)
		if err != nil {
			return err
		}
		c.Earlier = append(c.Earlier, *p)
	}
	var text bytes.Buffer
	if err := report.History(&text, h); err != nil {
		return err
	}
	fmt.Fprintf(&text, "\nJudged by listbound %s.\n", Program())
	c.HistoryText = text.Bytes()
	if c.HistoryJSON, err = json.Marshal(h, jsontext.WithIndent("  ")); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	return bundle.Write(w, c, s.signer)
}

// Consistency implements Service.
func (s *Site) Consistency(ctx context.Context, from int64) (*proof.Consistency, error) {
	msg := s.ledger.SignedNote()
	if len(s.ledger.Damage()) == 0 {
		var err error
		if msg, err = s.ledger.Checkpoint(ctx); err != nil {
			return nil, err
		}
	}
	return s.consistency(from, msg)
}

// consistency proves that the ledger only grew from a size to a checkpoint.
func (s *Site) consistency(from int64, checkpoint []byte) (*proof.Consistency, error) {
	cp, err := proof.OpenCheckpoint(checkpoint, s.Name(), s.ledger.Verifier())
	if err != nil {
		return nil, err
	}
	if from < 0 || from > cp.Size {
		return nil, refusal.New("the ledger has %d records, and never had %d that it knows of: either a part of it is missing "+
			"here, or what you compare it with is of another ledger", cp.Size, from)
	}
	p := &proof.Consistency{From: from, Checkpoint: checkpoint}
	if from > 0 && from < cp.Size {
		if p.Hashes, err = s.ledger.Consistency(from, cp.Size); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// history asks for a history and notes what was looked at for it.
func (r *recorder) history(ctx context.Context, v *View, q Query) (*projections.History, error) {
	r.Source = v.known(ctx, q.AsOf)
	h, err := v.history(ctx, r, q)
	if err != nil {
		return nil, err
	}
	for _, e := range h.Events {
		r.seqs[e.Seq] = true
	}
	for name := range r.stations {
		enrolments, err := v.Enrolments(ctx, name)
		if err != nil {
			return nil, err
		}
		for _, seq := range enrolments {
			r.seqs[seq] = true
		}
	}
	return h, nil
}

// prove puts records into a bundle, with their proofs and the checkpoint that
// all of these lead to.
func (s *Site) prove(ctx context.Context, seqs []int64, c *bundle.Content) (err error) {
	if c.Checkpoint, err = s.ledger.Checkpoint(ctx); err != nil {
		return err
	}
	proofs, err := s.ledger.ProveMany(ctx, seqs)
	if err != nil {
		return err
	}
	if len(proofs) > 0 {
		c.Checkpoint = proofs[0].Checkpoint
	}
	for i, seq := range seqs {
		raw, err := s.ledger.Read(seq)
		if err != nil {
			return err
		}
		c.Records = append(c.Records, bundle.Record{Seq: seq, Record: raw, Proof: proofs[i]})
	}
	return nil
}

// Program says which program this is, and by which judgement its verdicts are
// made: the source of every rule is in that fingerprint.
func Program() string { return version.String() + " (judgement " + readmodel.Fingerprint()[:12] + ")" }

// Lists implements Service: all versions in force, or those of one list.
func (s *Site) Lists(ctx context.Context, list string) ([]ListVersion, error) {
	return Answer(s, func(v *View) ([]ListVersion, error) { return v.Versions(ctx, list) })
}

// Stations implements Service.
func (s *Site) Stations(ctx context.Context) ([]Station, error) {
	known, err := Answer(s, func(v *View) ([]events.Station, error) { return v.Stations(ctx) })
	if err != nil {
		return nil, err
	}
	out := make([]Station, 0, len(known))
	for _, k := range known {
		st := Station{
			Name: k.Name, Key: k.Key, Enrolled: k.Enrolled, Retired: k.Retired, Records: k.Count, Last: k.Time,
		}
		if k.Name == s.Name() {
			st.Key, st.Here = s.vkey, true
		} else if here, err := ledger.VerifierKey(s.keyPath(k.Name)); err == nil {
			st.Here = here == k.Key
		}
		out = append(out, st)
	}
	return out, nil
}

// Policy implements Service.
func (s *Site) Policy(ctx context.Context) (*PolicyInForce, error) {
	return Answer(s, func(v *View) (*PolicyInForce, error) {
		p, f, err := v.World(ctx).PolicyAt(SiteOf(s.Name()), s.opts.Clock())
		if err != nil {
			return nil, err
		}
		out := &PolicyInForce{Policy: p.Complete()}
		if f != nil {
			out.Adopted, out.Seq, out.Since = true, f.Seq, f.Event.Time
		}
		return out, nil
	})
}

// Clock is the site's clock.
func (s *Site) Clock() time.Time { return s.opts.Clock() }
