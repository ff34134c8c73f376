package projections

import (
	"listbound/events"
	"time"
)

// Trace is one trip's chain laid open, for a picture of it.
type Trace struct {
	Key       TripKey          `json:"key"`
	List      string           `json:"list,omitempty"`
	Version   int64            `json:"version,omitempty"`
	Title     string           `json:"title,omitempty"`
	Placement events.Placement `json:"placement,omitempty"`
	Station   string           `json:"station,omitempty"` // of the last observation
	Seals     []string         `json:"seals,omitempty"`
	BagLot    string           `json:"bagLot,omitempty"`
	Load      string           `json:"load,omitempty"`
	Case      string           `json:"case,omitempty"`
	Over      bool             `json:"over"`
	TagRead   time.Time        `json:"tagRead,omitzero"` // when the tag on the tray was last read; zero: never, since it was packed
	Links     []TraceLink      `json:"links"`
	Readings  []SheetReading   `json:"readings"`
	Stays     []Stay           `json:"stays"`
}

// LinkState says how a link of a trace stands.
type LinkState string

// The states of a link. One is missing where a later one was observed, due
// where its time has not come.
const (
	LinkThere  LinkState = "there"
	LinkAbsent LinkState = "missing"
	LinkDue    LinkState = "due"
)

// TraceLink is one expected step of a chain, with its first observation.
type TraceLink struct {
	Kind  events.Kind `json:"kind"`
	State LinkState   `json:"state"`
	Seq   int64       `json:"seq,omitempty"`
	At    time.Time   `json:"at,omitzero"`
	Place string      `json:"place,omitempty"`
	By    string      `json:"by,omitempty"`
}

// Result says what a look at a set's sheet found.
type Result string

// The results of a look at a sheet.
const (
	ResultNone       Result = "not-read"
	ResultRight      Result = "right"
	ResultOther      Result = "other-set"
	ResultEarlier    Result = "earlier-trip"
	ResultAltered    Result = "altered"
	ResultUnknown    Result = "unknown"
	ResultUnreadable Result = "unreadable"
	ResultAbsent     Result = "absent"
)

// SheetReading is one look at a set's sheet.
type SheetReading struct {
	Seq     int64     `json:"seq"`
	At      time.Time `json:"at"`
	Place   string    `json:"place"`
	By      string    `json:"by,omitempty"`
	Result  Result    `json:"result"`
	Owner   *TripKey  `json:"owner,omitempty"` // whose sheet it was, where it was another trip's
	Found   string    `json:"found,omitempty"` // the placement it was found in
	Opening bool      `json:"opening,omitempty"`
	Tray    string    `json:"tray,omitempty"` // the set by its tag, where that is not the set recorded
}

// Stay is the time a set was at one place: from a sighting there until it was
// seen elsewhere.
type Stay struct {
	Place    string      `json:"place"`
	By       string      `json:"by,omitempty"` // who recorded the first sighting of the stay
	From, To time.Time   `json:"-"`
	Seen     []time.Time `json:"-"` // each sighting there, in order; what was between two of them is not known
}

// Carry says that a set was last found with the sheet of another.
type Carry struct {
	Set   TripKey   `json:"set"`   // on which the sheet was found
	Sheet TripKey   `json:"sheet"` // whose it is
	Seq   int64     `json:"seq"`
	At    time.Time `json:"at"`
	Place string    `json:"place"`
}

// Exchange says who has whose sheet, as far as readings tell.
type Exchange struct {
	Carries []Carry `json:"carries"`
	// Closed: a ring, in which every set is accounted for. Else the last set has
	// not been read since, and probably has the sheet of the first.
	Closed bool `json:"closed"`
	// First is the set whose own sheet nobody has found, Last the one not read
	// since its sheet turned up elsewhere; both empty where Closed.
	First, Last TripKey
}
