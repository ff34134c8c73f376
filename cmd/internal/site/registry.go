package site

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections/readmodel"
)

// signing is the part of an intake that knows who may record: it numbers and
// signs events, and collects the entries of the batch.
type signing struct {
	ctx    context.Context // of the batch
	site   *Site
	model  *readmodel.Model
	chains map[string]*chain // by station, as this batch leaves them
	// redacting: this batch takes texts out.
	redacting bool
	entries   []ledger.Entry
	events    []*events.Event // of the entries
	beside    *signatures     // nil: each record is signed at once
	made      []*signature    // of the entries, where they are signed beside
	links     map[string]int  // how many of the entries are linked to a key
	at        time.Time       // when what is entered now arrived, in a week that is played; zero: now
}

// chain is where a station's numbering stands.
type chain struct {
	signer   note.Signer     // nil: the station keeps its own key
	verifier note.Verifier   // of the enrolled key; nil before enrolment
	former   []note.Verifier // of the keys before it
	retired  int64
	last     int64 // sequence in the ledger before this batch
	count    int64
	hash     string
	unsigned *signature // of the record before, which has no hash yet; nil: hash is known
}

func newSigning(ctx context.Context, s *Site, m *readmodel.Model) *signing {
	return &signing{ctx: ctx, site: s, model: m, chains: make(map[string]*chain), links: make(map[string]int)}
}

// mark is where a batch stood before a line.
type mark struct {
	entries int
	addenda int
	chains  map[string]*chain // of the stations that the line may move on
}

func (b *signing) mark(o *events.Observation) mark {
	m := mark{len(b.entries), b.site.addenda.unflushed(), make(map[string]*chain)}
	names := []string{o.Station, b.site.Name()}
	switch d := o.Data.(type) {
	case *events.StationEnrolled:
		names = append(names, d.Station)
	case *events.StationRetired:
		names = append(names, d.Station)
	}
	for _, name := range names {
		if c := b.chains[name]; c != nil {
			copied := *c
			m.chains[name] = &copied
		} else {
			m.chains[name] = nil
		}
	}
	return m
}

// undo takes back what a line did that is refused.
func (b *signing) undo(m mark) {
	for _, e := range b.entries[m.entries:] {
		for _, key := range e.About {
			b.links[key]--
		}
	}
	b.entries, b.events = b.entries[:m.entries], b.events[:m.entries]
	if b.beside != nil {
		b.made = b.made[:m.entries]
	}
	b.site.addenda.forget(m.addenda)
	for name, c := range m.chains {
		if c == nil {
			delete(b.chains, name)
		} else {
			b.chains[name] = c
		}
	}
}

// sign numbers, signs and queues an event. This is the one place where what it says in free text is put beside the
// record.
func (b *signing) sign(e *events.Event, c *chain) error {
	e.StationSeq, e.StationPrev = c.count+1, c.hash
	if err := e.Check(); err != nil {
		return refusal.Because(err) // as it was said: its marks would pass in the place of any text
	}
	of, err := b.correctedKind(e)
	if err != nil {
		return err
	}
	hidden, err := b.site.addenda.hide(e, of)
	if err != nil {
		return err
	}
	x := &signature{signer: c.signer, event: hidden, said: e, after: c.unsigned}
	if b.beside != nil {
		if err := b.queue(hidden, x, c, 0); err != nil {
			return err
		}
		b.beside.add(x)
		c.count, c.hash, c.unsigned = e.StationSeq, "", x
		return nil
	}
	if x.make(); x.err != nil {
		return refusal.Because(x.err) // too large, or what no record may hold
	}
	if err := b.queue(hidden, x, c, 0); err != nil {
		return err
	}
	c.count, c.hash = e.StationSeq, x.hash
	return nil
}

// signedBeside returns when all entries are signed that are signed beside. It reports whether they could be: what no record may hold
// is found out then, and not when its line could still be refused by itself.
func (b *signing) signedBeside() bool {
	b.beside.wait()
	for i, x := range b.made {
		if x.err != nil {
			return false
		}
		if b.entries[i].Note = x.note; x.after != nil {
			x.said.StationPrev = x.event.StationPrev
		}
	}
	return true
}

