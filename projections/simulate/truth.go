package simulate

import (
	"time"

	"listbound/events"
)

// Trip is one turn of one set, as it was.
type Trip struct {
	Set, ID   string // ID: the trip that the ledger gives it
	List      int64  // which list, counted from 0
	Placement events.Placement
	Case      *Case
	Stays     []Stay
	Packed    time.Time
	Sealed    time.Time
	Opened    time.Time
	Faults    []*Fault // none: nothing happened to its sheet, its label or its pieces
	Before    *Trip    // the set's trip before, in the same week; nil: none
	Sheet     *Sheet   // its own
	Heavy     bool     // packed too heavy
	Wet       bool     // the package is wet when it is opened
	Bare      bool     // no chemical indicator inside
	Alone     bool     // nobody but who packed it looked it over, though the policy asks for that
	Early     Early    // of a load with implants, opened before its indicator was read
	Aside     Aside    // put aside
	Shut      Shut     // what was done to it on the shelf, closed as it was
	Anew      Anew     // packed anew while its load ran
	Back      *Back    // what became of a piece of it after the last count of its case; nil: nothing
	Label     *Label

	pack   *events.SetPacked  // as it was packed
	former string             // the trip before it was packed anew
	pieces []int64            // in the tray, by line
	odd    []events.Exception // packed so, and said
	sheet  *Sheet             // what lies with it now; nil: nothing
	label  *Label
	code   string // of the sheet it is counted by
	named  *Trip  // under whose name it was opened
}

// Inside reports whether the sheet lies in the closed set.
func (t *Trip) Inside() bool {
	return t.Placement == events.InsideBag || t.Placement == events.InsideBare
}

// Clean reports whether nothing whatever went wrong with a set or in its case.
func (t *Trip) Clean() bool {
	return len(t.Faults) == 0 && len(t.Case.Faults) == 0 &&
		!t.Heavy && !t.Wet && !t.Bare && !t.Alone && t.Early == "" && t.Aside != AsideUsed && t.Back == nil &&
		t.Anew == "" && (t.Shut == "" || t.Shut == ShutPrinted)
}

// Back is what became of a piece between the last count of a case and the assembly of its
// set after it, by which it is seen.
type Back struct {
	Kind  BackKind
	Line  int64
	Other *Trip // whose set the piece lies in, or is from
}

// BackKind names what became of it.
type BackKind string

// What can become of a piece.
const (
	BackGone    BackKind = "missing"
	BackStrayed BackKind = "in another set of the case"
	BackTook    BackKind = "over, from another set of the case"
	BackRepair  BackKind = "in repair"

	// Of the same, and of what people report besides.
	BackReported BackKind = "in repair, by a report"
	BackReplaced BackKind = "in repair, and replaced before the packing"
	BackMissed   BackKind = "missed when the set was washed"
	BackFound    BackKind = "missing at the packing, and found later"
	BackBasket   BackKind = "in a set of another case, from the washer"
	BackGot      BackKind = "over, from a set of another case, from the washer"
)

// BackKinds lists them.
func BackKinds() []BackKind {
	return []BackKind{
		BackGone, BackStrayed, BackTook, BackRepair, BackReported, BackReplaced, BackMissed, BackFound, BackBasket, BackGot,
	}
}

// Early is how a set with implants came to be opened before its load's biological
// indicator was read; "": it was not.
type Early string

// The ways.
const (
	EarlyUnread    Early = "never read"
	EarlyLate      Early = "read late"
	EarlyForReason Early = "read late, released early for a reason"
)

// Aside is what became of a set that was put aside; "": it was not.
type Aside string

// What can become of it.
const (
	AsideUsed     Aside = "used all the same"
	AsideReleased Aside = "released before it was used"
)

// Shut is what was done to a closed set on its shelf, after its run; "": nothing.
type Shut string

// What can be done to it.
const (
	ShutInHand  Shut = "whose sheet lies inside and is read"
	ShutInside  Shut = "closed again after its run, with the sheet inside"
	ShutLocks   Shut = "closed again after its run, with new locks"
	ShutPrinted Shut = "whose sheet is only printed again"
)

// Anew is how a set that was packed anew while its load ran came to be opened; "": it was not.
type Anew string

// The ways.
const (
	AnewUnrun Anew = "packed anew while its load ran"
	AnewNamed Anew = "packed anew while its load ran, which is recorded of the turn before"
	AnewRun   Anew = "packed anew while its load ran, and run again"
)

var anews = []Anew{AnewUnrun, AnewNamed, AnewRun}

// Closings lists what can be done to a closed set, as Shut and Anew name it.
func Closings() []string {
	var out []string
	for _, k := range []Shut{ShutInHand, ShutInside, ShutLocks, ShutPrinted} {
		out = append(out, string(k))
	}
	for _, k := range anews {
		out = append(out, string(k))
	}
	return out
}

