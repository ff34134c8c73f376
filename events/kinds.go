package events

import (
	"slices"
	"strings"
)

// Kind names what was observed. Names are written by hand and never change:
// they stand in records that are signed and kept for years. data.go has the kinds.
type Kind string

// SubjectKind tells what the events of a kind are about, which their subject
// then names.
type SubjectKind string

// What an event can be about.
const (
	SubjectSet        SubjectKind = "set"
	SubjectCase       SubjectKind = "case"
	SubjectLoad       SubjectKind = "load"
	SubjectSterilizer SubjectKind = "sterilizer"
	SubjectList       SubjectKind = "list"
	SubjectSite       SubjectKind = "site"
	SubjectStation    SubjectKind = "station"
	SubjectEvent      SubjectKind = "event" // another event, whose subject and trip it takes over
	SubjectEntry      SubjectKind = "entry" // an entry of a register: see EntryKey
)

// Recorder tells which stations may record a kind.
type Recorder string

// Who may record a kind. The ledger is the station LedgerName of its site.
const (
	ByStation Recorder = "station" // any station but the ledger
	ByLedger  Recorder = "ledger"  // the ledger alone
	ByEither  Recorder = "either"
)

// Key is one sort of name by which events are looked up, besides their id,
// their subject, their trip and their station.
type Key int

// The keys.
const (
	KeyCase       Key = iota // case reference
	KeyLoad                  // sterilizer load
	KeySterilizer            // sterilizer
	KeyList                  // list id
	KeySheet                 // code of the sheet that was read or counted against
	KeyStation               // station enrolled or retired
	KeyEvent                 // id of the event corrected
	KeyEntry                 // entry of a register
	KeyWash                  // load of a washer
	keyCount
)

// Keys are the names by which an event is looked up; "" where it has none.
type Keys [keyCount]string

// KindInfo is one row of the table of kinds: everything that differs between
// kinds and is not behaviour of the Data type itself.
type KindInfo struct {
	Kind    Kind
	Subject SubjectKind
	By      Recorder
	// New returns an empty value of the kind's Data type, to decode into.
	New func() Data
	// Link: the kind is one of the six links of a trip's chain, in the order of the table.
	Link bool
	// Keys that an event of the kind may have; those of its data are Data.Keys.
	Keys []Key
	// Roles are those of people who may record it where people sign in: none, where the ledger says it itself or whoever has
	// its folder.
	Roles []Role
	// Work is what a station must be for to record it, "" where any may: a set is looked at anywhere, and a correction or an
	// acknowledgement is made anywhere.
	Work Work
	// Example is data of the kind, of an invented hospital: what an observation says at least. "listbound kinds" prints it.
	Example string
}

// empty returns an empty value of a Data type.
func empty[T any, P interface {
	*T
	Data
}]() Data {
	return P(new(T))
}

// kindRows finds a kind's row.
var kindRows = func() map[Kind]*KindInfo {
	rows := make(map[Kind]*KindInfo, len(kindTable))
	for i := range kindTable {
		rows[kindTable[i].Kind] = &kindTable[i]
	}
	return rows
}()

// Kinds lists every kind of version 1; the links of a trip come first, in order.
func Kinds() []Kind { return KindsWhere(func(Kind) bool { return true }) }

// KindsWhere lists the kinds with a property, such as Kind.AboutSet, in the
// order of Kinds.
func KindsWhere(has func(Kind) bool) []Kind {
	var out []Kind
	for i := range kindTable {
		if k := kindTable[i].Kind; has(k) {
			out = append(out, k)
		}
	}
	return out
}

// Info returns the kind's row of the table of kinds, and whether there is one.
func (k Kind) Info() (KindInfo, bool) {
	row, ok := kindRows[k]
	if !ok {
		return KindInfo{}, false
	}
	info := *row
	info.Keys = slices.Clone(row.Keys)
	return info, true
}

// Known reports whether this program knows the kind.
func (k Kind) Known() bool { return kindRows[k] != nil }

