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
