package projections

import "listbound/events"

// CaseStanding is where the counts of a case stand: what a page shows to the
// people who count.
type CaseStanding struct {
	Case    string
	Sets    []SetStanding // in the order of set and trip
	Moves   []Move        // differences at the end that another set explains
	Left    []Leftover    // and those that none does
	Closed  bool
	Outcome string // of the closing
	Actions []string
	Reason  string
}

// SetStanding is one trip's part of a case.
type SetStanding struct {
	Key     TripKey
	List    string
	Version int64
	Title   string
	Code    string         // of the sheet that was sealed last
	Stages  []events.Stage // counted, in order
	Opened  bool
	Listed  bool // the list is known, and Lines are all of it
	Goods   bool // it is no set: goods that lie with none
	Lines   []LineStanding
	// Removed is what counts say has left the field.
	Removed []RemovedStanding
}

// RemovedStanding is what left the field of a line, and in which count that was said.
type RemovedStanding struct {
	events.Removed
	Stage   events.Stage
	Counter string // badge
}

// LineStanding is one line: what packing recorded, and what should be there now
// (first count + added - removed; as packed before a first count).
type LineStanding struct {
	events.Line
	Packed   int64
	Expected int64
	Last     int64 // as counted last, where Counted
	Counted  bool
	Beyond   bool  // on no list: the counts name it
	Missed   int64 // of Packed, reported as missed since it was packed and before it was opened
}

// Balance is one item of one set at the end of a case: how many there should
// be and how many were counted.
type Balance struct {
	Key               TripKey
	Item              string
	Expected, Counted int64
}

// Move explains a difference without a missing piece: Quantity pieces that
// belong to From lie in To.
type Move struct {
	Item     string
	From, To TripKey
	Quantity int64
}

// Leftover is what no move explains: pieces short (more than 0) or over (less
// than 0).
type Leftover struct {
	Item     string
	Key      TripKey
	Quantity int64
}
