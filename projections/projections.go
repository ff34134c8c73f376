// Package projections says what recorded events mean. Judgement is pure: the
// same facts give the same verdicts in whatever order they arrived, and no
// clock, file or network is asked; as of when is judged is an input like the facts. The read model in SQLite (package
// readmodel below this one) keeps what judgement found.
//
// # What is judged
//
// Facts are ordered by the time at which they were observed, then by id, and
// never by arrival. Corrections are applied first: an event.corrected takes an
// event back or replaces its data, of several the one observed last decides,
// and one that is taken back itself does not count. None makes a finding vanish
// unseen: what would be broken without it is said, from judging the trip once more
// as it was recorded first. Facts without a trip belong
// to the set's trip packed last before them.
//
// Each step is judged by the policy in force at its site when it was observed:
// a count by the policy at the count, a recall by the policy at the
// sterilization it recalls, a missing link by the policies at the links before
// and after the hole.
//
// # Sheets
//
// A sheet code read on a set is held against the list.sealed in force. Another
// set's code is a swap; the readings then form a graph ("X was found carrying
// the sheet of Y"), in which the latest telling reading of each set counts and
// a good reading ends what was known before it. A closed path names a ring of
// sets. An open path ends at a set that has not been read since: it is in doubt
// before anyone opens it. A wrong sheet that was put right by the time the set
// was opened is noted, and no longer held against the chain.
//
// # Counts
//
// A final count should be the first count, and what was added, less what was
// removed. A line that it left out, or of which no final count was made, goes
// by the last count that has it. What came or left after the final count was
// not counted at the end. What is short in one set and over in another set of
// the case is misplaced (Reconcile); the rest is unaccounted for. First counts
// are reconciled in the same way: then it was packed in the wrong set. That nothing
// is, proves nothing about what the counts themselves missed, and no sentence
// says so.
//
// # Use
//
// The release of a run ends at the first opening. A second use rests on a
// packing and a run of its own; without them the set was not reprocessed, and
// that ranks above everything else. One opening told twice is one: for the same
// case at any station until the case is closed, and for two cases within
// minutes in one room, where one reference is wrong.
//
// # Time
//
// What should come and does not is found by a moment: a case that nobody closes,
// an opened set that is not counted at the end, a set that is packed and in no
// load. The policy says how long is waited (events.Waits). A verdict says until
// when it holds (Until); the moments that judgement asked for are recorded like
// all else it asked for, so whoever keeps verdicts judges them anew when those
// pass. Without a moment nothing is late.
//
// # Status
//
// A chain is broken or doubtful by its worst finding; noted findings leave it
// as it is. Without any it is whole once every link that the policy asks for is
// there, and open until then. A set that was packed again unopened leaves an
// open chain that is over: nothing went wrong, and nothing was proven.
//
// # Words
//
// A finding is data: its code, the way in which it came about, and that way's
// detail. Sentences are made from the detail when a finding is shown, by package
// words, in the reader's language; nothing that is kept holds any.
package projections

import (
	"listbound/events"
	"time"
)

// TripKey names one turn of a set. Trip is empty for what was observed of a
// set before any packing of it was recorded here.
type TripKey struct {
	Set  string `json:"set"`
	Trip string `json:"trip"`
}

// Status sums a verdict up.
type Status string

// The four states of a chain, best first.
const (
	Whole    Status = "whole"
	Open     Status = "open" // so far whole
	Doubtful Status = "doubtful"
	Broken   Status = "broken"
)

// Severity of one finding.
type Severity string

// The severities, lightest first. A noted finding leaves the chain's status as it is.
const (
	SeverityNoted    Severity = "noted"
	SeverityDoubtful Severity = "doubtful"
	SeverityBroken   Severity = "broken"
)

// Finding is one reason why a chain is not whole.
type Finding struct {
	Code         Code              `json:"code"`
	Severity     Severity          `json:"severity"`
	Way          string            `json:"way"`    // the way in which the code came about; see details.go
	Detail       Detail            `json:"detail"` // what sentences are made of
	Events       []int64           `json:"events"` // sequences of the events that show it, ascending
	From         time.Time         `json:"from,omitzero"`
	To           time.Time         `json:"to,omitzero"`
	Other        *TripKey          `json:"other,omitempty"`
	Places       []string          `json:"places,omitempty"` // where both sets were all along
	Lines        []int64           `json:"lines,omitempty"`  // lines of the set's list concerned
	Says         string            `json:"says"`             // in English; empty until it is shown (package words)
	Next         string            `json:"next"`             // what is usually done next
	Texts        map[string]Text   `json:"texts,omitempty"`  // says and next in the languages besides English, by tag
	Acknowledged []Acknowledgement `json:"acknowledged,omitempty"`

	// When it was first known here, by the ledger's clock, and the record that showed it (0: only time had passed). Both
	// are empty until it is shown (judge.TellKnown).
	Known   time.Time `json:"known,omitzero"`
	KnownBy int64     `json:"knownBy,omitzero"`

	Incident string `json:"incident,omitempty"` // key of the one that it belongs to; empty until it is shown, and where it is noted
}

