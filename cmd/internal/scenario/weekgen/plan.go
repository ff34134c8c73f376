package main

import "time"

const (
	site  = "north"
	seed  = "listbound scenario, north, week 10" // changes every invented number in the week
	title = "One working week at a site called north, with what goes wrong in one"
)

// monday is the first day of the week that the files hold.
var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// twist is what happens to one trip that does not go as it should.
type twist string

const (
	none twist = ""

	sheetOf       twist = "sheet of"       // at opening the holder has the sheet of another trip
	sheetEarlier  twist = "sheet earlier"  // at opening the holder still has the set's previous sheet
	sheetEdited   twist = "sheet edited"   // the sheet is this trip's but for one quantity
	sheetForeign  twist = "sheet foreign"  // the sheet is of a trip that was never recorded here
	sheetSmudged  twist = "sheet smudged"  // the code can't be read
	sheetGone     twist = "sheet gone"     // no sheet where the seal says it is
	sheetUnbagged twist = "sheet unbagged" // right sheet, without its bag
	sheetIgnored  twist = "sheet ignored"  // opened without looking for the sheet
	tagIgnored    twist = "tag ignored"    // opened by its label and sheet, the tag on the tray not read
	labelOf       twist = "label of"       // the outer label is another set's
	sealOther     twist = "seal other"     // another seal number than recorded
	sealTorn      twist = "seal torn"      // a seal is broken before opening
	notSealed     twist = "not sealed"     // the list was never sealed
	sealedLate    twist = "sealed late"    // the list was sealed after the sterilizer
	oldVersion    twist = "old version"    // packed by a list version already replaced
	failedRun     twist = "failed run"     // the sterilizer run failed, the set was used
	notReleased   twist = "not released"   // the run was not released, the set was used
	wrongCycle    twist = "wrong cycle"    // a cycle that the list does not allow
	stripFailed   twist = "strip failed"   // the chemical indicator inside did not change
	usedAgain     twist = "used again"     // opened for another case before, unused, and put back on the shelf
	twoScans      twist = "two scans"      // scanned in the store and on the cart within seconds
	countSheetOf  twist = "count sheet of" // first count made against another set's sheet
	firstDiffers  twist = "first differs"  // one piece fewer at opening than packed; seen and acknowledged
	short         twist = "short"          // one piece fewer from closing on
	over          twist = "over"           // one piece more from closing on
	noClosing     twist = "no closing"     // no count at closing
	lineUncounted twist = "line uncounted" // the final count leaves out two lines
	noWitness     twist = "no witness"     // the final count names one person
	samePerson    twist = "same person"    // one badge in both roles at the first count
	mistyped      twist = "mistyped"       // a first count typed wrong and replaced
	numberJumps   twist = "number jumps"   // the station's numbering has a hole before the opening
	wrongKey      twist = "wrong key"      // a record in a station's name, by another key
	tooHeavy      twist = "too heavy"      // packed above the limit of weight
	packedShort   twist = "packed short"   // assembled after a case with one piece fewer than was counted in it
	packedOver    twist = "packed over"    // and with one piece more
	inRepair      twist = "in repair"      // and without one that was sent to repair
	immediate     twist = "immediate"      // sterilized for immediate use, and stored all the same
	toRepair      twist = "to repair"      // likewise, and only a report says so
	foundLater    twist = "found later"    // without one that is missed when the set is washed, and found in the washer later
	newerProgram  twist = "newer program"  // a correction with a member that is not known here
)

// aCase is one operation of the plan. Its sets are named ("LAP-007"), or by
// kind ("LAP"): then the set of that kind that has rested longest is taken.
type aCase struct {
	ref     string
	day     int // 0 is Monday
	room    int
	start   string // first cut; the sets are opened before
	minutes int
	cavity  bool // a body cavity is entered, and counted before it is closed
	relief  bool // the scrub person is relieved
	sets    string

	outcome string // "" is reconciled, leftOpen records no closing
	reason  string
	actions []string
}

// leftOpen is the outcome of a case that everybody forgot to close.
const leftOpen = "left open"

