// Package schedule reads what the surgical schedule says of cases: which case is in which room when, and which sets it
// wants. It reads a table (CSV), HL7 v2 messages (SIU^S12 to S15, as the file of an interface or framed by MLLP) and FHIR R4
// (Appointment, alone, in an array or in a Bundle).
//
// A schedule is full of patients. What is read is named here field by field, and all else is never looked at: no patient's
// field is copied, and no error repeats a value, since errors are shown and kept.
//
//	CSV    the columns that a heading names: case, room, start or day and time, state, sets, lists, said
//	HL7    MSH-7 and -9; SCH-1, -2, -11.4, -26, -27; TQ1-7; AIS-2, -3.1, -4; AIG-2, -3.1, -3.4, -6; AIL-2, -3.1, -3.2, -6
//	FHIR   identifier.value, id, status, start, meta.lastUpdated, serviceType.coding.code; of participants and
//	       supportingInformation the ones that are a Location or a Device; a Location's id and name
package schedule

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"listbound/projections/rowtext"
)

// MaxBytes is how long a schedule may be: messages of a whole day of a large house are a few megabytes.
const MaxBytes = 16 << 20

// maxEntries is how many cases a schedule may have.
const maxEntries = 5000

// State is what a schedule says has become of a case.
type State string

// The states.
const (
	Booked    State = "booked"
	Changed   State = "changed"
	Cancelled State = "cancelled"
)

// Wanted is something that a case wants: a set, or some sets of a list.
type Wanted struct {
	IDs   []string // what it is called: the first that is known here is meant
	Count int64    // of a list
	As    As
	// Perhaps says that the message may as well mean a person or a room: what is not known here is passed over.
	Perhaps bool
}

// As is what an id stands for.
type As string

// The meanings of an id.
const (
	ASet    As = "set"
	AList   As = "list"
	AnyOf   As = "" // a list or a set, whichever is known
	AsCount    = 1  // how many sets of a list where nobody says it
)

// Entry is what a schedule says of one case.
type Entry struct {
	Row   int // the line of the file in which it begins, from 1; of FHIR which appointment
	Case  string
	Room  string    // "" where it says nothing of a room
	Start time.Time // zero where it says no time, as a cancellation may
	State State     // "" where it doesn't say whether this is new
	// Wanted is nil where nothing is said of sets: then what was said before stands.
	Wanted []Wanted
	Said   time.Time // when the schedule said so; zero where it doesn't say
}

// Problem is what is wrong with a line. It repeats nothing that stands there.
type Problem struct {
	Row  int    `json:"row"` // 0: the file as a whole
	Key  string `json:"-"`   // of its sentence, see Says
	Args []any  `json:"-"`   // its values: names of fields, and bounds
	What string `json:"what"`
}

// Wrong returns a problem by the key of its sentence.
func Wrong(row int, key string, args ...any) Problem {
	return Problem{Row: row, Key: key, Args: args, What: fmt.Sprintf(says[key], args...)}
}

func (p Problem) String() string {
	if p.Row == 0 {
		return p.What
	}
	return fmt.Sprintf("line %d: %s", p.Row, p.What)
}

// How says how a site's schedule is read.
type How struct {
	Zone *time.Location // of times that don't say theirs
	// Columns finds what a heading of a table means, by the heading as Heading has it; States what a word for a state means.
	Columns map[string]string
	States  map[string]State
	// MonthFirst says that 3/4/2026 is the fourth of March; DayFirst that it is the third of April. Without either such a
	// day is refused.
	MonthFirst, DayFirst bool
	// CaseFits says which of several ids of an appointment is the case's, by the site's pattern; nil: the first.
	CaseFits func(string) bool
}

// Read is what was read of a file.
type Read struct {
	Entries  []Entry
	Passed   int // messages and appointments that are of nothing that was asked for, or not booked yet
	Problems []Problem
}

// Columns are the columns that a table may have, the first must be there.
func Columns() []string { return slices.Clone(columns) }

var columns = []string{"case", "room", "start", "day", "time", "state", "sets", "lists", "said"}

// Heading is a heading, or a word for a state, as it is compared.
func Heading(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(stops.Replace(s)), " "))
}

var stops = strings.NewReplacer(".", "", ":", "")

// Parse reads a schedule, in whichever of the forms it is.
func Parse(raw []byte, how *How) Read {
	r := reader{how: how}
	if len(raw) > MaxBytes {
		r.wrong(0, "too-large", len(raw), MaxBytes)
		return r.out
	}
	if bytes.HasPrefix(raw, []byte("PK\x03\x04")) {
		r.wrong(0, "spreadsheet")
		return r.out
	}
	text, err := rowtext.Decode(raw)
	if err != nil {
		r.wrong(0, "no-text")
		return r.out
	}
	switch begin := strings.TrimLeft(text, " \t\r\n"); {
	case begin == "":
		r.wrong(0, "empty")
	case strings.ContainsRune("{[", rune(begin[0])):
		r.fhir([]byte(text))
	case isHL7(begin):
		r.hl7(text)
	default:
		r.table(text)
	}
	if len(r.out.Problems) == 0 && len(r.out.Entries) == 0 && r.out.Passed == 0 {
		r.wrong(0, "no-case")
	}
	return r.out
}

// reader reads one file.
type reader struct {
	how *How
	out Read
}

// mostProblems bounds what is said of a file that is wrong in every line.
const mostProblems = 100

func (r *reader) wrong(row int, key string, args ...any) {
	if len(r.out.Problems) < mostProblems {
		r.out.Problems = append(r.out.Problems, Wrong(row, key, args...))
	}
}

// add takes an entry in.
func (r *reader) add(e *Entry) {
	switch {
	case len(r.out.Entries) == maxEntries:
		if len(r.out.Problems) == 0 {
			r.wrong(0, "too-many", maxEntries)
		}
	case e.Start.IsZero() && e.State != Cancelled:
		r.wrong(e.Row, "no-start")
	default:
		r.out.Entries = append(r.out.Entries, *e)
	}
}

// caseOf is the case's reference among the ids that an appointment has; "" where it has none.
func (r *reader) caseOf(ids ...string) string {
	first := ""
	for _, id := range ids {
		if id = strings.TrimSpace(id); id == "" {
			continue
		}
		first = cmp.Or(first, id)
		if r.how.CaseFits != nil && r.how.CaseFits(id) {
			return id
		}
	}
	return first
}

// at is a moment by the clocks of the site; false for one that they don't show, in the night when they go forward.
func (r *reader) at(year, month, day, hour, minute, second int) (time.Time, bool) {
	zone := cmp.Or(r.how.Zone, time.UTC)
	t := time.Date(year, time.Month(month), day, hour, minute, second, 0, zone)
	y, m, d := t.Date()
	h, n, s := t.Clock()
	return t, y == year && int(m) == month && d == day && h == hour && n == minute && s == second
}

// maxRoom is how long a room's name may be: what is longer is no room's.
const maxRoom = 40

// room is a room's name, cut to one line.
func room(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if len([]rune(s)) > maxRoom {
		return string([]rune(s)[:maxRoom])
	}
	return s
}
