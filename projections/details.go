package projections

import (
	"listbound/events"
	"listbound/projections/run"
	"slices"
	"strings"
	"time"
)

// Detail is what a finding says of its case, as data: one struct for each way
// in which a code comes about. Sentences are made from it when it is shown
// (package words); programs read it as the member detail.
type Detail interface {
	// Way names the way in which the finding came about, within its code.
	Way() string
}

// Place is where something was observed: a load of a sterilizer, or a place as
// people name it.
type Place struct {
	Load string `json:"load,omitempty"`
	Name string `json:"name,omitempty"`
}

// String names the place in English, as findings and verdicts always have.
func (p Place) String() string {
	if p.Load != "" {
		return "load " + p.Load
	}
	return p.Name
}

// Same reports whether two places are one, as people write them.
func (p Place) Same(q Place) bool {
	return strings.EqualFold(p.Load, q.Load) && strings.EqualFold(p.Name, q.Name)
}

// Moment is one observation that a finding tells of.
type Moment struct {
	Seq   int64     `json:"seq"`
	At    time.Time `json:"at"`
	Place Place     `json:"place"`
}

// Window is the time in which two sheets can have been exchanged, by the clocks
// of the stations, which may differ by ClockSeconds. A scan is a sighting: where
// a set was between two of them, nobody has seen. Places are named only where
// both sets were seen there before and after all of the window and nowhere else
// meanwhile.
type Window struct {
	From         time.Time  `json:"from"`
	To           time.Time  `json:"to"`
	ClockSeconds int64      `json:"clockSeconds,omitzero"`
	Places       []Place    `json:"places,omitempty"`
	Seen         *SeenBoth  `json:"seen,omitempty"`
	IfScanned    *IfScanned `json:"ifScanned,omitempty"`
}

// SeenBoth is the last place where both sets were seen by the end of a window,
// the first of them nowhere else until the other was. Together: at one moment, as
// far as the clocks tell.
type SeenBoth struct {
	Place    Place     `json:"place"`
	Set      string    `json:"set"`
	At       time.Time `json:"at"`
	Other    string    `json:"other"`
	OtherAt  time.Time `json:"otherAt"`
	Together bool      `json:"together,omitzero"`
}

// First returns the earlier of the two sightings.
func (s *SeenBoth) First() time.Time {
	if s.OtherAt.Before(s.At) {
		return s.OtherAt
	}
	return s.At
}

// Last returns the later of the two sightings.
func (s *SeenBoth) Last() time.Time {
	if s.OtherAt.After(s.At) {
		return s.OtherAt
	}
	return s.At
}

// IfScanned is what a window comes to if no move went unscanned and no set that
// nobody read had the sheet meanwhile: the times at which both were at one place, and
// those places. Where the sheet can have come by way of others that were read, it is
// from the set that was found with it to any of Sets.
type IfScanned struct {
	From   time.Time `json:"from"`
	To     time.Time `json:"to"`
	Places []Place   `json:"places"`
	Sets   []string  `json:"sets,omitempty"` // those that it can have come from, where there are several
}

// ListVersion names a version of a list.
type ListVersion struct {
	List    string `json:"list"`
	Version int64  `json:"version"`
}

// Changes says in which lines the sheet that was found differs from the right
// one.
type Changes struct {
	Known bool         `json:"known"` // both lists are known here
	Lines []LineChange `json:"lines,omitempty"`
}

// LineChange is a line in which two lists differ: as it stands on the sheet
// that was found, and as it is right. One is nil where that list lacks it.
type LineChange struct {
	Line    int64        `json:"line"`
	OnSheet *events.Line `json:"onSheet,omitempty"`
	Right   *events.Line `json:"right,omitempty"`
}

// LineCount is a line that was counted otherwise than expected. Item and
// Description are empty for a line that is not on the list.
type LineCount struct {
	Line        int64  `json:"line"`
	Item        string `json:"item,omitempty"`
	Description string `json:"description,omitempty"`
	Beyond      bool   `json:"beyond,omitzero"` // on no list: the counts name it
	Expected    int64  `json:"expected"`
	Counted     int64  `json:"counted"`
}

// CountDiffers is one count and the lines in which it differs.
type CountDiffers struct {
	Stage   events.Stage `json:"stage"`
	At      time.Time    `json:"at"`
	Lines   []LineCount  `json:"lines"`
	LeftOut bool         `json:"leftOut,omitzero"` // the final count came later and left these lines out
}

// CountsDiffer are counts in which lines differ, in order.
type CountsDiffer []CountDiffers

// LinesLeftOut returns how many of the lines the final count left out.
func (c CountsDiffer) LinesLeftOut() int {
	n := 0
	for i := range c {
		if c[i].LeftOut {
			n += len(c[i].Lines)
		}
	}
	return n
}

// Run is one sterilizer run of a set.
type Run struct {
	Load       string    `json:"load"`
	Sterilizer string    `json:"sterilizer"`
	Run        int64     `json:"run"`
	Cycle      string    `json:"cycle"`
	Result     string    `json:"result"`
	Released   bool      `json:"released"`
	At         time.Time `json:"at"`
}

// UsedAgain: opened again, or counted for another case, without having been
// reprocessed since it was first opened (not-reprocessed).
type UsedAgain struct {
	Set          string  `json:"set"`
	First        Moment  `json:"first"`
	FirstCase    string  `json:"firstCase"`
	Second       Moment  `json:"second"`
	SecondCase   string  `json:"secondCase"`
	Counted      bool    `json:"counted,omitzero"`      // the second use is a count, not an opening
	FirstCounted bool    `json:"firstCounted,omitzero"` // and so is the first
	Back         *Moment `json:"back,omitempty"`        // seen back where it had been before it was opened
	Run          *Run    `json:"run,omitempty"`         // the last run in between, which released nothing
	// The names under which it was opened, where they were another set's.
	FirstName  string `json:"firstName,omitempty"`
	SecondName string `json:"secondName,omitempty"`
}

// TwoCases reports whether two patients are concerned.
func (d *UsedAgain) TwoCases() bool { return d.FirstCase != d.SecondCase }

// OpenedLate: opened again for one case, after it was closed or so late that it
// is hardly the same operation (not-reprocessed, doubtful).
type OpenedLate struct {
	Set    string    `json:"set"`
	Case   string    `json:"case"`
	First  Moment    `json:"first"`
	Second Moment    `json:"second"`
	Closed time.Time `json:"closed,omitzero"`
	Seen   *Moment   `json:"seen,omitempty"` // its tray, out of the room in between
}

// SeenBack: opened, and seen afterwards where it had been before, without having
// been reprocessed (not-reprocessed; doubtful, noted where it was counted or has been
// packed again).
type SeenBack struct {
	Set          string  `json:"set"`
	Case         string  `json:"case"`
	Opened       Moment  `json:"opened"`
	FirstCounted bool    `json:"firstCounted,omitzero"` // nobody opened it; this is its first count
	Back         Moment  `json:"back"`
	Counted      *Moment `json:"counted,omitempty"` // its last count for the case before that
	Righted      *Moment `json:"righted,omitempty"` // packed again
}

// ReprocessingUnknown: used again, and neither a reprocessing in between nor any
// packing of the set is recorded here: a set of another house, or lent, may have been
// reprocessed there (not-reprocessed, doubtful).
type ReprocessingUnknown struct {
	Set          string  `json:"set"`
	First        Moment  `json:"first"`
	FirstCase    string  `json:"firstCase"`
	Second       Moment  `json:"second"`
	SecondCase   string  `json:"secondCase"`
	Counted      bool    `json:"counted,omitzero"`      // as in UsedAgain
	FirstCounted bool    `json:"firstCounted,omitzero"` // as in UsedAgain
	Back         *Moment `json:"back,omitempty"`        // as in UsedAgain
}

// TwoCases reports whether two patients are concerned.
func (d *ReprocessingUnknown) TwoCases() bool { return d.FirstCase != d.SecondCase }

// RunUnpacked: run again between two cases, without being packed in between
// (not-reprocessed, doubtful), or packed only after that run (broken).
type RunUnpacked struct {
	Set          string  `json:"set"`
	First        Moment  `json:"first"`
	FirstCase    string  `json:"firstCase"`
	FirstCounted bool    `json:"firstCounted,omitzero"` // the first use is a count, not an opening
	Second       Moment  `json:"second"`
	SecondCase   string  `json:"secondCase"`
	Run          Run     `json:"run"`
	Packed       *Moment `json:"packed,omitempty"` // after the run
}

// RunUnprepared: run again after a failed run, without being packed in between
// (not-reprocessed, noted).
type RunUnprepared struct {
	Set    string `json:"set"`
	Failed Run    `json:"failed"`
	Run    Run    `json:"run"`
}

// WentBack: a set that nobody had opened went back to be cleaned, and lies as if it were
// sterile or was opened, without being packed and run since (not-reprocessed).
type WentBack struct {
	Set    string  `json:"set"`
	Back   Moment  `json:"back"` // the first step of its way back
	Opened *Moment `json:"opened,omitempty"`
	Case   string  `json:"case,omitempty"`
	Run    *Run    `json:"run,omitempty"` // in which it was after that, without being packed
}

// PackedUnclean: it was not clean on its way back, and was packed with no washing recorded since (not-reprocessed).
type PackedUnclean struct {
	Set    string  `json:"set"`
	Seen   Moment  `json:"seen"` // that it was not clean
	Packed Moment  `json:"packed"`
	Opened *Moment `json:"opened,omitempty"` // after it
}

// DamagedPacked: a piece of it was said to be damaged on its way back, nothing is recorded of what became of it, and
// the set was packed with all that its list has (link-missing).
type DamagedPacked struct {
	Set    string  `json:"set"`
	Seen   Moment  `json:"seen"` // that a piece is damaged, last
	Packed Moment  `json:"packed"`
	Opened *Moment `json:"opened,omitempty"` // after it
}

// StepsBackMissing: it was used, and packed again without steps of its way back that the policy asks for (link-missing).
type StepsBackMissing struct {
	Set     string              `json:"set"`
	Case    string              `json:"case"` // that it was used in before
	Missing []events.ReturnStep `json:"missing"`
	Packed  Moment              `json:"packed"`
	Opened  *Moment             `json:"opened,omitempty"` // after it
	Again   *Moment             `json:"again,omitempty"`  // packed again after that
}