var cases = []aCase{
	{ref: "K-0401", day: 0, room: 1, start: "11:30", minutes: 130, cavity: true, sets: "LAP MIN RET GYN VAS"},
	{ref: "K-0402", day: 0, room: 2, start: "11:45", minutes: 100, sets: "ORS-001 MIN ORL ORS"},
	{ref: "K-0403", day: 0, room: 3, start: "12:00", minutes: 150, cavity: true, sets: "VAS LAP RET MIN"},
	{ref: "K-0404", day: 0, room: 5, start: "12:15", minutes: 100, sets: "LSC MIN URO-001 LAP RET"},
	{ref: "K-0405", day: 0, room: 4, start: "13:30", minutes: 110, sets: "ORS MIN ORL"},

	{ref: "K-0406", day: 1, room: 1, start: "07:50", minutes: 150, cavity: true, sets: "LAP GYN-002 RET MIN VAS"},
	{ref: "K-0407", day: 1, room: 2, start: "07:55", minutes: 100, sets: "ORL ORS MIN MIN-009 ORS"},
	{ref: "K-0408", day: 1, room: 3, start: "08:00", minutes: 170, relief: true, sets: "CRA MIN ORS"},
	{ref: "K-0409", day: 1, room: 4, start: "08:15", minutes: 140, cavity: true, sets: "THO LAP-004 RET MIN VAS",
		outcome: "unreconciled", reason: "one clamp not found before the patient left the room",
		actions: []string{"surgeon told", "field, floor, linen and waste searched",
			"image taken in the room: nothing seen", "recount by a second pair"}},
	{ref: "K-0410", day: 1, room: 5, start: "08:00", minutes: 100, sets: "LSC LSC MIN URO"},
	{ref: "K-0411", day: 1, room: 1, start: "11:10", minutes: 120, cavity: true, sets: "GYN LAP-010 MIN RET"},
	{ref: "K-0412", day: 1, room: 2, start: "10:40", minutes: 100, sets: "ORL ORS MIN ORL ORS"},
	{ref: "K-0413", day: 1, room: 3, start: "12:00", minutes: 120, cavity: true, sets: "LAP LAP URO-002 MIN RET"},
	{ref: "K-0414", day: 1, room: 5, start: "10:45", minutes: 110, sets: "LSC-002 URO MIN"},

	{ref: "K-0415", day: 2, room: 1, start: "08:00", minutes: 140, cavity: true, sets: "LAP-007 GYN RET MIN VAS-003"},
	{ref: "K-0416", day: 2, room: 2, start: "07:55", minutes: 100, sets: "ORL ORS-002 MIN-003 MIN-004 ORS"},
	{ref: "K-0417", day: 2, room: 3, start: "07:50", minutes: 160, sets: "CRA-002 MIN CRA"},
	{ref: "K-0418", day: 2, room: 4, start: "07:50", minutes: 110, cavity: true, sets: "THO-002 LAP-003 RET"},
	{ref: "K-0419", day: 2, room: 5, start: "08:00", minutes: 100, sets: "LSC-006 LSC-007 URO-004 MIN"},
	{ref: "K-0420", day: 2, room: 3, start: "11:15", minutes: 130, cavity: true, sets: "LAP-008 GYN MIN RET VAS"},
	{ref: "K-0421", day: 2, room: 1, start: "11:00", minutes: 110, cavity: true, sets: "LAP-012 GYN MIN RET"},
	{ref: "K-0422", day: 2, room: 2, start: "10:40", minutes: 100, sets: "ORL ORS ORL MIN ORS"},
	{ref: "K-0423", day: 2, room: 4, start: "10:20", minutes: 90, cavity: true, sets: "VAS MIN LAP"},
	{ref: "K-0424", day: 2, room: 5, start: "10:45", minutes: 100, sets: "LSC-001 URO MIN LAP RET"},

	{ref: "K-0425", day: 3, room: 1, start: "07:50", minutes: 140, cavity: true,
		sets: "RET-003 LAP-012 GYN-005 MIN VAS"},
	{ref: "K-0426", day: 3, room: 2, start: "08:20", minutes: 110, cavity: true,
		sets: "GYN-004 LAP MIN-001 MIN-002 RET"},
	{ref: "K-0427", day: 3, room: 3, start: "07:50", minutes: 150, relief: true, sets: "CRA ORS-005 MIN ORS",
		outcome: leftOpen},
	{ref: "K-0428", day: 3, room: 4, start: "08:00", minutes: 130, cavity: true, sets: "THO-003 URO-003 RET-005 MIN"},
	{ref: "K-0429", day: 3, room: 5, start: "07:50", minutes: 100, sets: "LSC-006 LSC MIN URO"},
	{ref: "K-0430", day: 3, room: 1, start: "11:10", minutes: 130, cavity: true,
		sets: "LAP-011 LAP-006 GYN-003 MIN VAS"},
	{ref: "K-0431", day: 3, room: 3, start: "11:15", minutes: 120, cavity: true,
		sets: "VAS-002 VAS-004 RET-006 MIN-010"},
	{ref: "K-0432", day: 3, room: 2, start: "11:10", minutes: 100, sets: "ORL-004 ORS MIN-012",
		outcome: "unreconciled", reason: "one piece more than the list has; where it belongs was not found out",
		actions: []string{"surgeon told", "recount by the same pair", "packing asked"}},
	{ref: "K-0433", day: 3, room: 4, start: "11:15", minutes: 110, cavity: true, sets: "LAP GYN-006 MIN RET"},
	{ref: "K-0434", day: 3, room: 5, start: "10:45", minutes: 100, sets: "LAP URO MIN ORL RET"},

	{ref: "K-0435", day: 4, room: 1, start: "07:50", minutes: 120, cavity: true, sets: "LAP-003 RET MIN GYN VAS"},
	{ref: "K-0436", day: 4, room: 2, start: "07:55", minutes: 100, sets: "ORL ORS-006 MIN-008 ORS"},
	{ref: "K-0437", day: 4, room: 3, start: "07:50", minutes: 150, sets: "CRA-003 MIN-011 ORS"},
	{ref: "K-0438", day: 4, room: 4, start: "08:00", minutes: 120, cavity: true, sets: "THO-004 LAP-001 RET VAS-005"},
	{ref: "K-0439", day: 4, room: 5, start: "08:00", minutes: 100, sets: "LAP-002 URO MIN ORS RET"},
	{ref: "K-0440", day: 4, room: 1, start: "10:50", minutes: 110, cavity: true, sets: "LAP GYN MIN-005 RET VAS"},
	{ref: "K-0441", day: 4, room: 2, start: "10:30", minutes: 100, sets: "ORL ORS MIN LAP ORS"},
	{ref: "K-0442", day: 4, room: 3, start: "11:15", minutes: 100, cavity: true, sets: "LAP VAS RET URO MIN"},
	{ref: "K-0443", day: 4, room: 5, start: "10:40", minutes: 90, sets: "LSC MIN URO"},
}

