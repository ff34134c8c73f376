package site

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// Record implements Service.
func (s *Site) Record(ctx context.Context, lines io.Reader, emit func(Receipt) error) error {
	var batch []line
	for n, r := range events.Observations(lines) {
		if n == 0 {
			return errors.Join(s.record(ctx, batch, emit), r.Err)
		}
		batch = append(batch, line{n: n, obs: r.Observation, err: r.Err})
		if len(batch) < s.opts.Batch {
			continue
		}
		if err := s.record(ctx, batch, emit); err != nil {
			return err
		}
		batch = batch[:0]
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("interrupted after line %d; what has a receipt is recorded, and the same file can be recorded again", n)
		}
	}
	return s.record(ctx, batch, emit)
}

// line is one line of a file on its way.
type line struct {
	n   int
	obs *events.Observation
	err error

	prepared *prepared
	receipt  Receipt
}

// prepared is an observation turned into the record it will be.
type prepared struct {
	event   *events.Event
	note    []byte
	remark  events.Remark
	entries int // how many entries this line put into the batch: 1, or 2 with an enrolment
}

// record takes some lines as one atomic append and answers each.
func (s *Site) record(ctx context.Context, batch []line, emit func(Receipt) error) error {
	if len(batch) == 0 {
		return nil
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	if err := s.catchUp(ctx, nil); err != nil {
		return err
	}
	in := s.newIntake(ctx)
	for i := range batch {
		in.take(&batch[i])
	}
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		return err
	}
	for i := range batch {
		l := &batch[i]
		if l.prepared != nil {
			l.receipt.Seq = stored[l.prepared.entries-1].Seq
		}
		if l.err != nil {
			l.receipt = Receipt{Line: l.n, Error: l.err.Error()}
		}
	}
	// A line that repeats another of the same batch is answered like it.
	for i := range batch {
		if twin := in.twins[i]; batch[i].receipt.Known && twin != nil {
			batch[i].receipt.Seq = twin.receipt.Seq
		}
	}
	for i := range batch {
		if err := emit(batch[i].receipt); err != nil {
			return err
		}
	}
	return nil
}

// append stores entries and lets judgement follow.
func (s *Site) append(ctx context.Context, entries []ledger.Entry) ([]ledger.Appended, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	stored, err := s.ledger.Append(ctx, entries...)
	if err != nil {
		return nil, err
	}
	// What is stored is acknowledged whatever becomes of the read model, which
	// catches up before the next line.
	if err := s.catchUp(context.WithoutCancel(ctx), nil); err != nil {
		s.opts.Logger.Error("the read model lags behind the ledger", "error", err)
	}
	s.listen.tell()
	return stored, nil
}

// intake turns the lines of one batch into entries. It sees what the ledger
// holds, and the lines before in the same batch.
type intake struct {
	s       *Site
	ctx     context.Context
	m       *readmodel.Model
	entries []ledger.Entry

	index    int
	ids      map[string]*line // by event id, of this batch
	twins    map[int]*line
	stations map[string]*chain
	packed   map[string][]*events.Event // set.packed of this batch, by set
	byID     map[string]*events.Event
	lists    map[string]*listVersions
}

// chain is where a station's numbering stands.
type chain struct {
	signer   note.Signer   // nil: the station keeps its own key
	verifier note.Verifier // of the enrolled key; nil before enrolment
	retired  int64
	last     int64 // sequence in the ledger before this batch
	count    int64
	hash     string
}

func (s *Site) newIntake(ctx context.Context) *intake {
	return &intake{
		s: s, ctx: ctx, m: s.current(),
		ids: make(map[string]*line), twins: make(map[int]*line), stations: make(map[string]*chain),
		packed: make(map[string][]*events.Event), byID: make(map[string]*events.Event), lists: make(map[string]*listVersions),
	}
}

// take prepares one line. A refused line leaves nothing behind.
func (in *intake) take(l *line) {
	i := in.index
	in.index++
	if l.err != nil {
		return
	}
	id, err := l.obs.ID()
	if err != nil {
		l.err = err
		return
	}
	if twin := in.ids[id]; twin != nil {
		l.receipt = twin.receipt
		l.receipt.Known = true
		in.twins[i] = twin
		return
	}
	known, err := in.known(id, l)
	if err != nil || known {
		l.err = err
		return
	}
	before, chains := len(in.entries), in.save(l.obs)
	if err := in.prepare(id, l); err != nil {
		in.entries = in.entries[:before]
		in.restore(chains)
		l.err, l.prepared, l.receipt = err, nil, Receipt{}
		return
	}
	in.ids[id] = l
	in.byID[id] = l.prepared.event
}

