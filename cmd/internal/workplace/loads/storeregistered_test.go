//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestStorageByItsRegister: a station that is in the register as a storage, and nothing else, checks sets and says STOP: what an
// opening would say of the set is asked of the ledger, not whether the storage may open it.
func TestStorageByItsRegister(t *testing.T) {
	for name, works := range map[string][]events.Work{"a storage": {events.WorkStorage}, "in no register": nil} {
		h := workplacetest.NewHouse(t)
		if works != nil {
			_, err := h.Site.Enter(t.Context(), site.Entering{Register: events.RegisterStations, Operator: "B-1182",
				Entries: []events.Entry{&events.StationEntered{Name: "north/storage", Works: works}}})
			if err != nil {
				t.Fatal(err)
			}
		}
		h.HoldTo(events.RegisterStations)
		s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-3322"))
		a := s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
		if a["no"] != nil || strings.Contains(workplacetest.Tells(a), "register") {
			t.Errorf("%s: the set is not taken: %s", name, workplacetest.Tells(a))
		}
		h.After(3 * time.Second)
		if a = s.Scan(h.Codes["LAP-022"]); a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "LAP-022") {
			t.Errorf("%s: another set's count sheet is no STOP: %v %v", name, a["status"], a["words"])
		}
		s.Do("forget")
		h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-02",
			Sterilizer: "S1", Run: 2, Cycle: "dynamic-air-132", Result: "failed"})
		h.After(3 * time.Second)
		if a = s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003")); !strings.Contains(fmt.Sprint(a), "VAS-003 is NOT RELEASED") {
			t.Errorf("%s: whoever hands out a set whose load failed is not told: %v", name, workplacetest.Tells(a))
		}
	}
}
