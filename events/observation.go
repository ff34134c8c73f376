package events

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"iter"
	"math/big"
	"reflect"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Observation is one line of what a station, or a person with a file, hands in.
// The station adds id, numbering and signature; where Trip is left out,
// set.packed starts one and a later line belongs to the set's open trip.
type Observation struct {
	Station  string
	Kind     Kind
	Time     time.Time
	Set      string
	Trip     string
	Operator string
	Medium   string // as in Event
	Data     Data

	// Signed is a whole note instead, from a station that keeps its own key.
	// The other fields are then those of its event.
	Signed []byte
	// Addenda are the disclosures of the marks in Signed. A station without a key of its own leaves these to the ledger.
	Addenda []string
}

// observationLine is the JSON form.
type observationLine struct {
	Station  string         `json:"station"`
	Kind     Kind           `json:"kind"`
	Time     string         `json:"time"`
	Set      string         `json:"set,omitempty"`
	Trip     string         `json:"trip,omitempty"`
	Operator string         `json:"operator,omitempty"`
	Medium   string         `json:"medium,omitempty"`
	Data     jsontext.Value `json:"data"`
	Signed   string         `json:"signed,omitempty"`
	Addenda  []string       `json:"addenda,omitempty"`
}

// signedLine is the JSON form of an observation that is a signed record.
type signedLine struct {
	Signed  string   `json:"signed"`
	Addenda []string `json:"addenda,omitempty"`
}

// line returns the JSON form of an observation that is not signed.
func (o *Observation) line() (*observationLine, error) {
	data, err := json.Marshal(o.Data)
	if err != nil {
		return nil, fmt.Errorf("data: %w", err)
	}
	return &observationLine{
		Station: o.Station, Kind: o.Kind, Time: o.Time.UTC().Format(time.RFC3339Nano),
		Set: o.Set, Trip: o.Trip, Operator: o.Operator, Medium: o.Medium, Data: data,
	}, nil
}

// FormatObservation writes an observation as one JSON object, without a
// newline, as ParseObservation reads it. It does not check it: see Check.
func FormatObservation(o *Observation) ([]byte, error) {
	var v any = signedLine{string(o.Signed), o.Addenda}
	if o.Signed == nil {
		l, err := o.line()
		if err != nil {
			return nil, err
		}
		v = l
	}
	raw, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("observation: %w", err)
	}
	return raw, nil
}

// ParseObservation reads one JSON object. It refuses what Check refuses.
func ParseObservation(raw []byte) (*Observation, error) {
	if len(raw) > MaxRecord {
		return nil, fmt.Errorf("the line has %d bytes; a record has at most %d", len(raw), MaxRecord)
	}
	var l observationLine
	if err := json.Unmarshal(raw, &l, json.RejectUnknownMembers(true)); err != nil {
		return nil, plainDataError(err)
	}
	if l.Signed != "" {
		if l.Station != "" || l.Kind != "" || l.Time != "" || l.Set != "" || l.Trip != "" || l.Operator != "" ||
			l.Medium != "" || len(l.Data) > 0 {
			return nil, errors.New("a signed record says everything itself; nothing else stands beside it")
		}
		return SignedObservation([]byte(l.Signed), l.Addenda)
	}
	if len(l.Addenda) > 0 {
		return nil, errors.New("addenda stand beside a signed record, and only there")
	}
	if err := checkOrigin(l.Station, l.Kind); err != nil {
		return nil, err
	}
	at, err := parseTime(l.Time)
	if err != nil {
		return nil, err
	}
	if len(l.Data) == 0 {
		return nil, errors.New("data is missing")
	}
	data, err := ParseObservedData(l.Kind, l.Data)
	if err != nil {
		return nil, err
	}
	o := &Observation{
		Station: l.Station, Kind: l.Kind, Time: at, Set: l.Set, Trip: l.Trip, Operator: l.Operator, Medium: l.Medium, Data: data,
	}
	if err := o.checkAttributes(); err != nil {
		return nil, err
	}
	return o, nil
}

// SignedObservation returns the observation that a station's note is, with the addenda that stand beside it. It refuses what
// CheckNote refuses, and addenda that are not the note's.
func SignedObservation(record []byte, addenda []string) (*Observation, error) {
	e, err := CheckNote(record)
	if err != nil {
		return nil, fmt.Errorf("signed record: %w", err)
	}
	if err := checkAddenda(record, e, addenda); err != nil {
		return nil, err
	}
	o := &Observation{
		Station: e.Station, Kind: e.Kind(), Time: e.Time, Trip: e.Trip, Operator: e.Operator, Medium: e.Medium,
		Data: e.Data, Signed: record, Addenda: addenda,
	}
	if o.mayNameSet() {
		o.Set = e.Subject
	}
	return o, nil
}

