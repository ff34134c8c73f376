package events

import (
	"slices"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"
)

// Register names one of the registers that a site may keep: who and what there is, so that
// what nobody entered is asked about.
type Register string

// The registers.
const (
	RegisterPeople      Register = "people"
	RegisterSets        Register = "sets"
	RegisterPlaces      Register = "places"
	RegisterStations    Register = "stations"
	RegisterSterilizers Register = "sterilizers"
)

// Registers lists all registers, in the order in which pages show them.
func Registers() []Register { return slices.Clone(registers) }

var registers = []Register{RegisterPeople, RegisterSets, RegisterPlaces, RegisterStations, RegisterSterilizers}

// EntryKey names an entry: "people/B-1182". It is the subject of the events about it.
func EntryKey(r Register, id string) string { return string(r) + "/" + id }

// SplitEntryKey takes an entry's name apart.
func SplitEntryKey(key string) (Register, string) {
	r, id, _ := strings.Cut(key, "/")
	return Register(r), id
}

// Role is what a person may do, in plain words.
type Role string

// The roles. A person has any of them; none includes another.
const (
	RoleRecords      Role = "records"      // records at a station
	RoleLeads        Role = "leads"        // acknowledges, corrects, adopts policies, edits lists
	RoleInvestigates Role = "investigates" // reads all, makes evidence
	RoleAudits       Role = "audits"       // reads, follows the log
	RoleAdministers  Role = "administers"  // keeps registers, stations and keys
)

// Roles lists all roles.
func Roles() []Role { return slices.Clone(roles) }

var roles = []Role{RoleRecords, RoleLeads, RoleInvestigates, RoleAudits, RoleAdministers}

// Work is what a station is for.
type Work string

// The values of Work.
const (
	WorkPacking    Work = "packing"        // packs sets and seals their lists
	WorkSterilizer Work = "sterilizer"     // loads, releases, reads indicators
	WorkStorage    Work = "storage"        // storage, case carts
	WorkRoom       Work = "operating-room" // opens sets, counts, closes cases
)

// Works lists all of them.
func Works() []Work { return slices.Clone(works) }

var works = []Work{WorkPacking, WorkSterilizer, WorkStorage, WorkRoom}

// WorkOf returns what a station must be for to record a kind, "" where any may.
func WorkOf(k Kind) Work {
	row, _ := k.Info()
	return row.Work
}

// RoleFor returns the role by which a person's badge stands in an observation of a kind.
func RoleFor(k Kind) Role {
	if row, _ := k.Info(); slices.Equal(row.Roles, byLeads) {
		return RoleLeads
	}
	return RoleRecords
}

// Entry is what an event says of one entry of a register.
type Entry interface {
	Data
	// Named returns the register and the entry's own code.
	Named() (Register, string)
	// Holding returns from when to when it holds.
	Holding() Held
}

// Held says from when to when an entry of a register holds. An entry holds from the time its event was observed, or
// from a later From, until the next event about the same entry, Until, or its end. Nothing is taken out of a register:
// an entry that is replaced or ended is a further event.
type Held struct {
	From   string `json:"from,omitempty"`  // RFC 3339; left out: from the event's own time on
	Until  string `json:"until,omitempty"` // RFC 3339; left out: until another event says so
	Ended  bool   `json:"ended,omitzero"`  // it holds no longer
	Reason string `json:"reason,omitempty" addendum:"text"`
	// NewCode says that a code that is entered for the first time is meant, though it looks like another one's.
	NewCode bool `json:"newCode,omitzero"`
}

// Span returns From and Until as moments, zero where they are left out.
func (h Held) Span() (from, until time.Time) {
	from, _ = time.Parse(time.RFC3339, h.From)
	until, _ = time.Parse(time.RFC3339, h.Until)
	return from, until
}

func (h *Held) check(c *checks) {
	for what, s := range map[string]string{"from": h.From, "until": h.Until} {
		if t, err := time.Parse(time.RFC3339, s); s != "" {
			c.must(err == nil, "%s: %q is no time such as 2026-03-02T08:02:00Z", what, s)
			c.year(t)
		}
	}
	from, until := h.Span()
	c.must(from.IsZero() || until.IsZero() || from.Before(until), "until %s is not after from %s", h.Until, h.From)
	c.optionalText("reason", h.Reason)
}

// PersonEntered is an entry of the people: a badge and what its bearer may do. Whose badge it is stands outside the
// ledger, in a file that can be changed. Subject: the entry.
type PersonEntered struct {
	Badge string `json:"badge"`
	Roles []Role `json:"roles"`
	Held  Held   `json:"held,omitzero"`
}

func (*PersonEntered) Kind() Kind { return KindPersonEntered }

// Named implements Entry.
func (d *PersonEntered) Named() (Register, string) { return RegisterPeople, d.Badge }

// Holding implements Entry.
func (d *PersonEntered) Holding() Held { return d.Held }

// Keys implements Data.
func (d *PersonEntered) Keys() Keys { return entryKeys(d) }

