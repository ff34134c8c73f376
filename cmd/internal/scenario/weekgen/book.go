package main

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
)

// draw returns a number below n that depends on the words alone, so that a
// change of the plan in one place leaves the rest of the week as it was.
func draw(n int, words ...string) int {
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%q", seed, words)
	return int(binary.BigEndian.Uint64(h.Sum(nil)) % uint64(n))
}

func seconds(n int) time.Duration { return time.Duration(n) * time.Second }

// observation is a line as a user writes it.
type observation struct {
	Station  string      `json:"station"`
	Kind     events.Kind `json:"kind"`
	Time     string      `json:"time"`
	Set      string      `json:"set,omitempty"`
	Trip     string      `json:"trip,omitempty"`
	Operator string      `json:"operator,omitempty"`
	Data     any         `json:"data"`
}

// entry is a line with what decides where it stands in the files.
type entry struct {
	at      time.Time // when it truly happened
	arrives time.Time // when the ledger hears of it
	n       int
	raw     []byte
	parsed  *events.Observation
	id      string
	jump    bool // the station's record before this one is lost
	forged  bool // signed by another key than the station's
}

// book collects the week's entries.
type book struct {
	entries []*entry
}

// write adds an observation made at a moment; the station's clock may show
// another one.
func (b *book) write(at time.Time, o observation) (*entry, error) {
	shown := at
	if o.Station == aheadStation {
		shown = at.Add(aheadBy)
	}
	return b.writeShown(at, shown, o)
}

func (b *book) writeShown(at, shown time.Time, o observation) (*entry, error) {
	e := &entry{at: at, arrives: at, n: len(b.entries)}
	day := monday.AddDate(0, 0, offline.day)
	if o.Station == offline.station && !at.Before(clock(day, offline.from)) && at.Before(clock(day, offline.until)) {
		e.arrives = clock(day, offline.until)
	}
	o.Time = shown.Format(time.RFC3339)
	var err error
	if e.raw, err = encode(o); err != nil {
		return nil, err
	}
	if e.parsed, err = events.ParseObservation(e.raw); err != nil {
		return nil, fmt.Errorf("%s of %s at %s: %w", o.Kind, o.Set, o.Station, err)
	}
	if e.id, err = e.parsed.ID(); err != nil {
		return nil, err
	}
	b.entries = append(b.entries, e)
	return e, nil
}

func encode(v any) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(buf.Bytes(), []byte("\n")), nil
}

// clock returns a time of day.
func clock(day time.Time, hhmm string) time.Time {
	t, err := time.Parse("15:04", hhmm)
	if err != nil {
		return time.Time{} // caught by the check that every line is within the week
	}
	return day.Add(time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute)
}

// demoKey makes the key of a station from the seed. It is a demo key: whoever
// has this file has the key, and it protects nothing.
func demoKey(station, which string) (signer note.Signer, verifier string, err error) {
	s := sha256.Sum256([]byte("demo key, not secret\n" + seed + "\n" + station + "\n" + which))
	private := ed25519.NewKeyFromSeed(s[:])
	public, ok := private.Public().(ed25519.PublicKey)
	if !ok {
		return nil, "", fmt.Errorf("demo key of %s: not an Ed25519 key", station)
	}
	verifier, err = note.NewEd25519VerifierKey(station, public)
	if err != nil {
		return nil, "", fmt.Errorf("demo key of %s: %w", station, err)
	}
	v, err := note.NewVerifier(verifier)
	if err != nil {
		return nil, "", fmt.Errorf("demo key of %s: %w", station, err)
	}
	const algEd25519 = 1 // the signed-note format's number for it
	skey := fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", station, v.KeyHash(),
		base64.StdEncoding.EncodeToString(append([]byte{algEd25519}, s[:]...)))
	signer, err = note.NewSigner(skey)
	return signer, verifier, err
}

// finish puts the entries in the order in which they arrive and lets the
// stations with keys of their own sign theirs.
func (b *book) finish() error {
	slices.SortStableFunc(b.entries, func(x, y *entry) int {
		return cmp.Or(x.arrives.Compare(y.arrives), x.at.Compare(y.at), cmp.Compare(x.n, y.n))
	})
	for _, station := range ownKeys {
		if err := b.sign(station); err != nil {
			return fmt.Errorf("%s: %w", station, err)
		}
	}
	return nil
}

// sign turns a station's entries into signed notes, numbered and chained.
func (b *book) sign(station string) error {
	own, _, err := demoKey(station, "own")
	if err != nil {
		return err
	}
	other, _, err := demoKey(station, "somebody else's")
	if err != nil {
		return err
	}
	var number int64
	var prev string
	for _, e := range b.entries {
		o := e.parsed
		if o.Station != station {
			continue
		}
		if e.jump {
			// The record that is lost was made, numbered and signed: only its hash is left here.
			lost := *o
			lost.Kind, lost.Data, lost.Time = events.KindSetChecked, &events.SetChecked{Place: "OR 5"}, o.Time.Add(-time.Minute)
			n, err := signed(&lost, number+1, prev, own)
			if err != nil {
				return err
			}
			number, prev = number+1, events.NoteHash(n)
		}
		key := own
		if e.forged {
			key = other
		}
		n, err := signed(o, number+1, prev, key)
		if err != nil {
			return err
		}
		number, prev = number+1, events.NoteHash(n)
		if e.raw, err = encode(struct {
			Signed string `json:"signed"`
		}{string(n)}); err != nil {
			return err
		}
	}
	if number == 0 {
		return fmt.Errorf("signed nothing the whole week")
	}
	return nil
}

func signed(o *events.Observation, number int64, prev string, key note.Signer) ([]byte, error) {
	id, err := o.ID()
	if err != nil {
		return nil, err
	}
	return events.Sign(&events.Event{
		ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator,
		StationSeq: number, StationPrev: prev, Data: o.Data,
	}, key)
}

type file struct {
	name string
	data []byte
}

var dayNames = []string{"monday", "tuesday", "wednesday", "thursday", "friday"}

// files cuts the entries into files, the first with what is set up before work
// begins, then one a day, and adds scenario.json.
func (b *book) files() ([]file, error) {
	out := []file{{name: "0-start.jsonl"}}
	for i, d := range dayNames {
		out = append(out, file{name: fmt.Sprintf("%d-%s.jsonl", i+1, d)})
	}
	for _, e := range b.entries {
		if o := e.parsed; o.Time.Before(monday) || !e.arrives.Before(monday.AddDate(0, 0, len(dayNames))) {
			return nil, fmt.Errorf("%s of %s at %s is not within the week", o.Kind, o.Set, e.at)
		}
		i := 0
		if !e.at.Before(workBegins) {
			i = 1 + int(e.arrives.Sub(monday).Hours())/24
		}
		out[i].data = append(append(out[i].data, e.raw...), '\n')
	}
	var names []string
	for _, f := range out {
		names = append(names, f.name)
	}
	head, err := json.MarshalIndent(struct {
		Title       string            `json:"title"`
		Site        string            `json:"site"`
		ClockErrors map[string]string `json:"clockErrors"`
		Delay       string            `json:"delay"`
		Files       []string          `json:"files"`
	}{title, site, map[string]string{aheadStation: aheadBy.String()}, delay.String(), names}, "", "  ")
	if err != nil {
		return nil, err
	}
	more, err := runFiles()
	return append(append(out, file{"scenario.json", append(head, '\n')}), more...), err
}
