//go:build !race

package meant_test

import (
	"fmt"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestQuestionBesideStopStays: what is asked beside a STOP stays in sight where an input came before it was shown: its answers
// do, and without it nobody knows to what.
func TestQuestionBesideStopStays(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	s.Scan(workplacetest.Label(t, events.ScanOuter, "LAP-014"))
	shown := s.Scan(h.Codes["LAP-022"])
	workplacetest.Must(t, s.Scan("4"), "broken", "4: what is it?")
	s.Number++
	late := h.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"t","n":%d,"rev":%v,"text":"1"}`, s.Number, shown["rev"]))
	workplacetest.Must(t, late, "broken", "Not taken", "4: what is it?")
}

// TestQuestionBesideAnother: nor does what closing the case asks for take its words away, whose answers stay: a button said
// what nobody was asked.
func TestQuestionBesideAnother(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanCase, "K-1")), "broken", "Case K-1 is open")
	workplacetest.Must(t, s.All("QQ-7"), "QQ-7: what is it?")
	asked := s.Do("record")
	workplacetest.Must(t, asked, "broken", "say why", "QQ-7: what is it?")
}

// TestKeyOfNoButton: the key of a button that there isn't is no number, by which a step was said that nobody meant.
func TestKeyOfNoButton(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/return"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-003")), "which step is this?")
	for _, key := range []string{"+4", "+9", "-1"} {
		s.All(key)
		workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "VAS-003")), "which step is this?")
	}
	workplacetest.Must(t, s.All("4"), "Enter records: VAS-003 inspected")
}

// TestStepGoesWithTheDay: a page of yesterday shows a step that is no longer chosen. A number typed there is no other step.
func TestStepGoesWithTheDay(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-7"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	shown := s.All("2")
	workplacetest.Must(t, shown, "Enter records: VAS-003 received")
	h.After(24 * time.Hour)
	s.Number++
	late := h.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"t","n":%d,"rev":%v,"text":"1"}`, s.Number, shown["rev"]))
	workplacetest.Must(t, late, "Not taken", "VAS-003: which step is this?")
	s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
	workplacetest.Must(t, s.All(""), "VAS-003: which step is this?")
	workplacetest.Must(t, s.All("1"), "Enter records: VAS-003 left the room") // it is shown now
}

// TestLoadOfWhoWentOn: the load that was said before a badge went on from another place is of whoever that badge is. The next
// person is asked about it.
func TestLoadOfWhoWentOn(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), "3")
	store := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage", Number: 100}
	store.All(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, s.Do("load", "washer", "W2", "run", "3"), "Enter records: VAS-003 washed")
	s.Do("next-person")
	a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, a, "was it in load W2-0304-03 too?")
}

// TestLotLikeALabel: a bag's lot that begins as our own labels do is a lot, once somebody has said so: the button's value is no
// scan.
func TestLotLikeALabel(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Packed("VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.All(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Do("placement", "placement", "inside-bag")
	workplacetest.Must(t, s.All("X9"), "X9: is that the lot of the bag?")
	workplacetest.Must(t, s.Do("bag-lot", "value", "X9"), "badge")
}
