package events

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"golang.org/x/mod/sumdb/note"
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

// The kinds of version 1. Each has a row in the table of kinds.
const (
	KindSetPacked           Kind = "set.packed"
	KindListSealed          Kind = "list.sealed"
	KindSetSterilized       Kind = "set.sterilized"
	KindSetOpened           Kind = "set.opened"
	KindSetCounted          Kind = "set.counted"
	KindCaseClosed          Kind = "case.closed"
	KindListIssued          Kind = "list.issued"
	KindSetChecked          Kind = "set.checked"
	KindSetReturned         Kind = "set.returned"
	KindPieceReported       Kind = "piece.reported"
	KindIndicatorRead       Kind = "indicator.read"
	KindRunLogged           Kind = "run.logged"
	KindSterilizerTested    Kind = "sterilizer.tested"
	KindPolicyAdopted       Kind = "policy.adopted"
	KindStationEnrolled     Kind = "station.enrolled"
	KindStationRetired      Kind = "station.retired"
	KindFindingAcknowledged Kind = "finding.acknowledged"
	KindIncidentHandled     Kind = "incident.handled"
	KindEventCorrected      Kind = "event.corrected"
	KindRecordsLost         Kind = "records.lost"
	KindRecordsMapped       Kind = "records.mapped"
	KindKeyReplaced         Kind = "key.replaced"
	KindPersonEntered       Kind = "person.entered"
	KindSetEntered          Kind = "set.entered"
	KindPlaceEntered        Kind = "place.entered"
	KindStationEntered      Kind = "station.entered"
	KindSterilizerEntered   Kind = "sterilizer.entered"
	KindRegistersAdopted    Kind = "registers.adopted"
	KindAccessClaimed       Kind = "access.claimed"
	KindTextsRedacted       Kind = "texts.redacted"
	KindHoldPlaced          Kind = "hold.placed"
	KindHoldLifted          Kind = "hold.lifted"
	KindRetentionAdopted    Kind = "retention.adopted"
	KindPlacementsAssessed  Kind = "placements.assessed"
	KindCaseScheduled       Kind = "case.scheduled"
)

// Who may record a kind, where people sign in.
var (
	byRecorders           = []Role{RoleRecords}
	byRecordersAndLeads   = []Role{RoleRecords, RoleLeads}
	byLeads               = []Role{RoleLeads}
	byLeadsAndAdministers = []Role{RoleLeads, RoleAdministers}
	byNobody              = []Role{}
)

