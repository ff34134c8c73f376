package site

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/readmodel"
)

// A station whose browser has a key of its own: the pages' handlers observe as ever, and what they observe is signed in
// the browser. So Observe answers with what is to be signed and stores nothing; the page signs it and sends its input again;
// and Observe, which comes to the same observations, takes the signed records in their place.

// Unsigned is an event as it is to be signed: its texts are marks. Number and previous hash are the station's to give.
type Unsigned struct {
	// Event is in canonical form, with stationseq 1 and no stationprev.
	Event jsontext.Value `json:"event"`
	// Addenda are the disclosures of its marks, less those of texts that were taken out.
	Addenda []string `json:"addenda,omitempty"`
}

// UnsignedError says that nothing is recorded until the station has signed these, all of them and in this order.
type UnsignedError struct{ Events []Unsigned }

func (e *UnsignedError) Error() string {
	return fmt.Sprintf("%d records are to be signed by their station", len(e.Events))
}

// SignedRecord is what the station made of an Unsigned. It is written as an observation is.
type SignedRecord struct {
	Signed  string   `json:"signed"`
	Addenda []string `json:"addenda,omitempty"`
}

// broughtAlong is what one request brings of its station's signatures.
type broughtAlong struct {
	station string
	given   []SignedRecord
}

type broughtKey struct{}

// WithOwnKey returns a context in which Observe has what it records of a station signed by that station, and takes the
// records that were signed so far.
func WithOwnKey(ctx context.Context, station string, given []SignedRecord) context.Context {
	return context.WithValue(ctx, broughtKey{}, &broughtAlong{station, given})
}

// Head is where the numbering of a station's key in force stands: 0 and "" where that key has signed nothing yet.
type Head struct {
	Number int64
	Hash   string
}

// KeyHeader names, in a request, the key with which a browser signs for its station; HeadHeader says, in the answer, where the
// numbering of that key stands.
const (
	KeyHeader  = "Station-Key"
	HeadHeader = "Station-Head"
)

// String is how a header says it.
func (h Head) String() string {
	return strings.TrimSpace(strconv.FormatInt(h.Number, 10) + " " + h.Hash)
}

// longestSigning is how long a browser may take to sign what an input comes to.
const longestSigning = time.Minute

// SignedOf is of when an input is: of the first record that was signed of it, where that was just now. A moment later
// it would say something else, and no signature would ever fit.
func SignedOf(records []SignedRecord, now time.Time) time.Time {
	if len(records) == 0 {
		return now
	}
	e, err := events.ParseNote([]byte(records[0].Signed))
	if err != nil || now.Sub(e.Time).Abs() >= longestSigning {
		return now // whoever takes it says so
	}
	return e.Time
}

// Head returns it.
func (s *Site) Head(ctx context.Context, station string) (Head, error) {
	return Answer(s, func(v *View) (Head, error) { return headOf(ctx, v.Model, station) })
}

func headOf(ctx context.Context, m *readmodel.Model, station string) (Head, error) {
	st := m.Station(station)
	if st == nil || st.Key == "" {
		return Head{}, nil
	}
	key, err := note.NewVerifier(st.Key)
	if err != nil {
		return Head{}, fmt.Errorf("key of station %s: %w", station, err)
	}
	if err := m.Settle(ctx); err != nil {
		return Head{}, err
	}
	number, hash, err := m.Head(ctx, station, key.KeyHash())
	return Head{number, hash}, err
}

// signedThere is what the station itself has signed, or is to sign, of one request.
type signedThere struct {
	given    []*events.Observation // not taken yet
	unsigned []Unsigned
	head     *Head // after what this request has entered; nil before the first
}

// asked is how many events of the request are still to be signed.
func (own *signedThere) asked() int {
	if own == nil {
		return 0
	}
	return len(own.unsigned)
}

// there returns what the request brings for a station's observation, nil for a station whose key is kept here.
func (in *intake) there(ctx context.Context, o *events.Observation) (*signedThere, error) {
	brought, _ := ctx.Value(broughtKey{}).(*broughtAlong)
	if brought == nil || brought.station != o.Station {
		return nil, nil //nolint:nilnil // it is signed here
	}
	if in.own == nil {
		in.own = &signedThere{}
		for _, r := range brought.given {
			signed, err := events.SignedObservation([]byte(r.Signed), r.Addenda)
			if err != nil {
				return nil, refusal.Because(err)
			}
			in.own.given = append(in.own.given, signed)
		}
	}
	return in.own, nil
}

