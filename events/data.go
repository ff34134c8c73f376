package events

import (
	"github.com/go-json-experiment/json/jsontext"
)

// Data is what an event of one kind says.
type Data interface {
	// Kind returns the kind, which has a row in the table of kinds.
	Kind() Kind
	// Keys returns what an event with this data is looked up by.
	Keys() Keys
	// Check refuses what can't have been observed.
	Check() error
}

// Placement is where a sheet travels.
type Placement string

// The placements a seal may name.
const (
	InsideBag  Placement = "inside-bag"  // inside the set, in a medical-grade paper bag
	InsideBare Placement = "inside-bare" // inside the set, no bag
	Outside    Placement = "outside"     // in a holder on the container or wrap
	Screen     Placement = "screen"      // no paper: the list is read from a screen
)

var placements = []Placement{InsideBag, InsideBare, Outside, Screen}

// FoundNone in Reading.Found: a person looked, and found no sheet.
const FoundNone = "none"

// Line is one numbered line of a list.
type Line struct {
	Line        int64  `json:"line"`
	Item        string `json:"item"`
	Description string `json:"description"`
	Quantity    int64  `json:"quantity"`
}

// ListIssued makes a version of a list known. Subject: the list id.
type ListIssued struct {
	List    string   `json:"list"`
	Version int64    `json:"version"`
	Title   string   `json:"title"`
	Lines   []Line   `json:"lines"`
	Cycles  []string `json:"cycles,omitempty"` // sterilizer cycles this kind of set may run; any if empty
}

// SetPacked starts a trip: a set was assembled against a list version.
type SetPacked struct {
	List        string      `json:"list"`
	Version     int64       `json:"version"`
	Exceptions  []Exception `json:"exceptions,omitempty"`
	WeightGrams int64       `json:"weightGrams,omitzero"`
	Note        string      `json:"note,omitempty"`
	SecondLook  string      `json:"secondLook,omitempty"` // badge of a second person who looked it over
}

// Exception is a line whose packed number is not the list's.
type Exception struct {
	Line    int64  `json:"line"`
	Counted int64  `json:"counted"`
	Reason  string `json:"reason"` // missing, substituted, damaged, or the site's own word
}

// ListSealed bound one sheet to the set and trip. ListDigest, Binding and Code
// are the station's own computation, to which a later reading is compared.
type ListSealed struct {
	Placement  Placement `json:"placement"`
	List       string    `json:"list,omitempty"` // left out in an observation: as packed
	Version    int64     `json:"version,omitzero"`
	Seals      []string  `json:"seals,omitempty"`
	BagLot     string    `json:"bagLot,omitempty"`
	ListDigest string    `json:"listDigest,omitempty"`              // lower-case hex SHA-256
	Binding    string    `json:"binding,omitempty" record:"unique"` // lower-case hex SHA-256
	Code       string    `json:"code,omitempty"`                    // the sheet code that was printed or shown
}

// SetSterilized says that the set was in a load, and how that load's cycle ended.
type SetSterilized struct {
	Load       string `json:"load"`
	Sterilizer string `json:"sterilizer"`
	Run        int64  `json:"run"`
	Cycle      string `json:"cycle"`
	Result     string `json:"result"` // passed, failed
	Released   bool   `json:"released"`
	Started    string `json:"started,omitempty"` // when the cycle was started, RFC 3339
	Loader     string `json:"loader,omitempty"`  // badge of who started it
}

// Reading is what was found where a sheet was looked for.
type Reading struct {
	Found      string `json:"found"` // a Placement, or none
	Code       string `json:"code,omitempty"`
	Unreadable bool   `json:"unreadable,omitzero"`
}

// SetChecked is a scan between the links: storage, case cart.
type SetChecked struct {
	Place      string   `json:"place,omitempty"`
	Tag        string   `json:"tag,omitempty"`
	OuterLabel string   `json:"outerLabel,omitempty"`
	Sheet      *Reading `json:"sheet,omitempty"`
	Seals      []string `json:"seals,omitempty"`
	SealBroken bool     `json:"sealBroken,omitzero"`
}

// SetOpened says that a set was opened for a case.
type SetOpened struct {
	Case       string   `json:"case"`
	Room       string   `json:"room,omitempty"`
	Tag        string   `json:"tag,omitempty"`
	OuterLabel string   `json:"outerLabel,omitempty"`
	Sheet      *Reading `json:"sheet,omitempty"`
	Seals      []string `json:"seals,omitempty"`
	SealBroken bool     `json:"sealBroken,omitzero"`
	Indicator  string   `json:"indicator,omitempty"` // the chemical indicator inside: pass, fail
}

// Stage is when in a case a count was made.
type Stage string

// The stages of set.counted: the times at which AORN has instruments counted.
const (
	StageFirst   Stage = "first"
	StageAdded   Stage = "added" // Counts are what came to the field since the last count
	StageCavity  Stage = "cavity"
	StageClosing Stage = "closing"
	StageFinal   Stage = "final"
	StageRelief  Stage = "relief"
)

var stages = []Stage{StageFirst, StageAdded, StageCavity, StageClosing, StageFinal, StageRelief}

// SheetScreen in SetCounted.Sheet: counted against the list on the screen.
const SheetScreen = "screen"

// SetCounted is one count of one set.
type SetCounted struct {
	Case    string    `json:"case"`
	Stage   Stage     `json:"stage"`
	Sheet   string    `json:"sheet"` // the code counted against, or screen
	Counter string    `json:"counter"`
	Witness string    `json:"witness,omitempty"`
	Counts  []Count   `json:"counts"`
	Removed []Removed `json:"removed,omitempty"`
}