// kindTable is the only list of kinds. Everything that depends on the kind
// alone, here and in other packages, is derived from it.
var kindTable = []KindInfo{
	{Kind: KindSetPacked, Subject: SubjectSet, By: ByStation, New: empty[SetPacked],
		Link: true, Keys: []Key{KeyList}, Roles: byRecorders, Work: WorkPacking,
		Example: `{"list":"LAP","version":1}`},
	{Kind: KindListSealed, Subject: SubjectSet, By: ByStation, New: empty[ListSealed],
		Link: true, Keys: []Key{}, Roles: byRecorders, Work: WorkPacking,
		Example: `{"placement":"outside"}`},
	{Kind: KindSetSterilized, Subject: SubjectSet, By: ByStation, New: empty[SetSterilized],
		Link: true, Keys: []Key{KeyLoad, KeySterilizer}, Roles: byRecorders, Work: WorkSterilizer,
		Example: `{"load":"S1-2","sterilizer":"S1","run":2,"cycle":"c-132","result":"passed","released":true}`},
	{Kind: KindSetOpened, Subject: SubjectSet, By: ByStation, New: empty[SetOpened],
		Link: true, Keys: []Key{KeyCase, KeySheet}, Roles: byRecorders, Work: WorkRoom,
		Example: `{"case":"K-2"}`},
	{Kind: KindSetCounted, Subject: SubjectSet, By: ByStation, New: empty[SetCounted],
		Link: true, Keys: []Key{KeyCase, KeySheet}, Roles: byRecorders, Work: WorkRoom,
		Example: `{"case":"K-2","stage":"first","counter":"B-1","witness":"B-2","sheet":"screen"}`},
	{Kind: KindCaseClosed, Subject: SubjectCase, By: ByStation, New: empty[CaseClosed],
		Link: true, Keys: []Key{KeyCase}, Roles: byRecorders, Work: WorkRoom,
		Example: `{"case":"K-2","outcome":"reconciled"}`},
	{Kind: KindListIssued, Subject: SubjectList, By: ByStation, New: empty[ListIssued],
		Keys: []Key{KeyList}, Roles: byLeads,
		Example: `{"list":"LAP","version":2,"title":"L","lines":[{"line":1,"item":"F","description":"F",` +
			`"quantity":6}]}`},
	{Kind: KindSetChecked, Subject: SubjectSet, By: ByStation, New: empty[SetChecked],
		Keys: []Key{KeySheet}, Roles: byRecorders,
		Example: `{"place":"shelf 2"}`},
	{Kind: KindSetReturned, Subject: SubjectSet, By: ByStation, New: empty[SetReturned],
		Keys: []Key{KeyWash}, Roles: byRecorders,
		Example: `{"step":"left-room"}`},
	{Kind: KindPieceReported, Subject: SubjectSet, By: ByStation, New: empty[PieceReported],
		Keys: []Key{}, Roles: byRecorders,
		Example: `{"became":"repair","line":1,"quantity":1}`},
	{Kind: KindIndicatorRead, Subject: SubjectLoad, By: ByStation, New: empty[IndicatorRead],
		Keys: []Key{KeyLoad, KeySterilizer}, Roles: byRecorders, Work: WorkSterilizer,
		Example: `{"load":"S1-1","sterilizer":"S1","result":"negative"}`},
	{Kind: KindRunLogged, Subject: SubjectLoad, By: ByStation, New: empty[RunLogged],
		Keys: []Key{KeyLoad, KeySterilizer}, Roles: byRecordersAndLeads, // handed in wherever somebody has the file
		Example: `{"load":"S1-1","sterilizer":"S1","started":"2026-03-04T07:24:00Z","cycle":{"name":"c",` +
			`"source":"s","lowMilliC":134000,"holdSeconds":180},"figures":{"points":1,"holdMillis":181000,` +
			`"minMilliC":134100,"maxMilliC":135000}}`},
	{Kind: KindSterilizerTested, Subject: SubjectSterilizer, By: ByStation, New: empty[SterilizerTested],
		Keys: []Key{KeySterilizer}, Roles: byRecorders, Work: WorkSterilizer,
		Example: `{"sterilizer":"S1","day":"2026-03-04","test":"bowie-dick","result":"passed"}`},
	{Kind: KindPolicyAdopted, Subject: SubjectSite, By: ByEither, New: empty[PolicyAdopted],
		Keys: []Key{}, Roles: byLeads,
		Example: `{"links":["set.packed","list.sealed","set.sterilized","set.opened","set.counted",` +
			`"case.closed"],"stages":["first","final"],"twoPersons":true,"mayStayUnread":["screen"],` +
			`"recall":"repeat-three-cycles"}`},
	{Kind: KindStationEnrolled, Subject: SubjectStation, By: ByLedger, New: empty[StationEnrolled],
		Keys: []Key{KeyStation}, Roles: byNobody,
		Example: `{"station":"north/or-1","key":"north/or-1+0b9e31ab+AQ5UC0KFet1mvT83VV6nCKShRchoIUby9Gt98tq+u5PI"}`},
	{Kind: KindStationRetired, Subject: SubjectStation, By: ByLedger, New: empty[StationRetired],
		Keys: []Key{KeyStation}, Roles: byNobody,
		Example: `{"station":"north/or-1","reason":"tablet lost"}`},
	{Kind: KindFindingAcknowledged, Subject: SubjectSet, By: ByStation, New: empty[FindingAcknowledged],
		Keys: []Key{}, Roles: byLeads,
		Example: `{"code":"count-short","reason":"found in the drape"}`},
	{Kind: KindIncidentHandled, Subject: SubjectSet, By: ByStation, New: empty[IncidentHandled],
		Keys: []Key{}, Roles: byLeads,
		Example: `{"code":"count-short","step":"closed","text":"found in the drape","outcome":"found",` +
			`"covers":["7K3F9Q2B1X"]}`},
	{Kind: KindEventCorrected, Subject: SubjectEvent, By: ByEither, New: empty[EventCorrected],
		Keys: []Key{KeyEvent}, Roles: byRecordersAndLeads,
		Example: `{"event":"019cae6c-5060-7768-868c-66287f289836","action":"void","reason":"scanned twice"}`},
	{Kind: KindRecordsLost, Subject: SubjectSite, By: ByLedger, New: empty[RecordsLost],
		Keys: []Key{}, Roles: byNobody,
		Example: `{"had":3,"size":2,"reason":"the disk failed","root":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"}`},
	{Kind: KindRecordsMapped, Subject: SubjectSite, By: ByLedger, New: empty[RecordsMapped],
		Keys: []Key{}, Roles: byNobody,
		Example: `{"upto":2,"from":1,"size":2,"root":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"}`},
	{Kind: KindKeyReplaced, Subject: SubjectSite, By: ByLedger, New: empty[KeyReplaced],
		Keys: []Key{}, Roles: byNobody,
		Example: `{"former":"north/ledger+cec61b7f+ASLs+7O04dxoLunbpZHSfyXwFkTH1Wo3gtucP+F+y1Je",` +
			`"key":"north/ledger+bd2a1daa+ARyVa3IdI3XMfIrzH5k96DFHXMKX9/HkcmOU3LIZjZ5z",` +
			`"reason":"it was copied"}`},
	{Kind: KindPersonEntered, Subject: SubjectEntry, By: ByLedger, New: empty[PersonEntered],
		Keys: []Key{KeyEntry}, Roles: byLeadsAndAdministers,
		Example: `{"badge":"B-7","roles":["records"]}`},
	{Kind: KindSetEntered, Subject: SubjectEntry, By: ByLedger, New: empty[SetEntered],
		Keys: []Key{KeyEntry}, Roles: byLeadsAndAdministers,
		Example: `{"set":"LAP-001","list":"LAP"}`},
	{Kind: KindPlaceEntered, Subject: SubjectEntry, By: ByLedger, New: empty[PlaceEntered],
		Keys: []Key{KeyEntry}, Roles: byLeadsAndAdministers,
		Example: `{"place":"shelf"}`},
	{Kind: KindStationEntered, Subject: SubjectEntry, By: ByLedger, New: empty[StationEntered],
		Keys: []Key{KeyEntry}, Roles: byLeadsAndAdministers,
		Example: `{"name":"north/or-1","works":["packing"]}`},
	{Kind: KindSterilizerEntered, Subject: SubjectEntry, By: ByLedger, New: empty[SterilizerEntered],
		Keys: []Key{KeyEntry}, Roles: byLeadsAndAdministers,
		Example: `{"sterilizer":"S1"}`},
	{Kind: KindRegistersAdopted, Subject: SubjectSite, By: ByLedger, New: empty[RegistersAdopted],
		Keys: []Key{}, Roles: byLeadsAndAdministers,
		Example: `{"registers":["people"]}`},
	{Kind: KindAccessClaimed, Subject: SubjectEntry, By: ByStation, New: empty[AccessClaimed],
		Keys: []Key{KeyEntry}, Roles: byRecorders,
		Example: `{"badge":"B-7","reason":"badge left at home"}`},
	{Kind: KindTextsRedacted, Subject: SubjectSite, By: ByLedger, New: empty[TextsRedacted],
		Keys: []Key{}, Roles: byLeadsAndAdministers,
		Example: `{"marks":["sha-256.X9yH0Ajrdm1Oij4tWso9UzzKJvPoDxwmuEcO3XAdRC0"],` +
			`"reason":"asked for by the patient"}`},
	{Kind: KindHoldPlaced, Subject: SubjectSite, By: ByLedger, New: empty[HoldPlaced],
		Keys: []Key{}, Roles: byLeadsAndAdministers,
		Example: `{"hold":"H-1","reason":"claim"}`},
	{Kind: KindHoldLifted, Subject: SubjectSite, By: ByLedger, New: empty[HoldLifted],
		Keys: []Key{}, Roles: byLeadsAndAdministers,
		Example: `{"hold":"H-1","reason":"settled"}`},
	{Kind: KindRetentionAdopted, Subject: SubjectSite, By: ByLedger, New: empty[RetentionAdopted],
		Keys: []Key{}, Roles: byLeadsAndAdministers,
		Example: `{"days":30}`},
	{Kind: KindPlacementsAssessed, Subject: SubjectSite, By: ByStation, New: empty[PlacementsAssessed],
		Keys: []Key{}, Roles: byLeads,
		Example: `{"placements":["outside"],"document":"x"}`},
	{Kind: KindCaseScheduled, Subject: SubjectCase, By: ByStation, New: empty[CaseScheduled],
		Keys: []Key{KeyCase}, Roles: byLeadsAndAdministers,
		Example: `{"case":"K-2","state":"booked","start":"2026-03-04T07:30:00Z"}`},
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

// Line is one numbered line of a list. What stands below the quantity helps people to
// tell the instrument, and a list may leave any of it out.
type Line struct {
	Line        int64  `json:"line"`
	Item        string `json:"item"`
	Description string `json:"description"`
	Quantity    int64  `json:"quantity"`

	Mark        string `json:"mark,omitempty"`        // what is engraved on the instrument, or its colour
	Names       string `json:"names,omitempty"`       // what it is called besides
	Substitutes string `json:"substitutes,omitempty"` // catalog numbers that may be packed in its place
	Parts       int64  `json:"parts,omitzero"`        // how many parts each one comes apart into, 0 where it doesn't
	TrayPlace   string `json:"trayPlace,omitempty"`   // where on the tray it lies

	// Photograph is the hex SHA-256 of a photograph of the instrument, which the site keeps beside the ledger.
	Photograph string `json:"photograph,omitempty"`

	Sort Sort `json:"sort,omitempty"` // on a list of goods: what kind of thing it is
}

// Sort is what kind of thing is counted that belongs to no set: as IFPN's guideline 1002 names the kinds beside
// instruments, in its order.
type Sort string

// The sorts of goods.
const (
	Sponges    Sort = "sponges"     // and swabs, packing, whatever soaks up
	Sharps     Sort = "sharps"      // needles, blades
	SmallItems Sort = "small-items" // what else is counted: vessel loops, clip cartridges, parts of devices
)

// Sorts returns the sorts of goods in the order in which they are counted.
func Sorts() []Sort { return []Sort{Sponges, Sharps, SmallItems} }

// SameToCount reports whether two lines are the same to whoever counts by them.
func (l *Line) SameToCount(o *Line) bool {
	return l.Line == o.Line && l.Item == o.Item && l.Description == o.Description && l.Quantity == o.Quantity && l.Parts == o.Parts
}

// ListIssued makes a version of a list known. Subject: the list id.
type ListIssued struct {
	List    string   `json:"list"`
	Version int64    `json:"version"`
	Title   string   `json:"title"`
	Lines   []Line   `json:"lines"`
	Cycles  []string `json:"cycles,omitempty"` // sterilizer cycles this kind of set may run; any if empty
	// Implants: a set of this list holds implants.
	Implants bool `json:"implants,omitzero"`
	// HighRisk: sets of this list are used on tissues of high risk, so that their pieces are to stay in them.
	HighRisk bool `json:"highRisk,omitzero"`
	// Goods: the list says what is opened and counted in a room and belongs to no set. No set is packed by it; each line has a
	// sort, and its quantity is how many are in a pack.
	Goods bool `json:"goods,omitzero"`
}

func (*ListIssued) Kind() Kind { return KindListIssued }

// Keys implements Data.
func (d *ListIssued) Keys() Keys { return Keys{KeyList: d.List} }

// Check implements Data.
func (d *ListIssued) Check() error {
	var c checks
	c.id("list", d.List)
	c.inRange("version", d.Version, 1, maxCount)
	c.text("title", d.Title)
	n := len(d.Lines)
	c.must(n >= 1 && n <= MaxLines, "the list has %d lines; it has from 1 to %d", n, MaxLines)
	numbers := make(map[int64]struct{}, n)
	for _, l := range d.Lines {
		c.startLine("", l.Line, numbers)
		c.id("item", l.Item)
		c.text("description", l.Description)
		c.inRange("quantity", l.Quantity, 0, maxCount)
		c.optionalText("mark", l.Mark)
		c.optionalText("names", l.Names)
		c.optionalText("substitutes", l.Substitutes)
		c.inRange("parts", l.Parts, 0, maxCount)
		c.optionalText("trayPlace", l.TrayPlace)
		c.optionalDigest("photograph", l.Photograph)
		if d.Goods {
			oneOf(&c, "sort", l.Sort, Sorts()...)
			c.must(l.Quantity > 0, "quantity: a pack has at least one piece")
		} else {
			c.must(l.Sort == "", "sort: only what is on a list of goods has one")
		}
	}
	c.endLines()
	for _, cycle := range d.Cycles {
		c.id("cycle", cycle)
	}
	return c.err
}

// SetPacked starts a trip: a set was assembled against a list version.
type SetPacked struct {
	List        string      `json:"list"`
	Version     int64       `json:"version"`
	Exceptions  []Exception `json:"exceptions,omitempty"`
	WeightGrams int64       `json:"weightGrams,omitzero"`
	Note        string      `json:"note,omitempty" addendum:"text"`
	SecondLook  string      `json:"secondLook,omitempty"` // badge of a second person who looked it over
	// NewSet says that a name that was never packed here is meant, though it is like that of another set.
	NewSet bool `json:"newSet,omitzero"`
}

// Exception is a line whose packed number is not the list's.
type Exception struct {
	Line    int64  `json:"line"`
	Counted int64  `json:"counted"`
	Reason  string `json:"reason" addendum:"own-word"` // missing, substituted, damaged, repair, added, or the site's own word
}

// Reasons why a line was not packed as listed. Of a piece that is damaged or in repair
// is known where it is; of any other word it isn't.
const (
	ReasonMissing     = "missing"
	ReasonSubstituted = "substituted"
	ReasonDamaged     = "damaged"
	ReasonRepair      = "repair"
	ReasonAdded       = "added"
)

func (*SetPacked) Kind() Kind { return KindSetPacked }

// Keys implements Data.
func (d *SetPacked) Keys() Keys { return Keys{KeyList: d.List} }

// Check implements Data.
func (d *SetPacked) Check() error {
	var c checks
	c.id("list", d.List)
	c.inRange("version", d.Version, 1, maxCount)
	c.inRange("weightGrams", d.WeightGrams, 0, maxGrams)
	c.optionalText("note", d.Note)
	c.optionalID("secondLook", d.SecondLook)
	numbers := make(map[int64]struct{}, len(d.Exceptions))
	for _, x := range d.Exceptions {
		c.startLine("exceptions: ", x.Line, numbers)
		c.inRange("counted", x.Counted, 0, maxCount)
		c.text("reason", x.Reason)
	}
	return c.err
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

func (*ListSealed) Kind() Kind { return KindListSealed }

// Keys implements Data. A seal's list is its packing's, and is not looked up.
func (*ListSealed) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *ListSealed) Check() error {
	var c checks
	oneOf(&c, "placement", d.Placement, placements...)
	c.optionalID("list", d.List)
	c.inRange("version", d.Version, 0, maxCount)
	c.each("seal", d.Seals, checkID)
	c.optionalID("bagLot", d.BagLot)
	c.optionalDigest("listDigest", d.ListDigest)
	c.optionalDigest("binding", d.Binding)
	c.optionalCode("", d.Code)
	return c.err
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
	// Emergency is why a load with implants was released before the result of its
	// biological indicator, or any load though that was read positive.
	Emergency string `json:"emergency,omitempty" addendum:"text"`
	// Immediate is why the load was run for immediate use: its sets go from the sterilizer to the case that waits for
	// them, which For names, and are not kept for another one.
	Immediate string `json:"immediate,omitempty" addendum:"text"`
	For       string `json:"for,omitempty" addendum:"case"`
	// Parameters is "met" where whoever releases the load says that the run's printed values meet its cycle, and SecondLook the badge
	// of a second person who looked at them. Without a policy that asks for that nobody is asked.
	Parameters string `json:"parameters,omitempty"`
	SecondLook string `json:"secondLook,omitempty"`
	// Day is the one whose tests the load was released by, where the policy asks for these: 2026-03-04.
	Day string `json:"day,omitempty"`
}

func (*SetSterilized) Kind() Kind { return KindSetSterilized }

// Keys implements Data.
func (d *SetSterilized) Keys() Keys { return Keys{KeyLoad: d.Load, KeySterilizer: d.Sterilizer} }

// Check implements Data.
func (d *SetSterilized) Check() error {
	var c checks
	c.id("load", d.Load)
	c.id("sterilizer", d.Sterilizer)
	c.inRange("run", d.Run, 1, 9999999)
	c.id("cycle", d.Cycle)
	oneOf(&c, "result", d.Result, "passed", "failed")
	c.optionalTime("started", d.Started)
	c.optionalID("loader", d.Loader)
	c.optionalText("emergency", d.Emergency)
	c.optionalText("immediate", d.Immediate)
	c.optionalID("for", d.For)
	c.must(d.Parameters == "" || d.Parameters == ParametersMet, "parameters is %q; it is %q or left out", d.Parameters, ParametersMet)
	c.optionalID("secondLook", d.SecondLook)
	if d.Day != "" {
		c.day("day", d.Day)
	}
	return c.err
}

// ParametersMet is what somebody says who looked at a run's printed values.
const ParametersMet = "met"

// Reading is what was found where a sheet was looked for.
type Reading struct {
	Found      string `json:"found"` // a Placement, or none
	Code       string `json:"code,omitempty"`
	Unreadable bool   `json:"unreadable,omitzero"`
	Text       string `json:"text,omitempty" addendum:"text"` // of an unreadable code: what was typed or scanned of it
	// Pages of how many (Of) were read, ascending, where their symbols say so.
	Pages []int64 `json:"pages,omitempty"`
	Of    int64   `json:"of,omitzero"`
}

// foundWords are those of Reading.Found.
var foundWords = func() (words []string) {
	for _, p := range placements {
		words = append(words, string(p))
	}
	return append(words, FoundNone)
}()

func (r *Reading) check(c *checks) {
	if r == nil {
		return
	}
	oneOf(c, "sheet: found", r.Found, foundWords...)
	c.must(r.Found != FoundNone || r.Code == "" && !r.Unreadable,
		"sheet: found none, yet a code or a damaged code is given")
	c.must(!r.Unreadable || r.Code == "", "sheet: a code is given and called unreadable; give one of the two")
	c.must(r.Text == "" || r.Unreadable, "sheet: text is for a code that can't be read")
	c.optionalText("sheet: text", r.Text)
	c.utf8("sheet: code", r.Code)
	r.checkPages(c)
}

func (r *Reading) checkPages(c *checks) {
	c.must((len(r.Pages) == 0) == (r.Of == 0), "sheet: pages and of are given together, or neither")
	c.inRange("sheet: of", r.Of, 0, maxPages)
	c.must(len(r.Pages) == 0 || r.Code != "" || r.Unreadable, "sheet: pages are given and no code that was read on them")
	before := int64(0)
	for _, n := range r.Pages {
		c.must(n > before && n <= r.Of, "sheet: pages are %v; they go up, from 1 to %d", r.Pages, r.Of)
		before = n
	}
}

// asRead returns the reading with a code that can't be one, by a wrong character
// or a missing one, as an unreadable code: the rest of what was observed must not
// be lost by it. It is r itself where there is none.
func (r *Reading) asRead() *Reading {
	if r == nil || r.Code == "" || r.Unreadable && r.Text != "" || r.Found == FoundNone {
		return r
	}
	if _, err := ParseSheetCode(r.Code); err == nil {
		return r
	}
	c := *r
	c.Code, c.Unreadable, c.Text = "", true, asTyped(r.Code)
	return &c
}

// code returns the sheet code that was read, "" where there is none.
func (r *Reading) code() string {
	if r == nil {
		return ""
	}
	return r.Code
}

// PackageFault is what somebody saw to be wrong with a set's package.
type PackageFault string

// The values of PackageFault.
const (
	PackageWet     PackageFault = "wet"
	PackageTorn    PackageFault = "torn"
	PackageOpen    PackageFault = "open"   // not closed, or no longer
	PackageFilter  PackageFault = "filter" // missing, wrong or displaced
	PackageGasket  PackageFault = "gasket" // missing or damaged
	PackageDropped PackageFault = "dropped"
)

// PackageFaults lists all, in the order in which pages offer them.
func PackageFaults() []PackageFault { return slices.Clone(packageFaults) }

var packageFaults = []PackageFault{PackageWet, PackageTorn, PackageOpen, PackageFilter, PackageGasket, PackageDropped}

// checkPackage refuses what is no fault of a package, and one that stands twice.
func (c *checks) checkPackage(faults []PackageFault) {
	for i, f := range faults {
		oneOf(c, "package", f, packageFaults...)
		c.must(!slices.Contains(faults[:i], f), "package: %s stands twice", f)
	}
}

// Aside says whether a check put a set aside or released it from there.
type Aside string

// The values of Aside.
const (
	AsidePut      Aside = "put-aside"
	AsideReleased Aside = "released"
)

// SetChecked is a scan between the links: storage, case cart.
type SetChecked struct {
	Place      string   `json:"place,omitempty"`
	Tag        string   `json:"tag,omitempty"`
	OuterLabel string   `json:"outerLabel,omitempty"`
	Sheet      *Reading `json:"sheet,omitempty"`
	Seals      []string `json:"seals,omitempty"`
	SealBroken bool     `json:"sealBroken,omitzero"`
	// Package is what is wrong with the package.
	Package []PackageFault `json:"package,omitempty"`
	// Aside: the set is put aside, or released from there for a reason.
	Aside  Aside  `json:"aside,omitempty"`
	Reason string `json:"reason,omitempty" addendum:"text"`
}

func (*SetChecked) Kind() Kind { return KindSetChecked }

// Keys implements Data.
func (d *SetChecked) Keys() Keys { return Keys{KeySheet: d.Sheet.code()} }

// Check implements Data.
func (d *SetChecked) Check() error {
	var c checks
	c.optionalText("place", d.Place)
	c.optionalID("tag", d.Tag)
	c.optionalID("outerLabel", d.OuterLabel)
	d.Sheet.check(&c)
	c.each("seal", d.Seals, checkID)
	c.checkPackage(d.Package)
	if d.Aside != "" {
		oneOf(&c, "aside", d.Aside, AsidePut, AsideReleased)
	}
	c.must(d.Aside != AsideReleased || d.Reason != "", "reason is missing: a set is released for a reason")
	c.optionalText("reason", d.Reason)
	return c.err
}

// ReturnStep is a step of a set on its way back from a case to packing.
type ReturnStep string

// The steps, in their order.
const (
	ReturnLeft      ReturnStep = "left-room" // handed out of the operating room
	ReturnReceived  ReturnStep = "received"  // in the department, before cleaning
	ReturnWashed    ReturnStep = "washed"
	ReturnInspected ReturnStep = "inspected" // after washing, before packing
)

// ReturnSteps lists all, in their order.
func ReturnSteps() []ReturnStep { return slices.Clone(returnSteps) }

var returnSteps = []ReturnStep{ReturnLeft, ReturnReceived, ReturnWashed, ReturnInspected}

// ReturnFault is what somebody saw to be wrong with a set on its way back.
type ReturnFault string

// The values of ReturnFault.
const (
	ReturnSoiled     ReturnFault = "soiled"  // after washing: not clean. Before it: dried on
	ReturnDamaged    ReturnFault = "damaged" // a piece of it
	ReturnIncomplete ReturnFault = "incomplete"
)

// ReturnFaults lists all, in the order in which pages offer them.
func ReturnFaults() []ReturnFault { return slices.Clone(returnFaults) }

var returnFaults = []ReturnFault{ReturnSoiled, ReturnDamaged, ReturnIncomplete}

// SetReturned is a step of a set on its way back from a case to packing.
type SetReturned struct {
	Step  ReturnStep `json:"step"`
	Place string     `json:"place,omitempty"` // where, if not the station
	// Treated at the point of use, of a set that left the room: yes, no. Left out: not said.
	Treated string `json:"treated,omitempty"`
	// Of a set that was washed: the washer, its load, such as W2-0304-03, and which basket or rack of it.
	Washer     string        `json:"washer,omitempty"`
	WasherLoad string        `json:"washerLoad,omitempty"`
	Basket     string        `json:"basket,omitempty"`
	Faults     []ReturnFault `json:"faults,omitempty"`
	// Of a set that a supplier lends, see LoanSteps: who lends it, until when (RFC 3339), the inventory that it was counted by,
	// and where that was otherwise.
	Supplier   string      `json:"supplier,omitempty"`
	Due        string      `json:"due,omitempty"`
	List       string      `json:"list,omitempty"`
	Version    int64       `json:"version,omitzero"`
	Exceptions []Exception `json:"exceptions,omitempty"`
}

func (*SetReturned) Kind() Kind { return KindSetReturned }

// Keys implements Data.
func (d *SetReturned) Keys() Keys { return Keys{KeyWash: d.WasherLoad} }

// Check implements Data.
func (d *SetReturned) Check() error {
	var c checks
	oneOf(&c, "step", d.Step, append(ReturnSteps(), LoanSteps()...)...)
	d.checkLoan(&c)
	c.optionalText("place", d.Place)
	if d.Treated != "" {
		oneOf(&c, "treated", d.Treated, "yes", "no")
	}
	c.optionalID("washer", d.Washer)
	c.optionalID("washerLoad", d.WasherLoad)
	c.optionalText("basket", d.Basket)
	for i, f := range d.Faults {
		oneOf(&c, "faults", f, returnFaults...)
		c.must(!slices.Contains(d.Faults[:i], f), "faults: %s stands twice", f)
	}
	return c.err
}

// Became is what became of pieces of a set.
type Became string

// The values of Became.
const (
	BecameRepair   Became = "repair"   // sent to repair
	BecameBack     Became = "back"     // back from there
	BecameReplaced Became = "replaced" // another one is in its place; the former one is in hand, worn or damaged
	BecameLost     Became = "lost"     // missed: nobody knows where it is
	BecameFound    Became = "found"
)

// Becames lists all, in the order in which pages offer them.
func Becames() []Became { return slices.Clone(becames) }

var becames = []Became{BecameRepair, BecameBack, BecameReplaced, BecameLost, BecameFound}

// PieceReported says what became of pieces of a set. Subject: the set that they belong to, wherever they are.
// The event's trip may name the turn that the report is about, such as that of the case after which a piece was missed.
type PieceReported struct {
	Became Became `json:"became"`
	// Which: a line of the list that the set was packed by last, a catalogue number, or both.
	Line        int64  `json:"line,omitzero"`
	Item        string `json:"item,omitempty"`
	Description string `json:"description,omitempty"`
	Quantity    int64  `json:"quantity"`
	// Where it was found or went to: a place, the washer's load in which it was.
	Place      string `json:"place,omitempty"`
	WasherLoad string `json:"washerLoad,omitempty"`
	Note       string `json:"note,omitempty" addendum:"text"`
}

func (*PieceReported) Kind() Kind { return KindPieceReported }

// Keys implements Data.
func (*PieceReported) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *PieceReported) Check() error {
	var c checks
	oneOf(&c, "became", d.Became, becames...)
	c.inRange("line", d.Line, 0, maxCount)
	c.optionalID("item", d.Item)
	c.must(d.Line > 0 || d.Item != "", "line or item is missing: which piece is meant")
	c.optionalText("description", d.Description)
	c.inRange("quantity", d.Quantity, 1, maxCount)
	c.optionalText("place", d.Place)
	c.optionalID("washerLoad", d.WasherLoad)
	c.optionalText("note", d.Note)
	return c.err
}

