package site

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"
	"sort"
	"strings"
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

// hold keeps the read model in place while it is asked.
func (s *Site) hold() (*readmodel.Model, func(), error) {
	s.modelMu.RLock()
	if s.model == nil {
		s.modelMu.RUnlock()
		return nil, nil, refusal.ErrClosed
	}
	return s.model, s.modelMu.RUnlock, nil
}

// Broken implements Service.
func (s *Site) Broken(ctx context.Context) ([]projections.Verdict, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	vs, err := m.Worst(ctx)
	for i := range vs {
		s.words.Tell(&vs[i])
	}
	return vs, err
}

// Status counts the trips by status.
func (s *Site) Status(ctx context.Context) (map[projections.Status]int, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	return m.Status(ctx)
}

// History implements Service.
func (s *Site) History(ctx context.Context, q Query) (*projections.History, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	return s.history(ctx, m, m.Source(ctx), q)
}

func (s *Site) history(ctx context.Context, m *readmodel.Model, src facts.Source, q Query) (*projections.History, error) {
	of, err := s.asked(ctx, m, q)
	if err != nil {
		return nil, err
	}
	if !q.AsOf.IsZero() {
		src = facts.AsKnownAt(src, q.AsOf)
	}
	w := judge.NewWorld(src)
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
	s.words.TellHistory(&h)
	h.AsOf, h.Size = q.AsOf, m.Position()
	if q.Records {
		for i := range h.Events {
			rec, err := s.ledger.Read(h.Events[i].Seq)
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
func (s *Site) asked(ctx context.Context, m *readmodel.Model, q Query) (projections.HistoryOf, error) {
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
		set, ok, err := m.SetOfTrip(ctx, q.Trip)
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
		of.Trips, err = m.TripsOfLoad(ctx, q.Load)
	default:
		of.Set = q.Set
		of.Trips, err = m.TripsOfSet(ctx, q.Set)
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
	rep, err := s.ledger.Verify(ctx, ledger.VerifyOptions{Progress: progress, Route: routeOf(s.Name()), Check: func(seq int64, record []byte) []string {
		problems, remarks := checkRecord(audit, s.Name(), seq, record)
		for _, w := range remarks {
			v.Remarks = append(v.Remarks, ledger.Problem{Seq: seq, What: w})
		}
		return problems
	}})
	if err != nil {
		return nil, err
	}
	v.Size, v.Root, v.Checkpoint = rep.Size, rep.Root, rep.Checkpoint
	v.Problems = append(v.Problems, rep.Problems...)
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
	seqs map[int64]bool
	sts  map[string]bool
}

func (r *recorder) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	facts, err := r.Source.Facts(dim, key)
	for _, f := range facts {
		r.seqs[f.Seq] = true
		r.sts[f.Event.Station] = true
	}
	return facts, err
}

// Evidence implements Service: the history asked for and every record its
// judgement rests on, with the enrolments of the stations that made them.
func (s *Site) Evidence(ctx context.Context, q Query, w io.Writer) error {
	m, done, err := s.hold()
	if err != nil {
		return err
	}
	defer done()
	rec := &recorder{Source: m.Source(ctx), seqs: make(map[int64]bool), sts: make(map[string]bool)}
	q.Records = false
	h, err := s.history(ctx, m, rec, q)
	if err != nil {
		return err
	}
	for _, e := range h.Events {
		rec.seqs[e.Seq] = true
	}
	for name := range rec.sts {
		enrolments, err := m.Enrolments(ctx, name)
		if err != nil {
			return err
		}
		for _, seq := range enrolments {
			rec.seqs[seq] = true
		}
	}
	checkpoint, err := s.ledger.Checkpoint(ctx)
	if err != nil {
		return err
	}
	seqs := make([]int64, 0, len(rec.seqs))
	for seq := range rec.seqs {
		seqs = append(seqs, seq)
	}
	slices.Sort(seqs)
	proofs, err := s.ledger.ProveMany(ctx, seqs)
	if err != nil {
		return err
	}
	c := bundle.Content{Key: s.vkey, Checkpoint: checkpoint}
	if len(proofs) > 0 {
		c.Checkpoint = proofs[0].Checkpoint // the one the proofs lead to
	}
	for i, seq := range seqs {
		raw, err := s.ledger.Read(seq)
		if err != nil {
			return err
		}
		c.Records = append(c.Records, bundle.Record{Seq: seq, Record: raw, Proof: proofs[i]})
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

// Program says which program this is, and by which judgement its verdicts are
// made: the source of every rule is in that fingerprint.
func Program() string { return version.String() + " (judgement " + readmodel.Fingerprint()[:12] + ")" }

// Lists implements Service: all versions in force, or those of one list.
func (s *Site) Lists(ctx context.Context, list string) ([]ListVersion, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	ids := []string{list}
	if list == "" {
		if ids, err = m.Lists(ctx); err != nil {
			return nil, err
		}
	}
	w := judge.NewWorld(m.Source(ctx))
	out := []ListVersion{}
	for _, id := range ids {
		issued, err := w.Issued(id)
		if err != nil {
			return nil, err
		}
		for _, x := range issued {
			d := x.List
			dig, err := d.Digest()
			if err != nil {
				return nil, err
			}
			out = append(out, ListVersion{List: d.List, Version: d.Version, Title: d.Title, Digest: dig.String(), Issued: x.Event.Time,
				By: x.Event.Operator, Seq: x.Seq, Cycles: d.Cycles, LineRows: d.Lines})
		}
	}
	if list != "" && len(out) == 0 {
		return nil, fmt.Errorf("%w of list %s", ErrNotFound, list)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].List != out[j].List {
			return out[i].List < out[j].List
		}
		return out[i].Version < out[j].Version
	})
	return out, nil
}

// Stations implements Service.
func (s *Site) Stations(ctx context.Context) ([]Station, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	known, err := m.Stations(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]Station, 0, len(known))
	for _, k := range known {
		st := Station{Name: k.Name, Key: k.Key, Enrolled: k.Enrolled, Retired: k.Retired, Records: k.Count, Last: k.Time}
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
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	name, _, _ := strings.Cut(s.Name(), "/")
	w := judge.NewWorld(m.Source(ctx))
	p, f, err := w.PolicyAt(name, s.opts.Clock())
	if err != nil {
		return nil, err
	}
	out := &PolicyInForce{Policy: p}
	if f != nil {
		out.Adopted, out.Seq, out.Since = true, f.Seq, f.Event.Time
	}
	return out, nil
}

// Preview judges an observation without recording it: what the verdict of its
// trip would be. A page shows it at the scan, before a person confirms.
func (s *Site) Preview(ctx context.Context, o *events.Observation) (*projections.Verdict, error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, err
	}
	defer done()
	id, err := o.ID()
	if err != nil {
		return nil, err
	}
	e := eventOf(id, o)
	if err := newReferences(ctx, s, m).resolve(ctx, o, e); err != nil {
		return nil, err
	}
	w := judge.NewWorld(m.Source(ctx))
	f := facts.Fact{Seq: s.ledger.Size() + 1, Recorded: s.opts.Clock(), Event: e}
	w.Add(f)
	v, err := w.Judge(w.Resolve(f))
	if err != nil {
		return nil, err
	}
	return &v, nil
}

// Source gives the facts of the read model, for a World of one's own.
func (s *Site) Source(ctx context.Context) (facts.Source, func(), error) {
	m, done, err := s.hold()
	if err != nil {
		return nil, nil, err
	}
	return m.Source(ctx), done, nil
}

// Clock is the site's clock.
func (s *Site) Clock() time.Time { return s.opts.Clock() }
