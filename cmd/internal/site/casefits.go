package site

import (
	"context"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// A case's reference that is none by the site's own pattern may be what was on a wristband. It is refused before anything
// is written; what is on record already is the name of a case, whatever the policy says since.

// CheckCase refuses a reference that can't be a case's at a station now.
func (v *View) CheckCase(ctx context.Context, station, ref string, at time.Time) error {
	return checkCase(v.World(ctx), v.Source(ctx), station, ref, at)
}

func checkCase(w *judge.World, source interface {
	Facts(dim facts.Dim, key string) ([]facts.Fact, error)
}, station, ref string, at time.Time) error {
	if ref == "" || events.IsMark(ref) {
		return nil
	}
	p, _, err := w.PolicyAt(SiteOf(station), at)
	if err != nil || p.CaseFits(ref) {
		return err
	}
	for _, dim := range []facts.Dim{facts.DimCase, facts.DimSchedule} {
		if known, err := source.Facts(dim, ref); err != nil || len(known) > 0 {
			return err
		}
	}
	var like []string
	for _, c := range p.Codes {
		if c.Kind == events.ScanCase {
			like = append(like, c.Like)
		}
	}
	// It is not said once more: the answer is kept, too.
	return refusal.Keyed("case-pattern", "this is no case as the site's policy writes them (%s; 9 is any digit, @ any letter): "+
		"scan it again, or type what is printed beside it", strings.Join(like, ", "))
}

// inTables finds facts in a read model's tables, once these have all that was applied.
type inTables struct {
	ctx   context.Context
	model *readmodel.Model
}

func (t inTables) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	m, err := tables(t.ctx, t.model)
	if err != nil {
		return nil, err
	}
	return m.Source(t.ctx).Facts(dim, key)
}

// checkCases refuses an event that names such a case.
func (in *intake) checkCases(ctx context.Context, e *events.Event) error {
	switch e.Kind() {
	case events.KindEventCorrected, events.KindHoldPlaced:
	default:
		if d, ok := e.Data.(*events.SetSterilized); events.CaseOf(e.Data) == "" && (!ok || d.For == "") {
			return nil
		}
	}
	of, err := in.correctedKind(e)
	if err != nil {
		return err
	}
	_, err = events.Texts(e.Data, of, func(name, text string) (string, error) {
		if name != events.AddendumCase {
			return text, nil
		}
		return text, checkCase(in.refs.world, inTables{ctx, in.refs.model}, e.Station, text, e.Time)
	})
	return err
}
