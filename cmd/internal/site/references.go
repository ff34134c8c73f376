package site

import (
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
)

// resolve fills in what an observation may leave out, and refuses what refers
// to something that isn't there. What is merely wrong is recorded and judged.
func (in *intake) resolve(o *events.Observation, e *events.Event) error {
	switch d := o.Data.(type) {
	case *events.ListIssued:
		return in.checkIssue(d)
	case *events.StationEnrolled:
		return in.checkEnrolment(d)
	case *events.StationRetired:
		return in.checkRetirement(d)
	case *events.EventCorrected:
		return in.checkCorrection(d, e)
	case *events.SetPacked:
		return in.checkPacked(o, d, e)
	case *events.FindingAcknowledged:
		return in.checkAcknowledged(d, e)
	case *events.ListSealed:
		if err := in.needTrip(e); err != nil {
			return err
		}
		return in.completeSeal(d, e)
	case *events.SetCounted:
		if err := in.needTrip(e); err != nil {
			return err
		}
		return in.checkCounted(d, e)
	}
	if e.Kind().AboutSet() {
		// A set nobody packed here may still be seen; then there is no trip.
		return in.findTrip(e)
	}
	return nil
}

// needTrip is findTrip for what has no meaning without a trip and its list.
func (in *intake) needTrip(e *events.Event) error {
	if err := in.findTrip(e); err != nil {
		return err
	}
	if e.Trip == "" {
		return refusal.New("set %s has no trip at %s: record set.packed first, or name the trip", e.Subject, e.Time.Format(time.RFC3339))
	}
	return nil
}

