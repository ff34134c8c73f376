package events

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// Remark says what is wrong with a record itself, apart from what it reports.
// Remarks are bits: a record may have several.
type Remark uint8

// The remarks. RemarkSignature is also the byte in a record's arrival line by
// which the ledger says what it found when the record came.
const (
	RemarkSignature Remark = 1 << iota // not signed by the station's key in force
	RemarkGap                          // the station's numbering or chain of hashes has a hole
	RemarkBackwards                    // the station's clock ran backwards
	RemarkAhead                        // observed later than it was recorded
	RemarkUnknown                      // kind or version not known here
	RemarkForm                         // not canonical, or not a record at all
	RemarkRetired                      // observed when the station's key was no longer in force
)

var remarkNames = []struct {
	r         Remark
	key, name string
}{
	{RemarkSignature, "signature", "signature does not verify"},
	{RemarkGap, "gap", "the station's numbering has a hole"},
	{RemarkBackwards, "backwards", "the station's clock ran backwards"},
	{RemarkAhead, "ahead", "observed later than recorded"},
	{RemarkUnknown, "unknown", "kind or version not known"},
	{RemarkForm, "form", "not in canonical form"},
	{RemarkRetired, "retired", "the station's key was no longer in force"},
}

// Keys lists the remarks by the words under which a program looks them up.
func (r Remark) Keys() []string {
	var out []string
	for _, x := range remarkNames {
		if r&x.r != 0 {
			out = append(out, x.key)
		}
	}
	return out
}

// Names lists the remarks in words.
func (r Remark) Names() []string {
	var out []string
	for _, x := range remarkNames {
		if r&x.r != 0 {
			out = append(out, x.name)
		}
	}
	return out
}

// String joins the names.
func (r Remark) String() string { return strings.Join(r.Names(), "; ") }

// LedgerName is the name of a site's ledger. It is the origin of the ledger's
// checkpoints, the name of its key, and the station under which the ledger
// itself records: it enrols and retires stations.
func LedgerName(site string) string { return site + "/" + ledgerStation }

const ledgerStation = "ledger"

// ReservedStation reports whether a name belongs to a ledger, so that no station
// can be enrolled under it.
func ReservedStation(station string) bool {
	_, name, _ := strings.Cut(station, "/")
	return name == ledgerStation
}

// Station is what an audit knows of one station.
type Station struct {
	Name     string
	Key      string    // verifier key in force
	Enrolled int64     // sequence of the enrolment in force, 0 for the ledger's own
	Retired  int64     // sequence of the retirement, 0 while it may record
	Last     int64     // sequence of the last record under its name
	Count    int64     // stationseq of the last record that it signed, from which it goes on
	Hash     string    // NoteHash of that
	Time     time.Time // its clock then; a record entered from paper does not set it back
	Signed   int64     // how many of its records it signed
	Keys     []StationKey
	Runs     []*Run

	signed []observed // its signed records, where the audit remembers these

	own  uint32  // hash of the ledger's key, where it is the ledger
	gone []int64 // see Moved
}

// observed is when a record was observed, in nanoseconds since 1970.
type observed struct{ seq, at int64 }

// Audit reads a ledger's records in order and checks each against the station
// keys enrolled before it, the station's own numbering, and the clocks. It
// needs no server: the checker of an exported history uses the same code.
type Audit struct {
	// Tolerance is how far clocks may differ, and run back.
	Tolerance time.Duration
	// Signatures: verify them (50 µs each). Without it the arrival remark of the
	// ledger is believed, which the tree already commits to.
	Signatures bool
	// Canonical: also check the canonical form, and what Check refuses.
	Canonical bool
	// Since returns the records of a station with a good signature that the audit was given before and that were observed after a
	// moment. It is asked where a station is retired as of that moment. Where it is nil, the audit remembers them itself, which takes 16
	// bytes a record.
	Since func(station string, after time.Time) []int64
	// Excerpt: the records are not all of them, so a station's numbering may
	// jump ahead. Neighbours are still compared.
	Excerpt bool
	// Verifier makes the verifier of a station's key; nil for [note.NewVerifier]. One that Parse uses must be good for many
	// goroutines.
	Verifier func(vkey string) (note.Verifier, error)
	// VerifyAll checks many signatures at once, with the answers that each one's verifier gives; nil for one after the other. ParseAll
	// uses it.
	VerifyAll func(by []note.Verifier, messages, sigs [][]byte) []bool

	ledger   note.Verifier // the key in force
	stations map[string]*Station
	readers  sync.Pool
	keys     sync.Map // of stations, as they are enrolled: note.Verifier by the hash of the key
}