// enterThere takes an observation of a station that signs for itself: the record of it that was handed in, or else it is to
// be signed. A record that says anything but what is observed here is refused, and so is one that doesn't follow the station's last:
// nothing was acknowledged then, and the station signs anew.
func (in *intake) enterThere(ctx context.Context, id string, l *line, own *signedThere) (*events.Event, error) {
	c, _, err := in.stands(l.obs)
	if err != nil {
		return nil, err
	}
	e, err := in.observed(ctx, id, l.obs)
	if err != nil {
		return nil, err
	}
	of, err := in.correctedKind(e)
	if err != nil {
		return nil, err
	}
	if len(own.given) == 0 {
		if l.receipt, err = in.receiptOf(e); err != nil {
			return nil, err
		}
		return e, in.unsigned(e, of, own)
	}
	given := own.given[0]
	own.given = own.given[1:]
	if own.head == nil {
		head, err := headOf(ctx, in.model, e.Station)
		if err != nil {
			return nil, err
		}
		own.head = &head
	}
	signed, err := events.ParseNote(given.Signed)
	if err != nil {
		return nil, refusal.Because(err)
	}
	e.StationSeq, e.StationPrev = own.head.Number+1, own.head.Hash
	same, err := in.says(given, e, of)
	if err != nil {
		return nil, err
	}
	good := same && signed.ID == id && events.VerifyNote(given.Signed, c.verifier) == nil
	if good {
		err = in.takeTexts(ctx, given.Addenda) // another id of the case, where it has one by now
	}
	if err != nil && !refusal.Is(err) {
		return nil, err
	}
	if !good || err != nil {
		return nil, refusal.Keyed("signed-otherwise", "what station %s signed is not what is to be recorded now; enter it again", e.Station)
	}
	*own.head = Head{e.StationSeq, events.NoteHash(given.Signed)}
	return in.enterSigned(ctx, l, given)
}

// unsigned puts an event among those that the station is to sign.
func (in *intake) unsigned(e *events.Event, of events.Kind, own *signedThere) error {
	e.StationSeq = 1
	if err := e.Check(); err != nil {
		return refusal.Because(err) // as it was said: its marks would pass in the place of any text
	}
	u := Unsigned{}
	hidden, err := hideBy(e, of, func(name, text string) (string, error) {
		x, err := in.addendumOf(name, text, own)
		if err != nil {
			return "", err
		}
		disclosed, err := x.Disclosure()
		u.Addenda = append(u.Addenda, disclosed)
		return events.Mark(disclosed), err
	})
	if err != nil {
		return err
	}
	if u.Event, err = events.Encode(hidden); err != nil {
		return refusal.Because(err)
	}
	own.unsigned = append(own.unsigned, u)
	return nil
}

// addendumOf gives a text its salt; a case's reference has one of its own already, where it is known. Nothing is kept: what
// is signed brings its addenda along.
func (in *intake) addendumOf(name, text string, own *signedThere) (events.Addendum, error) {
	if name != events.AddendumCase {
		return events.NewAddendum(in.site.addenda.random, name, text)
	}
	return in.site.addenda.proposeCase(text)
}

// says reports whether a signed record, with its texts, says what an event says, in every byte.
func (in *intake) says(given *events.Observation, e *events.Event, of events.Kind) (bool, error) {
	marks := make(map[string]events.Addendum)
	for _, line := range given.Addenda {
		x, err := events.ParseDisclosure(line)
		if err != nil {
			return false, refusal.Because(err)
		}
		marks[events.Mark(line)] = x
	}
	text, err := events.Text(given.Signed)
	if err != nil {
		return false, refusal.Because(err)
	}
	is, err := events.Canonical(events.Reveal(text, func(mark string) (events.Addendum, bool) {
		if x, ok := marks[mark]; ok {
			return x, true
		}
		return in.site.addenda.disclosed(mark)
	}))
	if err != nil {
		return false, refusal.Because(err)
	}
	// Written as a hidden one is, but for the marks.
	plain, err := hideBy(e, of, func(_, text string) (string, error) { return text, nil })
	if err != nil {
		return false, err
	}
	want, err := events.Encode(plain)
	return bytes.Equal(is, want), refusal.Because(err)
}

// KeyID is how a verifier key is named in short: eight hexadecimal digits.
func KeyID(key string) string {
	v, err := note.NewVerifier(key)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%08x", v.KeyHash())
}

// StationKey returns the verifier key of a station whose Ed25519 key is kept elsewhere, of which this is the public half: 32
// bytes in base64.
func StationKey(station, public string) (string, error) {
	raw, err := base64.StdEncoding.DecodeString(public)
	if err != nil || len(raw) != ed25519.PublicKeySize {
		return "", refusal.New("a public key is %d bytes in base64", ed25519.PublicKeySize)
	}
	key, err := note.NewEd25519VerifierKey(station, raw)
	return key, refusal.Because(err)
}