// Subject returns what the kind's events are about, "" for an unknown kind.
func (k Kind) Subject() SubjectKind {
	if row := kindRows[k]; row != nil {
		return row.Subject
	}
	return ""
}

// IsRegister reports whether the kind says what a site's registers hold, or which of them it holds to.
func (k Kind) IsRegister() bool {
	return k == KindRegistersAdopted || k.Subject() == SubjectEntry && k != KindAccessClaimed
}

// AboutSet reports whether the kind's events are about one set, which is then
// their subject.
func (k Kind) AboutSet() bool { return k.Subject() == SubjectSet }

// HoldsTrip reports whether an event of the kind that names a trip belongs to
// that trip, as what is about a set or corrects an event does. One of an unknown
// kind does: it may be one of the trip's links.
func (k Kind) HoldsTrip() bool {
	row := kindRows[k]
	return row == nil || row.Subject == SubjectSet || row.Subject == SubjectEvent
}

// IsLink reports whether the kind is one of the six links of a trip's chain.
func (k Kind) IsLink() bool {
	row := kindRows[k]
	return row != nil && row.Link
}

// HasKey reports whether events of the kind are looked up by a key.
func (k Kind) HasKey(key Key) bool {
	row := kindRows[k]
	return row != nil && slices.Contains(row.Keys, key)
}

// RecordedBy reports whether a station may record the kind: the ledger of its
// site, or any other. Nobody may record an unknown kind.
func (k Kind) RecordedBy(station string) bool {
	row := kindRows[k]
	if row == nil {
		return false
	}
	if ReservedStation(station) {
		return row.By != ByStation
	}
	return row.By != ByLedger
}

// newData returns an empty value of the kind's Data type, nil for an unknown kind.
func (k Kind) newData() Data {
	if row := kindRows[k]; row != nil {
		return row.New()
	}
	return nil
}

// eventType returns the CloudEvents type of the kind's events.
func (k Kind) eventType() string { return typePrefix + string(k) + typeSuffix }

// kindOfType returns the kind that a CloudEvents type names. The kind may be
// unknown; "" is returned for a type that names none.
func kindOfType(typ string) Kind {
	name, hasPrefix := strings.CutPrefix(typ, typePrefix)
	name, hasSuffix := strings.CutSuffix(name, typeSuffix)
	if !hasPrefix || !hasSuffix {
		return ""
	}
	return Kind(name)
}

// CaseOf returns the case that data names, "" for none.
func CaseOf(d Data) string { return keyOf(d, KeyCase) }

// LoadOf returns the sterilizer load that data names, "" for none.
func LoadOf(d Data) string { return keyOf(d, KeyLoad) }

// SterilizerOf returns the sterilizer that data names, "" for none.
func SterilizerOf(d Data) string { return keyOf(d, KeySterilizer) }

// ListOf returns the list that data is looked up by, "" for none.
func ListOf(d Data) string { return keyOf(d, KeyList) }

// EntryOf returns the entry of a register that data is about, "" for none.
func EntryOf(d Data) string { return keyOf(d, KeyEntry) }

// SheetCodeOf returns the code of the sheet that was read or counted against,
// "" where there was none. The code of a seal was not read but made.
func SheetCodeOf(d Data) string { return keyOf(d, KeySheet) }

func keyOf(d Data, k Key) string {
	if d == nil {
		return ""
	}
	return d.Keys()[k]
}

// subjectOf returns what data names as the subject of its event. It is "" for
// data about a set or another event, which it does not name itself.
func subjectOf(d Data, station string) string {
	switch keys := d.Keys(); d.Kind().Subject() {
	case SubjectCase:
		return keys[KeyCase]
	case SubjectLoad:
		return keys[KeyLoad]
	case SubjectSterilizer:
		return keys[KeySterilizer]
	case SubjectList:
		return keys[KeyList]
	case SubjectStation:
		return keys[KeyStation]
	case SubjectEntry:
		return keys[KeyEntry]
	case SubjectSite:
		site, _, _ := strings.Cut(station, "/")
		return site
	}
	return ""
}
