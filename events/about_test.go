package events

import (
	"slices"
	"strings"
	"testing"
)

// TestAboutCorrected: a correction is about what it corrects, through a row of corrections, and about what it puts in place.
func TestAboutCorrected(t *testing.T) {
	t.Parallel()
	at := func(id string, d Data) *Event {
		e := testEvent(d, "north/or-3", 1, "", testTime)
		if e.ID = id; d.Kind() == KindEventCorrected {
			e.Subject = ""
		}
		return e
	}
	opened := at("one", &SetOpened{Case: "K-1"})
	fix := at("two", &EventCorrected{Event: "one", Action: "replace", Data: []byte(`{"case":"K-2","tag":"LAP-015"}`)})
	unfit := at("three", &EventCorrected{Event: "one", Action: "replace", Data: []byte(`{"case":7}`)})
	void := at("four", &EventCorrected{Event: "one", Action: "void", Data: []byte(`{"case":"K-3"}`)})
	ring := at("five", &EventCorrected{Event: "five", Action: "void"})
	early := at("six", &EventCorrected{Event: "none", Action: "void"})
	of := map[string]*Event{"one": opened, "two": fix, "five": ring}
	find := func(id string) *Event { return of[id] }
	for _, x := range []struct {
		e    *Event
		want string
	}{
		{fix, "case K-1, case K-2, set LAP-014, set LAP-015"},
		{unfit, "case K-1, set LAP-014"},
		{void, "case K-1, set LAP-014"},
		{at("seven", &EventCorrected{Event: "two", Action: "void"}), "case K-1, case K-2, set LAP-014, set LAP-015"},
		{ring, ""},
		{early, "event none"},
	} {
		if got := strings.Join(About(x.e, find), ", "); got != x.want {
			t.Errorf("correction %s is about %q, want %q", x.e.ID, got, x.want)
		}
	}
	// A row is followed for as far as the bound, and no farther.
	asked := 0
	last := About(ring, func(id string) *Event { asked++; return ring })
	if asked != maxCorrections || len(last) != 0 {
		t.Errorf("a ring was gone round %d times, and is about %q", asked, last)
	}
	if key := Awaited(opened); key != "event one" || !IsAwaited(key) || IsAwaited("events one") || IsAwaited("set one") {
		t.Errorf("what is awaited is called %q", key)
	}
}

// TestPeople: the badges of an event stand once, in order, and none is empty.
func TestPeople(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		operator string
		d        Data
		want     []string
	}{
		{"B-2", &SetPacked{SecondLook: "B-1"}, []string{"B-1", "B-2"}},
		{"B-2", &SetPacked{}, []string{"B-2"}},
		{"", &SetSterilized{Loader: "B-3"}, []string{"B-3"}},
		{"B-2", &SetCounted{Counter: "B-2", Witness: "B-1"}, []string{"B-1", "B-2"}},
		{"B-2", &CaseClosed{Witness: "B-9"}, []string{"B-2", "B-9"}},
		{"B-2", &SetOpened{}, []string{"B-2"}},
		{"", &SetChecked{}, nil},
	} {
		if got := People(x.operator, x.d); !slices.Equal(got, x.want) {
			t.Errorf("%s by %q: %q, want %q", x.d.Kind(), x.operator, got, x.want)
		}
	}
}

// TestEntries: each entry tells its register, its code and when it holds; one without a code has no key.
func TestEntries(t *testing.T) {
	t.Parallel()
	held := Held{Ended: true}
	for _, x := range []struct {
		entry, empty Entry
		register     Register
	}{
		{&PersonEntered{Badge: "one", Held: held}, &PersonEntered{}, RegisterPeople},
		{&SetEntered{Set: "one", Held: held}, &SetEntered{}, RegisterSets},
		{&PlaceEntered{Place: "one", Held: held}, &PlaceEntered{}, RegisterPlaces},
		{&StationEntered{Name: "one", Held: held}, &StationEntered{}, RegisterStations},
		{&SterilizerEntered{Sterilizer: "one", Held: held}, &SterilizerEntered{}, RegisterSterilizers},
	} {
		register, id := x.entry.Named()
		if register != x.register || id != "one" || x.entry.Holding() != held {
			t.Errorf("%s: %s, %s, %+v", x.entry.Kind(), register, id, x.entry.Holding())
		}
		if r, code := SplitEntryKey(x.entry.Keys()[KeyEntry]); r != register || code != id {
			t.Errorf("%s has the key %q", x.entry.Kind(), x.entry.Keys()[KeyEntry])
		}
		if x.empty.Keys() != (Keys{}) {
			t.Errorf("a %s without a code has a key", x.empty.Kind())
		}
	}
	if (&AccessClaimed{}).Keys() != (Keys{}) {
		t.Error("access without a badge has a key")
	}
	if RoleFor(KindListIssued) != RoleLeads || RoleFor(KindSetPacked) != RoleRecords || RoleFor(KindEventCorrected) != RoleRecords {
		t.Error("a badge stands for another role")
	}
	if WorkOf(KindSetOpened) != WorkRoom || WorkOf(KindSetChecked) != "" || WorkOf("none") != "" {
		t.Error("a kind is of other work")
	}
}

// TestKindsOfRegisters: what says something of registers, and of texts, is told from what doesn't.
func TestKindsOfRegisters(t *testing.T) {
	t.Parallel()
	registers := []Kind{KindPersonEntered, KindSetEntered, KindPlaceEntered, KindStationEntered, KindSterilizerEntered,
		KindRegistersAdopted}
	if got := KindsWhere(Kind.IsRegister); !slices.Equal(got, registers) {
		t.Errorf("of registers are %q", got)
	}
	texts := []Kind{KindTextsRedacted, KindHoldPlaced, KindHoldLifted, KindRetentionAdopted}
	if got := KindsWhere(Kind.SaysOfTexts); !slices.Equal(got, texts) {
		t.Errorf("of texts are %q", got)
	}
	if loans := []ReturnStep{ReturnArrived, ReturnHanded}; !slices.Equal(LoanSteps(), loans) || !ReturnArrived.IsLoan() ||
		!ReturnHanded.IsLoan() || ReturnLeft.IsLoan() {
		t.Error("the steps of a lent set are others")
	}
}