// SetOpened says that a set was opened for a case.
type SetOpened struct {
	Case       string   `json:"case" addendum:"case"`
	Room       string   `json:"room,omitempty"`
	Tag        string   `json:"tag,omitempty"`
	OuterLabel string   `json:"outerLabel,omitempty"`
	Sheet      *Reading `json:"sheet,omitempty"`
	Seals      []string `json:"seals,omitempty"`
	SealBroken bool     `json:"sealBroken,omitzero"`
	Indicator  string   `json:"indicator,omitempty"` // the chemical indicator inside: pass, fail, none (there was none)
	// Package is what is wrong with the package.
	Package []PackageFault `json:"package,omitempty"`
}

func (*SetOpened) Kind() Kind { return KindSetOpened }

// Keys implements Data.
func (d *SetOpened) Keys() Keys { return Keys{KeyCase: d.Case, KeySheet: d.Sheet.code()} }

// Check implements Data.
func (d *SetOpened) Check() error {
	var c checks
	if d.Indicator != "" {
		oneOf(&c, "indicator", d.Indicator, "pass", "fail", "none")
	}
	c.id("case", d.Case)
	c.optionalText("room", d.Room)
	c.optionalID("tag", d.Tag)
	c.optionalID("outerLabel", d.OuterLabel)
	d.Sheet.check(&c)
	c.each("seal", d.Seals, checkID)
	c.checkPackage(d.Package)
	return c.err
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

// SheetUnreadable in SetCounted.Sheet: counted against a sheet whose code could
// not be read.
const SheetUnreadable = "unreadable"

// SetCounted is one count of one set.
type SetCounted struct {
	Case    string    `json:"case" addendum:"case"`
	Stage   Stage     `json:"stage"`
	Sheet   string    `json:"sheet"` // the code counted against, screen, or unreadable
	Counter string    `json:"counter"`
	Witness string    `json:"witness,omitempty"`
	Counts  []Count   `json:"counts"`
	Removed []Removed `json:"removed,omitempty"`
	// SheetText is what was typed or scanned of an unreadable code.
	SheetText string `json:"sheetText,omitempty" addendum:"text"`
	// Beyond names the lines of Counts that are on no list.
	Beyond []Beyond `json:"beyond,omitempty"`
	// Goods is the list of goods that was chosen, where the count is of goods that lie with no set of the case. Its subject is
	// then no set but a name for what of them is counted in this one case; each line is one of Beyond.
	Goods string `json:"goods,omitempty"`
	// Paper is where the count comes from, where it was read back from a sheet that was filled in by hand. The event's medium
	// is then paper, its time the one written on the sheet, and its operator who read it back.
	Paper *FromPaper `json:"paper,omitempty"`
}

// FromPaper says of which pages a count was read back, and what a person had to say to it. It is no picture: that is not
// kept unless the site's policy asks for it, and never in a record.
type FromPaper struct {
	Pages []PaperPage `json:"pages,omitempty"` // ascending
	// Typed: a person typed in each number, off a form that no program reads. There are no pages then.
	Typed bool `json:"typed,omitzero"`
	// CheckedBy is the badge of a second person, who held what was read against the sheet.
	CheckedBy string `json:"checkedBy,omitempty"`
	// Asked are the lines, ascending, whose number a person said since the mark alone didn't.
	Asked []int64 `json:"asked,omitempty"`
}

// PaperPage is a page of a sheet that was read back.
type PaperPage struct {
	Page    int64  `json:"page"`
	Of      int64  `json:"of"`
	Picture string `json:"picture"` // hex SHA-256 of the file with the page's picture
	// Marks are what was read in the count's column of the page, a letter a line from top to bottom: t ticked, e empty, a asked.
	// Those of the rows for goods follow the lines', of pages that have such.
	Marks string `json:"marks"`
	// Kept is the hex SHA-256 of the part of the picture that the site keeps.
	Kept string `json:"kept,omitempty"`
}

func (p *FromPaper) check(c *checks, counted map[int64]struct{}) {
	if p == nil {
		return
	}
	c.must(len(p.Pages) > 0 || p.Typed, "paper: no page is named")
	c.must(len(p.Pages) == 0 || !p.Typed, "paper: what is typed in has no pages that were read")
	before := int64(0)
	for _, x := range p.Pages {
		c.inRange("paper: of", x.Of, 1, maxPages)
		c.must(x.Page > before && x.Page <= x.Of, "paper: page %d of %d; pages go up", x.Page, x.Of)
		before = x.Page
		c.must(x.Picture != "", "paper: the picture's digest is missing")
		c.optionalDigest("paper: picture", x.Picture)
		c.optionalDigest("paper: kept", x.Kept)
		c.must(strings.Trim(x.Marks, "tea") == "" && len(x.Marks) <= MaxLines, "paper: marks are one of t, e and a for each line")
	}
	c.optionalID("paper: checkedBy", p.CheckedBy)
	line := int64(0)
	for _, n := range p.Asked {
		c.must(n > line, "paper: asked lines go up")
		line = n
		_, ok := counted[n]
		c.must(ok, "paper: line %d was asked about and is not among the counts", n)
	}
}

// Beyond names a line of a count that is on no set's list: an instrument that was packed
// singly and opened during the case, or goods such as sponges and needles. Who counts gives it a number above the list's,
// the same in all counts of the case.
type Beyond struct {
	Line        int64  `json:"line"`
	Item        string `json:"item,omitempty"` // its catalog number, or the code of its package
	Description string `json:"description"`
	// Added is how many came to the field since the count before; they are in
	// Counts. In a count of stage added Counts says so by itself.
	Added int64 `json:"added,omitzero"`
	Sort  Sort  `json:"sort,omitempty"` // of goods: what kind of thing it is, "" of an instrument
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
	Reason   string `json:"reason" addendum:"text"`
	// Short: the count that records it, or the one signed before it, had the line short when this was said, so it comes out
	// because of it.
	Short bool `json:"short,omitzero"`
	// Stays: it was left in the patient on purpose, as packing is. Whoever takes it out later must know of it.
	Stays bool `json:"stays,omitzero"`
}

func (*SetCounted) Kind() Kind { return KindSetCounted }

// Keys implements Data.
func (d *SetCounted) Keys() Keys {
	k := Keys{KeyCase: d.Case}
	if d.Sheet != SheetScreen && d.Sheet != SheetUnreadable {
		k[KeySheet] = d.Sheet
	}
	return k
}

// asRead returns the count with a code that can't be one as an unreadable code,
// as Reading.asRead does. It is d itself where there is none.
func (d *SetCounted) asRead() *SetCounted {
	if d.Sheet == "" || d.Sheet == SheetScreen || d.Sheet == SheetUnreadable {
		return d
	}
	if _, err := ParseSheetCode(d.Sheet); err == nil {
		return d
	}
	c := *d
	c.Sheet, c.SheetText = SheetUnreadable, asTyped(d.Sheet)
	return &c
}

// Check implements Data.
func (d *SetCounted) Check() error {
	var c checks
	oneOf(&c, "stage", d.Stage, stages...)
	c.id("case", d.Case)
	c.id("counter", d.Counter)
	c.optionalID("witness", d.Witness)
	c.must(d.Sheet != "", "sheet is missing: give the code counted against, %q for the list on the screen, or %q",
		SheetScreen, SheetUnreadable)
	c.utf8("sheet", d.Sheet)
	c.must(d.SheetText == "" || d.Sheet == SheetUnreadable, "sheetText is for a code that can't be read")
	c.optionalText("sheetText", d.SheetText)
	numbers := make(map[int64]struct{}, len(d.Counts))
	for _, x := range d.Counts {
		c.startLine("counts: ", x.Line, numbers)
		c.inRange("counted", x.Counted, 0, maxCount)
	}
	for _, x := range d.Removed {
		// For two reasons a line may stand here twice.
		c.startLine("removed: ", x.Line, nil)
		c.inRange("quantity", x.Quantity, 1, maxCount)
		c.text("reason", x.Reason)
	}
	d.checkBeyond(&c, numbers)
	c.endLines()
	d.checkGoods(&c)
	d.Paper.check(&c, numbers)
	return c.err
}

// checkBeyond refuses a name for a line that was not counted, and an addition that
// stands twice.
func (d *SetCounted) checkBeyond(c *checks, counted map[int64]struct{}) {
	numbers := make(map[int64]struct{}, len(d.Beyond))
	for _, x := range d.Beyond {
		c.startLine("beyond: ", x.Line, numbers)
		c.optionalID("item", x.Item)
		c.text("description", x.Description)
		c.inRange("added", x.Added, 0, maxCount)
		_, ok := counted[x.Line]
		c.must(ok, "it is not among the counts")
		if x.Sort != "" {
			oneOf(c, "sort", x.Sort, Sorts()...)
		}
		c.must(x.Added == 0 || d.Stage != StageAdded, "at stage added the counts say how many came")
	}
}

// checkGoods refuses a line of goods without a set that nothing names.
func (d *SetCounted) checkGoods(c *checks) {
	c.optionalID("goods", d.Goods)
	for _, x := range d.Counts {
		named := slices.ContainsFunc(d.Beyond, func(b Beyond) bool { return b.Line == x.Line })
		c.must(d.Goods == "" || named, "goods: line %d is on no list of a set; name it by beyond", x.Line)
	}
}

// CaseClosed ends a case. Subject: the case reference.
type CaseClosed struct {
	Case    string   `json:"case" addendum:"case"`
	Outcome string   `json:"outcome"` // reconciled, unreconciled
	Actions []string `json:"actions" addendum:"text"`
	Reason  string   `json:"reason,omitempty" addendum:"text"`
	Witness string   `json:"witness,omitempty"`
}

func (*CaseClosed) Kind() Kind { return KindCaseClosed }

// Keys implements Data.
func (d *CaseClosed) Keys() Keys { return Keys{KeyCase: d.Case} }

// Check implements Data.
func (d *CaseClosed) Check() error {
	var c checks
	c.id("case", d.Case)
	oneOf(&c, "outcome", d.Outcome, "reconciled", "unreconciled")
	c.optionalText("reason", d.Reason)
	c.optionalID("witness", d.Witness)
	c.each("action", d.Actions, checkText)
	return c.err
}

// MaxIncubatedMinutes is the longest incubation that is taken: two weeks. The longest that are asked for are seven
// days (from memory).
const MaxIncubatedMinutes = 14 * 24 * 60

// IndicatorRead is a biological indicator's result for a load. Subject: the load id.
type IndicatorRead struct {
	Load       string `json:"load"`
	Sterilizer string `json:"sterilizer"`
	Result     string `json:"result"` // negative, positive
	Lot        string `json:"lot,omitempty"`
	Control    string `json:"control,omitempty"` // what the unprocessed control of the lot showed: positive, negative
	// How long it was incubated when it was read. How long it must be is in its manufacturer's instructions.
	IncubatedMinutes int64 `json:"incubatedMinutes,omitzero"`
	// Started is when the cycle was started, RFC 3339, where the station knows it: of an empty test cycle nothing else
	// says so.
	Started string `json:"started,omitempty"`
}

func (*IndicatorRead) Kind() Kind { return KindIndicatorRead }

// Unproved reports whether a negative result shows nothing, since the unprocessed control
// of the lot, which must grow, was negative too. It is no acceptable negative result
// (CDC 2008, Table 12).
func (d *IndicatorRead) Unproved() bool { return d.Result == "negative" && d.Control == "negative" }

// ShortestCycle is how long a cycle takes at least: in steam of 134 °C the load is held for 3 min
// (from memory), besides all that comes before and after.
const ShortestCycle = 3 * time.Minute

// TooSoon reports whether a negative result was read, at a moment, before a cycle that was started at another one can
// have ended and the indicator can have been incubated for as long as was recorded: it shows nothing of that load.
// Where nobody knows when the cycle was started (zero), it is what it says.
func (d *IndicatorRead) TooSoon(read, started time.Time) bool {
	least := ShortestCycle + time.Duration(d.IncubatedMinutes)*time.Minute
	return d.Result == "negative" && !started.IsZero() && read.Before(started.Add(least))
}

// StartedAt returns when the cycle was started, zero where the record doesn't say so.
func (d *IndicatorRead) StartedAt() time.Time { return timeOf(d.Started) }

// StartedAt returns when the cycle was started, zero where the record doesn't say so.
func (d *SetSterilized) StartedAt() time.Time { return timeOf(d.Started) }

func timeOf(s string) time.Time {
	if s == "" { // as judgement asks again and again
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}
	}
	return t
}

