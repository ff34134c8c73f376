//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestSignedInSight: badges that sign a count which does not come out are asked for with what is not accounted for in front,
// and nothing green stands over it: the list of it is below what a phone shows of the page.
func TestSignedInSight(t *testing.T) {
	for _, c := range []struct {
		second       int // of line 2, of which there are 2
		words, badge string
	}{
		{2, "All counted. Scrub person: scan your badge", "whole"},
		{1, "Not accounted for: 1. All counted. Scrub person: scan your badge", "doubtful"},
	} {
		h := workplacetest.NewHouse(t)
		h.Open("VAS-003", "K-1")
		h.Signs("K-1", "VAS-003", events.StageFirst)
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
		k.Do("begin")
		a := k.Lines("VAS-003", 4, c.second, 3)
		if a["words"] != c.words {
			t.Errorf("%d in line 2: asks %q, not %q", c.second, a["words"], c.words)
		}
		a = k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		next := fmt.Sprint(a["next"])
		if a["status"] != c.badge || strings.Contains(next, "Not accounted for: 1. Circulating nurse") != (c.badge == "doubtful") {
			t.Errorf("%d in line 2: the badge is %v, then asks %q", c.second, a["status"], next)
		}
		if !strings.Contains(next, "Circulating nurse: scan your badge. It signs the count.") {
			t.Errorf("%d in line 2: does not ask for the circulating nurse: %q", c.second, next)
		}
	}
}

// TestBadgeEndedWhileCounting: the scrub person's badge is ended in the register while they count. Nothing is signed under it, it is said
// how the count is signed, and nothing has to be counted again.
func TestBadgeEndedWhileCounting(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	h.HoldTo(events.RegisterPeople)
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	badge := func(code string) map[string]any {
		h.After(3 * time.Second)
		return k.Scan(workplacetest.Label(t, events.ScanBadge, code))
	}
	badge("B-1182")
	k.Lines("VAS-003", 4, 2, 3)
	if _, err := h.Site.Enter(t.Context(), site.Entering{Register: events.RegisterPeople, Operator: "B-3310",
		Entries: []events.Entry{&events.PersonEntered{Badge: "B-1182", Held: events.Held{Ended: true}}}}); err != nil {
		t.Fatal(err)
	}
	size := h.Size()
	h.After(time.Minute)
	a := badge("B-3322")
	workplacetest.Must(t, a, "broken B-1182 is not, or no longer, in force", "Clear the badges (F8)")
	if strings.Contains(workplacetest.Tells(a), "Enter signs") || h.Size() != size {
		t.Errorf("%d records, and the page says %q", h.Size()-size, workplacetest.Tells(a))
	}
	k.Do("badges-clear")
	badge("B-3310")
	workplacetest.Must(t, badge("B-3322"), "First count recorded (sets: 1), signed by B-3310 and B-3322")
}

// TestNoSetSigns: a set that is known here and not on the case is never offered as somebody's badge at the count, by its plain
// code either.
func TestNoSetSigns(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Do("begin")
	a := k.Scan("LAP-022")
	const says = "LAP-022 was not opened for case K-1. If it is to be counted here, open it"
	if a["choices"] != nil || !strings.Contains(workplacetest.Tells(a), says) {
		t.Errorf("a set of another case: %v %v", a["words"], a["choices"])
	}
	if a := k.Scan("QX-77"); a["choices"] == nil {
		t.Errorf("what nobody knows is not asked about: %v", a)
	}
}