// AnotherSetsSheet: the code read belongs to another set (sheet-swapped).
type AnotherSetsSheet struct {
	Set      string    `json:"set"`
	Sheet    TripKey   `json:"sheet"`             // whose it is
	Altered  bool      `json:"altered,omitzero"`  // and its content is not what was sealed for that set
	Unbound  bool      `json:"unbound,omitzero"`  // nothing was: it is not of the list which that set was packed by
	First    Moment    `json:"first"`             // the first reading that showed it
	Last     Moment    `json:"last"`              // and the last
	Times    int       `json:"times"`             // readings that showed it
	Ring     []TripKey `json:"ring,omitempty"`    // each has the sheet of the next, the last that of the first
	Back     *Moment   `json:"back,omitempty"`    // the sheet is back with its own set, and this one was not read since
	Changes  Changes   `json:"changes"`           // against this set's list
	Window   Window    `json:"window"`            // in which it can have been exchanged
	Label    bool      `json:"label,omitzero"`    // the label outside is the other set's too
	Righted  *Moment   `json:"righted,omitempty"` // read with its own sheet before use
	Unopened bool      `json:"unopened,omitzero"` // nobody has opened the set yet
}

// TrayWithSheet: under a set's name another tray was found, with a sheet that
// does not belong to it (sheet-swapped).
type TrayWithSheet struct {
	Set     string  `json:"set"`   // as recorded
	Tray    string  `json:"tray"`  // by the tag
	Sheet   TripKey `json:"sheet"` // whose the sheet is
	At      Moment  `json:"at"`
	Righted *Moment `json:"righted,omitempty"`
}

// AnotherPacking: the set's own sheet of another packing (sheet-stale).
type AnotherPacking struct {
	Set     string    `json:"set"`
	Sheet   TripKey   `json:"sheet"`
	Packed  time.Time `json:"packed,omitzero"`  // when that packing was; zero: not recorded
	Later   bool      `json:"later,omitzero"`   // it came after this one
	Altered bool      `json:"altered,omitzero"` // and its content is not what was sealed then
	Unbound bool      `json:"unbound,omitzero"` // nothing was: it is not of the list packed by then
	At      Moment    `json:"at"`
	Changes Changes   `json:"changes"`
	Righted *Moment   `json:"righted,omitempty"`
}

// OtherContent: right set and trip, other content than was sealed (sheet-altered).
type OtherContent struct {
	Set      string  `json:"set"`
	At       Moment  `json:"at"`
	Replaced *Moment `json:"replaced,omitempty"` // it is an earlier sheet, replaced then
	Righted  *Moment `json:"righted,omitempty"`
}

// UnboundSheet: right set and trip, but not the list that the set was packed by, and
// no sheet was bound to it (sheet-altered).
type UnboundSheet struct {
	Set     string      `json:"set"`
	At      Moment      `json:"at"`
	Packed  ListVersion `json:"packed"`
	Righted *Moment     `json:"righted,omitempty"`
}

// SealedOther: sealed with a sheet of another list or version than the set was
// packed by (sheet-altered).
type SealedOther struct {
	Set    string      `json:"set"`
	At     Moment      `json:"at"`
	Packed ListVersion `json:"packed"`
	Sealed ListVersion `json:"sealed"`
}

// SealFalse: the digests in a seal are not those of the list it names (sheet-altered).
type SealFalse struct {
	Set    string      `json:"set"`
	At     Moment      `json:"at"`
	Packed ListVersion `json:"packed"`
}

// NoSuchSheet: the code belongs to nothing that is recorded here (sheet-unknown).
type NoSuchSheet struct {
	Set     string  `json:"set"`
	At      Moment  `json:"at"`
	OwnTrip bool    `json:"ownTrip,omitzero"` // it names this packing, whose list is not known
	Righted *Moment `json:"righted,omitempty"`
}

// Unreadable: the code on the sheet is damaged (sheet-unreadable).
type Unreadable struct {
	Set     string  `json:"set"`
	At      Moment  `json:"at"`
	Text    string  `json:"text,omitempty"` // what was typed or scanned of it
	Good    *Moment `json:"good,omitempty"` // read and right by the opening
	Righted *Moment `json:"righted,omitempty"`
	Read    *Moment `json:"read,omitempty"`   // read and right soon after the opening
	Counted bool    `json:"counted,omitzero"` // by counting against it
}

// CountedUnreadable: a count was made against a sheet whose code is damaged
// (sheet-unreadable).
type CountedUnreadable struct {
	Set    string    `json:"set"`
	Counts []StageAt `json:"counts"`
	Texts  []string  `json:"texts,omitempty"` // what was typed or scanned of it
	Again  *StageAt  `json:"again,omitempty"` // counted against its own sheet or the screen since
}

// NoSheet: nothing was found where a sheet was sealed (sheet-absent).
type NoSheet struct {
	Set       string           `json:"set"`
	At        Moment           `json:"at"`
	Placement events.Placement `json:"placement"`
	On        *TripKey         `json:"on,omitempty"` // the set it was found on
	Found     *Moment          `json:"found,omitempty"`
	Righted   *Moment          `json:"righted,omitempty"`
	Read      *Moment          `json:"read,omitempty"` // the set was read with it, by its tag, soon after the opening
}

// ProbablyWrong: the set's sheet was found on another set, or that one was
// counted by it, and this set has not been read since (sheet-in-doubt).
type ProbablyWrong struct {
	Set      string   `json:"set"`
	On       string   `json:"on"` // the other set
	At       Moment   `json:"at"`
	Counted  bool     `json:"counted,omitzero"`  // not read there: counted by it
	Gone     *Moment  `json:"gone,omitempty"`    // read again, the other set no longer had it
	Own      *Moment  `json:"own,omitempty"`     // read again, the other set had its own
	Carries  *TripKey `json:"carries,omitempty"` // whose sheet this set probably has, if not none or a third set's
	Changes  *Changes `json:"changes,omitempty"` // of that sheet against this set's list
	Window   Window   `json:"window"`
	Unopened bool     `json:"unopened,omitzero"`
	// TagUnread: the tag on the other tray was not read. The labels can have been
	// exchanged instead of the sheets.
	TagUnread bool `json:"tagUnread,omitzero"`
}

// Moved: the right sheet, elsewhere than sealed (sheet-moved).
type Moved struct {
	Set     string           `json:"set"`
	At      Moment           `json:"at"`
	Found   events.Placement `json:"found"`
	Sealed  events.Placement `json:"sealed"`
	Righted *Moment          `json:"righted,omitempty"`
}

// ReadWhileClosed: the right sheet, closed inside the set and read though nobody has opened the set
// (sheet-moved).
type ReadWhileClosed struct {
	Set    string           `json:"set"`
	At     Moment           `json:"at"`
	Sealed events.Placement `json:"sealed"`
}

// SheetSide is what the sheet says where label and tag disagree.
type SheetSide string

// The sides a sheet can take.
const (
	SideUnread  SheetSide = "unread"
	SideAbsent  SheetSide = "absent"
	SideTray    SheetSide = "tray"
	SideNeither SheetSide = "neither"
)

// LabelAgainstTray: outer label and tag on the tray disagree, or the outer label
// and the record, where no tag was read (label-swapped).
type LabelAgainstTray struct {
	Set       string    `json:"set"`
	Tray      string    `json:"tray"` // by the tag; as recorded, where none was read
	TagUnread bool      `json:"tagUnread,omitzero"`
	Label     string    `json:"label"`
	At        Moment    `json:"at"`
	Sheet     SheetSide `json:"sheet"`
	Righted   *Moment   `json:"righted,omitempty"`
}

// TagNotRead: opened without the tag on the tray being read (tag-unread).
type TagNotRead struct {
	Set   string  `json:"set"`
	At    Moment  `json:"at"`
	Label bool    `json:"label,omitzero"` // the label outside was read
	Sheet bool    `json:"sheet,omitzero"` // and so was the sheet
	Read  *Moment `json:"read,omitempty"` // the tag was read soon after
}

// AnotherSetsRecord: tag and label agree, and both name another set than the
// record (label-swapped).
type AnotherSetsRecord struct {
	Set  string `json:"set"`
	Tray string `json:"tray"`
	At   Moment `json:"at"`
}

// UnderAnotherName: this set's tray, with its own sheet, was found under the
// name of another set (label-swapped).
type UnderAnotherName struct {
	Set     string  `json:"set"`
	Name    TripKey `json:"name"`
	At      Moment  `json:"at"`
	Righted *Moment `json:"righted,omitempty"`
}

// OpenedAsAnother: this set's tray, by its tag, was opened under the name of
// another set (label-swapped).
type OpenedAsAnother struct {
	Set   string  `json:"set"`
	Name  TripKey `json:"name"`
	Case  string  `json:"case"`
	At    Moment  `json:"at"`
	Read  *Moment `json:"read,omitempty"` // the tag, where that was only after the opening
	Sheet bool    `json:"sheet,omitzero"` // its own sheet lay there
	Own   *Moment `json:"own,omitempty"`  // opened as itself for that case, by its tag
}

// SeenAsAnother: this set's tag was read on a tray seen under the name of
// another set (label-swapped, doubtful).
type SeenAsAnother struct {
	Set     string  `json:"set"`
	Name    TripKey `json:"name"`
	At      Moment  `json:"at"`
	Righted *Moment `json:"righted,omitempty"`
}

// PackedAsAnother: a tray that had been opened under the name of another set bore its
// tag again after that set was packed, and was not packed as itself in between: it was
// probably packed under that name (label-swapped, doubtful). Told of both sets.
type PackedAsAnother struct {
	Tray   string  `json:"tray"` // by its tag
	Name   TripKey `json:"name"` // as what it was packed
	Opened Moment  `json:"opened"`
	Packed Moment  `json:"packed"`
	At     Moment  `json:"at"` // its tag, read under that name again
}

// SealsDiffer: seal numbers broken, missing or others than recorded (seal-differs).
type SealsDiffer struct {
	Set     string   `json:"set"`
	At      Moment   `json:"at"`
	Broken  bool     `json:"broken,omitzero"`
	Gone    []string `json:"gone,omitempty"`    // recorded, not there
	Strange []string `json:"strange,omitempty"` // there, not recorded
}

// LockTwice: the number of its lock is recorded of another set that was closed at the same time (seal-differs).
type LockTwice struct {
	Set      string `json:"set"`
	Lock     string `json:"lock"`
	At       Moment `json:"at"`
	OtherSet string `json:"otherSet"`
	OtherAt  Moment `json:"otherAt"`
}