// Keys implements Data.
func (d *IndicatorRead) Keys() Keys { return Keys{KeyLoad: d.Load, KeySterilizer: d.Sterilizer} }

// Check implements Data.
func (d *IndicatorRead) Check() error {
	var c checks
	c.id("load", d.Load)
	c.id("sterilizer", d.Sterilizer)
	oneOf(&c, "result", d.Result, "negative", "positive")
	c.optionalText("lot", d.Lot)
	if d.Control != "" {
		oneOf(&c, "control", d.Control, "negative", "positive")
	}
	c.inRange("incubatedMinutes", d.IncubatedMinutes, 0, MaxIncubatedMinutes)
	c.optionalTime("started", d.Started)
	return c.err
}

// PolicyAdopted puts a site's policy in force from the observed time on.
// Subject: the site.
type PolicyAdopted struct {
	Policy
	Reason string `json:"reason,omitempty" addendum:"text"`
}

func (*PolicyAdopted) Kind() Kind { return KindPolicyAdopted }

// Keys implements Data. A policy is looked up by its site, the event's subject.
func (*PolicyAdopted) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *PolicyAdopted) Check() error {
	var c checks
	c.keep(d.Policy.Check())
	c.optionalText("reason", d.Reason)
	return c.err
}

// RecordsLost declares that the ledger once held records that it doesn't hold any more, such as where it was put back
// from an older copy. It is signed by the ledger's own key. Subject: the site.
type RecordsLost struct {
	Size   int64  `json:"size"`           // records there were when it was declared
	Had    int64  `json:"had"`            // records there had been
	Root   string `json:"root,omitempty"` // RFC 6962 root of those, lower-case hex, where it is known
	Reason string `json:"reason" addendum:"text"`
}

