package events

import (
	"bytes"
	"crypto/sha256"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// Observed returns the event of a note as its station observed it: without a
// trip that nobody named. Earlier programs wrote the trip that they had looked
// up, the set's last one known on arrival, into a record of which the trip was
// left out. The id tells: it is taken from the observation as handed in, before
// anything is looked up. A seal keeps its trip, since its code commits to it.
func Observed(note []byte, e *Event) *Event { return new(Reader).Observed(note, e) }

// Observed is Observed for a run of records.
func (r *Reader) Observed(note []byte, e *Event) *Event {
	k := e.Kind()
	ownTrip := k == KindSetPacked || k == KindListSealed
	if e.Trip == "" || ownTrip || !k.HoldsTrip() || !k.Known() || !r.idWithoutTrip(note, e) {
		return e
	}
	o := *e
	o.Trip = ""
	return &o
}

// idWithoutTrip reports whether an event's id is that of an observation which
// says all that the event says, but no trip. It is Observation.ID for a record:
// the data stands in it as it is hashed, so that nothing is encoded again.
func (r *Reader) idWithoutTrip(note []byte, e *Event) bool {
	text, err := Text(note)
	if err != nil {
		return false
	}
	// The id stands behind the data, which it is taken from and so can't hold.
	const start = `{"data":`
	b := append(append(append(r.scratch[:0], `,"id":"`...), e.ID...), '"')
	defer func() { r.scratch = b }()
	data, _, ok := bytes.Cut(text, b)
	if !ok || !bytes.HasPrefix(text, []byte(start)) {
		return false
	}
	sets := [...]string{e.Subject, ""} // a correction may leave out what it is about
	n := len(sets)
	if e.Kind().AboutSet() {
		n = 1
	}
	at := e.Time.UTC().Format(time.RFC3339Nano)
	for _, set := range sets[:n] {
		b = append(append(b[:0], observationDomain...), data...)
		for _, m := range [...]struct{ name, value string }{ // in canonical order
			{`,"kind":`, string(e.Kind())}, {`,"medium":`, e.Medium}, {`,"operator":`, e.Operator}, {`,"set":`, set},
			{`,"station":`, e.Station}, {`,"time":`, at},
		} {
			if m.value == "" {
				continue
			}
			if b, err = jsontext.AppendQuote(append(b, m.name...), m.value); err != nil {
				return false
			}
		}
		b = append(b, '}')
		if DerivedID(e.Time, sha256.Sum256(b)) == e.ID {
			return true
		}
	}
	return false
}