// OverWeight: packed heavier than the policy allows (over-weight).
type OverWeight struct {
	Set    string `json:"set"`
	At     Moment `json:"at"`
	Grams  int64  `json:"grams"`
	Limit  int64  `json:"limit"`
	Opened bool   `json:"opened,omitzero"`
}

// NoSecondLook: packed without a second person having looked it over, though the
// policy asks for one with sets of its list (second-look-missing).
type NoSecondLook struct {
	Set    string `json:"set"`
	List   string `json:"list"`
	At     Moment `json:"at"`
	Badge  string `json:"badge,omitempty"` // in both roles, where it is one
	Opened bool   `json:"opened,omitzero"`
}

// PlacedAgainstPolicy: the count sheet was put where the policy in force doesn't have it (placed-otherwise).
type PlacedAgainstPolicy struct {
	Set       string             `json:"set"`
	List      string             `json:"list"`
	At        Moment             `json:"at"`
	Placement events.Placement   `json:"placement"`
	Allowed   []events.Placement `json:"allowed"`
	Opened    bool               `json:"opened,omitzero"`
}

// IndicatorUnseen: opened without it being recorded what the chemical indicator
// inside shows (indicator-unseen).
type IndicatorUnseen struct {
	Set string `json:"set"`
	At  Moment `json:"at"`
}

// NoIndicator: there was no chemical indicator inside (indicator-unseen).
type NoIndicator struct {
	Set string `json:"set"`
	At  Moment `json:"at"`
}

// ImplantEarly: a set with implants was opened before the biological indicator of
// its load was read negative (implant-early).
type ImplantEarly struct {
	Set       string    `json:"set"`
	At        Moment    `json:"at"`
	Run       Run       `json:"run"`
	Emergency string    `json:"emergency,omitempty"` // the reason for releasing it early, as recorded
	Negative  time.Time `json:"negative,omitzero"`   // when it was read negative, later
	Unproved  time.Time `json:"unproved,omitzero"`   // when it was read negative, and the unprocessed control too
	TooSoon   time.Time `json:"tooSoon,omitzero"`    // when it was read negative, before its cycle can have ended
}

// PackageFaulty: the package was found wet, torn or otherwise faulty (package-unfit).
type PackageFaulty struct {
	Set      string                `json:"set"`
	At       Moment                `json:"at"`
	Faults   []events.PackageFault `json:"faults"`
	Opening  bool                  `json:"opening,omitzero"`  // as it was opened
	Unopened bool                  `json:"unopened,omitzero"` // nobody has opened the set yet
	Released *Moment               `json:"released,omitempty"`
	Reason   string                `json:"reason,omitempty"`  // of the release
	Righted  *Moment               `json:"righted,omitempty"` // packed anew, unused
}

// ShelfLifeOver: opened longer after its run than the policy allows, or still
// unopened by then (package-unfit).
type ShelfLifeOver struct {
	Set    string    `json:"set"`
	Run    Run       `json:"run"`
	Days   int64     `json:"days"` // what the policy allows
	Until  time.Time `json:"until"`
	Opened *Moment   `json:"opened,omitempty"`
}

// UsedAside: opened or counted although it had been put aside (put-aside).
type UsedAside struct {
	Set    string `json:"set"`
	Aside  Moment `json:"aside"`
	Reason string `json:"reason,omitempty"`
	Used   Moment `json:"used"`
	Case   string `json:"case"`
}

// WaitsAside: put aside, and neither released nor reprocessed since (put-aside).
type WaitsAside struct {
	Set    string `json:"set"`
	Aside  Moment `json:"aside"`
	Reason string `json:"reason,omitempty"`
}

// StepsMissing: required links are absent although a later one is there
// (link-missing).
type StepsMissing struct {
	Set      string        `json:"set"`
	Missing  []events.Kind `json:"missing"`
	By       events.Kind   `json:"by"` // the later link
	At       time.Time     `json:"at"`
	Repacked time.Time     `json:"repacked,omitzero"` // shown by the next packing instead
}

// OpenedUnread: opened without its sheet being read (link-missing).
type OpenedUnread struct {
	Set       string           `json:"set"`
	At        Moment           `json:"at"`
	Placement events.Placement `json:"placement"`
	Read      *Moment          `json:"read,omitempty"`   // read soon after
	Counted   bool             `json:"counted,omitzero"` // by counting against it
}

// OutOfOrder: a step was observed before one that comes first (link-out-of-order).
type OutOfOrder struct {
	Set      string      `json:"set"`
	Step     events.Kind `json:"step"`
	StepAt   time.Time   `json:"stepAt"`
	Before   events.Kind `json:"before"` // the step that should have come first
	BeforeAt time.Time   `json:"beforeAt"`
}

// PackedAfterRun: packed again after its run, and opened without another
// (link-out-of-order).
type PackedAfterRun struct {
	Set    string    `json:"set"`
	Load   string    `json:"load"`
	Run    time.Time `json:"run"`
	Packed time.Time `json:"packed"`
	Opened time.Time `json:"opened"`
}

// ClosedAfterRun: the container was closed after its run began, with new locks or with the sheet inside,
// and was in no load since (link-out-of-order).
type ClosedAfterRun struct {
	Set       string           `json:"set"`
	Run       Run              `json:"run"`
	Started   time.Time        `json:"started,omitzero"` // of a run that had not ended by then
	Closed    Moment           `json:"closed"`
	First     bool             `json:"first,omitzero"` // it had not been closed before
	Placement events.Placement `json:"placement"`
	Locks     []string         `json:"locks,omitempty"` // that were not on it before
	Opened    *Moment          `json:"opened,omitempty"`
}

// Inside reports whether the sheet went inside, so that the container certainly was open.
func (d *ClosedAfterRun) Inside() bool {
	return d.Placement == events.InsideBag || d.Placement == events.InsideBare
}

// ChangedClosed: a piece was sent to repair or replaced while the set was packed and closed, and nobody had
// opened it (link-out-of-order).
type ChangedClosed struct {
	Set         string      `json:"set"`
	Report      PieceReport `json:"report"` // the last one
	Line        int64       `json:"line,omitzero"`
	Item        string      `json:"item,omitempty"`
	Description string      `json:"description,omitempty"`
	Closed      Moment      `json:"closed"`            // the step by which it was closed
	Run         *Run        `json:"run,omitempty"`     // that it had been in by then
	Opened      *Moment     `json:"opened,omitempty"`  // for a case, after it
	Settled     *Moment     `json:"settled,omitempty"` // packed anew after it
}

// OpenedForTwo: opened for two cases without being packed between them
// (link-out-of-order).
type OpenedForTwo struct {
	Set      string    `json:"set"`
	First    string    `json:"first"`
	FirstAt  time.Time `json:"firstAt"`
	Second   string    `json:"second"`
	SecondAt time.Time `json:"secondAt"`
}

// CountedForOther: opened for one case, counted for another (link-out-of-order).
type CountedForOther struct {
	Set     string    `json:"set"`
	Opened  string    `json:"opened"`
	Counted string    `json:"counted"`
	At      time.Time `json:"at"`
}

// PackedAgain: packed again without having been opened (two-places, noted).
type PackedAgain struct {
	Set string    `json:"set"`
	At  time.Time `json:"at"`
}

// TwoTrips: something of an earlier packing was observed after the next one had
// begun (two-places).
type TwoTrips struct {
	Set      string      `json:"set"`
	Packed   time.Time   `json:"packed"`            // again
	Unopened bool        `json:"unopened,omitzero"` // the earlier packing had not been opened by then
	Step     events.Kind `json:"step"`
	At       Moment      `json:"at"`
}

// TooFarApart: recorded at two places closer in time than the way takes (two-places).
type TooFarApart struct {
	Set    string `json:"set"`
	First  Moment `json:"first"`
	Second Moment `json:"second"`
}

// AtOnce reports whether less than a second lies between the two.
func (d *TooFarApart) AtOnce() bool { return d.Second.At.Sub(d.First.At) < time.Second }

// OpenedDuringRun: opened while it was in a sterilizer, by what is recorded (two-places).
type OpenedDuringRun struct {
	Set     string    `json:"set"`
	Run     Run       `json:"run"`     // At: the first record of how it ended
	Started time.Time `json:"started"` // of the run
	Opened  Use       `json:"opened"`
}

// OpenedUnreleased: opened with no passed and released load before it (not-released).
type OpenedUnreleased struct {
	Set  string `json:"set"`
	At   Moment `json:"at"`
	Last *Run   `json:"last,omitempty"` // the last run it was in
	// Later is the first run that is recorded of it after the opening, where none is before it.
	Later *Run   `json:"later,omitempty"`
	Used  *Use   `json:"used,omitempty"` // what it was used for before, since which no good run is recorded
	Name  string `json:"name,omitempty"` // under which it was opened, where that was another set's
}

// Use is an opening for a case.
type Use struct {
	Case string `json:"case"`
	At   Moment `json:"at"`
}

// RunFailed: the last run failed (not-released).
type RunFailed struct {
	Set    string  `json:"set"`
	Run    Run     `json:"run"`
	Opened *Moment `json:"opened,omitempty"` // after it; an earlier run had been good
	// Righted is the packing of the set's next turn, where nobody had opened it: that turn's own run says how it stands.
	Righted *Moment `json:"righted,omitempty"`
}

// StartedBeforePacking: the run that is recorded of the set was started before the set was packed
// (not-released).
type StartedBeforePacking struct {
	Set     string    `json:"set"`
	Run     Run       `json:"run"`
	Started time.Time `json:"started"`
	Packed  Moment    `json:"packed"`
	Opened  *Moment   `json:"opened,omitempty"`
	Used    *Use      `json:"used,omitempty"`  // what it was used for before
	Since   *Run      `json:"since,omitempty"` // another run, which says how the set stands
}

// LogContradicts: its load was released, and by its sterilizer's own log or print the run doesn't hold its cycle (not-released).
type LogContradicts struct {
	Set    string    `json:"set"`
	Run    Run       `json:"run"`
	Logged Moment    `json:"logged"` // when and where the log was recorded
	Cycle  string    `json:"cycle"`
	Source string    `json:"source"` // of the cycle
	Lacks  []RunLack `json:"lacks"`
	Opened *Moment   `json:"opened,omitempty"`
}

// ReleasedWithout: its load was released without something that the policy asks for then (not-released).
type ReleasedWithout struct {
	Set       string              `json:"set"`
	Run       Run                 `json:"run"`
	Lacks     []events.ReleaseAsk `json:"lacks"`
	Same      bool                `json:"same,omitzero"` // the second person's badge is that of the first
	Emergency string              `json:"emergency,omitempty"`
	Opened    *Moment             `json:"opened,omitempty"`
}