func (*RecordsLost) Kind() Kind { return KindRecordsLost }

// Keys implements Data. A loss is looked up by its site, the event's subject.
func (*RecordsLost) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *RecordsLost) Check() error {
	var c checks
	c.inRange("size", d.Size, 0, maxRecords)
	c.inRange("had", d.Had, 1, maxRecords)
	c.optionalDigest("root", d.Root)
	c.text("reason", d.Reason)
	return c.err
}

// First returns the number of the first record that is missing or another one than it was, 0 where that isn't known:
// records were taken since.
func (d *RecordsLost) First() int64 {
	if d.Size < d.Had {
		return d.Size + 1
	}
	return 0
}

// RecordsMapped says which record is the newest about each set, case, load, list, station and site, by the root of a tree
// over all of these. It is signed by the ledger's own key. From it a reader walks back over the links in the records'
// arrival lines, and sees that nothing was left out. Subject: the site.
type RecordsMapped struct {
	Upto int64  `json:"upto"` // the record that the newest is known up to
	From int64  `json:"from"` // the first record that has links, 0 for none; those before it are not in the tree
	Size int64  `json:"size"` // how many keys the tree has
	Root string `json:"root"` // RFC 6962 root, lower-case hex, of the lines "<key> <last> <count>\n" in order
}