// NewAudit starts an audit of a ledger whose first key was this one. With Signatures it follows the records that replace
// the key.
func NewAudit(ledger note.Verifier, tolerance time.Duration) *Audit {
	return &Audit{Tolerance: tolerance, ledger: ledger, stations: make(map[string]*Station)}
}

// Station returns what is known of a station, nil for one never enrolled.
func (a *Audit) Station(name string) *Station { return a.stations[name] }

// LedgerKey returns the ledger's key as the records up to here leave it.
func (a *Audit) LedgerKey() note.Verifier { return a.ledger }

// Stations returns all, in no order.
func (a *Audit) Stations() []*Station {
	out := make([]*Station, 0, len(a.stations))
	for _, s := range a.stations {
		out = append(out, s)
	}
	return out
}

// Parsed is a station's note that was read and not yet audited. Reading is most
// of the work and needs no order, so it can be done ahead.
type Parsed struct {
	Note  []byte
	Event *Event // nil where there is none to read
	Hash  Digest // of the note, for the next record's stationprev
	Err   error  // why there is no event

	exact bool          // the text is in canonical form: a Reader took it, which takes no other
	ahead bool          // form and by are known
	form  []string      // what is wrong with its form, where the audit asks
	by    note.Verifier // a key of a station by which the signature is good, where one is known
}

// Parse reads a station's note for an audit.
func Parse(n []byte) Parsed {
	p := Parsed{Note: n, Hash: sha256.Sum256(n)}
	p.Event, p.Err = ParseNote(n)
	return p
}

// Parse reads a note and does what of its check needs no order, so that Check has little left to do. It may be called by many
// goroutines, while Check takes records before.
func (a *Audit) Parse(n []byte) Parsed { return a.ParseAll([][]byte{n})[0] }

// ParseAll is Parse of some notes. A nil note is none, and has an error.
func (a *Audit) ParseAll(notes [][]byte) []Parsed {
	r, _ := a.readers.Get().(*Reader)
	if r == nil {
		r = NewReader()
	}
	defer a.readers.Put(r)
	out := make([]Parsed, len(notes))
	var signed signatures
	for i, n := range notes {
		p := &out[i]
		if *p = r.Parse(n); p.Err != nil {
			continue
		}
		p.ahead = true
		if a.Canonical {
			p.form = p.faultsOfForm()
		}
		if a.Signatures {
			if v, ok := a.keys.Load(signedBy(n)); ok {
				signed.take(i, p, v.(note.Verifier))
			}
		}
	}
	for n, good := range signed.check(a.VerifyAll) {
		if good {
			out[signed.of[n]].by = signed.by[n]
		}
	}
	return out
}

// signatures are taken out of notes, to be checked together.
type signatures struct {
	of             []int // which note
	by             []note.Verifier
	messages, sigs [][]byte
}

// take takes the signature of a note that is one of a key in all but that it need not be good.
func (s *signatures) take(i int, p *Parsed, v note.Verifier) {
	message, sig, ok := p.signedAs(v)
	if !ok {
		c := &caught{Verifier: v}
		if VerifyNote(p.Note, c) != nil {
			return
		}
		message, sig = c.message, c.sig
	}
	s.of, s.by = append(s.of, i), append(s.by, v)
	s.messages, s.sigs = append(s.messages, message), append(s.sigs, sig)
}

// ed25519Line is the length of an Ed25519 signature behind the hash of its key, and ed25519Chars that of its base64.
const (
	ed25519Line  = 4 + ed25519.SignatureSize
	ed25519Chars = (ed25519Line + 2) / 3 * 4
)