// AfterFailedTest: its load was released on a day whose test its sterilizer had failed (not-released).
type AfterFailedTest struct {
	Set    string         `json:"set"`
	Run    Run            `json:"run"`
	Day    string         `json:"day"`
	Test   events.DayTest `json:"test"`
	Failed Moment         `json:"failed"`
	After  bool           `json:"after,omitzero"`   // the test was done only after the release
	Leaked bool           `json:"leaked,omitzero"`  // it failed by its own rate, whatever was said of it
	Passed *Moment        `json:"passed,omitempty"` // once the load had been released
	Opened *Moment        `json:"opened,omitempty"`
}

// WithoutDayTest: its load was released on a day without a test that the policy asks for then (not-released).
type WithoutDayTest struct {
	Set    string           `json:"set"`
	Run    Run              `json:"run"`
	Day    string           `json:"day"`
	Lacks  []events.DayTest `json:"lacks"`
	Reason string           `json:"reason,omitempty"` // why they were not done, where that was said
	Opened *Moment          `json:"opened,omitempty"`
}

// RunLack is one way in which a run doesn't hold its cycle: a run.Lack, with what was measured and what bounds it, in
// thousandths of a second, of a degree Celsius or of a kelvin.
type RunLack struct {
	What  run.Lack `json:"what"`
	Is    int64    `json:"is,omitzero"`
	Bound int64    `json:"bound,omitzero"`
}

// Lasted and Asked are those of a lack of time, Shown and Limit of one of temperature, for whoever says them.
func (l RunLack) Lasted() time.Duration {
	d := time.Duration(l.Is) * time.Millisecond
	if l.What == run.EquilibrationLong {
		d += time.Second - time.Millisecond
	}
	return d.Truncate(time.Second) // on the side of what it lacks: 179.9 s are not 3 min
}

// Asked: see Lasted.
func (l RunLack) Asked() time.Duration { return time.Duration(l.Bound) * time.Millisecond }

// Shown: see Lasted.
func (l RunLack) Shown() float64 { return float64(l.Is) / 1000 }

// Limit: see Lasted.
func (l RunLack) Limit() float64 { return float64(l.Bound) / 1000 }

// TwoStarts: another record of its load says that it was started at another time, or has another cycle number (not-released).
type TwoStarts struct {
	Set          string    `json:"set"`
	Run          Run       `json:"run"` // as recorded of the set
	Started      time.Time `json:"started,omitzero"`
	RunStation   string    `json:"runStation"`
	Other        Run       `json:"other"` // as recorded of another set, or at another time
	OtherStarted time.Time `json:"otherStarted,omitzero"`
	OtherStation string    `json:"otherStation"`
	Opened       *Moment   `json:"opened,omitempty"`
}

// RunsOverlap: another load was started in its sterilizer while its run went on, or the other way round (not-released).
type RunsOverlap struct {
	Set          string    `json:"set"`
	Run          Run       `json:"run"` // as recorded of the set
	Started      time.Time `json:"started"`
	RunStation   string    `json:"runStation"`
	Other        Run       `json:"other"`
	OtherStarted time.Time `json:"otherStarted"`
	OtherStation string    `json:"otherStation"`
	Opened       *Moment   `json:"opened,omitempty"`
}

// WrongCycle: run in a cycle that its list does not allow (not-released).
type WrongCycle struct {
	Set     string   `json:"set"`
	Run     Run      `json:"run"`
	Allowed []string `json:"allowed"`
}

// IndicatorUnchanged: the chemical indicator inside had not changed (not-released).
type IndicatorUnchanged struct {
	Set  string `json:"set"`
	At   Moment `json:"at"`
	Name string `json:"name,omitempty"` // under which it was opened, where that was another set's
}

// Repeats is what the cycles repeated after a positive indicator came to.
type Repeats string

// What the repeated cycles came to. Empty where the policy recalls at once.
const (
	RepeatPositive Repeats = "further-positive" // a repeated cycle was positive as well
	RepeatOf       Repeats = "follows-positive" // this one repeats an earlier positive
	RepeatNegative Repeats = "negative"         // all negative
	RepeatAwaited  Repeats = "awaited"          // results are still to come
)

// Recalled: a positive biological indicator covers a load the set was in
// (load-recalled).
type Recalled struct {
	Set        string    `json:"set"`
	Load       string    `json:"load"` // the set's
	Sterilizer string    `json:"sterilizer"`
	Positive   string    `json:"positive"`       // the load whose indicator was positive
	Read       time.Time `json:"read,omitzero"`  // when that was known
	Since      time.Time `json:"since,omitzero"` // the last negative indicator before it
	Repeats    Repeats   `json:"repeats,omitempty"`
	Other      string    `json:"other,omitempty"`     // the other positive load, by Repeats
	Negative   int       `json:"negative,omitzero"`   // cycles started since then with a negative result
	Recall     bool      `json:"recall,omitzero"`     // the load is recalled, not only in doubt
	Settled    bool      `json:"settled,omitzero"`    // the repeated cycles were all negative
	SettledBy  []string  `json:"settledBy,omitempty"` // their loads
	Unopened   bool      `json:"unopened,omitzero"`
}

// OldVersion: packed or sealed by a version that was no longer current
// (list-superseded).
type OldVersion struct {
	Set     string      `json:"set"`
	By      ListVersion `json:"by"`
	At      time.Time   `json:"at"`
	Sealed  bool        `json:"sealed,omitzero"` // sealed, not packed
	Newer   int64       `json:"newer"`
	NewerAt time.Time   `json:"newerAt"`
}

// ListUnknown: packed by a version that nobody has issued here (list-superseded).
type ListUnknown struct {
	Set string      `json:"set"`
	By  ListVersion `json:"by"`
	At  time.Time   `json:"at"`
}

// CountedAgainst says what a count was made against instead of the trip's own
// sheet.
type CountedAgainst string

// What a count can have been made against.
const (
	AgainstOtherSet     CountedAgainst = "other-set"
	AgainstOtherPacking CountedAgainst = "other-packing"
	AgainstAltered      CountedAgainst = "altered"
	AgainstUnbound      CountedAgainst = "unbound" // not of the list packed by, where no sheet was bound
	AgainstUnknown      CountedAgainst = "unknown"
)

// StageAt is one count of a stage.
type StageAt struct {
	Stage events.Stage `json:"stage"`
	At    time.Time    `json:"at"`
	Badge string       `json:"badge,omitempty"`
}

// WrongList: counted against a sheet that is not this trip's (counted-on-wrong-list).
type WrongList struct {
	Set     string         `json:"set"`
	Counts  []StageAt      `json:"counts"`
	Against CountedAgainst `json:"against"`
	Sheet   *TripKey       `json:"sheet,omitempty"`
	Changes *Changes       `json:"changes,omitempty"` // where the other list is another trip's
}

// CountedAsAnother: a tray was opened under the name of another set and counted under it,
// against that set's list (counted-on-wrong-list; doubtful of the tray, noted of the
// other set, and of both where the lists are the same).
type CountedAsAnother struct {
	Tray    string    `json:"tray"` // by its tag
	Name    string    `json:"name"`
	Case    string    `json:"case"`
	Counts  []StageAt `json:"counts"`
	Changes Changes   `json:"changes"` // of the list counted against, to the tray's own
}

// FirstDiffers: the first count is not what packing recorded
// (count-differs-at-opening).
type FirstDiffers struct {
	Set   string        `json:"set"`
	At    time.Time     `json:"at"`
	Lines []LineCount   `json:"lines"`
	Moves []MovedPieces `json:"moves,omitempty"` // probably packed in another set of the case
	By    []string      `json:"by,omitempty"`    // the sets that are short, by which it is told, where this one is only over
	// Beside are those sets of Moves that were packed beside this one.
	Beside []PackedBeside `json:"beside,omitempty"`
	// Exchanged is what sets of other cases that were packed beside this one have the other way round.
	Exchanged []ExchangedAtPacking `json:"exchanged,omitempty"`
	// Arrived is when a lent set arrived, already short of all that it is short of now.
	Arrived *Moment `json:"arrived,omitempty"`
}

// PackedBeside: two sets were packed at one station within two hours.
type PackedBeside struct {
	Set         string    `json:"set"` // the other set
	Place       Place     `json:"place"`
	Packed      time.Time `json:"packed"`
	OtherPacked time.Time `json:"otherPacked"`
	Between     int64     `json:"between,omitzero"` // sets packed there in between
}

// ExchangedAtPacking: a set used in another case has over what this one has short by their first counts, or the
// other way round, and both were packed beside each other.
type ExchangedAtPacking struct {
	Set         string       `json:"set"`  // the other set
	Case        string       `json:"case"` // that it was used in
	Line        int64        `json:"line"` // of this set's list
	Description string       `json:"description,omitempty"`
	Quantity    int64        `json:"quantity"`
	There       bool         `json:"there,omitzero"` // they were counted in the other set; else they are from it
	Beside      PackedBeside `json:"beside"`
}

// Sequel is what came after lines differed in a count.
type Sequel string

// What can come after lines differed in a count.
const (
	ThenNothing Sequel = ""        // no final count after it, or a final one before it
	ThenRight   Sequel = "right"   // the final count is as expected
	ThenDiffers Sequel = "differs" // the final count differs as well
	ThenLeftOut Sequel = "leftOut" // the final count left the lines out; another one has them right
	ThenLater   Sequel = "later"   // another later count differs as well
)

// Midway: a count other than the last word differs (count-short, count-over).
type Midway struct {
	Set   string       `json:"set"`
	Stage events.Stage `json:"stage"`
	At    time.Time    `json:"at"`
	Lines []LineCount  `json:"lines"`
	Then  Sequel       `json:"then,omitempty"`
	Noted bool         `json:"noted,omitzero"` // what came after has put it right, or is judged by itself
}

// BetweenLines: lines of one item differ, and together have as many as
// expected (count-short, noted).
type BetweenLines struct {
	Set    string       `json:"set"`
	Counts CountsDiffer `json:"counts"`
}

// MovedPieces is a number of pieces that lie in one set instead of another.
type MovedPieces struct {
	Set      string `json:"set"` // the other set
	Quantity int64  `json:"quantity"`
	There    bool   `json:"there,omitzero"` // they lie in the other set; else they are from it
}