// queue puts an event among the entries, signed or to be signed beside.
func (b *signing) queue(e *events.Event, x *signature, c *chain, remark events.Remark) error {
	var failed error
	about := bundle.About(e, func(id string) *events.Event {
		of, err := b.firstOf(id)
		failed = errors.Join(failed, err)
		return of
	}, func(key string) bool {
		linked, err := b.linked(key)
		failed = errors.Join(failed, err)
		return linked
	})
	if failed != nil {
		return failed
	}
	b.entries = append(b.entries, ledger.Entry{
		Station: e.Station, Kind: string(e.Kind()), Note: x.note, Remark: byte(remark), ExpectPrev: c.last, About: about, At: b.at,
	})
	if b.beside != nil {
		b.made = append(b.made, x)
	}
	b.events = append(b.events, e)
	for _, key := range about {
		b.links[key]++
	}
	return nil
}

// correctedKind returns the kind of the event that one corrects in the end, "" where it corrects none.
func (b *signing) correctedKind(e *events.Event) (events.Kind, error) {
	const longest = 16 // corrections of corrections
	for range longest {
		d, ok := e.Data.(*events.EventCorrected)
		if !ok {
			return "", nil
		}
		of, err := b.firstOf(d.Event)
		if err != nil || of == nil {
			return "", err
		}
		if of.Kind() != events.KindEventCorrected {
			return of.Kind(), nil
		}
		e = of
	}
	return "", nil
}

// linked reports whether a record is linked to a key, in the ledger or before in this batch.
func (b *signing) linked(key string) (bool, error) {
	if b.links[key] > 0 {
		return true, nil
	}
	return b.site.ledger.Linked(key)
}

// signed reports whether a note is signed by the station, with the key in force or with one before it. The numbering goes
// on from a record of the key in force; one that another key signed moves nothing.
func (c *chain) signed(e *events.Event, n []byte) bool {
	if events.VerifyNote(n, c.verifier) == nil {
		if e.StationSeq > c.count {
			c.count, c.hash, c.unsigned = e.StationSeq, events.NoteHash(n), nil
		}
		return true
	}
	return slices.ContainsFunc(c.former, func(v note.Verifier) bool { return events.VerifyNote(n, v) == nil })
}

// firstOf returns the first event recorded under an id, as it is signed, in the ledger or before in this batch, nil where
// there is none.
func (b *signing) firstOf(id string) (*events.Event, error) {
	seqs, err := b.site.named(b.ctx, b.model, id)
	if err != nil {
		return nil, err
	}
	if len(seqs) > 0 {
		return b.site.SignedAt(seqs[0])
	}
	for i, e := range b.events {
		if e.ID == id || events.RevealNote(b.noteOf(i), e, b.site.addenda.disclosed).HasID(id) {
			return e, nil
		}
	}
	return nil, nil //nolint:nilnil // nothing is recorded under the id
}

// noteOf returns the note of an entry, which may be under way. It is nil where no record may hold that: see signedBeside.
func (b *signing) noteOf(entry int) []byte {
	if b.beside == nil {
		return b.entries[entry].Note
	}
	b.beside.wait()
	return b.made[entry].note
}

func notEnrolled(station string) error {
	return refusal.Keyed("not-enrolled", "station %s is not enrolled here; enrol it with: listbound stations enrol %s",
		station, station)
}

// find returns where a station stands, enrolled or not.
func (b *signing) find(name string) (*chain, error) {
	if c := b.chains[name]; c != nil {
		return c, nil
	}
	c := &chain{}
	if st := b.model.Station(name); st != nil {
		c.retired, c.last, c.count, c.hash = st.Retired, st.Last, st.Count, st.Hash
		if st.Key != "" {
			v, err := note.NewVerifier(st.Key)
			if err != nil {
				return nil, fmt.Errorf("key of station %s: %w", name, err)
			}
			c.verifier = v
		}
		for _, k := range st.Keys {
			v, err := note.NewVerifier(k.Key)
			if err != nil {
				return nil, fmt.Errorf("key of station %s: %w", name, err)
			}
			c.former = append(c.former, v)
		}
	}
	if name == b.site.Name() {
		c.signer, c.verifier = b.site.ledger.Signer(), b.site.ledger.Verifier()
	}
	b.chains[name] = c
	return c, nil
}

// chainOf returns the station's chain for an observation that is signed here.
func (b *signing) chainOf(o *events.Observation) (c *chain, enrolled bool, err error) {
	if c, enrolled, err = b.stands(o); err == nil && c.signer == nil {
		c.signer, err = b.site.stationSigner(o.Station, c.verifier)
	}
	return c, enrolled, err
}