// Check implements Data.
func (d *PersonEntered) Check() error {
	var c checks
	c.code("badge", d.Badge)
	for i, r := range d.Roles {
		oneOf(&c, "role", r, roles...)
		c.must(!slices.Contains(d.Roles[:i], r), "role %s stands twice", r)
	}
	c.must(len(d.Roles) > 0 || d.Held.Ended, "roles are missing: %s", listed(roles))
	d.Held.check(&c)
	return c.err
}

// SetEntered is an entry of the sets. Subject: the entry.
type SetEntered struct {
	Set      string `json:"set"`
	List     string `json:"list,omitempty"`
	Owner    string `json:"owner,omitempty"` // whose it is: a department, or who lends it
	Home     string `json:"home,omitempty"`  // where it belongs, as people call the place
	HighRisk bool   `json:"highRisk,omitzero"`
	// Tags are codes on the tray that name this set, besides its own: a number engraved, a GIAI, an older label.
	Tags []string `json:"tags,omitempty"`
	Held Held     `json:"held,omitzero"`
}

func (*SetEntered) Kind() Kind { return KindSetEntered }

// Named implements Entry.
func (d *SetEntered) Named() (Register, string) { return RegisterSets, d.Set }

// Holding implements Entry.
func (d *SetEntered) Holding() Held { return d.Held }

// Keys implements Data.
func (d *SetEntered) Keys() Keys { return entryKeys(d) }

// Check implements Data.
func (d *SetEntered) Check() error {
	var c checks
	c.code("set", d.Set)
	c.optionalID("list", d.List)
	c.optionalText("owner", d.Owner)
	c.optionalText("home", d.Home)
	c.each("tag", d.Tags, checkCode)
	for i, tag := range d.Tags {
		c.must(!slices.Contains(d.Tags[:i], tag), "tag %s stands twice", tag)
		c.must(tag != d.Set, "tag %s is the set's own code, which names it anyway", tag)
	}
	d.Held.check(&c)
	return c.err
}

// PlaceEntered is an entry of the places. Subject: the entry.
type PlaceEntered struct {
	Place string `json:"place"`           // its code, as it is scanned
	Title string `json:"title,omitempty"` // as people call it
	Held  Held   `json:"held,omitzero"`
}

func (*PlaceEntered) Kind() Kind { return KindPlaceEntered }

// Named implements Entry.
func (d *PlaceEntered) Named() (Register, string) { return RegisterPlaces, d.Place }

// Holding implements Entry.
func (d *PlaceEntered) Holding() Held { return d.Held }

// Keys implements Data.
func (d *PlaceEntered) Keys() Keys { return entryKeys(d) }

// Check implements Data.
func (d *PlaceEntered) Check() error {
	var c checks
	c.code("place", d.Place)
	c.optionalText("title", d.Title)
	d.Held.check(&c)
	return c.err
}

// StationEntered is an entry of the stations: which workplace it is. It lets nothing record; that is station.enrolled.
// Subject: the entry.
type StationEntered struct {
	Name        string   `json:"name"` // site/station
	Works       []Work   `json:"works"`
	Sterilizers []string `json:"sterilizers,omitempty"` // whose loads it records; all where none is named
	Where       string   `json:"where,omitempty"`       // such as OR 3
	Held        Held     `json:"held,omitzero"`
}

func (*StationEntered) Kind() Kind { return KindStationEntered }

// Named implements Entry.
func (d *StationEntered) Named() (Register, string) { return RegisterStations, d.Name }

// Holding implements Entry.
func (d *StationEntered) Holding() Held { return d.Held }

// Keys implements Data.
func (d *StationEntered) Keys() Keys { return entryKeys(d) }

// Check implements Data.
func (d *StationEntered) Check() error {
	var c checks
	c.station(d.Name)
	for i, w := range d.Works {
		oneOf(&c, "works", w, works...)
		c.must(!slices.Contains(d.Works[:i], w), "works: %s stands twice", w)
	}
	c.must(len(d.Works) > 0 || d.Held.Ended, "works is missing: %s", listed(works))
	c.each("sterilizer", d.Sterilizers, checkCode)
	c.optionalText("where", d.Where)
	d.Held.check(&c)
	return c.err
}

// SterilizerEntered is an entry of the sterilizers, with the cycles that it runs. Subject: the entry.
type SterilizerEntered struct {
	Sterilizer string   `json:"sterilizer"`
	Cycles     []string `json:"cycles,omitempty"`
	Where      string   `json:"where,omitempty"`
	Held       Held     `json:"held,omitzero"`
}

func (*SterilizerEntered) Kind() Kind { return KindSterilizerEntered }

// Named implements Entry.
func (d *SterilizerEntered) Named() (Register, string) { return RegisterSterilizers, d.Sterilizer }

// Holding implements Entry.
func (d *SterilizerEntered) Holding() Held { return d.Held }

// Keys implements Data.
func (d *SterilizerEntered) Keys() Keys { return entryKeys(d) }