// Misplaced: what is short here is over in another set of the case, or the
// other way round (count-short, count-over).
type Misplaced struct {
	Set    string        `json:"set"`
	Counts CountsDiffer  `json:"counts"`
	Moves  []MovedPieces `json:"moves"`
	By     []string      `json:"by,omitempty"` // the sets that are short, by which it is told, where this one is over
	// Righted is the later packing by which the set that was short has all of them again.
	Righted *Moment `json:"righted,omitempty"`
}

// Unaccounted: what no other set of the case explains (count-short,
// count-over). Quantities are short where positive, over where negative.
type Unaccounted struct {
	Set    string       `json:"set"`
	Counts CountsDiffer `json:"counts"`
	Here   int64        `json:"here"`  // in this set
	Total  int64        `json:"total"` // over all sets of the case
	Sets   int          `json:"sets"`  // of the case
}

// PassedOff: a count comes out since what it had found short was said to have left the field (count-short).
type PassedOff struct {
	Set   string       `json:"set"`
	Stage events.Stage `json:"stage"`
	At    time.Time    `json:"at"`
	Badge string       `json:"badge,omitempty"` // of who counted
	Lines []PassedLine `json:"lines"`
}

// PassedLine is what left the field of a line, and why.
type PassedLine struct {
	Line        int64  `json:"line"`
	Item        string `json:"item,omitempty"`
	Description string `json:"description,omitempty"`
	Beyond      bool   `json:"beyond,omitzero"` // on no list: the counts name it
	Quantity    int64  `json:"quantity"`
	Reason      string `json:"reason"`
}

// LeftInside: something was left in the patient on purpose, as a count says (stays-on-purpose).
type LeftInside struct {
	Case  string       `json:"case"`
	Set   string       `json:"set"` // that it is counted with
	Stage events.Stage `json:"stage"`
	At    time.Time    `json:"at"`
	Badge string       `json:"badge,omitempty"` // of who counted
	Lines []PassedLine `json:"lines"`
}

// LinesUncounted: a first or final count left lines out (count-missing).
type LinesUncounted struct {
	Set   string       `json:"set"`
	Stage events.Stage `json:"stage"`
	At    time.Time    `json:"at"`
	Lines []int64      `json:"lines"`
}

// LateLine is a line with pieces that came or left after the final count.
type LateLine struct {
	Line        int64     `json:"line"`
	Item        string    `json:"item,omitempty"`
	Description string    `json:"description,omitempty"`
	Beyond      bool      `json:"beyond,omitzero"` // on no list: the counts name it
	Added       int64     `json:"added,omitzero"`
	Removed     int64     `json:"removed,omitzero"`
	At          time.Time `json:"at"` // the last count that says so
}

// AfterFinal: pieces came or left after the final count, and no count has the
// lines since (count-missing).
type AfterFinal struct {
	Set   string     `json:"set"`
	Final time.Time  `json:"final"`
	Lines []LateLine `json:"lines"`
}

// StagesMissing: counts that the policy asks for are absent (count-missing).
type StagesMissing struct {
	Set    string         `json:"set"`
	Stages []events.Stage `json:"stages"`
}

// NoList: counted, and no packing of the set is recorded here, so that there is
// no list to reconcile the counts with (count-missing).
type NoList struct {
	Set    string    `json:"set"`
	Counts []StageAt `json:"counts"`
}

// NoSecondPerson: counts name no second person (count-one-person).
type NoSecondPerson struct {
	Set       string    `json:"set"`
	Counts    []StageAt `json:"counts"`
	Confirmed *Moment   `json:"confirmed,omitempty"` // the final count by two people, which left nothing open
	By        string    `json:"by,omitempty"`        // the set of the case by which it is told, where that is another one
}

// OneBadge: counts have one badge in both roles (count-one-person).
type OneBadge struct {
	Set       string    `json:"set"`
	Counts    []StageAt `json:"counts"`
	Confirmed *Moment   `json:"confirmed,omitempty"` // the final count by two people, which left nothing open
	By        string    `json:"by,omitempty"`        // the set of the case by which it is told, where that is another one
}

// LackOf is what a register has against some records of a trip: which entry, and why.
type LackOf struct {
	ID      string `json:"id"`
	Why     string `json:"why"`             // unknown, ended, role, set, work, load, cycle: see facts.LackWay
	Meant   string `json:"meant,omitempty"` // the role, work, sterilizer or cycle that is not the entry's
	First   Moment `json:"first"`           // the first record of those
	Records int    `json:"records"`         // how many there are
}

// PersonLacks: a badge that the register of people does not know or allow (not-registered).
type PersonLacks struct{ LackOf }

// StationLacks: a station that is for something else by its register (not-registered).
type StationLacks struct{ LackOf }

// SterilizerLacks: a sterilizer or a cycle that is not in its register (not-registered).
type SterilizerLacks struct{ LackOf }

// SetLacks: a set that is not in its register (not-registered, noted).
type SetLacks struct{ LackOf }

// AccessUsed: recorded by access that was claimed in an emergency (emergency-access).
type AccessUsed struct {
	Badge   string    `json:"badge"`
	At      string    `json:"station"`
	Reason  string    `json:"reason"`
	Claimed time.Time `json:"claimed"`
	First   Moment    `json:"first"`
	Records int       `json:"records"`
}

// OpenLine is a line that was open when a case was closed.
type OpenLine struct {
	Set         string `json:"set"`
	Line        int64  `json:"line"`
	Item        string `json:"item,omitempty"`
	Description string `json:"description,omitempty"`
	Beyond      bool   `json:"beyond,omitzero"`   // on no list: the counts name it
	Quantity    int64  `json:"quantity,omitzero"` // short, less than 0: over
}

// ClosedOpen: the case was closed with something unaccounted for, or with
// lines not counted at the end (closed-unreconciled).
type ClosedOpen struct {
	Set         string     `json:"set"`
	Case        string     `json:"case"`
	Outcome     string     `json:"outcome"`
	At          time.Time  `json:"at"`
	Unaccounted []OpenLine `json:"unaccounted,omitempty"`
	Uncounted   []OpenLine `json:"uncounted,omitempty"`
	Reason      string     `json:"reason,omitempty"`
	Actions     []string   `json:"actions,omitempty"`
}

// BackWhy is what explains that a set came back with another number of pieces.
type BackWhy string

// What can explain it, the strongest first.
const (
	BackInHand      BackWhy = "in-hand"     // damaged or in repair, by the packing itself
	BackRepair      BackWhy = "repair"      // sent to repair, by a report
	BackFound       BackWhy = "found"       // found since, by a report
	BackElsewhere   BackWhy = "elsewhere"   // in another set of the case, by the assembly of that one
	BackWasher      BackWhy = "washer"      // in a set that was in the same load of a washer, likewise
	BackAtCount     BackWhy = "at-count"    // the counts of the case had it missing already
	BackBefore      BackWhy = "before"      // it was packed without, before the case, and counted with
	BackSubstituted BackWhy = "substituted" // something else lies in its place
	BackUnexplained BackWhy = ""
)

// BackLine is a line, or all lines of one item, of which a set came back with fewer or
// more pieces than it was last known with.
type BackLine struct {
	Line        int64        `json:"line"` // by the list it was packed by then
	Item        string       `json:"item,omitempty"`
	Description string       `json:"description,omitempty"`
	Stage       events.Stage `json:"stage,omitempty"`       // of the count that had the last word; empty: nobody counted it
	Counted     time.Time    `json:"counted,omitzero"`      // when that was
	Known       int64        `json:"known"`                 // pieces by that count, or as packed before the case
	Packed      int64        `json:"packed"`                // pieces at the assembly after it
	Pieces      int64        `json:"pieces"`                // of the difference, how many this is about
	Reason      string       `json:"reason,omitempty"`      // given at that packing
	Missing     int64        `json:"missing,omitzero"`      // pieces that the counts of the case had missing at its end
	Before      int64        `json:"packedBefore,omitzero"` // pieces as packed before the case, where that explains it
	Missed      time.Time    `json:"missed,omitzero"`       // before the assembly: when a report said that it was missed
}

// CameBack: at its first assembly after a case a set had fewer or more pieces than it was
// last known with (came-back-short, came-back-over).
type CameBack struct {
	Set    string        `json:"set"`
	Case   string        `json:"case"`
	Why    BackWhy       `json:"why,omitempty"`
	Lines  []BackLine    `json:"lines"`
	Packed Moment        `json:"packed"`          // that assembly
	Closed time.Time     `json:"closed,omitzero"` // the case; zero: nobody had closed it by then
	Hours  int64         `json:"hours,omitzero"`  // from then to the assembly, whole ones
	Sets   int           `json:"sets"`            // of the case
	Unsure bool          `json:"unsure,omitzero"` // whether what was counted was this set is not sure, so its packing before counts
	Moves  []MovedPieces `json:"moves,omitempty"` // from or to other sets of the case
	By     []string      `json:"by,omitempty"`    // the sets that came back short, by which it is told, where this one came back over
	// WasherLoad is the one that both sets were in, where that explains it.
	WasherLoad string `json:"washerLoad,omitempty"`
	// Reports of the pieces, where they explain it.
	Reports []PieceReport `json:"reports,omitempty"`
	// Settled is the later packing by which the set has the number of its list again: that may
	// be another piece, so it is no near miss.
	Settled *Moment `json:"settled,omitempty"`
}

// PieceReport is a report of what became of pieces.
type PieceReport struct {
	Moment
	Became     events.Became `json:"became"`
	Quantity   int64         `json:"quantity"`
	Where      string        `json:"where,omitempty"`      // as the report has it
	WasherLoad string        `json:"washerLoad,omitempty"` // in which it was found
}

// PieceMissed: after the last count of a case a piece of its set was reported as missed,
// before anybody has assembled the set (came-back-short).
type PieceMissed struct {
	Set     string     `json:"set"`
	Case    string     `json:"case"`
	Lines   []BackLine `json:"lines"` // Packed is what is left by the reports
	At      Moment     `json:"at"`    // the first report
	Closed  time.Time  `json:"closed,omitzero"`
	Hours   int64      `json:"hours,omitzero"` // from then to the report, whole ones
	Sets    int        `json:"sets"`           // of the case
	Unsure  bool       `json:"unsure,omitzero"`
	Settled *Moment    `json:"settled,omitempty"` // the packing by which the set has the number of its list again
}