// stands returns the station's chain for an observation that is its to make, wherever it is signed, enrolling the
// station if that is how this folder is used.
func (b *signing) stands(o *events.Observation) (c *chain, enrolled bool, err error) {
	if c, err = b.find(o.Station); err != nil {
		return nil, false, err
	}
	registry := o.Kind == events.KindStationEnrolled || o.Kind == events.KindStationRetired || o.Kind.IsRegister()
	switch {
	case o.Station == b.site.Name():
		command := o.Kind == events.KindRecordsLost && b.site.opts.acceptLoss || o.Kind == events.KindKeyReplaced && b.site.opts.replaceKey
		if o.Kind == events.KindTextsRedacted && !b.redacting {
			return nil, false, refusal.New("texts are taken out by a command of its own: listbound texts redact")
		}
		if !registry && !command && !o.Kind.SaysOfTexts() && o.Kind != events.KindPolicyAdopted && o.Kind != events.KindEventCorrected {
			return nil, false, refusal.New("%s is the ledger itself; it only enrols and retires stations, keeps registers, "+
				"adopts policies, corrects, and by commands of their own declares what is lost and replaces its key", o.Station)
		}
		return c, false, nil
	case events.ReservedStation(o.Station):
		return nil, false, refusal.New("%s is not this folder's ledger, which is %s", o.Station, b.site.Name())
	case o.Kind == events.KindRecordsLost:
		return nil, false, refusal.New("a loss is declared by the ledger itself, by a command: listbound declare-loss")
	case o.Kind == events.KindKeyReplaced:
		return nil, false, refusal.New("the ledger's key is replaced by the ledger itself, by a command: listbound key replace")
	case o.Kind.SaysOfTexts():
		return nil, false, refusal.New("what becomes of texts is said by the ledger itself (station %s)", b.site.Name())
	case o.Kind.IsRegister():
		return nil, false, refusal.New("registers are kept by the ledger itself (station %s)", b.site.Name())
	case registry:
		return nil, false, refusal.New("stations are enrolled and retired by the ledger itself (station %s)", b.site.Name())
	case c.retired != 0:
		return nil, false, refusal.Keyed("retired", "station %s was retired (record %d); enrol it again or use another",
			o.Station, c.retired)
	case c.verifier == nil && !b.site.opts.EnrolOnSight:
		return nil, false, notEnrolled(o.Station)
	case c.verifier == nil:
		// By the ledger's own clock: the station's may be wrong.
		if err := b.enrolHere(o.Station, b.site.opts.Clock(), "met for the first time"); err != nil {
			return nil, false, err
		}
		enrolled = true
	}
	return c, enrolled, nil
}

// stationSigner returns the key kept here for an enrolled station. It is read
// once; the caller holds s.intake.
func (s *Site) stationSigner(station string, enrolled note.Verifier) (note.Signer, error) {
	if signer := s.signers[station]; signer != nil && signer.KeyHash() == enrolled.KeyHash() {
		return signer, nil
	}
	path := s.keyPath(station)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, refusal.Keyed("own-key", "station %s keeps its own key and hands in signed records; "+
			"if it does not, its key is missing: put %s back from a copy, or enrol the station again", station,
			filepath.Join("keys", filepath.Base(path)))
	}
	signer, _, _, err := ledger.LoadOrCreateKey(path, station)
	if err != nil {
		return nil, err
	}
	if signer.KeyHash() != enrolled.KeyHash() {
		return nil, refusal.Keyed("other-key", "the key kept here for station %s is not the one it is enrolled with; enrol it again",
			station)
	}
	s.signers[station] = signer
	return signer, nil
}

// enrolHere queues the enrolment of a station with a key made here.
func (b *signing) enrolHere(station string, at time.Time, reason string) error {
	path := b.site.keyPath(station)
	signer, verifier, _, err := ledger.LoadOrCreateKey(path, station)
	if err != nil {
		return err
	}
	key, err := ledger.VerifierKey(path)
	if err != nil {
		return err
	}
	if _, err := b.enrolKey(station, key, at, reason); err != nil {
		return err
	}
	c := b.chains[station]
	c.signer, c.verifier = signer, verifier
	return nil
}

// enrolKey queues the ledger's own record that a station may record.
func (b *signing) enrolKey(station, key string, at time.Time, reason string) (*events.Event, error) {
	return b.ledgerEvent(at, &events.StationEnrolled{Station: station, Key: key, Reason: reason})
}

