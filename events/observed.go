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
func Observed(note []byte, e *Event) *Event {
	k := e.Kind()
	ownTrip := k == KindSetPacked || k == KindListSealed
	if e.Trip == "" || ownTrip || !k.HoldsTrip() || !k.Known() || !idWithoutTrip(note, e) {
		return e
	}
	o := *e
	o.Trip = ""
	return &o
}

// idWithoutTrip reports whether an event's id is that of an observation which
// says all that the event says, but no trip. It is Observation.ID for a record:
// the data stands in it as it is hashed, so that nothing is encoded again.
func idWithoutTrip(note []byte, e *Event) bool {
	text, err := Text(note)
	if err != nil {
		return false
	}
	// The id stands behind the data, which it is taken from and so can't hold.
	const start = `{"data":`
	end := bytes.Index(text, []byte(`,"id":"`+e.ID+`"`))
	if !bytes.HasPrefix(text, []byte(start)) || end < len(start) {
		return false
	}
	sets := []string{e.Subject}
	if !e.Kind().AboutSet() {
		sets = append(sets, "") // a correction may leave out what it is about
	}
	at := e.Time.UTC().Format(time.RFC3339Nano)
	b := make([]byte, 0, len(text)+len(observationDomain))
	for _, set := range sets {
		b = append(append(b[:0], observationDomain...), text[:end]...)
		for _, m := range [...]struct{ name, value string }{ // in canonical order
			{`,"kind":`, string(e.Kind())}, {`,"medium":`, e.Medium}, {`,"operator":`, e.Operator}, {`,"set":`, set},
			{`,"station":`, e.Station}, {`,"time":`, at},
		} {
			switch {
			case m.value == "":
				continue
			case plain(m.value):
				b = append(append(append(append(b, m.name...), '"'), m.value...), '"')
			default:
				if b, err = jsontext.AppendQuote(append(b, m.name...), m.value); err != nil {
					return false
				}
			}
		}
		b = append(b, '}')
		if DerivedID(e.Time, sha256.Sum256(b)) == e.ID {
			return true
		}
	}
	return false
}
