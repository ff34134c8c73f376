package site

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/rates"
)

// Assess implements Service.
func (s *Site) Assess(ctx context.Context, q AssessQuery) (*assess.Assessment, error) {
	if err := q.Choices.Check(); err != nil {
		return nil, refusal.Because(err)
	}
	times := RatesQuery{Since: q.Since, Until: q.Until}
	if err := times.check(); err != nil {
		return nil, err
	}
	return AnswerAt(ctx, s, q.AsOf, func(v *View) (*assess.Assessment, error) {
		openings, err := v.Openings(ctx, q.Since, q.Until)
		if err != nil {
			return nil, err
		}
		found, err := v.FoundBy(ctx, rates.Codes()) // of all times: see Rates
		if err != nil {
			return nil, err
		}
		adopted, err := s.placementsAdopted(v.World(ctx), s.orNow(q.AsOf))
		if err != nil {
			return nil, err
		}
		l := assess.NewLedger(openings, found, q.Choices.Placements, adopted,
			rates.Options{Zone: s.Zone(), Since: q.Since, Until: q.Until})
		return assess.New(q.Choices, l, q.Seed)
	})
}

// placementsAdopted is the policy that changed last, by a moment, where count sheets travel, nil for none. One that was adopted anew and has them
// travel as before is no change.
func (s *Site) placementsAdopted(w *judge.World, at time.Time) (*assess.Adopted, error) {
	for {
		p, record, err := w.PolicyAt(SiteOf(s.Name()), at)
		if err != nil || record == nil {
			return nil, err
		}
		before := record.Event.Time.Add(-time.Nanosecond)
		was, _, err := w.PolicyAt(SiteOf(s.Name()), before)
		if err != nil {
			return nil, err
		}
		if !samePlacements(p.Placements, was.Placements) {
			return &assess.Adopted{Seq: record.Seq, At: record.Event.Time, Placements: p.Placements, Was: was.Placements}, nil
		}
		if !before.Before(at) { // by a clock that was ahead
			before = at.Add(-time.Nanosecond)
		}
		at = before
	}
}

// samePlacements reports whether two lists have the same in them, in whichever order.
func samePlacements(a, b []events.Placement) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(slices.Compact(a), slices.Compact(b))
}

// documentFormat is the first member of a signed document, by which a later program knows what it reads.
const documentFormat = "listbound assessment v1"

// assessmentDocument is what somebody signs.
type assessmentDocument struct {
	Format     string             `json:"format"`
	Assessment *assess.Assessment `json:"assessment"`
}

// AssessmentDocument returns what is signed of an assessment. The sets behind incidents are not in it: the ledger has
// them, and a year's would not fit into a record.
func AssessmentDocument(a *assess.Assessment) (string, error) {
	short, l := *a, *a.Ledger
	l.Placements = slices.Clone(l.Placements)
	for i := range l.Placements {
		l.Placements[i].All.Trips = []projections.TripKey{}
	}
	if l.Adopted != nil && l.Adopted.Halves != nil {
		x, h := *l.Adopted, *l.Adopted.Halves
		h.Before.Trips, h.After.Trips = []projections.TripKey{}, []projections.TripKey{}
		x.Halves, l.Adopted = &h, &x
	}
	short.Ledger = &l
	raw, err := json.Marshal(assessmentDocument{documentFormat, &short}, json.Deterministic(true))
	if err != nil {
		return "", fmt.Errorf("an assessment as a document: %w", err)
	}
	if len(raw) > events.MaxDocument {
		return "", refusal.New("the document has %d bytes, and may have %d; say less, or compare fewer placements", len(raw),
			events.MaxDocument)
	}
	return string(raw), nil
}

// SignedAssessment is an assessment that somebody has signed.
type SignedAssessment struct {
	Seq        int64
	At         time.Time
	By         string // badge
	Placements []events.Placement
	Mark       string             // of the document, as it stands in the record
	Void       bool               // taken back by a correction
	Assessment *assess.Assessment // nil: the document was taken out, or is of another program
}

// SignedAssessments returns what was signed, the latest record first.
func (s *Site) SignedAssessments(ctx context.Context) (out []SignedAssessment, err error) {
	seqs, err := Answer(s, func(v *View) ([]int64, error) { return v.Assessed(ctx) })
	if err != nil {
		return nil, err
	}
	for _, seq := range slices.Backward(seqs) {
		signed, err := s.SignedAt(seq)
		if err != nil {
			return nil, err
		}
		d, ok := signed.Data.(*events.PlacementsAssessed)
		if !ok {
			continue
		}
		x := SignedAssessment{Seq: seq, At: signed.Time, By: signed.Operator, Placements: d.Placements, Mark: d.Document}
		of, err := Answer(s, func(v *View) ([]*events.Event, error) { return v.Facts(ctx, facts.DimEvent, signed.ID) })
		if err != nil {
			return nil, err
		}
		x.Void = slices.ContainsFunc(of, func(e *events.Event) bool {
			c, ok := e.Data.(*events.EventCorrected)
			return ok && c.Event == signed.ID && c.Action == "void"
		})
		x.Assessment = s.documentBehind(d.Document)
		out = append(out, x)
	}
	return out, nil
}

// documentBehind reads the document that a mark stands for.
func (s *Site) documentBehind(mark string) *assess.Assessment {
	text := mark
	if a, ok := s.addenda.disclosed(mark); ok {
		text = a.Text
	}
	var d assessmentDocument
	if err := json.Unmarshal([]byte(text), &d); err != nil || d.Format != documentFormat || d.Assessment == nil ||
		d.Assessment.Ledger == nil {
		return nil
	}
	return d.Assessment
}