// ledgerEvent queues an event of the ledger's own.
func (b *signing) ledgerEvent(at time.Time, d events.Data) (*events.Event, error) {
	c, err := b.find(b.site.Name())
	if err != nil {
		return nil, err
	}
	o := &events.Observation{Station: b.site.Name(), Kind: d.Kind(), Time: at, Data: d}
	id, err := o.KeyedID(b.site.addenda.idKey())
	if err != nil {
		return nil, err
	}
	e := eventOf(id, o)
	return e, b.sign(e, c)
}

// enrolStation lets a station record from the next line on.
func (b *signing) enrolStation(d *events.StationEnrolled) error {
	if events.ReservedStation(d.Station) {
		return refusal.New("%s is a ledger's name; a station needs another", d.Station)
	}
	c, err := b.find(d.Station)
	if err != nil {
		return err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return refusal.New("key of %s is not a signed-note verifier key (name+hash+base64)", d.Station)
	}
	if c.verifier != nil {
		c.former = append(c.former, c.verifier)
	}
	c.verifier, c.signer, c.retired = v, nil, 0
	return nil
}

// retireStation lets a station record nothing more.
func (b *signing) retireStation(d *events.StationRetired) error {
	if events.ReservedStation(d.Station) {
		return refusal.New("%s is the ledger itself, and is not retired", d.Station)
	}
	c, err := b.find(d.Station)
	if err != nil {
		return err
	}
	if c.verifier == nil {
		return notEnrolled(d.Station)
	}
	if c.retired != 0 {
		return refusal.New("station %s was retired by record %d", d.Station, c.retired)
	}
	if err := b.retiredAsOf(d); err != nil {
		return err
	}
	c.retired = b.site.ledger.Size() + int64(len(b.entries)) + 1
	return nil
}

// retiredAsOf refuses a moment that is still to come, and one at which the station had another key than now.
func (b *signing) retiredAsOf(d *events.StationRetired) error {
	now := b.site.opts.Clock()
	at := d.EndsAt(now)
	if d.AsOf != "" && at.Equal(now) {
		return refusal.New("a station is retired as of a moment that is past, and %s is not", d.AsOf)
	}
	if st := b.model.Station(d.Station); st != nil && len(st.Keys) > 1 && at.Before(st.Keys[len(st.Keys)-1].Enrolled) {
		return refusal.New("station %s has its key since %s; it is not retired as of before that", d.Station,
			st.Keys[len(st.Keys)-1].Enrolled.UTC().Format(time.RFC3339))
	}
	return nil
}

// Enrol implements Service. Without a key one is made and kept here.
func (s *Site) Enrol(ctx context.Context, station, key, reason string) (*Receipt, error) {
	own := key != ""
	r, err := s.registry(ctx, func(in *intake) (*events.Event, error) {
		if err := refusal.Because(events.CheckStation(station)); err != nil {
			return nil, err
		}
		if events.ReservedStation(station) {
			return nil, refusal.New("%s is a ledger's name; a station needs another", station)
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
			return nil, refusal.Because(err)
		}
		return in.enrolKey(station, key, s.opts.Clock(), reason)
	})
	if err != nil || !own {
		return r, err
	}
	// The enrolment is recorded: that the former key is still there, the next one finds.
	if err := s.leaveKey(station, key, r.Seq); err != nil {
		s.opts.Logger.Error("a key that signs no more lies here still", "station", station, "error", err)
	}
	return r, nil
}

// Retire implements Service.
func (s *Site) Retire(ctx context.Context, station, reason string, asOf time.Time) (*Receipt, error) {
	return s.registry(ctx, func(in *intake) (*events.Event, error) {
		d := &events.StationRetired{Station: station, Reason: reason}
		if !asOf.IsZero() {
			d.AsOf = asOf.UTC().Format(time.RFC3339)
		}
		if err := d.Check(); err != nil {
			return nil, refusal.Because(err)
		}
		if err := in.retireStation(d); err != nil {
			return nil, err
		}
		return in.ledgerEvent(s.opts.Clock(), d)
	})
}

// registry records what the ledger itself says about a station.
func (s *Site) registry(ctx context.Context, enter func(*intake) (*events.Event, error)) (*Receipt, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	in, err := s.begin(ctx)
	if err != nil {
		return nil, err
	}
	e, err := enter(in)
	if err != nil {
		return nil, err
	}
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		return nil, err
	}
	r, err := in.receiptOf(e)
	if err != nil {
		return nil, err
	}
	r.Seq, r.Behind = stored[len(stored)-1].Seq, s.lagging() > 0
	return &r, nil
}

// SiteOf returns the site in a station's name.
func SiteOf(station string) string {
	name, _, _ := strings.Cut(station, "/")
	return name
}