// save keeps the chains that a line may move on, so that a refusal can put them back.
func (in *intake) save(o *events.Observation) map[string]*chain {
	out := make(map[string]*chain)
	for _, name := range []string{o.Station, in.s.Name()} {
		if c := in.stations[name]; c != nil {
			copied := *c
			out[name] = &copied
		} else {
			out[name] = nil
		}
	}
	return out
}

func (in *intake) restore(chains map[string]*chain) {
	for name, c := range chains {
		if c == nil {
			delete(in.stations, name)
		} else {
			in.stations[name] = c
		}
	}
}

// known answers a line that the ledger already holds.
func (in *intake) known(id string, l *line) (bool, error) {
	seq, err := in.m.FindEvent(in.ctx, id)
	if err != nil || seq == 0 {
		return false, err
	}
	e, err := in.s.EventAt(seq)
	if err != nil {
		return false, err
	}
	l.receipt = receiptOf(e)
	l.receipt.Seq, l.receipt.Known = seq, true
	return true, nil
}

func receiptOf(e *events.Event) Receipt {
	r := Receipt{ID: e.ID, Trip: e.Trip}
	switch e.Kind() {
	case events.KindSetPacked, events.KindListSealed, events.KindSetSterilized, events.KindSetOpened, events.KindSetCounted,
		events.KindSetChecked, events.KindFindingAcknowledged:
		r.Set = e.Subject
	}
	if d, ok := e.Data.(*events.ListSealed); ok {
		r.SheetCode = d.Code
	}
	return r
}

// EventAt reads the event of one record.
func (s *Site) EventAt(seq int64) (*events.Event, error) {
	rec, err := s.ledger.Read(seq)
	if err != nil {
		return nil, err
	}
	n, _, _, err := proof.SplitArrival(s.Name(), rec)
	if err != nil {
		return nil, fmt.Errorf("record %d: %w", seq, err)
	}
	return events.ParseNote(n)
}

func (in *intake) prepare(id string, l *line) error {
	o := l.obs
	if o.Signed != nil {
		return in.prepareSigned(l)
	}
	c, enrolled, err := in.chain(o)
	if err != nil {
		return err
	}
	e := &events.Event{ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator, Data: o.Data}
	if err := in.resolve(o, e); err != nil {
		return err
	}
	if err := in.put(l, e, c); err != nil {
		return err
	}
	if enrolled {
		l.receipt.Enrolled = o.Station
	}
	return nil
}

// put numbers, signs and queues an event.
func (in *intake) put(l *line, e *events.Event, c *chain) error {
	e.StationSeq, e.StationPrev = c.count+1, c.hash
	n, err := events.Sign(e, c.signer)
	if err != nil {
		return err
	}
	in.queue(e, n, c, 0)
	if e.Kind() == events.KindSetPacked {
		in.packed[e.Subject] = append(in.packed[e.Subject], e)
	}
	l.prepared = &prepared{event: e, note: n, entries: len(in.entries)}
	l.receipt = receiptOf(e)
	return nil
}

func (in *intake) queue(e *events.Event, n []byte, c *chain, remark events.Remark) {
	in.entries = append(in.entries, ledger.Entry{Station: e.Station, Kind: string(e.Kind()), Note: n, Remark: byte(remark), ExpectPrev: c.last})
	c.count, c.hash = e.StationSeq, events.NoteHash(n)
}

// prepareSigned takes a note from a station that keeps its own key, as it is:
// out of number or badly signed, it is recorded and judged, since refusing it
// would lose what it says. Only a station nobody enrolled is refused.
func (in *intake) prepareSigned(l *line) error {
	o := l.obs
	c, err := in.find(o.Station)
	if err != nil {
		return err
	}
	if c.verifier == nil {
		return in.notEnrolled(o.Station)
	}
	if o.Station == in.s.Name() {
		return fmt.Errorf("%s is the ledger itself; nobody else signs as it", o.Station)
	}
	e, err := events.ParseNote(o.Signed)
	if err != nil {
		return err
	}
	var remark events.Remark
	if c.retired != 0 || events.VerifyNote(o.Signed, c.verifier) != nil {
		remark = events.RemarkSignature
	}
	in.queue(e, o.Signed, c, remark)
	if e.Kind() == events.KindSetPacked {
		in.packed[e.Subject] = append(in.packed[e.Subject], e)
	}
	l.prepared = &prepared{event: e, note: o.Signed, remark: remark, entries: len(in.entries)}
	l.receipt = receiptOf(e)
	if remark != 0 {
		l.receipt.Remark = remark.String()
	}
	return nil
}