// BackIncomplete: on its way back from a case somebody said that a piece of a set is missing, and not
// which (came-back-short).
type BackIncomplete struct {
	Set     string       `json:"set"`
	Case    string       `json:"case"`
	At      Moment       `json:"at"`               // when it was said first
	Stage   events.Stage `json:"stage,omitempty"`  // of the last count of the set in the case
	Counted time.Time    `json:"counted,omitzero"` // when that was
	Missing int64        `json:"missing,omitzero"` // pieces of the set that the counts of the case had missing at its end
	Closed  time.Time    `json:"closed,omitzero"`
	Hours   int64        `json:"hours,omitzero"` // from then until it was said, whole ones
	Sets    int          `json:"sets"`           // of the case
	Unsure  bool         `json:"unsure,omitzero"`
	Named   *PieceReport `json:"named,omitempty"`  // the report that says since which piece is missing, or that it was found
	Packed  *Moment      `json:"packed,omitempty"` // the next packing, which says what the set has
}

// After returns how long after its case was closed the piece was said to be missing, in whole minutes.
func (d *BackIncomplete) After() time.Duration { return d.At.At.Sub(d.Closed).Truncate(time.Minute) }

// UnusedIncomplete: of a set of which no use is recorded here, such as one that another house had, somebody said on its way back
// that a piece is missing, and not which (piece-missing).
type UnusedIncomplete struct {
	Set     string       `json:"set"`
	At      Moment       `json:"at"`                // when it was said first
	Packed  Moment       `json:"packed"`            // the packing before
	Named   *PieceReport `json:"named,omitempty"`   // the report that says since which piece is missing, or that it was found
	Settled *Moment      `json:"settled,omitempty"` // the next packing, which says what the set has
}

// MissingSincePacked: pieces of a packed set were reported as missed before it was opened (piece-missing).
type MissingSincePacked struct {
	Set     string     `json:"set"`
	Lines   []BackLine `json:"lines"`  // Known is what was packed, Packed what is left by the reports, Stage the count since, if any
	At      Moment     `json:"at"`     // the first report
	Packed  Moment     `json:"packed"` // the packing
	Settled *Moment    `json:"settled,omitempty"`
}

// Pieces returns how many pieces the finding is about.
func (d *MissingSincePacked) Pieces() int64 {
	n := int64(0)
	for i := range d.Lines {
		n += d.Lines[i].Pieces
	}
	return n
}

// After returns how long after its case was closed the piece was missed, in whole minutes.
func (d *PieceMissed) After() time.Duration { return d.At.At.Sub(d.Closed).Truncate(time.Minute) }

// Pieces returns how many pieces the finding is about.
func (d *PieceMissed) Pieces() int64 {
	n := int64(0)
	for i := range d.Lines {
		n += d.Lines[i].Pieces
	}
	return n
}

// After returns how long after its closing the case's set was assembled, in whole minutes.
func (d *CameBack) After() time.Duration { return d.Packed.At.Sub(d.Closed).Truncate(time.Minute) }

// Pieces returns how many pieces the finding is about.
func (d *CameBack) Pieces() int64 {
	n := int64(0)
	for i := range d.Lines {
		n += d.Lines[i].Pieces
	}
	return n
}

// Over reports whether a set came back with more.
func (d *CameBack) Over() bool { return len(d.Lines) > 0 && d.Lines[0].Packed > d.Lines[0].Known }

// Uncounted reports whether nobody had counted any of the lines in the case.
func (d *CameBack) Uncounted() bool {
	return !slices.ContainsFunc(d.Lines, func(l BackLine) bool { return l.Stage != "" })
}

// Shown is what shows that pieces lie in another set.
type Shown string

// What can show it.
const (
	ShownCount    Shown = "count"    // the last counts of the case
	ShownAssembly Shown = "assembly" // the packings after the case
	ShownWasher   Shown = "washer"   // those of sets that were in the same load of a washer
)

// ImmediateUse: a set's last run before an opening, or its last run, was one for immediate use (immediate-use).
type ImmediateUse struct {
	Set    string  `json:"set"`
	Run    Run     `json:"run"`
	Why    string  `json:"why"`
	For    string  `json:"for,omitempty"`    // the case that waited for it, as recorded
	Opened *Use    `json:"opened,omitempty"` // what it was opened for after it: another case than For, where there is one
	Kept   *Moment `json:"kept,omitempty"`   // where it was seen after the run and before that
}

// OtherCase reports whether the set was opened for another case than the one that it was run for.
func (d *ImmediateUse) OtherCase() bool {
	return d.Opened != nil && d.For != "" && d.Opened.Case != d.For
}

// Migrated: pieces lie in another set than theirs, and one of the two is of a list of high
// risk (piece-migrated).
type Migrated struct {
	Set         string  `json:"set"`
	Case        string  `json:"case"`
	Other       string  `json:"other"` // the other set
	Shown       Shown   `json:"shown"`
	WasherLoad  string  `json:"washerLoad,omitempty"`
	Line        int64   `json:"line"` // of this set
	Description string  `json:"description,omitempty"`
	Quantity    int64   `json:"quantity"`
	There       bool    `json:"there,omitzero"`    // they lie in the other set; else they are from it
	By          string  `json:"by,omitempty"`      // the set by which it is told, where that is the other one
	Righted     *Moment `json:"righted,omitempty"` // the packing by which each set has its own again, after counts
}

// PackedWithMigrated: a set was packed with pieces of another one, and one of the two is of a
// list of high risk (piece-migrated).
type PackedWithMigrated struct {
	Set         string  `json:"set"`
	Other       string  `json:"other"` // whose pieces they are
	Packed      Moment  `json:"packed"`
	Line        int64   `json:"line"`
	Description string  `json:"description,omitempty"`
	Quantity    int64   `json:"quantity"`
	Righted     *Moment `json:"righted,omitempty"` // the packing without them, before the set was opened
}

// RestsOnCorrection: an event was taken back or replaced by a correction in force
// (corrected).
type RestsOnCorrection struct {
	Set        string      `json:"set"`
	Step       events.Kind `json:"step"`
	At         Moment      `json:"at"`         // the event, as first recorded
	Correction time.Time   `json:"correction"` // when it was corrected
	Station    string      `json:"station"`    // where it was corrected
	Void       bool        `json:"void,omitzero"`
	First      string      `json:"first,omitempty"` // badge of the event
	By         string      `json:"by,omitempty"`    // badge of the correction
	Elsewhere  bool        `json:"elsewhere,omitzero"`
	Reason     string      `json:"reason,omitempty"`
	Hides      []Code      `json:"hides,omitempty"` // what would be broken without it
}

// Alone reports whether no second person stands behind the correction.
func (d *RestsOnCorrection) Alone() bool {
	return d.First == "" || d.By == "" || strings.EqualFold(d.First, d.By)
}

// Remarked: something is wrong with records themselves (signature-bad,
// station-gap, station-retired, clock-doubtful, and record-unread of a kind not known here).
type Remarked struct {
	Station string        `json:"station"` // empty: not known
	Records int           `json:"records"`
	First   time.Time     `json:"first,omitzero"`
	Remarks events.Remark `json:"remarks"` // of the first record: bits, see events.Remark
}

// CorrectionUnread: a correction that can't be read and was left out of account
// (record-unread).
type CorrectionUnread struct {
	Step       events.Kind `json:"step"`
	StepAt     time.Time   `json:"stepAt"`
	Correction time.Time   `json:"correction"`
}

// Waiting is what an overdue finding tells of what is waited for: since what,
// and how long the policy waits.
type Waiting struct {
	Set   string `json:"set"`
	Since Moment `json:"since"` // the observation from which it is waited
	Hours int64  `json:"hours"` // what the policy allows
}

// RunOverdue: packed, and in no load since (overdue).
type RunOverdue struct{ Waiting }

// ReleaseOverdue: in a load that passed, and not released since (overdue).
type ReleaseOverdue struct {
	Waiting
	Run Run `json:"run"`
}

// IndicatorOverdue: no biological indicator was read for the load (overdue).
type IndicatorOverdue struct {
	Waiting
	Run Run `json:"run"`
}

// SeenOverdue: released, not opened, and not seen since (overdue).
type SeenOverdue struct{ Waiting }

// CountOverdue: opened, and not counted at the end since (overdue).
type CountOverdue struct {
	Waiting
	Case   string         `json:"case"`
	Stages []events.Stage `json:"stages"`
}

// CloseOverdue: the case was not closed since its last observation (overdue).
type CloseOverdue struct {
	Waiting
	Case string `json:"case"`
	By   string `json:"by,omitempty"` // the set of the case by which it is told, where that is another one
}

// CaseLeftOpen: the case was not closed, and a set of it has been packed again
// and opened for another one (link-missing).
type CaseLeftOpen struct {
	Set    string    `json:"set"`
	Case   string    `json:"case"`
	Used   string    `json:"used"`   // the set of the case that is in use again
	Packed time.Time `json:"packed"` // when it was packed again
	Next   string    `json:"next"`   // the case it was opened for then
	Opened Moment    `json:"opened"`
	By     string    `json:"by,omitempty"` // as in CloseOverdue
}

// LoanArrived: a lent set arrived otherwise than its inventory has it (loan-differs).
type LoanArrived struct {
	Set      string               `json:"set"`
	Supplier string               `json:"supplier,omitempty"`
	At       Moment               `json:"at"`
	Lines    []LineCount          `json:"lines,omitempty"`
	Faults   []events.ReturnFault `json:"faults,omitempty"`
	Since    *Moment              `json:"since,omitempty"` // packed, or handed back
	Packed   bool                 `json:"packed,omitzero"`
}

// LoanLine is a line of a lent set as it was handed back.
type LoanLine struct {
	Line        int64        `json:"line"`
	Item        string       `json:"item,omitempty"`
	Description string       `json:"description,omitempty"`
	Arrived     int64        `json:"arrived"`            // by the count on arrival
	Uncounted   bool         `json:"uncounted,omitzero"` // there was none: Arrived is as the inventory has it
	Known       int64        `json:"known"`              // by the last word of its last case, else as packed or as it arrived
	Left        int64        `json:"left"`
	Lacks       int64        `json:"lacks,omitzero"` // pieces of Known that are gone, and nothing recorded tells where
	Stage       events.Stage `json:"stage,omitempty"`
	Counted     time.Time    `json:"counted,omitzero"`
}

