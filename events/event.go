package events

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

const (
	specVersion = "1.0"
	typePrefix  = "listbound."
	typeSuffix  = ".v1"
	sourceStart = "//"
)

// Event is one observation in its CloudEvents envelope.
type Event struct {
	ID          string // UUIDv7; its time is Time, its other bits derive from the content
	Station     string // site/station; in JSON the source //site/station
	Subject     string // set id; load, list, case, site or station for the kinds not about one set
	Time        time.Time
	Trip        string // UUIDv7, or empty
	Operator    string // badge code, or empty
	Medium      string // MediumPaper where it was entered from paper afterwards, else empty
	StationSeq  int64  // 1, 2, 3 … per station
	StationPrev string // hex SHA-256 of the station's previous note; empty for the first
	Data        Data
}

// MediumPaper says that an observation was first written on paper and entered
// later, as after a breakdown: the station's clock had no part in its time.
const MediumPaper = "paper"

// Kind returns the event's kind; "" for an unknown one.
func (e *Event) Kind() Kind { return e.Data.Kind() }

// Type returns the CloudEvents type.
func (e *Event) Type() string {
	if u, ok := e.Data.(*Unknown); ok {
		return u.Type
	}
	return e.Kind().eventType()
}

// envelope is the JSON form.
type envelope struct {
	Data jsontext.Value `json:"data"`
	attributes
	Type string `json:"type"`
}

// attributes are the context attributes of CloudEvents, without the type.
// Extension attributes stand beside the core ones: small letters, integers of
// 32 bits. Those marked unique are rarely the same in two events, and a Reader
// does not intern them.
type attributes struct {
	ID          string `json:"id" record:"unique"`
	Medium      string `json:"medium,omitempty"`
	Operator    string `json:"operator,omitempty"`
	Source      string `json:"source"`
	SpecVersion string `json:"specversion"`
	StationPrev string `json:"stationprev,omitempty" record:"unique"`
	StationSeq  int64  `json:"stationseq"`
	Subject     string `json:"subject"`
	Time        string `json:"time" record:"unique"`
	Trip        string `json:"trip,omitempty"`
}

// event returns the event that the attributes describe, without its data.
func (a *attributes) event() (*Event, error) {
	if a.SpecVersion != specVersion {
		return nil, fmt.Errorf("specversion is %q, not %q", a.SpecVersion, specVersion)
	}
	station, ok := strings.CutPrefix(a.Source, sourceStart)
	if !ok {
		return nil, fmt.Errorf("source %q is not //site/station", a.Source)
	}
	at, err := parseTime(a.Time)
	if err != nil {
		return nil, err
	}
	return &Event{
		ID: a.ID, Station: station, Subject: a.Subject, Time: at, Trip: a.Trip,
		Operator: a.Operator, Medium: a.Medium, StationSeq: a.StationSeq, StationPrev: a.StationPrev,
	}, nil
}

// Encode returns the event's canonical JSON, without a newline. It refuses an
// event that Check refuses.
func Encode(e *Event) ([]byte, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	env := envelope{Type: e.Type(), attributes: attributes{
		ID: e.ID, Medium: e.Medium, Operator: e.Operator, Source: sourceStart + e.Station, SpecVersion: specVersion,
		StationPrev: e.StationPrev, StationSeq: e.StationSeq, Subject: e.Subject,
		Time: e.Time.UTC().Format(time.RFC3339Nano), Trip: e.Trip,
	}}
	if c, ok := env.canonical(e.Data); ok {
		return c, nil
	}
	return env.canonicalSlowly(e)
}

var writtenAttributes = writtenMembers(reflect.TypeFor[attributes]())

// canonical writes an event at once. Its data is first and its type last, by the names that they have.
func (env *envelope) canonical(d Data) ([]byte, bool) {
	if _, ok := d.(*Unknown); ok {
		return nil, false
	}
	b, ok := appendCanonical(append(make([]byte, 0, roomyRecord), `{"data":`...), d)
	if !ok {
		return nil, false
	}
	if b, ok = writtenAttributes.members(b, reflect.ValueOf(&env.attributes).Elem(), false); !ok {
		return nil, false
	}
	b, ok = appendQuoted(append(b, `,"type":`...), env.Type)
	return append(b, '}'), ok && len(b) < MaxRecord
}

// roomyRecord is room for most records.
const roomyRecord = 1536

func (env *envelope) canonicalSlowly(e *Event) ([]byte, error) {
	var err error
	if u, ok := e.Data.(*Unknown); ok {
		env.Data = u.Raw
	} else if env.Data, err = json.Marshal(e.Data); err != nil {
		return nil, fmt.Errorf("event data: %w", err)
	}
	raw, err := json.Marshal(env)
	if err != nil {
		return nil, fmt.Errorf("event: %w", err)
	}
	return Canonical(raw)
}