// Count is one counted line.
type Count struct {
	Line    int64 `json:"line"`
	Counted int64 `json:"counted"`
}

// Removed is what left the field on purpose, before the count that records it,
// and is not in its Counts.
type Removed struct {
	Line     int64  `json:"line"`
	Quantity int64  `json:"quantity"`
	Reason   string `json:"reason"`
}

// CaseClosed ends a case. Subject: the case reference.
type CaseClosed struct {
	Case    string   `json:"case"`
	Outcome string   `json:"outcome"` // reconciled, unreconciled
	Actions []string `json:"actions"`
	Reason  string   `json:"reason,omitempty"`
	Witness string   `json:"witness,omitempty"`
}

// IndicatorRead is a biological indicator's result for a load. Subject: the load id.
type IndicatorRead struct {
	Load       string `json:"load"`
	Sterilizer string `json:"sterilizer"`
	Result     string `json:"result"` // negative, positive
	Lot        string `json:"lot,omitempty"`
	Control    string `json:"control,omitempty"` // what the unprocessed control of the lot showed: positive, negative
}

// PolicyAdopted puts a site's policy in force from the observed time on.
// Subject: the site.
type PolicyAdopted struct {
	Policy
	Reason string `json:"reason,omitempty"`
}

// StationEnrolled lets a station record. It is signed by the ledger's own key.
// Subject: the station.
type StationEnrolled struct {
	Station string `json:"station"`
	Key     string `json:"key"` // C2SP signed-note verifier key
	Reason  string `json:"reason,omitempty"`
}

// StationRetired ends a station's right to record. Signed by the ledger's key.
type StationRetired struct {
	Station string `json:"station"`
	Reason  string `json:"reason"`
}

// FindingAcknowledged records that a person has taken note of a finding. It hides nothing.
// Subject: the set; the trip is the event's.
type FindingAcknowledged struct {
	Code   string `json:"code"`
	Reason string `json:"reason"`
}

// EventCorrected voids an earlier event or replaces its data; the original stays.
type EventCorrected struct {
	Event  string         `json:"event"`
	Action string         `json:"action"` // void, replace
	Reason string         `json:"reason"`
	Data   jsontext.Value `json:"data,omitempty"` // replace: the whole data of the event's kind
}

// Unknown keeps an event whose kind or version this program doesn't know.
type Unknown struct {
	Type string
	Raw  jsontext.Value
}

func (*SetPacked) Kind() Kind           { return KindSetPacked }
func (*ListSealed) Kind() Kind          { return KindListSealed }
func (*SetSterilized) Kind() Kind       { return KindSetSterilized }
func (*SetOpened) Kind() Kind           { return KindSetOpened }
func (*SetCounted) Kind() Kind          { return KindSetCounted }
func (*CaseClosed) Kind() Kind          { return KindCaseClosed }
func (*ListIssued) Kind() Kind          { return KindListIssued }
func (*SetChecked) Kind() Kind          { return KindSetChecked }
func (*IndicatorRead) Kind() Kind       { return KindIndicatorRead }
func (*PolicyAdopted) Kind() Kind       { return KindPolicyAdopted }
func (*StationEnrolled) Kind() Kind     { return KindStationEnrolled }
func (*StationRetired) Kind() Kind      { return KindStationRetired }
func (*FindingAcknowledged) Kind() Kind { return KindFindingAcknowledged }
func (*EventCorrected) Kind() Kind      { return KindEventCorrected }
func (*Unknown) Kind() Kind             { return "" }

// Keys implements Data.
func (d *SetPacked) Keys() Keys { return Keys{KeyList: d.List} }

// Keys implements Data. A seal's list is its packing's, and is not looked up.
func (*ListSealed) Keys() Keys { return Keys{} }

// Keys implements Data.
func (d *SetSterilized) Keys() Keys { return Keys{KeyLoad: d.Load, KeySterilizer: d.Sterilizer} }

// Keys implements Data.
func (d *SetOpened) Keys() Keys { return Keys{KeyCase: d.Case, KeySheet: d.Sheet.code()} }

// Keys implements Data.
func (d *SetCounted) Keys() Keys {
	k := Keys{KeyCase: d.Case}
	if d.Sheet != SheetScreen {
		k[KeySheet] = d.Sheet
	}
	return k
}

// Keys implements Data.
func (d *CaseClosed) Keys() Keys { return Keys{KeyCase: d.Case} }

// Keys implements Data.
func (d *ListIssued) Keys() Keys { return Keys{KeyList: d.List} }

// Keys implements Data.
func (d *SetChecked) Keys() Keys { return Keys{KeySheet: d.Sheet.code()} }

// Keys implements Data.
func (d *IndicatorRead) Keys() Keys { return Keys{KeyLoad: d.Load, KeySterilizer: d.Sterilizer} }

// Keys implements Data. A policy is looked up by its site, the event's subject.
func (*PolicyAdopted) Keys() Keys { return Keys{} }

// Keys implements Data.
func (d *StationEnrolled) Keys() Keys { return Keys{KeyStation: d.Station} }

// Keys implements Data.
func (d *StationRetired) Keys() Keys { return Keys{KeyStation: d.Station} }

// Keys implements Data. An acknowledgement is looked up by its trip.
func (*FindingAcknowledged) Keys() Keys { return Keys{} }

// Keys implements Data.
func (d *EventCorrected) Keys() Keys { return Keys{KeyEvent: d.Event} }

// Keys implements Data.
func (*Unknown) Keys() Keys { return Keys{} }

// code returns the sheet code that was read, "" where there is none.
func (r *Reading) code() string {
	if r == nil {
		return ""
	}
	return r.Code
}
