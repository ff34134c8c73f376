package site

import (
	"context"
	"fmt"
	"net/http"
	"sort"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// View is the read model while it is asked, with the questions that need the
// ledger's records or its clock as well.
type View struct {
	*readmodel.Model
	site   *Site
	at     time.Time // as known at which moment; zero: now
	firsts *firsts
}

// Now is the moment that is asked about.
func (v *View) Now() time.Time {
	if v.at.IsZero() {
		return v.site.Clock()
	}
	return v.at
}

// Position is the last record that what is asked after this is answered from: more may be judged by now, and not be in the tables
// that are asked.
func (v *View) Position() int64 { return v.WrittenTo() }

// Zone is where the site is.
func (v *View) Zone() *time.Location { return v.site.Zone() }

// Ask asks the read model, which stays in place meanwhile. It is the one way
// in: what else is asked of a Site asks here.
//
// A question must not record, nor ask the Site again: a rebuild waits for
// questions under way, and both wait for a rebuild.
func (s *Site) Ask(question func(*View) error) error {
	s.modelMu.RLock()
	defer s.modelMu.RUnlock()
	if s.model == nil {
		return refusal.ErrClosed
	}
	if problems := s.ledger.Damage(); len(problems) > 0 && s.model.Position() == 0 && !s.opening {
		// Nothing is known of what it holds: to answer that nothing is wrong would be a lie.
		return s.damaged(&ledger.DamagedError{Dir: s.opts.Dir, Problems: problems})
	}
	// Where that fails, it answers by what the tables have, and says how far they are behind.
	_ = s.model.Settle(context.Background())
	return question(&View{Model: s.model, site: s, firsts: &s.firsts})
}

// Answer asks for one thing.
func Answer[T any](s *Site, question func(*View) (T, error)) (out T, err error) {
	err = s.Ask(func(v *View) error {
		out, err = question(v)
		return err
	})
	return out, err
}

// World returns a world over all facts there are, corrections applied.
func (v *View) World(ctx context.Context) *judge.World { return v.WorldAt(ctx, time.Time{}) }

// TripNow returns the set's trip that is open at a moment; "" where it was
// never packed here.
func (v *View) TripNow(ctx context.Context, set string, at time.Time) (string, error) {
	return v.World(ctx).TripAt(set, at)
}

// Facts returns the events of a dimension and key, as observed.
func (v *View) Facts(ctx context.Context, dim facts.Dim, key string) ([]*events.Event, error) {
	found, err := v.Source(ctx).Facts(dim, key)
	if err != nil {
		return nil, err
	}
	out := make([]*events.Event, len(found))
	for i, f := range found {
		out[i] = f.Event
	}
	return out, nil
}

// Preview judges an observation without recording it: what the verdict of its
// trip would be. A page shows it at the scan, before a person confirms.
func (v *View) Preview(ctx context.Context, o *events.Observation) (*projections.Verdict, error) {
	return v.preview(ctx, o, newReferences(v.site, v.Model, judge.NewWorld(v.Source(ctx))))
}

// PreviewElsewhere judges an observation that would be made at another station, by whoever works there: the registers are not
// asked whether it may be made here.
func (v *View) PreviewElsewhere(ctx context.Context, o *events.Observation) (*projections.Verdict, error) {
	r := newReferences(v.site, v.Model, judge.NewWorld(v.Source(ctx)))
	r.elsewhere = true
	return v.preview(ctx, o, r)
}

func (v *View) preview(ctx context.Context, o *events.Observation, r *references) (*projections.Verdict, error) {
	id, err := o.KeyedID(v.site.addenda.idKey())
	if err != nil {
		return nil, refusal.Because(err)
	}
	e := eventOf(id, o)
	if err := r.resolve(ctx, o, e); err != nil {
		return nil, err
	}
	w := v.World(ctx)
	f := facts.Fact{Seq: v.site.ledger.Size() + 1, Recorded: v.site.Clock(), Event: e}
	w.Add(f)
	verdict, err := w.Judge(w.Resolve(f))
	if err != nil {
		return nil, err
	}
	return &verdict, nil
}

// TurnBefore returns the verdict on a set's turn before one, nil where it has none.
func (v *View) TurnBefore(ctx context.Context, k projections.TripKey) (*projections.Verdict, error) {
	w := v.World(ctx)
	before := w.Trip(k).Prev
	if err := w.Failed(); err != nil || before == "" {
		return nil, err
	}
	return v.Verdict(ctx, projections.TripKey{Set: k.Set, Trip: before})
}

// LikeSet returns the set that was packed here whose name is like that of one that never
// was; "" where there is none.
func (v *View) LikeSet(ctx context.Context, set string) (string, error) {
	return newReferences(v.site, v.Model, judge.NewWorld(v.Source(ctx))).likeSet(ctx, set)
}

// ErrNoList says that a list or version is not known.
var ErrNoList = refusal.WithCode(http.StatusNotFound, "no such list is issued here")

// List returns one version of a list, the newest where version is 0.
func (v *View) List(ctx context.Context, list string, version int64) (*ListVersion, error) {
	vs, err := v.Versions(ctx, list)
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

// Versions returns all versions of lists in force, or those of one list.
func (v *View) Versions(ctx context.Context, list string) ([]ListVersion, error) {
	ids := []string{list}
	if list == "" {
		var err error
		if ids, err = v.Lists(ctx); err != nil {
			return nil, err
		}
	}
	w := v.World(ctx)
	out := []ListVersion{}
	for _, id := range ids {
		issued, err := w.Issued(id)
		if err != nil {
			return nil, err
		}
		for _, x := range issued {
			d := x.List
			digest, err := d.Digest()
			if err != nil {
				return nil, err
			}
			out = append(out, ListVersion{
				List: d.List, Version: d.Version, Title: d.Title, Digest: digest.String(), Issued: x.Event.Time,
				By: x.Event.Operator, Seq: x.Seq, Cycles: d.Cycles, Implants: d.Implants, HighRisk: d.HighRisk,
				Goods: d.Goods, LineRows: d.Lines,
			})
		}
	}
	if list != "" && len(out) == 0 {
		return nil, refusal.Say(fmt.Errorf("%w of list %s", ErrNotFound, list), "nothing-of", list)
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].List != out[j].List {
			return out[i].List < out[j].List
		}
		return out[i].Version < out[j].Version
	})
	return out, nil
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
func (v *View) OnShelf(ctx context.Context, list string, newest int64) ([]Shelf, error) {
	keys, err := v.Unopened(ctx, list)
	if err != nil {
		return nil, err
	}
	w := v.World(ctx)
	var out []Shelf
	for _, k := range keys {
		p, err := w.Packed(k)
		if err != nil {
			return nil, err
		}
		if p == nil || p.List != list || p.Version == newest {
			continue
		}
		verdict, err := v.Verdict(ctx, k)
		if err != nil {
			return nil, err
		}
		sh := Shelf{TripKey: k, Version: p.Version}
		if verdict != nil {
			if verdict.Over {
				continue
			}
			sh.Where, sh.Since = verdict.Where, verdict.Since
		}
		out = append(out, sh)
	}
	return out, nil
}