func (*RecordsMapped) Kind() Kind { return KindRecordsMapped }

// Keys implements Data.
func (*RecordsMapped) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *RecordsMapped) Check() error {
	var c checks
	c.inRange("upto", d.Upto, 0, maxRecords)
	c.inRange("from", d.From, 0, maxRecords)
	c.inRange("size", d.Size, 0, maxRecords)
	c.must(d.Root != "", "root is missing")
	c.optionalDigest("root", d.Root)
	return c.err
}

// KeyReplaced hands the ledger on to another key of its own. It is signed by the former one, and the last record that
// is; every checkpoint that covers it is signed by the new one. Subject: the site.
type KeyReplaced struct {
	Former string `json:"former"` // C2SP signed-note verifier key
	Key    string `json:"key"`    // the one that takes over
	Reason string `json:"reason" addendum:"text"`
}

func (*KeyReplaced) Kind() Kind { return KindKeyReplaced }

// Keys implements Data.
func (*KeyReplaced) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *KeyReplaced) Check() error {
	var c checks
	former, err := note.NewVerifier(d.Former)
	c.must(err == nil, "former is not a signed-note verifier key (name+hash+base64)")
	v, err := note.NewVerifier(d.Key)
	c.must(err == nil, "key is not a signed-note verifier key (name+hash+base64)")
	if c.err != nil {
		return c.err
	}
	c.must(ReservedStation(v.Name()), "the key is named %q, which is no ledger's name", v.Name())
	c.must(former.Name() == v.Name(), "the keys are named %q and %q, and are to be of one ledger", former.Name(), v.Name())
	c.must(d.Former != d.Key, "the key replaces itself")
	c.text("reason", d.Reason)
	return c.err
}