// Check implements Data.
func (d *SterilizerEntered) Check() error {
	var c checks
	c.code("sterilizer", d.Sterilizer)
	for i, cycle := range d.Cycles {
		c.id("cycle", cycle)
		c.must(!slices.Contains(d.Cycles[:i], cycle), "cycle %s stands twice", cycle)
	}
	c.optionalText("where", d.Where)
	d.Held.check(&c)
	return c.err
}

func entryKeys(e Entry) Keys {
	r, id := e.Named()
	if id == "" {
		return Keys{}
	}
	return Keys{KeyEntry: EntryKey(r, id)}
}

// RegistersAdopted says which registers are held to from the observed time on: whoever and whatever is not in one of
// these is asked about, refused or told of. It names all of them; one that it leaves out is held to no longer. Subject: the site.
type RegistersAdopted struct {
	Registers []Register `json:"registers"`
	Reason    string     `json:"reason,omitempty" addendum:"text"`
}

func (*RegistersAdopted) Kind() Kind { return KindRegistersAdopted }

// Keys implements Data. It is looked up by its site, the event's subject.
func (*RegistersAdopted) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *RegistersAdopted) Check() error {
	var c checks
	for i, r := range d.Registers {
		oneOf(&c, "registers", r, registers...)
		c.must(!slices.Contains(d.Registers[:i], r), "registers: %s stands twice", r)
	}
	c.optionalText("reason", d.Reason)
	return c.err
}

// AccessHolds is how long access claimed in an emergency lasts at its station: a shift, so that who came in on it
// can end the case. Common practice, no source.
const AccessHolds = 12 * time.Hour

// AccessClaimed says that somebody works at a station though a register does not know them, or does not allow it: in
// an emergency nobody looks for whoever keeps the register. All that is recorded by it is told of. Subject: the
// badge's entry.
type AccessClaimed struct {
	Badge  string `json:"badge"`
	Reason string `json:"reason" addendum:"text"`
}

func (*AccessClaimed) Kind() Kind { return KindAccessClaimed }

// Keys implements Data.
func (d *AccessClaimed) Keys() Keys {
	if d.Badge == "" {
		return Keys{}
	}
	return Keys{KeyEntry: EntryKey(RegisterPeople, d.Badge)}
}

// Check implements Data.
func (d *AccessClaimed) Check() error {
	var c checks
	c.id("badge", d.Badge)
	c.text("reason", d.Reason)
	return c.err
}

// People returns the badges that stand in an event, each once.
func People(operator string, d Data) []string {
	out := []string{operator}
	switch d := d.(type) {
	case *SetPacked:
		out = append(out, d.SecondLook)
	case *SetSterilized:
		out = append(out, d.Loader)
	case *SetCounted:
		out = append(out, d.Counter, d.Witness)
	case *CaseClosed:
		out = append(out, d.Witness)
	}
	slices.Sort(out)
	return slices.DeleteFunc(slices.Compact(out), func(s string) bool { return s == "" })
}

// EntriesOf returns the entries that an event is held to, where their register is: who made it, where, and what it
// names. They are in order.
func EntriesOf(e *Event) []string {
	var out []string
	add := func(r Register, id string) {
		if id != "" {
			out = append(out, EntryKey(r, id))
		}
	}
	if WorkOf(e.Kind()) == "" && !e.Kind().AboutSet() {
		return nil
	}
	for _, badge := range People(e.Operator, e.Data) {
		add(RegisterPeople, badge)
	}
	add(RegisterStations, e.Station)
	add(RegisterSterilizers, SterilizerOf(e.Data))
	if e.Kind() == KindSetPacked {
		add(RegisterSets, e.Subject)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// listed writes words with commas.
func listed[T ~string](words []T) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return strings.Join(out, ", ")
}

// hyphens are the characters that are printed, pasted or typed for a hyphen, besides the one of ASCII.
var hyphens = strings.NewReplacer(
	"\u2010", "-", "\u2011", "-", "\u2012", "-", "\u2013", "-", "\u2014", "-", "\u2015", "-", "\u2212", "-",
	"\u2043", "-", "\ufe58", "-", "\ufe63", "-", "\uff0d", "-", "\u00ad", "",
)

// PlainCode writes a code as one form of several that mean the same characters: full-width and composed forms as NFKC
// has them, every hyphen as that of ASCII, nothing before or after.
func PlainCode(code string) string { return strings.TrimSpace(norm.NFKC.String(hyphens.Replace(code))) }

// NormalCode is the one form in which a code is entered in a register: PlainCode in capitals. A code that is scanned or
// typed otherwise is the same one; what only looks like it (see Likeness) is asked about.
func NormalCode(code string) string { return strings.ToUpper(PlainCode(code)) }

// checkCode accepts an identifier in its plain form.
func checkCode(what, s string) error {
	if err := checkID(what, s); err != nil {
		return err
	}
	if p := PlainCode(s); p != s {
		return fault("no-plain", what, s, p)
	}
	return nil
}

func (c *checks) code(what, s string) {
	if c.err == nil {
		c.keep(checkCode(what, s))
	}
}