// Text is what a finding tells a reader in one language.
type Text struct {
	Says string `json:"says"`
	Next string `json:"next"`
}

// Acknowledgement says who has seen a finding, and why they did so.
type Acknowledgement struct {
	By     string    `json:"by"`
	Reason string    `json:"reason"`
	Time   time.Time `json:"time"`
	Seq    int64     `json:"seq"`
}

// Verdict is the judgement of one trip, or of one station's own records.
type Verdict struct {
	Set      string    `json:"set"`
	Trip     string    `json:"trip"`
	Case     string    `json:"case,omitempty"`
	Station  string    `json:"station,omitempty"` // set and trip are then empty
	Status   Status    `json:"status"`
	Opened   bool      `json:"opened"`             // the set has been opened: what is found comes too late to prevent
	Over     bool      `json:"over,omitzero"`      // nothing more is to come: the case is closed, or the set was packed again
	Where    string    `json:"where,omitempty"`    // where the set was last seen
	Since    time.Time `json:"since,omitzero"`     // the last observation of the trip
	Until    time.Time `json:"until,omitzero"`     // when it changes though nothing is recorded; zero: never
	Together *Together `json:"together,omitempty"` // lists show it in one row with the others of this room and week
	Findings []Finding `json:"findings"`
	Handled  []Handled `json:"handled,omitempty"` // what people did about what is found, in the order of time

	UsedInDoubt *UsedInDoubt `json:"usedInDoubt,omitempty"` // nil until it is shown, and where it was not
}

// HistoryEvent is one event in a history.
type HistoryEvent struct {
	Seq      int64     `json:"seq"`
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Set      string    `json:"set,omitempty"`
	Trip     string    `json:"trip,omitempty"`
	Station  string    `json:"station"`
	Operator string    `json:"operator,omitempty"`
	Medium   string    `json:"medium,omitempty"` // paper: entered later
	Observed time.Time `json:"observed"`
	Recorded time.Time `json:"recorded"`
	Late     bool      `json:"late,omitzero"`     // recorded more than the clock tolerance after it was observed
	Voided   int64     `json:"voided,omitzero"`   // sequence of the correction that voids it
	Replaced int64     `json:"replaced,omitzero"` // sequence of the correction that replaces its data
	Remarks  []string  `json:"remarks,omitempty"` // what is wrong with the record itself
	Says     string    `json:"says"`              // one line for a reader
	Record   string    `json:"record,omitempty"`  // the note as stored

	SaysIn map[string]string `json:"saysIn,omitempty"` // says in the languages besides English, by tag

	// What the line is made of when it is shown.
	Subject   string        `json:"-"` // of the event
	Data      events.Data   `json:"-"` // in force
	First     events.Data   `json:"-"` // as first recorded, where a correction replaced it
	Void      bool          `json:"-"` // taken back, or the same observation recorded a second time
	Corrected bool          `json:"-"` // by a correction, which may have taken it back
	Bits      events.Remark `json:"-"` // what Remarks names
}

// History is everything known of a trip, set, case or load at a moment.
type History struct {
	Set      string         `json:"set,omitempty"`
	Trip     string         `json:"trip,omitempty"`
	Case     string         `json:"case,omitempty"`
	Load     string         `json:"load,omitempty"`
	AsOf     time.Time      `json:"asOf,omitzero"`
	Size     int64          `json:"size"` // records in the ledger when this was asked
	Events   []HistoryEvent `json:"events"`
	Verdicts []Verdict      `json:"verdicts"`
}

// HistoryOf says what a history is asked of: a trip (Set and Trip), a set (Set
// and, since a World with a Source does not know them, its Trips), a case, or
// a load.
type HistoryOf struct {
	Set, Trip  string
	Case, Load string
	Trips      []TripKey
	// Kept are verdicts that hold, in which nothing is found: these trips are not judged again.
	Kept map[TripKey]Verdict
	AsOf time.Time // said in the history; the World holds what was known then
}
