//go:build !race

package packing_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestRegistersKnow: what stands in the registers is known where it is scanned, also while the site does not hold to them: a
// person is not asked about as a new set, which Enter would make of them, and of a set that is packed for the first time its
// own list is chosen, not the first one by the alphabet.
func TestRegistersKnow(t *testing.T) {
	h := workplacetest.NewHouse(t)
	for r, of := range map[events.Register]events.Entry{
		events.RegisterPeople: &events.PersonEntered{Badge: "QB-2001", Roles: []events.Role{events.RoleRecords}},
		events.RegisterSets:   &events.SetEntered{Set: "ORT-77", List: "VAS-MINOR"},
	} {
		in := site.Entering{Register: r, Entries: []events.Entry{of}, Operator: "B-1182"}
		if _, err := h.Site.Enter(t.Context(), in); err != nil {
			t.Fatal(err)
		}
	}
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	if a := s.Scan("QB-2001"); a["kind"] != "badge" || a["choices"] != nil {
		t.Errorf("a person of the register is %v: %v %v", a["kind"], a["words"], a["choices"])
	}
	a := s.Scan("ORT-77")
	if a["kind"] != "set" || !strings.Contains(fmt.Sprint(a["words"]), "ORT-77: choose its list") {
		t.Errorf("a set of the register is %v: %v %v", a["kind"], a["words"], a["choices"])
	}
	bench := fmt.Sprint(a["bench"])
	if !strings.Contains(bench, `<option value="VAS-MINOR" selected>`) || strings.Count(bench, " selected") != 1 {
		t.Errorf("its list is not chosen: %s", bench)
	}

	s.Do("clear")
	bench = fmt.Sprint(s.Answer(s.Scan("ORT-78"), "take-as")["bench"])
	if !strings.Contains(bench, `<option value="">Choose the list</option>`) || strings.Contains(bench, " selected") {
		t.Errorf("a set that nobody knows has a list: %s", bench)
	}
	if a := s.Do("list", "list", ""); !strings.Contains(workplacetest.Tells(a), "Choose the list of ORT-78 first") {
		t.Errorf("no list was chosen: %v", a)
	}
}
