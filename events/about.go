package events

import (
	"slices"
	"strings"
)

// maxCorrections ends a row of corrections of corrections, which a forged one may close to a ring.
const maxCorrections = 16

// About returns what an event is about, as the ledger links its records: "set LAP-014", "case K-0412", "load S2-0302-04",
// "list LAP-MAJOR", "sterilizer S1/2026-03-04" for the tests of its day, "station north/or-3" where that is enrolled or
// retired, "entry people/B-1182" for a register's entry,
// "site north" for policies, registers that are held to, losses and the ledger's keys. A tray
// whose tag was read is one that the event is about, whatever set it names. An event that corrects another is about what
// that one is about, and about what it puts in its place; find returns the first event recorded before under an id, nil
// for none. One that came before what it corrects is about "event ID", and what it corrects is about that too
// ([Awaited]). The order is that of the bytes, and each stands once.
func About(e *Event, find func(id string) *Event) []string {
	var a about
	a.event(e, find, 0)
	slices.Sort(a)
	return slices.Compact(a)
}

// subjectEvent is what a correction is about while what it corrects has not come.
const subjectEvent SubjectKind = "event"

// Awaited is what corrections of an event are about that came before it.
func Awaited(e *Event) string { return string(subjectEvent) + " " + e.ID }

// IsAwaited reports whether something that a record is about is an event that had not come when it was corrected.
func IsAwaited(key string) bool { return strings.HasPrefix(key, string(subjectEvent)+" ") }

type about []string

func (a *about) add(kind SubjectKind, name string) {
	if name != "" {
		*a = append(*a, string(kind)+" "+name)
	}
}

func (a *about) event(e *Event, find func(id string) *Event, depth int) {
	switch k := e.Kind(); {
	case k.AboutSet():
		a.add(SubjectSet, e.Subject)
	case k == KindListIssued, k == KindStationEnrolled, k == KindStationRetired, k == KindPolicyAdopted, k == KindRecordsLost,
		k == KindKeyReplaced, k == KindRegistersAdopted, k == KindPlacementsAssessed, k.SaysOfTexts(), k.Subject() == SubjectEntry:
		a.add(k.Subject(), e.Subject)
	}
	a.data(e.Data)
	c, ok := e.Data.(*EventCorrected)
	if !ok || depth == maxCorrections {
		return
	}
	of := find(c.Event)
	if of == nil {
		a.add(subjectEvent, c.Event)
		return
	}
	a.event(of, find, depth+1)
	if c.Action == "replace" {
		if d, err := ParseObservedData(of.Kind(), c.Data); err == nil {
			a.data(d)
		}
	}
}

// AboutTests is what the tests of a sterilizer's day are about.
func AboutTests(sterilizer, day string) string {
	return string(SubjectSterilizer) + " " + testsOf(sterilizer, day)
}

func testsOf(sterilizer, day string) string { return sterilizer + "/" + day }

// data adds what data names besides the subject.
func (a *about) data(d Data) {
	a.add(SubjectCase, CaseOf(d))
	a.add(SubjectLoad, LoadOf(d))
	switch d := d.(type) {
	case *SetChecked:
		a.add(SubjectSet, d.Tag)
	case *SterilizerTested:
		a.add(SubjectSterilizer, testsOf(d.Sterilizer, d.Day))
	case *SetOpened:
		a.add(SubjectSet, d.Tag)
	}
}