// Check refuses an observation that was made in a program and that
// ParseObservation would refuse in its written form. An observation that
// passes can be recorded as it is, without being written and read again.
func (o *Observation) Check() error {
	if o.Signed != nil {
		switch read, err := SignedObservation(o.Signed, o.Addenda); {
		case err != nil:
			return err
		case !reflect.DeepEqual(read, o):
			return errors.New("the observation is not what its signed record says")
		}
		return nil
	}
	if err := checkOrigin(o.Station, o.Kind); err != nil {
		return err
	}
	if o.Data == nil {
		return errors.New("data is missing")
	}
	if !o.Kind.Known() {
		return errUnknownKind(o.Kind)
	}
	if k := o.Data.Kind(); k != o.Kind {
		return fmt.Errorf("the kind is %s, the data that of a %s", o.Kind, k)
	}
	if c, ok := o.Data.(*EventCorrected); ok && len(c.Data) > 0 {
		if err := checkNumbers(c.Data); err != nil {
			return fmt.Errorf("data: %w", err)
		}
	}
	if err := o.Data.Check(); err != nil {
		return err
	}
	if AsRead(o.Data) != o.Data {
		_, err := ParseSheetCode(SheetCodeOf(o.Data))
		return fmt.Errorf("sheet: %w", err)
	}
	return o.checkAttributes()
}

// checkOrigin refuses a station that can be none, and no kind.
func checkOrigin(station string, k Kind) error {
	if err := CheckStation(station); err != nil {
		return err
	}
	if k == "" {
		return fmt.Errorf("kind is missing; the kinds are %s", kindNames())
	}
	return nil
}

// checkAttributes refuses what the observation says besides station, kind and data.
func (o *Observation) checkAttributes() error {
	var c checks
	if o.Kind.AboutSet() {
		c.id("set", o.Set)
	}
	c.must(o.Set == "" || o.mayNameSet(), "set is given, but %s is not about one set", o.Kind)
	c.optionalUUID("trip", o.Trip)
	c.year(o.Time)
	c.optionalID("operator", o.Operator)
	c.medium(o.Medium)
	return c.err
}

// mayNameSet reports whether the observation is about a set, or corrects an
// event that may be about one.
func (o *Observation) mayNameSet() bool {
	return o.Kind.AboutSet() || o.Kind.Subject() == SubjectEvent
}

// ParseObservedData reads the data of a kind as people write it. The one
// difference to the data of an event: weightKg, a decimal number, becomes
// weightGrams, since hashed numbers are whole.
func ParseObservedData(k Kind, raw []byte) (Data, error) {
	if k != KindSetPacked {
		var d Data
		var err error
		whole := wholeNumbers(raw)
		if whole {
			if d, err = DecodeData(k, raw); err == nil {
				return d, nil
			}
		}
		if err := checkNumbers(raw); err != nil && k.Known() {
			return nil, fmt.Errorf("data: %w", err)
		}
		if whole {
			return d, err
		}
		return DecodeData(k, raw)
	}
	var p struct {
		SetPacked
		WeightKg jsontext.Value `json:"weightKg"`
	}
	if err := json.Unmarshal(raw, &p, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("data: %w", plainDataError(err))
	}
	if jsontext.Value(raw).Kind() != '{' {
		return nil, errNoObject
	}
	if len(p.WeightKg) > 0 {
		g, err := grams(string(p.WeightKg))
		if err != nil {
			return nil, err
		}
		if p.WeightGrams != 0 && p.WeightGrams != g {
			return nil, errors.New("weightKg and weightGrams disagree; give one")
		}
		p.WeightGrams = g
	}
	return &p.SetPacked, p.SetPacked.Check()
}

func grams(kg string) (int64, error) {
	bad := fmt.Errorf("weightKg is %.20s; it is a number of kilograms from 0 to %d with at most three decimals",
		kg, maxGrams/1000)
	if len(kg) > 16 || strings.ContainsAny(kg, "eE/_\"") {
		return 0, bad
	}
	r, ok := new(big.Rat).SetString(kg)
	if !ok {
		return 0, bad
	}
	r.Mul(r, big.NewRat(1000, 1))
	if !r.IsInt() || r.Sign() < 0 || r.Cmp(big.NewRat(maxGrams, 1)) > 0 {
		return 0, bad
	}
	return r.Num().Int64(), nil
}

// Subject returns what the observation is about, as the event will say it.
// Corrections are about what the corrected event was about, which the
// observation may leave out.
func (o *Observation) Subject() string {
	if s := subjectOf(o.Data, o.Station); s != "" {
		return s
	}
	return o.Set
}

// digest is over everything the observation says, in canonical JSON.
func (o *Observation) digest(domain string) (Digest, error) {
	text, err := o.canonical(domain)
	return sha256.Sum256(text), err
}