// held are sets that stay on the shelf for a day: the day's story needs them there.
var held = map[int]string{
	2: "GYN-005 THO-003 RET-005 RET-006 MIN-001 MIN-002 RET-003 GYN-004 VAS-002",
	3: "VAS-005 THO-004 LAP-001 LAP-002 LAP-003 MIN-006 MIN-005 LSC-007 LSC-001",
	4: "MIN-006 LSC-007 LSC-001 LSC-006",
}

// shelf in place of a case: the trip is not opened within the week.
const shelf = "shelf"

// planned are the trips that go wrong, by set and case. other is a set and
// case too; item is what is short or over.
var planned = []struct {
	set, ref string
	what     twist
	other    string // SET@CASE
	item     string
}{
	// Twins: two sets of one kind changed sheets in the store. Found at the
	// opening of the first; the second could have been stopped.
	{set: "LAP-007", ref: "K-0415", what: sheetOf, other: "LAP-008@K-0420"},
	{set: "LAP-008", ref: "K-0420", what: sheetOf, other: "LAP-007@K-0415"},
	// Three sets of three kinds, in a ring.
	{set: "RET-003", ref: "K-0425", what: sheetOf, other: "GYN-004@K-0426"},
	{set: "GYN-004", ref: "K-0426", what: sheetOf, other: "VAS-002@K-0431"},
	{set: "VAS-002", ref: "K-0431", what: sheetOf, other: "RET-003@K-0425"},
	// Seen on one side only: MIN-006 still stands on the shelf.
	{set: "MIN-005", ref: "K-0440", what: sheetOf, other: "MIN-006@" + shelf},

	{set: "LAP-003", ref: "K-0435", what: sheetEarlier},
	{set: "ORS-005", ref: "K-0427", what: sheetEdited},
	{set: "URO-003", ref: "K-0428", what: sheetForeign},
	{set: "MIN-009", ref: "K-0407", what: sheetSmudged},
	{set: "THO-002", ref: "K-0418", what: sheetGone},
	{set: "CRA-002", ref: "K-0417", what: sheetUnbagged},
	{set: "GYN-006", ref: "K-0433", what: sheetIgnored},
	{set: "MIN-004", ref: "K-0416", what: tagIgnored},
	{set: "MIN-001", ref: "K-0426", what: labelOf, other: "MIN-002@K-0426"},
	{set: "MIN-002", ref: "K-0426", what: labelOf, other: "MIN-001@K-0426"},
	{set: "LAP-010", ref: "K-0411", what: sealOther},
	{set: "VAS-003", ref: "K-0415", what: sealTorn},

	{set: "URO-004", ref: "K-0419", what: notSealed},
	{set: "MIN-010", ref: "K-0431", what: sealedLate},
	{set: "LAP-012", ref: "K-0425", what: oldVersion},
	{set: "ORS-002", ref: "K-0416", what: failedRun},
	{set: "LAP-011", ref: "K-0430", what: notReleased},
	{set: "CRA-003", ref: "K-0437", what: wrongCycle},
	{set: "MIN-011", ref: "K-0437", what: stripFailed},
	{set: "RET-006", ref: "K-0431", what: usedAgain},
	{set: "ORS-006", ref: "K-0436", what: twoScans},

	{set: "MIN-003", ref: "K-0416", what: countSheetOf, other: "MIN-004@K-0416"},
	{set: "GYN-002", ref: "K-0406", what: firstDiffers, item: "FCP-185"},
	{set: "LAP-004", ref: "K-0409", what: short, item: "FCP-140"},
	{set: "MIN-012", ref: "K-0432", what: over, item: "FCP-126"},
	// One clamp of LAP-006 lies in GYN-003.
	{set: "LAP-006", ref: "K-0430", what: short, item: "FCP-200"},
	{set: "GYN-003", ref: "K-0430", what: over, item: "FCP-200"},
	// Hours after K-0433 LAP-014 is assembled without a forceps that was counted at the end.
	{set: "LAP-014", ref: shelf, what: packedShort, item: "FCP-125"},
	// A clamp of LAP-005 went into GYN-002 after K-0440.
	{set: "LAP-005", ref: shelf, what: packedShort, item: "FCP-200"},
	{set: "GYN-002", ref: shelf, what: packedOver, item: "FCP-200"},
	{set: "ORL-006", ref: shelf, what: inRepair, item: "RTR-070"},
	{set: "LAP-001", ref: shelf, what: toRepair, item: "NHD-200"},
	{set: "VAS-005", ref: shelf, what: foundLater, item: "FCP-181"},
	{set: "THO-003", ref: "K-0428", what: immediate},
	// A forceps of a craniotomy set went into MIN-011 after K-0437: a breach, wherever it is.
	{set: "CRA-003", ref: shelf, what: packedShort, item: "FCP-140"},
	{set: "MIN-011", ref: shelf, what: packedOver, item: "FCP-140"},
	// A clamp of THO-004 stayed in the washer after K-0438, and LAP-003 of another case was in the same load.
	{set: "THO-004", ref: shelf, what: packedShort, item: "FCP-200"},
	{set: "LAP-003", ref: shelf, what: packedOver, item: "FCP-200"},
	{set: "ORL-004", ref: "K-0432", what: noClosing},
	{set: "LAP-013", ref: "K-0426", what: tooHeavy},
	{set: "VAS-004", ref: "K-0431", what: lineUncounted},
	{set: "ORS-001", ref: "K-0402", what: noWitness},
	{set: "LSC-001", ref: "K-0424", what: samePerson},
	{set: "URO-002", ref: "K-0413", what: mistyped, item: "FCP-190"},

	{set: "LSC-002", ref: "K-0414", what: numberJumps},
	{set: "MIN-008", ref: "K-0436", what: wrongKey},
	{set: "LAP-002", ref: "K-0439", what: newerProgram},
}