var strictStdBase64 = base64.StdEncoding.Strict()

// signedAs takes apart a note that looks like all of them, with what VerifyNote has verified where it does not refuse the note. What a
// Reader took is UTF-8 without control characters, as the format of signed notes demands, and one line.
func (p *Parsed) signedAs(v note.Verifier) (message, sig []byte, ok bool) {
	line, found := bytes.CutSuffix(p.Note, []byte("\n"))
	at := len(line) - ed25519Chars
	if !p.exact || !found || at < 0 {
		return nil, nil, false
	}
	head, ok := bytes.CutSuffix(line[:at], []byte("\n— "+v.Name()+" "))
	if !ok || !bytes.HasSuffix(head, []byte("\n")) || bytes.IndexByte(head, '\n') != len(head)-1 {
		return nil, nil, false
	}
	raw := make([]byte, strictStdBase64.DecodedLen(ed25519Chars))
	// A line end would be passed over, and leave it short.
	if n, err := strictStdBase64.Decode(raw, line[at:]); err != nil || n != ed25519Line || binary.BigEndian.Uint32(raw) != v.KeyHash() {
		return nil, nil, false
	}
	return head, raw[4:ed25519Line], true
}

// check reports which of them are good.
func (s *signatures) check(all func(by []note.Verifier, messages, sigs [][]byte) []bool) []bool {
	if all != nil {
		return all(s.by, s.messages, s.sigs)
	}
	good := make([]bool, len(s.by))
	for i, v := range s.by {
		good[i] = v.Verify(s.messages[i], s.sigs[i])
	}
	return good
}

// caught is a verifier that keeps what it is to verify.
type caught struct {
	note.Verifier
	message, sig []byte
}

// Verify implements [note.Verifier].
func (c *caught) Verify(message, sig []byte) bool {
	c.message, c.sig = message, sig
	return true
}

// Said is one thing that is wrong with a record.
type Said struct {
	Remark Remark
	Text   string
}

// Checked is what an audit says of a record.
type Checked struct {
	Remark Remark
	Said   []Said
	// Unseen is what an excerpt can't show of the record, since what was before it isn't there.
	Unseen Remark
	// Earlier is what changes about records before, now that this one is here.
	Earlier []Change
}

// Words returns what is wrong in words.
func (c *Checked) Words() (words []string) {
	for _, s := range c.Said {
		words = append(words, s.Text)
	}
	return words
}

func (c *Checked) add(r Remark, format string, args ...any) {
	c.Remark |= r
	c.Said = append(c.Said, Said{r, fmt.Sprintf(format, args...)})
}

// Apply takes in what a later record changed.
func (c *Checked) Apply(ch Change) {
	c.Said = slices.DeleteFunc(slices.Clone(c.Said), func(s Said) bool { return s.Remark&ch.Clear != 0 })
	c.Remark, c.Unseen = c.Remark&^ch.Clear, c.Unseen&^ch.Seen
	if ch.Set != 0 {
		c.add(ch.Set, "%s", ch.Text)
	}
}

func ranBack(station string, was, at time.Time) string {
	return fmt.Sprintf("%s's clock ran back by %s", station, was.Sub(at).Round(time.Second))
}

