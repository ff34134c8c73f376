package site

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// references is what an observation may refer to: what the ledger holds, and
// what came before it in the same batch, corrections applied.
type references struct {
	site  *Site
	model *readmodel.Model
	world *judge.World

	holds     []string                                // names of the holds placed in this batch
	held      bool                                    // a registers.adopted is among these
	elsewhere bool                                    // made at another station: no register is asked whether it may be here
	packed    map[string][]*events.Event              // set.packed of this batch, by set
	byID      map[string]*events.Event                // of this batch
	alike     map[string][]string                     // names of sets that were packed, by likeness; nil until it is asked for
	entries   map[events.Register]map[string][]string // codes entered, by likeness; nil until it is asked for
	entered   map[events.Register][]string            // codes entered in this batch
}

// newReferences returns what may be referred to by the facts that a world holds.
func newReferences(s *Site, m *readmodel.Model, w *judge.World) *references {
	return &references{
		site: s, model: m, world: w,
		packed: make(map[string][]*events.Event), byID: make(map[string]*events.Event),
		entries: make(map[events.Register]map[string][]string), entered: make(map[events.Register][]string),
	}
}

// learn keeps what later lines of the batch may refer to. The event is in its
// final form by now, and will be record seq; what is refused leaves nothing to refer to.
func (r *references) learn(e *events.Event, seq int64) {
	if r.byID[e.ID] == nil {
		r.byID[e.ID] = e
	}
	switch d := e.Data.(type) {
	case *events.SetPacked:
		r.packed[e.Subject] = append(r.packed[e.Subject], e)
		if r.alike != nil {
			r.addAlike(e.Subject)
		}
		delete(r.site.badges, e.Subject)
	case *events.RegistersAdopted:
		r.held = true
	case *events.HoldPlaced:
		r.holds = append(r.holds, d.Hold)
		return
	case events.Entry:
		register, id := d.Named()
		r.entered[register] = append(r.entered[register], id)
		if known := r.entries[register]; known != nil {
			known[events.Likeness(id)] = append(known[events.Likeness(id)], id)
		}
	case *events.ListIssued, *events.EventCorrected, *events.AccessClaimed, *events.PolicyAdopted:
	default:
		return
	}
	r.model.Expect(facts.Fact{Seq: seq, Recorded: r.site.Clock(), Event: e})
}

// resolve fills in what an observation may leave out, and refuses what refers
// to something that isn't there. What is merely wrong is recorded and judged.
func (r *references) resolve(ctx context.Context, o *events.Observation, e *events.Event) error {
	if !r.elsewhere {
		if err := r.checkRegistered(ctx, e); err != nil {
			return err
		}
	}
	switch d := o.Data.(type) {
	case *events.ListIssued:
		return r.checkIssue(d)
	case *events.EventCorrected:
		return r.checkCorrection(ctx, d, e)
	case events.Entry:
		return r.checkEntry(ctx, e, d)
	case *events.RegistersAdopted:
		return r.checkAdopted(ctx, e, d)
	case *events.SetPacked:
		return r.checkPacked(ctx, o, d, e)
	case *events.HoldLifted:
		return r.checkLifted(ctx, d)
	case *events.RunLogged:
		return r.site.runLogs().has(d)
	case *events.FindingAcknowledged:
		return r.checkAboutFinding(ctx, d.Code, e)
	case *events.IncidentHandled:
		return r.checkAboutFinding(ctx, d.Code, e)
	case *events.ListSealed:
		// What the sheet's code commits to is part of the record.
		trip, err := r.needTrip(ctx, e)
		if err != nil {
			return err
		}
		e.Trip = trip
		return r.completeSeal(d, e)
	case *events.SetCounted:
		if err := r.checkTrip(ctx, e); err != nil {
			return err
		}
		return r.checkCounted(d, e)
	}
	if e.Kind().AboutSet() {
		// A set nobody packed here may still be seen; then there is no trip.
		return r.checkTrip(ctx, e)
	}
	return nil
}

