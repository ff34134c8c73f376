package events

import "slices"

// maxCorrections ends a row of corrections of corrections, which a forged one may close to a ring.
const maxCorrections = 16

// About returns what an event is about, as the ledger links its records: "set LAP-014", "case K-0412", "load S2-0302-04",
// "list LAP-MAJOR", "station north/or-3" where that is enrolled or retired, "site north" for policies, losses and the ledger's keys. A tray
// whose tag was read is one that the event is about, whatever set it names. An event that corrects another is about what
// that one is about, and about what it puts in its place; find returns the first event recorded before under an id, nil
// for none. The order is that of the bytes, and each stands once.
func About(e *Event, find func(id string) *Event) []string {
	var a about
	a.event(e, find, 0)
	slices.Sort(a)
	return slices.Compact(a)
}

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
		k == KindKeyReplaced:
		a.add(k.Subject(), e.Subject)
	}
	a.data(e.Data)
	c, ok := e.Data.(*EventCorrected)
	if !ok || depth == maxCorrections {
		return
	}
	of := find(c.Event)
	if of == nil {
		return
	}
	a.event(of, find, depth+1)
	if c.Action == "replace" {
		if d, err := ParseObservedData(of.Kind(), c.Data); err == nil {
			a.data(d)
		}
	}
}

// data adds what data names besides the subject.
func (a *about) data(d Data) {
	a.add(SubjectCase, CaseOf(d))
	a.add(SubjectLoad, LoadOf(d))
	switch d := d.(type) {
	case *SetChecked:
		a.add(SubjectSet, d.Tag)
	case *SetOpened:
		a.add(SubjectSet, d.Tag)
	}
}