// Check takes the next record: the station's note, when the ledger recorded it,
// and the remark byte of its arrival line. It returns what is wrong with the
// record, and what is otherwise now with records before. The event itself is in p.
//
// A record that its station did not sign says nothing of the station's numbering
// and clock, and moves neither: anybody can make one (but see [Run]).
func (a *Audit) Check(seq int64, p Parsed, recorded time.Time, arrival Remark) (c Checked) {
	if p.Err != nil {
		c.add(RemarkForm, "%s", p.Err)
		return c
	}
	e := p.Event
	if a.Canonical {
		if !p.ahead {
			p.form = p.faultsOfForm()
		}
		for _, fault := range p.form {
			c.add(RemarkForm, "%s", fault)
		}
	}
	if u, ok := e.Data.(*Unknown); ok {
		c.add(RemarkUnknown, "type %q is not known here, or its data does not fit it", u.Type)
	}
	st := a.station(e.Station)
	key, signed := a.signature(st, p, arrival, c.add)
	ahead := e.Time.Sub(recorded) > a.Tolerance
	if signed {
		st.Signed++
	}
	if len(st.Keys) > 0 || st.own != 0 {
		a.number(st, seq, p, key, signed, ahead, &c)
	}
	if ahead {
		c.add(RemarkAhead, "observed %s later than recorded", e.Time.Sub(recorded).Round(time.Second))
	}
	st.Last = seq
	if a.Since == nil && signed && c.Remark&RemarkForm == 0 {
		st.signed = append(st.signed, observed{seq, e.Time.UnixNano()})
	}
	a.registry(seq, e, &c)
	return c
}

// station returns what is known of a station, nothing at first.
func (a *Audit) station(name string) *Station {
	st := a.stations[name]
	if st == nil {
		st = &Station{Name: name}
		if name == a.ledger.Name() {
			st.own = a.ledger.KeyHash()
		}
		a.stations[name] = st
	}
	return st
}

// faultsOfForm says what is wrong with the form of a note: not canonical, or what Check refuses.
func (p *Parsed) faultsOfForm() (faults []string) {
	var err error
	if !p.exact {
		err = notCanonical(p.Note)
	}
	for _, err := range []error{err, p.Event.Check()} {
		if err != nil {
			faults = append(faults, err.Error())
		}
	}
	return faults
}

func notCanonical(n []byte) error {
	text, err := Text(n)
	if err != nil {
		return err
	}
	c, err := Canonical(text)
	if err == nil && !bytes.Equal(c, text) {
		err = errors.New("the JSON is not in canonical form")
	}
	return err
}

// verifier makes the verifier of a station's key, which Parse then knows.
func (a *Audit) verifier(vkey string) (note.Verifier, error) {
	newVerifier := a.Verifier
	if newVerifier == nil {
		newVerifier = note.NewVerifier
	}
	v, err := newVerifier(vkey)
	if err == nil {
		a.keys.Store(v.KeyHash(), v)
	}
	return v, err
}

// Restore puts back what an earlier audit knew of a station, so that a reader
// can go on where it stopped.
func (a *Audit) Restore(s Station) error {
	s.Keys = slices.Clone(s.Keys)
	for i := range s.Keys {
		k := &s.Keys[i]
		v, err := a.verifier(k.Key)
		if err != nil {
			return fmt.Errorf("key of station %s: %w", s.Name, err)
		}
		k.verifier = v
	}
	for _, r := range s.Runs {
		r.kept = true
	}
	st := a.station(s.Name)
	own := st.own
	*st = s
	st.own = own
	return nil
}

// signature holds a record against the keys that its station ever had, and
// returns which one signed it. Keys that ended count too: what a station
// observed before it lost its key stands, also where it comes in afterwards.
func (a *Audit) signature(st *Station, p Parsed, arrival Remark, add func(Remark, string, ...any)) (uint32, bool) {
	e, n := p.Event, p.Note
	refused := arrival&RemarkSignature != 0
	if st.own != 0 {
		switch {
		case refused:
			add(RemarkSignature, "the signature did not verify when the record came")
		case a.Signatures && VerifyNote(n, a.ledger) != nil:
			add(RemarkSignature, "signed by another key than the ledger's")
		default:
			return st.own, true
		}
		return 0, false
	}
	if len(st.Keys) == 0 {
		add(RemarkSignature, "%s is not enrolled", e.Station)
		return 0, false
	}
	key := signedBy(n)
	var ended *StationKey
	var held, signed bool
	for i := range st.Keys {
		k := &st.Keys[i]
		// What the ledger let pass when it came needs no second look, unless one is asked for.
		if k.verifier.KeyHash() != key ||
			!signed && (a.Signatures || refused) && k.verifier != p.by && VerifyNote(n, k.verifier) != nil {
			continue
		}
		if signed, held = true, k.holds(e.Time); held {
			break
		}
		if k.By != 0 {
			ended = k
		}
	}
	switch {
	case !signed && refused:
		add(RemarkSignature, "the signature did not verify when the record came")
	case !signed:
		add(RemarkSignature, "not signed by the key of %s", e.Station)
	case !held:
		add(RemarkRetired, "%s", noLonger(e.Station, ended.By))
	}
	return key, signed
}