// LoanHanded: a lent set was handed back with other pieces than it had at the end of its last case (came-back-short), or than
// it arrived with (loan-differs).
type LoanHanded struct {
	Set      string     `json:"set"`
	Supplier string     `json:"supplier,omitempty"`
	At       Moment     `json:"at"`
	Arrived  *Moment    `json:"arrived,omitempty"` // nil: no count on arrival is recorded
	Case     string     `json:"case,omitempty"`    // the last that it was used in
	Closed   time.Time  `json:"closed,omitzero"`
	Hours    int64      `json:"hours,omitzero"`  // since it was closed
	Unsure   bool       `json:"unsure,omitzero"` // whether it was this set that was counted
	Lines    []LoanLine `json:"lines"`
}

// LoanOverdue: a lent set should have been counted out and handed back by now (overdue).
type LoanOverdue struct {
	Set      string    `json:"set"`
	Supplier string    `json:"supplier,omitempty"`
	Arrived  Moment    `json:"arrived"`
	Due      time.Time `json:"due"`
	Closed   *Moment   `json:"closed,omitempty"` // of its last case, where nobody said when it is due
}

// Silent: nothing was recorded by a station for longer than the policy waits
// (station-silent).
type Silent struct {
	Station string    `json:"station"`
	Last    time.Time `json:"last"`
	Hours   int64     `json:"hours"`
}

// The names of the ways are part of the JSON and of the catalogues' keys.
func (*UsedAgain) Way() string { return "used-again" }

func (*OpenedLate) Way() string { return "opened-late" }

func (*SeenBack) Way() string { return "seen-back" }

func (*ReprocessingUnknown) Way() string { return "reprocessing-unknown" }

func (*RunUnpacked) Way() string { return "run-unpacked" }

func (*RunUnprepared) Way() string { return "run-unprepared" }

func (*WentBack) Way() string { return "went-back" }

func (*PackedUnclean) Way() string { return "packed-unclean" }

func (*DamagedPacked) Way() string { return "damaged-packed" }

// Way implements Detail.
func (*StepsBackMissing) Way() string { return "way-back" }

func (*AnotherSetsSheet) Way() string { return "another-set" }

func (*TrayWithSheet) Way() string { return "another-tray" }

func (*AnotherPacking) Way() string { return "another-packing" }

func (*OtherContent) Way() string { return "other-content" }

func (*UnboundSheet) Way() string { return "not-bound" }

func (*SealedOther) Way() string { return "sealed-other-list" }

func (*SealFalse) Way() string { return "sealed-false" }

func (*NoSuchSheet) Way() string { return "no-such-sheet" }

func (*Unreadable) Way() string { return "damaged" }

// Way implements Detail.
func (*CountedUnreadable) Way() string { return "counted" }

func (*NoSheet) Way() string { return "not-found" }

func (*ProbablyWrong) Way() string { return "sheet-elsewhere" }

func (*Moved) Way() string { return "other-placement" }

func (*ReadWhileClosed) Way() string { return "read-while-closed" }

func (*LabelAgainstTray) Way() string { return "label-against-tray" }

func (*AnotherSetsRecord) Way() string { return "record-of-another" }

func (*UnderAnotherName) Way() string { return "under-another-name" }

func (*OpenedAsAnother) Way() string { return "opened-under-another-name" }

func (*SeenAsAnother) Way() string { return "tag-under-another-name" }

func (*PackedAsAnother) Way() string { return "packed-under-another-name" }

func (*TagNotRead) Way() string { return "opened" }

func (*SealsDiffer) Way() string { return "seals" }

func (*LockTwice) Way() string { return "lock-twice" }

func (*OverWeight) Way() string { return "packed" }

func (*NoSecondLook) Way() string { return "packed" }

func (*PlacedAgainstPolicy) Way() string { return "sealed" }

func (*IndicatorUnseen) Way() string { return "not-recorded" }

func (*NoIndicator) Way() string { return "none-inside" }

func (*ImplantEarly) Way() string { return "opened" }

func (*PackageFaulty) Way() string { return "faulty" }

func (*ShelfLifeOver) Way() string { return "shelf-life" }

func (*UsedAside) Way() string { return "used" }

func (*WaitsAside) Way() string { return "waits" }

func (*StepsMissing) Way() string { return "steps" }

func (*OpenedUnread) Way() string { return "opened-unread" }

func (*OutOfOrder) Way() string { return "order" }

func (*PackedAfterRun) Way() string { return "packed-after-run" }

func (*ClosedAfterRun) Way() string { return "closed-after-run" }

func (*ChangedClosed) Way() string { return "changed-while-closed" }

func (*OpenedForTwo) Way() string { return "opened-for-two" }

func (*CountedForOther) Way() string { return "counted-for-other" }

func (*PackedAgain) Way() string { return "packed-again" }

func (*TwoTrips) Way() string { return "two-trips" }

func (*TooFarApart) Way() string { return "too-far-apart" }

func (*OpenedDuringRun) Way() string { return "opened-during-run" }

func (*OpenedUnreleased) Way() string { return "opened" }

func (*RunFailed) Way() string { return "run-failed" }

func (*StartedBeforePacking) Way() string { return "started-before-packing" }

func (*LogContradicts) Way() string { return "log-contradicts" }

// Way implements Detail.
func (*ReleasedWithout) Way() string { return "released-without" }

// Way implements Detail.
func (*AfterFailedTest) Way() string { return "after-failed-test" }

// Way implements Detail.
func (*WithoutDayTest) Way() string { return "without-day-test" }

func (*TwoStarts) Way() string { return "two-starts" }

func (*RunsOverlap) Way() string { return "runs-overlap" }

func (*WrongCycle) Way() string { return "wrong-cycle" }

func (*IndicatorUnchanged) Way() string { return "indicator" }

func (*Recalled) Way() string { return "positive-indicator" }

func (*OldVersion) Way() string { return "old-version" }

func (*ListUnknown) Way() string { return "unknown-version" }

func (*WrongList) Way() string { return "wrong-list" }

func (*CountedAsAnother) Way() string { return "counted-as-another" }

func (*FirstDiffers) Way() string { return "first-count" }

func (*Midway) Way() string { return "midway" }

func (*BetweenLines) Way() string { return "between-lines" }

func (*Misplaced) Way() string { return "misplaced" }

func (*Unaccounted) Way() string { return "unaccounted" }

func (*PassedOff) Way() string { return "passed-off" }

func (*LeftInside) Way() string { return "said" }

func (*LinesUncounted) Way() string { return "lines" }

func (*AfterFinal) Way() string { return "after-final" }

func (*StagesMissing) Way() string { return "stages" }

func (*NoList) Way() string { return "no-list" }

func (*NoSecondPerson) Way() string { return "no-second-person" }

func (*OneBadge) Way() string { return "one-badge" }

func (*PersonLacks) Way() string { return "person" }

func (*StationLacks) Way() string { return "workplace" }

func (*SterilizerLacks) Way() string { return "sterilizer" }

func (*SetLacks) Way() string { return "set" }

func (*AccessUsed) Way() string { return "claimed" }

func (*ClosedOpen) Way() string { return "closed-open" }

func (*CameBack) Way() string           { return "assembly" }
func (*PieceMissed) Way() string        { return "missed" }
func (*BackIncomplete) Way() string     { return "incomplete" }
func (*MissingSincePacked) Way() string { return "since-packed" }

func (*UnusedIncomplete) Way() string   { return "unused-incomplete" }
func (*ImmediateUse) Way() string       { return "run" }
func (*Migrated) Way() string           { return "moved" }
func (*PackedWithMigrated) Way() string { return "packed-with" }

func (*RestsOnCorrection) Way() string { return "event" }

func (*Remarked) Way() string { return "record" }

func (*CorrectionUnread) Way() string { return "correction" }

func (*RunOverdue) Way() string { return "run" }

func (*ReleaseOverdue) Way() string { return "release" }

func (*IndicatorOverdue) Way() string { return "indicator" }

func (*SeenOverdue) Way() string { return "seen" }

func (*CountOverdue) Way() string { return "count" }

func (*CloseOverdue) Way() string { return "closing" }

func (*CaseLeftOpen) Way() string { return "case-left-open" }

func (*Silent) Way() string { return "silent" }

func (*LoanArrived) Way() string { return "arrived" }

func (*LoanHanded) Way() string { return "handed-back" }

func (*LoanOverdue) Way() string { return "loan" }

// Code names a kind of finding.
type Code string

// The finding codes.
const (
	CameBackShort      Code = "came-back-short"
	NotReprocessed     Code = "not-reprocessed"
	SheetSwapped       Code = "sheet-swapped"
	SheetStale         Code = "sheet-stale"
	SheetAltered       Code = "sheet-altered"
	SheetUnknown       Code = "sheet-unknown"
	SheetUnreadable    Code = "sheet-unreadable"
	SheetAbsent        Code = "sheet-absent"
	SheetInDoubt       Code = "sheet-in-doubt"
	SheetMoved         Code = "sheet-moved"
	LabelSwapped       Code = "label-swapped"
	TagUnread          Code = "tag-unread"
	SealDiffers        Code = "seal-differs"
	TooHeavy           Code = "over-weight"
	SecondLookMissing  Code = "second-look-missing"
	PlacedOtherwise    Code = "placed-otherwise"
	PutAside           Code = "put-aside"
	PackageUnfit       Code = "package-unfit"
	LinkMissing        Code = "link-missing"
	LinkOutOfOrder     Code = "link-out-of-order"
	TwoPlaces          Code = "two-places"
	NotReleased        Code = "not-released"
	ImplantTooEarly    Code = "implant-early"
	IndicatorNotSeen   Code = "indicator-unseen"
	LoadRecalled       Code = "load-recalled"
	ListSuperseded     Code = "list-superseded"
	CountedOnWrongList Code = "counted-on-wrong-list"
	CountDiffersAtOpen Code = "count-differs-at-opening"
	CountShort         Code = "count-short"
	CountOver          Code = "count-over"
	CountMissing       Code = "count-missing"
	CountOnePerson     Code = "count-one-person"
	ClosedUnreconciled Code = "closed-unreconciled"
	StaysOnPurpose     Code = "stays-on-purpose"
	CameBackOver       Code = "came-back-over"
	PieceMissing       Code = "piece-missing"
	PieceMigrated      Code = "piece-migrated"
	ForImmediateUse    Code = "immediate-use"
	Corrected          Code = "corrected"
	Overdue            Code = "overdue" // judged by a moment, not by what was recorded
	LoanDiffers        Code = "loan-differs"
	StationSilent      Code = "station-silent"
	NotRegistered      Code = "not-registered"
	EmergencyAccess    Code = "emergency-access"
	StationGap         Code = "station-gap"
	StationRetired     Code = "station-retired"
	SignatureBad       Code = "signature-bad"
	ClockDoubtful      Code = "clock-doubtful"
	RecordUnread       Code = "record-unread" // a record or a correction that this program can't read
)