// Has reports whether a fault of a kind happened to a set.
func (t *Trip) Has(k FaultKind) bool {
	for _, f := range t.Faults {
		if f.Kind == k {
			return true
		}
	}
	return false
}

// At returns where the tray was at a moment, "" before it was packed.
func (t *Trip) At(at time.Time) string {
	place := ""
	for _, s := range t.Stays {
		if !s.From.After(at) {
			place = s.Place
		}
	}
	return place
}

// Was reports whether the tray was at a place at some moment of a time.
func (t *Trip) Was(place string, from, to time.Time) bool {
	for _, s := range t.Stays {
		if s.Place == place && !s.From.After(to) && !s.To.Before(from) {
			return true
		}
	}
	return false
}

// Hidden reports whether the tray was where nobody scans at a moment.
func (t *Trip) Hidden(at time.Time) bool {
	hidden := false
	for _, s := range t.Stays {
		if !s.From.After(at) {
			hidden = s.Hidden
		}
	}
	return hidden
}

// Stay is a tray at one place. The name is the one that records use.
type Stay struct {
	Place    string
	From, To time.Time
	Hidden   bool // nobody ever scans there
}

// Sheet is a printed list.
type Sheet struct {
	Of    *Trip // the packing that it was printed for
	Kind  SheetKind
	Code  string
	Moves []Move
}

// SheetKind says whether a sheet is what its set was sealed with.
type SheetKind string

// The sheets there are.
const (
	TrueSheet    SheetKind = "true"
	AlteredSheet SheetKind = "altered" // other content than was sealed
)

// Label is what is stuck to the outside and names a set.
type Label struct {
	Of    *Trip
	Moves []Move
}

// Move is a sheet or a label coming to a tray.
type Move struct {
	At    time.Time
	Place string
	To    *Trip // nil: lost
}

// LastMove returns the last move before a moment, nil where there is none.
func LastMove(ms []Move, at time.Time) *Move {
	var last *Move
	for i := range ms {
		if ms[i].At.Before(at) {
			last = &ms[i]
		}
	}
	return last
}

// Look is somebody before a tray: what lay there, and what of it was read.
type Look struct {
	At      time.Time
	Place   string
	Tray    *Trip  // which tray it really was
	Named   *Trip  // under whose name it was recorded
	Sheet   *Sheet // what lay there; nil: none
	Label   *Trip  // whose label was on it
	Opening bool

	ReadSheet, ReadTag, ReadLabel bool
}

// Tells reports whether what was read at a look doesn't belong together, or
// isn't what was sealed.
func (l *Look) Tells() bool {
	if l.ReadTag && (l.Tray != l.Named || l.ReadLabel && l.Label != l.Tray) {
		return true
	}
	return l.ReadSheet && (l.Sheet == nil || l.Sheet.Kind != TrueSheet || l.Sheet.Of != l.Named)
}

// FaultKind names a fault.
type FaultKind string

// The faults.
const (
	SwapOfTwo  FaultKind = "swap of 2"
	RingOf     FaultKind = "ring of 3-5"
	RelayOf    FaultKind = "relay of 3"
	CarriedOn  FaultKind = "relay over 2 places"
	OneLost    FaultKind = "swap, one lost"
	SheetLost  FaultKind = "lost"
	Altered    FaultKind = "altered"
	Stale      FaultKind = "stale"
	LabelSwap  FaultKind = "label swap"
	HolderSwap FaultKind = "label and sheet"
	PieceShort FaultKind = "packed short"
	UsedTwice  FaultKind = "used twice"
	Mispacked  FaultKind = "piece in the set packed next to it"

	// Of a case.
	Misplaced   FaultKind = "piece misplaced"
	Miscounted  FaultKind = "miscounted"
	LineOmitted FaultKind = "line left out"
	NeverClosed FaultKind = "not closed"
)

// SheetFaults are the faults that a look at sheet, label and tag can show, in
// the order in which tables have them.
func SheetFaults() []FaultKind {
	return []FaultKind{
		SwapOfTwo, RingOf, RelayOf, CarriedOn, OneLost, SheetLost, Altered, Stale, LabelSwap, HolderSwap,
	}
}

// Fault is one thing that went wrong.
type Fault struct {
	Kind  FaultKind
	At    time.Time // when it began
	Place string
	Trips []*Trip // the sets it happened to
	Case  *Case   // of a case

	line int
}

// Case is one operation.
type Case struct {
	Ref    string
	Room   string
	Trips  []*Trip
	Faults []*Fault
	Closed time.Time // zero: nobody closed it

	start, end time.Time
	cart       string
}

func (c *Case) has(k FaultKind) *Fault {
	for _, f := range c.Faults {
		if f.Kind == k {
			return f
		}
	}
	return nil
}