// registry follows the kinds that change who may record. Only the ledger's
// own word counts, and only with a good signature.
func (a *Audit) registry(seq int64, e *Event, c *Checked) {
	add, own := c.add, c.Remark&RemarkSignature == 0 && e.Station == a.ledger.Name()
	switch d := e.Data.(type) {
	case *KeyReplaced:
		if !own {
			add(RemarkSignature, "the ledger's key is replaced only with its own signature")
			return
		}
		former, err := note.NewVerifier(d.Former)
		v, err2 := note.NewVerifier(d.Key)
		if err != nil || err2 != nil || v.Name() != a.ledger.Name() {
			add(RemarkForm, "the keys named are not the ledger's")
			return
		}
		if a.Signatures && former.KeyHash() != a.ledger.KeyHash() {
			add(RemarkForm, "the key that it names as the former was not the ledger's")
			return
		}
		a.ledger = v
	case *StationEnrolled:
		if !own {
			add(RemarkSignature, "an enrolment counts only with the ledger's own signature")
			return
		}
		v, err := a.verifier(d.Key)
		if err != nil || v.Name() != d.Station {
			add(RemarkForm, "the key enrolled is not one of %s", d.Station)
			return
		}
		a.station(d.Station).enrol(seq, e.Time, d.Key, v)
	case *StationRetired:
		if !own {
			add(RemarkSignature, "a retirement counts only with the ledger's own signature")
			return
		}
		if st := a.stations[d.Station]; st != nil {
			st.Retired = seq
			a.retire(st, seq, d.EndsAt(e.Time), c)
		}
	}
}

// retire takes the key in force out of it as of a moment. What the station observed later and was recorded already is remarked on
// as it would have been, had it come after this.
func (a *Audit) retire(st *Station, seq int64, at time.Time, c *Checked) {
	n := len(st.Keys)
	if n == 0 || !st.Keys[n-1].Ended.IsZero() {
		return
	}
	if enrolled := st.Keys[n-1].Enrolled; n > 1 && at.Before(enrolled) {
		at = enrolled // what a key before it signed is not this key's
	}
	st.end(seq, at)
	since := a.Since
	if since == nil {
		since = st.since
	}
	for _, s := range since(st.Name, at) {
		c.Earlier = append(c.Earlier, Change{Seq: s, Set: RemarkRetired, Text: noLonger(st.Name, seq)})
	}
}

func (st *Station) since(_ string, after time.Time) (seqs []int64) {
	for _, o := range st.signed {
		if o.at > after.UnixNano() {
			seqs = append(seqs, o.seq)
		}
	}
	return seqs
}

func noLonger(station string, by int64) string {
	return fmt.Sprintf("observed when this key of %s was no longer in force (record %d)", station, by)
}

// enrol puts a key in force.
func (st *Station) enrol(seq int64, at time.Time, key string, v note.Verifier) {
	if n := len(st.Keys); n == 0 || !st.Keys[n-1].Ended.IsZero() || st.Keys[n-1].Key != key {
		st.end(seq, at)
		again := slices.ContainsFunc(st.Keys, func(k StationKey) bool { return k.Key == key })
		st.Keys = append(st.Keys, StationKey{Key: key, Enrolled: at, Again: again, verifier: v})
	}
	st.Key, st.Enrolled, st.Retired = key, seq, 0
	st.tip()
}

// end takes the key in force out of it.
func (st *Station) end(seq int64, at time.Time) {
	if n := len(st.Keys); n > 0 && st.Keys[n-1].Ended.IsZero() {
		st.Keys[n-1].Ended, st.Keys[n-1].By = at, seq
	}
}