// canonical returns what the observation says in canonical JSON, with what comes before it where it is hashed.
func (o *Observation) canonical(domain string) ([]byte, error) {
	if b, ok := o.appendCanonical(append(make([]byte, 0, roomyRecord), domain...)); ok && len(b)-len(domain) <= MaxRecord {
		return b, nil
	}
	l, err := o.line()
	if err != nil {
		return nil, err
	}
	raw, err := json.Marshal(l)
	if err == nil {
		raw, err = Canonical(raw)
	}
	if err != nil {
		return nil, fmt.Errorf("hashing: %w", err)
	}
	return append([]byte(domain), raw...), nil
}

// appendCanonical writes the members of an observationLine in canonical order.
func (o *Observation) appendCanonical(b []byte) (_ []byte, ok bool) {
	if b, ok = appendCanonical(append(b, `{"data":`...), o.Data); !ok {
		return b, false
	}
	at := o.Time.UTC().Format(time.RFC3339Nano)
	for _, m := range [...]struct {
		name, value string
		always      bool
	}{
		{`,"kind":`, string(o.Kind), true}, {`,"medium":`, o.Medium, false}, {`,"operator":`, o.Operator, false},
		{`,"set":`, o.Set, false}, {`,"station":`, o.Station, true}, {`,"time":`, at, true}, {`,"trip":`, o.Trip, false},
	} {
		if m.value == "" && !m.always {
			continue
		}
		if b, ok = appendQuoted(append(b, m.name...), m.value); !ok {
			return b, false
		}
	}
	return append(b, '}'), true
}

// ID returns the id of the event the observation becomes: the same
// observation, the same id. It is taken before a trip is looked up or a seal
// is completed, so that it does not depend on what the ledger holds.
func (o *Observation) ID() (string, error) {
	if o.Signed != nil {
		e, err := ParseNote(o.Signed)
		if err != nil {
			return "", err
		}
		return e.ID, nil
	}
	d, err := o.digest(observationDomain)
	return DerivedID(o.Time, d), err
}

// NewTrip returns the trip that a set.packed without one starts. What the packing
// says in free text is left out of what it is taken from, so that nobody can try
// what that may have been.
func (o *Observation) NewTrip() (string, error) {
	bare := *o
	var err error
	if bare.Data, err = Texts(o.Data, "", func(string, string) (string, error) { return "", nil }); err != nil {
		return "", err
	}
	d, err := bare.digest(tripDomain)
	return DerivedID(o.Time, d), err
}

// Observations reads one observation a line. Each yields its line number and
// either an observation or why the line was refused; a refused line costs
// nothing else. Blank lines are passed over. An error of the reader itself is
// yielded last, with line 0.
func Observations(r io.Reader) iter.Seq2[int, ObservationOrError] {
	return func(yield func(int, ObservationOrError) bool) {
		br := lineReaders.Get().(*bufio.Reader)
		br.Reset(r)
		defer func() {
			br.Reset(nil)
			lineReaders.Put(br)
		}()
		for n := 1; ; n++ {
			line, tooLong, err := readLine(br)
			if err != nil && err != io.EOF {
				// What came of this line may end anywhere: to judge it would blame the line.
				yield(0, ObservationOrError{Err: fmt.Errorf("reading stopped in line %d, which is not recorded: %w", n, err)})
				return
			}
			if n == 1 {
				line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
			}
			var res ObservationOrError
			switch {
			case tooLong > 0:
				res.Err = fmt.Errorf("the line has %d bytes; a record has at most %d", tooLong, MaxRecord)
			case len(bytes.TrimSpace(line)) > 0:
				res.Observation, res.Err = ParseObservation(line)
			}
			if (res.Err != nil || res.Observation != nil) && !yield(n, res) {
				return
			}
			if err == io.EOF {
				return
			}
		}
	}
}

// lineReaders are for the next ones who read lines: a scan is one line, and a buffer for it was most of what a server had collected as
// garbage.
var lineReaders = sync.Pool{New: func() any { return bufio.NewReaderSize(nil, 64<<10) }}

// ObservationOrError is one line's outcome: exactly one of the two is set.
type ObservationOrError struct {
	Observation *Observation
	Err         error
}

// readLine returns the next line without its end. A line longer than a record
// is read to its end but not kept; its length is returned instead.
func readLine(br *bufio.Reader) (line []byte, tooLong int, err error) {
	const most = MaxRecord + 5 // a byte order mark, CR, LF
	n := 0
	for {
		part, e := br.ReadSlice('\n')
		n += len(part)
		if n <= most {
			line = append(line, part...)
		}
		if e == bufio.ErrBufferFull {
			continue
		}
		if n > most {
			return nil, n - len(part) + len(bytes.TrimRight(part, "\r\n")), e
		}
		return bytes.TrimRight(line, "\r\n"), 0, e
	}
}