// positive are the loads whose biological indicator showed growth. S3's was
// the only one in its row; S4's was followed by a second.
var positive = []string{"S3-0303-01", "S4-0304-01", "S4-0304-02"}

// ownKeys are the stations that keep their own key and hand in signed notes.
var ownKeys = []string{site + "/or-5", site + "/transfer"}

// offline is a station without a connection for a while: what it observed
// from the one moment on arrives at the other.
var offline = struct {
	station     string
	day         int
	from, until string
}{site + "/or-4", 2, "06:00", "12:40"}

// A handheld scanner's clock is ahead all week; another's was set back after a
// change of battery.
const (
	aheadStation = site + "/handheld-1"
	backStation  = site + "/handheld-2"
	aheadBy      = 47 * time.Minute
	backBy       = 52 * time.Minute
	delay        = 2 * time.Second
)

// highRisk is the list whose sets are used on tissues of high risk: of the brain.
const highRisk = "CRA-MAIN"

// scansBack is the day from which on the way of sets back from their cases is scanned.
const scansBack = 4

// revision of the one list that changes midweek.
var revision = struct {
	list, at string
	day      int
	lines    map[string]int64 // item: new quantity
	added    string           // a line more, as in kinds
}{"LAP-MAJOR", "11:10", 2, map[string]int64{"FCP-140": 12, "NHD-240": 3}, "TFC-300*2"}