// findTrip checks a trip that is given, or finds the set's own at that time.
func (in *intake) findTrip(e *events.Event) error {
	if e.Trip == "" {
		trip, err := in.world.TripAt(e.Subject, e.Time)
		e.Trip = trip
		return err
	}
	set, ok, err := in.setOf(e.Trip)
	if err != nil {
		return err
	}
	if !ok {
		return refusal.New("trip %s is not known here: leave the trip out for the set's open trip, or record set.packed first", e.Trip)
	}
	if set != e.Subject {
		return refusal.New("trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
	}
	return nil
}

func (in *intake) setOf(trip string) (set string, ok bool, err error) {
	for set, es := range in.packed {
		for _, e := range es {
			if e.Trip == trip {
				return set, true, nil
			}
		}
	}
	return in.m.SetOfTrip(in.ctx, trip)
}

func (in *intake) checkPackedBy(d *events.SetPacked) error {
	list, err := in.list(d.List, d.Version)
	if err != nil {
		return err
	}
	lines := lineNumbers(list)
	for _, x := range d.Exceptions {
		if !lines[x.Line] {
			return refusal.New("exceptions: list %s version %d has no line %d", d.List, d.Version, x.Line)
		}
	}
	return nil
}

func (in *intake) checkPacked(o *events.Observation, d *events.SetPacked, e *events.Event) (err error) {
	if err := in.checkPackedBy(d); err != nil {
		return err
	}
	if e.Trip == "" {
		e.Trip, err = o.NewTrip()
		return err
	}
	set, ok, err := in.setOf(e.Trip)
	if err != nil {
		return err
	}
	if ok && set != e.Subject {
		return refusal.New("trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
	}
	return nil
}

// completeSeal computes what the seal commits to: list, binding, sheet code.
func (in *intake) completeSeal(d *events.ListSealed, e *events.Event) error {
	// The observation's own data is not touched: its id was taken from it.
	seal := *d
	e.Data = &seal
	if seal.List == "" || seal.Version == 0 {
		p, err := in.packedOf(e)
		if err != nil {
			return err
		}
		seal.List, seal.Version = p.List, p.Version
	}
	list, err := in.list(seal.List, seal.Version)
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
	for what, pair := range map[string][2]string{"listDigest": {d.ListDigest, dig.String()}, "binding": {d.Binding, binding.String()}, "code": {d.Code, code.String()}} {
		if pair[0] != "" && pair[0] != pair[1] {
			return refusal.New("%s is not what list %s version %d, set %s and this trip give; leave it out", what, seal.List, seal.Version, e.Subject)
		}
	}
	seal.ListDigest, seal.Binding, seal.Code = dig.String(), binding.String(), code.String()
	return nil
}

// packedOf returns how the event's trip was packed, as known so far.
func (in *intake) packedOf(e *events.Event) (*events.SetPacked, error) {
	p, err := in.world.Packed(projections.TripKey{Set: e.Subject, Trip: e.Trip})
	if err != nil {
		return nil, err
	}
	if p == nil {
		return nil, refusal.New("no packing of set %s is recorded for this trip: name list and version", e.Subject)
	}
	return p, nil
}

func (in *intake) checkCounted(d *events.SetCounted, e *events.Event) error {
	p, err := in.packedOf(e)
	if err != nil {
		return err
	}
	list, err := in.list(p.List, p.Version)
	if err != nil {
		return err
	}
	lines := lineNumbers(list)
	for _, c := range d.Counts {
		if !lines[c.Line] {
			return refusal.New("counts: list %s version %d has no line %d", p.List, p.Version, c.Line)
		}
	}
	for _, r := range d.Removed {
		if !lines[r.Line] {
			return refusal.New("removed: list %s version %d has no line %d", p.List, p.Version, r.Line)
		}
	}
	return nil
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
func (in *intake) version(list string, version int64) (d *events.ListIssued, any bool, err error) {
	issued, err := in.world.Issued(list)
	for _, x := range issued {
		if x.List.Version == version {
			d = x.List
		}
	}
	return d, len(issued) > 0, err
}

func (in *intake) list(list string, version int64) (*events.ListIssued, error) {
	switch d, known, err := in.version(list, version); {
	case err != nil || d != nil:
		return d, err
	case !known:
		return nil, refusal.New("list %s is not known here: record list.issued first", list)
	default:
		return nil, refusal.New("list %s has no version %d here: record list.issued first", list, version)
	}
}

func (in *intake) checkIssue(d *events.ListIssued) error {
	old, _, err := in.version(d.List, d.Version)
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
			return refusal.New("list %s version %d was issued before with other lines; a changed list is a new version", d.List, d.Version)
		}
	}
	return nil
}

func (in *intake) checkEnrolment(d *events.StationEnrolled) error {
	if events.ReservedStation(d.Station) {
		return refusal.New("%s is a ledger's name; a station needs another", d.Station)
	}
	c, err := in.find(d.Station)
	if err != nil {
		return err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return refusal.New("key of station %s: %w", d.Station, err)
	}
	c.verifier, c.signer, c.retired = v, nil, 0
	return nil
}

func (in *intake) checkRetirement(d *events.StationRetired) error {
	if events.ReservedStation(d.Station) {
		return refusal.New("%s is the ledger itself, and is not retired", d.Station)
	}
	c, err := in.find(d.Station)
	if err != nil {
		return err
	}
	if c.verifier == nil {
		return in.notEnrolled(d.Station)
	}
	if c.retired != 0 {
		return refusal.New("station %s was retired by record %d", d.Station, c.retired)
	}
	c.retired = in.s.ledger.Size() + int64(len(in.entries)) + 1
	return nil
}

func (in *intake) checkAcknowledged(d *events.FindingAcknowledged, e *events.Event) error {
	known := false
	for _, c := range projections.Codes() {
		known = known || string(c) == d.Code
	}
	if !known {
		return refusal.New("code %q is not a finding; the findings are %s", d.Code, codeNames())
	}
	if err := in.findTrip(e); err != nil {
		return err
	}
	if e.Trip == "" {
		return refusal.New("set %s has no trip at %s: name the trip", e.Subject, e.Time.Format(time.RFC3339))
	}
	return nil
}

func codeNames() string {
	var out []string
	for _, c := range projections.Codes() {
		out = append(out, string(c))
	}
	return strings.Join(out, ", ")
}

func (in *intake) checkCorrection(d *events.EventCorrected, e *events.Event) error {
	target := in.byID[d.Event]
	if target == nil {
		seq, err := in.m.FindEvent(in.ctx, d.Event)
		if err != nil {
			return err
		}
		if seq == 0 {
			return refusal.New("event %s is not known here, so it can't be corrected", d.Event)
		}
		if target, err = in.s.EventAt(seq); err != nil {
			return err
		}
	}
	switch target.Kind() {
	case events.KindStationEnrolled, events.KindStationRetired:
		return refusal.New("a %s is not corrected: enrol or retire the station again", target.Kind())
	case events.KindEventCorrected:
		if d.Action == "replace" {
			return refusal.New("a correction is not replaced: void it and correct the event itself again")
		}
	}
	if e.Subject != "" && e.Subject != target.Subject {
		return refusal.New("the event corrected is about %s, not %s", target.Subject, e.Subject)
	}
	if e.Trip != "" && e.Trip != target.Trip {
		return refusal.New("the event corrected belongs to another trip; leave the trip out")
	}
	e.Subject, e.Trip = target.Subject, target.Trip
	if d.Action != "replace" {
		return nil
	}
	data, err := events.ParseObservedData(target.Kind(), d.Data)
	if err != nil {
		return refusal.New("replacing a %s: %w", target.Kind(), err)
	}
	// What is put in place is held to what an observation of the kind is held to.
	t := *target
	switch d := data.(type) {
	case *events.ListSealed:
		err = in.completeSeal(d, &t)
		data = t.Data
	case *events.SetPacked:
		err = in.checkPackedBy(d)
	case *events.SetCounted:
		err = in.checkCounted(d, &t)
	case *events.ListIssued:
		if old, ok := t.Data.(*events.ListIssued); ok && (d.List != old.List || d.Version != old.Version) {
			err = refusal.New("the event issued list %s version %d; another list or version is issued, not put in its place", old.List, old.Version)
		}
	}
	if err != nil {
		return fmt.Errorf("replacing a %s: %w", target.Kind(), err) // a refusal or not, as it was
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return err
	}
	corrected := *d
	corrected.Data = raw
	e.Data = &corrected
	return nil
}