// StationEnrolled lets a station record. It is signed by the ledger's own key.
// Subject: the station.
type StationEnrolled struct {
	Station string `json:"station"`
	Key     string `json:"key"` // C2SP signed-note verifier key
	Reason  string `json:"reason,omitempty" addendum:"text"`
}

func (*StationEnrolled) Kind() Kind { return KindStationEnrolled }

// Keys implements Data.
func (d *StationEnrolled) Keys() Keys { return Keys{KeyStation: d.Station} }

// Check implements Data.
func (d *StationEnrolled) Check() error {
	var c checks
	c.station(d.Station)
	if c.err != nil {
		return c.err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return fmt.Errorf("key of %s is not a signed-note verifier key (name+hash+base64)", d.Station)
	}
	c.must(v.Name() == d.Station,
		"the key is named %q, the station %q; a station's key carries its name", v.Name(), d.Station)
	c.optionalText("reason", d.Reason)
	return c.err
}

// StationRetired ends a station's right to record. Signed by the ledger's key.
type StationRetired struct {
	Station string `json:"station"`
	Reason  string `json:"reason" addendum:"text"`
	// AsOf is the moment up to which what the station signed counts, RFC 3339, where that is before the retirement: a tablet was
	// lost then. What it observed later is doubtful, whether it came before the retirement or after it.
	AsOf string `json:"asOf,omitempty"`
}