// checkLifted refuses, at a server, to lift what is not held: it would look done, and the hold that was meant would go on.
func (r *references) checkLifted(ctx context.Context, d *events.HoldLifted) error {
	if r.site.opts.EnrolOnSight || slices.Contains(r.holds, d.Hold) {
		return nil
	}
	holds, _, err := r.site.Holds(ctx)
	if err == nil && !slices.ContainsFunc(holds, func(h *events.HoldPlaced) bool { return h.Hold == d.Hold }) {
		err = refusal.Keyed("hold-none", "no legal hold %s is in force", d.Hold)
	}
	return err
}

// needTrip checks a trip that is given, or finds the set's own at that time, for
// what has no meaning without a trip and its list.
func (r *references) needTrip(ctx context.Context, e *events.Event) (string, error) {
	if err := r.checkTrip(ctx, e); err != nil {
		return "", err
	}
	trip, err := r.tripOf(e)
	if err == nil && trip == "" {
		err = refusal.Keyed("no-trip", "set %s has no trip at %s: record set.packed first, or name the trip",
			e.Subject, e.Time.Format(time.RFC3339))
	}
	return trip, err
}

// tripOf returns the trip of an event, given or the set's own at its time as far
// as is known. One that was not given isn't part of what was observed, and does
// not go into the record: a packing that arrives later may be the right one.
func (r *references) tripOf(e *events.Event) (string, error) {
	if e.Trip != "" || !e.Kind().AboutSet() {
		return e.Trip, nil
	}
	return r.world.TripAt(e.Subject, e.Time)
}