// details lists every way of every code, with the struct that tells of it. It
// is the one list of what can be found: codes and ways are taken from it.
var details = []struct {
	codes  []Code
	detail func() Detail
}{
	{[]Code{CameBackShort}, func() Detail { return new(CameBack) }},
	{[]Code{CameBackShort}, func() Detail { return new(PieceMissed) }},
	{[]Code{CameBackShort}, func() Detail { return new(BackIncomplete) }},
	{[]Code{NotReprocessed}, func() Detail { return new(UsedAgain) }},
	{[]Code{NotReprocessed}, func() Detail { return new(OpenedLate) }},
	{[]Code{NotReprocessed}, func() Detail { return new(SeenBack) }},
	{[]Code{NotReprocessed}, func() Detail { return new(ReprocessingUnknown) }},
	{[]Code{NotReprocessed}, func() Detail { return new(RunUnpacked) }},
	{[]Code{NotReprocessed}, func() Detail { return new(RunUnprepared) }},
	{[]Code{NotReprocessed}, func() Detail { return new(WentBack) }},
	{[]Code{NotReprocessed}, func() Detail { return new(PackedUnclean) }},
	{[]Code{SheetSwapped}, func() Detail { return new(AnotherSetsSheet) }},
	{[]Code{SheetSwapped}, func() Detail { return new(TrayWithSheet) }},
	{[]Code{SheetStale}, func() Detail { return new(AnotherPacking) }},
	{[]Code{SheetAltered}, func() Detail { return new(OtherContent) }},
	{[]Code{SheetAltered}, func() Detail { return new(UnboundSheet) }},
	{[]Code{SheetAltered}, func() Detail { return new(SealedOther) }},
	{[]Code{SheetAltered}, func() Detail { return new(SealFalse) }},
	{[]Code{SheetUnknown}, func() Detail { return new(NoSuchSheet) }},
	{[]Code{SheetUnreadable}, func() Detail { return new(Unreadable) }},
	{[]Code{SheetUnreadable}, func() Detail { return new(CountedUnreadable) }},
	{[]Code{SheetAbsent}, func() Detail { return new(NoSheet) }},
	{[]Code{SheetInDoubt}, func() Detail { return new(ProbablyWrong) }},
	{[]Code{SheetMoved}, func() Detail { return new(Moved) }},
	{[]Code{SheetMoved}, func() Detail { return new(ReadWhileClosed) }},
	{[]Code{LabelSwapped}, func() Detail { return new(LabelAgainstTray) }},
	{[]Code{LabelSwapped}, func() Detail { return new(AnotherSetsRecord) }},
	{[]Code{LabelSwapped}, func() Detail { return new(UnderAnotherName) }},
	{[]Code{LabelSwapped}, func() Detail { return new(OpenedAsAnother) }},
	{[]Code{LabelSwapped}, func() Detail { return new(SeenAsAnother) }},
	{[]Code{LabelSwapped}, func() Detail { return new(PackedAsAnother) }},
	{[]Code{TagUnread}, func() Detail { return new(TagNotRead) }},
	{[]Code{SealDiffers}, func() Detail { return new(SealsDiffer) }},
	{[]Code{SealDiffers}, func() Detail { return new(LockTwice) }},
	{[]Code{TooHeavy}, func() Detail { return new(OverWeight) }},
	{[]Code{SecondLookMissing}, func() Detail { return new(NoSecondLook) }},
	{[]Code{PlacedOtherwise}, func() Detail { return new(PlacedAgainstPolicy) }},
	{[]Code{PutAside}, func() Detail { return new(UsedAside) }},
	{[]Code{PutAside}, func() Detail { return new(WaitsAside) }},
	{[]Code{PackageUnfit}, func() Detail { return new(PackageFaulty) }},
	{[]Code{PackageUnfit}, func() Detail { return new(ShelfLifeOver) }},
	{[]Code{LinkMissing}, func() Detail { return new(StepsMissing) }},
	{[]Code{LinkMissing}, func() Detail { return new(OpenedUnread) }},
	{[]Code{LinkMissing}, func() Detail { return new(DamagedPacked) }},
	{[]Code{LinkMissing}, func() Detail { return new(StepsBackMissing) }},
	{[]Code{LinkMissing}, func() Detail { return new(CaseLeftOpen) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(OutOfOrder) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(PackedAfterRun) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(ClosedAfterRun) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(ChangedClosed) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(OpenedForTwo) }},
	{[]Code{LinkOutOfOrder}, func() Detail { return new(CountedForOther) }},
	{[]Code{TwoPlaces}, func() Detail { return new(PackedAgain) }},
	{[]Code{TwoPlaces}, func() Detail { return new(TwoTrips) }},
	{[]Code{TwoPlaces}, func() Detail { return new(TooFarApart) }},
	{[]Code{TwoPlaces}, func() Detail { return new(OpenedDuringRun) }},
	{[]Code{NotReleased}, func() Detail { return new(OpenedUnreleased) }},
	{[]Code{NotReleased}, func() Detail { return new(RunFailed) }},
	{[]Code{NotReleased}, func() Detail { return new(StartedBeforePacking) }},
	{[]Code{NotReleased}, func() Detail { return new(TwoStarts) }},
	{[]Code{NotReleased}, func() Detail { return new(RunsOverlap) }},
	{[]Code{NotReleased}, func() Detail { return new(LogContradicts) }},
	{[]Code{NotReleased}, func() Detail { return new(ReleasedWithout) }},
	{[]Code{NotReleased}, func() Detail { return new(AfterFailedTest) }},
	{[]Code{NotReleased}, func() Detail { return new(WithoutDayTest) }},
	{[]Code{NotReleased}, func() Detail { return new(WrongCycle) }},
	{[]Code{NotReleased}, func() Detail { return new(IndicatorUnchanged) }},
	{[]Code{ImplantTooEarly}, func() Detail { return new(ImplantEarly) }},
	{[]Code{IndicatorNotSeen}, func() Detail { return new(IndicatorUnseen) }},
	{[]Code{IndicatorNotSeen}, func() Detail { return new(NoIndicator) }},
	{[]Code{LoadRecalled}, func() Detail { return new(Recalled) }},
	{[]Code{ListSuperseded}, func() Detail { return new(OldVersion) }},
	{[]Code{ListSuperseded}, func() Detail { return new(ListUnknown) }},
	{[]Code{CountedOnWrongList}, func() Detail { return new(WrongList) }},
	{[]Code{CountedOnWrongList}, func() Detail { return new(CountedAsAnother) }},
	{[]Code{CountDiffersAtOpen}, func() Detail { return new(FirstDiffers) }},
	{[]Code{CountShort, CountOver}, func() Detail { return new(Midway) }},
	{[]Code{CountShort}, func() Detail { return new(BetweenLines) }},
	{[]Code{CountShort, CountOver}, func() Detail { return new(Misplaced) }},
	{[]Code{CountShort, CountOver}, func() Detail { return new(Unaccounted) }},
	{[]Code{CountShort}, func() Detail { return new(PassedOff) }},
	{[]Code{CountMissing}, func() Detail { return new(LinesUncounted) }},
	{[]Code{CountMissing}, func() Detail { return new(AfterFinal) }},
	{[]Code{CountMissing}, func() Detail { return new(StagesMissing) }},
	{[]Code{CountMissing}, func() Detail { return new(NoList) }},
	{[]Code{CountOnePerson}, func() Detail { return new(NoSecondPerson) }},
	{[]Code{CountOnePerson}, func() Detail { return new(OneBadge) }},
	{[]Code{ClosedUnreconciled}, func() Detail { return new(ClosedOpen) }},
	{[]Code{StaysOnPurpose}, func() Detail { return new(LeftInside) }},
	{[]Code{CameBackOver}, func() Detail { return new(CameBack) }},
	{[]Code{PieceMissing}, func() Detail { return new(MissingSincePacked) }},
	{[]Code{PieceMissing}, func() Detail { return new(UnusedIncomplete) }},
	{[]Code{PieceMigrated}, func() Detail { return new(Migrated) }},
	{[]Code{PieceMigrated}, func() Detail { return new(PackedWithMigrated) }},
	{[]Code{ForImmediateUse}, func() Detail { return new(ImmediateUse) }},
	{[]Code{Corrected}, func() Detail { return new(RestsOnCorrection) }},
	{[]Code{Overdue}, func() Detail { return new(RunOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(ReleaseOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(IndicatorOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(SeenOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(CountOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(CloseOverdue) }},
	{[]Code{Overdue}, func() Detail { return new(LoanOverdue) }},
	{[]Code{LoanDiffers}, func() Detail { return new(LoanArrived) }},
	{[]Code{CameBackShort, LoanDiffers}, func() Detail { return new(LoanHanded) }},
	{[]Code{StationSilent}, func() Detail { return new(Silent) }},
	{[]Code{NotRegistered}, func() Detail { return new(PersonLacks) }},
	{[]Code{NotRegistered}, func() Detail { return new(StationLacks) }},
	{[]Code{NotRegistered}, func() Detail { return new(SterilizerLacks) }},
	{[]Code{NotRegistered}, func() Detail { return new(SetLacks) }},
	{[]Code{EmergencyAccess}, func() Detail { return new(AccessUsed) }},
	{[]Code{StationGap, StationRetired, SignatureBad, ClockDoubtful, RecordUnread}, func() Detail { return new(Remarked) }},
	{[]Code{RecordUnread}, func() Detail { return new(CorrectionUnread) }},
}

// Codes lists every finding code, in the order in which findings of one weight
// are listed.
func Codes() []Code { return slices.Clone(codes) }

// codes are the codes of all details, in their order.
var codes = func() []Code {
	var out []Code
	for _, d := range details {
		for _, c := range d.codes {
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}()

// Way is one way in which a finding comes about.
type Way struct {
	Code Code
	Name string
}

// Ways lists every way of every code.
func Ways() []Way {
	var out []Way
	for _, d := range details {
		for _, c := range d.codes {
			out = append(out, Way{c, d.detail().Way()})
		}
	}
	return out
}

// NewDetail returns an empty detail of a way, nil where there is no such way.
func NewDetail(w Way) Detail {
	for _, d := range details {
		for _, c := range d.codes {
			if x := d.detail(); c == w.Code && x.Way() == w.Name {
				return x
			}
		}
	}
	return nil
}