func (in *intake) notEnrolled(station string) error {
	return fmt.Errorf("station %s is not enrolled here; enrol it with: listbound stations enrol %s", station, station)
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
			return nil, false, fmt.Errorf("%s is the ledger itself; it only enrols and retires stations, adopts policies and corrects", o.Station)
		}
		return c, false, nil
	case events.ReservedStation(o.Station):
		return nil, false, fmt.Errorf("%s is not this folder's ledger, which is %s", o.Station, in.s.Name())
	case registry:
		return nil, false, fmt.Errorf("stations are enrolled and retired by the ledger itself (station %s)", in.s.Name())
	case c.retired != 0:
		return nil, false, fmt.Errorf("station %s was retired (record %d); enrol it again or use another", o.Station, c.retired)
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
		return nil, fmt.Errorf("station %s keeps its own key; it hands in signed records", station)
	}
	signer, _, _, err := ledger.LoadOrCreateKey(path, station)
	if err != nil {
		return nil, err
	}
	if signer.KeyHash() != enrolled.KeyHash() {
		return nil, fmt.Errorf("the key kept here for station %s is not the one it is enrolled with; enrol it again", station)
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
	case *events.ListSealed, *events.SetCounted:
		if err := in.findTrip(e); err != nil {
			return err
		}
		if e.Trip == "" {
			return fmt.Errorf("set %s has no trip at %s: record set.packed first, or name the trip", e.Subject, e.Time.Format(time.RFC3339))
		}
		if seal, ok := d.(*events.ListSealed); ok {
			return in.completeSeal(seal, e)
		}
		return in.checkCounted(d.(*events.SetCounted), e)
	case *events.SetSterilized, *events.SetChecked, *events.SetOpened:
		// A set nobody packed here may still be seen; then there is no trip.
		return in.findTrip(e)
	}
	return nil
}

// findTrip checks a trip that is given, or finds the set's own at that time.
func (in *intake) findTrip(e *events.Event) error {
	if e.Trip == "" {
		trip, err := in.tripAt(e.Subject, e.Time)
		e.Trip = trip
		return err
	}
	set, ok, err := in.setOf(e.Trip)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("trip %s is not known here: leave the trip out for the set's open trip, or record set.packed first", e.Trip)
	}
	if set != e.Subject {
		return fmt.Errorf("trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
	}
	return nil
}

func (in *intake) tripAt(set string, at time.Time) (string, error) {
	trip, packed, err := in.m.TripAt(in.ctx, set, at)
	if err != nil {
		return "", err
	}
	for _, e := range in.packed[set] {
		if !e.Time.After(at) && !e.Time.Before(packed) {
			trip, packed = e.Trip, e.Time
		}
	}
	return trip, nil
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

func (in *intake) checkPacked(o *events.Observation, d *events.SetPacked, e *events.Event) error {
	list, err := in.list(d.List, d.Version)
	if err != nil {
		return err
	}
	lines := lineNumbers(list)
	for _, x := range d.Exceptions {
		if !lines[x.Line] {
			return fmt.Errorf("exceptions: list %s version %d has no line %d", d.List, d.Version, x.Line)
		}
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
		return fmt.Errorf("trip %s is one of set %s, not of set %s", e.Trip, set, e.Subject)
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
			return fmt.Errorf("%s is not what list %s version %d, set %s and this trip give; leave it out", what, seal.List, seal.Version, e.Subject)
		}
	}
	seal.ListDigest, seal.Binding, seal.Code = dig.String(), binding.String(), code.String()
	return nil
}

