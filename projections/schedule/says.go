package schedule

import (
	"maps"
	"slices"
)

// says are the sentences of problems by their keys, in English. Pages have their own, by the same keys and with the same
// values.
var says = map[string]string{
	"no-json":              "this is no JSON: hand in a FHIR Appointment, or a Bundle of them, as it was sent",
	"no-appointment":       "there is no Appointment in it: hand in FHIR R4 Appointments, or a Bundle with some",
	"bundle-unread":        "the Bundle is none as FHIR R4 writes it",
	"appointment-unread":   "the Appointment is none as FHIR R4 writes it",
	"appointment-nameless": "the Appointment has neither an identifier nor an id",
	"no-instant":           "%s: this is no instant as FHIR writes it, 2026-03-04T07:30:00+01:00",
	"msh-cut":              "MSH is cut off: its second field names the separators, as in MSH|^~\\&",
	"msh-separators":       "MSH names separators that can be none: it begins as in MSH|^~\\&",
	"no-sch":               "the message has no SCH segment",
	"no-case-id":           "the message names no case: neither SCH-2 nor SCH-1 has an id",
	"aig-quantity":         "AIG-6: the quantity goes from 1 to %d",
	"no-stamp":             "%s: this is no day with a time: it is written as 202603040730, and may have a zone, +0100",
	"no-zone":              "%s: the zone is written as +0100 or -0500",
	"clocks-forward":       "%s: the clocks of the site go forward over this time",
	"too-large":            "the schedule has %d bytes; it has up to %d",
	"spreadsheet":          "this is a spreadsheet: save it as CSV",
	"no-text":              "this is no text: export the schedule as CSV, HL7 v2 or FHIR JSON",
	"empty":                "the schedule is empty",
	"no-case":              "there is no case in it",
	"too-many":             "there are more than %d cases in it: hand it in by parts",
	"no-start":             "the case has no start: say when it begins, or that it is cancelled",
	"no-case-column":       "no line has the heading of a column with cases: name the columns in a line of their own, the case's \"case\"",
	"no-start-column":      "there is no column with the start: name one \"start\", or two \"day\" and \"time\"",
	"case-missing":         "the case's reference is missing",
	"state-word":           "the word for the state is not known: it is booked, changed or cancelled",
	"list-quantity":        "the number of sets of a list goes from 1 to %d",
	"list-missing":         "a number of sets stands without its list: write LAP-MAJOR x2",
	"month-first":          "%s: whether 3/4/2026 is in March or in April is not known: say --days mdy or dmy, or write 2026-03-04 07:30",
	"no-moment":            "%s: this is no day with a time: write it as 2026-03-04 07:30",
	"case-refused":         "%s",
	"case-unprintable":     "the case's reference or the room has a space, or is too long, or has a character that can't be printed",
}

// Says returns the keys of all problems.
func Says() []string { return slices.Sorted(maps.Keys(says)) }
