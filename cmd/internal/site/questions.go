package site

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"os"
	"slices"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/version"
	"listbound/events"
	"listbound/events/keytable"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// ErrNotFound says that nothing is known of what was asked for.
var ErrNotFound = refusal.WithCode(http.StatusNotFound, "nothing is recorded here")

// Broken is BrokenAt now.
func (s *Site) Broken(ctx context.Context) ([]projections.Verdict, error) {
	return s.BrokenAt(ctx, time.Time{})
}

// BrokenAt implements Service.
func (s *Site) BrokenAt(ctx context.Context, at time.Time) ([]projections.Verdict, error) {
	return AnswerAt(ctx, s, at, func(v *View) ([]projections.Verdict, error) {
		vs, err := v.Worst(ctx)
		if err == nil {
			err = errors.Join(v.TellKnown(ctx, time.Time{}, vs), v.TellIncidents(ctx, vs))
		}
		for i := range vs {
			s.words.Tell(&vs[i])
		}
		return vs, err
	})
}

// nearMissesAtMost bounds the list; a department has a few a week.
const nearMissesAtMost = 1000

// NearMisses is NearMissesAt now.
func (s *Site) NearMisses(ctx context.Context) ([]projections.Verdict, error) {
	return s.NearMissesAt(ctx, time.Time{})
}

// NearMissesAt implements Service.
func (s *Site) NearMissesAt(ctx context.Context, at time.Time) ([]projections.Verdict, error) {
	return AnswerAt(ctx, s, at, func(v *View) ([]projections.Verdict, error) {
		vs, err := v.NearMisses(ctx, nearMissesAtMost)
		if err == nil {
			err = v.TellKnown(ctx, time.Time{}, vs)
		}
		for i := range vs {
			s.words.Tell(&vs[i])
		}
		return vs, err
	})
}