// Check refuses an envelope or data that can't have been observed.
func (e *Event) Check() error {
	if e.Data == nil {
		return errors.New("the event has no data")
	}
	var c checks
	c.station(e.Station)
	c.uuid("id", e.ID)
	c.id("subject", e.Subject)
	c.optionalID("operator", e.Operator)
	c.medium(e.Medium)
	c.year(e.Time)
	at, err := IDTime(e.ID)
	c.must(err == nil && at.UnixMilli() == e.Time.UnixMilli(), "the id's time is not the event's time")
	c.optionalUUID("trip", e.Trip)
	c.must(e.StationSeq >= 1 && e.StationSeq <= 1<<31-1, "stationseq is %d; it counts from 1", e.StationSeq)
	c.optionalDigest("stationprev", e.StationPrev)
	if c.err == nil {
		c.keep(e.Data.Check())
	}
	named := subjectOf(e.Data, e.Station)
	c.must(named == "" || named == e.Subject, "the subject is %q, the data speaks of %q", e.Subject, named)
	return c.err
}

// parseTime reads an RFC 3339 time. time.Parse alone also takes a comma for the
// point, an hour of one digit and zones of a day; what is signed has the
// standard's form only.
func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil || s[13] != ':' || s[19] == ',' || !hasZone(s) {
		return time.Time{}, fmt.Errorf("time %q is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)", s)
	}
	return t.UTC(), nil
}

// hasZone reports whether a time that time.Parse accepts ends in Z, or in hours
// up to 23 and minutes up to 59.
func hasZone(s string) bool {
	z := s[len(s)-5:]
	return z[4] == 'Z' || z[:2] <= "23" && z[3:] <= "59"
}

// Decode reads an event's JSON text. An unknown kind or version is kept as
// Unknown, and so is a known kind whose data this program can't read: it must
// be shown and reported, never lost and never an end to reading.
func Decode(text []byte) (*Event, error) {
	var env envelope
	if err := json.Unmarshal(text, &env); err != nil {
		return nil, plainDataError(err)
	}
	e, err := env.event()
	if err != nil {
		return nil, err
	}
	if env.Type == "" {
		return nil, errors.New("type is missing")
	}
	e.Data = decodeData(env.Type, env.Data)
	return e, nil
}

func decodeData(typ string, raw jsontext.Value) Data {
	if d := kindOfType(typ).newData(); d != nil {
		if err := json.Unmarshal(raw, d); err == nil && raw.Kind() == '{' {
			return d
		}
	}
	if len(raw) == 0 {
		raw = jsontext.Value("null") // CloudEvents lets data be left out
	}
	return &Unknown{Type: typ, Raw: raw}
}

// Name returns the kind that the type names, listbound.<kind>.v<version>, and
// "" for a type of another form. It is what the record is filed under by the
// newer program that knows it.
func (u *Unknown) Name() string {
	name, ok := strings.CutPrefix(u.Type, typePrefix)
	dot := strings.LastIndex(name, ".v")
	if !ok || dot < 1 {
		return ""
	}
	if v, err := strconv.ParseUint(name[dot+len(".v"):], 10, 16); err != nil || v < 1 {
		return ""
	}
	return name[:dot]
}

// errNoObject stands for null, which would else pass for an empty object.
var errNoObject = errors.New("data: not the object this kind needs")

// DecodeData reads data of a kind strictly: unknown members are refused. It is
// for what people write; Decode is for what is already signed. A sheet's code
// that can't be one becomes an unreadable code: see AsRead.
func DecodeData(k Kind, raw []byte) (Data, error) {
	d := k.newData()
	if d == nil {
		return nil, errUnknownKind(k)
	}
	if err := json.Unmarshal(raw, d, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("data: %w", plainDataError(err))
	}
	if jsontext.Value(raw).Kind() != '{' {
		return nil, errNoObject
	}
	d = AsRead(d)
	return d, d.Check()
}

// AsRead returns data with the code of a sheet that was looked at or counted
// against and can't be one, by a wrong character or a missing one, as an
// unreadable code that is kept as it was typed. It is d itself where there is
// none. What a station signed is kept as it is, and stands for what AsRead returns.
func AsRead(d Data) Data {
	switch d := d.(type) {
	case *SetChecked:
		if s := d.Sheet.asRead(); s != d.Sheet {
			c := *d
			c.Sheet = s
			return &c
		}
	case *SetOpened:
		if s := d.Sheet.asRead(); s != d.Sheet {
			c := *d
			c.Sheet = s
			return &c
		}
	case *SetCounted:
		return d.asRead()
	}
	return d
}

func errUnknownKind(k Kind) error {
	return fmt.Errorf("kind %q is not known; the kinds are %s", k, kindNames())
}

func kindNames() string {
	var names []string
	for _, k := range Kinds() {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// plainDataError says which member is wrong, not which Go type.
func plainDataError(err error) error {
	var se *json.SemanticError
	if errors.As(err, &se) {
		where := strings.ReplaceAll(strings.TrimPrefix(string(se.JSONPointer), "/"), "/", ".")
		switch {
		case strings.Contains(err.Error(), "unknown object member name"):
			return fmt.Errorf("%q is not a member of this kind", where)
		case where == "":
			return fmt.Errorf("not the object this kind needs")
		}
		return fmt.Errorf("%q holds %s, which does not fit there", where, se.JSONKind)
	}
	return plainJSONError(err)
}