// checkTrip refuses a trip that is given and is none of the set's.
func (r *references) checkTrip(ctx context.Context, e *events.Event) error {
	if e.Trip == "" {
		return nil
	}
	set, ok, err := r.setOf(ctx, e.Trip)
	if err != nil {
		return err
	}
	if !ok {
		return refusal.Keyed("trip-unknown", "trip %s is not known here: "+
			"leave the trip out for the set's open trip, or record set.packed first",
			e.Trip)
	}
	if set != e.Subject {
		return refusal.Keyed("trip-of-other", "trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
	}
	return nil
}

func (r *references) setOf(ctx context.Context, trip string) (set string, ok bool, err error) {
	for set, es := range r.packed {
		for _, e := range es {
			if e.Trip == trip {
				return set, true, nil
			}
		}
	}
	if !r.model.MayHaveTrip(trip) {
		return "", false, nil
	}
	m, err := tables(ctx, r.model)
	if err != nil {
		return "", false, err
	}
	return m.SetOfTrip(ctx, trip)
}

func (r *references) checkPackedBy(d *events.SetPacked) error {
	list, err := r.list(d.List, d.Version)
	if err != nil {
		return err
	}
	if list.Goods {
		return refusal.Keyed("list-of-goods", "list %s is of goods that are counted in a room; no set is packed by it", d.List)
	}
	lines := lineNumbers(list)
	for _, x := range d.Exceptions {
		if !lines[x.Line] {
			return refusal.Keyed("exceptions-line", "exceptions: list %s version %d has no line %d", d.List, d.Version, x.Line)
		}
	}
	return nil
}

// checkNewSet asks whether a set that is packed for the first time is another one
// than that whose name its own is like: two names of one set are two histories, and
// a wrong count sheet is looked for in one of them.
func (r *references) checkNewSet(ctx context.Context, d *events.SetPacked, e *events.Event) error {
	if d.NewSet || len(r.packed[e.Subject]) > 0 {
		return nil
	}
	like, err := r.likeSet(ctx, e.Subject)
	if err != nil || like == "" {
		return err
	}
	return refusal.Keyed("set-alike", "set %s was never packed here, and %s is a set whose name is like that: give that name, or say "+
		"with \"newSet\": true in the data that it is another set", e.Subject, like)
}

// likeSet returns the set whose name is like one that was never packed, "" where there is
// none, or where that one was packed.
func (r *references) likeSet(ctx context.Context, set string) (string, error) {
	if packed, err := wasPacked(ctx, r.model, set); err != nil || packed {
		return "", err
	}
	if r.held || r.model.EverHeld() { // who entered it was asked
		if r.world.Entered(events.RegisterSets, set, r.site.Clock()).State == facts.EntryHolds {
			return "", r.world.Failed()
		}
	}
	if r.alike == nil {
		r.alike = make(map[string][]string)
		m, err := tables(ctx, r.model)
		if err != nil {
			return "", err
		}
		names, err := m.SetNames(ctx)
		if err != nil {
			return "", err
		}
		for _, name := range names {
			r.addAlike(name)
		}
		for name := range r.packed {
			r.addAlike(name)
		}
	}
	for _, name := range r.alike[events.Likeness(set)] {
		if name == set {
			continue
		}
		if packed, err := wasPacked(ctx, r.model, name); err != nil || packed || len(r.packed[name]) > 0 {
			return name, err
		}
	}
	return "", nil
}

func (r *references) addAlike(set string) {
	if l := events.Likeness(set); !slices.Contains(r.alike[l], set) {
		r.alike[l] = append(r.alike[l], set)
		slices.Sort(r.alike[l])
	}
}

// wasPacked reports whether a set was ever packed here.
func wasPacked(ctx context.Context, m *readmodel.Model, set string) (bool, error) {
	if err := m.Settle(ctx); err != nil {
		return false, err
	}
	trips, err := m.TripsOfSet(ctx, set)
	return slices.ContainsFunc(trips, func(k projections.TripKey) bool { return k.Trip != "" }), err
}

func (r *references) checkPacked(ctx context.Context, o *events.Observation, d *events.SetPacked, e *events.Event) (err error) {
	if err := r.checkPackedBy(d); err != nil {
		return err
	}
	if err := r.checkNewSet(ctx, d, e); err != nil {
		return err
	}
	if e.Trip == "" {
		if e.Trip, err = o.NewTrip(); err != nil {
			return err
		}
		if _, ok, err := r.setOf(ctx, e.Trip); err != nil || !ok {
			return err
		}
		e.Trip, err = o.NewKeyedTrip(r.site.addenda.idKey())
		return err
	}
	set, ok, err := r.setOf(ctx, e.Trip)
	if err != nil {
		return err
	}
	if ok && set != e.Subject {
		return refusal.Keyed("trip-of-other", "trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
	}
	return nil
}

// completeSeal computes what the seal commits to: list, binding, sheet code.
func (r *references) completeSeal(d *events.ListSealed, e *events.Event) error {
	// The observation's own data is not touched: its id was taken from it.
	seal := *d
	e.Data = &seal
	if seal.List == "" || seal.Version == 0 {
		p, err := r.packedOf(e.Subject, e.Trip)
		if err != nil {
			return err
		}
		seal.List, seal.Version = p.List, p.Version
	}
	list, err := r.list(seal.List, seal.Version)
	if err != nil {
		return err
	}
	dig, err := list.Digest()
	if err != nil {
		return err
	}
	binding, err := events.Binding(dig, e.Subject, e.Trip)
	if err != nil {
		return err
	}
	code, err := events.NewSheetCode(e.Trip, binding)
	if err != nil {
		return err
	}
	for _, x := range []struct{ what, given, is string }{
		{"listDigest", d.ListDigest, dig.String()}, {"binding", d.Binding, binding.String()}, {"code", d.Code, code.String()},
	} {
		if x.given != "" && x.given != x.is {
			return refusal.New("%s is not what list %s version %d, set %s and this trip give; leave it out",
				x.what, seal.List, seal.Version, e.Subject)
		}
	}
	seal.ListDigest, seal.Binding, seal.Code = dig.String(), binding.String(), code.String()
	return nil
}

// packedOf returns how a trip was packed, as known so far.
func (r *references) packedOf(set, trip string) (*events.SetPacked, error) {
	p, err := r.world.Packed(projections.TripKey{Set: set, Trip: trip})
	if err != nil {
		return nil, err
	}
	if p == nil {
		return nil, refusal.Keyed("no-packing", "no packing of set %s is recorded for this trip: name list and version", set)
	}
	return p, nil
}

// checkCounted holds a count that names its trip against the list that was packed
// by. Of any other count the list is not known for sure: the set may be a loaner, or
// the bench that packed it last be offline still. What was counted is kept, and a
// line that the list has not is judged as one of which none was expected.
func (r *references) checkCounted(d *events.SetCounted, e *events.Event) error {
	switch {
	case d.Goods != "":
		return r.checkGoods(d, e)
	case e.Trip == "":
		return nil
	}
	p, err := r.world.Packed(projections.TripKey{Set: e.Subject, Trip: e.Trip})
	if err != nil || p == nil {
		return err
	}
	list, err := r.list(p.List, p.Version)
	if err != nil {
		return err
	}
	lines := lineNumbers(list)
	for _, x := range d.Beyond {
		if lines[x.Line] {
			return refusal.Keyed("beyond-line", "beyond: list %s version %d has a line %d; give the line a number that the list has not",
				p.List, p.Version, x.Line)
		}
		lines[x.Line] = true
	}
	for _, c := range d.Counts {
		if !lines[c.Line] {
			return refusal.Keyed("counts-line", "counts: list %s version %d has no line %d", p.List, p.Version, c.Line)
		}
	}
	for _, x := range d.Removed {
		if !lines[x.Line] {
			return refusal.Keyed("removed-line", "removed: list %s version %d has no line %d", p.List, p.Version, x.Line)
		}
	}
	return nil
}

// checkGoods refuses goods by a list that is none of goods, and under a name that stands for something else.
func (r *references) checkGoods(d *events.SetCounted, e *events.Event) error {
	issued, err := r.world.Issued(d.Goods)
	switch {
	case err != nil:
		return err
	case len(issued) == 0 || !issued[len(issued)-1].List.Goods:
		return refusal.Keyed("goods-list", "goods: there is no list %s of goods", d.Goods)
	case e.Trip != "":
		return refusal.Keyed("goods-trip", "goods lie with no set, and have no trip: leave it out")
	}
	trip, err := r.world.TripAt(e.Subject, e.Time)
	if err != nil {
		return err
	}
	before, err := r.world.Standing(projections.TripKey{Set: e.Subject, Trip: trip})
	if err != nil {
		return err
	}
	of := r.world.Trip(projections.TripKey{Set: e.Subject})
	if trip != "" || len(before.Stages) > 0 && !before.Goods || of.CaseRef != "" && of.CaseRef != d.Case {
		return refusal.Keyed("goods-name", "%s is a set, or stands for the goods of another case: give what lies with no set "+
			"a name of its own", e.Subject)
	}
	return r.world.Failed()
}

func lineNumbers(l *events.ListIssued) map[int64]bool {
	out := make(map[int64]bool, len(l.Lines))
	for _, x := range l.Lines {
		out[x.Line] = true
	}
	return out
}

// version returns a version of a list as it is in force, nil where there is
// none, and whether there is any version of the list.
func (r *references) version(list string, version int64) (d *events.ListIssued, any bool, err error) {
	issued, err := r.world.Issued(list)
	for _, x := range issued {
		if x.List.Version == version {
			d = x.List
		}
	}
	return d, len(issued) > 0, err
}

func (r *references) list(list string, version int64) (*events.ListIssued, error) {
	switch d, known, err := r.version(list, version); {
	case err != nil || d != nil:
		return d, err
	case !known:
		return nil, refusal.Keyed("list-unknown", "list %s is not known here: record list.issued first", list)
	default:
		return nil, refusal.Keyed("list-version", "list %s has no version %d here: record list.issued first", list, version)
	}
}

func (r *references) checkIssue(d *events.ListIssued) error {
	old, _, err := r.version(d.List, d.Version)
	if err != nil {
		return err
	}
	if old != nil {
		was, err := old.Digest()
		if err != nil {
			return err
		}
		now, err := d.Digest()
		if err != nil {
			return err
		}
		if was != now {
			return refusal.Keyed("list-changed", "list %s version %d was issued before with other lines; a changed list is a new version",
				d.List, d.Version)
		}
	}
	return nil
}

// checkAboutFinding is of what is said about a finding of a turn.
func (r *references) checkAboutFinding(ctx context.Context, code string, e *events.Event) error {
	known := false
	for _, c := range projections.Codes() {
		known = known || string(c) == code
	}
	if !known {
		return refusal.New("code %q is not a finding; the findings are %s", code, codeNames())
	}
	if e.Trip == "" && e.Kind() == events.KindIncidentHandled {
		// A set that nobody packed here has incidents too. What is said of it without a turn belongs to none only as long as
		// it has none.
		return nil
	}
	_, err := r.needTrip(ctx, e)
	return err
}

func codeNames() string {
	var out []string
	for _, c := range projections.Codes() {
		out = append(out, string(c))
	}
	return strings.Join(out, ", ")
}

// checkCorrection holds a correction against what it corrects, and completes
// what it puts in its place.
func (r *references) checkCorrection(ctx context.Context, d *events.EventCorrected, e *events.Event) error {
	target, err := r.corrected(ctx, d.Event)
	if err != nil {
		return err
	}
	if target.Kind().IsRegister() {
		return refusal.New("a register's entry is not corrected: enter it again, or end it")
	}
	switch target.Kind() {
	case events.KindStationEnrolled, events.KindStationRetired:
		return refusal.New("a %s is not corrected: enrol or retire the station again", target.Kind())
	case events.KindAccessClaimed:
		return refusal.New("access that was claimed is not taken back: what was recorded by it stands")
	case events.KindEventCorrected:
		if d.Action == "replace" {
			return refusal.Keyed("correction-replaced", "a correction is not replaced: void it and correct the event itself again")
		}
	}
	if e.Subject != "" && e.Subject != target.Subject {
		return refusal.New("the event corrected is about %s, not %s", target.Subject, e.Subject)
	}
	if trip, err := r.tripOf(target); err != nil {
		return err
	} else if e.Trip != "" && e.Trip != trip {
		return refusal.New("the event corrected belongs to another trip; leave the trip out")
	}
	e.Subject, e.Trip = target.Subject, target.Trip
	corrected := *d
	corrected.Event = target.ID
	e.Data = &corrected
	if d.Action != "replace" {
		return nil
	}
	data, err := r.replacement(d, target)
	if err != nil {
		return fmt.Errorf("replacing a %s: %w", target.Kind(), err) // a refusal or not, as it was
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return err
	}
	corrected.Data = raw
	return nil
}

// corrected returns the event that a correction names.
func (r *references) corrected(ctx context.Context, id string) (*events.Event, error) {
	if e := r.byID[id]; e != nil {
		return e, nil
	}
	for _, e := range r.byID {
		if e.HasID(id) {
			return e, nil
		}
	}
	seqs, err := r.site.named(ctx, r.model, id)
	if err != nil {
		return nil, err
	}
	if len(seqs) == 0 {
		return nil, refusal.Keyed("event-unknown", "event %s is not known here, so it can't be corrected", id)
	}
	return r.site.EventAt(seqs[0])
}

// replacement returns the data that is put in place of the target's, held to
// what an observation of its kind is held to.
func (r *references) replacement(d *events.EventCorrected, target *events.Event) (events.Data, error) {
	data, err := events.ParseObservedData(target.Kind(), d.Data)
	if err != nil {
		return nil, refusal.Because(err)
	}
	t := *target
	switch d := data.(type) {
	case *events.ListSealed:
		err = r.completeSeal(d, &t)
		data = t.Data
	case *events.SetPacked:
		err = r.checkPackedBy(d)
	case *events.SetCounted:
		err = r.checkCounted(d, &t)
	case *events.ListIssued:
		if old, ok := t.Data.(*events.ListIssued); ok && (d.List != old.List || d.Version != old.Version) {
			err = refusal.New("the event issued list %s version %d; another list or version is issued, not put in its place",
				old.List, old.Version)
		}
	}
	return data, err
}