// EndsAt returns the moment from which the station's key is no longer in force; recorded is the event's own time.
func (d *StationRetired) EndsAt(recorded time.Time) time.Time {
	if at := d.Moment(); !at.IsZero() && at.Before(recorded) {
		return at
	}
	return recorded
}

// Moment is AsOf, zero where none is given.
func (d *StationRetired) Moment() time.Time { return timeOf(d.AsOf) }

func (*StationRetired) Kind() Kind { return KindStationRetired }

// Keys implements Data.
func (d *StationRetired) Keys() Keys { return Keys{KeyStation: d.Station} }

// Check implements Data.
func (d *StationRetired) Check() error {
	var c checks
	c.station(d.Station)
	c.text("reason", d.Reason)
	c.optionalTime("asOf", d.AsOf)
	return c.err
}

// FindingAcknowledged records that a person has taken note of a finding. It hides nothing.
// Subject: the set; the trip is the event's.
type FindingAcknowledged struct {
	Code   string `json:"code"`
	Reason string `json:"reason" addendum:"text"`
}

func (*FindingAcknowledged) Kind() Kind { return KindFindingAcknowledged }

// Keys implements Data. An acknowledgement is looked up by its trip.
func (*FindingAcknowledged) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *FindingAcknowledged) Check() error {
	var c checks
	c.id("code", d.Code)
	c.text("reason", d.Reason)
	return c.err
}

// EventCorrected voids an earlier event or replaces its data; the original stays.
type EventCorrected struct {
	Event  string         `json:"event"`
	Action string         `json:"action"` // void, replace
	Reason string         `json:"reason" addendum:"text"`
	Data   jsontext.Value `json:"data,omitempty"` // replace: the whole data of the event's kind
}

func (*EventCorrected) Kind() Kind { return KindEventCorrected }

// Keys implements Data.
func (d *EventCorrected) Keys() Keys { return Keys{KeyEvent: d.Event} }

// Check implements Data.
func (d *EventCorrected) Check() error {
	var c checks
	c.uuid("event", d.Event)
	oneOf(&c, "action", d.Action, "void", "replace")
	c.text("reason", d.Reason)
	c.must((d.Action == "replace") == (len(d.Data) > 0),
		"action %s: data is given with replace, and only then", d.Action)
	return c.err
}

// Unknown keeps an event whose kind or version this program doesn't know.
type Unknown struct {
	Type string
	Raw  jsontext.Value
}

func (*Unknown) Kind() Kind { return "" }

// Keys implements Data.
func (*Unknown) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *Unknown) Check() error { return nil }