// packedOf returns how the event's trip was packed, as known so far.
func (in *intake) packedOf(e *events.Event) (*events.SetPacked, error) {
	for _, p := range in.packed[e.Subject] {
		if p.Trip == e.Trip {
			return p.Data.(*events.SetPacked), nil
		}
	}
	w := projections.NewWorld(in.m.Source(in.ctx))
	p, err := w.Packed(projections.TripKey{Set: e.Subject, Trip: e.Trip})
	if err != nil {
		return nil, err
	}
	if p == nil {
		return nil, fmt.Errorf("no packing of set %s is recorded for this trip: name list and version", e.Subject)
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
			return fmt.Errorf("counts: list %s version %d has no line %d", p.List, p.Version, c.Line)
		}
	}
	for _, r := range d.Removed {
		if !lines[r.Line] {
			return fmt.Errorf("removed: list %s version %d has no line %d", p.List, p.Version, r.Line)
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

// listVersions are the versions of one list known so far.
type listVersions map[int64]*events.ListIssued

func (in *intake) versions(list string) (listVersions, error) {
	if vs := in.lists[list]; vs != nil {
		return *vs, nil
	}
	facts, err := in.m.ListVersions(in.ctx, list)
	if err != nil {
		return nil, err
	}
	vs := make(listVersions)
	for _, f := range facts {
		if d, ok := f.Event.Data.(*events.ListIssued); ok && vs[d.Version] == nil {
			vs[d.Version] = d
		}
	}
	in.lists[list] = &vs
	return vs, nil
}

func (in *intake) list(list string, version int64) (*events.ListIssued, error) {
	vs, err := in.versions(list)
	if err != nil {
		return nil, err
	}
	if d := vs[version]; d != nil {
		return d, nil
	}
	if len(vs) == 0 {
		return nil, fmt.Errorf("list %s is not known here: record list.issued first", list)
	}
	return nil, fmt.Errorf("list %s has no version %d here: record list.issued first", list, version)
}

func (in *intake) checkIssue(d *events.ListIssued) error {
	vs, err := in.versions(d.List)
	if err != nil {
		return err
	}
	if old := vs[d.Version]; old != nil {
		was, err := old.Digest()
		if err != nil {
			return err
		}
		now, err := d.Digest()
		if err != nil {
			return err
		}
		if was != now {
			return fmt.Errorf("list %s version %d was issued before with other lines; a changed list is a new version", d.List, d.Version)
		}
	}
	vs[d.Version] = d
	return nil
}

func (in *intake) checkEnrolment(d *events.StationEnrolled) error {
	if events.ReservedStation(d.Station) {
		return fmt.Errorf("%s is a ledger's name; a station needs another", d.Station)
	}
	c, err := in.find(d.Station)
	if err != nil {
		return err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return fmt.Errorf("key of station %s: %w", d.Station, err)
	}
	c.verifier, c.signer, c.retired = v, nil, 0
	return nil
}

func (in *intake) checkRetirement(d *events.StationRetired) error {
	c, err := in.find(d.Station)
	if err != nil {
		return err
	}
	if c.verifier == nil {
		return in.notEnrolled(d.Station)
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
		return fmt.Errorf("code %q is not a finding; the findings are %s", d.Code, codeNames())
	}
	if err := in.findTrip(e); err != nil {
		return err
	}
	if e.Trip == "" {
		return fmt.Errorf("set %s has no trip at %s: name the trip", e.Subject, e.Time.Format(time.RFC3339))
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
			return fmt.Errorf("event %s is not known here, so it can't be corrected", d.Event)
		}
		if target, err = in.s.EventAt(seq); err != nil {
			return err
		}
	}
	switch target.Kind() {
	case events.KindStationEnrolled, events.KindStationRetired:
		return fmt.Errorf("a %s is not corrected: enrol or retire the station again", target.Kind())
	case events.KindEventCorrected:
		if d.Action == "replace" {
			return errors.New("a correction is not replaced: void it and correct the event itself again")
		}
	}
	if e.Subject != "" && e.Subject != target.Subject {
		return fmt.Errorf("the event corrected is about %s, not %s", target.Subject, e.Subject)
	}
	if e.Trip != "" && e.Trip != target.Trip {
		return fmt.Errorf("the event corrected belongs to another trip; leave the trip out")
	}
	e.Subject, e.Trip = target.Subject, target.Trip
	if d.Action != "replace" {
		return nil
	}
	data, err := events.ParseObservedData(target.Kind(), d.Data)
	if err != nil {
		return fmt.Errorf("replacing a %s: %w", target.Kind(), err)
	}
	if seal, ok := data.(*events.ListSealed); ok {
		t := *target
		if err := in.completeSeal(seal, &t); err != nil {
			return err
		}
		data = t.Data
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

// Enrol implements Service. Without a key one is made and kept here.
func (s *Site) Enrol(ctx context.Context, station, key, reason string) (*Receipt, error) {
	return s.registry(ctx, func(in *intake) (*events.Event, error) {
		if err := events.CheckStation(station); err != nil {
			return nil, err
		}
		if events.ReservedStation(station) {
			return nil, fmt.Errorf("%s is a ledger's name; a station needs another", station)
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

// FirstSite returns the site of the first observation in a text, "" where none
// can be read: a new folder is then named by default.
func FirstSite(head []byte) string {
	for _, r := range events.Observations(bytes.NewReader(head)) {
		if r.Observation != nil {
			return SiteOf(r.Observation.Station)
		}
	}
	return ""
}