// History implements Service.
func (s *Site) History(ctx context.Context, q Query) (*projections.History, error) {
	return Answer(s, func(v *View) (*projections.History, error) {
		h, err := v.history(ctx, v.known(ctx, q.AsOf), q, q.AsOf.IsZero())
		if err != nil {
			return nil, err
		}
		if q.AsOf.IsZero() {
			if err := v.TellIncidents(ctx, h.Verdicts); err != nil {
				return nil, err
			}
		}
		return h, v.TellKnown(ctx, q.AsOf, h.Verdicts)
	})
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

// history answers from a source of facts. Verdicts that are kept may be shown where nothing is found; else all are made
// from the source.
func (v *View) history(ctx context.Context, src facts.Source, q Query, kept bool) (*projections.History, error) {
	of, err := v.asked(ctx, q)
	if err != nil {
		return nil, err
	}
	h, err := v.historyOf(ctx, src, q, of, kept)
	if err != nil {
		return nil, err
	}
	if len(h.Events) == 0 {
		if !q.AsOf.IsZero() {
			err := fmt.Errorf("%w of %s as known at %s", ErrNotFound, q.describe(), q.AsOf.Format(time.RFC3339))
			return nil, refusal.Say(err, "nothing-of", q.name())
		}
		return nil, refusal.Say(fmt.Errorf("%w of %s", ErrNotFound, q.describe()), "nothing-of", q.name())
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

// historyOf lays out what was recorded of some trips. What is recorded while it is at it could be shown with a verdict of before;
// then nothing that is kept is shown.
func (v *View) historyOf(
	ctx context.Context, src facts.Source, q Query, of projections.HistoryOf, kept bool,
) (projections.History, error) {
	changes := v.Changes()
	w := judge.NewWorld(src)
	w.SetMoment(v.moment(q.AsOf))
	if kept {
		trips := of.Trips
		if q.Case != "" {
			trips = w.CaseTrips(q.Case)
		}
		var err error
		if of.Kept, err = v.Untroubled(ctx, trips); err != nil {
			return projections.History{}, err
		}
	}
	h, err := w.History(of)
	if err == nil && len(of.Kept) > 0 && v.Changes() != changes {
		of.Kept = nil
		return v.historyOf(ctx, v.known(ctx, q.AsOf), q, of, false)
	}
	return h, err
}

// name is what is asked about, without what it is.
func (q Query) name() string { return cmp.Or(q.Trip, q.Case, q.Load, q.Set) }

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
			return of, refusal.Say(fmt.Errorf("%w of trip %s", ErrNotFound, q.Trip), "nothing-of", q.Trip)
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
	return s.verify(ctx, ledger.VerifyOptions{Progress: progress}, func(int64) {}, atOnce)
}

// verify reads everything. It calls each with every record, and holds the read model against one that fill makes.
func (s *Site) verify(ctx context.Context, o ledger.VerifyOptions, each func(seq int64), fill filler) (*Verification, error) {
	without, logs, pictures, photographs := make(marksWithout), s.runLogs(), s.keptPictures(), s.keptPhotographs()
	var ids idKeyCheck
	var model *modelCheck
	if !o.Slowly {
		model = s.beginModelCheck(ctx, fill)
		defer model.drop()
	}
	v, err := s.verifyRecords(ctx, o, func(r *recordRead) {
		each(r.Seq)
		without.look(s, r.Seq, r.Note)
		ids.look(s, r.Seq, r.Note)
		if r.Err == nil && s.following == nil { // their files lie where the ledger is written, and so do texts; each page says so
			logs.look(s, r.Seq, r.Raw)
			pictures.look(s, r.Seq, r.Raw)
			photographs.look(s, r.Seq, r.Raw)
		}
	})
	if err != nil {
		return nil, err
	}
	v.Problems = slices.Concat(v.Problems, logs.problems, pictures.problems, photographs.problems)
	v.Remarks = slices.Concat(v.Remarks, pictures.remarks, photographs.remarks)
	s.stopMu.Lock()
	v.Problems = append(v.Problems, s.stopped...)
	s.stopMu.Unlock()
	if err := s.verifyWitnesses(v); err != nil {
		return nil, err
	}
	if err := s.verifyTimestamps(ctx, v); err != nil {
		return nil, err
	}
	modelDiffers := false
	if len(v.Problems) == 0 { // else the records themselves are in doubt
		if model == nil || model.wasBarred() {
			model = s.beginModelCheck(ctx, fill)
			defer model.drop()
		}
		differing, err := model.end()
		switch {
		case refusal.IsNoRoom(err):
			v.noModel = err
			v.Remarks = append(v.Remarks, ledger.Problem{What: "the read model was not held against the ledger: there is no room " +
				"for a second one"})
		case err != nil:
			return nil, err
		}
		v.Problems, modelDiffers = append(v.Problems, differing...), len(differing) > 0
	}
	if v.TextsMissing, err = without.unexplained(ctx, s); err != nil {
		return nil, err
	}
	if s.textsMissing(v.TextsMissing); len(v.TextsMissing) > 0 {
		v.Remarks = append(v.Remarks, missingProblem(v.TextsMissing))
		if modelDiffers {
			v.Problems = append(v.Problems, ledger.Problem{What: fmt.Sprintf("%s was made while the texts were in the file %s, so that file is "+
				"to be put back first, if there is a copy", modelName, addendaName)})
		}
	}
	v.Problems = append(v.Problems, ids.problems()...)
	v.Remarks = append(v.Remarks, s.addenda.severalIDs()...)
	v.OK = len(v.Problems) == 0
	v.Kept, err = ledger.KeptCopies(s.opts.Dir)
	return v, err
}

// verifyRecords reads every record twice, from the stream and from the entry bundles, and checks it. It calls each with them in
// their order.
func (s *Site) verifyRecords(ctx context.Context, o ledger.VerifyOptions, each func(*recordRead)) (*Verification, error) {
	audit := events.NewAudit(s.keys[0].Key, readmodel.Tolerance())
	audit.Signatures, audit.Canonical = true, true
	audit.Verifier, audit.VerifyAll = keytable.NewVerifier, keytable.VerifyAll
	v := &Verification{Problems: []ledger.Problem{}}
	links := s.newLinkAudit()
	remarked := make(remarkedRecords)
	o.Look = func(records []ledger.Record) []ledger.Look {
		looks := make([]ledger.Look, len(records))
		for i, r := range readRecords(audit, records) {
			if r.Err == nil && r.parsed.Err == nil {
				looks[i].Station, looks[i].Kind, _ = routeOfEvent(r.parsed.Event)
			}
			looks[i].Check = func() []string {
				each(r)
				problems, c := r.check(audit, links)
				remarked.take(r.Seq, &c)
				return problems
			}
		}
		return looks
	}
	rep, err := s.ledger.Verify(ctx, o)
	if err != nil {
		return nil, err
	}
	v.Remarks = remarked.told()
	v.Size, v.Root, v.Checkpoint = rep.Size, rep.Root, rep.Checkpoint
	v.Problems = append(v.Problems, rep.Problems...)
	return v, nil
}

// remarkedRecords are records with a remark that is no problem.
type remarkedRecords map[int64]*events.Checked

// take takes in what an audit says of a record, and of those before it.
func (rs remarkedRecords) take(seq int64, c *events.Checked) {
	if c.Remark != 0 {
		rs[seq] = c
	}
	for _, ch := range c.Earlier {
		if rs[ch.Seq] == nil {
			rs[ch.Seq] = new(events.Checked)
		}
		rs[ch.Seq].Apply(ch)
	}
}

func (rs remarkedRecords) told() (out []ledger.Problem) {
	for _, seq := range slices.Sorted(maps.Keys(rs)) {
		for _, w := range rs[seq].Words() {
			out = append(out, ledger.Problem{Seq: seq, What: w})
		}
	}
	return out
}

// recordRead is a record that was read and not yet checked.
type recordRead struct {
	ledger.Record
	parsed events.Parsed // of a record that can be taken apart
}

func readRecords(audit *events.Audit, records []ledger.Record) []*recordRead {
	out := make([]*recordRead, len(records))
	var whole []*recordRead
	var notes [][]byte
	for i := range records {
		out[i] = &recordRead{Record: records[i]}
		if records[i].Err == nil {
			whole, notes = append(whole, out[i]), append(notes, records[i].Note)
		}
	}
	for i, p := range audit.ParseAll(notes) {
		whole[i].parsed = p
	}
	return out
}

// check separates what breaks the ledger's word (problems) from what was
// wrong with a record as its station made it, which the ledger recorded as it was (remarks).
func (r *recordRead) check(audit *events.Audit, links *linkAudit) (problems []string, c events.Checked) {
	if r.Err != nil {
		return []string{r.Err.Error()}, c
	}
	c = audit.Check(r.Seq, r.parsed, r.At, events.Remark(r.Remark))
	problems = links.check(r.Seq, r.Links, r.parsed)
	if c.Remark&events.RemarkForm != 0 || c.Remark&events.RemarkSignature != 0 && r.Remark&byte(events.RemarkSignature) == 0 {
		return append(problems, c.Words()...), events.Checked{Earlier: c.Earlier}
	}
	return problems, c
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

// Program says which program this is, and by which judgement its verdicts are
// made: the source of every rule is in that fingerprint.
func Program() string { return version.String() + " (judgement " + readmodel.Fingerprint()[:12] + ")" }

// Lists implements Service: all versions in force, or those of one list.
func (s *Site) Lists(ctx context.Context, list string) ([]ListVersion, error) {
	return s.ListsAt(ctx, list, time.Time{})
}

// ListsAt implements Service.
func (s *Site) ListsAt(ctx context.Context, list string, at time.Time) ([]ListVersion, error) {
	return AnswerAt(ctx, s, at, func(v *View) ([]ListVersion, error) { return v.Versions(ctx, list) })
}

// Stations implements Service.
func (s *Site) Stations(ctx context.Context) ([]Station, error) {
	return s.StationsAt(ctx, time.Time{})
}

// StationsAt implements Service.
func (s *Site) StationsAt(ctx context.Context, at time.Time) ([]Station, error) {
	known, err := AnswerAt(ctx, s, at, func(v *View) ([]events.Station, error) { return v.Stations(ctx) })
	if err != nil {
		return nil, err
	}
	out := make([]Station, 0, len(known))
	for _, k := range known {
		st := Station{
			Name: k.Name, Key: k.Key, Enrolled: k.Enrolled, Retired: k.Retired, Records: k.Signed, Last: k.Time,
			Number: k.Count, Hash: k.Hash, KeysElsewhere: s.following != nil,
		}
		if n := len(k.Keys); k.Retired != 0 && n > 0 {
			st.RetiredAsOf = k.Keys[n-1].Ended.UTC()
		}
		if k.Name == s.Name() {
			st.Key, st.Here = s.vkey, true
			for i, k := range s.keys[1:] {
				st.Former = append(st.Former, FormerKey{Key: s.keys[i].Text, ReplacedBy: k.Since})
			}
		} else {
			st.Here = s.keyHere(k.Name) == k.Key
		}
		out = append(out, st)
	}
	return out, nil
}

// readKey is the public half of a key's file, and which state of the file it was read from.
type readKey struct {
	text string
	at   time.Time
	size int64
}

// keyHere returns the public half of the key kept here for a station, "" where there is none to read. Each page asks for it,
// so a file is read again only when it has changed.
func (s *Site) keyHere(station string) string {
	path := s.keyPath(station)
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	if k, ok := s.keysHere.Load(station); ok {
		if k := k.(readKey); k.at.Equal(info.ModTime()) && k.size == info.Size() {
			return k.text
		}
	}
	text, err := ledger.VerifierKey(path)
	if err != nil {
		return ""
	}
	s.keysHere.Store(station, readKey{text, info.ModTime(), info.Size()})
	return text
}

// Policy implements Service.
func (s *Site) Policy(ctx context.Context) (*PolicyInForce, error) {
	return s.PolicyAt(ctx, time.Time{})
}

// PolicyAt implements Service.
func (s *Site) PolicyAt(ctx context.Context, at time.Time) (*PolicyInForce, error) {
	return AnswerAt(ctx, s, at, func(v *View) (*PolicyInForce, error) {
		p, f, err := v.World(ctx).PolicyAt(SiteOf(s.Name()), s.orNow(at))
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

// orNow is a moment that is asked about, where that is zero now.
func (s *Site) orNow(at time.Time) time.Time {
	if at.IsZero() {
		return s.opts.Clock()
	}
	return at
}

// Clock is the site's clock.
func (s *Site) Clock() time.Time { return s.opts.Clock() }
