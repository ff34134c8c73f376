//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

const stopThere = "At north/or-3 a STOP of LAP-014 stands since"

// TestStopOfAnotherStation: a STOP that was walked away from is known at the other stations until somebody answers it: of the
// set that was read there and of the one whose sheet lay with it, hours later too. What was not a STOP there is none here.
func TestStopOfAnotherStation(t *testing.T) {
	h := workplacetest.NewHouse(t)
	room := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	shelf := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	look := func(set string) string {
		t.Helper()
		h.After(3 * time.Second)
		shelf.Reads(set)
		a := shelf.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
		shelf.Do("clear")
		shelf.Do("forget")
		return workplacetest.Tells(a) + fmt.Sprint(a["older"])
	}
	room.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"))
	if told := look("LAP-014"); !strings.HasPrefix(told, "whole") {
		t.Fatalf("before any STOP: %s", told)
	}
	workplacetest.Must(t, room.All(h.Codes["LAP-022"]), "broken", "WRONG COUNT SHEET")
	for range 2 {
		for _, set := range []string{"LAP-014", "LAP-022"} {
			if told := look(set); !strings.HasPrefix(told, "doubtful") || !strings.Contains(told, stopThere) ||
				!strings.Contains(told, "WRONG COUNT SHEET") || !strings.Contains(told, "Enter records") {
				t.Errorf("%s: %s", set, told)
			}
		}
		if told := look("VAS-003"); strings.Contains(told, "STOP of") {
			t.Errorf("another set: %s", told)
		}
		h.After(5 * time.Hour)
	}
	// Answered there it is in the ledger, and no STOP that nobody has answered.
	room.Do("put-aside")
	size := h.Size()
	room.All("1", workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() == size {
		t.Fatal("not put aside")
	}
	if told := look("LAP-014"); strings.Contains(told, stopThere) || !strings.Contains(told, "PUT ASIDE") {
		t.Errorf("put aside: %s", told)
	}
}

// TestStopOfAnotherStationOpensAmber: so it is where the set is opened at another station, before and after Enter, and where
// it is put into a load.
func TestStopOfAnotherStationOpensAmber(t *testing.T) {
	h := workplacetest.NewHouse(t)
	if _, err := h.Site.Enrol(t.Context(), "north/or-4", "", "test"); err != nil {
		t.Fatal(err)
	}
	room := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"),
		h.Codes["LAP-022"]), "broken")
	h.After(10 * time.Minute)
	other := &workplacetest.Scanner{House: h, Path: "/at/north/or-4/opening"}
	other.Reads("LAP-022")
	workplacetest.Must(t, other.All(workplacetest.Label(t, events.ScanCase, "K-2"), workplacetest.Label(t, events.ScanBadge, "B-7")),
		"doubtful", stopThere, "Enter records")
	size := h.Size()
	workplacetest.Must(t, other.All(""), "doubtful", stopThere, "LAP-022 opened for K-2")
	if h.Size() != size+1 {
		t.Fatal("not opened")
	}
	load := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	load.Do("begin", "sterilizer", "S1", "run", "9", "cycle", "c-134")
	workplacetest.Must(t, load.Put("LAP-014"), stopThere)
	// Packed anew it is another turn, of which nothing was read there.
	h.Packed("LAP-014")
	load.Do("take-out", "set", "LAP-014")
	h.After(3 * time.Second)
	workplacetest.Must(t, load.Put("LAP-014"), "whole")
}

// TestAsideUnderAnotherQuestion: who puts a set aside while it is asked beside its STOP what a code is sees that this was taken,
// and what is asked for it.
func TestAsideUnderAnotherQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t)
	room := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	stop := func() {
		t.Helper()
		workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-022"]), "broken")
	}
	for _, left := range []time.Duration{time.Minute, time.Hour} {
		stop()
		h.After(left)
		workplacetest.Must(t, room.All("QQ-77-Q"), "broken", "QQ-77-Q: what is it?")
		a := room.Do("put-aside")
		if strings.Contains(workplacetest.Tells(a), "QQ-77-Q") {
			t.Errorf("after %s: %s", left, workplacetest.Tells(a))
		}
		workplacetest.Must(t, a, "Where was the count sheet?")
		workplacetest.Must(t, room.All("1"), "Scan your badge: it records that LAP-014")
		room.Do("forget")
	}
}

// TestStopForAnotherCaseStays: a set that is open at another patient was scanned for a case and stopped there. That stays when
// whoever scanned it walks off, when the next person comes and when their case is scanned, until somebody answers it.
func TestStopForAnotherCaseStays(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-1")
	h.After(3 * time.Hour)
	room := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	read := func() {
		t.Helper()
		room.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-2"))
		workplacetest.Must(t, room.Reads("LAP-014"), "broken", "NOT REPROCESSED")
	}
	read()
	workplacetest.Must(t, room.Do("next-person"), "broken", "NOT REPROCESSED")
	workplacetest.Must(t, room.Do("undo"), "broken", "NOT REPROCESSED")
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanCase, "K-1"), "1"), "doubtful", "Was it opened a second time?")
	room.Do("forget")
	room.Do("next-case")
	read()
	h.After(time.Hour)
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanBadge, "B-2")), "broken", "NOT REPROCESSED",
		"Nobody has answered this since")
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanCase, "K-3")), "broken", "NOT REPROCESSED")
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanTag, "VAS-003")), "broken", "NOT REPROCESSED")
	size := h.Size()
	room.Do("put-aside")
	if room.All("1"); h.Size() != size+1 {
		t.Fatal("not put aside")
	}
	workplacetest.Must(t, room.All(workplacetest.Label(t, events.ScanTag, "VAS-003")), "open", "VAS-003")
	// Of a case that is right nothing stays.
	room.Do("forget")
	room.All(workplacetest.Label(t, events.ScanCase, "K-3"))
	room.Reads("VAS-003")
	workplacetest.Must(t, room.Do("next-person"), "whole", "Scan the case")
}
